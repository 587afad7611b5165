"""A job: the file's shape, every fault in one pass, and the frozen types made of it.

People's units end here: SI and radians from here on. A file is read (`read_files`), built (`build_parts`) and made whole
(`whole_job`), which fits a reference sweep where the weights are known by one; `load_job` does all three.

Offers:

- `answers`: `both_systems`, `check_rows`, `implausible`, `read_answer`, `read_row`, `shaft_of`, `system_of`,
  `TYPED_SPRINGS`, `TYPED_SWEEP`, `unit_of`, `unit_of_key`,
  `with_unit`
- `as_left`: `read_set`
- `build`: `build_motion`, `build_places`, `build_stop`, `measured_spring`, `mounting_of`
- `drawer`: `noted_in`, `own_figures`, `taken_before`, `taken_in`
- `edit`: `begin`, `beside_file`, `Clash`, `Edited`, `name_table`, `reaching`, `read_edited`, `save_answer`
- `inputs`: `files_of`, `fingerprint_of`
- `learned`: `FOUND`, `Learned`, `LEARNED`, `told_by`, `UnitType`
- `live`: `as_typed`, `band_words`, `Bench`, `bench_of`, `CAUTION`, `misfits`, `read_bench`, `Reading`, `SweepFile`,
  `turned`
- `made`: `blank_text`, `document_of`, `job_text`, `table_text`
- `measured`: `described`, `Frame`, `MeasuredDrive`, `MeasuredPoint`, `MeasuredSpring`
- `model`: `BareJob`, `Job`, `JobHead`, `SpringPlace`
- `of_type`: `Given`, `given_by`, `must_be_type`, `title_of_type`, `types_near`
- `parts`: `read_unit_part`, `swept_part`, `UnitPart`
- `posts_at_rest`: `LengthByType`, `lengths_by_type`
- `questions`: `Answers`, `asked`, `figure_of`, `Part`, `parts`, `Question`, `questions`
- `read`: `build_parts`, `load_any`, `load_job`, `read_as_left`, `read_files`,
  `readings_of`
- `reread`: `answers_of`, `tables_besides`
- `schema`: `DIALECT`, `job_schema`, `JobModel`, `PlannedBuild`, `PlannedForecast`, `PlannedPlace`, `PlannedSide`,
  `PlannedTable`, `SetTable`
- `schema_unit`: `LinkMotion`, `Place`, `PointPosts`, `PostEnd`, `ReferenceMotion`, `SlopeMotion`, `SlotMotion`
- `shelf`: `read_spring`, `springs_csv`
- `tables`: `read_catalogue`, `read_sweep`, `with_spring`
- `type_text`: `type_text`
- `unit_type`: `read_type`, `SourceTable`, `with_type`
- `weighings`: `measure`, `noted_of`
"""
