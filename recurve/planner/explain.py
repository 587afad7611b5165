"""What the report says of a plan in sentences: why it is out of reach (theory, section 6), and the notes beside it."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from recurve.fit.fit import Fit
from recurve.inspection.findings import repairs
from recurve.inspection.inspected import Inspected
from recurve.job.model import Job
from recurve.physics.curve import trace
from recurve.physics.mechanism import RadiusTable
from recurve.physics.target import Band, BandResult
from recurve.planner.build import Build, Checked
from recurve.planner.ideal import Ideal, find_ideal
from recurve.planner.problem import Problem, SpringBounds
from recurve.planner.simulate import Built
from recurve.planner.springset import SpringSet, post_diameter, too_narrow
from recurve.units import PLACES, RPM

SECOND_RATE = (1e3, 40e3)  # [N/m], of a second spring that a unit planned with one might get
SECOND_HELPS = 0.1  # margin that it must add to be worth a note
SMALL_SHARE = 0.05  # of the variance of the planned curve that is hardly any


def explain(
    job: Job, problem: Problem, spring_set: SpringSet, build: Build | None, ideal: Ideal | None
) -> tuple[str, ...]:
    """One sentence for each reason why nothing passes, the most fundamental first; `build` is the nearest miss."""
    reasons = _stop_reasons(job, problem)
    # The catalogue may hold springs outside the bounds of ideal ones, and do better.
    reached = -np.inf if build is None else build.margin
    if ideal is not None and ideal.margin < 0 and ideal.margin >= reached - 0.01:
        reasons += _ideal_reasons(job, problem, ideal)
    elif build is not None:
        reasons += _catalogue_reasons(job, build, ideal)
    if build is None:
        reasons += _no_build(problem, spring_set)
    return tuple(reasons)


def out_of_reach(job: Job, problem: Problem, ideal: Ideal | None) -> tuple[str, ...]:
    """Why no springs at all bring a unit into its bands, a sentence each: `ideal` are the best there could be."""
    reasons = _stop_reasons(job, problem)
    reasons += [] if ideal is None else _ideal_reasons(job, problem, ideal)
    return tuple(reasons) or ("No springs of the usual sizes bring the curve into all of its bands.",)


def trust_notes(checked: Checked | None) -> list[str]:
    """What the report must state first if the curve is not where the energy is least."""
    if checked is None or checked.agrees:
        return []
    return [
        "Do not build from this plan. Its curve was computed in two ways, and the two differ by up to "
        f"{np.degrees(checked.largest):.2f}° (distributor). That is a fault in recurve: report it, and send the job "
        "with it."
    ]


def plan_notes(
    job: Job,
    unit: Job,
    fit: Fit | None,
    inspected: Inspected,
    problem: Problem,
    bounds: SpringBounds,
    build: Build | None,
) -> list[str]:
    """What the report must state beside a plan: repairs, how the unit is known, and what the build leaves open.

    `job` as described; `unit` as the sweep showed it (`fit`) and with the trigger that will be fitted.
    """
    worn = [f.what for f in repairs(inspected.findings)]
    notes = [f"Before you build from this plan: {what}." for what in worn]
    if fit is None:
        notes.append("Planned from the unit as described, since the job names no sweep.")
        if unit.as_found() is None:
            notes.append("The job does not describe the springs as found, so no as-found curve is shown.")
    elif not fit.converged:
        notes.append("The readings do not lead to one clear answer: take more before you order springs.")
    if fit is not None and fit.outliers:
        rows = ", ".join(str(r) for r in fit.outliers)
        notes.append(f"Readings left out, since they do not fit the curve of the others: rows {rows} of the sweep.")
    if build is not None:
        notes += [*_table_notes(job, build), *_travel_notes(job, build)]
    return [
        *notes,
        *_hook_notes(unit),
        *_second_spring_notes(problem, bounds, None if build is None else build.margin, unit),
    ]


def _hook_notes(job: Job) -> list[str]:
    """Springs that were not considered, since their hooks go over no post."""
    narrow = too_narrow(job)
    if not narrow:
        return []
    widest = 1e3 * max(post_diameter(p.posts) for p in job.places)
    few = ", ".join(s.id for s in narrow[:5]) + (" …" if len(narrow) > 5 else "")
    springs = "1 spring" if len(narrow) == 1 else f"{len(narrow)} springs"
    return [
        f"Left out: {springs} in the catalogue with hooks too narrow for the posts of {widest:.2f} mm ({few}). A "
        "hook is taken to be as wide inside as the coils: outer diameter less two wires."
    ]


def _edge_words(band: Band, upper: bool) -> str:
    """ "at most 7.0° at 700 rpm" of one edge of a band, in distributor terms."""
    limit = f"at {'most' if upper else 'least'} {np.degrees(band.high if upper else band.low):.1f}°"
    return f"{limit} at {(band.speed or 0.0) * RPM:.0f} rpm"


def _stop_reasons(job: Job, problem: Problem) -> list[str]:
    """Bands that the stop alone makes impossible."""
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
            reasons.append(f"The stop: the target asks for {_edge_words(timed, False)}, and {trim} (distributor).")
    return reasons


def _trim_needed(job: Job, band: Band) -> str:
    """The trim that the maximum would need and the trim allowed, in mm."""
    if not job.stop.per_mm:
        return "If the stop can be trimmed, give its radius, and how far it may be filed or built up."
    need = job.stop.trim(band.low if band.low > job.stop.limits[1] else band.high) * 1e3
    allowed = 1e3 * (job.stop.build_up_to if need > 0 else job.stop.file_up_to)
    what = "built up" if need > 0 else "filed"
    return f"It would have to be {what} by at least {abs(need):.2f} mm; the job allows {allowed:.2f} mm."


def _ideal_reasons(job: Job, problem: Problem, ideal: Ideal) -> list[str]:
    """The bands that no springs can meet together."""
    bands = problem.target.timed
    fight = [_edge_words(bands[i], upper) for i, upper in ideal.conflict]
    if len(fight) < 2 and not ideal.limit_hit:
        return []
    kind = "springs" if len(job.places) > 1 else "spring"
    if len(fight) < 2:
        what = f"“{fight[0]}”" if fight else "the target"
        return [
            (
                f"No {kind} of a usual size can meet the target: {what} (distributor) asks for one outside the usual "
                "ranges."
            )
        ]
    listed = ", ".join(f"“{f}”" for f in fight[:-1]) + f" and “{fight[-1]}”"
    return [
        f"No {kind} at all can meet the target, from any catalogue: {listed} contradict each other (distributor). "
        f"The best possible margin is {ideal.margin:.2f}; 0 is the edge of the bands."
    ]


def _catalogue_reasons(job: Job, build: Build, ideal: Ideal | None) -> list[str]:
    """The catalogue's nearest miss, and springs that would pass if there are any."""
    misses = [m for r in build.results if r.margin < 0 for m in _misses(r)]
    pair = " and ".join(s.spring.id for s in build.springs)
    reasons = [f"The catalogue's nearest is {pair}, and it misses: {'; '.join(misses)} (distributor)."]
    if ideal is not None:
        wanted = []
        for name, spring in zip(PLACES, ideal.springs, strict=False):
            low, high = spring.rates
            wanted.append(f"a {name} of {low / 1e3:.2g} to {high / 1e3:.2g} N/mm")
        reasons.append(f"Other springs could pass: look for {' with '.join(wanted)}, or let the posts be bent further.")
    return reasons


