"""Which springs on which posts, what to do to the stop, and the curve that follows.

The search is exact: at a band's edge the unknown curve drops out (`linear`).

Offers:

- `plan`: `make_plan`, `Plan`, `AlternativeBuild`
- `problem`: `Problem`, `problem_of`, `spring_bounds`
- `springset`: `SpringSet`, `Constraints`, `spring_set_of`
- `build`: `Build`, `Fitted`, `make_build`, `check_build`
- `search`: `search`, `Found`, `feasible_pairs`
- `choose`: `choose_build`
- `ideal`: `find_ideal`, `Ideal`
- `window`: `find_window`, `Window`
- `simulate`: `simulate`, `Built`, `passes`
- `conversion`: `as_fitted`, `conversion_notes`
- `suggest`: `suggestions`, `Suggestion`
- `buying`: `purchases`, `Purchase`
- `wanted`: `wanted_springs`, `wanted_of`
"""
