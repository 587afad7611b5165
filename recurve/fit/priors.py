"""What is known of each parameter of a unit before its sweep is fitted: as measured, as in its type, or the trade's usual."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Literal

import numpy as np

from recurve.data import default, ranges
from recurve.job.learned import Learned
from recurve.job.model import Job
from recurve.uncertainty import (
    MOST_DRAG,
    MOST_FRICTION,
    MOST_FRICTION_SHARE,
    UNSTATED_FRICTION,
    Prior,
    assumed_drag,
)
from recurve.units import PLACES, SQRT3, Quantity

LEAST_PULL = 0.05  # standard uncertainty [N] of a pull by spring balance, at least
BY_TYPE = 2.0  # how many times wider than in its type a spring may be: somebody may have changed it
TENSIONS = tuple(f"{place}.tension" for place in PLACES)


@dataclass(frozen=True)
class Fact:
    """Something that was measured of a spring by itself and bears on several parameters at once (theory, equation 5a): the
    `value` with its standard `uncertainty`, of the spring in `place`.

    `takeup` [rad]; `pull` [N] where its posts have stretched it `beyond` [m] their length at rest, 0 if it is slack there.
    """

    kind: Literal["takeup", "pull"]
    place: int
    value: float
    uncertainty: float
    beyond: float = 0.0
    may_be_slack: bool = False


def _uncertainty(given: Quantity | None) -> float | None:
    """Standard uncertainty [SI] of what was measured; None without a ±, or with one of 0."""
    return None if given is None else given.standard_uncertainty or None


def spring_parameters(job: Job, index: int, name: str) -> list[Prior]:
    """Rate [log of N/m] and stretch at rest [m] of a spring: as measured, where they were measured as such; else as in units of
    the type; else the trade's usual."""
    stretch, measured = _stretch(job, index, name), job.measured.springs[index]
    if measured.slack is not None:
        # It was seen to rattle, or to be drawn: the other is not possible.
        ends = (stretch.least, min(stretch.most, 0.0)) if measured.slack else (max(stretch.least, 0.0), stretch.most)
        if ends[0] < ends[1]:
            stretch = replace(stretch, least=ends[0], most=ends[1])
    return [_rate(job, index, name), stretch]


def _rate(job: Job, index: int, name: str) -> Prior:
    """The rate of a spring, its logarithm."""
    measured = job.measured.springs[index]
    spread = float(np.log(ranges()["fit"][f"{name}_rate"]["spread"]))
    middle, least, most = float(np.log(default("fit", f"{name}_rate", "rate"))), np.log(30.0), np.log(1e5)
    rate = Prior(f"{name}.rate", middle, spread, least, most)
    if measured.rate is not None:
        value = measured.rate.value
        by = _uncertainty(measured.rate) or default("fit", "rate", "number") * value
        return Prior(rate.name, float(np.log(value)), by / value, least, most, True)
    if measured.weighed is not None:
        return replace(rate, measured=True)
    found = _of_type(job, name, "rate")
    if found is None:
        return rate
    return replace(rate, middle=float(np.log(found.mean)), spread=BY_TYPE * found.deviation / found.mean)


def _stretch(job: Job, index: int, name: str) -> Prior:
    """How far a spring is drawn at rest."""
    place, measured = job.places[index], job.measured.springs[index]
    rest, lever = (float(x) for x in place.posts.length(0.0))
    entry = ranges()["fit"][f"{name}_stretch"]
    stretch = Prior(f"{name}.stretch", entry["value"] * 1e-3, entry["spread"] * 1e-3, -6e-3, 8e-3)
    if measured.free_length is not None:
        middle = rest - measured.free_length.value
        off_posts = 0.0 if measured.over_posts is None else measured.over_posts.standard_uncertainty or 0.0
        by = float(np.hypot(_uncertainty(measured.free_length) or default("fit", "free_length", "length"), off_posts))
        return Prior(stretch.name, middle, by, middle - 8 * by, middle + 8 * by, True)
    if measured.takeup is not None:
        free = float(place.posts.length(measured.takeup.value)[0])
        turned = _uncertainty(measured.takeup)
        by = default("fit", "free_length", "length")
        if turned is not None:
            by = turned * max(abs(_lever_at(job, index, free)), abs(lever), 1e-3)
        return Prior(stretch.name, rest - free, by, rest - free - 8 * by, rest - free + 8 * by, True)
    if place.found is not None:
        return replace(stretch, measured=True)
    drawn = _of_type(job, name, "stretch")
    return stretch if drawn is None else replace(stretch, middle=drawn.mean, spread=BY_TYPE * drawn.deviation)


def _of_type(job: Job, name: str, what: str) -> Learned | None:
    """What the springs in units of the job's type were like; None where the job names no type, or the type does not tell."""
    return None if job.kind is None else job.kind.learned.get(("found", name, what))


