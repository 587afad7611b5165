"""A bench of the tests' own: sweeps a unit by moving its weights step by step wherever the moments push them.

Nothing here comes from the package, and nothing is said of running extremes, onsets or curves. At each
speed the net moment on the cam is looked at where the weights are; while it exceeds what friction can
hold, they move on by one small step, out or in, to the stop or home. The state stays between speeds, so
that a rising and a falling sweep part by friction, and hang or snap, as on a bench.

Advances [deg], speeds [rpm], moments [mN·m] as in `mechanisms`.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np
from mechanisms import RPM, Mechanism, closed_swing, distance, inertia
from numpy.typing import NDArray
from scipy.interpolate import CubicSpline

Array = NDArray[np.float64]
STEP = 0.002  # [deg]
KNOTS = 33  # advances at which the loop of the mechanism is closed; a spline between them


@dataclass
class Bench:
    """A unit on the bench. At each advance (n,) [deg] `drive` is the centrifugal moment a speed squared makes
    [mN·m s²/rad²] and `springs` [mN·m] what pulls home; `at` is where the weights are, an index."""

    advance: Array
    drive: Array
    springs: Array
    drag: float
    friction: float
    share: float
    at: int = 0

    def settle(self, rpm: float) -> float:
        """Turn at this speed until nothing moves; the advance [deg]."""
        centrifugal = self.drive * (rpm * RPM) ** 2
        net = centrifugal - self.springs - self.drag
        holds = self.friction + self.share * centrifugal
        if net[self.at] > holds[self.at]:
            stays = net[self.at :] <= holds[self.at :]
            self.at = self.at + int(stays.argmax()) if stays.any() else len(net) - 1
        elif net[self.at] < -holds[self.at]:
            stays = net[: self.at + 1][::-1] >= -holds[: self.at + 1][::-1]
            self.at = self.at - int(stays.argmax()) if stays.any() else 0
        return float(self.advance[self.at])

    def stand_still(self) -> float:
        """What stays in [deg] at a standstill after the weights have been out."""
        self.at = len(self.advance) - 1
        return self.settle(0.0)

    def go_through(self, speeds: Iterable[float]) -> Array:
        """Settled advances (m,) [deg] at one speed after the other [rpm]."""
        return np.array([self.settle(float(rpm)) for rpm in speeds])


def bench(one: Mechanism, share: float = 0.0, step: float = STEP) -> Bench:
    """The mechanism on the bench; `share` of the centrifugal moment is lost to friction under load."""
    advance = np.linspace(0.0, one.stop, int(np.ceil(one.stop / step)) + 1)
    alpha = np.radians(advance)
    knots = np.linspace(0.0, alpha[-1], KNOTS)
    swing = closed_swing(one, knots)
    slope = CubicSpline(knots, inertia(one, swing))(alpha, 1)
    springs = np.zeros_like(alpha)
    for pull in one.springs:
        length = CubicSpline(knots, distance(one, pull, knots, swing))
        stretch = length(alpha) - pull.free_length
        springs += np.where(stretch >= 0, pull.tension + pull.rate * stretch, 0.0) * length(alpha, 1)
    # N · mm is a mN·m, and kg·m²/s² a N·m.
    return Bench(advance, 1e3 * slope / 2, springs, one.drag, one.friction, share)


def sweep(one: Mechanism, speeds: Array, share: float = 0.0) -> tuple[Array, Array]:
    """Advances [deg] at the speeds (m,) [rpm], which rise, from a standstill up and then back down, (m,) each."""
    unit = bench(one, share)
    unit.stand_still()
    rising = unit.go_through(speeds)
    return rising, unit.go_through(speeds[::-1])[::-1]
