"""What is wrong with a unit as found, whether a finished one passes, how to time the engine.

Offers:

- `as_set`: `AsSet`
- `causes`: `as_blamed`, `Blame`
- `check`: `BareCheck`, `Check`, `check_bare`, `check_unit`, `CheckVerdict`, `without_curve`
- `correction`: `Correction`
- `findings`: `curve_findings`
- `first_look`: `BandLook`, `FirstLook`, `NextStep`
- `flat`: `flat_kind`
- `honesty`: `calibrate`, `Calibration`, `Errors`, `errors_at`, `errors_together`, `FEW`, `RARE`, `Scatter`, `scatter_of`,
  `Share`
- `readings`: `data_findings`
- `setting`: `post_to_bend`, `PostToBend`, `Shown`
- `springs_told`: `SpringTold`, `springs_told`
- `strength`: `rate_needed`, `strength`, `Strength`
- `timing_card`: `card_of_plan`, `left_curve`, `planned_curve`, `timing_card`
- `trust`: `Trust`, `trust_in`
- `verify`: `as_found`, `BandVerdict`, `Before`, `DECISION_RULE`, `ReadAgain`, `Verification`, `verify_unit`,
  `VerifyStep`
"""
