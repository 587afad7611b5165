"""Wear against its limits: shaft and points, coil, vacuum unit; and the timing of the engine.

Offers:

- `findings`: `inspect_unit`, `Finding`, `Inspected`
- `model`: `Inspection`
- `bench`: `bench_of`, `Judged`
- `vacuum`: `check_vacuum`, `fit_capsule`
- `timing`: `make_card`, `Card`
"""
