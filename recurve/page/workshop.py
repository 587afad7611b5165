"""The units of a folder on the page: found by name or words, their curve in small, new ones, copies, and those put away."""

from __future__ import annotations

import os
import shutil
from pathlib import Path

from recurve.errors import InputError
from recurve.job.edit import beside_file, name_table, read_edited, save_answer
from recurve.job.model import BareJob, Job
from recurve.job.read import load_any
from recurve.output.figures.quick import curve_svg, dots_of, last_rpm, traced
from recurve.output.planfile import current_plan, plan_folder, plan_path
from recurve.output.unitfiles import ARCHIVE, OTHER, is_type, paths, tables_named
from recurve.output.unitfolder import Unit, unit_of
from recurve.physics.curve import trace
from recurve.text import beside, path_text
from recurve.units import RPM

# Answers that are of one unit alone: another of its kind has its own.
OWN = ("unit", "date", "sweep.file", "~sweep", "~readings")


def find(folder: Path, name: str) -> Path | None:
    """The job file of a name, only of one that lies in the folder."""
    path = folder / f"{name}.toml"
    try:
        inside = path.resolve().is_relative_to(folder.resolve())
        return path if inside and path.is_file() and path.name not in OTHER else None
    except (OSError, ValueError):  # no file system has such a name
        return None


def units(folder: Path, search: str = "") -> list[Unit]:
    """The units whose name, title or number has these words in it."""
    words = search.lower().split()
    found = [unit_of(name, path) for name, path in paths(folder) if not is_type(path)]
    return [u for u in found if all(w in f"{u.name} {u.title} {u.about}".lower() for w in words)]


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


def copy_unit(folder: Path, path: Path, title: str = "") -> Path:
    """A unit's files under a new name, for another of its kind: without its plan, and without what is of that one unit alone,
    its number, its date and its readings. `title` is the new one's, that of the first with "copy" if it is empty."""
    edited = read_edited(path)
    title = title or f"{edited.title} copy"
    made = folder_for(folder, title)
    made.parent.mkdir(parents=True)
    shutil.copy2(path, made)
    if beside_file(path).is_file():
        shutil.copy2(beside_file(path), beside_file(made))
    for key, value in (("title", title), *((key, "") for key in OWN)):
        save_answer(made, key, value, read_edited(made).answers.get(key, ""))
    for key, table in tables_of(made, path):
        if "/" not in table and "\\" not in table:
            shutil.copy2(beside(path, table), made.parent / table)
        else:
            there = path_text(Path(os.path.relpath(beside(path, table).resolve(), made.parent.resolve())))
            name_table(made, key, there)
    return made


def tables_of(made: Path, path: Path) -> list[tuple[str, str]]:
    """The tables that a copy names and that are there beside the first, each with its key."""
    return [(key, name) for key, name in tables_named(made) if beside(path, name).is_file()]


def archive(folder: Path, name: str, path: Path) -> None:
    """Put a unit's file, its tables and its plan away into archive/; nothing is deleted."""
    away = folder / ARCHIVE / name.replace("/", "-")
    number = 1
    while away.exists():
        number += 1
        away = folder / ARCHIVE / f"{name.replace('/', '-')}-{number}"
    alone = [p for _, p in paths(folder) if p.parent == path.parent] == [path]
    if path.parent.resolve() != folder.resolve() and alone:
        away.parent.mkdir(exist_ok=True)
        path.parent.rename(away)
        return
    away.mkdir(parents=True)
    for one in (path, beside_file(path), plan_folder(path)):
        if one.exists():
            one.rename(away / one.name)
