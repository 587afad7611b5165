"""The best pairs once more, with the posts where they are bent to (theory, section 4).

Bending a post changes L′ a little, so the linear form is only the start. Here the conditions are taken at the present
bend and linearised in the two bends. Bisection on the margin gives new bends, and this is repeated until the bends no
longer change, so that in the end the conditions hold for the posts as they will be. All b candidates are solved at once
as arrays, with e edges, two for each timed band.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import ArrayLike

from recurve.arrays import Array, Indices, Mask
from recurve.planner.linear import TINY, band_edges, intervals, moment_needed, rows_at, stop_range
from recurve.planner.linear import edges_at as edges_at_margin
from recurve.planner.problem import Problem
from recurve.planner.programme import Polytope
from recurve.planner.search import feasible_pairs
from recurve.planner.springset import SpringSet

ROUNDS = 5
TURNS = 3  # edges that a take-up may cross one after another
AT_EDGE = 1e-7  # length [m] within which a spring takes up at an edge
SNAP_ROWS = 24
FEW = 80  # up to so many pairs are tried with every set of edges past the take-up
STEP = 1e-7  # bend [m] for differences
HAIR = 1e-12  # bend [m] that cannot be told from none
# Margins to try from the present one, as fractions of 1 + |margin|, the highest first.
LEVELS = (0.1, 0.05, 0.02, 0.0, -0.01, -0.04, -0.1, -0.25, -0.6)


@dataclass(frozen=True)
class Candidates:
    """Pairs to be solved: indices of the `first` and `second` springs (b,) in the spring set (second −1 with one
    place), which edges see the secondary (`past`, (b, e)), `bend` (b, 2) [m] and `margin` (b,) [1]."""

    first: Indices
    second: Indices
    past: Mask
    bend: Array
    margin: Array

    def take(self, index: ArrayLike) -> Candidates:
        """Those with these indices [1]."""
        return Candidates(
            *(getattr(self, n)[np.asarray(index, int)] for n in ("first", "second", "past", "bend", "margin"))
        )

    def joined(self, other: Candidates) -> Candidates:
        """These followed by the others."""
        names = ("first", "second", "past", "bend", "margin")
        return Candidates(*(np.concatenate([getattr(self, n), getattr(other, n)]) for n in names))


def candidates(problem: Problem, springs: SpringSet, near: Mask, margins: tuple[float, ...]) -> Candidates:
    """Every pair of `near`, at `margins` [1], with every set of edges that may lie past its take-up.

    If there are many pairs, only the sets that are feasible in the linear form at one of the margins, or at a somewhat
    lower one, since a bent post may need another set.
    """
    rows: dict[tuple[int, int, bytes], tuple[int, int, Mask, float]] = {}
    few = int(near.sum()) <= FEW
    # Far below 0 the bands' edges move far with the margin, and bent posts may reach much less than the linear form.
    lower = [min(margins) * (1 + x) for x in (0.05, 0.15, 0.4) if min(margins) < 0]
    for margin in (*margins, *lower):
        edges = edges_at_margin(problem, margin)
        if edges is None:
            continue
        low, high, _ = band_edges(problem, np.array([margin]))
        advance = np.concatenate([low[0], high[0]])
        at = advance if few else rows_at(problem, edges).at
        spans = [(0.0, edges.stop)] if len(problem.posts) == 1 else intervals(at[at >= 0], edges.stop)
        for span in spans:
            found = near if few else near & feasible_pairs(problem, springs, margin, near, span)
            past = advance >= span[1] - 1e-12
            for i, j in np.argwhere(found):
                key = (int(i), int(j), past.tobytes())
                rows.setdefault(key, (int(i), int(j), past, 0.5 * (span[0] + min(span[1], edges.stop))))
    return _start(problem, springs, list(rows.values()), min(margins))


def solve(
    problem: Problem,
    springs: SpringSet,
    given: Candidates,
    ceiling: float,
    spread: float = 0.01,
    snap_rows: int = SNAP_ROWS,
) -> Candidates:
    """The candidates with their best margin and bends, those that end more than `spread` [1] below the best
    are dropped.

    A candidate whose take-up ends at an edge is continued with that edge on its other side. Margins are sought up to
    `ceiling` [1], or a little above the best one given. A snap is forbidden at `snap_rows` [1] advances.
    """
    if not len(given.first):
        return given
    top = max(ceiling, float(given.margin.max(initial=-np.inf)) + 0.1)
    done = last = _settled(problem, springs, given, top, spread, snap_rows)
    for _ in range(TURNS):
        over = _across(problem, springs, last)
        if not len(over.first):
            break
        last = _better(_settled(problem, springs, over, top, spread, snap_rows), done)
        done = done.joined(last)
    return done


def least_moves(
    problem: Problem, springs: SpringSet, some: Candidates, margin: Array, snap_rows: int = SNAP_ROWS
) -> Array:
    """Of the bends that keep these margins (b,) [1], those that move the posts least, (b, 2) [m]; the present bends if
    a margin cannot be kept. A snap is forbidden at `snap_rows` [1] advances."""
    snap = _no_snap(problem, springs, some, snap_rows)
    planes = _join([_edges(problem, springs, some, margin), _box(problem, springs, some), snap])
    return np.stack([_least_move(*parts) for parts in zip(planes.p, planes.q, planes.r, some.bend, strict=True)])


@dataclass(frozen=True)
class _Planes:
    """Half-planes p·x + q·y ≥ r in the bends (x, y) [m], each (b, m); an r of −inf forbids nothing."""

    p: Array
    q: Array
    r: Array


def _start(problem: Problem, springs: SpringSet, rows: list[tuple[int, int, Mask, float]], margin: float) -> Candidates:
    """Initial bends: the secondary takes up in the middle of its interval, the primary post is in mid-travel."""
    first = np.array([r[0] for r in rows], int)
    second = np.array([r[1] if len(problem.posts) == 2 else -1 for r in rows], int)
    edges = band_edges(problem, np.array([margin]))
    past = np.array([r[2] for r in rows], bool).reshape(len(rows), edges[0].shape[1] + edges[1].shape[1])
    bend = np.zeros((len(rows), 2))
    bend[:, 0] = np.mean(problem.travel[0])
    if len(problem.posts) == 2:
        takeup = np.array([r[3] for r in rows])
        bend[:, 1] = np.clip(springs.free[second] - problem.posts[1].length(takeup)[0], *problem.travel[1])
    return Candidates(first, second, past, bend, np.full(len(rows), margin))


def _better(new: Candidates, old: Candidates) -> Candidates:
    """Those of the new candidates that reach more than the same pair among the old."""
    same = (new.first[:, None] == old.first) & (new.second[:, None] == old.second)
    known = np.where(same, old.margin, -np.inf).max(axis=1, initial=-np.inf)
    return new.take(np.flatnonzero(new.margin > known + 1e-6))


def _settled(
    problem: Problem, springs: SpringSet, given: Candidates, top: float, spread: float, snap_rows: int
) -> Candidates:
    """Linearised at the present bends and solved, until the bends no longer change."""
    now = given
    for turn in range(ROUNDS):
        fixed = _join([_box(problem, springs, now), _no_snap(problem, springs, now, snap_rows)])
        margin, bend, good = _bisect(problem, springs, now, fixed, top)
        if not good.any():
            return now.take([])
        # The first linearisation is rough, the second errs in the third digit: those clearly behind can be dropped.
        good &= margin >= margin[good].max() - spread - (0.1 if turn == 0 else 0.01)
        moved = float(np.abs(bend - now.bend)[good].max())
        now = replace(now, bend=bend, margin=margin).take(np.flatnonzero(good))
        if moved < 1e-8:
            break
    return now


def _across(problem: Problem, springs: SpringSet, now: Candidates) -> Candidates:
    """The candidates whose second spring takes up at an edge, each with that edge moved to the other side."""
    if len(problem.posts) == 1 or not len(now.first):
        return now.take([])
    low, high, _ = band_edges(problem, now.margin)
    advance = np.clip(np.concatenate([low, high], axis=1), 0.0, problem.stops[1])
    gap = problem.posts[1].length(advance, now.bend[:, 1:])[0] - springs.free[now.second][:, None]
    row, edge = np.nonzero(np.abs(gap) < AT_EDGE)
    some = now.take(row)
    past = some.past.copy()
    past[np.arange(len(row)), edge] ^= True
    return replace(some, past=past)


def _bisect(
    problem: Problem, springs: SpringSet, now: Candidates, fixed: _Planes, top: float
) -> tuple[Array, Array, Mask]:
    """The highest margin (b,) at which the half-planes leave a point, that point (b, 2), and whether there is one."""
    low, high, good, bend = _bracket(problem, springs, now, fixed, top)
    while float((high - low).max()) > 1e-7:
        middle = (low + high) / 2
        works, at = _point(_join([_edges(problem, springs, now, middle), fixed]), now.bend)
        low, high = np.where(works, middle, low), np.where(works, high, middle)
        bend = np.where(works[:, None], at, bend)
    return low, bend, good


def _bracket(
    problem: Problem, springs: SpringSet, now: Candidates, fixed: _Planes, top: float
) -> tuple[Array, Array, Mask, Array]:
    """The highest of several margins around the present ones at which there is a point, the next margin above it,
    whether there is a point at all, and the point.

    A given set of edges past the take-up is possible only between two margins, so trying one low margin is not enough.
    """
    scale = 1.0 + np.abs(now.margin)
    high, good = np.full(len(scale), top), np.zeros(len(scale), bool)
    low, bend = high.copy(), now.bend.copy()
    for offset in LEVELS:
        level = np.minimum(now.margin + offset * scale, top)
        works, at = _point(_join([_edges(problem, springs, now, level), fixed]), now.bend)
        low, high = np.where(good, low, level), np.where(good | works, high, level)
        bend = np.where((works & ~good)[:, None], at, bend)
        good |= works
    return low, np.maximum(low, high), good, bend


def _least_move(p: Array, q: Array, r: Array, bend: Array) -> Array:
    kept = np.isfinite(r)
    scale = 1.0 / np.maximum(np.hypot(p, q)[kept], 1e-30)
    left = -np.stack([p[kept], q[kept], -p[kept], -q[kept]], axis=1) * scale[:, None]
    # Each bend as the difference of two lengths that are not negative, in millimetres.
    x = Polytope(left, -r[kept] * scale * 1e3, np.zeros(4), np.full(4, np.inf)).lowest(np.ones(4))
    return bend if x is None else (x[:2] - x[2:]) * 1e-3


# --- the conditions at the present bends ---------------------------------------------------------------


def _pull_moment(
    problem: Problem, springs: SpringSet, now: Candidates, place: int, advance: Array, shift: float
) -> Array:
    """τ [N·m] of the spring in a place, as if it had taken up everywhere, with the post bent by another `shift` [m]."""
    spring = now.first if place == 0 else now.second
    length, slope = problem.posts[place].length(advance, now.bend[:, place, None] + shift)
    pull = springs.tension[spring][:, None] + springs.rate[spring][:, None] * (length - springs.free[spring][:, None])
    return np.asarray(pull * slope)


def _linearised(
    problem: Problem, springs: SpringSet, now: Candidates, place: int, advance: Array
) -> tuple[Array, Array]:
    """τ [N·m] and dτ/dbend [N] at the advances (b, m) [rad]; zeros for a place that the unit lacks."""
    if place >= len(problem.posts):
        return np.zeros_like(advance), np.zeros_like(advance)
    less, more = (_pull_moment(problem, springs, now, place, advance, x) for x in (-STEP, STEP))
    return (less + more) / 2, (more - less) / (2 * STEP)


def _planes(value: Array, by_first: Array, by_second: Array, bend: Array, active: Mask) -> _Planes:
    """value + by·(bend′ − bend) ≥ 0 as half-planes in bend′."""
    r = by_first * bend[:, :1] + by_second * bend[:, 1:] - value
    return _Planes(by_first, by_second, np.where(active, r, -np.inf))


def _edges(problem: Problem, springs: SpringSet, now: Candidates, margin: Array) -> _Planes:
    """The band edges at each candidate's margin (b,), the order of take-up and edges that `past` states, the stop, and
    the lengths that the springs can bear."""
    low, high, speed = band_edges(problem, margin)
    least, largest = stop_range(problem, margin, low)
    # Edges past the largest stop forbid nothing, and the mechanism may bind there.
    advance = np.clip(np.concatenate([low, high], axis=1), 0.0, problem.stops[1])
    upper = np.broadcast_to(np.repeat([False, True], low.shape[1]), advance.shape)
    active = np.concatenate([low > TINY, high < np.minimum(least, largest)[:, None] - TINY], axis=1)
    need = moment_needed(problem, advance, np.tile(speed, 2), upper)
    sign = np.where(upper, 1.0, -1.0)
    one, by_one = _linearised(problem, springs, now, 0, advance)
    two, by_two = _linearised(problem, springs, now, 1, advance)
    value = sign * (one + now.past * two - need)
    edges = _planes(value, sign * by_one, sign * now.past * by_two, now.bend, active)
    order = _order(problem, springs, now, advance, active)
    zero = np.zeros((len(margin), 1))
    no_stop = _Planes(zero, zero, np.where(least > largest + TINY, 1.0, -np.inf)[:, None])
    stop = np.clip(np.minimum(least, largest), *problem.stops)
    return _join([edges, order, no_stop, *_bearable(problem, springs, now, stop)])


def _bearable(problem: Problem, springs: SpringSet, now: Candidates, stop: Array) -> list[_Planes]:
    """At the stop (b,) [rad] no spring is drawn beyond the length it can bear; empty if no such length is known."""
    made: list[_Planes] = []
    zero = np.zeros((len(stop), 1))
    for place, spring in enumerate((now.first, now.second)[: len(problem.posts)]):
        most = springs.longest[spring][:, None]
        if not np.isfinite(most).any():
            continue
        length = [problem.posts[place].length(stop[:, None], now.bend[:, place, None] + x)[0] for x in (-STEP, STEP)]
        by = (length[0] - length[1]) / (2 * STEP)
        value = np.where(np.isfinite(most), most, 0.0) - (length[0] + length[1]) / 2
        first, second = (by, zero) if place == 0 else (zero, by)
        made.append(_planes(value, first, second, now.bend, np.isfinite(most)))
    return made


def _order(problem: Problem, springs: SpringSet, now: Candidates, advance: Array, active: Mask) -> _Planes:
    """The secondary takes up before the edges that see it and not before the others: L at the edge against L_free."""
    if len(problem.posts) == 1:
        return _Planes(*(np.zeros((len(now.first), 0)) for _ in range(3)))
    length = [problem.posts[1].length(advance, now.bend[:, 1:] + x)[0] for x in (-STEP, STEP)]
    sign = np.where(now.past, 1.0, -1.0)
    value = sign * ((length[0] + length[1]) / 2 - springs.free[now.second][:, None])
    by = sign * (length[1] - length[0]) / (2 * STEP)
    return _planes(value, np.zeros_like(by), by, now.bend, active)


def _box(problem: Problem, springs: SpringSet, now: Candidates) -> _Planes:
    """Post travel, and a primary that pulls from rest."""
    n = len(now.first)
    rest = springs.free[now.first] - problem.posts[0].length(0.0)[0]
    second = problem.travel[1] if len(problem.posts) == 2 else (0.0, 0.0)
    # A hair inside what pulls from rest and a hair outside the travel, so that rounding neither slackens a spring nor
    # excludes a bend.
    lows = np.maximum(rest + HAIR, problem.travel[0][0] - HAIR)
    p, q = np.array([1.0, -1.0, 0.0, 0.0]), np.array([0.0, 0.0, 1.0, -1.0])
    ends = np.tile([-problem.travel[0][1] - HAIR, second[0] - HAIR, -second[1] - HAIR], (n, 1))
    return _Planes(np.tile(p, (n, 1)), np.tile(q, (n, 1)), np.concatenate([lows[:, None], ends], axis=1))


def _no_snap(problem: Problem, springs: SpringSet, now: Candidates, rows: int) -> _Planes:
    """d/dα of (τ + T_d ± T_f)/I′ ≥ 0 at `rows` advances inside the stop, with the secondary's take-up at the present bend."""
    low, _, _ = band_edges(problem, now.margin)
    stop = np.minimum(*stop_range(problem, now.margin, low))[:, None]
    at = np.linspace(1e-3, 1 - 1e-3, rows) * stop
    step = 1e-4 * stop
    slopes = [problem.weights.inertia_slope(at + x) for x in (-step, step)]
    middle = problem.weights.inertia_slope(at)
    seen = np.zeros_like(at, bool)
    if len(problem.posts) == 2:
        seen = problem.posts[1].length(at - step, now.bend[:, 1:])[0] >= springs.free[now.second][:, None]
    parts = []
    for place in range(2):
        ends = [_linearised(problem, springs, now, place, at + x) for x in (-step, step)]
        parts.append([(y / slopes[1] - x / slopes[0]) / (2 * step) * middle for x, y in zip(*ends, strict=True)])
    inverse = (1 / slopes[1] - 1 / slopes[0]) / (2 * step) * middle
    d = problem.drag
    resisting = np.minimum(inverse * (d.rubbing_block + d.friction), inverse * (d.rubbing_block - d.friction))
    value = parts[0][0] + seen * parts[1][0] + resisting
    return _planes(value, parts[0][1], seen * parts[1][1], now.bend, np.ones_like(seen))


