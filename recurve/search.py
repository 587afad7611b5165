"""Every ordered pair of a catalogue, exactly, as arrays (design §3).

At a margin each pair leaves two free numbers, the pulls at rest u and v, that is the two post
settings. Between neighbouring places of take-up all conditions are half-planes in (u, v); u is
eliminated, which leaves an interval of v for each pair. Bisection on the margin, the pairs that fail
dropped on the way, ends at the best pair.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from recurve.linear import TINY, Edges, Problem, Rows, edges_at, intervals, rows_at
from recurve.mechanism import Array
from recurve.springs import Spring

Mask = np.ndarray
LOWEST_MARGIN = -1000.0


@dataclass(frozen=True)
class Shelf:
    """Springs as arrays (n,): rate [N/m], free length [m], initial tension [N]."""

    springs: tuple[Spring, ...]
    rate: Array
    free: Array
    tension: Array

    @classmethod
    def of(cls, springs: Sequence[Spring]) -> Shelf:
        """The springs that can be had at all, in their order."""
        kept = tuple(s for s in springs if s.quantity is None or s.quantity > 0)
        columns = [
            np.array([getattr(s, name) for s in kept], float) for name in ("rate", "free_length", "initial_tension")
        ]
        return cls(kept, *columns)

    def pairs(self, places: int) -> Mask:
        """Which ordered pairs may be fitted, (n, n), or (n, 1) with one place: one spring is not used twice."""
        n = len(self.springs)
        if places == 1:
            return np.ones((n, 1), bool)
        allowed = np.ones((n, n), bool)
        alone = [i for i, s in enumerate(self.springs) if s.quantity == 1]
        allowed[alone, alone] = False
        return allowed


@dataclass(frozen=True)
class Found:
    """What a search returns: the best margin [1] of the linear form, how many ordered pairs were judged, how
    many reach margin 0, and which pairs can come near the best at all (bool, (n, n) or (n, 1))."""

    margin: float
    pairs: int
    feasible: int
    alive: Mask


def search(problem: Problem, shelf: Shelf, tolerance: float = 1e-3) -> Found | None:
    """The best margin over all pairs to `tolerance`; None where no pair has a primary that pulls from rest
    without a snap, whatever the bands."""
    allowed = shelf.pairs(len(problem.posts))
    start = alive(problem, shelf, 0.0, allowed)
    low, high, kept = (0.0, 1.0, start) if start.any() else _descend(problem, shelf, allowed)
    if not kept.any():
        return None
    while high - low > tolerance * max(1.0, abs(low)):
        middle = (low + high) / 2
        better = alive(problem, shelf, middle, kept)
        if better.any():
            low, kept = middle, better
        else:
            high = middle
    return Found(low, int(allowed.sum()), int(start.sum()), start if start.any() else allowed)


def near_best(problem: Problem, shelf: Shelf, found: Found, slack: float) -> Mask:
    """The pairs within `slack` of the best margin."""
    level = found.margin - slack
    return alive(problem, shelf, level, found.alive if level >= 0 else shelf.pairs(len(problem.posts)))


def _descend(problem: Problem, shelf: Shelf, allowed: Mask) -> tuple[float, float, Mask]:
    """Where no pair passes: the first margin below 0, doubling, at which one is left."""
    high, low = 0.0, -0.25
    while low > LOWEST_MARGIN:
        kept = alive(problem, shelf, low, allowed)
        if kept.any():
            return low, high, kept
        high, low = low, 2 * low
    return low, high, np.zeros_like(allowed)


def alive(
    problem: Problem, shelf: Shelf, margin: float, allowed: Mask, only: tuple[float, float] | None = None
) -> Mask:
    """Which of the allowed pairs can be set to at least this margin, (n, n) or (n, 1); with `only`, by a
    take-up [rad] in that one of the intervals."""
    result = np.zeros_like(allowed)
    edges = edges_at(problem, margin)
    if edges is None or not allowed.any():
        return result
    rows = rows_at(problem, edges)
    if allowed.shape[1] == 1 and len(problem.posts) == 1:
        low, high = _primary_range(problem, shelf, rows, np.zeros(len(rows.at), bool))
        result[:, 0] = allowed[:, 0] & (low <= high + TINY)
        return result
    for span in intervals(rows.at, edges.stop) if only is None else [only]:
        _one_interval(problem, shelf, edges, rows, span, allowed, result)
    return result


def _one_interval(
    problem: Problem,
    shelf: Shelf,
    edges: Edges,
    rows: Rows,
    span: tuple[float, float],
    allowed: Mask,
    result: Mask,
) -> None:
    """Marks in `result` the pairs that work with a take-up within `span` [rad]."""
    past = rows.at >= span[1] - 1e-12
    low, high = _primary_range(problem, shelf, rows, past)
    v_low, v_high = _secondary_range(problem, shelf, span, edges.stop)
    first, second = np.flatnonzero(low <= high + TINY), np.flatnonzero(v_low <= v_high + TINY)
    ask = allowed[np.ix_(first, second)] & ~result[np.ix_(first, second)]
    i, j = np.nonzero(ask)
    if not len(i):
        return
    p, s = first[i], second[j]
    features = np.stack([np.ones(len(p)), shelf.rate[p], shelf.rate[s], low[p], high[p]], axis=1)
    bottom, top = _pull_range(_eliminated(rows, past), features)
    good = np.maximum(bottom, v_low[s]) <= np.minimum(top, v_high[s]) + TINY
    result[p[good], s[good]] = True


def _primary_range(problem: Problem, shelf: Shelf, rows: Rows, past: Mask) -> tuple[Array, Array]:
    """Range of u [N] of each spring as primary, (n,): post travel, pulling from rest, and the rows that do
    not see the secondary."""
    rest = float(problem.posts[0].length(0.0)[0])
    t0, t1 = problem.travel[0]
    low = shelf.tension + shelf.rate * np.maximum(rest + t0 - shelf.free, 0.0)
    high = shelf.tension + shelf.rate * (rest + t1 - shelf.free)
    high = np.where(rest + t1 < shelf.free - 1e-12, -np.inf, np.maximum(high, low - TINY))
    k = shelf.rate[:, None]
    for up in (True, False):
        pick = ~past & ((rows.a > 0) if up else (rows.a < 0))
        if not pick.any():
            continue
        bound = (rows.r[pick] - rows.b[pick] * k) / rows.a[pick]
        low, high = (np.maximum(low, bound.max(axis=1)), high) if up else (low, np.minimum(high, bound.min(axis=1)))
    return low, high


def _secondary_range(problem: Problem, shelf: Shelf, span: tuple[float, float], stop: float) -> tuple[Array, Array]:
    """Range of v [N] of each spring as secondary, (n,): post travel, and a take-up within `span` [rad]."""
    length = problem.posts[1].length(np.array([0.0, *np.minimum(span, stop)]))[0]
    rest, begin, end = length
    t0, t1 = problem.travel[1]
    low = shelf.tension + shelf.rate * (rest + t0 - shelf.free)
    high = shelf.tension + shelf.rate * (rest + t1 - shelf.free)
    if span[1] <= stop + TINY:
        low = np.maximum(low, shelf.tension - shelf.rate * (end - rest))
    if span[0] > 0:
        high = np.minimum(high, shelf.tension - shelf.rate * (begin - rest))
    return low, high


@dataclass(frozen=True)
class _Eliminated:
    """Conditions d·v ≤ features · e after u is eliminated: d (m,), e (5, m) for the features
    1, k, K, lowest u, highest u."""

    d: Array
    e: Array


def _eliminated(rows: Rows, past: Mask) -> _Eliminated:
    """Every lower bound of u against every upper one (Fourier–Motzkin).

    A row a·u + b·k + c·v + d·K ≥ r bounds u by (r − b·k − d·K − c·v)/a, below for a > 0.
    """
    below, above = past & (rows.a > 0), past & (rows.a < 0)
    zero = np.zeros(1)
    lower = _bounds(rows, below, [zero, zero, zero, zero + 1, zero])
    upper = _bounds(rows, above, [zero, zero, zero, zero, zero + 1])
    (low_e, low_v), (high_e, high_v) = lower, upper
    d = (low_v[:, None] - high_v[None, :]).ravel()
    e = (high_e[:, None, :] - low_e[:, :, None]).reshape(5, -1)
    return _Eliminated(d, e)


def _bounds(rows: Rows, pick: Mask, own: list[Array]) -> tuple[Array, Array]:
    """Bounds of u as features (5, m) plus slope in v (m,), the primary's own range as the last."""
    a = rows.a[pick]
    nothing = np.zeros_like(a)
    seen = np.stack([rows.r[pick] / a, -rows.b[pick] / a, -rows.d[pick] / a, nothing, nothing])
    return np.concatenate([seen, np.stack(own)], axis=1), np.concatenate([-rows.c[pick] / a, [0.0]])


def _pull_range(conditions: _Eliminated, features: Array, block: int = 20000) -> tuple[Array, Array]:
    """Range of v [N] that the conditions leave to each pair, (m,), in blocks to bound the memory."""
    d, e = conditions.d, conditions.e
    # A slope below this is rounding: the condition does not depend on v.
    flat = np.abs(d) < 1e-9 * max(float(np.abs(d).max(initial=0.0)), 1e-30)
    down, up = (d < 0) & ~flat, (d > 0) & ~flat
    low, high = np.full(len(features), -np.inf), np.full(len(features), np.inf)
    for begin in range(0, len(features), block):
        part = slice(begin, begin + block)
        if down.any():
            low[part] = (features[part] @ (e[:, down] / d[down])).max(axis=1)
        if up.any():
            high[part] = (features[part] @ (e[:, up] / d[up])).min(axis=1)
        if flat.any():
            dead = (features[part] @ e[:, flat]).min(axis=1) < -TINY
            high[part][dead] = -np.inf
    return low, high
