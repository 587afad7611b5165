"""One number by which every reading is off: a pointer off its zero, or static timing left in the readings.

An offset is told where one number explains the whole sweep, and wear would have to do so in several places at once: with it taken
out the unit meets every band, home at idle and at its stop included, and as it stands it does not.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from recurve.arrays import Array
from recurve.diagnosis.look_findings import AllOff
from recurve.inspection.findings import Finding
from recurve.physics.sweep import Sweep
from recurve.physics.target import Band
from recurve.uncertainty import Sampled, Uncertain

LEAST = np.radians(0.5)  # an offset smaller than this is no slip worth a word
LEAST_ALIKE = 4  # bands that one number must explain, or more
# How far all advances lie too high at least, and how much they may differ in that: the less, the more alike.
OFFSETS = ((np.radians(2.5), np.radians(1.6)), (np.radians(0.9), np.radians(0.8)))
# Probability that all bands are met: at least, with the offset taken out; at most, as the readings stand.
CURED, NOT_MET = 0.5, 0.05
HOME = np.radians(0.3)  # so far past home the outline may seem to go: what the readings of the dead stretch leave open
STEP = np.radians(0.05)
SURELY_BELOW = 3.0  # standard uncertainties


@dataclass(frozen=True)
class BandRead:
    """A band, and the advances (states,) [rad] at it, one for each direction that was read."""

    band: Band
    there: tuple[Array, ...]

    @property
    def middle(self) -> float:
        """Where a sound unit lies, about [rad]: home at idle, else the middle of the band."""
        low = 0.0 if self.band.from_zero else self.band.low
        return 0.0 if self.band.kind == "idle" else (low + self.band.high) / 2

    @property
    def off(self) -> Array:
        """How far the unit lies above that (states,) [rad]."""
        return np.asarray(np.mean(self.there, axis=0) - self.middle)

    def offsets(self) -> tuple[Array, Array]:
        """The least and the most that may be taken off so that the band is met (states,) [rad] each."""
        low = -HOME if self.band.kind == "idle" else -np.inf if self.band.from_zero else self.band.low
        return np.asarray(np.max(self.there, axis=0) - self.band.high), np.asarray(np.min(self.there, axis=0) - low)


def all_too_high(bands: Sequence[BandRead], passing: float) -> Finding | None:
    """The finding where an offset explains idle, top and all between; `passing` [1] is the probability that the unit meets them
    as it was read."""
    if len(bands) < LEAST_ALIKE or not {"idle", "maximum"} <= {b.band.kind for b in bands}:
        return None
    each = np.array([float(b.off.mean()) for b in bands])
    alike = any(each.min() >= least and np.ptp(each) <= most for least, most in OFFSETS)
    if not alike and (passing >= NOT_MET or not _cured(bands)):
        return None
    return AllOff("check first", Sampled(np.mean([b.off for b in bands], axis=0)).summary, len(bands))


def _cured(bands: Sequence[BandRead]) -> bool:
    """Whether one number taken off makes the unit meet every band, and its stop is then nearer to the book than it was. A
    spring that lets advance in at idle leaves the stop where it is."""
    limits = [b.offsets() for b in bands]
    least, most = np.max([a for a, _ in limits], axis=0), np.min([b for _, b in limits], axis=0)
    tried = np.arange(LEAST, max(float(most.max()), LEAST) + STEP, STEP)
    met = ((least <= tried[:, None]) & (tried[:, None] <= most)).mean(axis=1)
    best = int(met.argmax())
    if met[best] < CURED:
        return False
    off = float(np.median(tried[met >= met[best] - 1e-9]))
    return all(float(b.off.mean()) > off / 2 for b in bands if b.band.kind == "maximum")


def all_too_low(sweep: Sweep, idle: float) -> Finding | None:
    """The finding where the readings at idle [rad/s] or slower lie surely below zero: no weights go in past home."""
    if sweep.zeroed_at is not None or not sweep.static_known:
        return None
    slow = sweep.kept(sweep.speed <= idle)
    if not len(slow.speed):
        return None
    by = float(slow.advance.mean())
    sd = float(np.sqrt(slow.variance(np.zeros(len(slow.speed))).sum())) / len(slow.speed)
    if by > -LEAST or by > -SURELY_BELOW * sd:
        return None
    return AllOff("check first", Uncertain(by, sd), None)
