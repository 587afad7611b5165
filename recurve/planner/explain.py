"""Why a plan is out of reach, in words a customer understands (theory, section 6).

What must be said aloud beside a plan.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from recurve.job.model import Job
from recurve.physics.curve import trace
from recurve.physics.mechanism import RadiusTable
from recurve.physics.target import Band, BandResult
from recurve.planner.build import Build
from recurve.planner.ideal import Ideal, Limits, find_ideal
from recurve.planner.linear import Problem
from recurve.planner.search import SpringSet
from recurve.units import RPM


def explain(
    job: Job,
    problem: Problem,
    shelf: SpringSet,
    names: Sequence[str],
    results: tuple[BandResult, ...] | None,
    ideal: Ideal | None,
) -> tuple[str, ...]:
    """One sentence for each reason why nothing passes, the deepest first."""
    reasons = _stop_reasons(job, problem)
    # The catalogue may hold springs outside the ranges that ideal ones are sought in, and do better.
    reached = -np.inf if results is None else min(r.margin for r in results)
    if ideal is not None and ideal.margin < 0 and ideal.margin >= reached - 0.01:
        reasons += _ideal_reasons(job, problem, ideal)
    elif results is not None:
        reasons += _catalogue_reasons(job, names, results, ideal)
    if results is None:
        reasons += _no_build(problem, shelf)
    return tuple(reasons)


def edge_words(band: Band, upper: bool) -> str:
    """ "at most 7.0° at 700 rpm" of one edge of a band, distributor terms."""
    limit = f"at {'most' if upper else 'least'} {np.degrees(band.high if upper else band.low):.1f}°"
    return f"{limit} at {(band.speed or 0.0) * RPM:.0f} rpm"


def _stop_reasons(job: Job, problem: Problem) -> list[str]:
    """Where the stop alone makes it impossible."""
    low, high = (float(np.degrees(x)) for x in job.stop.limits)
    trim = (
        f"trim can give {low:.1f}° to {high:.1f}°"
        if high > low
        else f"it stays at {low:.1f}°, since no trim is allowed"
    )
    reasons = []
    band = problem.target.maximum
    if band is not None and (np.degrees(band.low) > high + 1e-9 or np.degrees(band.high) < low - 1e-9):
        reasons.append(
            f"The stop: the target's maximum is {np.degrees(band.low):.1f}° to {np.degrees(band.high):.1f}°, and {trim} "
            f"(distributor). {_trim_needed(job, band)}"
        )
    for timed in problem.target.timed:
        if np.degrees(timed.low) > high + 1e-9:
            reasons.append(f"The stop: the target asks {edge_words(timed, False)}, and {trim} (distributor).")
    return reasons


def _trim_needed(job: Job, band: Band) -> str:
    """The trim that the maximum would need against the trim allowed, in mm."""
    if not job.stop.per_mm:
        return "Give the stop's radius, and how far it may be filed or built up, if it can be trimmed."
    need = job.stop.trim(band.low if band.low > job.stop.limits[1] else band.high) * 1e3
    allowed = 1e3 * (job.stop.build_up_to if need > 0 else job.stop.file_up_to)
    what = "built up" if need > 0 else "filed"
    return f"It would have to be {what} by at least {abs(need):.2f} mm; {allowed:.2f} mm is allowed."


def _ideal_reasons(job: Job, problem: Problem, ideal: Ideal) -> list[str]:
    bands = problem.target.timed
    fight = [edge_words(bands[i], upper) for i, upper in ideal.conflict]
    if len(fight) < 2 and not ideal.limit_hit:
        return []
    kind = "springs" if len(job.places) > 1 else "spring"
    if len(fight) < 2:
        what = f"“{fight[0]}”" if fight else "the target"
        return [f"No {kind} of a usual size can do it: {what} (distributor) asks for one outside the trade's ranges."]
    listed = ", ".join(f"“{f}”" for f in fight[:-1]) + f" and “{fight[-1]}”"
    return [
        f"No {kind} at all can do it, whatever the catalogue: {listed} fight (distributor). "
        f"The best there could be reach a margin of {ideal.margin:.2f}; 0 is the edge of the bands."
    ]


def _catalogue_reasons(
    job: Job, names: Sequence[str], results: tuple[BandResult, ...], ideal: Ideal | None
) -> list[str]:
    """The catalogue's nearest miss."""
    misses = [m for r in results if r.margin < 0 for m in _miss(r)]
    pair = " and ".join(names)
    reasons = [f"The nearest the catalogue comes is {pair}, which misses: {'; '.join(misses)} (distributor)."]
    if ideal is not None:
        wanted = []
        for name, spring in zip(("primary", "secondary"), ideal.springs, strict=False):
            low, high = spring.rates
            wanted.append(f"a {name} of {low / 1e3:.2g} to {high / 1e3:.2g} N/mm")
        reasons.append(
            f"Springs that pass could exist: look for {' with '.join(wanted)}, or let the posts be bent further."
        )
    return reasons


