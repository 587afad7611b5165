"""Commands that show what is known:

- `recurve curve`: the curve of the springs described in a job.
- `recurve schema`: the shape of the job file, for editors, and of the JSON of each command, for programs.
- `recurve timing`: the settings on the engine.
- `recurve draw`: the unit to scale, on which a wrong angle shows before it is computed.
"""

from __future__ import annotations

from enum import StrEnum
from typing import TYPE_CHECKING, Annotated

import typer

from recurve.cli.console import ANSWER_IS_NO, AsJson, JobFile, print_json, progress, show
from recurve.cli.next_step import after_curve, after_draw
from recurve.errors import InputError
from recurve.text import printable, printable_lines
from recurve.units import RPM

if TYPE_CHECKING:
    from recurve.arrays import Array
    from recurve.inspection.timing import Advance
    from recurve.job.model import BareJob, Job


def curve(
    job: JobFile,
    speeds: Annotated[
        str | None, typer.Option(metavar="FROM:TO:STEP", help="Distributor rpm, ends included.", show_default=False)
    ] = None,
    as_json: AsJson = False,
) -> None:
    """The advance curve of the springs described in the job.

    Example: recurve curve examples/launch.toml --speeds 200:1600:100
    """
    asked = None if speeds is None else parse_speeds(speeds)
    from recurve.job.read import load_job
    from recurve.output.documents.curve import CurveDocument
    from recurve.output.text.plan import curve_text

    read = load_job(job)
    document = CurveDocument.of_job(read, asked)
    if as_json:
        print_json(document.as_json())
    else:
        show(f"{curve_text(read, document)}\n{after_curve(job)}\n")


def parse_speeds(text: str) -> Array:
    """Read FROM:TO:STEP, in distributor rpm, as speeds (n,) [rad/s], both ends included. Raises InputError."""
    import numpy as np

    wrong = f'--speeds: got "{text}", expected FROM:TO:STEP in distributor rpm, such as 200:2000:50'
    try:
        begin, end, step = (float(part) for part in text.split(":"))
    except ValueError:
        raise InputError(wrong) from None
    if not (0 < begin <= end <= 20000 and step > 0) or (end - begin) / step > 100000:
        raise InputError(wrong)
    steps = np.arange(begin, end + 1e-9 * end, step)
    rpm = steps if end - steps[-1] < 1e-6 * step else np.append(steps, end)
    result: Array = rpm / RPM
    return result


class Of(StrEnum):
    """What has a schema: the job file, and the JSON of each command that writes JSON."""

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
        from recurve.job.schema import job_schema

        print_json(job_schema())
    else:
        from recurve.output.documents.schemas import document_schema

        print_json(document_schema(of.value))


def timing(job: JobFile, as_json: AsJson = False) -> None:
    """The card for the engine: where to set the timing, and what the light then shows.

    Takes the planned curve from plan.toml in JOB's name followed by -plan where it was made from these inputs, else
    plans. Writes timing.svg and timing.png there. Works without weights too. Exit status 0: set it so; 3: a total
    passes its limit; 2: bad input.

    Example: recurve timing examples/ferry.toml
    """
    from recurve.diagnosis.timing_card import timing_card
    from recurve.files import write_folder
    from recurve.job.model import BareJob
    from recurve.job.read import load_any
    from recurve.output.documents.timing import TimingDocument
    from recurve.output.figures.timing import timing_figure_bytes
    from recurve.output.planfile import plan_folder
    from recurve.output.text.workshop import timing_text

    read = load_any(job)
    progress("Reading the job and its curves")
    card = timing_card(read, None if isinstance(read, BareJob) or read.inspection.timing is None else _planned(read))
    files = write_folder(plan_folder(job), timing_figure_bytes(card, read.fingerprint))
    document = TimingDocument.of(card, read, files)
    if as_json:
        print_json(document.as_json())
    else:
        show(timing_text(read, document))
    if not card.good:
        raise typer.Exit(ANSWER_IS_NO)


def _planned(job: Job | BareJob) -> Advance | None:
    """The curve of the job's current plan, None if that is out of reach; without a current plan, of one made now."""
    from recurve.diagnosis.timing_card import planned_curve
    from recurve.job.model import BareJob
    from recurve.output.planfile import current_plan, planned_unit
    from recurve.physics.curve import trace

    assert not isinstance(job, BareJob)  # the caller has asked
    if current_plan(job) is None:
        return planned_curve(job)
    unit = planned_unit(job)
    return None if unit is None else trace(unit)


def draw(job: JobFile) -> None:
    """The unit to scale, at rest and at full advance, to hold against the part.

    Writes unit.svg and unit.png into JOB's name followed by -plan, beside JOB, also of a unit that cannot work as
    described: then one sees why. Exit status 0: drawn; 3: drawn, but the model refuses it; 2: it cannot be read.

    Example: recurve draw examples/launch.toml
    """
    from recurve.files import write_folder
    from recurve.output.figures.mechanism import spring_words, unit_figure_bytes
    from recurve.output.figures.picture import read_picture
    from recurve.output.planfile import plan_folder

    progress("Drawing the unit")
    picture = read_picture(job)
    files = write_folder(plan_folder(job), unit_figure_bytes(picture))
    for spring in picture.springs:
        for words in spring_words(spring):
            typer.echo(f"{spring.name}: {printable(words)}")
    typer.echo("\nWritten")
    for file in files:
        typer.echo(f"  {printable(file)}")
    if not picture.faults:
        typer.echo(printable_lines(f"\n{after_draw(False, job)}"))
    if picture.faults:
        typer.echo("\nThe model refuses this unit:", err=True)
        for fault in picture.faults:
            typer.echo(f"recurve: {printable(fault)}", err=True)
        typer.echo(printable_lines(f"\n{after_draw(True, job)}"), err=True)
        raise typer.Exit(ANSWER_IS_NO)
