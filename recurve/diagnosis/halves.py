"""Whether the rising and the falling half of a sweep can be of one unit and one zero.

A falling reading may lie above the rising one at the same speed, by friction, and never below it; on the stop the two are the
same. Where they are not, the wheel or the pointer moved between the halves, or the directions are exchanged: no wear does it.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import ClassVar

import numpy as np

from recurve.arrays import Array
from recurve.inspection.findings import Cause, Finding, Words
from recurve.physics.sweep import Sweep
from recurve.uncertainty import NORMAL_MEDIAN, Uncertain
from recurve.units import RPM

SAME_SPEED = 0.01  # relative; readings at so nearly the same speed are held against each other
LEAST = 1  # pairs from which the top is judged: where a sweep turns, both readings are the same, on the stop or not
LEAST_CLIMBING = 3  # pairs from which the climbing part is judged
MANY = 4  # pairs from which their own scatter is known
SURE = 4.0  # standard uncertainties off that no scatter of reading explains
APART = np.radians(0.5)  # less than this is no slip of the wheel worth a word
PLATEAU = np.radians(0.4)  # readings so near the highest one are on the stop, or about to be


@dataclass(frozen=True)
class Halves(Finding):
    """Falling less rising advance, `apart` [rad], that cannot be: at the stop (`on_stop`), or below 0 where the curve climbs;
    read from the speed `first` to `last` [rad/s]."""

    apart: Uncertain
    first: float
    last: float
    on_stop: bool
    cause = Cause.READINGS
    units: ClassVar[dict[str, str]] = {"apart": "deg"}

    def words(self) -> Words:
        """The finding in words."""
        apart = np.degrees(self.apart.value)
        by = f"{abs(apart):.1f} ± {2 * np.degrees(self.apart.standard_uncertainty or 0.0):.1f}°"
        low, high = (f"{x * RPM:.0f}" for x in (self.first, self.last))
        speeds = f"{low} to {high} rpm" if low != high else f"{low} rpm"
        way = "above" if apart > 0 else "below"
        told = f"falling readings lie {by} {way} the rising ones at {speeds} (distributor)"
        if self.on_stop:
            return Words(
                "the two halves of the sweep contradict each other",
                f"on the stop {told}, where both must read the same",
                "one half is off by as much, so that a sound unit may look worn",
                "see that the degree wheel and its pointer are tight, set zero again with the weights held home, and read "
                "both halves again in one run",
            )
        return Words(
            "falling readings lie below the rising ones",
            f"{told}; friction can only hold them above",
            "rising and falling are exchanged, or one half is off, so that nothing here may be relied on",
            "check the direction column of the sweep; see that the degree wheel and its pointer are tight, and read both "
            "halves again in one run",
        )


def halves_apart(sweep: Sweep, outliers: tuple[int, ...] = ()) -> Halves | None:
    """What speaks against the two halves belonging together, `outliers` (rows) not looked at; None where nothing does, or too
    little was read both ways."""
    sweep = sweep.kept(~np.isin(sweep.row, outliers))
    up = np.flatnonzero(sweep.rising)
    down = np.flatnonzero(~np.asarray(sweep.rising, bool))
    if sweep.groups is not None or len(up) < LEAST or len(down) < LEAST:
        return None
    speed, rising, falling, slope = _pairs(sweep, up, down)
    if len(speed) < LEAST:
        return None
    single = 2.0 * (sweep.reading**2 + (slope * sweep.speed_reading) ** 2) / 3.0
    apart = falling - rising
    top = float(sweep.advance[up].max()) - PLATEAU
    # From the last reading below the top on.
    below = np.flatnonzero(rising <= top)
    on_stop = np.arange(len(rising)) > (below[-1] if len(below) else -1)
    begun = rising > float(sweep.advance[up].min()) + PLATEAU
    climbing = begun & ~on_stop
    for where, least, sign in ((on_stop, LEAST, 0), (climbing, LEAST_CLIMBING, -1)):
        if where.sum() < least:
            continue
        mean, count = float(apart[where].mean()), int(where.sum())
        # As read, or as the pairs scatter where that is more: of few pairs all of them tell it.
        scattered = _scatter(apart[where] if count >= MANY else apart)
        by = float(np.sqrt(np.maximum(single[where], scattered**2).sum())) / count
        off = abs(mean) if sign == 0 else -mean
        if off > SURE * by and off > APART:
            told = Uncertain(mean, by)
            return Halves("check first", told, float(speed[where].min()), float(speed[where].max()), sign == 0)
    return None


def _scatter(apart: Array) -> float:
    """How the differences (n,) [rad] scatter about their middle, by the median, which a wild one does not move."""
    return float(np.median(np.abs(apart - np.median(apart)))) / NORMAL_MEDIAN


def _pairs(sweep: Sweep, up: np.ndarray, down: np.ndarray) -> tuple[Array, Array, Array, Array]:
    """Speeds [rad/s] read both ways, in order, the rising and falling advance [rad] there, and the slope of the rising curve
    [rad per rad/s]; of several readings at one speed their mean."""
    speeds = np.unique(np.round(sweep.speed[up], 3))
    mean = np.array([_at(sweep, up, s) for s in speeds])
    slope = np.abs(np.gradient(mean, speeds)) if len(speeds) > 1 else np.zeros(len(speeds))
    other = np.array([_at(sweep, down, s) for s in speeds])
    both = np.isfinite(other)
    return speeds[both], mean[both], other[both], slope[both]


def _at(sweep: Sweep, rows: np.ndarray, speed: float) -> float:
    near = rows[np.abs(sweep.speed[rows] - speed) <= SAME_SPEED * speed]
    return float(sweep.advance[near].mean()) if len(near) else float("nan")
