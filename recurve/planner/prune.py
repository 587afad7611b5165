"""What settles most pairs of a search cheaply and exactly: bounds on the pulls at rest, and a few tried settings.

Each pair of springs leaves two free numbers, the pulls at rest u (primary) and v (secondary), which are the two post
settings. Eliminating u (Fourier–Motzkin) leaves bounds on v that are straight lines in the secondary's rate: one outer
sum per line, for a block of primaries against all secondaries. A pair excluded even by the band edges is out. A pair
for which one tried (u, v) meets every row is in. The rest are left to the search.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from recurve.arrays import Array, Indices, Mask
from recurve.planner.linear import TINY, Rows

Pairs = tuple[Indices, Indices]
BLOCK = 1 << 17  # pairs looked at together
SPARSE = 0.15  # fraction of a block's pairs asked for, below which they are looked at one by one
# Tried settings: where u and v lie between their least and greatest values.
TRIED = ((0.5, 0.5), (0.05, 0.05), (0.95, 0.05), (0.05, 0.95), (0.95, 0.95))
ROUNDING = 1e-13  # moments [N·m] that differ by less are equal


@dataclass(frozen=True)
class Eliminated:
    """Conditions d·v ≤ features · e after u is eliminated: d (m,) [1], e (5, m) [SI] for the features
    1, k, K, lowest u, highest u."""

    d: Array
    e: Array

    def split(self) -> tuple[Mask, Mask, Mask]:
        """Which conditions bound v from below, from above, and not at all, (m,) each."""
        # A slope below this is rounding: the condition does not depend on v.
        flat: Mask = np.abs(self.d) < 1e-9 * max(float(np.abs(self.d).max(initial=0.0)), 1e-30)
        return (self.d < 0) & ~flat, (self.d > 0) & ~flat, flat


@dataclass(frozen=True)
class Ranges:
    """Primaries (p,): rate k, least and greatest u. Secondaries (s,): rate K, least and greatest v, initial tension.
    [N/m, N]"""

    rate: Array
    low: Array
    high: Array
    second_rate: Array
    second_low: Array
    second_high: Array
    tension: Array


@dataclass(frozen=True)
class Interval:
    """What an interval of take-up asks of a pair.

    All `rows`; the `edges` among them that see the secondary; the rows that see it wherever in the interval it takes
    up (`past`), and those that see it only if it takes up before them (`inside`), each (m,); `stretch` (m,) [m] of the
    secondary from rest at each row; and the edges with u eliminated.
    """

    rows: Rows
    edges: Mask
    past: Mask
    inside: Mask
    stretch: Array
    conditions: Eliminated


def eliminated(rows: Rows, past: Mask) -> Eliminated:
    """Every lower bound of u against every upper bound (Fourier–Motzkin), for the rows `past` (m,).

    A row a·u + b·k + c·v + d·K ≥ r bounds u by (r − b·k − d·K − c·v)/a, below for a > 0.
    """
    below, above = past & (rows.a > 0), past & (rows.a < 0)
    zero = np.zeros(1)
    low_e, low_v = _bounds(rows, below, [zero, zero, zero, zero + 1, zero])
    high_e, high_v = _bounds(rows, above, [zero, zero, zero, zero, zero + 1])
    d = (low_v[:, None] - high_v[None, :]).ravel()
    e = (high_e[:, None, :] - low_e[:, :, None]).reshape(5, -1)
    return Eliminated(d, e)


def settled(interval: Interval, ranges: Ranges, ask: Mask) -> tuple[Pairs, Pairs]:
    """Of the pairs asked for, (p, s), those that a tried setting serves, and those that remain undecided."""
    good: list[Pairs] = []
    undecided: list[Pairs] = []
    for i, j, low, high in _survivors(interval.conditions, ranges, ask):
        for fractions in TRIED:
            served = _served(interval, ranges, (i, j), low, high, fractions)
            good.append((i[served], j[served]))
            left = ~served
            i, j, low, high = i[left], j[left], low[left], high[left]
            if not len(i):
                break
        undecided.append((i, j))
    return _joined(good), _joined(undecided)


def _bounds(rows: Rows, pick: Mask, own: list[Array]) -> tuple[Array, Array]:
    """Bounds of u as features (5, m) and slope in v (m,); the primary's own range is the last."""
    a = rows.a[pick]
    nothing = np.zeros_like(a)
    seen = np.stack([rows.r[pick] / a, -rows.b[pick] / a, -rows.d[pick] / a, nothing, nothing])
    return np.concatenate([seen, np.stack(own)], axis=1), np.concatenate([-rows.c[pick] / a, [0.0]])


