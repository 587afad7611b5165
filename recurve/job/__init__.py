"""A job: the file's shape, every fault in one pass, and the frozen types made of it.

People's units end here: SI and radians from here on. A file is read (`read_files`), built (`build_parts`) and made whole
(`whole_job`), which fits a reference sweep where the weights are known by one; `load_job` does all three.

Offers:

- `read`: `build_parts`, `fingerprint_of`, `load_any`, `load_job`, `read_as_left`, `read_files`
- `model`: `BareJob`, `FileBasis`, `Job`, `SpringPlace`, `JobHead`
- `measured`: `described`, `MeasuredDrive`, `MeasuredSpring`
- `parts`: `SweptPart`, `UnitPart`, `read_swept_part`, `read_unit_part`, `swept_part`
- `tables`: `read_catalogue`, `read_sweep`, `with_spring`
- `questions`: `Answers`, `asked`, `figure_of`, `parts`, `Question`, `questions`
- `answers`: `blank_text`, `both_systems`, `cells_of`, `check_rows`, `document_of`, `implausible`, `job_text`,
  `read_answer`, `read_row`, `shaft_of`, `system_of`, `table_text`, `TYPED_SPRINGS`, `TYPED_SWEEP`, `unit_of`,
  `with_unit`
- `schema`: `job_schema`, `JobModel`, `PlannedTable`, `SetTable`, `DIALECT`
- `build`: `build_motion`, `build_places`, `build_stop`, `measured_spring`, `mounting_of`
- `build_inspection`: `build_target`
- `schema_unit`: `LinkMotion`, `Place`, `PointPosts`, `PostEnd`, `ReferenceMotion`, `SlotMotion`, `SweepReading`
- `sweeps`: `basis_of`
- `weighings`: `measure`
- `reread`: `answers_of`, `tables_besides`
- `as_left`: `read_set`
"""
