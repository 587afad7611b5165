"""Which springs on which posts, what to do to the stop, and the curve that follows.

The search is exact: at a band's edge the unknown curve drops out (`linear`).

Offers:

- `plan`: `make_plan`, `Plan`
- `build`: `Build`, `Constraints`, `check_build`
- `search`: `search`, `SpringSet`
- `ideal`: `find_ideal`, `find_window`
- `simulate`: `simulate`, `Built`
- `suggest`: `suggestions`, `purchases`
- `wanted`: `wanted_of`
"""
