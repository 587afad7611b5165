"""The content of the build sheet's parts for the bench: what each says, as words and numbers with their units.

A part is a small function from a `Source` to its facts, or None where it has nothing to say. `data/sheet/NAME.typ`
and `data/page/NAME.html` lay the same facts out on paper and on a screen.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from typing import Any, Literal

import numpy as np

from recurve.job.model import SpringPlace
from recurve.output.figures.plan import found_place
from recurve.output.sheet.numbers import Cell, Shown, cell, percent, signless
from recurve.physics.curve import trace
from recurve.physics.posts import BodyPoint, PointPosts
from recurve.physics.target import Band, BandResult
from recurve.planner.build import CHECK_ADVANCE, Build, Checked, Fitted
from recurve.planner.plan import Plan
from recurve.springs.spring import Spring
from recurve.text import breakable
from recurve.units import RPM

Facts = dict[str, Any]

PLACES = (("primary", "light", "P"), ("secondary", "heavy", "S"))
OPPOSITE = {"clockwise": "anticlockwise", "anticlockwise": "clockwise"}
HEADROOM, ROUND_TO = 1.1, 50.0  # the bench goes a little past the work's last speed [rpm], and no further
STEP = 0.1e-3  # bend [m] whose effect on the setting speed is told
STILL = 0.005e-3  # a bend or trim [m] that no calliper shows
LEAST_COST = 0.01  # of the chance of passing; what costs less is not named


@dataclass(frozen=True)
class Source:
    """What parts are made from: the plan, how numbers are shown, and facts of other rooms by the name of their part."""

    plan: Plan
    shown: Shown
    given: Mapping[str, Facts] = field(default_factory=dict)

    @property
    def go(self) -> Build | None:
        """The build, None where nothing may be built."""
        return None if self.plan.verdict == "out of reach" else self.plan.build


# --- the verdict, and the numbers to set -------------------------------------------------------------------


def verdict(source: Source) -> Facts:
    """The answer, and the numbers that the work is set to; where there is no plan, why."""
    plan, build = source.plan, source.go
    job = plan.job
    return {
        "go": build is not None,
        "verdict": plan.verdict,
        "margin": "" if plan.build is None else f"{plan.build.margin:.2f}",
        "chance": None if build is None else _chance(plan),
        "reasons": [breakable(r) for r in plan.reasons],
        "numbers": [] if build is None else _numbers(source, build),
        "basis": _basis(plan),
        "checked": None if plan.checked is None else _checked(plan.checked),
        "rotation": f"{job.rotation} seen from the rotor end, {OPPOSITE.get(job.rotation, '')} seen from the drive end",
        "highest": None if plan.build is None else source.shown.speed(highest(plan, plan.build) / RPM),
    }


def _numbers(source: Source, build: Build) -> list[Facts]:
    """The numbers to set, in the order of the work: the stop, the lengths over the posts, the speeds."""
    shown = source.shown
    made = [("stop", "", shown.angle(build.stop))]
    for (name, _, mark), one in zip(PLACES, build.springs, strict=False):
        made.append((f"over post {mark}, at rest", name, shown.length(one.length)))
    for index, (advance, speed) in enumerate(zip(_checkpoints(build), build.settings, strict=True)):
        if speed is not None and index < len(build.springs):
            degrees = f"{signless(math.degrees(advance), 1)}° in, rising"
            made.append((degrees, f"sets post {PLACES[index][2]}", shown.speed(speed)))
    return [{"name": name, "note": note, "value": value} for name, note, value in made]


def _checkpoints(build: Build) -> tuple[float, float]:
    return CHECK_ADVANCE, build.stop - CHECK_ADVANCE


def _chance(plan: Plan) -> Cell | None:
    """The yield, and what costs most of it."""
    if plan.built is None:
        return None
    share = plan.built.fraction
    worst = [f"{name} ({percent(gain)})" for name, gain in plan.built.costs if gain >= LEAST_COST][:2]
    costs = f"what costs most: {' and '.join(worst)}" if worst else "no single doubt costs as much as 1 %"
    return cell("over 99 %" if share >= 0.995 else percent(share), costs)


def _basis(plan: Plan) -> str:
    """What the plan was made from."""
    if plan.fit is None:
        return "the unit as described; no sweep was fitted"
    return f"the sweep of the unit as found, {len(plan.fit.residuals) - len(plan.fit.outliers)} readings fitted"


def _checked(checked: Checked) -> str:
    """That the curve was computed a second way, and what came of it."""
    if not checked.agrees:
        return (
            f"NO: two computations of the curve are {signless(math.degrees(checked.largest), 2)}° (distributor) apart"
        )
    return f"by energy minimisation at {checked.speeds} speeds, rising and falling: within 0.01° (distributor) of the curve"


def ready(source: Source) -> Facts | None:
    """What must be in order before springs are judged."""
    return None if source.go is None else {"points": source.plan.job.trigger == "points"}


# --- the stop ----------------------------------------------------------------------------------------------


def stop(source: Source) -> Facts | None:
    """What is done to the stop, and how it is checked."""
    build, shown = source.go, source.shown
    if build is None:
        return None
    target, found = source.plan.job.target, source.plan.job.stop.advance
    band = None if target is None else target.maximum
    way = "" if abs(build.trim) < STILL else "build up" if build.trim > 0 else "file"
    return {
        "way": way,
        "trim": shown.length(abs(build.trim)) if way else None,
        "change": shown.angle(abs(build.stop - found)) if way else None,
        "found": shown.angle(found),
        "planned": shown.angle(build.stop),
        "check": None if band is None else shown.between(band.low, band.high, decimals([band])),
    }


# --- the springs -------------------------------------------------------------------------------------------


def springs(source: Source) -> Facts | None:
    """Heads of the columns, and rows with a label and one cell for each spring; rows that say nothing are left out."""
    build, plan = source.go, source.plan
    if build is None:
        return None
    fitted = list(zip(build.springs, plan.job.places, strict=False))
    columns = [_spring_cells(source, f, place, index) for index, (f, place) in enumerate(fitted)]
    rows: list[Facts] = [{"label": label, "cells": [c[label] for c in columns]} for label in columns[0]]
    return {
        "heads": [f"{name} ({kind}), post {mark}" for name, kind, mark in PLACES[: len(columns)]],
        "marks": [mark for _, _, mark in PLACES[: len(columns)]],
        "rows": [r for r in rows if any(c["main"] for c in r["cells"])],
        "angles": any(isinstance(f.posts, PointPosts) for f in build.springs),
    }


def _spring_cells(source: Source, fitted: Fitted, place: SpringPlace, index: int) -> dict[str, Cell]:
    """One spring's column, by the rows' labels."""
    s, shown = fitted.spring, source.shown
    return {
        "spring": which(source.plan, s, index),
        "rate": shown.rate(s.rate),
        "free, inside the hooks": shown.length(s.free_length),
        "initial tension": shown.force(s.initial_tension) if s.initial_tension else cell(""),
        "wire": cell("") if s.wire is None else shown.length(s.wire),
        "outside": cell("") if s.outer is None else shown.length(s.outer),
        "coils, material": cell(", ".join(x for x in (_coils(s), breakable(s.material)) if x)),
        "post to bend": _post(fitted, "anchor", shown),
        "other post": _post(fitted, "far", shown),
        "over the posts, as found": shown.length(float(fitted.posts.length(0.0)[0])),
        "bend": _bend(fitted, shown),
        "over the posts, set to": shown.length(fitted.length),
        "travel left": _travel(fitted, place, shown),
        "pull at rest": shown.force(fitted.pull) if fitted.takeup == 0.0 else _slack(fitted, shown),
        "takes up": _takeup(fitted, shown),
    }


def _coils(s: Spring) -> str:
    return "" if s.coils is None else f"{s.coils:g}"


def which(plan: Plan, spring: Spring, index: int) -> Cell:
    """The spring's id, or that it is the one in the unit."""
    found = found_place(plan.job.places, spring)
    if found is None:
        return cell(breakable(spring.id))
    return cell(
        "the spring that is in it", "leave it in" if found == index else f"move it here: it is the {PLACES[found][0]}"
    )


