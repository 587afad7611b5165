"""The curve once more, by minimising energy: a check of every plan that shares nothing with eq. 3 but lengths and radii.

At a steady speed the advance settles where no small move frees energy (design §1): the weights' centrifugal
potential, the energy of the springs, and the work against drag and friction, which oppose the way the weights move.

    V±(α) = Σ_springs ∫ T dL + (T_d ± T_f) α − ½ ω² (1 ∓ s) (I(α) − I(0))      + speed rising, − falling

A rising sweep goes outward to the first minimum of V₊, a falling one inward from the stop to the first of V₋. Neither
dL/dα nor dr/dα is used, and no moment is formed; of weights known by I′ alone, I is its integral.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from recurve.build import CHECK_ADVANCE, Build
from recurve.curve import Unit
from recurve.mechanism import Array, Weights

GRID = 721  # advances from rest to the stop, among which a first minimum is looked for
GOLDEN = (np.sqrt(5.0) - 1) / 2
STEPS = 20  # of the golden section: to some millionths of a degree
SPEEDS = 40  # besides those of the bands and the settings
AGREE = np.radians(0.01)  # a tenth of what a degree wheel shows
# At the ends of a plateau the advance changes at one speed; a hair of speed to either side is the same reading.
HAIR = 1e-5


@dataclass(frozen=True)
class Checked:
    """How a planned curve stands against the least energy: at how many `speeds` it was looked at, rising and
    falling, and the `largest` difference [rad]."""

    speeds: int
    largest: float

    @property
    def agrees(self) -> bool:
        """Whether both say the same, within a hundredth of a degree (distributor)."""
        return bool(self.largest <= AGREE)


def check_build(build: Build) -> Checked:
    """All that is told of a build (bands, setting speeds, the curve between) against the least energy of its unit."""
    start = _start(build)
    top = 1.1 * max([build.curve.all_in or 0.0, *(r.band.speed or 0.0 for r in build.results)])
    between = np.linspace(0.0, top, SPEEDS + 1)[1:]
    bands = [(r.band.speed, r.rising, r.falling) for r in build.results if r.band.speed is not None]
    speeds, up, down = (np.array(x) for x in zip(*bands, strict=True))
    speeds = np.concatenate([speeds, between])
    up = np.concatenate([up, build.curve.rising_advance(between, start)])
    down = np.concatenate([down, build.curve.falling_advance(between)])
    points = zip((CHECK_ADVANCE, build.stop - CHECK_ADVANCE), build.settings, strict=True)
    set_at, set_speed = np.array([(a, s) for a, s in points if s is not None]).reshape(-1, 2).T
    starts = np.concatenate([np.full(len(speeds), start), np.zeros(len(set_at))])
    rising = _settled_about(build.unit, np.concatenate([speeds, set_speed]), starts)
    apart = [_apart(np.concatenate([up, set_at]), *rising), _apart(down, *_fallen_about(build.unit, speeds))]
    return Checked(len(speeds), float(np.concatenate(apart).max()))


def _start(build: Build) -> float:
    """Where the rising curve of the bands begins [rad]: at what stays in at idle."""
    return next((r.falling for r in build.results if r.band.kind == "idle"), 0.0)


def _apart(told: Array, low: Array, high: Array) -> Array:
    """How far [rad] each advance lies outside its two ends."""
    return np.maximum(np.maximum(low - told, told - high), 0.0)


def _settled_about(unit: Unit, speed: Array, start: Array) -> Array:
    """`settled` a hair below and above each speed, (2, m) [rad]."""
    about = np.concatenate([speed * (1 - HAIR), speed * (1 + HAIR)])
    return settled(unit, about, np.concatenate([start, start])).reshape(2, -1)


def _fallen_about(unit: Unit, speed: Array) -> Array:
    """`fallen` a hair below and above each speed, (2, m) [rad]."""
    return fallen(unit, np.concatenate([speed * (1 - HAIR), speed * (1 + HAIR)])).reshape(2, -1)


def settled(unit: Unit, speed: Array, start: ArrayLike) -> Array:
    """Advance (m,) [rad] at each speed (m,) [rad/s] of a rising sweep from `start` [rad], one or (m,), by the least
    energy."""
    grid = np.linspace(0.0, unit.stop, GRID)
    climbs = np.diff(_energy(unit, grid[None, :], speed[:, None], 1.0), axis=1) > 0
    climbs &= grid[1:] > np.asarray(start)[..., None]
    ends = np.concatenate([climbs, np.ones((len(speed), 1), bool)], axis=1)
    first = np.argmax(ends, axis=1)
    low, high = grid[np.maximum(first - 1, 0)], grid[np.minimum(first + 1, GRID - 1)]
    return _least(unit, speed, 1.0, np.maximum(low, start), np.maximum(high, start))


def fallen(unit: Unit, speed: Array) -> Array:
    """Advance (m,) [rad] at each speed (m,) [rad/s] of a falling sweep from the stop, by the least energy."""
    grid = np.linspace(0.0, unit.stop, GRID)
    climbs = np.diff(_energy(unit, grid[None, ::-1], speed[:, None], -1.0), axis=1) > 0
    ends = np.concatenate([climbs, np.ones((len(speed), 1), bool)], axis=1)
    first = GRID - 1 - np.argmax(ends, axis=1)
    return _least(unit, speed, -1.0, grid[np.maximum(first - 1, 0)], grid[np.minimum(first + 1, GRID - 1)])


def _least(unit: Unit, speed: Array, direction: float, low: Array, high: Array) -> Array:
    """The advance (m,) [rad] of least energy between two others each, by golden section on all at once."""
    for _ in range(STEPS):
        inner, outer = high - GOLDEN * (high - low), low + GOLDEN * (high - low)
        keep = _energy(unit, inner, speed, direction) < _energy(unit, outer, speed, direction)
        low, high = np.where(keep, low, inner), np.where(keep, outer, high)
    return 0.5 * (low + high)


def _energy(unit: Unit, advance: Array, speed: Array, direction: float) -> Array:
    """V [J] at the advance [rad] and speed [rad/s], which broadcast; direction + 1 rising, − 1 falling."""
    assert isinstance(unit.weights, Weights)  # every job's are
    drag = unit.drag
    stored = (drag.rubbing_block + direction * drag.friction) * advance
    for one in unit.springs:
        s = one.spring
        stretch = np.maximum(one.length(advance)[0] - s.free_length, 0.0)
        stored = stored + (s.initial_tension + 0.5 * s.rate * stretch) * stretch
    share = 1 - direction * drag.friction_share
    return np.asarray(stored - 0.5 * speed**2 * share * unit.weights.inertia_change(advance))
