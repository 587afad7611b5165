"""A sweep to the state of a unit: what the readings tell, how surely, and what they do not tell.

Offers:

- `fit`: `fit_sweep`, `fitted_job`, `Fit`
- `model`: `SweepModel`, `sweep_model`
- `posterior`: `find_modes`, `sample`
- `state`: `Evidence`, `Ensemble`, `ensemble_of`
- `sobol`: `sobol`, `rectangular`
"""
