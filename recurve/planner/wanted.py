"""Which springs to have wound: those of a plan, or the ideal ones if no available spring will do."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Literal

import numpy as np

from recurve.fit.fit import fit_sweep, fitted_job
from recurve.job.model import Job
from recurve.physics.curve import Unit
from recurve.planner.build import make_build
from recurve.planner.choose import by_margin, choose_build
from recurve.planner.ideal import Ideal, SpringRange, find_ideal
from recurve.planner.plan import make_plan
from recurve.planner.problem import problem_of, spring_bounds
from recurve.planner.springset import SpringSet, post_diameter
from recurve.springs.spring import Spring
from recurve.springs.winding import Wanted
from recurve.units import PLACES

# How far the posts are imagined to bend [m], and how many rates of each spring are tried, to find the free length.
FREE_TRAVEL = ((0.0, 5e-3), (-3e-3, 3e-3))
RATES = 16

Which = Literal["planned", "ideal"]


@dataclass(frozen=True)
class WantedSprings:
    """The springs to have wound, empty if no spring could do, and where their figures come from, in words; `otherwise`
    is what to try if one of them cannot be wound."""

    springs: tuple[Wanted, ...]
    source: str
    otherwise: WantedSprings | None = None


def wanted_of(unit: Unit) -> tuple[Wanted, ...]:
    """The springs of a unit as they stand on their posts, each with its greatest length, at the stop."""
    found = []
    for place, installed in zip(PLACES, unit.springs, strict=False):
        rest, longest = (float(x) for x in installed.length(np.array([0.0, unit.stop]))[0])
        spring = installed.spring
        post = post_diameter(installed.posts)
        if rest >= spring.free_length:
            pull = spring.initial_tension + spring.rate * (rest - spring.free_length)
            found.append(Wanted(place, spring.rate, rest, longest, pull=pull, post=post))
        else:
            free, tension = spring.free_length, spring.initial_tension
            found.append(
                Wanted(place, spring.rate, rest, longest, free_length=free, initial_tension=tension, post=post)
            )
    return tuple(found)


def wanted_springs(job: Job, which: Which | None = None) -> WantedSprings:
    """The springs of the job's plan, or the ideal ones; `which` None takes those of the plan if it passes.

    Raises InputError if the job names no target.
    """
    problem_of(job)  # raises before anything is computed if there is no target
    at_hand = job.catalogue is not None or any(p.found is not None for p in job.places)
    if which == "ideal" or not at_hand:
        unit = job if job.sweep is None else fitted_job(fit_sweep(job))
        return _from_ideal(unit, find_ideal(problem_of(unit), spring_bounds(unit)))
    plan = make_plan(job)
    if plan.build is not None and (which == "planned" or plan.verdict != "out of reach"):
        return WantedSprings(wanted_of(plan.build.unit), f"planned springs, {plan.verdict}")
    return _from_ideal(plan.job, plan.ideal)


def _from_ideal(job: Job, ideal: Ideal | None) -> WantedSprings:
    """The ideal springs over the posts as they stand; empty if even they miss a band."""
    if ideal is None or ideal.margin < 0:
        return WantedSprings((), "no spring at all brings this unit into the target; see recurve plan")
    found = [_one(job, i, spring, ideal.stop) for i, spring in enumerate(ideal.springs)]
    words = f"ideal springs, margin {ideal.margin:.2f}, {_standing(ideal.stop)}"
    return WantedSprings(tuple(w for w in found if w is not None), words, _untensioned(job, ideal))


def _one(job: Job, index: int, ideal: SpringRange, stop: float) -> Wanted | None:
    """An ideal spring over its posts; None for one that never takes up, which is not needed."""
    if ideal.takeup is None:
        return None
    posts = job.places[index].posts
    rest, longest, free = (float(posts.length(a)[0]) for a in (0.0, stop, ideal.takeup))
    post = post_diameter(posts)
    if ideal.takeup == 0.0:
        return Wanted(PLACES[index], ideal.rate, rest, longest, pull=ideal.pull, post=post)
    return Wanted(
        PLACES[index], ideal.rate, rest, longest, free_length=free, initial_tension=ideal.takeup_pull, post=post
    )


def _untensioned(job: Job, ideal: Ideal) -> WantedSprings | None:
    """The best springs without initial tension, if the ideal secondary has some, which may not be possible to wind.

    The pairs of a grid of rates are planned like a catalogue over posts that may be bent at will. The bend is then
    taken off the free length, and the margin is that of the exact model with the posts as they stand.
    """
    if len(ideal.springs) < 2 or not ideal.springs[1].takeup or ideal.springs[1].takeup_pull == 0.0:
        return None
    problem = replace(problem_of(job), travel=FREE_TRAVEL)
    springs = [
        Spring(f"{place} {k:.1f} N/m", float(k), float(posts.length(0.0)[0]))
        for place, posts, ideal_one in zip(PLACES, problem.posts, ideal.springs, strict=True)
        for k in np.geomspace(*ideal_one.rates, RATES)
    ]
    best = choose_build(problem, SpringSet.of(springs), job, by_margin, largest=True).build
    if best is None:
        return None
    standing = tuple(replace(s.spring, free_length=s.spring.free_length - s.bend) for s in best.springs)
    build = make_build(job, standing, (0.0, 0.0), best.stop)
    if build.margin < 0:
        return None
    words = (
        f"springs without initial tension, margin {build.margin:.2f} (ideal {ideal.margin:.2f}), {_standing(best.stop)}"
    )
    return WantedSprings(wanted_of(build.unit), words)


def _standing(stop: float) -> str:
    """What these springs assume of the unit."""
    return f"posts as they stand, stop at {np.degrees(stop):.2f}° (distributor)"
