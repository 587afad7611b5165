"""Worn units whose truth is known, each with the job file that somebody might write of it; all invented.

A mechanism of `mechanisms` is what the job says; the unit itself is drawn from within each stated ±, and
what is not stated from the broad ranges of data/ranges.toml [fit]. Its sweep is made by `integrator` on
the true geometry, from a standstill up and down again, read and timed with noise: standard deviation
limit/√3 of the stated ±. Nothing here uses the fit or the family of curves that it is there to check.

Degrees, rpm, mm, g, N, mN·m; distributor terms. `case(seed)` always makes the same.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cache
from pathlib import Path
from typing import Literal

import numpy as np
from integrator import Bench, bench
from mechanisms import RPM, Mechanism, Pull, Unsound, closed_swing, distance, inertia, mechanism
from numpy.typing import NDArray

from recurve.job.model import Job
from recurve.job.read import load_job

Array = NDArray[np.float64]
Kind = Literal["any", "sound", "stays in"]
# As data/ranges.toml [fit] has them: median and factor of a rate [N/mm], mean and spread of a stretch [mm], and
# spread of an initial tension [N], of each undescribed spring; then of friction [mN·m], its share, stop, zero [deg].
BROAD = (((1.8, 3.0), (0.3, 1.2), 0.0), ((6.0, 3.0), (-0.6, 1.5), 2.0))
FRICTION, SHARE, STOP, ZERO = 4.0, 0.03, 0.3, 0.1
PLAUSIBLE = ((0.3, 10.0), (1.0, 40.0))
RESIDUAL = 1.5
TRIES = 4000


@dataclass(frozen=True)
class Stated:
    """What the job says: the mechanism, the ± of each number that has one, and whether its springs are told."""

    one: Mechanism
    limits: dict[str, float]
    springs: bool
    drag: bool


@dataclass(frozen=True)
class Case:
    """A unit, its job and its sweep. `truth` in the units and by the names of the fit's estimates; `speeds`
    [rpm] at which the true curve is known, `rising` and `falling` [deg] there; `residual` [deg] at `idle` [rpm]."""

    seed: int
    text: str
    readings: str
    truth: dict[str, float]
    speeds: Array
    rising: Array
    falling: Array
    idle: float
    residual: float

    def job(self, folder: Path) -> Job:
        """The job as read from files in this folder."""
        (folder / "as-found.csv").write_text(self.readings, encoding="utf-8")
        path = folder / f"unit-{self.seed}.toml"
        path.write_text(self.text, encoding="utf-8")
        return load_job(path)


@cache
def case(seed: int, kind: Kind = "any", many: int = 0) -> Case:
    """The case of this seed, as read by hand or, if `many`, by a logger that takes so many readings each way: a third of them do
    not tell the springs, some took zero at speed, some were not
    swept to the stop, some have one spring, an electronic trigger, or no ± on the weights."""
    random = np.random.default_rng([seed, ("any", "sound", "stays in").index(kind)])
    for attempt in range(TRIES):
        try:
            stated = stated_unit(seed + 100_000 * attempt, random, kind)
            return measured(seed, stated, *true_unit(stated, random, kind), (random, many), kind)
        except Unsound:
            continue
    raise AssertionError(f"seed {seed} gives no plausible unit")


# --- what is said, and what is so -------------------------------------------------------------------------


def stated_unit(seed: int, random: np.random.Generator, kind: Kind) -> Stated:
    one = mechanism(seed)
    if any(not low <= p.rate <= high for p, (low, high) in zip(one.springs, PLAUSIBLE, strict=True)):
        raise Unsound("springs no catalogue has")
    alone, told, weighed, electronic = random.random(4) < (0.15, 2 / 3, 0.8, 0.1)
    springs = one.springs[:1] if alone else one.springs
    if not told:
        springs = tuple(replace(p, tension=0.0) for p in springs)
    if kind == "stays in":
        springs = (_slack(one, springs[0], random.uniform(0.3, 3.0)), *springs[1:])
    drag, drag_told = (0.0, True) if electronic else (random.uniform(2, 8), random.random() < 0.6)
    one = replace(one, springs=springs, drag=drag if drag_told else 7.0, friction=0.0)
    if random.random() < 0.3:
        one = replace(one, friction=random.uniform(0.3, 2.0))
    limits = _limits(one, random, told, weighed)
    if drag_told and not electronic:
        limits["drag.rubbing_block"] = random.uniform(0.5, 2.0)
    return Stated(one, limits, bool(told), bool(drag_told))


def _limits(one: Mechanism, random: np.random.Generator, told: bool, weighed: bool) -> dict[str, float]:
    limits: dict[str, float] = {}
    if weighed:
        limits |= {"mass": 0.01 * one.mass, "pivot": 0.1, "cg.distance": 0.2, "cg.angle": 1.0}
        limits |= {"pin.distance": 0.1, "pin.angle": 1.0}
    if random.random() < 0.7:
        limits["stop"] = random.uniform(0.2, 0.5)
    if one.friction:
        limits["drag.friction"] = random.uniform(0.3, 0.8) * one.friction
    if told:
        for place, pull in zip(("primary", "secondary"), one.springs, strict=False):
            limits[f"{place}.rate"] = random.uniform(0.03, 0.10) * pull.rate
            limits[f"{place}.takeup"] = random.uniform(0.3, 1.0)
            limits[f"{place}.free_length"] = random.uniform(0.05, 0.2)
    return limits


def true_unit(stated: Stated, random: np.random.Generator, kind: Kind) -> tuple[Mechanism, float]:
    """The unit itself, and its friction's share."""

    def off(value: float, key: str) -> float:
        return value + stated.limits.get(key, 0.0) * random.uniform(-1, 1)

    said = stated.one
    unit = replace(
        said,
        mass=off(said.mass, "mass"),
        pivot=off(said.pivot, "pivot"),
        cg=(off(said.cg[0], "cg.distance"), off(said.cg[1], "cg.angle")),
        pin=(off(said.pin[0], "pin.distance"), off(said.pin[1], "pin.angle")),
        drag=off(said.drag, "drag.rubbing_block") if stated.drag else random.uniform(2, 12),
        friction=off(said.friction, "drag.friction") if said.friction else FRICTION * abs(random.normal()),
        stop=off(said.stop, "stop") if "stop" in stated.limits else said.stop + STOP * random.normal(),
    )
    if "mass" not in stated.limits:
        unit = replace(unit, mass=said.mass * (1 + 0.02 * random.normal()))
    share = SHARE * abs(random.normal())
    told = tuple(_told_spring(unit, stated, i, off) for i in range(len(said.springs)))
    unit = replace(unit, springs=told)
    return (unit if stated.springs else _drawn_springs(unit, share, random, kind)), share


