"""`recurve schema`: the shape of the job file, for editors, and of the JSON of each command, for programs."""

from __future__ import annotations

from enum import StrEnum
from typing import Annotated

import typer

from recurve.console import print_json


class Of(StrEnum):
    """What has a schema: the job file, and the JSON of each command that writes some."""

    job = "job"
    check = "check"
    plan = "plan"
    verify = "verify"
    timing = "timing"
    curve = "curve"
    wind = "wind"
    spring = "spring"


def schema(
    of: Annotated[Of, typer.Argument(metavar="OF", help="The job file, or a command that has --json.")] = Of.job,
) -> None:
    """The shape of the job file as a JSON Schema, on stdout, for an editor that completes and checks TOML.

    With the name of a command, such as plan: the shape of what it writes with --json, and the unit of every number.
    Reads and writes no file.

    Example: recurve schema > job.schema.json
    """
    if of is Of.job:
        from recurve.jobschema import job_schema

        print_json(job_schema())
    else:
        from recurve.documents import document_schema

        print_json(document_schema(of.value))
