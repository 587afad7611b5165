"""Commands that show what is known:

- `recurve curve`: the curve of the springs described in a job.
- `recurve schema`: the shape of the job file, for editors, and of the JSON of each command, for programs.
- `recurve timing`: the settings on the engine.
- `recurve draw`: the unit to scale, on which a wrong angle shows before it is computed.
"""

from __future__ import annotations

from enum import StrEnum
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from recurve.cli.console import ANSWER_IS_NO, AsJson, JobFile, print_json, progress, show, tell
from recurve.cli.next_step import after_curve, after_draw
from recurve.errors import InputError
from recurve.text import printable, printable_lines
from recurve.units import RPM

if TYPE_CHECKING:
    from recurve.arrays import Array
    from recurve.inspection.timing_curves import Advance
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
    units = "units"
    order = "order"
    timing = "timing"
    curve = "curve"
    wind = "wind"
    spring = "spring"
    learn = "learn"


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


LeftSweep = Annotated[
    Path | None,
    typer.Option(
        "--sweep",
        metavar="SWEEP",
        help="Readings of the unit as left (CSV); the card is then for that unit.",
        show_default=False,
    ),
]


def timing(job: JobFile, sweep: LeftSweep = None, as_json: AsJson = False) -> None:
    """The card for the engine: where to set the timing, and what the light then shows.

    With --sweep the card is for the unit as left; without, for the unit as planned, or else as found. The planned curve
    comes from plan.toml if that was made from the same inputs; if not, it is planned now, and the card says so. Writes
    timing.svg and timing.png beside JOB, into a folder with JOB's name and -plan. Target and sweep alone are enough.
    Exit status 0: set it so; 3: a total exceeds its limit, or is not known; 2: bad input.

    Example: recurve timing examples/ferry.toml
    """
    from recurve.diagnosis.timing_card import timing_card
    from recurve.files import write_folder
    from recurve.job.read import load_any
    from recurve.output.documents.timing import TimingDocument
    from recurve.output.figures.timing import timing_figure_bytes
    from recurve.output.planfile import plan_folder, read_to_write
    from recurve.output.text.workshop import timing_text

    read = read_to_write(lambda: load_any(job), job)
    progress("Reading the job and its curves")
    planned, left, notes = _curves(job, read, sweep)
    card = timing_card(read, planned, left)
    files = write_folder(plan_folder(job), timing_figure_bytes(card, read.fingerprint))
    document = TimingDocument.of(card, read, files, notes)
    if as_json:
        print_json(document.as_json())
    else:
        show(timing_text(read, document))
    if card.verdict != "set it so":
        raise typer.Exit(ANSWER_IS_NO)


def _curves(path: Path, job: Job | BareJob, sweep: Path | None) -> tuple[Advance | None, Advance | None, list[str]]:
    """The planned curve and that of the unit as left, each None where there is none, and where they are from."""
    from recurve.diagnosis.timing_card import left_curve
    from recurve.job.model import BareJob
    from recurve.job.read import read_as_left
    from recurve.output.judged import finished_unit
    from recurve.output.planfile import plan_path

    if job.inspection.timing is None:
        return None, None, []
    if isinstance(job, BareJob):
        if sweep is None:
            return (
                None,
                None,
                [] if job.sweep is None else ["The card is for the unit as found, from its readings alone."],
            )
        left = left_curve(job, read_as_left(sweep, job))
        return None, left, [f"The card is for the unit as left, from the readings in {sweep} alone."]
    planned, where = _planned(job)
    if sweep is None:
        return planned, None, [where]
    finished, remark = finished_unit(plan_path(path), job)
    if remark:
        typer.echo(printable(f"recurve: {remark}"), err=True)
    left = left_curve(finished, read_as_left(sweep, job))
    return planned, left, [f"The card is for the unit as left, from the readings in {sweep}.", where]


def _planned(job: Job) -> tuple[Advance | None, str]:
    """The curve of the job's current plan, None if that is out of reach; without a current plan, of one made now; and which
    of these it is."""
    from recurve.diagnosis.timing_card import planned_curve
    from recurve.output.planfile import current_plan, plan_path, planned_unit
    from recurve.physics.curve import trace

    if current_plan(job) is None:
        file = plan_path(job.path)
        why = f"{file} was planned from other inputs than the job has now" if file.is_file() else f"there is no {file}"
        told = "from other inputs than the job has now" if file.is_file() else "missing"
        tell(f"{file}: {told}, so the curve is planned now; expected what recurve plan writes")
        made = planned_curve(job)
        if made is None:
            return (
                None,
                "There is no planned curve: the job has no springs to plan with, or the target is out of reach.",
            )
        return made, f"The curve was planned anew for this card, since {why}."
    unit = planned_unit(job)
    if unit is None:
        return None, f"The plan in {plan_path(job.path)} is out of reach, so there is no planned curve."
    return trace(unit), f"The planned curve is that of {plan_path(job.path)}."


def draw(job: JobFile) -> None:
    """The unit to scale, at rest and at full advance, to hold against the part.

    Writes unit.svg and unit.png beside JOB, into a folder with JOB's name and -plan. A unit that cannot work as described
    is drawn too, so that you see why. Exit status 0: drawn; 3: drawn, but it cannot work; 2: it cannot be read.

    Example: recurve draw examples/launch.toml
    """
    from recurve.files import write_folder
    from recurve.output.figures.mechanism import spring_words, unit_figure_bytes
    from recurve.output.figures.picture import read_picture
    from recurve.output.planfile import plan_folder, read_to_write

    progress("Drawing the unit")
    picture = read_to_write(lambda: read_picture(job), job)
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
        typer.echo("\nThis unit cannot be computed:", err=True)
        for fault in picture.faults:
            tell(fault)
        typer.echo(printable_lines(f"\n{after_draw(True, job)}"), err=True)
        raise typer.Exit(ANSWER_IS_NO)
