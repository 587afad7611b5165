"""A sweep whose readings are all alike: weights that bind, an advance that is all in, or one that has not begun.

Which it is follows from where it was read. It binds where the book climbs and the unit does not; at the top of the book's curve,
or below its onset, a sound unit is flat too.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import ClassVar, Literal

import numpy as np

from recurve.inspection.findings import Cause, Finding, Words
from recurve.inspection.timing_curves import book_curve
from recurve.physics.sweep import Sweep
from recurve.physics.target import Target
from recurve.units import RPM

BARELY = np.radians(1.0)  # less advance than this is none, and more than this is some
FEWEST = 3
# Without a book: a unit without advance at this speed has none. Onset is at 500 rpm at the latest (common practice, no source).
BEGUN = 750.0 / RPM
STRIP = (
    "strip the unit, clean and oil the cam spindle, and free the weights on their pins; "
    "sweep again before you judge any spring"
)
Flat = Literal["binds", "all in", "not begun"]


def flat_kind(sweep: Sweep | None, target: Target | None) -> Flat | None:
    """What a sweep without a change in its advance shows; None where the advance changes, or there are too few readings."""
    if sweep is None or len(sweep.advance) < FEWEST:
        return None
    if np.ptp(sweep.advance) >= max(BARELY, 2 * sweep.reading):
        return None
    level = float(np.mean(sweep.advance))
    slowest, fastest = float(sweep.speed.min()), float(sweep.speed.max())
    some = level > BARELY
    book = book_curve(target)
    if book is None:
        if some:
            return "all in"
        return "binds" if fastest >= BEGUN else "not begun"
    at_slowest, at_fastest = (float(book.rising_advance(s)) for s in (slowest, fastest))
    if not some:
        return "binds" if at_fastest >= max(level + BARELY, book.stop / 2) else "not begun"
    return "binds" if at_slowest + BARELY < level < at_fastest - BARELY else "all in"


@dataclass(frozen=True)
class AllAlike(Finding):
    """All `readings` lie from advance `low` to `high` [rad], at speeds from `slowest` to `fastest` [rad/s]."""

    readings: int
    slowest: float
    fastest: float
    low: float
    high: float
    units: ClassVar[dict[str, str]] = {"readings": "1", "slowest": "rpm", "fastest": "rpm", "low": "deg", "high": "deg"}

    def _read(self) -> str:
        return (
            f"from {self.slowest * RPM:.0f} to {self.fastest * RPM:.0f} rpm all {self.readings} readings lie "
            f"between {np.degrees(self.low):.1f}° and {np.degrees(self.high):.1f}° (distributor)"
        )


@dataclass(frozen=True)
class NoAdvance(AllAlike):
    """The advance does not move where it should. `by_springs`: springs that are far too strong, or exchanged, may hold it as
    well as something that binds."""

    by_springs: bool = True
    cause = Cause.FRICTION

    def words(self) -> Words:
        """The finding in words."""
        if self.low > BARELY:  # stuck there, which no spring does
            return Words(
                "the advance does not move: the weights or the cam bind",
                self._read(),
                "the timing does not change with speed: it is too early at idle, and the engine is flat and hot at speed",
                STRIP,
            )
        later = "the timing stays where it was set, so the engine is flat and hot at speed"
        if not self.by_springs:
            return Words("no advance: the weights or the cam bind", self._read(), later, STRIP)
        return Words(
            "no advance: the weights or the cam bind, or the springs are far too strong or exchanged",
            self._read(),
            later,
            "look at the springs first: which hangs on which posts, and are they this unit's? Then unhook them, turn the cam and "
            "swing the weights by hand. If they go freely, hang the right springs and sweep again. If they bind, strip the unit, "
            "clean and oil the cam spindle, and free the weights on their pins",
        )


@dataclass(frozen=True)
class OnlyAllIn(AllAlike):
    """The readings show the top of the curve alone."""

    cause = Cause.READINGS

    def words(self) -> Words:
        """The finding in words."""
        return Words(
            "the sweep shows only the top of the curve, with all the advance in",
            f"{self._read()}. All the advance is in there; nothing shows that the weights bind",
            "where the advance begins, how it climbs and whether it comes back is not known",
            "sweep the unit from idle to the top speed and back down to idle",
        )


@dataclass(frozen=True)
class NotBegun(AllAlike):
    """The readings end before the advance begins."""

    cause = Cause.READINGS

    def words(self) -> Words:
        """The finding in words."""
        return Words(
            "the sweep ends before the advance begins",
            self._read(),
            "whether the unit advances at all is not known",
            "sweep up to the speed where the book has all the advance in, and back down; never go past the speed "
            "the work needs",
        )


def flat_finding(sweep: Sweep, target: Target | None) -> Finding | None:
    """The finding of a sweep whose readings are all alike; None where they are not."""
    kind = flat_kind(sweep, target)
    if kind is None:
        return None
    n, speed, advance = len(sweep.advance), sweep.speed, sweep.advance
    ends = (float(speed.min()), float(speed.max()), float(advance.min()), float(advance.max()))
    if kind == "binds":
        return NoAdvance("repair first", n, *ends)
    return OnlyAllIn("open question", n, *ends) if kind == "all in" else NotBegun("open question", n, *ends)
