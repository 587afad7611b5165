"""`recurve schema`: the shape of the job file, for editors."""

from __future__ import annotations

from recurve.console import print_json


def schema() -> None:
    """The shape of the job file as a JSON Schema, on stdout, for an editor that completes and checks TOML.

    Reads and writes no file.

    Example: recurve schema > job.schema.json
    """
    from recurve.jobschema import job_schema

    print_json(job_schema())