def _post(fitted: Fitted, end: Literal["anchor", "far"], shown: Shown) -> Cell:
    """Where a post is, so that it can be told from the others; nothing where only lengths were measured."""
    posts = fitted.posts
    if not isinstance(posts, PointPosts):
        return cell("the one that you marked" if end == "anchor" else "")
    point: BodyPoint = getattr(posts, end)
    bodies = {"base": "base plate", "cam": "cam plate"}
    body = bodies.get(str(point.body), f"weight {point.body}")
    out = shown.length(abs(point.position), 1)
    pivot = posts.motion.pivot
    where = f"{body}, {out['main']} from the axis"
    if pivot is None:
        return cell(where)
    # + 0.05 so that an angle a hair below 0 reads 0, not 360
    degrees = (math.degrees(np.angle(point.position / pivot)) + 0.05) % 360 - 0.05
    return cell(where, f"at {signless(degrees, 0)}°")


def _bend(fitted: Fitted, shown: Shown) -> Cell:
    """Which way the anchor goes, and how far."""
    if abs(fitted.bend) < STILL:
        return cell("leave it as it stands")
    far = shown.length(abs(fitted.bend))
    return cell(f"{far['main']} {'out, away from' if fitted.bend > 0 else 'in, towards'} the other", far["small"])