def tension_parameters(job: Job, index: int) -> list[Prior]:
    """The initial tension [N] of a spring as a number of the state, where it is not simply as described. A spring that is
    described by rate and length alone has none."""
    place, measured = job.places[index], job.measured.springs[index]
    given, most = measured.initial_tension, 20.0
    if given is not None:
        by = _uncertainty(given)
        return [] if by is None else [Prior(TENSIONS[index], given.value, by, 0.0, most, True)]
    told = measured.hung is not None or measured.pull_at_rest is not None
    if place.found is not None and not told:
        return []
    known = None if place.found is not None else _of_type(job, PLACES[index], "tension")
    if known is not None:
        return [Prior(TENSIONS[index], known.mean, BY_TYPE * known.deviation, 0.0, most)]
    return [Prior(TENSIONS[index], 0.0, _usual_tension(job, index), 0.0, most, place.found is not None)]


def _usual_tension(job: Job, index: int) -> float:
    """The scale [N] of an initial tension of which nothing is known. A spring known to be stiffer than usual is wound of
    thicker wire, which holds its coils together in proportion."""
    usual, rate = default("fit", "initial_tension", "force"), job.measured.springs[index].rate
    by_rate = 1.0 if rate is None else rate.value / default("fit", f"{PLACES[index]}_rate", "rate")
    return usual * max(by_rate, 1.0)


def spring_facts(job: Job, index: int) -> list[Fact]:
    """What was measured of a spring besides its parameters themselves (theory, equation 5a)."""
    measured, facts = job.measured.springs[index], []
    if measured.takeup is not None and measured.free_length is not None:
        by = _uncertainty(measured.takeup) or default("fit", "takeup", "angle")
        facts.append(Fact("takeup", index, measured.takeup.value, by))
    pull = measured.pull_at_rest
    if pull is not None:
        by = _uncertainty(pull) or max(default("fit", "pull_at_rest", "number") * pull.value, LEAST_PULL)
        facts.append(Fact("pull", index, pull.value, by, may_be_slack=True))
    hung = measured.hung
    if hung is not None:
        rest = float(job.places[index].posts.length(0.0)[0])
        rate = measured.rate.value if measured.rate is not None else default("fit", f"{PLACES[index]}_rate", "rate")
        rate = rate if measured.weighed is None else measured.weighed.rate
        by_length = np.hypot(hung.pull_uncertainty, rate * hung.length_uncertainty)
        # Nothing is known of a weight that had not yet opened the coils, save that the tension is larger.
        opened = np.ones(len(by_length), bool)
        if measured.weighed is not None:
            opened[list(measured.weighed.left_out)] = False
        rows = zip(hung.pull[opened], hung.length[opened] - rest, by_length[opened], strict=True)
        facts += [Fact("pull", index, float(p), float(by), float(x)) for p, x, by in rows]
    return facts


def _lever_at(job: Job, index: int, free_length: float) -> float:
    """L′ [m/rad] where the spring takes up."""
    grid = np.linspace(0.0, job.stop.limits[1], 200)
    length, slope = job.places[index].posts.length(grid)
    return float(np.interp(free_length, np.maximum.accumulate(length), slope))


def resistance_parameters(job: Job) -> list[Prior]:
    """Drag of the rubbing block and friction [N·m], and friction share [1]."""
    given = job.measured.drag
    spread = max(min(given.points.half_width or 0.0, 10 * assumed_drag()), 1e-6) / SQRT3
    drag = Prior("drag", job.drag.rubbing_block, spread, 0.0, MOST_DRAG, given.points.origin == "given")
    if job.trigger == "electronic":
        drag = Prior("drag", 0.0, 1e-9, 0.0, 1e-6, True)
    friction = _friction("friction", given.friction, job.drag.friction, "moment", MOST_FRICTION)
    by_load = _friction("friction_share", given.friction_share, job.drag.friction_share, "number", MOST_FRICTION_SHARE)
    return [drag, friction, by_load]


def _friction(key: str, given: Quantity, value: float, dimension: str, most: float) -> Prior:
    """A friction as measured; else about 0 and never negative."""
    if given.origin == "assumed":
        return Prior(key, 0.0, default("fit", key, dimension), 0.0, most)
    return Prior(key, value, _uncertainty(given) or max(UNSTATED_FRICTION * value, 1e-6), 0.0, most, True)


def stop_parameter(job: Job, reach: float) -> Prior:
    """The advance at the stop [rad], at most `reach` [rad]."""
    given, advance = job.measured.stop, job.stop.advance
    spread = _uncertainty(given) or default("fit", "stop", "angle")
    return Prior("stop", advance, spread, 0.3 * advance, reach, given.half_width is not None)


def zero_parameter(job: Job) -> Prior:
    """The error of the bench's zero [rad]."""
    if job.sweep is not None and not job.sweep.static_known:
        return Prior("zero", 0.0, np.radians(10.0), -np.radians(40.0), np.radians(40.0))
    return Prior("zero", 0.0, default("fit", "zero", "angle"), -np.radians(40.0), np.radians(40.0))
