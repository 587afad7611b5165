"""Which springs to have wound: those of a plan, or the ideal ones where no spring at hand will do."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Literal

from recurve.build import problem_of, spring_limits
from recurve.fit import fit_sweep
from recurve.fitted import fitted_job
from recurve.ideal import Ideal, SpringRange, find_ideal
from recurve.job import Job
from recurve.plan import make_plan
from recurve.posts import PointPosts
from recurve.wind import PLACES, Wanted, wanted_of

Which = Literal["planned", "ideal"]


@dataclass(frozen=True)
class Asked:
    """The springs wanted, none where no spring could do, and in words where their figures come from."""

    springs: tuple[Wanted, ...]
    source: str


def asked_springs(job: Job, which: Which | None = None) -> Asked:
    """The springs of the job's plan, or the ideal ones; `which` None takes the plan's where it passes.

    Raises InputError where the job names no target.
    """
    problem_of(job)  # a missing target is said before anything is computed
    at_hand = job.catalogue is not None or any(p.found is not None for p in job.places)
    if which == "ideal" or not at_hand:
        return _ideal(job)
    plan = make_plan(job)
    if plan.build is not None and (which == "planned" or plan.verdict != "out of reach"):
        return Asked(wanted_of(plan.build.unit), f"planned springs, {plan.verdict}")
    return _from_ideal(plan.job, plan.ideal)


def _ideal(job: Job) -> Asked:
    unit = job if job.sweep is None else fitted_job(fit_sweep(job))
    problem = replace(problem_of(unit), stops=unit.stop.limits)
    return _from_ideal(unit, find_ideal(problem, spring_limits(unit)))


def _from_ideal(job: Job, ideal: Ideal | None) -> Asked:
    """The ideal springs over the posts as they stand; none where even they miss a band."""
    if ideal is None or ideal.margin < 0:
        return Asked((), "ideal springs, which miss the target")
    found = [_one(job, i, spring, ideal.stop) for i, spring in enumerate(ideal.springs)]
    words = f"ideal springs, margin {ideal.margin:.2f}, posts as they stand"
    return Asked(tuple(w for w in found if w is not None), words)


def _one(job: Job, index: int, ideal: SpringRange, stop: float) -> Wanted | None:
    """An ideal spring over its posts; None for one that never takes up, which is not needed."""
    if ideal.takeup is None:
        return None
    posts = job.places[index].posts
    rest, longest, free = (float(posts.length(a)[0]) for a in (0.0, stop, ideal.takeup))
    post = posts.diameter if isinstance(posts, PointPosts) else 0.0
    if ideal.takeup == 0.0:
        return Wanted(PLACES[index], ideal.rate, rest, longest, pull=ideal.pull, post=post)
    return Wanted(
        PLACES[index], ideal.rate, rest, longest, free_length=free, initial_tension=ideal.takeup_pull, post=post
    )
