"""Figures: curves over the target's bands, readings and residuals, the unit to scale, springs to be wound.

`style` holds colours, lines, sizes and fixed words; `curves` draws the curves, readings and target bands that several
figures share; `labels` places the words.

Offers:

- `plan`: `plan_figure_bytes`, `narrow_figure_svg`, `plot_plan`
- `window`: `window_svg`
- `check`: `check_figure_bytes`, `verify_figure_bytes`, `plot_check`, `plot_verify`
- `timing`: `timing_figure_bytes`, `coil_figure_bytes`, `plot_timing`, `plot_coil`
- `picture`: `picture_of`, `read_picture`
- `mechanism`: `unit_figure_bytes`, `small_unit_svg`
- `winding`: `drawing_svg`
"""