def _told_spring(unit: Mechanism, stated: Stated, index: int, off: object) -> Pull:
    assert callable(off)
    said, place = stated.one.springs[index], ("primary", "secondary")[index]
    takeup = _takeup(stated.one, said)
    free = float(off(said.free_length, f"{place}.free_length"))
    if 0 < takeup < np.inf:
        free = float(_length(unit, said, max(off(takeup, f"{place}.takeup"), 0.0)))
    return replace(said, rate=off(said.rate, f"{place}.rate"), free_length=free)


def _drawn_springs(unit: Mechanism, share: float, random: np.random.Generator, kind: Kind) -> Mechanism:
    """Springs from the broad ranges, such that the unit is one that somebody would sweep."""
    for _ in range(TRIES // 10):
        made = []
        for pull, (rates, stretches, tension) in zip(unit.springs, BROAD, strict=False):
            rate, tense = rates[0] * rates[1] ** random.normal(), tension * abs(random.normal())
            free = float(_length(unit, pull, 0.0)) - random.normal(*stretches)
            made.append(replace(pull, rate=rate, free_length=free, tension=tense))
        drawn = replace(unit, springs=tuple(made))
        takeups = [_takeup(drawn, p) for p in made]
        if takeups == sorted(takeups) and takeups[0] < 0.7 * unit.stop and plausible(bench(drawn, share, 0.1)):
            return drawn
    raise Unsound("no such springs")


def plausible(unit: Bench) -> bool:
    """Onset and all-in where a bench goes, and nothing snaps."""
    moment = unit.springs + unit.drag + unit.friction
    squared = moment / ((1 - unit.share) * unit.drive)
    rises = bool((np.diff(squared) > 0).all())
    return rises and 120 * RPM < np.sqrt(squared[0]) < 600 * RPM and np.sqrt(squared[-1]) < 2800 * RPM


# --- small geometry -----------------------------------------------------------------------------------------


def _length(one: Mechanism, pull: Pull, advance: float | Array) -> Array:
    """Length over the posts [mm] at the advance [deg]."""
    alpha = np.radians(np.linspace(0.0, 1.2 * one.stop, 13))
    return np.asarray(np.interp(advance, np.degrees(alpha), distance(one, pull, alpha, closed_swing(one, alpha))))


def _takeup(one: Mechanism, pull: Pull) -> float:
    """Where a spring begins to pull [deg]: 0 from rest, infinite past 1.2 times the stop."""
    advance = np.linspace(0.0, 1.2 * one.stop, 241)
    return float(np.interp(pull.free_length, _length(one, pull, advance), advance, right=np.inf))


def _slack(one: Mechanism, pull: Pull, takeup: float) -> Pull:
    return replace(pull, free_length=float(_length(one, pull, takeup)), tension=0.0)


def _scale(stated: Mechanism, unit: Mechanism, reach: float) -> float:
    """I′ of the unit against that stated, mean from 0 to `reach` [deg]."""
    alpha = np.radians(np.linspace(0.0, reach, 25))
    slopes = [np.gradient(inertia(one, closed_swing(one, alpha)), alpha, edge_order=2) for one in (unit, stated)]
    return float((slopes[0] / slopes[1]).mean())


# --- the bench ----------------------------------------------------------------------------------------------


def measured(
    seed: int, stated: Stated, unit: Mechanism, share: float, how: tuple[np.random.Generator, int], kind: Kind
) -> Case:
    curve, (random, many) = bench(unit, share), how
    low, high = _span(curve, random, kind)
    idle, residual = low, _residual(curve, low)
    _require(kind, residual)
    limits = random.uniform(0.5, 0.9), random.uniform(5.0, 15.0)
    up = np.round(np.linspace(low, high, int(random.integers(8, 14))), -1)
    if many:
        up = np.round(np.linspace(low, high, many), 1)
    down = up[-2::-1] if random.random() < 0.5 else up[::-1]
    zeroed = _zeroed(low, kind, "stop" in stated.limits and high > all_in(curve), random)
    zero = ZERO * random.normal()
    speeds, clean = passed(curve, up, down, limits[1], random)
    hidden = 0.0 if zeroed is None else _settled(curve, zeroed)
    read = clean - hidden - zero + limits[0] / np.sqrt(3) * random.normal(size=len(clean))
    asked = np.linspace(low, high, 8)
    curve.stand_still()
    rising = curve.go_through(asked)
    falling = curve.go_through(asked[::-1])[::-1]
    truth = _truth(stated, unit, share, zero, float(read.max()))
    text = _job_text(stated, limits, zeroed, idle)
    return Case(seed, text, as_csv(speeds, read, len(up)), truth, asked, rising, falling, idle, residual)


def _span(curve: Bench, random: np.random.Generator, kind: Kind) -> tuple[float, float]:
    """From where to where the unit is swept [rpm]: past the stop, or in a fifth of the cases not up to it."""
    full = all_in(curve)
    high = full * (random.uniform(0.8, 0.97) if random.random() < 0.2 else random.uniform(1.05, 1.2))
    low = random.uniform(250, 400) if kind == "stays in" else random.uniform(0.6, 0.95) * max(onset(curve), 220.0)
    if high < low + 300 or not np.isfinite(high):
        raise Unsound("no room for a sweep")
    return round(low, -1), round(high, -1)


def all_in(curve: Bench) -> float:
    return float(_rising_speed(curve).max())


def onset(curve: Bench) -> float:
    return float(_rising_speed(curve)[0])


def _rising_speed(curve: Bench) -> Array:
    """The speed [rpm] at which each advance would be pushed further."""
    squared = (curve.springs + curve.drag + curve.friction) / ((1 - curve.share) * curve.drive)
    return np.asarray(np.sqrt(np.maximum(squared, 0.0)) / RPM)


def _residual(curve: Bench, rpm: float) -> float:
    """What stays in [deg] at this speed, coming down from the stop."""
    curve.at = len(curve.advance) - 1
    return curve.settle(rpm)


def _require(kind: Kind, residual: float) -> None:
    if (kind == "sound" and residual > 0) or (kind == "stays in" and residual < RESIDUAL):
        raise Unsound("not the kind that was asked")


def _zeroed(low: float, kind: Kind, stop_tells: bool, random: np.random.Generator) -> float | None:
    """The speed [rpm] at which a quarter took zero; with advance staying in only where the stop can tell."""
    if random.random() < 0.75 or (kind == "stays in" and not stop_tells):
        return None
    return float(round(random.uniform(0.8, 1.2) * low, -1))


def passed(curve: Bench, up: Array, down: Array, limit: float, random: np.random.Generator) -> tuple[Array, Array]:
    """Speeds as shown and advances as they were, at speeds that were a little others."""
    curve.stand_still()
    advances = []
    for shown in (up, down):
        real = np.maximum(shown + limit / np.sqrt(3) * random.normal(size=len(shown)), 1.0)
        order = np.argsort(real) if shown is up else np.argsort(-real)
        passed = np.empty(len(real))
        passed[order] = curve.go_through(real[order])
        advances.append(passed)
    return np.concatenate([up, down]), np.concatenate(advances)


def _settled(curve: Bench, rpm: float) -> float:
    curve.stand_still()
    return curve.settle(rpm)


def _truth(stated: Stated, unit: Mechanism, share: float, zero: float, reach: float) -> dict[str, float]:
    """By the names of the fit's estimates, in their units."""
    truth = {"drag": unit.drag, "friction": unit.friction, "friction_share": share, "stop": unit.stop, "zero": zero}
    truth["scale"] = _scale(stated.one, unit, reach)
    for place, pull in zip(("primary", "secondary"), unit.springs, strict=False):
        stretch = float(_length(unit, pull, 0.0)) - pull.free_length
        truth[f"{place}.rate"], truth[f"{place}.tension"] = pull.rate, pull.tension
        truth[f"{place}.takeup"] = min(_takeup(unit, pull), unit.stop)
        truth[f"{place}.pull"] = pull.tension + pull.rate * stretch if stretch >= 0 else 0.0
    return truth


def as_csv(speeds: Array, read: Array, rising: int) -> str:
    rows = [
        f"{rpm:g},{value:.3f},{'rising' if i < rising else 'falling'}"
        for i, (rpm, value) in enumerate(zip(speeds, read, strict=True))
    ]
    return "\n".join(["speed [rpm],advance [deg],direction", *rows, ""])


# --- the job file -------------------------------------------------------------------------------------------


def _job_text(stated: Stated, limits: tuple[float, float], zeroed: float | None, idle: float) -> str:
    one = stated.one

    def said(value: float, key: str, unit: str) -> str:
        by = stated.limits.get(key)
        return f'"{value!r} {unit}"' if by is None else f'"{value!r} ± {by!r} {unit}"'

    arms = [
        f"{arm} = {{ distance = {said(d, f'{arm}.distance', 'mm')}, angle = {said(a, f'{arm}.angle', 'deg')} }}"
        for arm, (d, a) in (("cg", one.cg), ("pin", one.pin))
    ]
    if one.cam is not None:
        arms.append(f'cam = {{ radius = "{one.cam[0]!r} mm", angle = "{one.cam[1]!r} deg" }}')
    drag = ['trigger = "electronic"'] if stated.drag and one.drag == 0 else []
    if stated.drag and one.drag > 0:
        drag.append(f"rubbing_block = {said(one.drag, 'drag.rubbing_block', 'mN*m')}")
    if one.friction:
        drag.append(f"friction = {said(one.friction, 'drag.friction', 'mN*m')}")
    lines = [
        'title = "Invented worn unit"',
        f'[distributor]\nlobes = 6\nrotation = "{one.rotation}"',
        f"[weights]\ncount = {one.count}\nmass = {said(one.mass, 'mass', 'g')}",
        f'[weights.motion]\nkind = "{one.kind}"',
        f"pivot = {{ radius = {said(one.pivot, 'pivot', 'mm')} }}",
        *arms,
        f"[stop]\nadvance = {said(one.stop, 'stop', 'deg')}",
        *(["[drag]", *drag] if drag else []),
        *(_spring_text(stated, i, said) for i in range(len(one.springs))),
        f'[target]\nidle = {{ speed = "{idle:.0f} rpm", max = "0.5 deg" }}',
        f'[sweep]\nfile = "as-found.csv"\nreading = "± {limits[0]!r} deg"\nspeed_reading = "± {limits[1]!r} rpm"',
        *([] if zeroed is None else [f'zeroed_at = "{zeroed:.0f} rpm"']),
    ]
    return "\n".join(lines) + "\n"


def _spring_text(stated: Stated, index: int, said: object) -> str:
    assert callable(said)
    pull, place = stated.one.springs[index], ("primary", "secondary")[index]
    lines = [f"[springs.{place}]", f'post_diameter = "{pull.diameter!r} mm"']
    if stated.springs:
        takeup = _takeup(stated.one, pull)
        lines += [f"rate = {said(pull.rate, f'{place}.rate', 'N/mm')}", f'initial_tension = "{pull.tension!r} N"']
        if 0 < takeup < np.inf:  # one too long ever to pull is measured, not felt
            lines.append(f"takeup = {said(takeup, f'{place}.takeup', 'deg')}")
        else:
            lines.append(f"free_length = {said(pull.free_length, f'{place}.free_length', 'mm')}")
    lines += [f"[springs.{place}.posts]", 'kind = "points"']
    for which, post in (("anchor", pull.anchor), ("far", pull.far)):
        lines.append(f'{which} = {{ on = "{post.on}", radius = "{post.radius!r} mm", angle = "{post.angle!r} deg" }}')
    return "\n".join(lines)
