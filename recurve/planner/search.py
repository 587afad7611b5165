"""Every ordered pair of a catalogue, exactly, as arrays (theory, section 3).

At a margin each pair leaves two free numbers, the pulls at rest u and v, that is the two post
settings. Between neighbouring places of take-up all conditions are half-planes in (u, v); u is
eliminated, which leaves an interval of v for each pair. Bisection on the margin, the pairs that fail
dropped on the way, ends at the best pair.

Most pairs are settled by bounds (`prune`): those that no pulls can serve even without the no-snap rows, and those
that one tried setting serves with all of them. Only the rest are eliminated in full.

What settles most pairs of a search cheaply and exactly: bounds on the pulls at rest, and a few tried settings.

For a primary and a secondary the bounds that the bands' edges leave of v are straight lines in the secondary's
rate: one outer sum a line, for a block of primaries against all secondaries. A pair that even these exclude is
out; one that a tried (u, v) serves with every row is in; the rest are for the search in full.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np

from recurve.arrays import Array
from recurve.planner.linear import TINY, Edges, Problem, Rows, edges_at, intervals, rows_at
from recurve.springs.spring import Spring

Mask = np.ndarray
Pairs = tuple[np.ndarray, np.ndarray]
BLOCK = 1 << 17  # pairs looked at together
SPARSE = 0.15  # share of pairs asked for below which they are looked at one by one
# Tried settings: where u and v lie between the least and the most they may be.
TRIED = ((0.5, 0.5), (0.05, 0.05), (0.95, 0.05), (0.05, 0.95), (0.95, 0.95))
ROUNDING = 1e-13  # moments [N·m] that differ by less are the same


@dataclass(frozen=True)
class Eliminated:
    """Conditions d·v ≤ features · e after u is eliminated: d (m,) [1], e (5, m) [SI] for the features
    1, k, K, lowest u, highest u."""

    d: Array
    e: Array


def eliminated(rows: Rows, past: Mask) -> Eliminated:
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
    return Eliminated(d, e)


def _bounds(rows: Rows, pick: Mask, own: list[Array]) -> tuple[Array, Array]:
    """Bounds of u as features (5, m) plus slope in v (m,), the primary's own range as the last."""
    a = rows.a[pick]
    nothing = np.zeros_like(a)
    seen = np.stack([rows.r[pick] / a, -rows.b[pick] / a, -rows.d[pick] / a, nothing, nothing])
    return np.concatenate([seen, np.stack(own)], axis=1), np.concatenate([-rows.c[pick] / a, [0.0]])


@dataclass(frozen=True)
class Ranges:
    """Primaries (p,): rate k, least and largest u. Secondaries (s,): rate K, least and largest v, initial tension.
    [N/m, N]"""

    rate: Array
    low: Array
    high: Array
    second_rate: Array
    second_low: Array
    second_high: Array
    tension: Array


@dataclass(frozen=True)
class Asked:
    """What an interval of take-up asks: all `rows`; which are `edges` that see the secondary, which rows see it
    (`past`) wherever in the interval it takes up, and which (`inside`) only if it does before them; `stretch` [m] of
    the secondary at each row from rest; and the edges with u eliminated."""

    rows: Rows
    edges: Mask
    past: Mask
    inside: Mask
    stretch: Array
    conditions: Eliminated


def settled(asked: Asked, ranges: Ranges, ask: Mask) -> tuple[Pairs, Pairs]:
    """Of the pairs asked for, (p, s), those that a tried setting serves, and those that are left in doubt."""
    good: list[Pairs] = []
    doubt: list[Pairs] = []
    for i, j, low, high in _survivors(asked.conditions, ranges, ask):
        for share in TRIED:
            served = _served(asked, ranges, (i, j), low, high, share)
            good.append((i[served], j[served]))
            i, j, low, high = (x[~served] for x in (i, j, low, high))
            if not len(i):
                break
        doubt.append((i, j))
    return _joined(good), _joined(doubt)