# --- half-planes ---------------------------------------------------------------------------------------


def _join(parts: list[_Planes]) -> _Planes:
    return _Planes(*(np.concatenate([getattr(x, name) for x in parts], axis=1) for name in ("p", "q", "r")))


def _point(planes: _Planes, near: Array) -> tuple[Mask, Array]:
    """Whether the half-planes leave a point (b,), and such a point (b, 2).

    For a given y they leave x between a convex and a concave function of y, both piecewise linear. Their difference
    must not be positive: Newton's method on it ends after a few lines, at a point or at two lines that exclude each
    other.
    """
    lines = _lines(planes)
    y = np.clip(near[:, 1], lines.low, np.maximum(lines.low, lines.high))
    y = np.where(np.isfinite(y), y, near[:, 1])
    low, high = lines.low.copy(), lines.high.copy()
    works = low <= high + 1e-12
    settled = ~works
    left, right, slope = lines.between(y)
    for _ in range(60):
        gap = left - right
        open_still = ~settled & (gap > 1e-12)
        if not open_still.any():
            break
        flat = np.abs(slope) < 1e-12
        with np.errstate(divide="ignore", invalid="ignore"):
            to = y - gap / slope
        high = np.where(open_still & (slope > 0), np.minimum(high, to), high)
        low = np.where(open_still & (slope < 0), np.maximum(low, to), low)
        dead = open_still & (flat | (low > high + 1e-12))
        works &= ~dead
        settled |= dead
        y = np.where(open_still & ~dead, to, y)
        left, right, slope = lines.between(y)
    x = np.clip(near[:, 0], left, np.maximum(left, right))
    return works & (left - right <= 1e-9), np.stack([x, y], axis=1)


