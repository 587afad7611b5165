"""A job: the file's shape, every fault in one pass, and the frozen types made of it.

People's units end here: SI and radians from here on.

Offers:

- `read`: `load_job`, `load_any`, `read_as_left`
- `model`: `Job`, `SpringPlace`, `Sweep`
- `tables`: `read_sweep`, `read_catalogue`
- `questions`: `questions`
- `answers`: `read_answer`, `job_text`
- `schema`: `JobModel`, `job_schema`
"""
