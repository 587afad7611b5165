"""Every figure: curves over bands, readings and residuals, the unit to scale, springs to wind.

`style` holds what they share: colours, lines, marks, captions, labels.

Offers:

- `curves`: `plot_plan`, `plot_timing`, `plot_coil`, `draw_window`
- `check`: `plot_check`, `plot_verify`
- `mechanism`: `unit_figure_bytes`, `small_unit_svg`
- `winding`: `drawing_svg`
"""
