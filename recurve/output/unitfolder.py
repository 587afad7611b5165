"""The units of a folder: which they are, what is known of each, and what to do next; read from their files alone."""

from __future__ import annotations

import tomllib
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Literal

from recurve.errors import InputError, RecurveError
from recurve.job.edit import read_edited
from recurve.job.model import BareJob, Job
from recurve.job.read import load_any
from recurve.job.schema import PlannedTable
from recurve.output.planfile import current_plan, plan_folder, plan_path, read_planned

State = Literal[
    "begun", "book", "swept", "not swept, with a type", "swept, with a type", "measured", "planned", "read as left", "passed"
]  # fmt: skip


@dataclass(frozen=True)
class Unit:
    """A unit of the workshop: its `name` in addresses, the job file, and what is read of it; `faults` where it cannot be."""

    name: str
    path: Path
    title: str
    about: str
    state: State
    next: tuple[str, str]  # the step and what to do there
    faults: tuple[str, ...] = ()
    date: str = ""
    inputs: str = ""  # the job's fingerprint, "" where it cannot be read
    plan: PlannedTable | None = None  # what was planned from the job as it is now


def unit_of(name: str, path: Path) -> Unit:
    """What is known of a unit, by its files alone."""
    try:
        edited = read_edited(path)
    except InputError as refused:
        return Unit(name, path, path.stem, "", "begun", ("book", "correct the file by hand"), tuple(refused.faults))
    about = str(edited.answers.get("unit", ""))
    try:
        job = load_any(path)
    except RecurveError as refused:
        faults = tuple(refused.faults) if isinstance(refused, InputError) else (str(refused),)
        state: State = "book" if "target.points" in edited.answers else "begun"
        todo = ("book", "enter the book's figures")
        return Unit(name, path, edited.title, about, state, todo, faults, str(edited.answers.get("date", "")))
    state, todo = _state(path, job)
    return Unit(
        name, path, edited.title, about, state, todo, date=job.date, inputs=job.fingerprint, plan=current_plan(job)
    )


def _state(path: Path, job: Job | BareJob) -> tuple[State, tuple[str, str]]:
    planned = read_planned(plan_path(path))
    left = "" if planned is not None and planned_anew(path, planned) else last_left(path)
    if left == "passes":
        return "passed", ("papers", "hand it over")
    if left:
        return "read as left", ("left", f"last time: {left}")
    if isinstance(job, Job) and current_plan(job) is not None:
        return "planned", ("set", "build and set the unit")
    if isinstance(job, Job):
        return _whole(job)
    if job.sweep is not None and (plan_folder(path) / "as-found.toml").is_file():
        return "swept", ("parts", "measure its parts for a plan")
    if job.sweep is not None:
        return "swept", ("look", "take a first look")
    if job.target is not None:
        return "book", ("sweep", "sweep the unit as found")
    return "begun", ("book", "enter what the book asks for")


def _whole(job: Job) -> tuple[State, tuple[str, str]]:
    """The state of a unit that can be planned, and what to do next: measured on the unit itself, or by its type."""
    by_type = job.kind is not None and any(key[0] in ("weights", "springs") for key in job.kind.taken)
    if by_type and job.sweep is None:
        return "not swept, with a type", ("sweep", "sweep the unit as found")
    state: State = "swept, with a type" if by_type else "measured"
    if job.catalogue is not None and job.target is not None:
        return state, ("plan", "plan it")
    return state, ("springs", "enter the springs you can get")


def last_left(path: Path) -> str:
    """The verdict of the last reading of the finished unit; "" if there is none, "not trusted" if it does not count."""
    records = _records(path)
    if not records:
        return ""
    return "not trusted" if records[-1].get("distrust") else str(records[-1].get("verdict", ""))


def planned_anew(path: Path, planned: PlannedTable) -> bool:
    """Whether this plan was made after the last record of the finished unit: from other files, or from the same with other
    springs asked for. A record that does not tell its plan is taken to be of this one."""
    records = _records(path)
    before = records[-1].get("planned") if records else None
    if not isinstance(before, dict):
        return False
    if _inputs(records[-1]) not in ("", planned.inputs):
        return True
    try:
        springs = {str(s["place"]): str(s["id"]) for s in before.get("springs", [])}
    except (KeyError, TypeError):
        return False
    return any(springs.get(s.place, s.id) != s.id for s in planned.springs)


def last_of_plan(path: Path, planned: PlannedTable) -> dict[str, Any] | None:
    """The last record of a unit as built by this plan; None where nothing says that it was built."""
    found = [r for r in _records(path) if _inputs(r) == planned.inputs and not _as_found(r)]
    return found[-1] if found else None


def _records(path: Path) -> list[dict[str, Any]]:
    try:
        table: dict[str, Any] = tomllib.loads((plan_folder(path) / "as-left.toml").read_text(encoding="utf-8"))
        return [r for r in table["as_left"] if isinstance(r, dict)]
    except (OSError, UnicodeDecodeError, tomllib.TOMLDecodeError, KeyError, TypeError):
        return []


def _inputs(record: dict[str, Any]) -> str:
    planned = record.get("planned")
    return str(planned.get("inputs", "")) if isinstance(planned, dict) else ""


def _as_found(record: dict[str, Any]) -> bool:
    """Whether a record's readings are those of the unit as found."""
    found, left = (record.get(key) for key in ("as_found", "as_left"))
    columns = ("speed_rpm", "advance_deg", "direction")
    return isinstance(found, dict) and isinstance(left, dict) and all(found.get(c) == left.get(c) for c in columns)
