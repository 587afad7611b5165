"""Whether the falling readings of a sweep are its rising ones, copied.

Of two readings with the same mean and normal errors of standard uncertainty u each, the difference has a density of 1/(2 √π u)
at nothing; read in steps of r they are equal with a chance of about

    p = r/(2 √π u)                                                                                 (1)

and n pairs all at once with pⁿ. Friction parts the two means, which makes it less.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

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
    read = np.round(np.degrees(sweep.as_read.advances(sweep.advance)), 6)
    speeds = np.round(sweep.speed * RPM, 3)
    rising = np.asarray(sweep.rising, bool)
    # Near zero and on the stop readings may well be alike.
    climbs = (sweep.advance > sweep.reading) & (sweep.advance < float(sweep.advance.max()) - sweep.reading)
    pairs: list[float] = []
    for speed in np.unique(speeds[climbs]):
        here = climbs & (speeds == speed)
        up, down = np.sort(read[here & rising]), np.sort(read[here & ~rising])
        if not len(up) or not len(down):
            continue
        if len(up) != len(down) or (up != down).any():
            return None
        pairs += [float(speed)] * len(up)
    file = sweep.reading * (sweep.as_read.turns if sweep.as_read.advance == "crank" else 1.0)
    alike = min(_step(read) / (2.0 * np.sqrt(np.pi) * max(float(np.degrees(file)) / SQRT3, 1e-9)), 1.0)
    if len(pairs) < LEAST_PAIRS or alike > TELLS_NOTHING or alike ** len(pairs) >= CHANCE:
        return None
    return Copied(len(pairs), min(pairs) / RPM, max(pairs) / RPM)


def _step(read: np.ndarray) -> float:
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


def copied_finding(sweep: Sweep) -> CopiedReadings | None:
    """The same as a finding."""
    half = copied(sweep)
    return None if half is None else CopiedReadings("check first", half)
