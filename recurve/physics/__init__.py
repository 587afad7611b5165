"""The flyweights, the posts, the curve of a unit, and the target that judges it.

Offers:

- `curve`: `Unit`, `trace`, `Trace`
- `mechanism`: `Weights`, `Slot`, `Link`, `RadiusTable`, `ReferenceSlope`
- `posts`: `PointPosts`, `TablePosts`
- `target`: `Target`, `judge`
- `ensemble`: `Units`, `curves`
- `energy`: `settled`, `fallen`
- `sweep`: `Readings`, `Sweep`
- `reference`: `Reference`, `fit_reference`
"""
