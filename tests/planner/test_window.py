"""The ordering window: its ends are springs that keep the floor on the forward curve, and beyond them none do.

The jobs are those of `ideal_jobs`: posts by table, invented. Beyond an end differential evolution over everything
that is left free, on the forward curve, is the second opinion.
"""

from __future__ import annotations

from dataclasses import replace
from functools import cache

import numpy as np
import pytest
from ideal_jobs import as_springs, forward_margin, ideal_of, job_of, limits_of
from numpy.typing import NDArray
from scipy.optimize import differential_evolution

from recurve.planner.ideal import Ideal, find_ideal
from recurve.planner.problem import Problem, SpringBounds, problem_of
from recurve.planner.window import Window, find_window
from recurve.springs.spring import Spring

SEEDS = (1, 3, 6)
TINY = 1e-3


def only(limits: SpringBounds, place: int, rate: float) -> SpringBounds:
    """The limits with one rate [N/m] given."""
    rates = list(limits.rates)
    rates[place] = (rate, rate)
    return replace(limits, rates=tuple(rates))


@cache
def window_of(seed: int) -> Window:
    """The window of the job at the ideal's floor."""
    found = find_window(problem_of(job_of(seed)), limits_of(job_of(seed)), ideal_of(seed))
    assert found is not None
    return found


def best_at(seed: int, place: int, rate: float) -> Ideal | None:
    """The best springs with one rate given, by a search of their own."""
    return find_ideal(problem_of(job_of(seed)), only(limits_of(job_of(seed)), place, rate))


@pytest.mark.parametrize("seed", SEEDS)
def test_the_ends_of_a_rate(seed: int) -> None:
    """At each end, and just inside, springs with that rate keep the floor on the forward curve; just outside even the
    best with that rate do not."""
    window, problem, limits = window_of(seed), problem_of(job_of(seed)), limits_of(job_of(seed))
    for place, spring in enumerate(window.springs):
        for end, out in zip(spring.rates, (0.99, 1.01), strict=True):
            for rate in (end, end / out):
                at = best_at(seed, place, float(np.clip(rate, *limits.rates[place])))
                assert at is not None
                assert at.margin >= window.floor - TINY
                assert forward_margin(problem, as_springs(at, problem), at.stop) >= window.floor - 0.01
            beyond = end * out
            if limits.rates[place][0] <= beyond <= limits.rates[place][1]:
                past = best_at(seed, place, beyond)
                assert past is None or past.margin < window.floor


@pytest.mark.parametrize("seed", [1, 6])
def test_the_ends_of_a_pull(seed: int) -> None:
    """At a rate: springs with the least and the most pull at rest of the primary, and just inside, keep the floor on
    the forward curve; just outside none do."""
    window, problem, limits = window_of(seed), problem_of(job_of(seed)), limits_of(job_of(seed))
    row = window.springs[0].rows[2]
    for end, out in ((row.pulls[0][0], -0.02), (row.pulls[-1][1], 0.02)):
        for pull, inside in ((end, True), (end - out, True), (end + out, False)):
            if not limits.pull[0] <= pull <= limits.pull[1]:
                continue
            # The secondaries of these jobs hang slack at rest, so the bound on pulls is the primary's alone.
            at = find_ideal(problem, replace(only(limits, 0, row.rate), pull=(pull, pull)))
            assert at is not None
            assert (at.margin >= window.floor - TINY) == inside
            got = forward_margin(problem, as_springs(at, problem), at.stop)
            assert (got >= window.floor - 0.01) or not inside


def test_evolution_finds_nothing_outside() -> None:
    """A primary beyond the end of the pulls: evolution over everything else stays below the floor."""
    window, problem, limits = window_of(6), problem_of(job_of(6)), limits_of(job_of(6))
    row = window.springs[0].rows[2]
    pull = 1.05 * row.pulls[-1][1] + 0.05
    first = Spring("first", row.rate, float(problem.posts[0].length(0.0)[0]) - pull / row.rate)
    assert evolved(problem, limits, first) < window.floor


