"""The best springs there could be, free of any catalogue: linear programmes (theory, section 6).

With rates and pulls at rest all free, the band edges are linear in the four numbers for each interval
of take-up, so HiGHS finds whether a margin can be had, and bisection the best margin: a global answer.
Inside: rates in N/mm, pulls in N, moments in mN·m.

Small linear programmes, by HiGHS: a polytope that is asked for its extremes again and again.

The ordering window: every rate, pull at rest and take-up of a spring that keeps a margin, the other spring following.

At a floor of the margin the springs that serve are a union of polytopes, one an interval of take-up (`ideal`). Its
shadow on a rate, on a pull at a rate, or on the plane of both rates is found by linear programmes, so every end is
one that some springs attain.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import Any

import numpy as np

from recurve.arrays import Array
from recurve.planner.linear import Edges, Problem, Rows, edges_at, intervals, rows_at


@dataclass(frozen=True)
class Optimum:
    """Where a linear cost is least: `x` (n,) [SI], the cost's `value`, and the multipliers of the rows (m,) and of the
    bounds (n,): how the value would change with each, 0 where one is not felt."""

    x: Array
    value: float
    rows: Array
    bounds: Array


class Polytope:
    """All x with left · x ≤ right, low ≤ x ≤ high; left (m, n), right (m,), low and high (n,), ±inf for none.

    The solver starts each time from where it ended last, which makes many costs on one polytope cheap.
    """

    def __init__(self, left: Array, right: Array, low: Array, high: Array) -> None:
        import highspy

        rows, columns = left.shape
        model = highspy.HighsLp()
        model.num_col_, model.num_row_ = columns, rows
        model.col_cost_ = np.zeros(columns)
        model.col_lower_, model.col_upper_ = np.asarray(low, float), np.asarray(high, float)
        model.row_lower_, model.row_upper_ = np.full(rows, -np.inf), np.asarray(right, float)
        model.a_matrix_.format_ = highspy.MatrixFormat.kRowwise
        model.a_matrix_.start_ = np.arange(0, rows * columns + 1, columns, dtype=np.int32)
        model.a_matrix_.index_ = np.tile(np.arange(columns, dtype=np.int32), rows)
        model.a_matrix_.value_ = np.ascontiguousarray(left, float).ravel()
        begin: Any = highspy.Highs  # typed in some releases, untyped in others
        self._solver = begin()
        self._solver.setOptionValue("output_flag", False)
        self._solver.setOptionValue("presolve", "off")
        self._solver.passModel(model)
        self._columns = np.arange(columns, dtype=np.int32)
        self._optimal = highspy.HighsModelStatus.kOptimal

    def least(self, cost: Array) -> Optimum | None:
        """Where cost (n,) · x [any] is least; None where the polytope is empty or the cost has no end in it."""
        self._solver.changeColsCost(len(self._columns), self._columns, np.asarray(cost, float))
        self._solver.run()
        if self._solver.getModelStatus() != self._optimal:
            return None
        found = self._solver.getSolution()
        x = np.array(found.col_value)
        return Optimum(x, float(np.dot(cost, x)), np.array(found.row_dual), np.array(found.col_dual))

    def inside(self) -> Array | None:
        """Some point (n,) [SI] of it, None where it is empty."""
        found = self.least(np.zeros(len(self._columns)))
        return None if found is None else found.x


STEPS = 11
LEAST_MARGIN = -64.0


@dataclass(frozen=True)
class SpringRange:
    """One ideal spring, each number with the range that keeps `Ideal.floor` when the others follow it.

    rate [N/m]; pull [N] at rest, negative where slack: what it would pull if it could push; takeup
    [rad], 0 from rest, None if it never takes up; takeup_pull [N] as it takes up.
    """

    rate: float
    rates: tuple[float, float]
    pull: float
    pulls: tuple[float, float]
    takeup: float | None
    takeup_pull: float


@dataclass(frozen=True)
class Ideal:
    """The best springs free of the catalogue: `margin` [1] they reach, `stop` [rad] with them, and at
    which margin `floor` [1] the ranges are taken."""

    margin: float
    floor: float
    stop: float
    springs: tuple[SpringRange, ...]
    conflict: tuple[tuple[int, bool], ...]
    limit_hit: bool


@dataclass(frozen=True)
class Limits:
    """Which springs there could be: rates [N/m] and pulls at rest [N] of each place, slack [m] of the second."""

    rates: tuple[tuple[float, float], ...]
    pull: tuple[float, float]
    slack: float


@dataclass(frozen=True)
class Programme:
    """left · x ≤ right in x = (u, k) or (u, k, v, K) [N, N/m] with bounds; `edges` rows come first."""

    left: Array
    right: Array
    bounds: list[tuple[float, float]]
    span: tuple[float, float]
    edges: int

    @cached_property
    def polytope(self) -> Polytope:
        """What is allowed, ready to be asked."""
        low, high = np.array(self.bounds, float).T
        return Polytope(self.left, self.right, low, high)


def find_ideal(problem: Problem, limits: Limits) -> Ideal | None:
    """The ideal springs, or None where no margin above −64 can be had at all."""
    low, at_low = _first_level(problem, limits)
    if at_low is None:
        return None
    high = 1.0
    guess = at_low[0].span
    for _ in range(STEPS + (8 if low < 0 else 0)):
        middle = (low + high) / 2
        found = _feasible(problem, limits, middle, guess)
        if found is None:
            high = middle
        else:
            low, at_low, guess = middle, found, found[0].span
    return _finish(problem, limits, low, high, at_low)


def _first_level(problem: Problem, limits: Limits) -> tuple[float, tuple[Programme, Array] | None]:
    level = 0.0
    while level >= LEAST_MARGIN:
        found = _feasible(problem, limits, level, None)
        if found is not None:
            return level, found
        level = 2 * level if level < 0 else -0.25
    return level, None


def _feasible(
    problem: Problem, limits: Limits, margin: float, guess: tuple[float, float] | None
) -> tuple[Programme, Array] | None:
    """Springs that reach the margin, looked for first where they were found last."""
    listed = programmes(problem, limits, margin)
    if guess is not None:
        listed.sort(key=lambda p: abs(sum(p.span) - sum(guess)))
    for programme in listed:
        x = _run(programme, np.zeros(len(programme.bounds)))
        if x is not None:
            return programme, x
    return None


def programmes(problem: Problem, limits: Limits, margin: float) -> list[Programme]:
    """One programme at `margin` [1] for each interval of take-up between neighbouring edges."""
    edges = edges_at(problem, margin)
    if edges is None:
        return []
    rows = rows_at(problem, edges, 12)
    spans = [(0.0, edges.stop)] if len(problem.posts) == 1 else intervals(rows.at[: rows.edges], edges.stop)
    made = [_programme(problem, limits, edges, rows, span) for span in spans]
    return [p for p in made if p is not None]


def _programme(
    problem: Problem, limits: Limits, edges: Edges, rows: Rows, span: tuple[float, float]
) -> Programme | None:
    past = rows.at >= span[1] - 1e-12
    # A no-snap row inside the interval sees the secondary or not: it is left to the exact curve.
    inside = (rows.at > span[0] + 1e-12) & (rows.at < span[1] - 1e-12) & (len(problem.posts) == 2)
    kept = ~inside | (np.arange(len(rows.at)) < rows.edges)
    columns = [rows.a, rows.b * 1e3]
    bounds = [limits.pull, _in_mm(limits.rates[0])]
    if len(problem.posts) == 2:
        columns += [past * rows.c, past * rows.d * 1e3]
        bounds += [(-np.inf, limits.pull[1]), _in_mm(limits.rates[1])]
    left, right = -np.stack(columns, axis=1)[kept] * 1e3, -rows.r[kept] * 1e3
    if len(problem.posts) == 2:
        more = _takeup_rows(problem, limits, edges, span)
        if more is None:
            return None
        left, right = np.concatenate([left, more[0]]), np.concatenate([right, more[1]])
    return Programme(left, right, bounds, span, rows.edges)


def _in_mm(rates: tuple[float, float]) -> tuple[float, float]:
    return rates[0] * 1e-3, rates[1] * 1e-3


def _takeup_rows(
    problem: Problem, limits: Limits, edges: Edges, span: tuple[float, float]
) -> tuple[Array, Array] | None:
    """The secondary takes up within `span`: v + K·(L(end) − L(0)) ≥ 0, and at its beginning no more than an
    initial tension's pull."""
    length = problem.posts[1].length(np.array([0.0, *np.minimum(span, edges.stop)]))[0]
    begin, end = length[1] - length[0], length[2] - length[0]
    never = span[0] >= edges.stop - 1e-9
    # A slack beyond the limit is no spring of this trade; one that never takes up is.
    if begin > limits.slack and not never:
        return None
    reach = max(begin, limits.slack) if never else min(end, limits.slack)
    return np.array([[0.0, 0.0, 1.0, begin * 1e3], [0.0, 0.0, -1.0, -reach * 1e3]]), np.array([limits.pull[1], 0.0])


