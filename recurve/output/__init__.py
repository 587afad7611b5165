"""What people and programs read.

One renderer for each result: `documents` (JSON), `text` (reports), `figures`, `sheet` (build sheet, page, record).

Offers:

- `planfile`: `plan_toml`, `order_csv`, `plan_folder`, `plan_path`, `current_plan`, `planned_unit`
- `results`: `plan_job`, `plan_jobs`, `write_results`
"""
