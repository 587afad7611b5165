"""Wear against its limits: shaft and points, coil, vacuum unit; and the timing of the engine.

Offers:

- `findings`: `inspect_unit`, `Inspected`, `Finding`, `Cause`
- `model`: `Inspection`
- `bench`: `inspect_bench`, `Judged`
- `vacuum`: `check_vacuum`, `fit_capsule`
- `timing`: `make_card`, `Card`
"""