def _run(programme: Programme, cost: Array) -> Array | None:
    found = programme.polytope.least(cost)
    return None if found is None else found.x


def _finish(problem: Problem, limits: Limits, margin: float, above: float, at: tuple[Programme, Array]) -> Ideal:
    floor = margin / 2 if margin > 0 else margin
    low, high = _ranges(problem, limits, floor, at)
    edges = edges_at(problem, margin)
    assert edges is not None  # a margin that was reached
    x = _middle(at[0])
    springs = [SpringRange(x[1] * 1e3, (low[1] * 1e3, high[1] * 1e3), x[0], (low[0], high[0]), 0.0, x[0])]
    if len(problem.posts) == 2:
        takeup, pull = _takeup(problem, at[0].span, edges.stop, x[2], x[3] * 1e3)
        springs.append(SpringRange(x[3] * 1e3, (low[3] * 1e3, high[3] * 1e3), x[2], (low[2], high[2]), takeup, pull))
    conflict, limit = _conflict(problem, limits, min(margin + max(0.002, 2 * (above - margin)), 1.0), at[0].span)
    return Ideal(margin, floor, edges.stop, tuple(springs), conflict, limit)


def _middle(programme: Programme) -> Array:
    """A point inside what is feasible: the mean of the extremes of each number, so that no range's end is
    shown as the advice."""
    ends = [_run(programme, sign * unit) for unit in np.eye(len(programme.bounds)) for sign in (1.0, -1.0)]
    return np.asarray(np.mean([e for e in ends if e is not None], axis=0))


