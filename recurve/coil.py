"""Coil charge: primary current and stored energy for a dwell at a speed. SI; speeds are the distributor's [rad/s]."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from recurve.mechanism import Array


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
        """The current [A] that it would reach if the points stayed closed."""
        return self.supply / self.total_resistance

    def current(self, time: ArrayLike) -> Array:
        """Primary current [A] this long [s] after the points closed on a coil without current, any shape.

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
    """What the coil holds when the points open, for a dwell [rad] at speeds (n,) [rad/s]."""
    time = dwell_time(dwell, speed)
    current = coil.current(time)
    return Charge(dwell, speed, time, current, coil.energy(current))
