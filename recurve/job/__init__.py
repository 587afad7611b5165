"""A job: the file's shape, every fault in one pass, and the frozen types made of it.

People's units end here: SI and radians from here on. A file is read (`read_files`), built (`build_parts`) and made whole
(`whole_job`), which fits a reference sweep where the weights are known by one; `load_job` does all three.

Offers:

- `read`: `load_job`, `load_any`, `read_as_left`, `read_files`, `build_parts`, `whole_job`
- `model`: `Job`, `BareJob`, `SpringPlace`, `FileBasis`
- `measured`: `Measured`, `MeasuredWeights`, `MeasuredDrag`, `MeasuredSpring`
- `parts`: `UnitPart`, `SweptPart`
- `tables`: `read_sweep`, `read_catalogue`
- `questions`: `questions`
- `answers`: `read_answer`, `job_text`
- `schema`: `JobModel`, `job_schema`
"""