def _joined(parts: list[Pairs]) -> Pairs:
    none = np.zeros(0, int)
    return np.concatenate([none, *(p[0] for p in parts)]), np.concatenate([none, *(p[1] for p in parts)])


def _survivors(conditions: Eliminated, ranges: Ranges, ask: Mask) -> Iterator[tuple[Indices, Indices, Array, Array]]:
    """Pairs (i, j) that the bounds leave, with the least and greatest v [N], block by block."""
    d, e = conditions.d, conditions.e
    kinds = conditions.split()
    scale = np.where(kinds[2], 1.0, d)
    # Each condition as a line offset + slope·K: a bound of v or, where it is flat, a number that must not be negative.
    known = np.stack([np.ones(len(ranges.rate)), ranges.rate, ranges.low, ranges.high], axis=1)
    offset, slope = known @ (e[[0, 1, 3, 4]] / scale), e[2] / scale
    width = max(1, BLOCK // max(ask.shape[1], 1))
    for begin in range(0, len(ask), width):
        part = slice(begin, begin + width)
        block = _pair_by_pair if ask[part].mean() < SPARSE else _all_pairs
        i, j, low, high = block(offset[part], slope, kinds, ranges, ask[part])
        if len(i):
            yield i + begin, j, low, high


def _all_pairs(
    offset: Array, slope: Array, kinds: tuple[Mask, Mask, Mask], ranges: Ranges, ask: Mask
) -> tuple[Indices, Indices, Array, Array]:
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


def _pair_by_pair(
    offset: Array, slope: Array, kinds: tuple[Mask, Mask, Mask], ranges: Ranges, ask: Mask
) -> tuple[Indices, Indices, Array, Array]:
    """Only the pairs asked for."""
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
    interval: Interval, ranges: Ranges, pairs: Pairs, low: Array, high: Array, fractions: tuple[float, float]
) -> Mask:
    """Whether every row holds at the u and v that lie at these `fractions` between their bounds; (m,)."""
    i, j = pairs
    rows, k, rate = interval.rows, ranges.rate[i], ranges.second_rate[j]
    v = low + fractions[1] * (high - low)
    u_low, u_high = ranges.low[i], ranges.high[i]
    given = np.stack([np.ones(len(i)), k, v, rate], axis=1)
    for up in (True, False):
        pick = np.flatnonzero(interval.edges & ((rows.a > 0) if up else (rows.a < 0)))
        if len(pick):
            bound = given @ (np.stack([rows.r, -rows.b, -rows.c, -rows.d])[:, pick] / rows.a[pick])
            if up:
                u_low = np.maximum(u_low, bound.max(axis=1))
            else:
                u_high = np.minimum(u_high, bound.min(axis=1))
    u = u_low + fractions[0] * (u_high - u_low)
    seen = given[:, 2:] @ np.stack([rows.c, rows.d])
    inside = np.flatnonzero(interval.inside)
    taken = v[:, None] + rate[:, None] * interval.stretch[inside] >= ranges.tension[j][:, None]
    seen[:, inside] *= taken
    seen[:, ~(interval.past | interval.inside)] = 0.0
    left = np.stack([u, k, np.ones(len(i))], axis=1) @ np.stack([rows.a, rows.b, -rows.r]) + seen
    return np.asarray((u_low <= u_high) & (left.min(axis=1, initial=np.inf) >= -ROUNDING))
