"""Work that a person would do: the rules of `recurve.planner.handwork`, judged by the slow exact curve of `brute`."""

from __future__ import annotations

from dataclasses import replace
from functools import cache

import numpy as np
import pytest
from brute import exact_curve, exact_margin
from random_jobs import MM, random_job

from recurve.data import default
from recurve.errors import InputError
from recurve.job.model import Job
from recurve.physics.posts import PointPosts
from recurve.planner.build import Build
from recurve.planner.choose import by_margin, choose_build
from recurve.planner.handwork import bears
from recurve.planner.problem import problem_of
from recurve.planner.springset import Constraints, SpringSet, spring_set_of

SEEDS = range(10)
LEAST_BEND, LEAST_TRIM = default("hands", "bend", "length"), default("hands", "trim", "length")


@cache
def chosen(seed: int) -> tuple[Job, Build | None, Build | None]:
    """A random job, the build that is recommended, and the one of the largest margin."""
    job = random_job(seed)
    springs = spring_set_of(job, Constraints())
    usual, largest = (choose_build(problem_of(job), springs, job, by_margin, x).build for x in (False, True))
    return job, usual, largest


def margin_with(job: Job, build: Build, bends: tuple[float, ...], stop: float) -> float:
    """The margin of the same springs set otherwise; −inf with a snap."""
    curve = exact_curve(job, tuple(s.spring for s in build.springs), bends, stop, 2001)
    return -np.inf if curve.snaps else exact_margin(job.target, curve)


def test_nobody_is_asked_for_work_that_is_too_small_for_hands() -> None:
    """Where a bend or a trim is smaller than hands can do, leaving it out costs more than half of the margin."""
    seen = 0
    for seed in SEEDS:
        job, build, _ = chosen(seed)
        if build is None or build.margin < 0:
            continue
        bends = tuple(s.bend for s in build.springs)
        for place, bend in enumerate(bends):
            if 0 < abs(bend) < LEAST_BEND:
                without = tuple(0.0 if i == place else b for i, b in enumerate(bends))
                assert margin_with(job, build, without, build.stop) < 0.5 * build.margin + 0.02, seed
            seen += abs(bend) == 0.0
        if 0 < abs(build.trim) < LEAST_TRIM:
            assert margin_with(job, build, bends, job.stop.advance) < 0.5 * build.margin + 0.02, seed
    assert seen >= 1  # posts are left where they stand


def test_a_post_is_not_bent_far_for_a_hair_of_margin() -> None:
    """A tenth less of any bend costs margin: what was to be had for nothing, or for a hair, was taken."""
    tried = 0
    for seed in SEEDS:
        job, build, _ = chosen(seed)
        if build is None or build.margin < 0.05:
            continue
        bends = tuple(s.bend for s in build.springs)
        for place, bend in enumerate(bends):
            if abs(bend) >= LEAST_BEND:
                tried += 1
                less = tuple(0.9 * b if i == place else b for i, b in enumerate(bends))
                assert margin_with(job, build, less, build.stop) < build.margin + 0.02, seed
                nearer = margin_with(job, build, less, build.stop)
                assert nearer < build.margin - 1e-4 or abs(bend) < 2 * LEAST_BEND, (seed, place, bend)
    assert tried >= 4


def test_little_margin_is_given_up_for_it() -> None:
    """At most 0.02 for less bending and 0.005 for less trim; where small work is left out, at most half."""
    for seed in SEEDS:
        _, build, largest = chosen(seed)
        if build is None or largest is None or largest.margin < 0:
            continue
        enough = min(largest.margin, 0.5)
        assert build.margin >= 0.5 * (enough - 0.03), seed


def with_posts(job: Job, diameter: float) -> Job:
    """The job with posts of this diameter [m], the far ones moved so that no length changes."""
    places = []
    for place in job.places:
        assert isinstance(place.posts, PointPosts)
        places.append(replace(place, posts=replace(place.posts, diameter=diameter)))
    return replace(job, places=tuple(places))


def pointed() -> Job:
    """A random job whose posts are points."""
    return next(j for j in map(random_job, range(100)) if all(isinstance(p.posts, PointPosts) for p in j.places))


def test_hooks_that_do_not_go_over_the_posts_are_not_chosen() -> None:
    """2.4 mm over 0.5 mm wire is 1.4 mm inside: over a post of 1.3 mm it goes, over one of 1.5 mm it does not."""
    job = pointed()
    assert job.catalogue is not None
    springs = tuple(replace(s, wire=0.5 * MM, outer=2.4 * MM) for s in job.catalogue.springs)
    job = replace(job, catalogue=replace(job.catalogue, springs=springs))
    fits = {d: spring_set_of(with_posts(job, d * MM), Constraints()).fits for d in (1.3, 1.5)}
    names = {s.id for s in springs}
    for diameter, allowed in fits.items():
        assert allowed is not None
        bought = [s.id in names for s in spring_set_of(with_posts(job, diameter * MM), Constraints()).springs]
        assert allowed[:, bought].all() if diameter == 1.3 else not allowed[:, bought].any()
    with pytest.raises(InputError, match=r"hooks are 1\.40 mm inside .* posts of 1\.50 mm"):
        spring_set_of(with_posts(job, 1.5 * MM), Constraints(primary=springs[0].id))


def test_a_spring_of_unknown_wire_is_not_refused() -> None:
    job = with_posts(pointed(), 2.5 * MM)
    assert job.catalogue is not None and all(s.wire is None for s in job.catalogue.springs)
    springs = spring_set_of(job, Constraints())
    assert isinstance(springs, SpringSet) and springs.fits is not None and springs.fits.all()


def test_a_spring_is_judged_by_its_length_at_the_stop() -> None:
    """Longer at the stop than at rest: half way between is not enough, a thousandth of a millimetre past the stop's length is."""
    job, build, _ = chosen(next(seed for seed in SEEDS if chosen(seed)[1] is not None))
    assert build is not None
    one, springs = build.unit.springs[0], spring_set_of(job, Constraints())
    rest, most = (float(one.length(at)[0]) for at in (0.0, build.stop))
    assert most > rest + 1e-4
    for limit, enough in (((rest + most) / 2, False), (most - 1e-6, False), (most + 1e-6, True)):
        longest = np.array([limit if s is one.spring else np.inf for s in springs.springs])
        assert bears(replace(springs, longest=longest), build) == enough
