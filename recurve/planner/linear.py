"""Planning in its linear form: what each band's edge asks of the springs (theory, equations 1 to 8).

At an edge the unknown curve drops out: "at most h at speed ω" and "at least l" are linear in the rates
and in the pulls at rest, once it is known which edges lie past the second spring's take-up. Here the
pull at rest of the primary is u [N], that of the secondary v [N]; a slack spring has a negative v,
what it would pull at rest if it could push.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from recurve.arrays import Array
from recurve.physics.curve import Drag, InertiaSlope
from recurve.physics.posts import Posts
from recurve.physics.target import Target

# Advances at which a falling speed (a snap) is forbidden; the exact curve is checked afterwards.
GRID = 24
# Pulls [N] and advances [rad] that differ by less are the same.
TINY = 1e-9


@dataclass(frozen=True)
class Problem:
    """What is given when springs are sought: the mechanism, its places for springs, the bands, and the
    range of stops [rad] that may be used; `travel` [m] of each post."""

    weights: InertiaSlope
    drag: Drag
    posts: tuple[Posts, ...]
    travel: tuple[tuple[float, float], ...]
    target: Target
    stops: tuple[float, float]


@dataclass(frozen=True)
class Edges:
    """All band edges at one margin, as rows: `advance` [rad], `upper` (bool), `need` [N·m] the spring moment
    at the edge, at least it for an upper edge, at most it for a lower; `band` the index among the timed
    bands; all (e,). `stop` [rad] is the smallest stop that meets the margin, `largest` the largest."""

    advance: Array
    upper: Array
    need: Array
    band: Array
    stop: float
    largest: float


def edges_at(problem: Problem, margin: float) -> Edges | None:
    """The rows at this margin [1], or None where no stop in the range meets it.

    Of the stops that meet all lower edges the smallest is taken: an upper edge at or above the stop is
    met by the stop itself.
    """
    timed = problem.target.timed
    spans = np.array([b.edges(margin) for b in timed]).reshape(-1, 2)
    least, largest = _stop_range(problem, margin, spans)
    if least > largest + TINY:
        return None
    stop = float(np.clip(min(least, largest), *problem.stops))
    speed = np.array([b.speed for b in timed], float)
    high, low = spans[:, 1], spans[:, 0]
    tops, bottoms = np.flatnonzero(high < stop - TINY), np.flatnonzero(low > TINY)
    advance = np.concatenate([high[tops], low[bottoms]])
    upper = np.concatenate([np.ones(len(tops), bool), np.zeros(len(bottoms), bool)])
    band = np.concatenate([tops, bottoms])
    need = moment_needed(problem, advance, speed[band], upper)
    return Edges(advance, upper, need, band, stop, largest)


def _stop_range(problem: Problem, margin: float, spans: Array) -> tuple[float, float]:
    least, largest = problem.stops
    if problem.target.maximum is not None:
        low, high = problem.target.maximum.edges(margin)
        least, largest = max(least, float(low)), min(largest, float(high))
    return max(least, float(spans[:, 0].max(initial=0.0))), largest


def moment_needed(problem: Problem, advance: Array, speed: Array, upper: Array) -> Array:
    """Spring moment [N·m] at the advance [rad] and speed [rad/s]: for an upper edge that of the falling
    curve, for a lower that of the rising one (theory, equation 6); shapes broadcast.

    A rising curve begins at what stays in at idle, the falling advance there. So an upper edge below idle speed is
    one at idle speed; a lower edge may be met by what stays in, if the falling curve meets it too.
    """
    drag, idle = problem.drag, problem.target.idle_speed
    half = 0.5 * problem.weights.inertia_slope(advance)

    def falling(at: Array | float) -> Array:
        return np.asarray(half * at**2 * (1 + drag.friction_share) - drag.rubbing_block + drag.friction)

    rising = half * speed**2 * (1 - drag.friction_share) - drag.rubbing_block - drag.friction
    if idle is None:
        return np.where(upper, falling(speed), rising)
    least = np.minimum(np.maximum(rising, falling(idle)), falling(speed))
    return np.where(upper, falling(np.maximum(speed, idle)), least)


def levers(posts: Posts, advance: Array) -> tuple[Array, Array]:
    """A = L′ [m] and B = (L − L(0))·L′ [m²] at the advances (n,) [rad]: the moment of a spring that pulls u
    at rest is u·A + k·B."""
    length, slope = posts.length(advance)
    return slope, (length - posts.length(0.0)[0]) * slope


@dataclass(frozen=True)
class Rows:
    """Conditions a·u + b·k + past·(c·v + d·K) ≥ r for primary (u, k) and secondary (v, K): pulls at rest [N]
    and rates [N/m]. `at` [rad] is where each looks: it sees the secondary if that takes up before.
    All (m,). Edges come first, `edges` of them, then the no-snap rows."""

    at: Array
    a: Array
    b: Array
    c: Array
    d: Array
    r: Array
    edges: int


def rows_at(problem: Problem, edges: Edges, grid: int = GRID) -> Rows:
    """All conditions at one margin: the edges, and no snap up to the stop, as many `grid` advances."""
    sign = np.where(edges.upper, 1.0, -1.0)
    pairs = [levers(p, edges.advance) for p in problem.posts]
    snap = _snap_rows(problem, edges.stop, grid)
    flat = [p for pair in pairs for p in pair]
    columns = [np.concatenate([sign * x, y]) for (x, y) in zip(flat, snap.levers, strict=True)]
    if len(columns) == 2:
        columns += [np.zeros_like(columns[0])] * 2
    # A row that does not depend on u still forbids: with a trace of u it bounds it at ± nothing or everything.
    trace = 1e-9 * float(np.abs(columns[0]).max(initial=1e-6))
    columns[0] = np.where(np.abs(columns[0]) < trace, trace, columns[0])
    at = np.concatenate([edges.advance, snap.at])
    a, b, c, d = columns
    return Rows(at, a, b, c, d, np.concatenate([sign * edges.need, snap.need]), len(edges.advance))


@dataclass(frozen=True)
class _Snap:
    at: Array
    levers: list[Array]
    need: Array


def _snap_rows(problem: Problem, stop: float, grid: int) -> _Snap:
    """d/dα of (τ + T_d ± T_f)/I′ ≥ 0 at `grid` advances inside the stop, by central differences.

    I′ divides the moment, so the row is scaled back by I′ to keep its size that of a moment [N·m/rad].
    """
    # From rest to the stop, but for the step to either side: a snap is most likely at an end.
    at = np.linspace(1e-3, 1 - 1e-3, grid) * stop
    step = 1e-4 * stop
    slope = [problem.weights.inertia_slope(at + x) for x in (-step, 0.0, step)]
    derived = []
    for posts in problem.posts:
        before, after = levers(posts, at - step), levers(posts, at + step)
        derived += [(y / slope[2] - x / slope[0]) / (2 * step) * slope[1] for x, y in zip(before, after, strict=True)]
    inverse = (1 / slope[2] - 1 / slope[0]) / (2 * step) * slope[1]
    d = problem.drag
    resisting = np.minimum(inverse * (d.rubbing_block + d.friction), inverse * (d.rubbing_block - d.friction))
    return _Snap(at, derived, -resisting)


def intervals(at: Array, stop: float) -> list[tuple[float, float]]:
    """Stretches of take-up [rad] within which the same rows, at (m,) [rad], see the secondary; the first begins
    at rest, the last, from the stop to twice as far, stands for a spring that never takes up.

    That one is apart, since a lower edge is often at the very stop, and sees a spring only if it has taken up.
    """
    ends = np.unique(np.concatenate([[0.0], at[at < stop], [stop]]))
    keep = np.concatenate([[True], np.diff(ends) > 1e-12])
    ends = ends[keep]
    return [*zip(ends[:-1].tolist(), ends[1:].tolist(), strict=True), (stop, 2 * stop)]
