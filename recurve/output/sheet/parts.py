"""The content of the build sheet's parts for the bench: words, and numbers with their units.

A part is a small function from a `Source` to its facts, or None where it has nothing to say. `data/sheet/NAME.typ`
and `data/page/NAME.html` lay the same facts out on paper and on a screen.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Any, Literal, TypeVar

import numpy as np

from recurve.job.model import SpringPlace
from recurve.output.documents.base import TargetBand, deg, mm
from recurve.output.documents.plan import CheckedCurve, PlanDocument, PlannedBand, PlannedSpring
from recurve.output.figures.plan import found_place
from recurve.output.sheet.numbers import Cell, Shown, cell, percent, signless
from recurve.physics.curve import trace
from recurve.physics.posts import BodyPoint, PointPosts
from recurve.planner.build import CHECK_ADVANCE, Build, Fitted
from recurve.planner.plan import Plan
from recurve.text import breakable
from recurve.uncertainty import chance_words
from recurve.units import RPM

Facts = dict[str, Any]
B = TypeVar("B", bound=TargetBand)

PLACES = (("primary", "P"), ("secondary", "S"))
# What a severity of a finding is called on paper.
SEVERITY = {
    "check first": "check this first",
    "repair first": "repair this first",
    "high": "serious",
    "medium": "worth mending",
    "low": "slight",
    "open question": "open question",
}
OPPOSITE = {"clockwise": "anticlockwise", "anticlockwise": "clockwise"}
HEADROOM, ROUND_TO = 1.1, 50.0  # the bench goes a little past the work's last speed [rpm], and no further
STEP = 0.1e-3  # bend [m] whose effect on the setting speed is given
STILL = 0.005  # a bend or trim [mm] that no calliper shows


@dataclass(frozen=True)
class Source:
    """What parts are made from: the plan and its document, how numbers are shown, and the facts of ready-made parts by
    name."""

    plan: Plan
    document: PlanDocument
    shown: Shown
    given: Mapping[str, Facts] = field(default_factory=dict)

    @property
    def go(self) -> Build | None:
        """The build, None where nothing may be built."""
        return None if self.plan.verdict == "out of reach" else self.plan.build


# --- the verdict, and the numbers to set -------------------------------------------------------------------


def verdict(source: Source) -> Facts:
    """The answer, and the numbers that the work is set to; where there is no plan, why."""
    plan, document, build = source.plan, source.document, source.go
    job = plan.job
    return {
        "go": build is not None,
        "doubts": [breakable(source.shown.words(d)) for d in job.doubts],
        "distrust": [breakable(source.shown.words(r)) for r in document.trust.reasons],
        "verdict": document.verdict,
        "margin": "" if document.margin is None else f"{document.margin:.2f}",
        "chance": None if build is None else _chance(document),
        "reasons": [breakable(source.shown.words(r)) for r in document.reasons],
        "numbers": [] if build is None else _numbers(source),
        "basis": _basis(plan),
        "checked": None if document.checked is None else _checked(document.checked),
        "rotation": f"{job.rotation} seen from the rotor end, {OPPOSITE.get(job.rotation, '')} seen from the drive end",
        "highest": None if document.curve is None else source.shown.speed(highest(document)),
    }


def _numbers(source: Source) -> list[Facts]:
    """The numbers to set, in the order of the work: the stop, the lengths over the posts, the speeds."""
    document, shown = source.document, source.shown
    made = [] if document.stop.planned_deg is None else [("stop", "", shown.angle(document.stop.planned_deg))]
    for (name, mark), (_, one) in zip(PLACES, document.springs.in_place, strict=False):
        made.append((f"over post {mark}, at rest", name, _set_to(one, shown)))
    for (_, mark), advance, speed in set_speeds(document):
        made.append((f"{signless(advance, 1)}° in, rising", f"sets post {mark}", shown.speed(speed)))
    return [{"name": name, "note": note, "value": value} for name, note, value in made]


def set_speeds(document: PlanDocument) -> list[tuple[tuple[str, str], float, float]]:
    """What the posts are set by: the place, and the advance [deg] that must be in at a rising speed [rpm]."""
    stop, first = document.stop.planned_deg, deg(CHECK_ADVANCE)
    if stop is None:
        return []
    told = document.setting
    setting = zip(PLACES, (first, stop - first), (told.primary_rpm, told.secondary_rpm), strict=True)
    fitted = len(document.springs.in_place)
    return [(place, advance, speed) for place, advance, speed in list(setting)[:fitted] if speed is not None]


def _chance(document: PlanDocument) -> Cell | None:
    """The yield, and what costs most of it."""
    chance = document.yield_
    if chance is None:
        return None
    worst = [f"{c.source} ({percent(c.yield_gained)})" for c in document.main_costs]
    costs = (
        f"most of the risk comes from {' and '.join(worst)}" if worst else "no single uncertainty costs as much as 1 %"
    )
    told = f"{_rounded(chance)} set by calliper alone"
    if document.yield_set is not None:
        told = f"{_rounded(document.yield_set)} once set on the bench, {told}"
    return cell(told, costs)


def _rounded(chance: float) -> str:
    """A chance in percent; one that is nearly sure is not called sure."""
    return chance_words(chance).replace("%", " %")


def _basis(plan: Plan) -> str:
    """What the plan was made from."""
    if plan.fit is None:
        return "the unit as described; no sweep was fitted"
    return f"the sweep of the unit as found, {len(plan.fit.residuals) - len(plan.fit.outliers)} readings"


def _checked(checked: CheckedCurve) -> str:
    """The result of computing the curve a second way."""
    if not checked.agrees:
        apart = signless(checked.largest_difference_deg, 2)
        return f"NO: two computations of the curve differ by {apart}° (distributor)"
    return (
        f"computed a second way ({checked.method}) at {checked.speeds} speeds, rising and falling: both agree within "
        "0.01° (distributor)"
    )


def ready(source: Source) -> Facts | None:
    """What must be in order before springs are judged."""
    return None if source.go is None else {"points": source.plan.job.trigger == "points"}


# --- the stop ----------------------------------------------------------------------------------------------


def stop(source: Source) -> Facts | None:
    """What to do to the stop, and how to check it."""
    told, shown = source.document.stop, source.shown
    if source.go is None or told.planned_deg is None or told.trim_mm is None:
        return None
    band = next((t for t in source.document.targets if t.band == "maximum"), None)
    way = "" if abs(told.trim_mm) < STILL else "build up" if told.trim_mm > 0 else "file"
    return {
        "way": way,
        "trim": shown.length(abs(told.trim_mm)) if way else None,
        "change": shown.angle(abs(told.planned_deg - told.found_deg)) if way else None,
        "found": shown.angle(told.found_deg),
        "planned": shown.angle(told.planned_deg),
        "check": None if band is None else shown.between(band.min_deg, band.max_deg, decimals([band])),
    }


# --- the springs -------------------------------------------------------------------------------------------


def springs(source: Source) -> Facts | None:
    """Column heads, and rows with a label and a cell for each spring; rows without content are left out."""
    build, plan = source.go, source.plan
    if build is None:
        return None
    fitted = zip(source.document.springs.in_place, build.springs, plan.job.places, strict=False)
    columns = [_spring_cells(source, one, f, place, index) for index, ((_, one), f, place) in enumerate(fitted)]
    rows: list[Facts] = [{"label": label, "cells": [c[label] for c in columns]} for label in columns[0]]
    return {
        "heads": [f"{name}, post {mark}: {_does(f)}" for (name, mark), f in zip(PLACES, build.springs, strict=False)],
        "marks": [mark for _, mark in PLACES[: len(columns)]],
        "rows": [r for r in rows if any(c["main"] for c in r["cells"])],
        "angles": any(isinstance(f.posts, PointPosts) for f in build.springs),
    }


def _does(spring: Fitted) -> str:
    """What a spring does, which tells it from the other: which of the two is the stiffer one differs from unit to unit."""
    if spring.takeup is None:
        return "never pulls"
    return "pulls from rest" if spring.takeup == 0.0 else f"takes up at {math.degrees(spring.takeup):.1f}°"


def _spring_cells(
    source: Source, one: PlannedSpring, fitted: Fitted, place: SpringPlace, index: int
) -> dict[str, Cell]:
    """One spring's column, by the rows' labels."""
    shown = source.shown
    coils = "" if one.coils is None else f"{one.coils:g}"
    slack = cell("none", f"slack {shown.length(one.free_length_mm - one.installed_length_mm)['main']}")
    return {
        "spring": which(source.plan, fitted, index),
        "rate": shown.rate(one.rate_n_per_mm),
        "free, inside the hooks": shown.length(one.free_length_mm),
        "initial tension": shown.force(one.initial_tension_n) if one.initial_tension_n else cell(""),
        "wire": cell("") if one.wire_mm is None else shown.length(one.wire_mm),
        "outside": cell("") if one.outer_mm is None else shown.length(one.outer_mm),
        "coils, material": cell(", ".join(x for x in (coils, breakable(one.material)) if x)),
        "post to bend": _post(fitted, "anchor", shown),
        "other post": _post(fitted, "far", shown),
        "over the posts, as found": _found_length(one, shown),
        "bend": _bend(one, shown),
        "over the posts, set to": _set_to(one, shown),
        "travel left": _travel(fitted, place, shown) if one.bend_holds else cell(""),
        "pull at rest": shown.force(one.pull_at_rest_n) if one.takeup_deg == 0.0 else slack,
        "takes up": _takeup(one, shown),
    }


def which(plan: Plan, fitted: Fitted, index: int) -> Cell:
    """The spring's id, or that it is the one in the unit."""
    found = found_place(plan.job.places, fitted.spring)
    if found is None:
        return cell(breakable(fitted.spring.id))
    return cell(
        "the spring now fitted", "leave it in" if found == index else f"move it here: it is the {PLACES[found][0]}"
    )


