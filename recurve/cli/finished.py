"""The finished unit of a job: as it was planned, where a plan of these inputs is at hand."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import typer

from recurve.text import printable

if TYPE_CHECKING:
    from recurve.job.model import Job


def finished_unit(planned: Path, asked: Job) -> Job:
    """The unit as planned if there is a plan, else as the job describes it."""
    from recurve.job.read import load_job
    from recurve.output.planfile import read_planned

    if not planned.is_file():
        told = (
            f"{planned}: missing, so the unit is judged as {asked.path} describes it; expected recurve plan's plan.toml"
        )
        if read_planned(asked.path) is None:
            typer.echo(printable(f"recurve: {told}"), err=True)
        return asked
    finished, made_from = load_job(planned), read_planned(planned)
    if made_from is None:
        words = "does not say what it was planned from"
    elif made_from.inputs != asked.fingerprint:
        words = f"planned from other inputs than {asked.path} has now"
    else:
        return finished
    typer.echo(printable(f"recurve: {planned}: {words}, so what it asks is judged; plan again"), err=True)
    return finished
