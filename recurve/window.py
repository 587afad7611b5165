"""The ordering window: every rate, pull at rest and take-up of a spring that keeps a margin, the other spring following.

At a floor of the margin the springs that serve are a union of polytopes, one an interval of take-up (`ideal`). Its
shadow on a rate, on a pull at a rate, or on the plane of both rates is found by linear programmes, so every end is
one that some springs attain.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from recurve.ideal import Ideal, Limits, Programme, programmes
from recurve.linear import Problem
from recurve.lp import Polytope
from recurve.mechanism import Array

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
    takeups = tuple(_takeup(problem, place, s) for s in reversed(stretch))
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


def _takeup(problem: Problem, place: int, stretch: float) -> float | None:
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