def _miss(result: BandResult) -> list[str]:
    band = result.band
    low, high = np.degrees(band.low), np.degrees(band.high)
    at = "at the stop" if band.kind == "maximum" else f"at {(band.speed or 0.0) * RPM:.0f} rpm"
    rising, falling = np.degrees(result.rising), np.degrees(result.falling)
    said = []
    if falling > high:
        said.append(f"{falling:.1f}° {at} where {high:.1f}° is the most")
    if rising < low and not band.from_zero:
        said.append(f"{rising:.1f}° {at} where {low:.1f}° is the least")
    return said


def _no_build(problem: Problem, shelf: SpringSet) -> list[str]:
    """Nothing could be fitted at all: usually no spring short enough to pull from rest."""
    longest = 1e3 * (float(problem.posts[0].length(0.0)[0]) + problem.travel[0][1])
    if not len(shelf.springs):
        return ["No spring of the catalogue is in stock or can be ordered."]
    if not shelf.pairs(len(problem.posts)).any():
        (only,) = shelf.springs
        return [f"There are not enough springs: two places, and “{only.id}” is the only one there is."]
    if float(shelf.free.min()) * 1e3 > longest:
        return [
            f"No spring pulls from rest on the primary's posts: they are at most {longest:.2f} mm apart, the shortest "
            f"spring is {1e3 * float(shelf.free.min()):.2f} mm inside its hooks."
        ]
    return ["No pair can be set without the weights flying out at one speed (a snap), or within the stop's limits."]


def second_spring_note(problem: Problem, limits: Limits, margin: float | None, job: Job) -> list[str]:
    """Whether a second spring would raise the `margin` [1] of a unit planned with one (on posts like the first's)."""
    if len(problem.posts) > 1 or (margin is not None and margin >= 0.5):
        return []
    doubled = replace(problem, posts=problem.posts * 2, travel=problem.travel * 2, stops=job.stop.limits)
    ideal = find_ideal(doubled, replace(limits, rates=(*limits.rates, (1e3, 40e3))))
    if ideal is None or ideal.margin < (margin if margin is not None else -1.0) + 0.1:
        return []
    takeup = ideal.springs[1].takeup
    where = " from rest" if takeup == 0 else f" taking up at about {np.degrees(takeup or 0.0):.1f}° (distributor)"
    return [
        f"A second spring{'' if takeup is None else where} would help: with posts like the first's the margin could be "
        f"{ideal.margin:.2f}."
    ]


def table_note(job: Job, build: Build) -> list[str]:
    """What the reading of a table of radii leaves open, in degrees (recurve.physics, section 6)."""
    motion = job.weights.motion
    if not isinstance(motion, RadiusTable):
        return []
    speeds = np.array([r.band.speed for r in build.results if r.band.speed], float)
    middle = build.curve.rising_advance(speeds)
    squares = np.zeros_like(speeds)
    for row in range(len(motion.advance)):
        weights = replace(job.weights, motion=motion.moved(row))
        squares += (trace(replace(build.unit, weights=weights), 501).rising_advance(speeds) - middle) ** 2
    worst_at = int(np.argmax(squares))
    limits = 1e3 * max(motion.limit)
    return [
        f"The radii of the centre of gravity, each read to ± {limits:.2f} mm, leave the curve uncertain by up to "
        f"± {2 * np.degrees(np.sqrt(squares[worst_at])):.1f}° (distributor, two standard uncertainties), at "
        f"{speeds[worst_at] * 30 / np.pi:.0f} rpm."
    ]


def limit_notes(job: Job, build: Build) -> list[str]:
    """Posts that are bent as far as they may be: the bench cannot ask for more of the same."""
    notes = []
    for name, place, fitted in zip(("primary", "secondary"), job.places, build.springs, strict=False):
        for end, way in zip(place.travel, ("in", "out"), strict=True):
            if end != 0.0 and abs(fitted.bend - end) < 0.005e-3:
                notes.append(
                    f"The {name} post is bent {way} as far as it may be, {1e3 * abs(end):.2f} mm: if the bench asks for "
                    "more that way, take the next spring instead."
                )
    return notes
