"""The best springs there could be, free of any catalogue (theory, section 6).

A linear programme says whether a margin can be reached, and bisection finds the best margin: a global optimum.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from recurve.arrays import Array
from recurve.planner.linear import edges_at
from recurve.planner.problem import Problem, SpringBounds
from recurve.planner.programme import Polytope, Programme, programmes

STEPS = 11  # of bisection
STEPS_BELOW = 8  # more of them where no margin above 0 can be reached
LEAST_MARGIN = -64.0


@dataclass(frozen=True)
class SpringRange:
    """One ideal spring, each number with the range that keeps `Ideal.floor` when the others follow it.

    rate [N/m]; pull [N] at rest, negative if slack (what it would pull if it could push); takeup [rad], 0 from rest,
    None if it never takes up; takeup_pull [N] as it takes up.
    """

    rate: float
    rates: tuple[float, float]
    pull: float
    pulls: tuple[float, float]
    takeup: float | None
    takeup_pull: float


@dataclass(frozen=True)
class Ideal:
    """The best springs free of the catalogue: the `margin` [1] they reach, the `stop` [rad] with them, and the margin
    `floor` [1] for which the ranges are taken.

    `conflict` lists the edges (index of the timed band, whether upper) that together rule out a higher margin;
    `limit_hit` says whether the bounds on springs do so too.
    """

    margin: float
    floor: float
    stop: float
    springs: tuple[SpringRange, ...]
    conflict: tuple[tuple[int, bool], ...]
    limit_hit: bool


def find_ideal(problem: Problem, bounds: SpringBounds) -> Ideal | None:
    """The ideal springs, or None if not even a margin of −64 can be reached."""
    low, at_low = 0.0, _reaching(problem, bounds, 0.0, None)
    while at_low is None:
        low = 2 * low if low < 0 else -0.25
        if low < LEAST_MARGIN:
            return None
        at_low = _reaching(problem, bounds, low, None)
    high, guess = 1.0, at_low[0].span
    for _ in range(STEPS + (STEPS_BELOW if low < 0 else 0)):
        middle = (low + high) / 2
        found = _reaching(problem, bounds, middle, guess)
        if found is None:
            high = middle
        else:
            low, at_low, guess = middle, found, found[0].span
    return _described(problem, bounds, low, high, at_low)


def _reaching(
    problem: Problem, bounds: SpringBounds, margin: float, guess: tuple[float, float] | None
) -> tuple[Programme, Array] | None:
    """A programme that reaches the margin and a point of it; take-ups near `guess` [rad] are tried first."""
    listed = programmes(problem, bounds, margin)
    if guess is not None:
        listed.sort(key=lambda p: abs(sum(p.span) - sum(guess)))
    for programme in listed:
        x = programme.polytope.inside()
        if x is not None:
            return programme, x
    return None


def _described(
    problem: Problem, bounds: SpringBounds, margin: float, above: float, at: tuple[Programme, Array]
) -> Ideal:
    """The ideal springs at the best `margin`; `above` is the least margin known to be out of reach."""
    floor = margin / 2 if margin > 0 else margin
    low, high = _ranges(problem, bounds, floor, at[1])
    edges = edges_at(problem, margin)
    assert edges is not None  # a margin that was reached
    # The mean of the extremes of each number, so that the end of a range is never given as the advice.
    ends = [at[0].polytope.lowest(sign * unit) for unit in np.eye(len(low)) for sign in (1.0, -1.0)]
    x = np.asarray(np.mean([e for e in ends if e is not None], axis=0))
    springs = [SpringRange(x[1] * 1e3, (low[1] * 1e3, high[1] * 1e3), x[0], (low[0], high[0]), 0.0, x[0])]
    if len(problem.posts) == 2:
        takeup, pull = _takeup(problem, at[0].span, edges.stop, x[2], x[3] * 1e3)
        springs.append(SpringRange(x[3] * 1e3, (low[3] * 1e3, high[3] * 1e3), x[2], (low[2], high[2]), takeup, pull))
    beyond = min(margin + max(0.002, 2 * (above - margin)), 1.0)
    return Ideal(margin, floor, edges.stop, tuple(springs), *_conflict(problem, bounds, beyond, at[0].span))


def _ranges(problem: Problem, bounds: SpringBounds, floor: float, x: Array) -> tuple[Array, Array]:
    """Least and greatest value of each number, over `x` and all programmes at the margin `floor`."""
    low, high = x.copy(), x.copy()
    for programme in programmes(problem, bounds, floor):
        if programme.polytope.inside() is None:
            continue
        for i, unit in enumerate(np.eye(len(low))):
            least, most = programme.polytope.lowest(unit), programme.polytope.lowest(-unit)
            low[i] = low[i] if least is None else min(low[i], least[i])
            high[i] = high[i] if most is None else max(high[i], most[i])
    return low, high


def _takeup(
    problem: Problem, span: tuple[float, float], stop: float, pull: float, rate: float
) -> tuple[float | None, float]:
    """Where a secondary of this pull at rest [N] and rate [N/m] takes up within `span` [rad], and the pull [N] there: 0
    if it can do without initial tension."""
    if pull >= 0 and span[0] == 0.0:
        return 0.0, pull
    if span[0] >= stop - 1e-9:
        return None, 0.0
    grid = np.linspace(span[0], span[1], 101)
    length = problem.posts[1].length(grid)[0] - float(problem.posts[1].length(0.0)[0])
    at = pull + rate * length
    if at[-1] < 0:
        return None, 0.0
    first = int(np.argmax(at >= 0))
    if first == 0:
        return float(grid[0]), float(at[0])
    near = slice(first - 1, first + 1)
    return float(np.interp(0.0, at[near], grid[near])), 0.0


def _conflict(
    problem: Problem, bounds: SpringBounds, margin: float, span: tuple[float, float]
) -> tuple[tuple[tuple[int, bool], ...], bool]:
    """The edges (band, upper) with non-zero multipliers just above the best margin, and whether a bound on springs is
    active too."""
    edges = edges_at(problem, margin)
    listed = programmes(problem, bounds, margin)
    if edges is None or not listed:
        return (), False
    near = min(listed, key=lambda p: abs(sum(p.span) - sum(span)))
    rows = len(near.right)
    # The least violation t of all rows: its multipliers prove that no springs do without one.
    left = np.concatenate([near.left, -np.ones((rows, 1))], axis=1)
    low, high = np.array([*near.bounds, (0.0, np.inf)], float).T
    found = Polytope(left, near.right, low, high).least(np.r_[np.zeros(left.shape[1] - 1), 1.0])
    if found is None:
        return (), False
    weights = -found.rows
    active = np.flatnonzero(weights[: near.edges] > 1e-6 * max(float(weights.max()), 1e-12))
    order = active[np.argsort(-weights[active], kind="stable")]
    limit_hit = bool((np.abs(found.bounds[:-1]) > 1e-9).any())
    return tuple((int(edges.band[i]), bool(edges.upper[i])) for i in order), limit_hit