@dataclass(frozen=True)
class _Lines:
    """The half-planes as bounds offset + slope·y of x, (b, m) each, −inf or inf for those that are no bound, and the
    range of y, (b,), by those that do not depend on x."""

    offset_below: Array
    offset_above: Array
    slope: Array
    low: Array
    high: Array

    def between(self, y: Array) -> tuple[Array, Array, Array]:
        """Least and greatest x (b,) at y (b,), and the slope of their difference in y."""
        tilt = self.slope * y[:, None]
        below, above = self.offset_below + tilt, self.offset_above + tilt
        i, j = below.argmax(axis=1), above.argmin(axis=1)
        row = np.arange(len(y))
        return below[row, i], above[row, j], self.slope[row, i] - self.slope[row, j]


def _lines(planes: _Planes) -> _Lines:
    size = np.abs(planes.p).max(axis=1, keepdims=True)
    flat = np.abs(planes.p) < 1e-12 * size
    real = np.isfinite(planes.r)
    with np.errstate(divide="ignore", invalid="ignore"):
        offset, slope = planes.r / planes.p, -planes.q / planes.p
    slope = np.where(real & ~flat, slope, 0.0)
    below = np.where(real & ~flat & (planes.p > 0), offset, -np.inf)
    above = np.where(real & ~flat & (planes.p < 0), offset, np.inf)
    return _Lines(below, above, slope, *_y_range(planes, real & flat))


def _y_range(planes: _Planes, pick: Mask) -> tuple[Array, Array]:
    """Range of y (b,) by the half-planes that do not depend on x; empty if one of them excludes everything."""
    with np.errstate(divide="ignore", invalid="ignore"):
        bound = planes.r / planes.q
    low = np.where(pick & (planes.q > 0), bound, -np.inf).max(axis=1)
    high = np.where(pick & (planes.q < 0), bound, np.inf).min(axis=1)
    dead = (pick & (planes.q == 0) & (planes.r > TINY)).any(axis=1)
    return low, np.where(dead, -np.inf, high)
