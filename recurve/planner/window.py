"""The ordering window: each rate, pull at rest and take-up with which a spring keeps a margin if the other follows.

The springs that keep a margin are a union of polytopes, one for each interval of take-up (`programme`). Linear
programmes find its extent in rate, in pull at a given rate, and in the plane of both rates, so some springs attain
every end.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from recurve.arrays import Array
from recurve.planner.ideal import Ideal
from recurve.planner.problem import Problem, SpringBounds
from recurve.planner.programme import Programme, programmes

RATES = 5  # rates at which the pulls are given
FINE = 1e-6  # distance, relative to the size of a shadow, by which a corner must stand out
MOST_CORNERS = 200


@dataclass(frozen=True)
class RateWindow:
    """The window at one `rate` [N/m].

    `pulls` [N] at rest that keep the margin, as disjoint ranges, negative where slack (what the spring would pull if
    it could push). Of a spring without initial tension, `lengths` [m] inside the hooks that do so on the posts, bent as
    far as they may be, and `takeups` [rad], None for never; both None where no such spring will do. `tension` [N] is the
    least initial tension that will do, 0 if it can be without.
    """

    rate: float
    pulls: tuple[tuple[float, float], ...]
    lengths: tuple[float, float] | None
    takeups: tuple[float | None, float | None] | None
    tension: float


@dataclass(frozen=True)
class SpringWindow:
    """What may be ordered for one place: the least and greatest of the `rates` [N/m], and rows at rates between.
    `plain`: the rates [N/m] of springs without initial tension, None if no such spring will do."""

    rates: tuple[float, float]
    rows: tuple[RateWindow, ...]
    plain: tuple[float, float] | None


@dataclass(frozen=True)
class Window:
    """The window at margin `floor` [1]. `regions`: convex polygons (m, 2) whose union is the window in the plane of
    primary and secondary rate [N/m], or of rate and pull at rest [N/m, N] of a single spring."""

    floor: float
    springs: tuple[SpringWindow, ...]
    regions: tuple[Array, ...]


def find_window(problem: Problem, bounds: SpringBounds, ideal: Ideal, floor: float | None = None) -> Window | None:
    """The window at `floor` [1], by default the ideal's; None if no springs keep that margin."""
    at = ideal.floor if floor is None else floor
    allowed = [p for p in programmes(problem, bounds, at) if p.polytope.inside() is not None]
    if not allowed:
        return None
    plain = [p for p in programmes(problem, replace(bounds, tension=0.0), at) if p.polytope.inside() is not None]
    springs = tuple(_spring_window(problem, allowed, plain, place) for place in range(len(problem.posts)))
    plane = (1, 3) if len(problem.posts) == 2 else (1, 0)
    scale = np.array([1e3, 1e3 if len(problem.posts) == 2 else 1.0])
    regions = [_shadow(p, plane) * scale for p in allowed]
    return Window(at, springs, tuple(r for r in regions if len(r) > 2))


def _spring_window(problem: Problem, allowed: list[Programme], plain: list[Programme], place: int) -> SpringWindow:
    """The window of one place; `plain` are the programmes without initial tension."""
    ends = _ends(allowed, place)
    assert ends is not None  # some springs keep the margin
    rows = (_row(problem, allowed, plain, place, float(rate)) for rate in np.linspace(*ends, RATES))
    without = _ends(plain, place)
    return SpringWindow(
        (ends[0] * 1e3, ends[1] * 1e3),
        tuple(r for r in rows if r is not None),
        None if without is None else (without[0] * 1e3, without[1] * 1e3),
    )


def _ends(allowed: list[Programme], place: int) -> tuple[float, float] | None:
    """Least and greatest rate [N/mm] of a place; None if there is none."""
    ends = [p.polytope.range_of(2 * place + 1) for p in allowed]
    found = [e for e in ends if e is not None]
    return (min(e[0] for e in found), max(e[1] for e in found)) if found else None


def _pulls(allowed: list[Programme], place: int, rate: float) -> list[tuple[float, float]]:
    """Ranges of pull at rest [N] at a rate [N/mm]."""
    found = [p.fixed(2 * place + 1, rate).range_of(2 * place) for p in allowed]
    return _merged([f for f in found if f is not None])


def _row(
    problem: Problem, allowed: list[Programme], plain: list[Programme], place: int, rate: float
) -> RateWindow | None:
    """The window at a rate [N/mm]; None if the rate falls in a gap between two intervals of take-up."""
    pulls = _pulls(allowed, place, rate)
    if not pulls:
        return None
    without = _pulls(plain, place, rate)
    if not without:
        return RateWindow(rate * 1e3, tuple(pulls), None, None, _least_tension(problem, allowed, place, rate))
    posts, (t0, t1) = problem.posts[place], problem.travel[place]
    rest = float(posts.length(0.0)[0])
    stretch = [p / (rate * 1e3) for p in (without[0][0], without[-1][1])]
    lengths = (rest + t0 - stretch[1], rest + t1 - stretch[0])
    takeups = tuple(_takeup(problem, place, s) for s in reversed(stretch))
    return RateWindow(rate * 1e3, tuple(pulls), lengths, (takeups[0], takeups[1]), 0.0)


def _least_tension(problem: Problem, allowed: list[Programme], place: int, rate: float) -> float:
    """The least pull [N] as a spring of this rate [N/mm] takes up, of those that keep the margin."""
    posts = problem.posts[place]
    found = []
    for programme in allowed:
        ends = programme.fixed(2 * place + 1, rate).range_of(2 * place)
        if ends is not None:
            begin = min(programme.span[0], problem.stops[1])
            drawn = float(posts.length(begin)[0] - posts.length(0.0)[0])
            found.append(ends[0] + rate * 1e3 * drawn)
    return max(min(found, default=0.0), 0.0)


def _merged(ranges: list[tuple[float, float]]) -> list[tuple[float, float]]:
    """Ranges that meet joined into one, in rising order."""
    made: list[tuple[float, float]] = []
    for low, high in sorted(ranges):
        if made and low <= made[-1][1] + 1e-6:
            made[-1] = (made[-1][0], max(made[-1][1], high))
        else:
            made.append((low, high))
    return made


def _takeup(problem: Problem, place: int, stretch: float) -> float | None:
    """Where a spring stretched by this much at rest [m], negative if slack, begins to pull [rad]; None if never."""
    if stretch >= 0.0:
        return 0.0
    grid = np.linspace(0.0, problem.stops[1], 401)
    length = problem.posts[place].length(grid)[0]
    need = length[0] - stretch
    return None if length[-1] < need else float(np.interp(need, length, grid))


def _shadow(programme: Programme, plane: tuple[int, int]) -> Array:
    """Corners (m, 2) of the polytope's projection on two of its numbers, anticlockwise.

    Starting from the four extremes, each side is pushed along its normal; if that finds a corner beyond it, the side
    is split there. A polytope has finitely many corners, so this ends.
    """
    spread = np.array([max(abs(b) for b in programme.bounds[i] if np.isfinite(b)) for i in plane])
    size = np.eye(len(programme.bounds))[list(plane)]

    def corner(way: Array) -> Array | None:
        x = programme.polytope.lowest(-(way / spread) @ size)
        return None if x is None else np.asarray(x[list(plane)] / spread)

    start = [corner(w) for w in np.array([[1.0, 0.0], [0.0, 1.0], [-1.0, 0.0], [0.0, -1.0]])]
    if any(c is None for c in start):
        return np.zeros((0, 2))
    corners = [c for c in start if c is not None]
    index = 0
    while index < len(corners) and len(corners) < MOST_CORNERS:
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
