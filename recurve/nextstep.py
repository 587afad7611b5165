"""What to do next, as a report's last line: a command that can be pasted, or a thing to do with the hands."""

from __future__ import annotations

import shlex
from pathlib import Path


def _quoted(path: Path) -> str:
    return shlex.quote(str(path))


def after_curve(job: Path) -> str:
    """What a predicted curve leads to."""
    return f"Next: what is wrong as found:\n  recurve check {_quoted(job)}"


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


def after_verify(verdict: str, job: Path, sweep: Path, record: str) -> str:
    """By the verdict on the finished unit."""
    again = f"recurve verify {_quoted(job)} {_quoted(sweep)}"
    words = {
        "passes": f"fill in, sign and hand over {record}",
        "fails": f"do what is said above, sweep again, then:\n  {again}",
        "too close to call": f"add the readings to the sweep, then:\n  {again}",
    }
    return f"Next: {words.get(verdict, f'take more readings, up and down, then:{chr(10)}  {again}')}"
