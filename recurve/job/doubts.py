"""What a job states that is probably a slip: numbers that no unit of the trade has, and bands that fight each other.

Nothing is refused for them. They stand above every verdict, since a verdict on wrong numbers is wrong.
"""

from __future__ import annotations

from itertools import pairwise

import numpy as np

from recurve.data import ranges
from recurve.job import schema as m
from recurve.job import schema_unit as u
from recurve.job.measured import MeasuredDrive, described
from recurve.job.model import SpringPlace
from recurve.physics.mechanism import RadiusTable, ReferenceSlope
from recurve.physics.reference import Reference
from recurve.physics.sweep import Sweep
from recurve.physics.target import Target
from recurve.units import PLACES, RPM, factor

SAME = np.radians(0.05)  # advances that differ by less are the same figure
LEAST_BELOW = np.radians(2.0)  # so far below 0 no bench reads by its zero alone


def unit_doubts(
    model: m.JobModel,
    motion: MeasuredDrive | RadiusTable | Reference | ReferenceSlope,
    places: tuple[SpringPlace, ...],
) -> list[str]:
    """Numbers of weights, stop and springs outside the trade's ranges."""
    mass = model.weights.mass
    found = [] if mass is None else _range_notes("mass", mass.value, "mass")
    if not isinstance(motion, Reference | ReferenceSlope):
        found += _range_notes("cg_radius", float(described(motion).radius(0.0)[0]), "length")
    stop = "stop" if model.distributor.speed_ratio > 1 else "stop_crank"
    found += _range_notes(stop, model.stop.advance.value, "angle")
    if model.stop.radius is not None:
        found += _range_notes("stop_radius", model.stop.radius.value, "length")
    for name, place in zip(PLACES, places, strict=False):
        if place.found is not None:
            found += _range_notes(f"{name}_rate", place.found.rate, "rate")
        for travel, way in zip(place.travel, ("inward", "outward"), strict=True):
            found += _range_notes("post_travel", abs(travel), "length", f"{name} post, {way}")
    return found


def drag_doubts(drag: u.FoundDrag | None) -> list[str]:
    """A drag or a friction that no breaker arm and no spindle has."""
    if drag is None:
        return []
    given = (("drag", drag.rubbing_block), ("friction", drag.friction))
    return [line for name, one in given if one is not None for line in _range_notes(name, one.value, "moment")]


def _range_notes(name: str, value: float, dimension: str, where: str = "") -> list[str]:
    entry = ranges()["range"][name]
    shown = value / factor(entry["unit"], dimension)
    if entry["low"] <= shown <= entry["high"]:
        return []
    told, unit = entry["name"] if not where else f"{entry['name']} ({where})", entry["unit"].replace("*", "·")
    return [
        f"The {told} is {shown:.4g} {unit}, outside the usual {entry['low']:g} to {entry['high']:g} {unit}: check the number "
        "and its unit."
    ]


def target_doubts(given: m.Target | None, target: Target | None) -> list[str]:
    """Bands of [target], as `given` and in distributor terms, that fight each other."""
    if given is None or target is None:
        return []
    return [*_falling(target), *_above_maximum(given, target)]


def _falling(target: Target) -> list[str]:
    """Bands that no rising curve can meet, since a later one lies below an earlier one."""
    bands = sorted((b for b in target.timed if b.speed is not None), key=lambda b: b.speed or 0.0)
    found = []
    for early, late in pairwise(bands):
        if late.high < early.low:
            rpm = [round(float(b.speed or 0.0) * RPM) for b in (early, late)]
            found.append(
                f"The target falls with speed: the most it allows at {rpm[1]} rpm is below the least it asks for at "
                f"{rpm[0]} rpm (distributor). Check its points."
            )
    return found


def _above_maximum(given: m.Target, target: Target) -> list[str]:
    """Points that allow, by a max of their own, or ask by their advance, more than the maximum does."""
    top = target.maximum
    if top is None:
        return []
    points = [b for b in target.bands if b.kind == "point"]
    found = []
    for told, band in zip(given.points, points, strict=False):
        most = band.high if told.max is not None else band.stated or 0.0
        if most > top.high + SAME:
            found.append(
                f"At {float(band.speed or 0.0) * RPM:.0f} rpm the target {'allows' if told.max is not None else 'asks'} "
                f"{np.degrees(most):.1f}°, but its maximum ends at {np.degrees(top.high):.1f}° (distributor): one of the two "
                "is wrong. Check them against the book."
            )
    return found


def sweep_doubts(sweep: Sweep | None) -> list[str]:
    """Single readings far below no advance at all."""
    if sweep is None or not sweep.static_known:
        return []
    below = np.flatnonzero(sweep.advance < -np.maximum(3.0 * sweep.reading, LEAST_BELOW))
    if not len(below):
        return []
    worst = below[np.argmin(sweep.advance[below])]
    more = "" if len(below) == 1 else f", and {len(below) - 1} more"
    return [
        f"{sweep.file} reads {np.degrees(sweep.advance[worst]):.1f}° (distributor) in line "
        f"{int(sweep.row[worst])}{more}: weights do not retard. Check the sign, and where zero was set."
    ]
