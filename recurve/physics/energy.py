"""The curve by minimising energy: a check that shares nothing with equation 3 but lengths and radii.

At a steady speed the advance settles where no small move releases energy (theory, equation 18). The energy is that of
the springs, the centrifugal potential of the weights, and the work against drag and friction, which oppose the motion.

    V±(α) = Σ_springs ∫ T dL + (T_d ± T_f) α − ½ ω² (1 ∓ s) (I(α) − I(0))      + speed rising, − falling

A rising sweep moves outward to the first minimum of V₊, a falling one inward from the stop to the first of V₋. Neither
dL/dα nor dr/dα is used, and no moment is formed. If only I′ of the weights is known, I is its integral.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from recurve.arrays import Array
from recurve.physics.curve import Unit
from recurve.physics.mechanism import Weights

GRID = 721  # advances from rest to the stop, among which a first minimum is looked for
GOLDEN = (np.sqrt(5.0) - 1) / 2
STEPS = 20  # of the golden section: to a few millionths of a degree


def settled(unit: Unit, speed: Array, start: ArrayLike) -> Array:
    """Minimum-energy advance (m,) [rad] at each speed (m,) [rad/s] of a rising sweep from `start` [rad], scalar or
    (m,)."""
    grid = np.linspace(0.0, unit.stop, GRID)
    climbs = np.diff(_energy(unit, grid[None, :], speed[:, None], 1.0), axis=1) > 0
    climbs &= grid[1:] > np.asarray(start)[..., None]
    ends = np.concatenate([climbs, np.ones((len(speed), 1), bool)], axis=1)
    first = np.argmax(ends, axis=1)
    low, high = grid[np.maximum(first - 1, 0)], grid[np.minimum(first + 1, GRID - 1)]
    return _least(unit, speed, 1.0, np.maximum(low, start), np.maximum(high, start))


def fallen(unit: Unit, speed: Array) -> Array:
    """Minimum-energy advance (m,) [rad] at each speed (m,) [rad/s] of a falling sweep from the stop."""
    grid = np.linspace(0.0, unit.stop, GRID)
    climbs = np.diff(_energy(unit, grid[None, ::-1], speed[:, None], -1.0), axis=1) > 0
    ends = np.concatenate([climbs, np.ones((len(speed), 1), bool)], axis=1)
    first = GRID - 1 - np.argmax(ends, axis=1)
    return _least(unit, speed, -1.0, grid[np.maximum(first - 1, 0)], grid[np.minimum(first + 1, GRID - 1)])


def _least(unit: Unit, speed: Array, direction: float, low: Array, high: Array) -> Array:
    """The advance (m,) [rad] of least energy between `low` and `high` (m,), by golden section on all at once."""
    for _ in range(STEPS):
        inner, outer = high - GOLDEN * (high - low), low + GOLDEN * (high - low)
        keep = _energy(unit, inner, speed, direction) < _energy(unit, outer, speed, direction)
        low, high = np.where(keep, low, inner), np.where(keep, outer, high)
    return 0.5 * (low + high)


def _energy(unit: Unit, advance: Array, speed: Array, direction: float) -> Array:
    """V [J] at the advance [rad] and speed [rad/s], which broadcast; direction +1 rising, −1 falling."""
    assert isinstance(unit.weights, Weights)  # every job's are
    drag = unit.drag
    stored = (drag.rubbing_block + direction * drag.friction) * advance
    for one in unit.springs:
        s = one.spring
        stretch = np.maximum(one.length(advance)[0] - s.free_length, 0.0)
        stored = stored + (s.initial_tension + 0.5 * s.rate * stretch) * stretch
    kept = 1 - direction * drag.friction_share
    return np.asarray(stored - 0.5 * speed**2 * kept * unit.weights.inertia_change(advance))
