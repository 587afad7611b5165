"""The units of a folder: which they are, what is known of each, and what to do next."""

from __future__ import annotations

import os
import shutil
import tomllib
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Literal

from recurve.errors import InputError, RecurveError
from recurve.job.edit import beside_file, read_edited, save_answer
from recurve.job.model import BareJob, Job
from recurve.job.read import load_any
from recurve.output.figures.quick import curve_svg, dots_of, last_rpm, traced
from recurve.output.planfile import current_plan, plan_folder, plan_path
from recurve.physics.curve import trace
from recurve.text import beside, path_text
from recurve.units import RPM

State = Literal["begun", "book", "swept", "measured", "planned", "read as left", "passed"]
ARCHIVE = "archive"
# No jobs, though they end so.
OTHER = ("plan.toml", "as-left.toml", "answers.toml", "pyproject.toml")


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


def find(folder: Path, name: str) -> Path | None:
    """The job file of a name, only of one that lies in the folder."""
    path = folder / f"{name}.toml"
    inside = path.resolve().is_relative_to(folder.resolve())
    return path if inside and "\0" not in name and path.is_file() and path.name not in OTHER else None


def paths(folder: Path) -> Iterator[tuple[str, Path]]:
    """Names and job files of a folder and of the folders in it, plans and archive left out."""
    for path in sorted((*folder.glob("*.toml"), *folder.glob("*/*.toml"))):
        name = path.relative_to(folder).with_suffix("").as_posix()
        away = path.parent != folder and (path.parent.name == ARCHIVE or path.parent.name.endswith("-plan"))
        if not away and path.name not in OTHER and not path.name.endswith(".answers.toml") and path.name[0] != ".":
            yield name, path


def units(folder: Path, search: str = "") -> list[Unit]:
    """The units whose name, title or number has these words in it."""
    words = search.lower().split()
    found = [unit_of(name, path) for name, path in paths(folder)]
    return [u for u in found if all(w in f"{u.name} {u.title} {u.about}".lower() for w in words)]


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
        return Unit(name, path, edited.title, about, state, ("book", "enter the book's figures"), faults)
    state, todo = _state(path, job)
    return Unit(name, path, edited.title, about, state, todo)


def _state(path: Path, job: Job | BareJob) -> tuple[State, tuple[str, str]]:
    left = last_left(path)
    if left == "passes":
        return "passed", ("papers", "hand it over")
    if left:
        return "read as left", ("left", f"last time: {left}")
    if isinstance(job, Job) and current_plan(job) is not None:
        return "planned", ("set", "build and set the unit")
    if isinstance(job, Job) and job.catalogue is not None and job.target is not None:
        return "measured", ("plan", "plan it")
    if isinstance(job, Job):
        return "measured", ("springs", "enter the springs you can get")
    if job.sweep is not None:
        return "swept", ("look", "take a first look")
    if job.target is not None:
        return "book", ("sweep", "sweep the unit as found")
    return "begun", ("book", "enter what the book asks for")


def last_left(path: Path) -> str:
    """The verdict of the last reading of the finished unit; "" if there is none."""
    try:
        table: dict[str, Any] = tomllib.loads((plan_folder(path) / "as-left.toml").read_text(encoding="utf-8"))
        return str(table["as_left"][-1]["verdict"])
    except (OSError, UnicodeDecodeError, tomllib.TOMLDecodeError, KeyError, IndexError, TypeError):
        return ""


def curve_picture(job: Job | BareJob | None, path: Path, label: str) -> str:
    """The curve of a unit: its bands, its readings, and the planned curve where there is one."""
    if job is None:
        return ""
    bands = () if job.target is None else job.target.bands
    dots, lines = dots_of(job.sweep), []
    if isinstance(job, Job) and current_plan(job) is not None:
        planned = load_any(plan_path(path))
        unit = planned.as_found() if isinstance(planned, Job) else None
        if unit is not None:
            curve = trace(unit, 401)
            last = max(last_rpm(bands, dots), 1.15 * (curve.all_in or 0.0) * RPM)
            lines = [*traced("planned", "planned", curve, last, job.idle_speed)]
    if not bands and not dots and not lines:
        return ""
    return curve_svg(bands, lines, dots, last_rpm(bands, dots, lines) / (1.1 if lines else 1.0), label)


# --- new, copied, put away ------------------------------------------------------------------------------------


def folder_for(folder: Path, title: str) -> Path:
    """A new folder's job file for a unit of this title: letters, digits and hyphens of it, and a number if it is taken."""
    base = "-".join("".join(c if c.isascii() and c.isalnum() else " " for c in title.lower()).split())[:40] or "unit"
    for number in range(1, 1000):
        path = folder / (base if number == 1 else f"{base}-{number}") / "unit.toml"
        if not path.parent.exists():
            return path
    raise InputError(f"{folder / base}: got a thousand units of this name, expected another")


def copy_unit(folder: Path, path: Path) -> Path:
    """A unit's files under a new name, without its plan: the same type comes in again."""
    edited = read_edited(path)
    made = folder_for(folder, f"{edited.title} copy")
    made.parent.mkdir(parents=True)
    shutil.copy2(path, made)
    if beside_file(path).is_file():
        shutil.copy2(beside_file(path), beside_file(made))
    for key, table in tables_of(path):
        if "/" not in table and "\\" not in table:
            shutil.copy2(beside(path, table), made.parent / table)
        else:
            there = path_text(Path(os.path.relpath(beside(path, table).resolve(), made.parent.resolve())))
            save_answer(made, key, there, table)
    return made


def tables_of(path: Path) -> list[tuple[str, str]]:
    """The tables that a job file names and that are there, each with its key."""
    document = tomllib.loads(path.read_text(encoding="utf-8-sig"))
    motion = document.get("weights", {}).get("motion", {})
    named = [
        ("sweep.file", document.get("sweep", {}).get("file")),
        ("catalogue.file", document.get("catalogue", {}).get("file")),
        ("weights.motion.sweep", motion.get("sweep")),
    ]
    return [(key, n) for key, n in named if isinstance(n, str) and beside(path, n).is_file()]


def archive(folder: Path, name: str, path: Path) -> None:
    """Put a unit's file, its tables and its plan away into archive/; nothing is deleted."""
    away = folder / ARCHIVE / name.replace("/", "-")
    number = 1
    while away.exists():
        number += 1
        away = folder / ARCHIVE / f"{name.replace('/', '-')}-{number}"
    if path.parent.resolve() != folder.resolve() and len(list(path.parent.glob("*.toml"))) <= 3:
        away.parent.mkdir(exist_ok=True)
        path.parent.rename(away)
        return
    away.mkdir(parents=True)
    for one in (path, beside_file(path), plan_folder(path)):
        if one.exists():
            one.rename(away / one.name)
