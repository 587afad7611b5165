"""The search's short cuts against the search without them, and what each spring bears.

Without them every interval of take-up, no-snap rows included, is eliminated in full for every pair.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from random_jobs import MM, hidden, hidden_springs, job_about, known, random_job, random_springs, three_points

from recurve.physics.curve import Installed, Unit, trace
from recurve.planner.choose import by_margin, choose_build
from recurve.planner.linear import edges_at, intervals, rows_at
from recurve.planner.problem import Problem, problem_of
from recurve.planner.search import feasible_pairs, search
from recurve.planner.springset import SpringSet
from recurve.springs.spring import Spring

CASES = [(seed, wild) for seed in range(0, 40, 3) for wild in (False, True)]


def plain(problem: Problem, springs: SpringSet, margin: float, allowed: np.ndarray) -> np.ndarray:
    """Pairs that reach the margin, nothing pruned."""
    edges = edges_at(problem, margin)
    if edges is None:
        return np.zeros_like(allowed)
    spans = intervals(rows_at(problem, edges).at, edges.stop)
    return np.logical_or.reduce([feasible_pairs(problem, springs, margin, allowed, span) for span in spans])


def drawn(seed: int, wild: bool, count: int) -> tuple[Problem, SpringSet]:
    """A random job's problem with a larger catalogue."""
    job, random = random_job(seed, wild), np.random.default_rng(seed)
    around = hidden(seed, places=len(job.places))
    return problem_of(job), SpringSet.of(random_springs(around, random, count, tense=4.0 if wild else 1.0))


@pytest.mark.parametrize("case", CASES)
def test_pruning_never_drops_a_pair(case: tuple[int, bool]) -> None:
    """At margins from hopeless to good: the same pairs, one by one."""
    problem, springs = drawn(*case, 40)
    allowed = springs.pairs(len(problem.posts))
    for margin in (-3.0, -0.3, 0.0, 0.4):
        assert (feasible_pairs(problem, springs, margin, allowed) == plain(problem, springs, margin, allowed)).all()


def test_the_cases_hold_every_kind() -> None:
    """Pairs that pass and pairs that do not, units of one spring and of two."""
    shares = []
    for case in CASES:
        problem, springs = drawn(*case, 40)
        shares.append(float(feasible_pairs(problem, springs, 0.0, springs.pairs(len(problem.posts))).mean()))
    assert min(shares) == 0.0
    assert max(shares) > 0.2
    assert {len(drawn(*case, 4)[0].posts) for case in CASES} == {1, 2}


@pytest.mark.parametrize("case", [(0, False), (3, False), (9, True), (5, False), (11, False)])
def test_the_same_best_margin(case: tuple[int, bool]) -> None:
    """The margin found is reached without short cuts, one step of 0.001 above it is not."""
    problem, springs = drawn(*case, 60)
    allowed, found = springs.pairs(len(problem.posts)), search(problem, springs)
    assert found is not None
    assert found.feasible == plain(problem, springs, 0.0, allowed).sum()
    assert plain(problem, springs, found.margin, allowed).any()
    above = found.margin + 1e-3 * max(1.0, abs(found.margin))
    assert not plain(problem, springs, above, allowed).any()


@pytest.mark.parametrize("shorter", [0.1, 0.3])
def test_no_spring_is_longer_than_it_bears(shorter: float) -> None:
    """With a stop that stays, a length that a spring bears is a bound on the bend: as if the post could be bent that
    far and no further. The same margin, and at the stop no spring is longer."""
    around = known()
    springs = tuple(replace(s, free_length=s.free_length + 0.4 * MM) for s in hidden_springs(around))
    job = job_about(around, three_points(around), springs)
    free = choose_build(problem_of(job), SpringSet.of(springs), job, by_margin, True).build
    assert free is not None
    lengths = [float(i.length(free.stop)[0]) for i in free.unit.springs]
    for place, length in enumerate(lengths):
        most = length - shorter * MM
        limited = SpringSet.of(springs, lambda s, p=place, m=most: m if s is springs[p] else np.inf)
        build = choose_build(problem_of(job), limited, job, by_margin, True).build
        travel = [p.travel for p in job.places]
        assert build is not None
        for i, one in enumerate(build.unit.springs):
            if one.spring is springs[place]:
                assert float(one.length(build.stop)[0]) <= most + 1e-9
                travel[i] = (travel[i][0], most - float(job.places[i].posts.length(build.stop)[0]))
        pair = tuple(i.spring for i in build.unit.springs)
        narrow = replace(job, places=tuple(replace(p, travel=t) for p, t in zip(job.places, travel, strict=True)))
        other = choose_build(problem_of(narrow), SpringSet.of(pair), narrow, by_margin, True).build
        assert other is not None
        assert build.margin == pytest.approx(other.margin, abs=1e-4)
        assert build.margin < free.margin - 1e-4


@pytest.mark.parametrize("seed", [1, 3, 5])  # some of these springs snap, some do not
def test_the_rows_against_a_snap_are_the_slope_of_the_curve(seed: int) -> None:
    """Each is I′ · d(½ω²)/dα of the exact curve, the worse of both directions, whatever springs are in: its derivative by
    NumPy's differences on a fine grid. Without a friction share, which turns it into a smaller slope of the same sign."""
    around = hidden(seed)
    drag = replace(around.drag, friction_share=0.0)
    job = job_about(around, three_points(around), around.springs)
    problem = replace(problem_of(job), drag=drag)
    edges = edges_at(problem, 0.0)
    assert edges is not None
    rows = rows_at(problem, edges)
    random = np.random.default_rng(seed)
    signs = set()
    for _ in range(8):
        # Both pull from rest, so that every row sees both; a soft, hard-pulled spring on a falling lever snaps.
        pulls, rates = random.uniform(0.1, 8.0, 2), random.uniform(10.0, 500.0, 2)
        springs = tuple(
            Installed(Spring("any", k, float(p.length(0.0)[0]) - 1e-9, u), p)
            for k, u, p in zip(rates, pulls, around.posts, strict=True)
        )
        curve = trace(Unit(problem.weights, springs, drag, edges.stop), 4001)
        slopes = [np.gradient(0.5 * squared, curve.advance) for squared in (curve.rising, curve.falling)]
        at = rows.at[rows.edges :]
        exact = np.interp(at, curve.advance, np.minimum(*slopes)) * problem.weights.inertia_slope(at)
        parts = (rows.a * pulls[0] + rows.b * rates[0] + rows.c * pulls[1] + rows.d * rates[1] - rows.r)[rows.edges :]
        assert parts == pytest.approx(exact, abs=2e-4 * np.abs(exact).max())
        signs |= set(np.sign(parts))
    assert signs == {-1.0, 1.0}
