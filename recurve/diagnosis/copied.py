"""Whether readings of a sweep are others written down again: its falling ones the rising ones, or all of them twice.

Of two readings with the same mean and normal errors of standard uncertainty u each, the difference has a density of 1/(2 √π u)
at nothing; read in steps of r they are equal with a chance of about

    p = r/(2 √π u)                                                                                 (1)

and n pairs all at once with pⁿ. Friction parts the two means, which makes it less.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import ClassVar

import numpy as np

from recurve.arrays import Array, Mask
from recurve.inspection.findings import Cause, Finding, Words
from recurve.physics.sweep import Sweep
from recurve.units import RPM, SQRT3

STEPS = (1.0, 0.5, 0.25, 0.2, 0.1, 0.05, 0.02, 0.01, 0.001)  # in which an angle is read or written [deg]
LEAST_PAIRS = 5
CHANCE = 1e-4  # below this, readings that are alike are no readings
TELLS_NOTHING = 0.3  # chance that one pair is alike, from which readings are too coarse for it to tell anything


@dataclass(frozen=True)
class Copied:
    """The falling readings are the rising ones: at all of so many `speeds` where the curve climbs, from `low` to `high`
    [rad/s]."""

    speeds: int
    low: float
    high: float

    @property
    def told(self) -> str:
        """What was seen, in words."""
        return (
            f"at all {self.speeds} speeds where the advance climbs, from {self.low * RPM:.0f} to {self.high * RPM:.0f} rpm "
            "(distributor), the falling readings are the rising ones, to the last digit"
        )

    def words(self) -> str:
        """In words, for the distributor."""
        return f"{self.told}: were they copied? Read the falling half"


def copied(sweep: Sweep) -> Copied | None:
    """Whether the falling half was copied: where the curve climbs, at LEAST_PAIRS speeds or more, the readings of both ways are
    all alike, and that is next to impossible by chance."""
    read, speeds, rising, climbs = _climbing(sweep)
    pairs: list[float] = []
    for speed in np.unique(speeds[climbs]):
        here = climbs & (speeds == speed)
        up, down = np.sort(read[here & rising]), np.sort(read[here & ~rising])
        if not len(up) or not len(down):
            continue
        if len(up) != len(down) or (up != down).any():
            return None
        pairs += [float(speed)] * len(up)
    return Copied(len(pairs), min(pairs) / RPM, max(pairs) / RPM) if _no_chance(sweep, read, len(pairs)) else None


def repeated(sweep: Sweep) -> int:
    """How many readings [1] are others written down again: where the curve climbs, all that stand there more than once at a speed
    and in a direction are alike, and that is next to impossible by chance. 0 where they are not."""
    read, speeds, rising, climbs = _climbing(sweep)
    again = 0
    for speed, way in {(float(s), bool(r)) for s, r in zip(speeds[climbs], rising[climbs], strict=True)}:
        here = read[climbs & (speeds == speed) & (rising == way)]
        if len(here) > 1 and np.ptp(here) > 0.0:
            return 0
        again += len(here) - 1
    return again if _no_chance(sweep, read, again) else 0


def _climbing(sweep: Sweep) -> tuple[Array, Array, Mask, Mask]:
    """Advances as read [deg], speeds [rpm], whether rising, and whether the curve climbs there, (n,) each: near zero and on the
    stop readings may well be alike."""
    read = np.asarray(np.round(np.degrees(sweep.as_read.advances(sweep.advance)), 6), float)
    climbs = (sweep.advance > sweep.reading) & (sweep.advance < float(sweep.advance.max()) - sweep.reading)
    return read, np.asarray(np.round(sweep.speed * RPM, 3), float), np.asarray(sweep.rising, bool), climbs


def _no_chance(sweep: Sweep, read: Array, pairs: int) -> bool:
    """Whether so many pairs of readings [deg] are not all alike by chance."""
    file = sweep.reading * (sweep.as_read.turns if sweep.as_read.advance == "crank" else 1.0)
    alike = min(_step(read) / (2.0 * np.sqrt(np.pi) * max(float(np.degrees(file)) / SQRT3, 1e-9)), 1.0)
    return pairs >= LEAST_PAIRS and alike <= TELLS_NOTHING and alike**pairs < CHANCE


def _step(read: Array) -> float:
    """The largest of STEPS [deg] of which all readings [deg] are multiples; the finest if they are of none."""
    for step in STEPS:
        if (np.abs(read - step * np.round(read / step)) < 1e-5).all():
            return step
    return STEPS[-1]


@dataclass(frozen=True)
class CopiedReadings(Finding):
    """The falling `half` is the rising one."""

    half: Copied
    cause = Cause.READINGS

    def words(self) -> Words:
        """The finding in words."""
        return Words(
            "the falling readings may be copied from the rising ones",
            self.half.told,
            "friction then looks like none, and nothing shows that the advance comes back",
            "read the falling half",
        )


@dataclass(frozen=True)
class TypedTwice(Finding):
    """So many `again` [1] of the readings of the `file` are others written down again."""

    file: str
    again: int
    units: ClassVar[dict[str, str]] = {"again": "1"}
    cause = Cause.READINGS

    def words(self) -> Words:
        """The finding in words."""
        return Words(
            "the same readings twice in one file",
            f"{self.again} readings of {self.file} where the advance climbs are others again, to the last digit",
            "they count as more evidence than there is, so every ± comes out too small",
            "keep each reading once. For more evidence, sweep the unit again and write the new readings beside the old",
        )


def copied_findings(sweep: Sweep) -> tuple[Finding, ...]:
    """The same as findings."""
    half, again = copied(sweep), repeated(sweep)
    return (
        *(() if half is None else (CopiedReadings("check first", half),)),
        *((TypedTwice("check first", sweep.file, again),) if again else ()),
    )