def _ranges(problem: Problem, limits: Limits, floor: float, at: tuple[Programme, Array]) -> tuple[Array, Array]:
    """Least and largest of each number over all intervals at the floor."""
    low, high = at[1].copy(), at[1].copy()
    for programme in programmes(problem, limits, floor):
        if _run(programme, np.zeros(len(low))) is None:
            continue
        for i, unit in enumerate(np.eye(len(low))):
            least, most = _run(programme, unit), _run(programme, -unit)
            low[i] = low[i] if least is None else min(low[i], least[i])
            high[i] = high[i] if most is None else max(high[i], most[i])
    return low, high


def _takeup(
    problem: Problem, span: tuple[float, float], stop: float, pull: float, rate: float
) -> tuple[float | None, float]:
    """Where a secondary of this virtual pull [N] and rate [N/m] takes up within `span` [rad], and with what
    pull [N]: without initial tension if it can be."""
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
    problem: Problem, limits: Limits, margin: float, span: tuple[float, float]
) -> tuple[tuple[tuple[int, bool], ...], bool]:
    """The edges (band, upper) with non-zero multipliers just above the best margin, and whether a limit of
    the springs is among what forbids it."""
    edges = edges_at(problem, margin)
    listed = programmes(problem, limits, margin)
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


RATES = 5  # rates at which the pulls are told
FINE = 1e-6  # share of a shadow's size by which a corner must stand out


@dataclass(frozen=True)
class Row:
    """At `rate` [N/m]: `pulls` [N] at rest that serve, as stretches that do not meet, negative where slack (what it
    would pull if it could push); `lengths` [m] inside the hooks that give these on the posts, bent as far as they
    may be, of a spring without initial tension; `takeups` [rad], None for never."""

    rate: float
    pulls: tuple[tuple[float, float], ...]
    lengths: tuple[float, float]
    takeups: tuple[float | None, float | None]


@dataclass(frozen=True)
class SpringWindow:
    """What may be ordered for one place: `rates` [N/m], least and most, and rows at rates between."""

    rates: tuple[float, float]
    rows: tuple[Row, ...]


@dataclass(frozen=True)
class Window:
    """The window at margin `floor` [1]. `regions`: convex polygons (m, 2), their union the plane of primary and
    secondary rate [N/m], or of rate and pull at rest [N/m, N] where there is one spring."""

    floor: float
    springs: tuple[SpringWindow, ...]
    regions: tuple[Array, ...]


def find_window(problem: Problem, limits: Limits, ideal: Ideal, floor: float | None = None) -> Window | None:
    """The window at `floor` [1], by default the ideal's; None where nothing keeps it."""
    at = ideal.floor if floor is None else floor
    allowed = [p for p in programmes(problem, limits, at) if p.polytope.inside() is not None]
    if not allowed:
        return None
    springs = tuple(_spring_window(problem, allowed, place) for place in range(len(problem.posts)))
    plane = (1, 3) if len(problem.posts) == 2 else (1, 0)
    scale = np.array([1e3, 1e3 if len(problem.posts) == 2 else 1.0])
    regions = [_shadow(p, plane) * scale for p in allowed]
    return Window(at, springs, tuple(r for r in regions if len(r) > 2))


