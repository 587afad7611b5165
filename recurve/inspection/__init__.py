"""Wear against its limits: shaft and points, coil, vacuum unit; and the timing of the engine.

Offers:

- `inspected`: `inspect_unit`, `Inspected`
- `findings`: `Finding`, `Cause`, `Severity`
- `model`: `Inspection`
- `bench`: `inspect_bench`, `Judged`
- `vacuum`: `check_vacuum`, `fit_capsule`
- `timing`: `make_card`, `Card`
"""