def _misses(result: BandResult) -> list[str]:
    """How a curve misses a band, above and below."""
    band = result.band
    low, high = np.degrees(band.low), np.degrees(band.high)
    at = "at the stop" if band.kind == "maximum" else f"at {(band.speed or 0.0) * RPM:.0f} rpm"
    rising, falling = np.degrees(result.rising), np.degrees(result.falling)
    said = []
    if falling > high:
        said.append(f"{falling:.1f}° {at}, at most {high:.1f}° allowed")
    if rising < low and not band.from_zero:
        said.append(f"{rising:.1f}° {at}, at least {low:.1f}° needed")
    return said


def _no_build(problem: Problem, spring_set: SpringSet) -> list[str]:
    """Why nothing could be fitted at all: usually no spring is short enough to pull from rest."""
    longest = 1e3 * (float(problem.posts[0].length(0.0)[0]) + problem.travel[0][1])
    if not len(spring_set):
        return ["No spring in the catalogue is in stock or can be ordered."]
    if not spring_set.pairs(len(problem.posts)).any():
        (only,) = spring_set.springs
        return [f"The unit takes two springs, and the catalogue has a single “{only.id}” and nothing else."]
    if float(spring_set.free.min()) * 1e3 > longest:
        return [
            f"No spring pulls from rest on the primary's posts: they are at most {longest:.2f} mm over both, and "
            f"the shortest spring is {1e3 * float(spring_set.free.min()):.2f} mm inside its hooks."
        ]
    return [
        "With every pair, and however the posts are set, either the weights fly out at one speed (a snap), or the "
        "stop would have to go beyond its limits."
    ]


