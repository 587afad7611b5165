"""The target: bands of advance at speeds, and how well a curve lies in them (theory, section 8).

Speeds [rad/s] and advances [rad] are those of the distributor.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike

from recurve.arrays import Array, Mask
from recurve.physics.curve import Trace
from recurve.physics.ensemble import Curves

ROUNDING = 1e-7  # of a margin
Kind = Literal["point", "idle", "maximum"]
Shaft = Literal["distributor", "crank"]


@dataclass(frozen=True)
class Band:
    """At `speed` [rad/s] the advance must lie between `low` and `high` [rad]. The maximum has no speed (None): it is a
    band for the stop. A band whose low is 0 has only an upper edge. `stated` [rad] is the advance of the book, where it gives
    one with a tolerance."""

    kind: Kind
    speed: float | None
    low: float
    high: float
    stated: float | None = None

    @property
    def from_zero(self) -> bool:
        """Whether only the upper edge counts."""
        return self.low <= 0.0

    def margin(self, advance: ArrayLike) -> Array:
        """Margin [1] of an advance [rad], any shape: 1 at the centre, 0 on an edge, linear, negative outside. A band
        from zero has 1 at 0 and 0 at `high`."""
        at = np.asarray(advance, float)
        if self.from_zero:
            return 1.0 - at / self.high
        return 1.0 - np.abs(at - (self.low + self.high) / 2) / ((self.high - self.low) / 2)

    def edges(self, margin: ArrayLike) -> tuple[Array, Array]:
        """The lower and upper advance [rad] between which the margin is at least this [1], any shape."""
        margin = np.asarray(margin, float)
        if self.from_zero:
            return np.zeros_like(margin), self.high * (1.0 - margin)
        centre, half = (self.low + self.high) / 2, (self.high - self.low) / 2
        return centre - half * (1.0 - margin), centre + half * (1.0 - margin)


@dataclass(frozen=True)
class Target:
    """All bands, in the job's order, and which shaft's speeds and which shaft's advances the book was `read_in`. `confirmed`:
    its figures were looked up again, so that they are not doubted."""

    bands: tuple[Band, ...]
    read_in: tuple[Shaft, Shaft] = ("distributor", "distributor")
    confirmed: bool = False

    @property
    def idle_speed(self) -> float | None:
        """Idle speed [rad/s] if the target names one."""
        return next((b.speed for b in self.bands if b.kind == "idle"), None)

    @property
    def maximum(self) -> Band | None:
        """The band for the stop, if any."""
        return next((b for b in self.bands if b.kind == "maximum"), None)

    @property
    def timed(self) -> tuple[Band, ...]:
        """The bands at a speed: points and idle."""
        return tuple(b for b in self.bands if b.kind != "maximum")


@dataclass(frozen=True)
class BandResult:
    """How a curve lies in a band: advance [rad] with speed rising and falling, and the worse of the two margins [1]."""

    band: Band
    rising: float
    falling: float
    margin: float


def judge(target: Target, curve: Trace) -> tuple[BandResult, ...]:
    """Every band against the curve in both directions. The falling curve begins at the stop, the rising one at what
    stays in at idle."""
    timed = target.timed
    speeds = np.array([b.speed for b in timed], float)
    residual = float(curve.falling_advance(target.idle_speed)) if target.idle_speed else 0.0
    rising = iter(curve.rising_advance(speeds, residual))
    falling = iter(curve.falling_advance(speeds))
    results = []
    for band in target.bands:
        pair = (curve.stop, curve.stop) if band.kind == "maximum" else (float(next(rising)), float(next(falling)))
        results.append(BandResult(band, *pair, float(min(band.margin(pair[0]), band.margin(pair[1])))))
    return tuple(results)


def worst(results: tuple[BandResult, ...]) -> float:
    """The worst margin [1] over bands and directions, which is the margin of a plan."""
    return min(r.margin for r in results)


def margins(target: Target, made: Curves) -> Array:
    """The worst margin (n,) [1] over bands and directions of each of n curves. Below idle speed what stays in at idle lies
    above the falling curve, so that either direction may be the lower one."""
    timed = target.timed
    speeds = np.array([b.speed for b in timed], float)
    idle = target.idle_speed
    start = None if idle is None else made.falling_advance(np.array([idle]))[:, 0]
    rising, falling = made.rising_advance(speeds, start), made.falling_advance(speeds)
    worst = np.full(len(made.advance), np.inf)
    for i, band in enumerate(timed):
        worst = np.minimum(worst, np.minimum(band.margin(rising[:, i]), band.margin(falling[:, i])))
    if target.maximum is not None:
        worst = np.minimum(worst, target.maximum.margin(made.advance[:, -1]))
    return np.asarray(worst)


def passes(target: Target, made: Curves) -> Mask:
    """Which of n curves lie inside every band, rising and falling, (n,)."""
    return np.asarray(margins(target, made) >= -ROUNDING)


MANY = 40  # points; a book gives a dozen, a digitised curve a thousand
SAME = np.radians(0.05)  # edges that lie as near to a straight line are on it


def thinned(target: Target) -> Target:
    """The target with no more of its points than tell the rest: where it has over MANY, those are left out whose edges lie on
    straight lines between the points that stay. Planning works through every edge with every other."""
    points = sorted((b for b in target.bands if b.kind == "point"), key=lambda b: b.speed or 0.0)
    if len(points) <= MANY:
        return target
    speed = np.array([b.speed for b in points], float)
    edges = np.array([(b.low, b.high) for b in points])
    keep = np.zeros(len(points), bool)
    keep[[0, -1]] = True
    spans = [(0, len(points) - 1)]
    while spans:
        first, last = spans.pop()
        between = np.arange(first + 1, last)
        if not len(between):
            continue
        part = (speed[between] - speed[first]) / max(float(speed[last] - speed[first]), 1e-12)
        off = np.abs(edges[between] - edges[first] - part[:, None] * (edges[last] - edges[first])).max(axis=1)
        if float(off.max()) > SAME:
            worst = int(between[off.argmax()])
            keep[worst] = True
            spans += [(first, worst), (worst, last)]
    stay = {id(b) for b, kept in zip(points, keep, strict=True) if kept}
    return replace(target, bands=tuple(b for b in target.bands if b.kind != "point" or id(b) in stay))
