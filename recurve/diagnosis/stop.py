"""Findings of the advance stop: whether it is off, and whether a trim can save it."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import ClassVar

import numpy as np

from recurve.fit.state import SURE, Evidence
from recurve.inspection.findings import Cause, Finding, Words
from recurve.job.model import Job
from recurve.uncertainty import Uncertain, chance_words

ELSEWHERE = 3.0  # standard deviations from its type's, beyond which a stop may be that of another type


@dataclass(frozen=True)
class StopTrim:
    """What a trim would have to do to bring the stop into the maximum's band: build it up (`up`) or file it, by `edge` [m]
    to reach the band and by `middle` [m] to reach its middle, where `allowed` [m] may be trimmed. Both lengths are None
    if the job does not tell how the stop turns with its trim."""

    up: bool
    edge: float | None
    middle: float | None
    allowed: float

    @property
    def can(self) -> bool:
        """Whether the trim is allowed, as far as the job tells."""
        return self.edge is not None and self.edge <= self.allowed + 1e-12

    def words(self) -> str:
        """In words, whether the trim is allowed."""
        if self.edge is None or self.middle is None:
            return (
                "Whether a trim can save the stop is not known: give its radius, or the degrees per mm found with "
                "a feeler."
            )
        can = "can be saved" if self.can else "cannot be saved"
        return (
            f"It {can} by a trim. {'Building up' if self.up else 'Filing'} {1e3 * self.edge:.2f} mm reaches the "
            f"band's edge, {1e3 * self.middle:.2f} mm its middle; the job allows {1e3 * self.allowed:.2f} mm."
        )


def stop_trim(job: Job, stop: float | None = None) -> StopTrim | None:
    """The trim that a `stop` [rad] needs, by default the job's; None if it is in the maximum's band, or there is none."""
    band = None if job.target is None else job.target.maximum
    at = job.stop.advance if stop is None else stop
    if band is None or band.low <= at <= band.high:
        return None
    up, per_mm = at > band.high, job.stop.per_mm
    allowed = job.stop.build_up_to if up else job.stop.file_up_to
    if not per_mm:
        return StopTrim(up, None, None, allowed)
    edge = (at - band.high if up else band.low - at) / per_mm
    return StopTrim(up, edge, abs(at - (band.low + band.high) / 2) / per_mm, allowed)


@dataclass(frozen=True)
class StopOfType:
    """Where the units of the job's type, called `title`, stop: their `mean` [rad] and standard `deviation` [rad]."""

    title: str
    mean: float
    deviation: float

    def words(self) -> str:
        """That the unit may be of another type, in words."""
        mean, by = np.degrees(self.mean), np.degrees(2.0 * self.deviation)
        return f'it is not of the type "{self.title}", whose units stop at {mean:.1f} ± {by:.1f}° (distributor)'


def other_stop_than_type(job: Job, stop: Uncertain) -> StopOfType | None:
    """Where the units of the job's type stop, if the `stop` [rad] of this one is plainly elsewhere; else None."""
    one = None if job.kind is None else job.kind.learned.get(("stop", "advance"))
    if job.kind is None or one is None:
        return None
    off = abs(stop.value - one.mean) / np.hypot(one.deviation, stop.standard_uncertainty or 0.0)
    return StopOfType(job.kind.title, one.mean, one.deviation) if off > ELSEWHERE else None


@dataclass(frozen=True)
class StopOff(Finding):
    """A stop outside the maximum's band: the `stop` [rad], the band's edge `limit` [rad], whether it is `over` or short of
    it, the `chance` [1] of that, the `ratio` [1] of crank to distributor, the `trim` that it needs, and where the units of its
    type stop, `of_type`, if that is elsewhere."""

    stop: Uncertain
    limit: float
    over: bool
    chance: float
    ratio: float
    trim: StopTrim | None
    of_type: StopOfType | None = None
    units: ClassVar[dict[str, str]] = {"stop": "deg", "limit": "deg", "chance": "1"}
    cause = Cause.STOP

    def words(self) -> Words:
        """The finding in words."""
        off = np.degrees(abs(self.stop.value - self.limit))
        told = (
            f"{self.stop.degrees()} at the distributor, where the book asks for at "
            f"{'most' if self.over else 'least'} {np.degrees(self.limit):.1f}°: too "
            f"{'much' if self.over else 'little'} by {off:.1f}° (distributor), {off * self.ratio:.1f}° (crank)"
        )
        if self.severity == "open question":
            return Words(
                f"cannot tell whether the stop is {'worn' if self.over else 'short'}",
                f"{told}; probability {chance_words(self.chance)}",
                "too much advance at the top makes the engine knock at full load, where nobody hears it",
                "turn the cam to its stop by hand against a degree wheel, three times, and give the mean and its ±",
            )
        told = told if self.trim is None else f"{told}. {self.trim.words()}"
        if self.over:
            away = "build the stop up while the unit is stripped, or fit the missing bush"
            if self.trim is None:
                away = (
                    "turn the cam to its stop by hand against a degree wheel first. If it goes less far than was read, a "
                    f"vacuum line was connected or the zero was off: sweep again. If not, {away}"
                )
            return Words(
                "stop worn or filed, or its bush missing", told,
                "too much total advance: the engine knocks at full load, and pistons break before you hear it",
                self._remedy(away, "fit the missing bush"),
            )  # fmt: skip
        return Words(
            "stop built up, or something binds before it", told, "the engine is short of its total timing: flat and hot at speed",
            self._remedy("find what binds; if nothing does, file the stop", "find what binds"),
        )  # fmt: skip

    def _remedy(self, trimmed: str, first: str) -> str:
        """What to do, where a trim may help; and what is left where it is known that it cannot, or the unit is another one."""
        trim = self.trim
        if trim is None or trim.edge is None or trim.can:
            told = trimmed
        else:
            told = f"{first}; or fit a sound stop from another unit, since {self._not_enough(trim)}"
        return told if self.of_type is None else f"{told}; or {self.of_type.words()}: see which before you part with it"

    @staticmethod
    def _not_enough(trim: StopTrim) -> str:
        """Why a trim cannot save the stop."""
        if trim.allowed <= 0.0:
            key = "build_up_to" if trim.up else "file_up_to"
            return f"the job does not let this one be {'built up' if trim.up else 'filed'} ({key} in [stop])"
        return f"the {'building up' if trim.up else 'filing'} that the job allows is not enough"


def other_book(findings: Iterable[Finding]) -> tuple[str, ...]:
    """A question in words where stop and springs are off at once: no one fault does that, but another unit's figures do."""
    wrong = {f.cause for f in findings if f.severity in ("high", "medium")}
    if Cause.STOP not in wrong or not wrong & {Cause.PRIMARY, Cause.SECONDARY, Cause.SPRINGS}:
        return ()
    return (
        "stop and springs are off at once: make sure first, by the numbers on the unit, that the book's figures are its own",
    )


def stop_finding(e: Evidence, sure: bool) -> StopOff | None:
    """The stop outside the maximum's band; `sure` if it is so beyond doubt together with all else that is called sure."""
    band = None if e.job.target is None else e.job.target.maximum
    if band is None:
        return None
    above, below = e.stop.above(band.high), e.stop.below(band.low)
    chance, over = max(above, below), above >= below
    if chance <= 1 - SURE:
        return None
    return StopOff(
        "high" if sure else "open question",
        e.stop.summary,
        band.high if over else band.low,
        over,
        chance,
        e.job.speed_ratio,
        stop_trim(e.job, e.stop.mean),
        other_stop_than_type(e.job, e.stop.summary),
    )
