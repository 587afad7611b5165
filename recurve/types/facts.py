"""What one unit tells of its type: each quantity with its standard uncertainty, by the key that the type has it under.

A job may tell a place as an angle and a radius or as xy, and a trim by radius or by degrees per mm. Here each is told one
way, polar and from the first weight's pivot, so that units measured in different ways can be compared.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from recurve.data import default, ranges
from recurve.errors import Key
from recurve.fit.fit import best_mode
from recurve.fit.model import slope_modes
from recurve.job.learned import FOUND, UnitType
from recurve.job.measured import Frame, MeasuredDrive, MeasuredPoint
from recurve.job.model import Job
from recurve.job.schema_unit import PointPosts
from recurve.units import DIMENSIONS, PLACES, SQRT3, Quantity, factor

KINDS = {
    "mass": "mass", "radius": "length", "distance": "length", "angle": "angle", "advance": "advance", "post_diameter": "length",
    "rubbing_block": "moment", "rate": "rate", "stretch": "stretch", "tension": "force",
    "level": "slope", "tilt": "slope", "bow": "slope",
}  # fmt: skip


def scale_of(key: Key, name: str) -> float:
    """A figure of [type] in `ranges.toml` for the quantity of this key [SI]: its `spread`, `unstated` or `other`."""
    entry = ranges()["type"][KINDS[str(key[-1])]]
    unit = entry["unit"]
    dimension = next((d for d, (_, usual) in DIMENSIONS.items() if usual == unit and unit), "number")
    return float(entry[name]) * (factor(unit, dimension) if unit else 1.0)


# Keys of [springs.primary] and [springs.secondary] that tell of the spring itself.
OF_SPRING = ("rate", "free_length", "takeup", "initial_tension", "pull_at_rest", "weighings", "at_rest")
SLOPE = ("level", "tilt", "bow")  # coefficients of log I′
SLOPE_POINTS = 41  # advances at which I′ is taken
LEAST_SLOPE = 1e-3  # standard uncertainty of a coefficient, at least


@dataclass(frozen=True)
class Told:
    """A quantity that a unit tells, of a rate its logarithm: its `value` and standard `uncertainty` [SI, or log of it]."""

    value: float
    uncertainty: float


@dataclass(frozen=True)
class UnitFacts:
    """What one `job` tells of its type: `told`, quantities by key, and `alike`, what all units of a type have alike, by key.
    Of the keys that it has `taken` from a type it tells nothing itself, neither for nor against."""

    job: Job
    told: dict[Key, Told]
    alike: dict[Key, Any]
    taken: frozenset[Key] = frozenset()


def facts_of(job: Job, found: bool = True) -> UnitFacts:
    """What a job tells; with `found`, also of the springs in it, which takes a fit of its sweep where they were not
    measured."""
    taken = frozenset() if job.kind is None else frozenset(_taken(job.kind))  # other units told it: no second witness
    told = {key: one for key, one in _measured(job) if key not in taken}
    if job.kind is not None and any(place.found is None for place in job.places):
        # By a sweep alone, springs are fitted with what the type has of them.
        taken |= {("found", place, name) for place in PLACES[: len(job.places)] for name in FOUND}
    elif found:
        told |= {key: one for key, one in _found(job).items() if key not in taken}
    return UnitFacts(job, told, dict(_alike(job)), taken)


def _taken(kind: UnitType) -> Iterator[Key]:
    """The keys that a job takes from its type, and those under which it tells here what these keys say."""
    for key in kind.taken | kind.shared:
        yield key
        if key[-1] == "xy":
            distance = "distance" if key[-2] in ("cg", "pin") else "radius"
            yield from ((*key[:-1], name) for name in (distance, "angle"))
        elif key == ("stop", "per_mm"):
            yield ("stop", "radius")
        elif key[0] == "springs" and key[-1] in OF_SPRING:
            yield from (("found", key[1], name) for name in FOUND)


def as_slope(facts: UnitFacts, reach: float) -> UnitFacts:
    """The same with the weights told by I′ itself, up to the advance `reach` [rad], instead of by their mass and places: for
    units whose weights were measured in different ways, or by a sweep with known springs."""
    job = facts.job
    told = {k: one for k, one in facts.told.items() if k[0] != "weights"}
    alike = {k: v for k, v in facts.alike.items() if k[:2] != ("weights", "motion")}
    alike |= {("weights", "motion", "kind"): "slope", ("weights", "motion", "reach"): f"{np.degrees(reach):.6g} deg"}
    by_slope = [("weights", "motion", name) for name in SLOPE]
    taken = facts.taken
    if job.kind is not None and any(k[0] == "weights" for k in job.kind.taken):
        taken |= {*by_slope}
    else:
        at = np.linspace(0.0, reach, SLOPE_POINTS)
        fitted = np.linalg.pinv(np.polynomial.legendre.legvander(2 * at / reach - 1, len(SLOPE) - 1))
        values = fitted @ np.log(job.weights.inertia_slope(at))
        by = np.sqrt(((fitted @ slope_modes(job, at).T) ** 2).sum(axis=1))
        for key, value, one in zip(by_slope, values, by, strict=True):
            told[key] = Told(float(value), max(float(one), LEAST_SLOPE))
    return UnitFacts(job, told, alike, taken)


def _told(key: Key, given: Quantity) -> tuple[Key, Told]:
    return key, Told(given.value, given.standard_uncertainty or scale_of(key, "unstated"))


def _measured(job: Job) -> Iterator[tuple[Key, Told]]:
    """Quantities as measured."""
    mass = job.measured.weights.mass
    if mass is not None:
        yield _told(("weights", "mass"), mass)
    yield from _drive(job)
    yield _told(("stop", "advance"), job.measured.stop)
    given = job.model.stop
    if given.radius is not None:
        yield _told(("stop", "radius"), given.radius)
    elif given.per_mm is not None:
        radius = 1e-3 / given.per_mm.value
        off = (given.per_mm.half_width or 0.0) / given.per_mm.value * radius
        yield _told(("stop", "radius"), Quantity(radius, off or None))
    block = job.measured.drag.rubbing_block
    if block is not None and job.trigger == "points":
        yield _told(("drag", "rubbing_block"), block)
    for place, posts in zip(PLACES, job.measured.posts, strict=False):
        if posts is None:
            continue
        key = ("springs", place)
        if posts.diameter is not None and posts.diameter.value > 0:
            yield _told((*key, "post_diameter"), posts.diameter)
        for name, point in (("anchor", posts.anchor), ("far", posts.far)):
            yield from _polar((*key, "posts", name), ("radius", "angle"), point, posts.frame, 0j)


def _drive(job: Job) -> Iterator[tuple[Key, Told]]:
    """The points of a drive by pin and slot, or by a link; a pivot has a radius, where angles begin."""
    drive = job.measured.weights.motion
    if not isinstance(drive, MeasuredDrive):
        return
    key, frame = ("weights", "motion"), drive.frame
    pivot, *others = drive.points
    yield next(_polar((*key, "pivot"), ("radius", "angle"), pivot, frame, 0j))
    for name, point in zip(("cg", "pin", "cam"), others, strict=False):
        centre, names = (0j, ("radius", "angle")) if name == "cam" else (frame.pivot or 0j, ("distance", "angle"))
        yield from _polar((*key, name), names, point, frame, centre)


def _polar(
    key: Key, names: tuple[str, str], point: MeasuredPoint, frame: Frame, centre: complex
) -> Iterator[tuple[Key, Told]]:
    """A point's distance [m] from a centre and its angle [rad] from the first pivot's, with their uncertainties."""
    arm = point.at(frame, centre) - centre
    angle = float(np.angle(arm * np.exp(-1j * frame.zero)))
    if not point.flat:
        distance, turned = point.coordinates
        yield _told((*key, names[0]), distance)
        yield _told((*key, names[1]), replace(turned, value=angle))
        return
    unstated = scale_of((*key, names[0]), "unstated")
    by = [c.standard_uncertainty or unstated for c in point.coordinates]
    along, across = abs(np.cos(np.angle(arm))), abs(np.sin(np.angle(arm)))
    yield (*key, names[0]), Told(abs(arm), float(np.hypot(by[0] * along, by[1] * across)))
    yield (*key, names[1]), Told(angle, float(np.hypot(by[0] * across, by[1] * along)) / max(abs(arm), 1e-6))


def _found(job: Job) -> dict[Key, Told]:
    """The springs found in the unit: log of the rate [N/m], and how far [m] they are drawn at rest. As measured or, where they
    were not, from the sweep."""
    if job.sweep is not None and any(where.found is None for where in job.places):
        model, mode = best_mode(job)
        natural = model.natural(mode.state[None])[0]
        spread = np.sqrt(np.diag(mode.covariance)) * np.array([p.spread for p in model.parameters])
        names = {p.name: i for i, p in enumerate(model.parameters)}
        return {
            ("found", place, name): Told(float(natural[i]), float(spread[i]))
            for place in PLACES[: len(job.places)]
            for name in ("rate", "stretch")
            for i in (names[f"{place}.{name}"],)
            if spread[i] < scale_of(("found", place, name), "other")
        }
    made: dict[Key, Told] = {}
    for place, where, spring in zip(PLACES, job.places, job.measured.springs, strict=False):
        if where.found is None:
            continue
        rate = spring.rate.standard_uncertainty if spring.rate is not None else None
        key = ("found", place, "rate")
        by = rate / where.found.rate if rate else scale_of(key, "unstated")
        made[key] = Told(float(np.log(where.found.rate)), by)
        key = ("found", place, "stretch")
        drawn = float(where.posts.length(0.0)[0]) - where.found.free_length
        free = None if spring.free_length is None else spring.free_length.standard_uncertainty
        # Without a calliper over the posts their length at rest is known by their places alone.
        by_posts = 0.0 if spring.over_posts is not None else default("posts", "place", "length") / SQRT3
        made[key] = Told(drawn, float(np.hypot(free or scale_of(key, "unstated"), by_posts)))
        tension = None if spring.initial_tension is None else spring.initial_tension.standard_uncertainty
        key = ("found", place, "tension")  # a spring described by rate and length alone has none
        made[key] = Told(where.found.initial_tension, tension or scale_of(key, "unstated"))
    return made


MUST_BE_ALIKE = (
    "distributor",
    "weights",
)  # tables whose keys, where they are alike at all, no unit of a type has otherwise
DRIVES = ("slot", "link")  # kinds of drive; the other kinds of weights.motion are ways to measure one


def unlike_type(job: Job) -> tuple[tuple[Key, Any, Any], ...]:
    """What a job states otherwise than its type of what no unit of a type has otherwise: the key, its own value, the type's."""
    if job.kind is None:
        return ()
    found = []
    for key, own in _alike(job):
        if key[0] not in MUST_BE_ALIKE:
            continue
        of_type: Any = job.kind.document
        for part in key:
            of_type = of_type.get(part) if isinstance(of_type, dict) else None
        measured_otherwise = key[-1] == "kind" and not {own, of_type} <= {*DRIVES}
        if of_type is not None and own != of_type and not measured_otherwise:
            found.append((key, own, of_type))
    return tuple(found)


def _alike(job: Job) -> Iterator[tuple[Key, Any]]:
    """What is not measured and that all units of a type have alike, as the job file has it."""
    document = job.document
    for name in ("lobes", "breakers", "rotation", "speed_ratio"):
        yield ("distributor", name), getattr(job, name)
    yield ("weights", "count"), job.measured.weights.count
    yield ("weights", "motion", "kind"), job.model.weights.motion.kind
    for place, spring in zip(PLACES, (job.model.springs.primary, job.model.springs.secondary), strict=True):
        if spring is None:
            continue
        key = ("springs", place, "posts")
        yield (*key, "kind"), spring.posts.kind
        if isinstance(spring.posts, PointPosts):
            yield (*key, "anchor", "on"), spring.posts.anchor.on
            yield (*key, "far", "on"), spring.posts.far.on
    for wanted in (("springs", "primary", "post_travel"), ("springs", "secondary", "post_travel"), ("stop", "file_up_to"),
                   ("stop", "build_up_to"), ("target",)):  # fmt: skip
        value: Any = document
        for part in wanted:
            value = value.get(part) if isinstance(value, dict) else None
        if value is not None:
            yield wanted, value
