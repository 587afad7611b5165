"""What to do next, as a report's last line: a command that can be pasted, or a thing to do with the hands."""

from __future__ import annotations

import shlex
from pathlib import Path


def _quoted(path: Path) -> str:
    return shlex.quote(str(path))


def after_curve(job: Path) -> str:
    """What a predicted curve leads to."""
    return f"Next: what is wrong as found:\n  recurve check {_quoted(job)}"


def after_draw(refused: bool, job: Path) -> str:
    """What a drawing leads to."""
    if refused:
        return "Next: hold the drawing against the part, mend the numbers named, and draw again"
    return f"Next: hold the drawing against the part, then:\n  recurve check {_quoted(job)}"


def after_wind(all_of_them: bool, job: Path) -> str:
    """What a table for the winder leads to."""
    if not all_of_them:
        return "Next: allow more (--outer, --overall, --tolerance), or other springs (--springs ideal), and ask again"
    return "Next: send the winder the table and drawings; weigh what comes, see:\n  recurve spring --help"


def after_spring(of_use: bool, file: str | None) -> str:
    """What a weighed spring leads to."""
    if not of_use:
        return "Next: weigh it again with weights farther apart"
    return f"Next: plan with {file}" if file else "Next: add it to a catalogue with --append, --id and --free-length"


def after_check(verdict: str, job: Path) -> str:
    """By the verdict of a check."""
    again, plan = f"recurve check {_quoted(job)}", f"recurve plan {_quoted(job)}"
    words = {
        "sound": f"nothing needs planning; to record it:\n  recurve verify {_quoted(job)} SWEEP.csv",
        "facts only": f"give the job a [target], then:\n  {again}",
        "cannot tell": f"do what the findings ask first, sweep again, then:\n  {again}",
        "mechanical repair first": f"repair it, sweep again, then:\n  {again}",
        "not worth saving by recurve": f"to see how near it could come:\n  {plan}",
    }
    return f"Next: {words.get(verdict, f'plan it:{chr(10)}  {plan}')}"


def after_plan(verdict: str, job: Path, sheet: str) -> str:
    """By the verdict of a plan."""
    if verdict == "out of reach":
        return f"Next: see the reasons above; what is wrong as found:\n  recurve check {_quoted(job)}"
    return f"Next: print {sheet}, build, sweep the finished unit, then:\n  recurve verify {_quoted(job)} as-left.csv"


def after_plans() -> str:
    """What many plans at once lead to."""
    return "Next: print the sheet of each that passes; for one that does not: recurve plan JOB"


def after_verify(verdict: str, job: Path, sweep: Path, record: str) -> str:
    """By the verdict on the finished unit."""
    again = f"recurve verify {_quoted(job)} {_quoted(sweep)}"
    words = {
        "passes": f"fill in, sign and hand over {record}",
        "fails": f"do what is said above, sweep again, then:\n  {again}",
        "too close to call": f"add the readings to the sweep, then:\n  {again}",
    }
    return f"Next: {words.get(verdict, f'take more readings, up and down, then:{chr(10)}  {again}')}"
