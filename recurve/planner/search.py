"""Every ordered pair of a spring set, exactly, as arrays (theory, section 3).

At a margin each pair leaves two free numbers, the pulls at rest u and v, which are the two post settings. Between
neighbouring places of take-up all conditions are half-planes in (u, v). Eliminating u leaves an interval of v for each
pair; if it is not empty the pair is feasible. Bisection on the margin, dropping the pairs that fail on the way, ends at
the best pair. Most pairs are settled by bounds (`prune`); only the rest are eliminated in full.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np

from recurve.arrays import Array, Mask
from recurve.planner.linear import TINY, Edges, Rows, edges_at, intervals, rows_at
from recurve.planner.problem import Problem
from recurve.planner.prune import Eliminated, Interval, Ranges, eliminated, settled
from recurve.planner.springset import SpringSet

LOWEST_MARGIN = -1000.0
SAMPLE = 256  # pairs that are bisected before all are asked
NEAR = 0.1  # how far below the best margin of the linear form a pair may be and still be shortlisted
LEAST_SLACK = 0.003
SHORTLIST = 60  # pairs on a shortlist, unless more are asked for

# Receives progress messages.
Report = Callable[[str], None]


@dataclass(frozen=True)
class Found:
    """The result of a search: the best `margin` [1] of the linear form, how many ordered `pairs` were judged, and which
    of them reach margin 0 (`passing`, (n, n) or (n, 1))."""

    problem: Problem
    springs: SpringSet
    margin: float
    pairs: int
    passing: Mask

    @property
    def feasible(self) -> int:
        """How many pairs reach margin 0."""
        return int(self.passing.sum())

    def near_best(self, slack: float) -> Mask:
        """The pairs within `slack` [1] of the best margin."""
        level = self.margin - slack
        among = self.passing if level >= 0 else self.springs.pairs(len(self.problem.posts))
        return feasible_pairs(self.problem, self.springs, level, among)

    def shortlist(self, least: int) -> tuple[Mask, float]:
        """The pairs near the best, at least `least` of them if there are that many, and the slack [1] that admits them.

        As wide a choice as can be refined quickly: many more than are wanted are narrowed down.
        """
        slack = NEAR
        near = self.near_best(slack)
        while near.sum() > SHORTLIST and slack > LEAST_SLACK:
            slack /= 2
            near = self.near_best(slack)
        if near.sum() > SHORTLIST:
            near = self._least_bent(near)
        return self._widened(slack, least) if near.sum() < least else (near, slack)

    def _widened(self, slack: float, least: int) -> tuple[Mask, float]:
        """At least so many pairs: the slack is doubled, then narrowed again while it lets in far too many."""
        low, high = slack, slack
        near = self.near_best(slack)
        while near.sum() < least and high < 1.0 + abs(self.margin):
            low, high = high, 2.0 * high
            near = self.near_best(high)
        for _ in range(8):
            if near.sum() <= 4 * SHORTLIST:
                break
            middle = (low + high) / 2
            fewer = self.near_best(middle)
            low, high, near = (low, middle, fewer) if fewer.sum() >= least else (middle, high, near)
        return near, high

    def _least_bent(self, near: Mask) -> Mask:
        """Of many pairs that are equally good, as when the stop alone sets the margin, those whose posts need the least
        bending: the fraction of the travel that is allowed is bisected until few are left."""
        low, high, kept = 0.0, 1.0, near
        for _ in range(20):
            if kept.sum() <= SHORTLIST:
                break
            fraction = (low + high) / 2
            travel = tuple((fraction * a, fraction * b) for a, b in self.problem.travel)
            fewer = feasible_pairs(replace(self.problem, travel=travel), self.springs, self.margin, near)
            low, high, kept = (fraction, high, kept) if not fewer.any() else (low, fraction, fewer)
        return kept


def search(problem: Problem, springs: SpringSet, tolerance: float = 1e-3, report: Report | None = None) -> Found | None:
    """The best margin over all pairs to `tolerance` [1].

    None if no pair has a primary that pulls from rest without a snap, whatever the bands. `report` receives progress
    messages.
    """
    say = report or (lambda text: None)
    allowed = springs.pairs(len(problem.posts))
    say(f"Judging {int(allowed.sum())} pairs")
    passing = feasible_pairs(problem, springs, 0.0, allowed)
    low, high, kept = (0.0, 1.0, passing) if passing.any() else _descend(problem, springs, allowed)
    if not kept.any():
        return None
    say(f"Looking for the best of {int(kept.sum())} pairs")
    steps = max(1, round(np.log2((high - low) / (tolerance * max(1.0, abs(high)))) + 0.5))
    best = _best_level(problem, springs, (low, high), 2**steps, kept)
    return Found(problem, springs, best, int(allowed.sum()), passing)


def feasible_pairs(
    problem: Problem, springs: SpringSet, margin: float, allowed: Mask, span: tuple[float, float] | None = None
) -> Mask:
    """Which of the allowed pairs can reach this margin [1], (n, n) or (n, 1); with `span` [rad], only those that can
    with a take-up of the secondary in that interval."""
    found = np.zeros_like(allowed)
    edges = edges_at(problem, margin)
    if edges is None or not allowed.any():
        return found
    level = _Level(problem, springs, edges, rows_at(problem, edges))
    if len(problem.posts) == 1:
        low, high = level.primary_range(np.zeros(len(level.rows.at), bool))
        found[:, 0] = allowed[:, 0] & (low <= high + TINY)
        return found
    if span is not None:
        level.mark_feasible(span, allowed, found)
        return found
    undecided = np.zeros_like(allowed)
    for one in intervals(edges.advance, edges.stop):
        level.mark_settled(one, allowed, found, undecided)
    undecided &= ~found
    if undecided.any():
        for one in intervals(level.rows.at, edges.stop):
            level.mark_feasible(one, undecided, found)
    return found


def _descend(problem: Problem, springs: SpringSet, allowed: Mask) -> tuple[float, float, Mask]:
    """If no pair passes: the first of the margins −0.25, −0.5, −1 … that one reaches, the margin above it, and the
    pairs that reach it."""
    high, low = 0.0, -0.25
    while low > LOWEST_MARGIN:
        kept = feasible_pairs(problem, springs, low, allowed)
        if kept.any():
            return low, high, kept
        high, low = low, 2 * low
    return low, high, np.zeros_like(allowed)


def _best_level(problem: Problem, springs: SpringSet, ends: tuple[float, float], count: int, kept: Mask) -> float:
    """The highest of `count` levels from the low end up that one of the pairs reaches; all of them reach the low end.

    A sample of the pairs is bisected; then all are asked for the next level above, and a sample of those left goes on.
    Pairs that reach a level reach all below it, so nothing is lost.
    """
    step = (ends[1] - ends[0]) / count
    reached, beyond = 0, count
    while reached + 1 < beyond:
        index = np.flatnonzero(kept)
        some = np.zeros_like(kept)
        some.flat[index[:: max(1, len(index) // SAMPLE)]] = True  # spread evenly
        low, high = reached, beyond
        while low + 1 < high:
            middle = (low + high) // 2
            better = feasible_pairs(problem, springs, ends[0] + middle * step, some)
            low, high, some = (middle, high, better) if better.any() else (low, middle, some)
        reached = low
        if reached + 1 < beyond:
            kept = feasible_pairs(problem, springs, ends[0] + (reached + 1) * step, kept)
            reached, beyond = (reached + 1, beyond) if kept.any() else (reached, reached + 1)
    return ends[0] + reached * step


@dataclass(frozen=True)
class _Level:
    """The conditions of one margin on all pairs of a spring set."""

    problem: Problem
    springs: SpringSet
    edges: Edges
    rows: Rows

    def mark_settled(self, span: tuple[float, float], allowed: Mask, found: Mask, undecided: Mask) -> None:
        """Marks in `found` the pairs that one tried setting serves with a take-up within `span` [rad], and in
        `undecided` those that the bounds do not exclude and no tried setting serves."""
        rows, springs, posts = self.rows, self.springs, self.problem.posts[1]
        past = rows.at >= span[1] - 1e-12
        low, high = self.primary_range(past)
        v_low, v_high = self.secondary_range(span)
        first, second = np.flatnonzero(low <= high + TINY), np.flatnonzero(v_low <= v_high + TINY)
        if not len(first) or not len(second):
            return
        spot = np.ix_(first, second)
        ask = allowed[spot] & ~found[spot]
        needed_first, needed_second = ask.any(axis=1), ask.any(axis=0)
        first, second, ask = first[needed_first], second[needed_second], ask[np.ix_(needed_first, needed_second)]
        if not ask.any():
            return
        stretch = posts.length(np.minimum(rows.at, self.problem.stops[1]))[0] - posts.length(0.0)[0]
        edge = past & (np.arange(len(rows.at)) < rows.edges)
        ranges = Ranges(
            rate=springs.rate[first],
            low=low[first],
            high=high[first],
            second_rate=springs.rate[second],
            second_low=v_low[second],
            second_high=v_high[second],
            tension=springs.tension[second],
        )
        inside = (rows.at > span[0] + 1e-12) & ~past
        interval = Interval(rows, edge, past, inside, stretch, eliminated(rows, edge))
        served, left = settled(interval, ranges, ask)
        found[first[served[0]], second[served[1]]] = True
        undecided[first[left[0]], second[left[1]]] = True

    def mark_feasible(self, span: tuple[float, float], allowed: Mask, found: Mask) -> None:
        """Marks in `found` the pairs that meet every row with a take-up within `span` [rad]."""
        past = self.rows.at >= span[1] - 1e-12
        low, high = self.primary_range(past)
        v_low, v_high = self.secondary_range(span)
        first, second = np.flatnonzero(low <= high + TINY), np.flatnonzero(v_low <= v_high + TINY)
        ask = allowed[np.ix_(first, second)] & ~found[np.ix_(first, second)]
        i, j = np.nonzero(ask)
        if not len(i):
            return
        p, s = first[i], second[j]
        features = np.stack([np.ones(len(p)), self.springs.rate[p], self.springs.rate[s], low[p], high[p]], axis=1)
        bottom, top = _pull_range(eliminated(self.rows, past), features)
        good = np.maximum(bottom, v_low[s]) <= np.minimum(top, v_high[s]) + TINY
        found[p[good], s[good]] = True

    def primary_range(self, past: Mask) -> tuple[Array, Array]:
        """Range of u [N] of each spring as primary, (n,): post travel, pulling from rest, and the rows that do not see
        the secondary."""
        springs, rows = self.springs, self.rows
        rest = float(self.problem.posts[0].length(0.0)[0])
        t0, t1 = self._bends(0)
        low = springs.tension + springs.rate * np.maximum(rest + t0 - springs.free, 0.0)
        high = springs.tension + springs.rate * (rest + t1 - springs.free)
        slack = (rest + t1 < springs.free - 1e-12) | (t1 < t0 - 1e-12)
        high = np.where(slack, -np.inf, np.maximum(high, low - TINY))
        k = springs.rate[:, None]
        for up in (True, False):
            pick = ~past & ((rows.a > 0) if up else (rows.a < 0))
            if not pick.any():
                continue
            bound = (rows.r[pick] - rows.b[pick] * k) / rows.a[pick]
            low, high = (np.maximum(low, bound.max(axis=1)), high) if up else (low, np.minimum(high, bound.min(axis=1)))
        return low, high

    def secondary_range(self, span: tuple[float, float]) -> tuple[Array, Array]:
        """Range of v [N] of each spring as secondary, (n,): post travel, and a take-up within `span` [rad]."""
        springs, stop = self.springs, self.edges.stop
        rest, begin, end = self.problem.posts[1].length(np.array([0.0, *np.minimum(span, stop)]))[0]
        t0, t1 = self._bends(1)
        low = springs.tension + springs.rate * (rest + t0 - springs.free)
        high = springs.tension + springs.rate * (rest + t1 - springs.free)
        if span[1] <= stop + TINY:
            low = np.maximum(low, springs.tension - springs.rate * (end - rest))
        if span[0] > 0:
            high = np.minimum(high, springs.tension - springs.rate * (begin - rest))
        return low, high

    def _bends(self, place: int) -> tuple[float, Array]:
        """How far [m] a post may be bent in, and out with each spring on it, (n,): within the travel, and no spring
        drawn at the stop beyond the length it can bear."""
        t0, t1 = self.problem.travel[place]
        length = float(self.problem.posts[place].length(self.edges.stop)[0])
        return t0, np.minimum(t1, self.springs.longest - length)


def _pull_range(conditions: Eliminated, features: Array, block: int = 20000) -> tuple[Array, Array]:
    """Range of v [N] that the conditions leave to each pair, (m,), in blocks to bound the memory."""
    d, e = conditions.d, conditions.e
    down, up, flat = conditions.split()
    low, high = np.full(len(features), -np.inf), np.full(len(features), np.inf)
    for begin in range(0, len(features), block):
        part = slice(begin, begin + block)
        if down.any():
            low[part] = (features[part] @ (e[:, down] / d[down])).max(axis=1)
        if up.any():
            high[part] = (features[part] @ (e[:, up] / d[up])).min(axis=1)
        if flat.any():
            excluded = (features[part] @ e[:, flat]).min(axis=1) < -TINY
            high[part][excluded] = -np.inf
    return low, high