def _post(fitted: Fitted, end: Literal["anchor", "far"], shown: Shown) -> Cell:
    """Where a post is, to tell it from the others; empty where only lengths were measured."""
    posts = fitted.posts
    if not isinstance(posts, PointPosts):
        return cell("the one that you marked" if end == "anchor" else "")
    point: BodyPoint = getattr(posts, end)
    bodies = {"base": "base plate", "cam": "cam plate"}
    body = bodies.get(str(point.body), f"weight {point.body}")
    out = shown.length(mm(abs(point.position)), 1)
    pivot = posts.motion.pivot
    where = f"{body}, {out['main']} from the axis"
    if pivot is None:
        return cell(where)
    # + 0.05 so that an angle a hair below 0 reads 0, not 360
    degrees = (math.degrees(np.angle(point.position / pivot)) + 0.05) % 360 - 0.05
    return cell(where, f"at {signless(degrees, 0)}°")


def _found_length(one: PlannedSpring, shown: Shown) -> Cell:
    """The length over the posts as found; where nobody measured it on this unit, what the type says of it."""
    if one.found_length_mm is not None:
        return shown.length(one.found_length_mm)
    return cell(
        "not measured: write it here",
        shown.words(f"units of the type {one.type_length_mm:.2f} ± {one.type_length_2u_mm:.2f} mm"),
    )


