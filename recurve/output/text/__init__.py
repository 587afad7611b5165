"""The readable reports: plain text, at most 80 columns, the verdict first.

Offers:

- `check`: `bare_text`, `check_text`, `fit_text`, `fitted_words`, `verify_text`
- `layout`: `rounded`
- `learn`: `learn_text`
- `look`: `band_cells`, `mark_lines`, `rate_words`, `strength_rows`
- `order`: `order_text`
- `plan`: `curve_text`, `plan_text`
- `setting`: `setting_words`
- `units`: `units_text`
- `workshop`: `spring_text`, `timing_text`, `wind_csv`, `wind_notes`, `wind_text`
"""
