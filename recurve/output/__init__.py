"""What people and programs read.

One renderer for each result: `documents` (JSON), `text` (reports), `figures`, `sheet` (build sheet, page, record).

Offers:

- `drawer`: `DrawerAsked`, `note_weighing`
- `guide`: `guide_page`, `guide_text`
- `honest`: `units_document`
- `judged`: `AskedFound`, `AskedLeft`, `finished_unit`, `judge_found`, `judge_left`
- `learned`: `learn_units`, `LearnedUnits`, `write_type`
- `order`: `order_list`, `write_order`
- `planfile`: `current_plan`, `plan_folder`, `plan_path`, `planned_unit`, `read_planned`, `read_to_write`
- `remembered`: `read_units`
- `results`: `Asked`, `plan_job`, `plan_jobs`, `plans_document`, `summary`, `worst_status`
- `unitfiles`: `ARCHIVE`, `is_type`, `OTHER`, `paths`, `tables_named`, `types_in`
- `unitfolder`: `last_left`, `Unit`, `unit_of`
- `unitrows`: `write_rows`
"""