def _spring_window(problem: Problem, allowed: list[Programme], place: int) -> SpringWindow:
    unit = np.eye(len(allowed[0].bounds))[2 * place + 1]
    ends = [_ends(p.polytope, unit) for p in allowed]
    low, high = min(e[0] for e in ends if e), max(e[1] for e in ends if e)
    rows = (_row(problem, allowed, place, float(rate)) for rate in np.linspace(low, high, RATES))
    return SpringWindow((low * 1e3, high * 1e3), tuple(r for r in rows if r is not None))


def _ends(polytope: Polytope, unit: Array) -> tuple[float, float] | None:
    """Least and most of one number, both attained."""
    least, most = polytope.least(unit), polytope.least(-unit)
    return None if least is None or most is None else (least.value, -most.value)


def _row(problem: Problem, allowed: list[Programme], place: int, rate: float) -> Row | None:
    """At a rate [N/mm]; None where it falls between two intervals of take-up that do not meet."""
    found = [_ends(_at_rate(p, 2 * place + 1, rate), np.eye(len(p.bounds))[2 * place]) for p in allowed]
    pulls = _merged([f for f in found if f is not None])
    if not pulls:
        return None
    posts, (t0, t1) = problem.posts[place], problem.travel[place]
    rest = float(posts.length(0.0)[0])
    stretch = [p / (rate * 1e3) for p in (pulls[0][0], pulls[-1][1])]
    lengths = (rest + t0 - stretch[1], rest + t1 - stretch[0])
    takeups = tuple(_takeup_at_stretch(problem, place, s) for s in reversed(stretch))
    return Row(rate * 1e3, tuple(pulls), lengths, (takeups[0], takeups[1]))


def _at_rate(programme: Programme, column: int, rate: float) -> Polytope:
    low, high = np.array(programme.bounds, float).T
    low[column] = high[column] = rate
    return Polytope(programme.left, programme.right, low, high)


def _merged(ends: list[tuple[float, float]]) -> list[tuple[float, float]]:
    """Stretches that meet as one, in rising order."""
    made: list[tuple[float, float]] = []
    for low, high in sorted(ends):
        if made and low <= made[-1][1] + 1e-6:
            made[-1] = (made[-1][0], max(made[-1][1], high))
        else:
            made.append((low, high))
    return made


def _takeup_at_stretch(problem: Problem, place: int, stretch: float) -> float | None:
    """Where a spring stretched so far at rest [m], negative where slack, begins to pull [rad]; None if never."""
    if stretch >= 0.0:
        return 0.0
    grid = np.linspace(0.0, problem.stops[1], 401)
    length = problem.posts[place].length(grid)[0]
    need = length[0] - stretch
    return None if length[-1] < need else float(np.interp(need, length, grid))


def _shadow(programme: Programme, plane: tuple[int, int]) -> Array:
    """Corners (m, 2) of the polytope's shadow on two of its numbers, anticlockwise.

    From the four extremes outwards: each side is pushed along its normal; where that finds a corner beyond it, the
    side is broken there. A polytope has few corners, so it ends.
    """
    spread = np.array([max(abs(b) for b in programme.bounds[i] if np.isfinite(b)) for i in plane])
    size = np.eye(len(programme.bounds))[list(plane)]

    def corner(way: Array) -> Array | None:
        found = programme.polytope.least(-(way / spread) @ size)
        return None if found is None else np.asarray(found.x[list(plane)] / spread)

    start = [corner(w) for w in np.array([[1.0, 0.0], [0.0, 1.0], [-1.0, 0.0], [0.0, -1.0]])]
    if any(c is None for c in start):
        return np.zeros((0, 2))
    corners = [c for c in start if c is not None]
    index = 0
    while index < len(corners) and len(corners) < 200:
        one, other = corners[index], corners[(index + 1) % len(corners)]
        side = other - one
        length = float(np.hypot(*side))
        new = corner(np.array([side[1], -side[0]]) / length) if length > FINE else None
        if new is not None and float(np.cross(np.r_[side, 0.0], np.r_[new - one, 0.0])[2]) < -FINE * length:
            corners.insert(index + 1, new)
        else:
            index += 1
    kept = [c for c, n in zip(corners, corners[1:] + corners[:1], strict=True) if float(np.hypot(*(c - n))) > FINE]
    return np.asarray(np.reshape(kept, (-1, 2)) * spread)
