"""The readable reports: plain text, at most 80 columns, the verdict first.

Offers:

- `plan`: `plan_text`, `curve_text`
- `check`: `check_text`, `verify_text`, `fit_text`
- `workshop`: `timing_text`, `wind_text`, `spring_text`
- `layout`: `table`, `plot`, `page`, `wrap`
"""
