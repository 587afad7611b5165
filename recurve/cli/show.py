"""`recurve curve`: the curve of the springs described in a job."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated

import typer

from recurve.console import AsJson, JobFile, print_json
from recurve.errors import InputError
from recurve.nextstep import after_curve
from recurve.terminal import show

if TYPE_CHECKING:
    from recurve.job import Job
    from recurve.mechanism import Array


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
    from recurve.curve import trace
    from recurve.facts import curve_facts, default_speeds
    from recurve.jobfile import load_job
    from recurve.report import curve_text

    read = load_job(job)
    unit = read.as_found()
    if unit is None:
        raise InputError(_undescribed(read))
    traced = trace(unit)
    facts = curve_facts(read, unit, traced, default_speeds(read, traced) if asked is None else asked)
    if as_json:
        print_json(facts)
    else:
        show(f"{curve_text(read, facts)}\n{after_curve(job)}\n")


def _undescribed(job: Job) -> list[str]:
    names = [n for n, p in zip(("primary", "secondary"), job.places, strict=False) if p.found is None]
    return [
        f"{job.path}: springs.{name}: got no rate, or neither free_length nor takeup; expected them, since a curve needs the "
        "springs themselves"
        for name in names
    ]


def parse_speeds(text: str) -> Array:
    """FROM:TO:STEP in distributor rpm as speeds (n,) [rad/s], both ends included; raises InputError."""
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
    result: Array = rpm * np.pi / 30
    return result
