"""The advance curve in closed form: speed from advance, no root finding (theory, equations 1 to 3).

Speeds are angular speeds of the distributor shaft [rad/s], advances distributor radians.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Protocol

import numpy as np
from numpy.typing import ArrayLike

from recurve.arrays import Array
from recurve.physics.posts import Posts, takeup_advance
from recurve.springs.spring import Spring, tension

ROUNDING = 1e-9  # of the largest ω²: a fall in the tenth digit is rounding, not a snap


class InertiaSlope(Protocol):
    """Anything with an I′(α), such as `Weights`, or a published governor in a test."""

    def inertia_slope(self, advance: ArrayLike) -> Array:
        """I′(α) [kg·m²/rad] at the advance [rad], same shape."""


@dataclass(frozen=True)
class Drag:
    """Resistance besides the springs: `rubbing_block` T_d and `friction` T_f [N·m], `friction_share` s [1]."""

    rubbing_block: float = 0.0
    friction: float = 0.0
    friction_share: float = 0.0


@dataclass(frozen=True)
class Stop:
    """The advance stop: `advance` [rad] as found, its change `per_mm` [rad/m] of trim, and how far [m] it may be filed
    (more advance) or built up (less)."""

    advance: float
    per_mm: float = 0.0
    file_up_to: float = 0.0
    build_up_to: float = 0.0

    @property
    def limits(self) -> tuple[float, float]:
        """Least and largest advance [rad] that trim can give."""
        return self.advance - self.build_up_to * self.per_mm, self.advance + self.file_up_to * self.per_mm

    def trim(self, advance: float) -> float:
        """Trim [m] that gives this advance [rad]: + built up, − filed, 0 if the stop cannot be trimmed."""
        return (self.advance - advance) / self.per_mm if self.per_mm else 0.0


@dataclass(frozen=True)
class Installed:
    """A spring on its posts, with the anchor bent by `bend` [m], + away from the other post."""

    spring: Spring
    posts: Posts
    bend: float = 0.0

    def length(self, advance: ArrayLike) -> tuple[Array, Array]:
        """L [m] and dL/dα [m/rad] inside the hooks at the advance [rad]."""
        return self.posts.length(advance, self.bend)

    def takeup(self, reach: float) -> float | None:
        """The advance [rad] at which it begins to pull: 0 from rest, None if not before `reach` [rad]."""
        return takeup_advance(self.posts, self.spring.free_length, reach, self.bend)


@dataclass(frozen=True)
class Unit:
    """The advance mechanism of one distributor. `springs`: primary, then secondary; `stop` [rad]."""

    weights: InertiaSlope
    springs: tuple[Installed, ...]
    drag: Drag
    stop: float


def speed_squared(
    torque: ArrayLike,
    inertia_slope: ArrayLike,
    rubbing_block: ArrayLike,
    friction: ArrayLike,
    friction_share: ArrayLike,
) -> Array:
    """ω² [rad²/s²] of equilibrium (theory, equation 3); all shapes broadcast.

    torque τ, rubbing_block T_d [N·m]; inertia_slope I′ [kg·m²/rad]; friction T_f [N·m] and
    friction_share s [1] with the sign of the direction: + speed rising, − falling.
    """
    moment = np.asarray(torque) + np.asarray(rubbing_block) + np.asarray(friction)
    squared: Array = 2 * moment / ((1 - np.asarray(friction_share)) * np.asarray(inertia_slope))
    return squared


@dataclass(frozen=True)
class Snap:
    """An advance range that is jumped at one speed: its start and end [rad], and the speed [rad/s]."""

    start: float
    end: float
    speed: float


@dataclass(frozen=True)
class Trace:
    """Both branches of equation 3 on a grid of advance.

    At a take-up the grid holds the advance twice, which keeps the jump of ω² by an initial tension. advance [rad],
    rising and falling ω² [rad²/s²], (n,) each; takeups [rad], one for each spring.
    """

    advance: Array
    rising: Array
    falling: Array
    takeups: tuple[float | None, ...]

    @property
    def stop(self) -> float:
        """The largest advance [rad]."""
        return float(self.advance[-1])

    def rising_advance(self, speed: ArrayLike, start: float = 0.0) -> Array:
        """Advance [rad] at each speed [rad/s] as speed rises from rest, beginning at `start` [rad]: the largest α up to
        which ω₊² does not exceed ω² (running maximum)."""
        past = self.advance >= start
        peak = np.maximum.accumulate(self.rising[past])
        return np.maximum(_largest_within(np.asarray(speed, float) ** 2, peak, self.advance[past]), start)

    def falling_advance(self, speed: ArrayLike, top: float | None = None) -> Array:
        """Advance [rad] at each speed [rad/s] as speed falls from the stop, or from the advance `top` [rad] that was
        reached: the running minimum of ω₋² from the right."""
        advance, squared = self.advance, self.falling
        if top is not None and top < self.stop:
            reached = advance < top
            squared = np.append(squared[reached], np.interp(top, advance, squared))
            advance = np.append(advance[reached], top)
        floor = np.minimum.accumulate(squared[::-1])[::-1]
        return _largest_within(np.asarray(speed, float) ** 2, floor, advance)

    def rising_speed(self, advance: float) -> float | None:
        """The speed [rad/s] at which the rising curve reaches the advance [rad]; None past the stop, or if that much is
        in at rest."""
        if advance > self.stop + 1e-12:
            return None
        # The left limit: reached just before a take-up's jump, not after it.
        left = np.searchsorted(self.advance, min(advance, self.stop), side="left")
        below = self.rising[: left + 1].copy()
        if left and self.advance[left] > advance:
            below[-1] = np.interp(advance, self.advance[left - 1 : left + 1], self.rising[left - 1 : left + 1])
        return _root(float(below.max()))

    @property
    def onset(self) -> float | None:
        """Speed [rad/s] at which advance begins; None if some is in at rest."""
        return _root(float(self.rising[0]))

    @property
    def return_speed(self) -> float | None:
        """Falling speed [rad/s] at which the advance returns to zero; None if it does not return."""
        return _root(float(self.falling.min()))

    @property
    def all_in(self) -> float | None:
        """Speed [rad/s] at which the rising curve reaches the stop."""
        return _root(float(self.rising.max()))

    @property
    def snaps(self) -> tuple[Snap, ...]:
        """Ranges of the rising curve that are jumped at one speed; empty for a sound curve."""
        return _snaps(self.advance, self.rising)


def trace(unit: Unit, points: int = 2001) -> Trace:
    """Both branches of the unit's curve on `points` [1] advances from 0 to its stop, with the take-ups added.

    The error of interpolation is below 1e-5° for a smooth mechanism without a snap; just past the end of a snap it is
    up to one step of the grid.
    """
    return _Moments.of(unit, points).trace(unit.drag)


def trace_and_residual(unit: Unit, speed: float, points: int = 2001) -> tuple[Trace, tuple[float, float]]:
    """`trace` of a unit on `points` [1] advances and its `residual_advance` [rad] at the speed [rad/s]; the moments of
    the springs are computed once for both."""
    moments = _Moments.of(unit, points)
    curve, undragged = moments.trace(unit.drag), moments.trace(replace(unit.drag, rubbing_block=0.0))
    return curve, (float(curve.falling_advance(speed)), float(undragged.falling_advance(speed)))


def residual_advance(unit: Unit, speed: float, *, points: int = 2001) -> tuple[float, float]:
    """Advance [rad] that stays in at `speed` [rad/s] after the weights have been out: with the rubbing block's drag,
    which may be all that returns a slack unit to zero, and without it (theory, section 3)."""
    return trace_and_residual(unit, speed, points)[1]


def spring_torque(
    springs: tuple[Installed, ...], takeups: tuple[float | None, ...], advance: Array, right: ArrayLike = False
) -> Array:
    """τ(α) [N·m] of all springs at the advances (n,) [rad] (theory, equation 2).

    `right` (n,) marks advances that are meant from their right side, just past a take-up there.
    """
    total = np.zeros_like(advance)
    for one, takeup in zip(springs, takeups, strict=True):
        if takeup is None:
            continue
        length, slope = one.length(advance)
        pulls = (advance > takeup) | (np.asarray(right) & (advance == takeup)) | (takeup == 0.0)
        s = one.spring
        total = total + tension(length, s.rate, s.free_length, s.initial_tension, pulls) * slope
    return total


@dataclass(frozen=True)
class _Moments:
    """What a curve depends on besides drag: τ [N·m] and I′ [kg·m²/rad] at `advance` [rad], (n,) each, and take-ups."""

    advance: Array
    torque: Array
    slope: Array
    takeups: tuple[float | None, ...]

    @classmethod
    def of(cls, unit: Unit, points: int) -> _Moments:
        """On `points` advances from 0 to the unit's stop, with each take-up twice."""
        takeups = tuple(s.takeup(unit.stop) for s in unit.springs)
        grid, right = _grid(unit.stop, points, [t for t in takeups if t is not None and 0.0 < t < unit.stop])
        return cls(grid, spring_torque(unit.springs, takeups, grid, right), unit.weights.inertia_slope(grid), takeups)

    def trace(self, d: Drag) -> Trace:
        """Both branches with this drag."""
        return Trace(
            self.advance,
            speed_squared(self.torque, self.slope, d.rubbing_block, d.friction, d.friction_share),
            speed_squared(self.torque, self.slope, d.rubbing_block, -d.friction, -d.friction_share),
            self.takeups,
        )