def evolved(problem: Problem, limits: SpringBounds, first: Spring) -> float:
    """The best margin with this primary over stop and secondary by differential evolution on the forward curve."""
    rest = float(problem.posts[1].length(0.0)[0])

    def second(x: NDArray[np.float64]) -> Spring:
        rate, takeup = float(np.exp(x[1])), float(x[2])
        if takeup > 0:
            return Spring("second", rate, float(problem.posts[1].length(takeup)[0]), float(x[3]))
        return Spring("second", rate, rest - float(x[3]) / rate)

    stop, pull = problem.stops[1], limits.pull[1]
    low, high = np.log(limits.rates[1])
    found = differential_evolution(
        lambda x: -forward_margin(problem, (first, second(x)), float(x[0]), 61),
        [problem.stops, (low, high), (-0.2 * stop, 1.1 * stop), (0.0, 0.3 * pull)],
        popsize=10,
        maxiter=25,
        tol=1e-5,
        polish=False,
        rng=4,
    )
    return forward_margin(problem, (first, second(found.x)), float(found.x[0]))


@pytest.mark.parametrize("seed", SEEDS)
def test_the_regions(seed: int) -> None:
    """The union's extremes are the ends of the rates; each polygon is convex and turns anticlockwise."""
    window = window_of(seed)
    corners = np.concatenate(window.regions)
    assert corners[:, 0].min() == pytest.approx(window.springs[0].rates[0], rel=1e-5)
    assert corners[:, 0].max() == pytest.approx(window.springs[0].rates[1], rel=1e-5)
    for region in window.regions:
        size = np.ptp(region, axis=0)
        sides = np.diff(np.concatenate([region, region[:2]]), axis=0) / np.where(size > 0, size, 1.0)
        turns = sides[:-1, 0] * sides[1:, 1] - sides[:-1, 1] * sides[1:, 0]
        assert (turns > -1e-6).all()


def test_the_lengths() -> None:
    """Pull at rest, rate and length over the posts tell the same: by hand L0 = rest + bend − pull/rate. The primary pulls
    from rest, so its pulls are those of springs without initial tension."""
    window, problem = window_of(1), problem_of(job_of(1))
    rest = float(problem.posts[0].length(0.0)[0])
    for row in window.springs[0].rows:
        low = rest + problem.travel[0][0] - row.pulls[-1][1] / row.rate
        high = rest + problem.travel[0][1] - row.pulls[0][0] / row.rate
        assert row.lengths == pytest.approx((low, high), abs=1e-9)
        assert row.tension == 0.0


@pytest.mark.parametrize("seed", [0, 2, 5])
def test_soft_secondaries_that_need_initial_tension(seed: int) -> None:
    """Below the rates that are given for springs without initial tension, evolution over everything else, on the forward
    curve, finds no secondary without any that keeps the floor; with the tension that the window gives there is one."""
    problem, limits = problem_of(job_of(seed)), limits_of(job_of(seed))
    # Softer springs than the catalogue's may be ordered.
    limits = replace(limits, rates=tuple((0.1 * low, high) for low, high in limits.rates))
    ideal = find_ideal(problem, limits)
    assert ideal is not None
    window = find_window(problem, limits, ideal)
    assert window is not None
    soft = window.springs[1]
    assert soft.plain is not None and soft.rates[0] < 0.9 * soft.plain[0]
    rate = 0.95 * soft.plain[0]
    assert evolved_without(problem, limits, rate) < window.floor
    row = soft.rows[0]
    assert row.lengths is None and row.takeups is None and row.tension > 0.0
    for tension, inside in ((row.tension * 1.05, True), (row.tension * 0.9, False)):
        # The primary and the pull at rest are free, as in the window; the tension is held to what is said.
        held = replace(only(limits, 1, row.rate), tension=tension)
        at = find_ideal(problem, held)
        assert ((-9.0 if at is None else at.margin) >= window.floor - TINY) == inside


def evolved_without(problem: Problem, limits: SpringBounds, rate: float) -> float:
    """The best margin over stop, primary and take-up with a secondary of this rate [N/m] that has no initial tension."""
    posts, rest = problem.posts[1], [float(p.length(0.0)[0]) for p in problem.posts]
    stop, pull = problem.stops[1], limits.pull[1]

    def springs(x: NDArray[np.float64]) -> tuple[Spring, Spring]:
        first = Spring("first", float(np.exp(x[1])), rest[0] - float(x[2] / np.exp(x[1])))
        free = float(posts.length(float(x[3]))[0]) if x[3] > 0 else rest[1] + float(x[3]) * pull / (stop * rate)
        return first, Spring("second", rate, free)

    low, high = np.log(limits.rates[0])
    found = differential_evolution(
        lambda x: -forward_margin(problem, springs(x), float(x[0]), 61),
        [problem.stops, (low, high), (0.0, pull), (-stop, 1.1 * stop)],
        popsize=10,
        maxiter=25,
        tol=1e-5,
        polish=False,
        rng=4,
    )
    return forward_margin(problem, springs(found.x), float(found.x[0]))
