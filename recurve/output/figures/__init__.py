"""Figures: curves over the target's bands, readings and residuals, the unit to scale, springs to be wound.

`style` holds colours, lines, sizes and fixed words; `curves` draws the curves, readings and target bands that several
figures share; `labels` places the words.

Offers:

- `check`: `check_figure_bytes`, `plot_check`, `plot_verify`, `verify_figure_bytes`
- `curves`: `hidden_advance`, `UNSEEN`
- `honesty`: `write_honesty`
- `look`: `look_figure_bytes`
- `mechanism`: `small_unit_svg`, `spring_words`, `unit_figure_bytes`
- `picture`: `Picture`, `read_picture`
- `plan`: `found_place`, `narrow_figure_svg`, `plan_figure_bytes`, `plot_plan`
- `quick`: `curve_svg`, `Dot`, `dots_of`, `last_rpm`, `Line`, `traced`, `unit_svg`
- `timing`: `coil_figure_bytes`, `timing_figure_bytes`
- `winding`: `drawing_svg`
- `window`: `window_svg`
"""
