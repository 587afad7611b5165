"""Many units at once: curves of n units that differ in springs, posts, drag, stop and mass geometry.

For fits and for the yield of a plan. The units share the shapes of I′(α) and L(α), tabulated once. Each has its own
grid of advance, split at its own second take-up, so that the jump by an initial tension and the stop are exact.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import ArrayLike

from recurve.arrays import Array
from recurve.physics.curve import InertiaSlope, speed_squared
from recurve.physics.posts import Posts

TABLE_POINTS = 1001


@dataclass(frozen=True)
class Shapes:
    """The shapes that the units share, tabulated at `advance` (p,) [rad]: `slope` I′ (p,) [kg·m²/rad], and for each
    place `stretch` L − L(0) [m] and `lever` L′ [m/rad], (places, p). `modes` (modes, p) [1] are independent changes of
    log I′, each of one standard uncertainty."""

    advance: Array
    slope: Array
    stretch: Array
    lever: Array
    modes: Array

    @classmethod
    def of(cls, weights: InertiaSlope, posts: tuple[Posts, ...], reach: float, modes: Array | None = None) -> Shapes:
        """Tabulate from 0 to `reach` [rad]; `modes` on `cls.grid(reach)`."""
        advance = cls.grid(reach)
        lengths = [p.length(advance) for p in posts]
        stretch = np.stack([x[0] - x[0][0] for x in lengths])
        lever = np.stack([x[1] for x in lengths])
        none = np.zeros((0, len(advance)))
        return cls(
            advance, np.asarray(weights.inertia_slope(advance)), stretch, lever, none if modes is None else modes
        )

    @cached_property
    def tables(self) -> tuple[Array, Array]:
        """All shapes in one table (1 + 2·places + modes, p): I′ [kg·m²/rad], stretches [m], levers [m/rad],
        modes [1]; and the steps from each value to the next, of the same shape, the last 0."""
        whole = np.concatenate([self.slope[None], self.stretch, self.lever, self.modes])
        return whole, np.diff(whole, axis=1, append=whole[:, -1:])

    @staticmethod
    def grid(reach: float) -> Array:
        """The advances (p,) [rad] of a table up to `reach` [rad]."""
        return np.linspace(0.0, reach, TABLE_POINTS)


@dataclass(frozen=True)
class Units:
    """n units: `rate` [N/m], `stretch` [m] at rest (negative where slack) and `tension` [N] of each spring,
    (n, places); `drag`, `friction` [N·m], `friction_share` [1] and `stop` [rad], (n,); `modes` (n, modes) [1]: how many
    standard uncertainties I′ is off in each mode; `reach` (n, places) [1]: how many times farther than in the shapes its
    posts part with advance, None where their places are exact. L − L(0) and its slope L′ both grow with it."""

    rate: Array
    stretch: Array
    tension: Array
    drag: Array
    friction: Array
    friction_share: Array
    stop: Array
    modes: Array
    reach: Array | None = None

    def reaching(self, place: int) -> Array:
        """How many times farther than in the shapes the posts of a place part (n,) [1]."""
        return np.ones(len(self.stop)) if self.reach is None else self.reach[:, place]


@dataclass(frozen=True)
class Curves:
    """ω₊² and ω₋² [rad²/s²] of n units on their own grids of advance [rad], all (n, g)."""

    advance: Array
    rising: Array
    falling: Array

    def falling_advance(self, speed: ArrayLike, top: Array | None = None) -> Array:
        """Advance (n, m) [rad] at speeds (m,) or (n, m) [rad/s], falling from the stop or from `top` (n,) [rad]."""
        advance, squared = self.advance, self.falling
        if top is not None:
            beyond = advance > top[:, None]
            squared = np.where(beyond, _value_at(advance, squared, top)[:, None], squared)
            advance = np.minimum(advance, top[:, None])
        floor = np.minimum.accumulate(squared[:, ::-1], axis=1)[:, ::-1]
        return _invert(advance, floor, speed)

    def at_standstill(self) -> Array:
        """Advance (n,) [rad] that stays in at a standstill."""
        start = np.zeros(len(self.falling))
        stays = np.flatnonzero((self.falling <= 0.0).any(axis=1))  # few, and only these are searched
        if len(stays):
            some = Curves(self.advance[stays], self.rising[stays], self.falling[stays])
            start[stays] = some.falling_advance(np.zeros(1))[:, 0]
        return start

    def rising_advance(self, speed: ArrayLike, start: Array | None = None) -> Array:
        """Advance (n, m) [rad] at speeds (m,) or (n, m) [rad/s], rising from rest or from `start` (n,) [rad]."""
        advance, squared = self.advance, self.rising
        if start is not None and not start.any():
            start = None
        if start is not None:
            before = advance < start[:, None]
            squared = np.where(before, _value_at(advance, squared, start)[:, None], squared)
            advance = np.maximum(advance, start[:, None])
        found = _invert(advance, np.maximum.accumulate(squared, axis=1), speed)
        return found if start is None else np.maximum(found, start[:, None])


def curves(shapes: Shapes, units: Units, points: int = 96) -> Curves:
    """The curves of all units, on `points` [1] advances before and as many after the second take-up."""
    advance, past = _grids(shapes, units, points)
    at = (advance / shapes.advance[-1] * (TABLE_POINTS - 1)).clip(0, TABLE_POINTS - 1)
    low = np.minimum(at.astype(int), TABLE_POINTS - 2)
    part = at - low

    def read(row: int) -> Array:
        # `take` needs a third of the time of indexing for many units.
        return np.asarray(table[row].take(low, mode="clip") + part * step[row].take(low, mode="clip"))

    table, step = shapes.tables
    places = len(shapes.stretch)
    slope = read(0)
    if len(shapes.modes):
        off = sum(units.modes[:, i, None] * read(1 + 2 * places + i) for i in range(len(shapes.modes)))
        slope *= np.exp(off)
    torque = np.zeros_like(advance)
    for place in range(places):
        grown, lever = read(1 + place), read(1 + places + place)
        if units.reach is not None:
            reach = units.reaching(place)[:, None]
            grown, lever = reach * grown, reach * lever
        stretched = units.stretch[:, place, None] + grown
        pulls = past if place == 1 else stretched >= 0.0
        pull = units.tension[:, place, None] + units.rate[:, place, None] * np.maximum(stretched, 0.0)
        torque += pulls * pull * lever
    resist = (units.drag[:, None], units.friction[:, None], units.friction_share[:, None])
    return Curves(
        advance,
        speed_squared(torque, slope, *resist),
        speed_squared(torque, slope, resist[0], -resist[1], -resist[2]),
    )


def takeups(shapes: Shapes, stretch: Array, place: int) -> Array:
    """Where springs with these stretches at rest (n,) [m] take up, (n,) [rad]: 0 from rest, inf past the table."""
    table = np.maximum.accumulate(shapes.stretch[place])
    return np.asarray(np.interp(-stretch, table, shapes.advance, left=0.0, right=np.inf))


def _grids(shapes: Shapes, units: Units, points: int) -> tuple[Array, np.ndarray]:
    """Advances (n, 2·points) [rad] of each unit, and at which of them its second spring has taken up."""
    steps = np.linspace(0.0, 1.0, points)
    if len(shapes.stretch) < 2:
        whole = np.linspace(0.0, 1.0, 2 * points) * units.stop[:, None]
        return whole, np.zeros(whole.shape, bool)
    takeup = takeups(shapes, units.stretch[:, 1] / units.reaching(1), 1)
    broken = np.minimum(takeup, units.stop)[:, None]
    before, after = broken * steps, broken + (units.stop[:, None] - broken) * steps
    past = np.concatenate(
        [np.zeros(before.shape, bool), np.broadcast_to((takeup < units.stop)[:, None], after.shape)], axis=1
    )
    # A spring that pulls from rest has nothing before its take-up: the first half is all at 0.
    past |= (takeup <= 0.0)[:, None]
    return np.concatenate([before, after], axis=1), past


def _value_at(advance: Array, squared: Array, at: Array) -> Array:
    """ω² (n,) of each row at its own advance `at` (n,) [rad], between the points of its grid."""
    row = np.arange(len(at))
    low = ((advance <= at[:, None]).sum(axis=1) - 1).clip(0, advance.shape[1] - 2)
    step = advance[row, low + 1] - advance[row, low]
    part = np.where(step > 0, (at - advance[row, low]) / np.where(step > 0, step, 1.0), 0.0).clip(0.0, 1.0)
    return np.asarray(squared[row, low] + part * (squared[row, low + 1] - squared[row, low]))


def _invert(advance: Array, extreme: Array, speed: ArrayLike) -> Array:
    """The largest advance (n, m) whose running extreme (n, g) is ≤ speed², 0 if there is none.

    All rows are searched at once: the values of each row are shifted above those of the row before.
    """
    n, g = extreme.shape
    level = np.broadcast_to(np.asarray(speed, float) ** 2, (n, np.shape(speed)[-1]))
    top = float(level.max()) * 2.0 + 1.0
    offset = (np.arange(n) * (top + 3.0))[:, None]
    keys = np.clip(extreme, -1.0, top)
    keys += offset
    flat = np.searchsorted(keys.ravel(), (level + offset).ravel(), side="right").reshape(level.shape)
    first = (np.arange(n) * g)[:, None]
    # `take` needs a third of the time of indexing by rows and columns.
    at = np.clip(flat - 1, first, first + g - 2)
    extreme, grid = extreme.ravel(), advance.ravel()
    # Not of the keys, which are cut off above: the curve may rise beyond within one step of the grid.
    low, high = np.maximum(extreme.take(at), -1.0), extreme.take(at + 1)
    with np.errstate(divide="ignore", invalid="ignore"):
        # Where two are alike the speed lies before the whole grid or after it.
        part = np.where(high > low, (level - low) / (high - low), level >= low)
    here = grid.take(at)
    found = here + np.clip(part, 0.0, 1.0) * (grid.take(at + 1) - here)
    return np.where(flat <= first, 0.0, found)
