"""From the job files of measured units to a type file on disk."""

from __future__ import annotations

import os
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import partial
from pathlib import Path

from recurve.errors import Gathered, InputError
from recurve.files import rewrite
from recurve.job.model import Job
from recurve.job.read import load_job
from recurve.job.type_text import type_text
from recurve.job.unit_type import SourceTable, read_type
from recurve.text import path_text, printable
from recurve.types.facts import as_slope, facts_of
from recurve.types.learning import LearnedType, learn

Report = Callable[[str], None]


@dataclass(frozen=True)
class LearnedUnits:
    """A type `made` of the jobs of some `units`; `left_out` are those that were named to be left out."""

    units: tuple[Job, ...]
    made: LearnedType
    left_out: tuple[str, ...]


def learn_units(paths: Sequence[Path], leave_out: Sequence[Path], report: Report) -> LearnedUnits:
    """Read the units' jobs, but for those left out, and learn their type. Raises InputError with all faults of all files."""
    real = [os.path.realpath(p) for p in paths]
    out = {os.path.realpath(p) for p in leave_out}
    wrong = [
        f"--leave-out: got {printable(str(p))}, expected one of the units given"
        for p in leave_out
        if os.path.realpath(p) not in real
    ]
    twice = [
        f"{printable(str(p))}: got the same unit twice, expected each once"
        for i, p in enumerate(paths)
        if real[i] in real[:i]
    ]
    if wrong or twice:
        raise InputError([*wrong, *twice])
    kept = [p for p, where in zip(paths, real, strict=True) if where not in out]
    if not kept:
        raise InputError("--leave-out: got every unit, expected at least one that is kept")
    gather, jobs = Gathered(), list[Job]()
    for path in kept:
        read = gather(partial(load_job, path))
        if read is not None:
            jobs.append(read)
    gather.settle()
    planned = [
        f"{printable(str(job.path))}: planned: got a unit as planned, which nobody measured; expected its job, "
        f"{printable(job.model.planned.job) or 'as found'}"
        for job in jobs
        if job.model.planned is not None
    ]
    if planned:
        raise InputError(planned)
    copied = [
        f"{printable(str(job.path))}: got a copy of {printable(str(jobs[first].path))}, the same unit twice; expected each once"
        for i, job in enumerate(jobs)
        if (first := [other.fingerprint for other in jobs].index(job.fingerprint)) < i
    ]
    if copied:
        raise InputError(copied)
    facts = []
    for i, job in enumerate(jobs):
        report(f"Unit {i + 1} of {len(jobs)}")
        facts.append(facts_of(job))
    if any(job.model.weights.motion.kind not in ("slot", "link") for job in jobs):
        reach = min(job.stop.limits[1] for job in jobs)
        facts = [as_slope(one, reach) for one in facts]
    left = tuple(str(p) for p, where in zip(paths, real, strict=True) if where in out)
    return LearnedUnits(tuple(jobs), learn(facts), left)


def write_type(found: LearnedUnits, to: Path, title: str, replace: bool) -> None:
    """Write the type file `to`; one that is there is kept unless told to `replace` it, and a file that is no type is kept
    whatever is told. Raises InputError and OutputError."""
    if os.path.lexists(to) and not replace:
        raise InputError(f"{to}: got a file that is there already, expected a new name, or --replace")
    if os.path.realpath(to) in {os.path.realpath(job.path) for job in found.units}:
        raise InputError(f"{to}: got one of the units, expected the name of a type file")
    if os.path.lexists(to):
        _check_type(to)
    sources = [
        SourceTable(file=_beside(job.path, to), title=job.title, date=job.date, inputs=job.fingerprint)
        for job in found.units
    ]
    text = type_text(title, sources, found.made.learned, found.made.alike)
    rewrite(to, text.encode("utf-8"))


def _check_type(to: Path) -> None:
    """Raise InputError for a file that does not read as a type: it may be a job, and would be lost."""
    try:
        read_type(to, str(to))
    except InputError:
        raise InputError(
            f"{to}: got a file that does not read as a type, expected one for --replace, or a new name"
        ) from None


def _beside(path: Path, to: Path) -> str:
    """The path of a unit from the type file's folder."""
    try:
        return path_text(Path(os.path.relpath(path, to.parent)))
    except ValueError:  # there is no relative path to another drive
        return path_text(path.absolute())
