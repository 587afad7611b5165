"""The ideal springs against catalogues, against the forward curve and against differential evolution on it.

Posts are given by table, so that bending one changes no lever and the catalogue's springs are a part of what the
ideal ones may be. All jobs are invented, by `random_jobs`.
"""

from __future__ import annotations

import numpy as np
import pytest
from ideal_jobs import as_springs, forward_margin, ideal_of, job_of, limits_of
from numpy.typing import NDArray
from scipy.optimize import differential_evolution

from recurve.planner.choose import by_margin, choose_build
from recurve.planner.ideal import SpringRange
from recurve.planner.problem import Problem, problem_of
from recurve.planner.springset import SpringSet, springs_of
from recurve.springs.spring import Spring

SEEDS = range(8)
# Bisection on the ideal margin stops at 2⁻¹¹ of the stretch between 0 and 1, and later below 0.
STEP = 1e-3


@pytest.mark.parametrize("seed", SEEDS)
def test_no_catalogue_is_better(seed: int) -> None:
    """The catalogue's springs are among those that the ideal ones are chosen from."""
    job = job_of(seed)
    build = choose_build(problem_of(job), SpringSet.of(springs_of(job)), job, by_margin, largest=True).build
    assert build is not None
    assert ideal_of(seed).margin >= build.margin - STEP * max(1.0, abs(build.margin))


@pytest.mark.parametrize("seed", SEEDS)
def test_the_forward_curve_has_the_ideal_margin(seed: int) -> None:
    """Springs with the ideal numbers reach the ideal margin on the curve, within 0.01."""
    ideal, problem = ideal_of(seed), problem_of(job_of(seed))
    got = forward_margin(problem, as_springs(ideal, problem), ideal.stop)
    assert got >= ideal.margin - 0.01


def consistent(number: SpringRange, problem: Problem, place: int) -> bool:
    """Whether rate, pull and take-up of one spring tell the same."""
    if number.takeup is None:
        return True
    stretch = float(problem.posts[place].length(number.takeup)[0] - problem.posts[place].length(0.0)[0])
    return abs(number.pull + number.rate * stretch - number.takeup_pull) < 1e-3 * max(1.0, number.takeup_pull)


@pytest.mark.parametrize("seed", SEEDS)
def test_the_numbers_agree_and_lie_in_their_ranges(seed: int) -> None:
    """Pull at rest + rate · stretch to the take-up = pull there; each value lies in its range and in the limits."""
    ideal, problem, limits = ideal_of(seed), problem_of(job_of(seed)), limits_of(job_of(seed))
    for place, (number, rates) in enumerate(zip(ideal.springs, limits.rates, strict=True)):
        assert consistent(number, problem, place)
        assert number.rates[0] <= number.rate * (1 + 1e-9) and number.rate <= number.rates[1] * (1 + 1e-9)
        assert number.pulls[0] - 1e-6 <= number.pull <= number.pulls[1] + 1e-6
        assert rates[0] * (1 - 1e-6) <= number.rates[0] <= number.rates[1] <= rates[1] * (1 + 1e-6)
        assert number.pulls[1] <= limits.pull[1] * (1 + 1e-6)
    assert ideal.springs[0].pull >= limits.pull[0] - 1e-9
    assert ideal.springs[0].takeup == 0.0
    assert ideal.floor <= ideal.margin
    assert problem.stops[0] - 1e-9 <= ideal.stop <= problem.stops[1] + 1e-9


def evolved(seed: int) -> float:
    """The best margin over rates, pulls, take-up and stop by differential evolution on the forward curve."""
    problem, limits = problem_of(job_of(seed)), limits_of(job_of(seed))
    rest = [float(p.length(0.0)[0]) for p in problem.posts]
    (low, high), pull = np.log(limits.rates[0]), limits.pull[1]

    def springs(x: NDArray[np.float64]) -> tuple[Spring, ...]:
        rate = float(np.exp(x[1]))
        first = Spring("first", rate, rest[0] - float(x[2]) / rate)
        if len(problem.posts) == 1:
            return (first,)
        rate, takeup = float(np.exp(x[3])), float(x[4])
        # A negative take-up stands for a spring that pulls from rest.
        if takeup > 0:
            return first, Spring("second", rate, float(problem.posts[1].length(takeup)[0]), float(x[5]))
        return first, Spring("second", rate, rest[1] - float(x[5]) / rate)

    stop = problem.stops[1]
    box = [problem.stops, (low, high), (0.0, pull), (low, high), (-0.2 * stop, 1.1 * stop), (0.0, 0.3 * pull)]
    found = differential_evolution(
        lambda x: -forward_margin(problem, springs(x), float(x[0]), 61),
        box[: 3 * len(problem.posts)],
        popsize=10,
        maxiter=70,
        tol=1e-5,
        polish=False,
        rng=4,
    )
    return forward_margin(problem, springs(found.x), float(found.x[0]))


@pytest.mark.parametrize("seed", [1, 3, 7])
def test_against_differential_evolution(seed: int) -> None:
    """Global: evolution on the curve finds nothing better. It comes some of the way only; that the rest can be
    reached is what `test_the_forward_curve_has_the_ideal_margin` shows."""
    best = evolved(seed)
    assert ideal_of(seed).margin >= best - 0.005
    assert best >= ideal_of(seed).margin - 0.5


def test_the_cases_hold_every_kind() -> None:
    """One spring and two, a secondary that takes up late, passing and not."""
    ideals = [ideal_of(seed) for seed in SEEDS]
    assert {len(i.springs) for i in ideals} == {1, 2}
    assert any(len(i.springs) == 2 and i.springs[1].takeup not in (None, 0.0) for i in ideals)
    assert min(i.margin for i in ideals) < 0.5 < max(i.margin for i in ideals)