def _second_spring_notes(problem: Problem, bounds: SpringBounds, margin: float | None, job: Job) -> list[str]:
    """Whether a second spring, on posts like the first's, would raise the margin of a unit planned with one."""
    if len(problem.posts) > 1 or (margin is not None and margin >= 0.5):
        return []
    doubled = replace(problem, posts=problem.posts * 2, travel=problem.travel * 2, stops=job.stop.limits)
    ideal = find_ideal(doubled, replace(bounds, rates=(*bounds.rates, SECOND_RATE)))
    if ideal is None or ideal.margin < (margin if margin is not None else -1.0) + SECOND_HELPS:
        return []
    takeup = ideal.springs[1].takeup
    where = " from rest" if takeup == 0 else f" taking up at about {np.degrees(takeup or 0.0):.1f}° (distributor)"
    return [
        f"A secondary{'' if takeup is None else where} would help: on posts like the primary's the margin could be "
        f"{ideal.margin:.2f}."
    ]


def _table_notes(job: Job, build: Build) -> list[str]:
    """How uncertain the reading of a table of radii leaves the curve (recurve.physics, section 6)."""
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
    half_width = 1e3 * max(motion.half_width)
    return [
        f"The radii of the centre of gravity were read to ± {half_width:.2f} mm each. That leaves the curve "
        f"uncertain by up to ± {2 * np.degrees(np.sqrt(squares[worst_at])):.1f}° (distributor, two standard "
        f"uncertainties), at {speeds[worst_at] * RPM:.0f} rpm."
    ]


def _travel_notes(job: Job, build: Build) -> list[str]:
    """Posts that are bent as far as they may be, so that no more of the same is possible on the bench."""
    notes = []
    for name, place, fitted in zip(PLACES, job.places, build.springs, strict=False):
        for end, way in zip(place.travel, ("in", "out"), strict=True):
            if end != 0.0 and abs(fitted.bend - end) < 0.005e-3:
                notes.append(
                    f"The {name} post is bent {way} as far as it may go, {1e3 * abs(end):.2f} mm. If the bench asks "
                    "for more that way, take the next spring instead."
                )
    return notes


def type_share_notes(built: Built | None) -> list[str]:
    """How much of the doubt of a plan comes from what a type of unit told instead of a measurement."""
    if built is None or built.by_type is None:
        return []
    share = built.by_type
    if share < SMALL_SHARE:
        return ["Figures taken from the type add almost nothing to the uncertainty of the planned curve."]
    return [
        f"Figures taken from the type cause {share:.0%} of the uncertainty of the planned curve. If the chance of "
        "passing is too small, measure these parts on this unit."
    ]
