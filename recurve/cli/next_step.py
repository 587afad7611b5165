"""The last line of a report, which says what to do next: a command to paste, or a job for the hands."""

from __future__ import annotations

import shlex
from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from recurve.diagnosis.check import CheckVerdict
    from recurve.diagnosis.verify import VerifyStep
    from recurve.planner.plan import PlanVerdict


def _quoted(path: Path) -> str:
    return shlex.quote(str(path))


def after_curve(job: Path) -> str:
    """After the curve of the springs described."""
    return f"Next: see what is wrong as found:\n  recurve check {_quoted(job)}"


def after_draw(rejected: bool, job: Path) -> str:
    """After a drawing; `rejected`: the model rejects the unit."""
    if rejected:
        return "Next: compare the drawing with the part, correct those numbers, draw again"
    return f"Next: compare the drawing with the part, then:\n  recurve check {_quoted(job)}"


def after_wind(all_can_be_wound: bool, job: Path) -> str:
    """After a table for the winder."""
    if not all_can_be_wound:
        return (
            "Next: allow more (--outer, --overall, --tolerance), or take other springs\n"
            "  (--springs ideal), and run wind again"
        )
    return "Next: send the winder the table and drawings; weigh what comes back, see:\n  recurve spring --help"


def after_spring(of_use: bool, file: str | None) -> str:
    """After a spring was weighed: whether its figures are `of_use`, and the catalogue `file` it was added to."""
    if not of_use:
        return "Next: weigh the spring again, with one light and one heavy weight"
    return f"Next: plan with {file}" if file else "Next: add it to a catalogue with --append, --id and --free-length"


def after_check(verdict: CheckVerdict, job: Path) -> str:
    """After a check."""
    again, plan = f"recurve check {_quoted(job)}", f"recurve plan {_quoted(job)}"
    words: dict[CheckVerdict, str] = {
        "sound": f"nothing needs planning; to record it:\n  recurve verify {_quoted(job)} SWEEP.csv",
        "facts only": f"write the book's curve into [target], then:\n  {again}",
        "cannot tell": f"do what the findings ask, sweep again, then:\n  {again}",
        "mechanical repair first": f"repair the unit, sweep again, then:\n  {again}",
        "not worth saving by recurve": f"to see how near it could come:\n  {plan}",
    }
    return f"Next: {words.get(verdict, f'plan it:{chr(10)}  {plan}')}"


def after_plan(verdict: PlanVerdict | None, job: Path, sheet: str) -> str:
    """After the plan of one job."""
    if verdict == "out of reach":
        return f"Next: read the reasons above; to see what is wrong as found:\n  recurve check {_quoted(job)}"
    if verdict == "may not pass":
        return f"Next: see what to measure before you buy anything:\n  recurve check {_quoted(job)}"
    return f"Next: print {sheet}, build, sweep the finished unit, then:\n  recurve verify {_quoted(job)} as-left.csv"


def after_plans() -> str:
    """After the plans of several jobs."""
    return "Next: print the sheet of each that passes; for one that does not:\n  recurve plan JOB"


def after_verify(step: VerifyStep, job: Path, sweep: Path, record: str) -> str:
    """After the check of a finished unit, by the `step` it asks for; `record` is the file of its as-left record."""
    again = f"recurve verify {_quoted(job)} {_quoted(sweep)}"
    words: dict[VerifyStep, str] = {
        "hand over": f"fill in, sign and hand over {record}",
        "correct": f"correct the unit as said above, sweep again, then:\n  {again}",
        "read": f"take the readings named above, add them to the sweep, then:\n  {again}",
        "settle": f"settle first what is said above, sweep again, then:\n  {again}",
    }
    return f"Next: {words[step]}"
