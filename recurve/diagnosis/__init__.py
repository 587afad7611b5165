"""What is wrong with a unit as found, whether a finished one passes, how to time the engine.

Offers:

- `check`: `check_unit`, `check_bare`, `Check`
- `verify`: `verify_unit`, `find_correction`, `Verification`
- `timing_card`: `timing_card`
- `findings`: `curve_findings`
- `readings`: `data_findings`
"""
