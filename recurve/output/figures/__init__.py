"""Figures: curves over the target's bands, readings and residuals, the unit to scale, springs to be wound.

`style` holds colours, lines, sizes and fixed words; `curves` draws the curves, readings and target bands that several
figures share; `labels` places the words.

Offers:

- `curves`: `UNSEEN`, `hidden_advance`
- `plan`: `found_place`, `narrow_figure_svg`, `plan_figure_bytes`, `plot_plan`
- `window`: `window_svg`
- `check`: `check_figure_bytes`, `plot_check`, `plot_verify`, `verify_figure_bytes`
- `timing`: `coil_figure_bytes`, `timing_figure_bytes`
- `picture`: `read_picture`
- `mechanism`: `small_unit_svg`, `spring_words`, `unit_figure_bytes`
- `winding`: `drawing_svg`
- `look`: `look_figure_bytes`
"""
