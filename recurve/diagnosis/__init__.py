"""What is wrong with a unit as found, whether a finished one passes, how to time the engine.

Offers:

- `check`: `BareCheck`, `Check`, `CheckVerdict`, `check_bare`, `check_unit`, `without_curve`
- `verify`: `as_found`, `BandVerdict`, `Before`, `ReadAgain`, `Verification`, `verify_unit`, `VerifyVerdict`,
  `DECISION_RULE`
- `timing_card`: `card_of_plan`, `left_curve`, `planned_curve`, `timing_card`
- `causes`: `as_blamed`, `Blame`
- `findings`: `curve_findings`
- `flat`: `flat_kind`
- `readings`: `data_findings`
- `first_look`: `BandLook`, `FirstLook`, `NextStep`
- `strength`: `rate_needed`, `Strength`, `strength`
- `trust`: `Trust`, `trust_in`
- `as_set`: `AsSet`
- `correction`: `Correction`
"""