def _set_to(one: PlannedSpring, shown: Shown) -> Cell:
    """The length to set over the posts; of a spring that stays on posts that nobody measured, how it differs from theirs."""
    if one.found_length_mm is not None or not one.bend_holds:
        return shown.length(one.installed_length_mm)
    if abs(one.bend_mm) < STILL:
        return cell("as found")
    return cell(f"as found {'plus' if one.bend_mm > 0 else 'less'} {shown.length(abs(one.bend_mm))['main']}")


def _bend(one: PlannedSpring, shown: Shown) -> Cell:
    """Which way the anchor goes, and how far, from where it was measured."""
    if not one.bend_holds:
        return cell(f"measure over the posts, then set {shown.length(one.installed_length_mm)['main']}")
    if abs(one.bend_mm) < STILL:
        return cell("leave it as it stands")
    far = shown.length(abs(one.bend_mm))
    way = "outward, away from the other," if one.bend_mm > 0 else "inward, towards the other,"
    return cell(f"{way} {far['main']}", far["small"])


def _travel(fitted: Fitted, place: SpringPlace, shown: Shown) -> Cell:
    """How far the post may still be bent, each way."""
    low, high = place.travel
    inward, outward = (shown.length(mm(max(x, 0.0)))["main"] for x in (fitted.bend - low, high - fitted.bend))
    return cell(f"inward {inward}, outward {outward}" if high > low else "")