def _grid(stop: float, points: int, inner: list[float]) -> tuple[Array, np.ndarray]:
    """`points` advances from 0 to the stop [rad], those of `inner` added twice, and which are meant from the right."""
    grid = np.concatenate([np.linspace(0.0, stop, points), inner, inner])
    right = np.concatenate([np.zeros(points + len(inner), bool), np.ones(len(inner), bool)])
    order = np.lexsort((right, grid))
    return grid[order], right[order]


def _root(squared: float) -> float | None:
    return float(np.sqrt(squared)) if squared > 0 else None


def _largest_within(level: Array, extreme: Array, advance: Array) -> Array:
    """The largest advance whose running extreme is ≤ level; 0 where there is none. `extreme` never falls."""
    # np.interp takes the right-most of equal abscissae, which is the largest advance.
    return np.asarray(np.interp(level, extreme, advance, left=0.0))


def _snaps(advance: Array, squared: Array) -> tuple[Snap, ...]:
    peak = np.maximum.accumulate(squared)
    jumped = squared < peak - ROUNDING * np.abs(peak).max()
    edges = np.flatnonzero(np.diff(np.concatenate([[False], jumped, [False]]).astype(int)))
    found = []
    for first, last in edges.reshape(-1, 2):
        level = peak[first]
        begin = int(np.searchsorted(peak, level, side="left"))
        found.append(
            Snap(float(advance[begin]), float(advance[min(last, len(advance) - 1)]), float(np.sqrt(max(level, 0.0))))
        )
    return tuple(found)