def _joined(parts: list[Pairs]) -> Pairs:
    none = np.zeros(0, int)
    return np.concatenate([none, *(p[0] for p in parts)]), np.concatenate([none, *(p[1] for p in parts)])


def _survivors(conditions: Eliminated, ranges: Ranges, ask: Mask) -> Iterator[tuple[np.ndarray, ...]]:
    """Pairs (i, j) that the bounds leave, with the least and largest v [N], block by block."""
    d, e = conditions.d, conditions.e
    flat = np.abs(d) < 1e-9 * max(float(np.abs(d).max(initial=0.0)), 1e-30)
    scale = np.where(flat, 1.0, d)
    # Each condition as a line offset + slope·K, a bound of v or, where it is flat, of nothing.
    known = np.stack([np.ones(len(ranges.rate)), ranges.rate, ranges.low, ranges.high], axis=1)
    offset, slope = known @ (e[[0, 1, 3, 4]] / scale), e[2] / scale
    kinds = ((d < 0) & ~flat, (d > 0) & ~flat, flat)
    width = max(1, BLOCK // max(ask.shape[1], 1))
    for begin in range(0, len(ask), width):
        part = slice(begin, begin + width)
        block = _list if ask[part].mean() < SPARSE else _outer
        i, j, low, high = block(offset[part], slope, kinds, ranges, ask[part])
        if len(i):
            yield i + begin, j, low, high


def _outer(offset: Array, slope: Array, kinds: tuple[Mask, ...], ranges: Ranges, ask: Mask) -> tuple[np.ndarray, ...]:
    """A block of primaries against all secondaries."""
    low = np.broadcast_to(ranges.second_low, ask.shape).copy()
    high = np.broadcast_to(ranges.second_high, ask.shape).copy()
    line, good = np.empty(ask.shape), ask
    down, up, flat = (np.flatnonzero(k) for k in kinds)
    for c in down:
        np.maximum(low, np.add(offset[:, c, None], slope[c] * ranges.second_rate, out=line), out=low)
    for c in up:
        np.minimum(high, np.add(offset[:, c, None], slope[c] * ranges.second_rate, out=line), out=high)
    for c in flat:
        good = good & (offset[:, c, None] + slope[c] * ranges.second_rate >= -TINY)
    i, j = np.nonzero(good & (low <= high + TINY))
    return i, j, low[i, j], high[i, j]


def _list(offset: Array, slope: Array, kinds: tuple[Mask, ...], ranges: Ranges, ask: Mask) -> tuple[np.ndarray, ...]:
    """The pairs asked for one by one."""
    i, j = np.nonzero(ask)
    low, high, rate = ranges.second_low[j], ranges.second_high[j], ranges.second_rate[j]
    good = np.ones(len(i), bool)
    down, up, flat = (np.flatnonzero(k) for k in kinds)
    for c in down:
        np.maximum(low, offset[i, c] + slope[c] * rate, out=low)
    for c in up:
        np.minimum(high, offset[i, c] + slope[c] * rate, out=high)
    for c in flat:
        good &= offset[i, c] + slope[c] * rate >= -TINY
    good &= low <= high + TINY
    return i[good], j[good], low[good], high[good]


def _served(
    asked: Asked, ranges: Ranges, pairs: Pairs, low: Array, high: Array, share: tuple[float, float]
) -> np.ndarray:
    """Whether every row holds at the u and v that lie so far, as `share`, between their bounds; (m,)."""
    i, j = pairs
    rows, k, rate = asked.rows, ranges.rate[i], ranges.second_rate[j]
    v = low + share[1] * (high - low)
    u_low, u_high = ranges.low[i], ranges.high[i]
    given = np.stack([np.ones(len(i)), k, v, rate], axis=1)
    for up in (True, False):
        pick = np.flatnonzero(asked.edges & ((rows.a > 0) if up else (rows.a < 0)))
        if len(pick):
            bound = given @ (np.stack([rows.r, -rows.b, -rows.c, -rows.d])[:, pick] / rows.a[pick])
            if up:
                u_low = np.maximum(u_low, bound.max(axis=1))
            else:
                u_high = np.minimum(u_high, bound.min(axis=1))
    u = u_low + share[0] * (u_high - u_low)
    seen = given[:, 2:] @ np.stack([rows.c, rows.d])
    inside = np.flatnonzero(asked.inside)
    taken = v[:, None] + rate[:, None] * asked.stretch[inside] >= ranges.tension[j][:, None]
    seen[:, inside] *= taken
    seen[:, ~(asked.past | asked.inside)] = 0.0
    left = np.stack([u, k, np.ones(len(i))], axis=1) @ np.stack([rows.a, rows.b, -rows.r]) + seen
    return np.asarray((u_low <= u_high) & (left.min(axis=1, initial=np.inf) >= -ROUNDING))


LOWEST_MARGIN = -1000.0
SAMPLE = 256  # pairs that are asked before all are
Report = Callable[[str], None]


@dataclass(frozen=True)
class SpringSet:
    """Springs as arrays (n,): rate [N/m], free length [m], initial tension [N], and the longest [m] each may be over
    its posts at the stop, inf where nothing is said: a longer spring would be stressed too high. `fits` (2, n) says
    which may go in which place; None all in both."""

    springs: tuple[Spring, ...]
    rate: Array
    free: Array
    tension: Array
    longest: Array
    fits: Mask | None = None

    @classmethod
    def of(cls, springs: Sequence[Spring], longest: Callable[[Spring], float] | None = None) -> SpringSet:
        """The springs that can be had at all, in their order; `longest` tells the length [m] that each bears."""
        kept = tuple(s for s in springs if s.quantity is None or s.quantity > 0)
        rate, free, tension = (
            np.array([getattr(s, name) for s in kept], float) for name in ("rate", "free_length", "initial_tension")
        )
        return cls(
            kept, rate, free, tension, np.array([np.inf if longest is None else longest(s) for s in kept], float)
        )

    def limited(self, fits: Mask) -> SpringSet:
        """The same springs, those in each place that `fits` (2, n) says."""
        return replace(self, fits=fits)

    def pairs(self, places: int) -> Mask:
        """Which ordered pairs may be fitted, (n, n), or (n, 1) with one place: one spring is not used twice."""
        n = len(self.springs)
        fits: Mask = np.ones((2, n), bool) if self.fits is None else self.fits
        if places == 1:
            return np.array(fits[:1].T)
        allowed: Mask = np.logical_and(fits[0][:, None], fits[1][None, :])
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


def search(problem: Problem, shelf: SpringSet, tolerance: float = 1e-3, report: Report | None = None) -> Found | None:
    """The best margin over all pairs to `tolerance` [1]; None where no pair has a primary that pulls from rest
    without a snap, whatever the bands. `report` is told how far it is."""
    said = report or (lambda text: None)
    allowed = shelf.pairs(len(problem.posts))
    said(f"Judging {int(allowed.sum())} pairs")
    start = alive(problem, shelf, 0.0, allowed)
    low, high, kept = (0.0, 1.0, start) if start.any() else _descend(problem, shelf, allowed)
    if not kept.any():
        return None
    said(f"Looking for the best of {int(kept.sum())} pairs")
    steps = max(1, round(np.log2((high - low) / (tolerance * max(1.0, abs(high)))) + 0.5))
    low = _best_level(problem, shelf, (low, high), 2**steps, kept)
    return Found(low, int(allowed.sum()), int(start.sum()), start if start.any() else allowed)


def _best_level(problem: Problem, shelf: SpringSet, ends: tuple[float, float], count: int, kept: Mask) -> float:
    """The highest of `count` levels from the low end up that one of the pairs reaches; they reach the low end.

    A sample of the pairs is bisected; then all are asked for the next level above, and a sample of those that are
    left goes on. Pairs that reach a level reach all below, so nothing is lost.
    """
    step = (ends[1] - ends[0]) / count
    reached, beyond = 0, count
    while reached + 1 < beyond:
        some = _sample(kept)
        low, high = reached, beyond
        while low + 1 < high:
            middle = (low + high) // 2
            better = alive(problem, shelf, ends[0] + middle * step, some)
            low, high, some = (middle, high, better) if better.any() else (low, middle, some)
        reached = low
        if reached + 1 < beyond:
            kept = alive(problem, shelf, ends[0] + (reached + 1) * step, kept)
            reached, beyond = (reached + 1, beyond) if kept.any() else (reached, reached + 1)
    return ends[0] + reached * step


def _sample(kept: Mask) -> Mask:
    """Some of the pairs, spread evenly."""
    index = np.flatnonzero(kept)
    some = np.zeros(kept.size, bool)
    some[index[:: max(1, len(index) // SAMPLE)]] = True
    return some.reshape(kept.shape)


def near_best(problem: Problem, shelf: SpringSet, found: Found, slack: float) -> Mask:
    """The pairs within `slack` [1] of the best margin."""
    level = found.margin - slack
    return alive(problem, shelf, level, found.alive if level >= 0 else shelf.pairs(len(problem.posts)))


def _descend(problem: Problem, shelf: SpringSet, allowed: Mask) -> tuple[float, float, Mask]:
    """Where no pair passes: the first margin below 0, doubling, at which one is left."""
    high, low = 0.0, -0.25
    while low > LOWEST_MARGIN:
        kept = alive(problem, shelf, low, allowed)
        if kept.any():
            return low, high, kept
        high, low = low, 2 * low
    return low, high, np.zeros_like(allowed)


def alive(
    problem: Problem, shelf: SpringSet, margin: float, allowed: Mask, only: tuple[float, float] | None = None
) -> Mask:
    """Which of the allowed pairs can be set to at least this margin, (n, n) or (n, 1); with `only`, by a
    take-up [rad] in that one of the intervals."""
    result = np.zeros_like(allowed)
    edges = edges_at(problem, margin)
    if edges is None or not allowed.any():
        return result
    rows = rows_at(problem, edges)
    if allowed.shape[1] == 1 and len(problem.posts) == 1:
        low, high = _primary_range(problem, shelf, rows, np.zeros(len(rows.at), bool), edges.stop)
        result[:, 0] = allowed[:, 0] & (low <= high + TINY)
        return result
    if only is not None:
        _one_interval(problem, shelf, edges, rows, only, allowed, result)
        return result
    doubtful = np.zeros_like(allowed)
    for span in intervals(edges.advance, edges.stop):
        _quickly(problem, shelf, edges, rows, span, allowed, (result, doubtful))
    doubtful &= ~result
    if doubtful.any():
        for span in intervals(rows.at, edges.stop):
            _one_interval(problem, shelf, edges, rows, span, doubtful, result)
    return result


def _quickly(
    problem: Problem,
    shelf: SpringSet,
    edges: Edges,
    rows: Rows,
    span: tuple[float, float],
    allowed: Mask,
    marks: tuple[Mask, Mask],
) -> None:
    """Marks in the first of `marks` the pairs that one tried setting serves, in the second those that bounds do not
    exclude and no tried setting serves."""
    past = rows.at >= span[1] - 1e-12
    low, high = _primary_range(problem, shelf, rows, past, edges.stop)
    v_low, v_high = _secondary_range(problem, shelf, span, edges.stop)
    first, second = np.flatnonzero(low <= high + TINY), np.flatnonzero(v_low <= v_high + TINY)
    if not len(first) or not len(second):
        return
    spot = np.ix_(first, second)
    ask = allowed[spot] & ~marks[0][spot]
    needed_first, needed_second = ask.any(axis=1), ask.any(axis=0)
    first, second, ask = first[needed_first], second[needed_second], ask[np.ix_(needed_first, needed_second)]
    if not ask.any():
        return
    stretch = problem.posts[1].length(np.minimum(rows.at, problem.stops[1]))[0] - problem.posts[1].length(0.0)[0]
    edge = past & (np.arange(len(rows.at)) < rows.edges)
    ranges = Ranges(
        shelf.rate[first],
        low[first],
        high[first],
        shelf.rate[second],
        v_low[second],
        v_high[second],
        shelf.tension[second],
    )
    asked = Asked(rows, edge, past, (rows.at > span[0] + 1e-12) & ~past, stretch, eliminated(rows, edge))
    for mark, (i, j) in zip(marks, settled(asked, ranges, ask), strict=True):
        mark[first[i], second[j]] = True


def _one_interval(
    problem: Problem,
    shelf: SpringSet,
    edges: Edges,
    rows: Rows,
    span: tuple[float, float],
    allowed: Mask,
    result: Mask,
) -> None:
    """Marks in `result` the pairs that work with a take-up within `span` [rad]."""
    past = rows.at >= span[1] - 1e-12
    low, high = _primary_range(problem, shelf, rows, past, edges.stop)
    v_low, v_high = _secondary_range(problem, shelf, span, edges.stop)
    first, second = np.flatnonzero(low <= high + TINY), np.flatnonzero(v_low <= v_high + TINY)
    ask = allowed[np.ix_(first, second)] & ~result[np.ix_(first, second)]
    i, j = np.nonzero(ask)
    if not len(i):
        return
    p, s = first[i], second[j]
    features = np.stack([np.ones(len(p)), shelf.rate[p], shelf.rate[s], low[p], high[p]], axis=1)
    bottom, top = _pull_range(eliminated(rows, past), features)
    good = np.maximum(bottom, v_low[s]) <= np.minimum(top, v_high[s]) + TINY
    result[p[good], s[good]] = True


def _bend_range(problem: Problem, shelf: SpringSet, place: int, stop: float) -> tuple[float, Array]:
    """How far [m] a post may be bent in, and out with each spring on it, (n,): the travel, and at the stop no spring
    longer than it bears."""
    t0, t1 = problem.travel[place]
    return t0, np.minimum(t1, shelf.longest - float(problem.posts[place].length(stop)[0]))


def _primary_range(problem: Problem, shelf: SpringSet, rows: Rows, past: Mask, stop: float) -> tuple[Array, Array]:
    """Range of u [N] of each spring as primary, (n,): post travel, pulling from rest, and the rows that do
    not see the secondary."""
    rest = float(problem.posts[0].length(0.0)[0])
    t0, t1 = _bend_range(problem, shelf, 0, stop)
    low = shelf.tension + shelf.rate * np.maximum(rest + t0 - shelf.free, 0.0)
    high = shelf.tension + shelf.rate * (rest + t1 - shelf.free)
    dead = (rest + t1 < shelf.free - 1e-12) | (t1 < t0 - 1e-12)
    high = np.where(dead, -np.inf, np.maximum(high, low - TINY))
    k = shelf.rate[:, None]
    for up in (True, False):
        pick = ~past & ((rows.a > 0) if up else (rows.a < 0))
        if not pick.any():
            continue
        bound = (rows.r[pick] - rows.b[pick] * k) / rows.a[pick]
        low, high = (np.maximum(low, bound.max(axis=1)), high) if up else (low, np.minimum(high, bound.min(axis=1)))
    return low, high


def _secondary_range(problem: Problem, shelf: SpringSet, span: tuple[float, float], stop: float) -> tuple[Array, Array]:
    """Range of v [N] of each spring as secondary, (n,): post travel, and a take-up within `span` [rad]."""
    length = problem.posts[1].length(np.array([0.0, *np.minimum(span, stop)]))[0]
    rest, begin, end = length
    t0, t1 = _bend_range(problem, shelf, 1, stop)
    low = shelf.tension + shelf.rate * (rest + t0 - shelf.free)
    high = shelf.tension + shelf.rate * (rest + t1 - shelf.free)
    if span[1] <= stop + TINY:
        low = np.maximum(low, shelf.tension - shelf.rate * (end - rest))
    if span[0] > 0:
        high = np.minimum(high, shelf.tension - shelf.rate * (begin - rest))
    return low, high


def _pull_range(conditions: Eliminated, features: Array, block: int = 20000) -> tuple[Array, Array]:
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