def _takeup(one: PlannedSpring, shown: Shown) -> Cell:
    if one.takeup_deg is None:
        return cell("never before the stop")
    if one.takeup_deg == 0.0:
        return cell("pulls from rest")
    return shown.angle(one.takeup_deg)


# --- the bench: setting and check --------------------------------------------------------------------------


def setting(source: Source) -> Facts | None:
    """The rising speed at which each post is set, and what bending it does."""
    build, shown = source.go, source.shown
    if build is None:
        return None
    found = [
        {
            "spring": place[0],
            "mark": place[1],
            "advance": shown.angle(advance),
            "speed": shown.speed(speed),
            "effect": _effect(build, PLACES.index(place), math.radians(advance), speed, shown),
        }
        for place, advance, speed in set_speeds(source.document)
    ]
    if not found:
        return None
    leave = source.document.setting.leave_within_deg
    kept = "" if leave is None else f"{leave:.1f}"
    return {"settings": found, "highest": shown.speed(highest(source.document)), "leave": kept}


def _effect(build: Build, index: int, advance: float, speed: float, shown: Shown) -> str:
    """How far the setting speed [rpm] of an advance [rad] moves for a little more bend, from the exact model."""
    fitted = list(build.unit.springs)
    fitted[index] = replace(fitted[index], bend=fitted[index].bend + STEP)
    moved = trace(replace(build.unit, springs=tuple(fitted)), 501).rising_speed(advance)
    if moved is None or abs(moved * RPM - speed) < 0.5:
        return ""
    step = shown.length(mm(STEP))["main"]
    return f"Bending the post by {step} moves that by about {abs(moved * RPM - speed):.0f} rpm (distributor)"


def check(source: Source) -> Facts | None:
    """The table that the finished unit is read against; for what is out of reach, how far the nearest would miss."""
    plan, document = source.plan, source.document
    if plan.build is None:
        return None
    last = highest(document)
    places = decimals(document.targets)
    nearest = [
        f"{which(plan, one, index)['main']} ({PLACES[index][0]})" for index, one in enumerate(plan.build.springs)
    ]
    return {
        "go": source.go is not None,
        "nearest": "" if source.go is not None else " and ".join(nearest),
        "rows": [_bench_row(t, last, plan.job.speed_ratio, places) for t in in_order(document.targets)],
    }


def in_order(bands: Sequence[B]) -> list[B]:
    """Bands in the order of speed, the maximum last."""
    return sorted(bands, key=lambda band: math.inf if band.speed_rpm is None else band.speed_rpm)


def highest(document: PlanDocument) -> float:
    """Highest bench speed [rpm]: 1.1 times the last that matters, rounded up to 50."""
    all_in = None if document.curve is None else document.curve.all_in_rpm
    last = max([all_in or 0.0, *(t.speed_rpm or 0.0 for t in document.targets)])
    return ROUND_TO * math.ceil(HEADROOM * last / ROUND_TO - 1e-9)


def _bench_row(target: PlannedBand, last: float, ratio: float, places: int) -> Facts:
    """One row: speeds rpm, angles distributor degrees, all with the same decimals; the maximum at the highest speed."""
    speed = last if target.speed_rpm is None else target.speed_rpm
    angles = {
        "min": target.min_deg,
        "rising": target.rising_deg,
        "falling": target.falling_deg,
        "max": target.max_deg,
    }
    return {
        "what": {"point": "", "idle": "idle", "maximum": "maximum"}[target.band],
        "speed": f"{speed:.0f}",
        "crank": f"{speed * ratio:.0f}",
        **{name: signless(angle, places) for name, angle in angles.items()},
        "inside": target.margin >= 0.0,
    }


def decimals(bands: Sequence[TargetBand]) -> int:
    """One decimal of a degree, two where a band would be rounded wider or narrower."""
    edges = np.array([edge for b in bands for edge in (b.min_deg, b.max_deg)])
    return 1 if np.allclose(edges, np.round(edges, 1), atol=1e-6) else 2


def notes(source: Source) -> Facts | None:
    """The plan's remarks, without those that stand above the verdict."""
    told = [n for n in source.document.notes if n not in source.plan.job.doubts]
    return {"notes": [breakable(source.shown.words(n)) for n in told]} if told else None


def limits(source: Source) -> Facts:
    """What the tool is not for; it stands on every sheet."""
    return {}
