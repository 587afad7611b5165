"""What if: other springs, posts bent otherwise, another stop or target, and the curve that follows at once."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from functools import lru_cache
from pathlib import Path

import numpy as np

from recurve.errors import InputError
from recurve.job.model import Job
from recurve.job.read import load_job
from recurve.output.figures.picture import Picture, read_picture
from recurve.output.figures.quick import Line, curve_svg, dots_of, last_rpm, traced, unit_svg
from recurve.output.planfile import current_plan, plan_path, read_planned
from recurve.physics.curve import trace
from recurve.physics.target import Band
from recurve.planner.build import Build, make_build
from recurve.springs.spring import Spring
from recurve.units import PLACES, RPM, parse

GRID = 401
MOST_BEND, MOST_TRIM, MOST_SHIFT = 3.0, 3.0, 6.0  # mm, mm, deg: as far as the sliders go


@dataclass(frozen=True)
class Base:
    """What is varied: the unit as planned, or, without a plan, as the job describes it; `planned` tells which. `springs` are
    those in it, `drawer` those that can be had, by their ids."""

    job: Job
    planned: bool
    springs: tuple[Spring, ...]
    drawer: dict[str, Spring]
    picture: Picture | None


@dataclass(frozen=True)
class Tried:
    """One trial: its `build`, the picture of its curve, and the target's `shift` [rad]."""

    build: Build
    svg: str
    shift: float


def base_of(path: Path) -> Base:
    """The unit that is varied. Raises InputError and PhysicsError where the job does not give one."""
    asked = load_job(path)
    planned = current_plan(asked) is not None
    return _base(path, planned, asked.fingerprint, plan_path(path).stat().st_mtime_ns if planned else 0)


@lru_cache(maxsize=8)
def _base(path: Path, planned: bool, fingerprint: str, when: int) -> Base:
    job = load_job(plan_path(path) if planned else path)
    drawer = {s.id: s for s in (job.catalogue.springs if job.catalogue is not None else ()) if s.quantity != 0}
    found = [p.found for p in job.places]
    if any(s is None for s in found):
        found = [s or next(iter(drawer.values()), None) for s in found]
    springs = tuple(s for s in found if s is not None)
    table = read_planned(plan_path(path)) if planned else None
    if table is not None:  # the plan's file describes its springs as found; a person looks for the names of those hung
        names = {one.place: one.id for one in table.springs}
        springs = tuple(replace(s, id=names.get(place, s.id)) for place, s in zip(PLACES, springs, strict=False))
    if len(springs) != len(job.places):
        raise InputError(
            f"{path}: springs: missing, expected a plan first, or the springs now fitted, or some in the drawer"
        )
    if job.target is None or not job.target.timed:
        raise InputError(f"{path}: target: missing, expected what the book asks")
    try:
        picture = read_picture(path)
    except InputError:
        picture = None
    return Base(job, planned, springs, drawer, picture)


def try_out(base: Base, asked: Mapping[str, str]) -> Tried:
    """The curve with what was asked: a spring's id or figures for each place, bends and trim [mm], the target's shift [deg].
    Raises InputError."""
    job = base.job
    assert job.target is not None  # a base has one
    springs = tuple(_spring(base, asked, place) for place in range(len(job.places)))
    bends = tuple(1e-3 * _number(asked, f"bend-{name}", MOST_BEND) for name in PLACES[: len(job.places)])
    trim = 1e-3 * _number(asked, "trim", MOST_TRIM)
    shift = float(np.radians(_number(asked, "shift", MOST_SHIFT)))
    bands = tuple(replace(b, low=max(b.low + shift, 0.0), high=max(b.high + shift, 0.0)) for b in job.target.bands)
    per_mm = job.stop.per_mm or np.radians(4.0) / 1e-3
    stop = max(job.stop.advance - trim * per_mm, float(np.radians(2.0)))
    build = make_build(replace(job, target=replace(job.target, bands=bands)), springs, bends, stop, GRID)
    return Tried(build, _picture(base, build, bands), shift)


def _picture(base: Base, build: Build, bands: tuple[Band, ...]) -> str:
    job = base.job
    dots = dots_of(job.sweep)
    last = max(last_rpm(bands, dots), 1.15 * (build.curve.all_in or 0.0) * RPM)
    lines: list[Line] = [*traced("tried", "tried", build.curve, last, job.idle_speed)]
    was = job.as_found()
    if was is not None:
        name = "planned" if base.planned else "as found"
        lines = [*traced(name, "planned" if base.planned else "found", trace(was, GRID), last, job.idle_speed), *lines]
    return curve_svg(bands, lines, dots, last, f"Curve as tried: margin {build.margin:.2f}")


def _spring(base: Base, asked: Mapping[str, str], place: int) -> Spring:
    """The spring asked for: figures of one's own, one of the drawer by its id, or the one that is in it."""
    name, own = PLACES[place], base.springs[place]
    rate, free = asked.get(f"rate-{name}", "").strip(), asked.get(f"free-{name}", "").strip()
    if rate or free:
        try:
            given = own.rate if not rate else parse(_with(rate, "N/mm"), "rate").value
            length = own.free_length if not free else parse(_with(free, "mm"), "length").value
        except ValueError as fault:
            raise InputError(f"{name} spring: {fault}") from None
        if not 1.0 < given < 1e6 or not 1e-3 < length < 0.2:
            raise InputError(
                f"{name} spring: got figures that no such spring has, expected N/mm and mm inside its hooks"
            )
        return replace(own, id="your own", rate=given, free_length=length)
    wanted = asked.get(f"spring-{name}", "")
    if not wanted:
        return own
    if wanted not in base.drawer:
        raise InputError(f"{name} spring: got {wanted[:40]!r}, expected one of the drawer")
    return base.drawer[wanted]


def _with(text: str, unit: str) -> str:
    return f"{text} {unit}" if all(c in "0123456789.+-eE" for c in text) else text


def _number(asked: Mapping[str, str], key: str, most: float) -> float:
    """A number of a slider, 0 where it is not told; held within its ends."""
    try:
        value = float(asked.get(key, "") or 0.0)
    except ValueError:
        raise InputError(f"{key}: got no number, expected one") from None
    return min(max(value, -most), most) if np.isfinite(value) else 0.0


def swung(base: Base, build: Build, rpm: float, rising: bool) -> tuple[str, float]:
    """The unit drawn with its weights where they stand at a speed [rpm], and the advance [deg] there."""
    speed = rpm / RPM
    start = build.residual[0]
    branch = build.curve.rising_advance(speed, start) if rising else build.curve.falling_advance(speed)
    advance = float(branch)
    if base.picture is None or not base.picture.advance:
        return "", float(np.degrees(advance))
    part = min(advance / base.picture.advance, 1.2)
    return unit_svg(base.picture, part, f"The unit at {rpm:.0f} rpm, {np.degrees(advance):.1f}° of advance"), float(
        np.degrees(advance)
    )
