"""What a first look finds by its own: rising and falling apart, springs that pull too little or too much, an offset."""

from __future__ import annotations

from dataclasses import dataclass
from typing import ClassVar

import numpy as np

from recurve.diagnosis.findings import OutOfBand
from recurve.inspection.findings import Cause, Finding, Words
from recurve.uncertainty import Uncertain
from recurve.units import RPM

APART = np.radians(1.0)  # most distance between rising and falling; common practice, no source


@dataclass(frozen=True)
class ApartAsRead(Finding):
    """Rising and falling lie `apart` [rad], at the speed `at` [rad/s] of a band, or over the speeds where the curve climbs."""

    apart: Uncertain
    at: float | None = None
    units: ClassVar[dict[str, str]] = {"apart": "deg", "at": "rpm"}
    cause = Cause.FRICTION

    def words(self) -> Words:
        """The finding in words."""
        where = "where the curve climbs" if self.at is None else f"at {self.at * RPM:.0f} rpm"
        return Words(
            "sluggish: the rising and falling curves lie apart",
            f"{self.apart.degrees()} between the two {where}; the limit is {np.degrees(APART):.0f}° "
            "(distributor). Only friction does this, not springs or drag",
            "at the same speed the timing differs, depending on whether the engine is speeding up or slowing down",
            "look for a dry or rusty cam spindle, dirt and worn pins; clean and oil, then sweep again before you "
            "judge any spring",
        )


@dataclass(frozen=True)
class SpringsOff(Finding):
    """The springs pull too little, or too much, from advance `first` to `last` [rad]: they must pull `least` to `most` times
    as strong [1] as they do; None where they do not pull at all. `missed` are the bands that show it."""

    weak: bool
    part: Cause
    first: float
    last: float
    least: float | None
    most: float | None
    missed: tuple[OutOfBand, ...]

    @property
    def cause(self) -> Cause:
        """The spring, or both, that it points to."""
        return self.part

    def words(self) -> Words:
        """The finding in words."""
        where = f"from {np.degrees(self.first):.0f}° to {np.degrees(self.last):.0f}° of advance (distributor)"
        bands = "; ".join(m.words() for m in self.missed)
        if self.least is None or self.most is None:
            told = "do not pull at all"
        else:
            pulls = sorted((1 / self.least, 1 / self.most))
            told = f"pull {pulls[0]:.1f} to {pulls[1]:.1f} of what the book needs"
        which = {Cause.PRIMARY: "below the knee", Cause.SECONDARY: "above the knee"}.get(
            self.part, "over the whole travel"
        )
        if self.weak:
            return Words(
                f"too much advance {which}: the springs pull too little",
                f"{bands}; {where} springs and drag {told}",
                "the advance comes too early: the engine pinks as it pulls away, or knocks under load",
                "strip the unit; look for a stretched spring, a worn hook or a bent post; weigh the springs, then "
                "run recurve plan",
            )
        return Words(
            f"too little advance {which}: the springs pull too much, or something binds",
            f"{bands}; {where} springs and drag {told}",
            "the timing is retarded at these speeds: the engine is flat, runs hot and burns more fuel",
            "see first that zero was set with the weights held home: set with the shaft turning, it makes every advance too "
            "small. Free the weights and the cam spindle, and sweep again; then fit weaker springs, or bend the posts in",
        )


@dataclass(frozen=True)
class AllOff(Finding):
    """Every reading is off by about the same amount, `by` [rad]: too high, as so many `bands` tell, idle and maximum included; or
    too low, as the readings at idle tell by themselves (`bands` None)."""

    by: Uncertain
    bands: int | None
    units: ClassVar[dict[str, str]] = {"by": "deg"}
    cause = Cause.SLIP

    def words(self) -> Words:
        """The finding in words."""
        if self.bands is None:
            return Words(
                "all readings lie too low by the same amount",
                f"at idle and below they show {self.by.degrees()} (distributor). No weights go in past home; a pointer off "
                "its zero shows this",
                "if so, every advance was larger than it was read, and every result for springs and stop is wrong",
                "hold the weights home by hand and read the pointer. Set zero there and sweep again, or add to every reading "
                "what it lacks",
            )
        return Words(
            "all readings lie too high by the same amount",
            f"{self.by.degrees()} above the book (distributor) in all {self.bands} bands, from idle to the top. "
            "Springs and stop together hardly do that; a pointer off its zero does, and so does static timing left "
            "in the readings",
            "if so, every result for springs and stop is wrong",
            "hold the weights home by hand and read the pointer. If it shows this much, set zero and sweep again, "
            "or give it as static in [sweep] for readings in crank degrees. If it shows 0, springs and stop are "
            "both at fault",
        )