def _travel(fitted: Fitted, place: SpringPlace, shown: Shown) -> Cell:
    """What the post may still be bent, both ways."""
    low, high = place.travel
    inward, outward = (shown.length(max(x, 0.0))["main"] for x in (fitted.bend - low, high - fitted.bend))
    return cell(f"in {inward}, out {outward}" if high > low else "")


def _slack(fitted: Fitted, shown: Shown) -> Cell:
    return cell("none", f"slack {shown.length(fitted.spring.free_length - fitted.length)['main']}")


def _takeup(fitted: Fitted, shown: Shown) -> Cell:
    if fitted.takeup is None:
        return cell("never before the stop")
    if fitted.takeup == 0.0:
        return cell("pulls from rest")
    return shown.angle(float(fitted.takeup))


# --- the bench: setting and check --------------------------------------------------------------------------


def setting(source: Source) -> Facts | None:
    """The rising speed at which each post is set, and what bending it does."""
    build, shown = source.go, source.shown
    if build is None:
        return None
    found = []
    for index, (advance, speed) in enumerate(zip(_checkpoints(build), build.settings, strict=True)):
        if speed is None or index >= len(build.springs):
            continue
        name, _, mark = PLACES[index]
        found.append(
            {
                "spring": name,
                "mark": mark,
                "advance": shown.angle(advance),
                "speed": shown.speed(speed),
                "effect": _effect(build, index, advance, speed, shown),
            }
        )
    return {"settings": found, "highest": shown.speed(highest(source.plan, build) / RPM)} if found else None


def _effect(build: Build, index: int, advance: float, speed: float, shown: Shown) -> str:
    """How far the setting speed moves for a little more bend, from the exact model."""
    fitted = list(build.unit.springs)
    fitted[index] = replace(fitted[index], bend=fitted[index].bend + STEP)
    moved = trace(replace(build.unit, springs=tuple(fitted)), 501).rising_speed(advance)
    if moved is None or abs(moved - speed) * RPM < 0.5:
        return ""
    step = shown.length(STEP)["main"]
    return f"{step} of bend moves it about {abs(moved - speed) * RPM:.0f} rpm (distributor)"


def check(source: Source) -> Facts | None:
    """The table that the finished unit is read against; for what is out of reach, how far the nearest would miss."""
    plan, build = source.plan, source.plan.build
    if build is None:
        return None
    return {
        "go": source.go is not None,
        "nearest": "" if source.go is not None else _names(plan, build),
        "rows": _bench(plan, build),
    }


def _bench(plan: Plan, build: Build) -> list[Facts]:
    """Rows in the order of speed, the maximum last, at the highest bench speed; speeds rpm, angles
    distributor degrees, all with the same decimals."""
    places = decimals([r.band for r in build.results])
    last = highest(plan, build)
    ordered = sorted(build.results, key=lambda r: math.inf if r.band.speed is None else r.band.speed)
    return [_bench_row(r, last, plan.job.speed_ratio, places) for r in ordered]


def highest(plan: Plan, build: Build) -> float:
    """Highest bench speed [rpm]: 1.1 times the last that matters, rounded up to 50."""
    speeds = [b.speed for b in (plan.job.target.timed if plan.job.target else ()) if b.speed]
    last = RPM * max([*speeds, build.curve.all_in or 0.0])
    return ROUND_TO * math.ceil(HEADROOM * last / ROUND_TO - 1e-9)


def _bench_row(result: BandResult, last: float, ratio: float, places: int) -> Facts:
    band = result.band
    speed = last if band.speed is None else RPM * band.speed
    angles = {"min": band.low, "rising": result.rising, "falling": result.falling, "max": band.high}
    return {
        "what": {"point": "", "idle": "idle", "maximum": "maximum"}[band.kind],
        "speed": f"{speed:.0f}",
        "crank": f"{speed * ratio:.0f}",
        **{name: signless(math.degrees(a), places) for name, a in angles.items()},
        "inside": result.margin >= 0.0,
    }


def decimals(bands: list[Band]) -> int:
    """One decimal of a degree, two where a band would be rounded wider or narrower."""
    edges = np.degrees([e for b in bands for e in (b.low, b.high)])
    return 1 if np.allclose(edges, np.round(edges, 1), atol=1e-6) else 2


def _names(plan: Plan, build: Build) -> str:
    told = []
    for index, one in enumerate(build.springs):
        told.append(f"{which(plan, one.spring, index)['main']} ({PLACES[index][0]})")
    return " and ".join(told)


def notes(source: Source) -> Facts | None:
    """What must be said aloud."""
    return {"notes": [breakable(n) for n in source.plan.notes]} if source.plan.notes else None


def limits(source: Source) -> Facts:
    """What the tool is not for; it stands on every sheet."""
    return {}
