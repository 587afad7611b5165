"""Planning in its linear form: what each band's edge asks of the springs (theory, equations 1 to 8).

At an edge the unknown curve drops out. "At most h at speed ω" and "at least l" are linear in the rates and in the pulls
at rest, once it is known which edges lie past the secondary's take-up. The pull at rest of the primary is u [N],
that of the secondary v [N]; a slack spring has a negative v, what it would pull at rest if it could push.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from recurve.arrays import Array, Mask
from recurve.physics.posts import Posts
from recurve.planner.problem import Problem

# Advances at which a falling speed (a snap) is forbidden; the exact curve is checked afterwards.
GRID = 24
# Pulls [N] and advances [rad] that differ by less are equal.
TINY = 1e-9


@dataclass(frozen=True)
class Edges:
    """All band edges at one margin, (e,) each: `advance` [rad], `upper` (bool), and the spring moment `need` [N·m] at
    the edge, at least it for an upper edge, at most it for a lower one; `band` is the index among the timed bands.
    `stop` and `largest` [rad] are the smallest and largest stop that meet the margin."""

    advance: Array
    upper: Mask
    need: Array
    band: Array
    stop: float
    largest: float


@dataclass(frozen=True)
class Rows:
    """Conditions a·u + b·k + past·(c·v + d·K) ≥ r for primary (u, k) and secondary (v, K): pulls at rest [N] and rates
    [N/m], (m,) each. `at` [rad] is the advance at which each looks: it sees the secondary (`past` is 1) if that takes
    up before. The first `edges` rows are band edges, the others forbid a snap."""

    at: Array
    a: Array
    b: Array
    c: Array
    d: Array
    r: Array
    edges: int


def band_edges(problem: Problem, margin: Array) -> tuple[Array, Array, Array]:
    """Lower and upper edges (b, bands) [rad] of the timed bands at the margins (b,) [1], and the bands' speeds
    [rad/s]."""
    pairs = [b.edges(margin) for b in problem.target.timed]
    low = np.stack([np.broadcast_to(p[0], margin.shape) for p in pairs], axis=1)
    high = np.stack([np.broadcast_to(p[1], margin.shape) for p in pairs], axis=1)
    return low, high, np.array([b.speed for b in problem.target.timed], float)


def stop_range(problem: Problem, margin: Array, low: Array) -> tuple[Array, Array]:
    """Smallest and largest stop (b,) [rad] that meet the margins (b,) [1]; `low` (b, bands) [rad] lower edges there."""
    least, largest = (np.full(margin.shape, x) for x in problem.stops)
    if problem.target.maximum is not None:
        below, above = problem.target.maximum.edges(margin)
        least, largest = np.maximum(least, below), np.minimum(largest, above)
    return np.maximum(least, low.max(axis=1, initial=0.0)), largest


def edges_at(problem: Problem, margin: float) -> Edges | None:
    """The band edges at this margin [1], or None if no stop in the range meets it.

    Of the stops that meet all lower edges the smallest is taken: the stop itself meets an upper edge at or above it.
    """
    level = np.array([margin], float)
    lows, highs, speed = band_edges(problem, level)
    least, largest = (float(x[0]) for x in stop_range(problem, level, lows))
    if least > largest + TINY:
        return None
    stop = float(np.clip(min(least, largest), *problem.stops))
    low, high = lows[0], highs[0]
    tops, bottoms = np.flatnonzero(high < stop - TINY), np.flatnonzero(low > TINY)
    advance = np.concatenate([high[tops], low[bottoms]])
    upper = np.concatenate([np.ones(len(tops), bool), np.zeros(len(bottoms), bool)])
    band = np.concatenate([tops, bottoms])
    return Edges(advance, upper, moment_needed(problem, advance, speed[band], upper), band, stop, largest)


def moment_needed(problem: Problem, advance: Array, speed: Array, upper: Mask) -> Array:
    """Spring moment [N·m] at the advance [rad] and speed [rad/s]: for an upper edge that of the falling curve, for a
    lower one that of the rising curve (theory, equation 6); shapes broadcast.

    A rising curve begins at what stays in at idle, which is the falling advance there. So an upper edge below idle
    speed is one at idle speed, and a lower edge may be met by what stays in, if the falling curve meets it too.
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
    """A = L′ [m] and B = (L − L(0))·L′ [m²] at the advances (n,) [rad]: a spring that pulls u at rest exerts the moment
    u·A + k·B."""
    length, slope = posts.length(advance)
    return slope, (length - posts.length(0.0)[0]) * slope


def rows_at(problem: Problem, edges: Edges, grid: int = GRID) -> Rows:
    """All conditions at one margin: its band edges, and no snap at `grid` [1] advances up to the stop."""
    sign = np.where(edges.upper, 1.0, -1.0)
    at, snap_levers, snap_need = _snap_rows(problem, edges.stop, grid)
    edge_levers = [part for posts in problem.posts for part in levers(posts, edges.advance)]
    columns = [np.concatenate([sign * x, y]) for x, y in zip(edge_levers, snap_levers, strict=True)]
    if len(columns) == 2:
        columns += [np.zeros_like(columns[0])] * 2
    # A row that does not depend on u still forbids: a trace of u makes it bound u at ± nothing or everything.
    trace = 1e-9 * float(np.abs(columns[0]).max(initial=1e-6))
    columns[0] = np.where(np.abs(columns[0]) < trace, trace, columns[0])
    a, b, c, d = columns
    return Rows(
        at=np.concatenate([edges.advance, at]),
        a=a,
        b=b,
        c=c,
        d=d,
        r=np.concatenate([sign * edges.need, snap_need]),
        edges=len(edges.advance),
    )


def intervals(at: Array, stop: float) -> list[tuple[float, float]]:
    """Intervals of take-up [rad] within which the same rows, at the advances `at` (m,) [rad], see the secondary.

    The first begins at rest. The last, from the stop to twice as far, stands for a spring that never takes up: it is
    kept apart, since a lower edge is often at the very stop and sees a spring only if it has taken up.
    """
    ends = np.unique(np.concatenate([[0.0], at[at < stop], [stop]]))
    keep = np.concatenate([[True], np.diff(ends) > 1e-12])
    ends = ends[keep]
    return [*zip(ends[:-1].tolist(), ends[1:].tolist(), strict=True), (stop, 2 * stop)]


def _snap_rows(problem: Problem, stop: float, grid: int) -> tuple[Array, list[Array], Array]:
    """d/dα of (τ + T_d ± T_f)/I′ ≥ 0 at `grid` advances inside the stop, by central differences: the advances, the
    derivatives of the levers, and the least value of their sum.

    The row is multiplied by I′ again, so that it keeps the size of a moment [N·m/rad].
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
    return at, derived, -resisting
