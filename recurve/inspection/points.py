"""The breaker points and what hangs on them: dwell, spark spacing, gap, the rotor under its segment, the coil's charge.

All angles [rad] and speeds [rad/s] are the distributor's; angles are as read on a degree wheel whose figures rise as the
shaft turns. The spark is at the opening. The equations are derived here; taking a lobe's tip as a parabola is an
assumption, and every result that uses it says so.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from recurve.arrays import Array

TURN = 2 * np.pi


def pitch(lobes: int) -> float:
    """Angle from one lobe to the next [rad]: 360° / lobes."""
    return TURN / lobes


def dwell_between(closes: ArrayLike, opens: ArrayLike) -> Array:
    """Dwell [rad] of points that close and open at these wheel figures [rad], any shape; it may span 360°."""
    return np.asarray(np.mod(np.asarray(opens, float) - np.asarray(closes, float), TURN))


def fraction_of_pitch(dwell: ArrayLike, lobes: int) -> Array:
    """Dwell [rad] as a fraction of the lobe pitch [1]; a dwell meter's percent is 100 times that."""
    return np.asarray(np.asarray(dwell, float) / pitch(lobes))


def dwell_of_fraction(fraction: ArrayLike, lobes: int) -> Array:
    """Dwell [rad] that is a fraction of the lobe pitch [1]: the inverse of `fraction_of_pitch`."""
    return np.asarray(np.asarray(fraction, float) * pitch(lobes))


def wrapped(angle: ArrayLike) -> Array:
    """An angle [rad] wrapped to −180° … 180°."""
    return np.asarray(np.mod(np.asarray(angle, float) + np.pi, TURN) - np.pi)


def openings(first: float, spacing: ArrayLike) -> Array:
    """Wheel figures (n,) [rad] of n sparks, from the first and the n − 1 spacings between neighbours [rad]."""
    return np.asarray(np.mod(first + np.concatenate([[0.0], np.cumsum(np.asarray(spacing, float))]), TURN))


def gap_change(dwell_change: ArrayLike, dwell: float, gap: float, lobes: int) -> Array:
    """Change of gap [m] that belongs to a change of dwell [rad]; more dwell is less gap.

    The lobe's tip is taken as a parabola of height `gap` [m] over the open angle, lobe pitch − `dwell` [rad]: the
    points open half that angle before the tip, and there the lift rises 2 · gap / (open / 2) a radian, so that half the
    change of dwell at each end asks for gap · change / (open / 2).
    """
    return np.asarray(-np.asarray(dwell_change, float) * gap / open_half(dwell, lobes))


def dwell_change(gap_changed: ArrayLike, dwell: float, gap: float, lobes: int) -> Array:
    """The inverse of `gap_change`: change of dwell [rad] by a change of gap [m]."""
    return np.asarray(-np.asarray(gap_changed, float) * open_half(dwell, lobes) / gap)


def open_half(dwell: float, lobes: int) -> float:
    """Half the angle [rad] for which the points are open."""
    return (pitch(lobes) - dwell) / 2


@dataclass(frozen=True)
class RotorSweep:
    """Rotor tip against the cap's segment at the spark: the tip's middle stands from `low` to `high` [rad] past the
    segment's, in the direction of rotation. `room` [rad] is the least overlap of tip and segment, negative if they part,
    None if their widths are unknown."""

    low: float
    high: float
    room: float | None


def rotor_sweep(offset: float, vacuum: float, widths: float | None) -> RotorSweep:
    """Where the rotor's tip stands at the spark, over the range of the vacuum unit.

    offset [rad]: tip past the segment at the spark without vacuum; vacuum [rad]: largest vacuum advance, negative for a
    retard unit; widths [rad]: tip and segment together. Mechanical advance turns cam and rotor alike and changes
    nothing; vacuum turns the breaker plate, so the spark comes that much earlier and finds the rotor that far back.
    """
    ends = sorted((offset, offset - vacuum))
    room = None if widths is None else widths / 2 - max(abs(e) for e in ends)
    return RotorSweep(ends[0], ends[1], room)


@dataclass(frozen=True)
class Coil:
    """A coil's primary: `resistance` [Ω] with its wiring, `ballast` [Ω] in series, `inductance` [H], `supply` [V]."""

    resistance: float
    inductance: float
    supply: float
    ballast: float = 0.0

    @property
    def total_resistance(self) -> float:
        """Resistance of the whole primary circuit [Ω]."""
        return self.resistance + self.ballast

    @property
    def time_constant(self) -> float:
        """L / R of the whole circuit [s]."""
        return self.inductance / self.total_resistance

    @property
    def limit(self) -> float:
        """The current [A] that it reaches if the points stay closed."""
        return self.supply / self.total_resistance

    def current(self, time: ArrayLike) -> Array:
        """Primary current [A] at a time [s] after the points closed on a coil without current, any shape.

        L di/dt + R i = V, so i = V/R (1 − exp(−R t / L)).
        """
        return np.asarray(-self.limit * np.expm1(-np.asarray(time, float) / self.time_constant))

    def energy(self, current: ArrayLike) -> Array:
        """Stored energy ½ L i² [J] at a current [A], any shape."""
        return np.asarray(0.5 * self.inductance * np.asarray(current, float) ** 2)


def dwell_time(dwell: ArrayLike, speed: ArrayLike) -> Array:
    """Time [s] for which the points are closed: dwell [rad] over distributor speed [rad/s]; shapes broadcast.

    In the trade's units: degrees / (6 · rpm).
    """
    return np.asarray(np.asarray(dwell, float) / np.asarray(speed, float))


@dataclass(frozen=True)
class Charge:
    """A dwell [rad] over speeds (n,) [rad/s]: closed `time` [s], `current` [A] and `energy` [J] at the opening, (n,)."""

    dwell: float
    speed: Array
    time: Array
    current: Array
    energy: Array


def charge(coil: Coil, dwell: float, speed: Array) -> Charge:
    """The coil's charge when the points open, for a dwell [rad] at speeds (n,) [rad/s]."""
    time = dwell_time(dwell, speed)
    current = coil.current(time)
    return Charge(dwell, speed, time, current, coil.energy(current))
