"""Findings of the curve: what is wrong with springs, stop and friction, and what that does to the engine.

Functions decide by probabilities over the ensemble of states; the classes hold the numbers and put them into words.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from recurve.fit.state import SURE, Evidence
from recurve.inspection.findings import Cause, Finding, Words
from recurve.job.model import Job
from recurve.physics.target import Band
from recurve.planner.ideal import Ideal
from recurve.uncertainty import Sampled, Uncertain
from recurve.units import RPM

STAYS_IN = np.radians(0.5)  # most advance at idle where the target does not say; common practice, no source
SLUGGISH = np.radians(1.0)  # most distance between rising and falling; common practice, no source
LATE = np.radians(1.0)  # a second spring that takes up this much later than the target wants: its hook or post is worn
SLACK = np.radians(0.2)  # a primary that takes up later than this hangs slack


def curve_findings(evidence: Evidence, ideal: Ideal | None) -> list[Finding]:
    """All findings of the curve, in no order. Without a target only those that need no book figures."""
    if seized(evidence):
        return [_no_advance(evidence)]
    found = [_stays_in(evidence), _sluggish(evidence), _never_takes_up(evidence)]
    if evidence.job.target is not None:
        found += [_early(evidence, ideal), _late_takeup(evidence, ideal), _too_little(evidence), _stop(evidence)]
    return [f for f in found if f is not None]


# --- no advance ---------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class NoAdvance(Finding):
    """All `readings` lie from advance `low` to `high` [rad], at speeds from `slowest` to `fastest` [rad/s]."""

    readings: int
    slowest: float
    fastest: float
    low: float
    high: float
    cause = Cause.FRICTION

    def words(self) -> Words:
        """The finding in words."""
        return Words(
            "no advance: the weights or the cam bind",
            f"all {self.readings} readings, {self.slowest * RPM:.0f} to {self.fastest * RPM:.0f} rpm, lie from "
            f"{np.degrees(self.low):.1f}° to {np.degrees(self.high):.1f}° (distributor)",
            "the engine is flat and hot at speed: its timing stays where it was set",
            "strip, clean and oil the cam spindle, free the weights on their pins; sweep again before judging springs",
        )


def seized(evidence: Evidence) -> bool:
    """Whether the readings show next to no advance."""
    sweep = evidence.job.sweep
    if sweep is None or len(sweep.advance) < 3:
        return False
    return bool(np.ptp(sweep.advance) < max(np.radians(1.0), 2 * sweep.reading))


def _no_advance(evidence: Evidence) -> NoAdvance:
    sweep = evidence.job.sweep
    assert sweep is not None  # `seized` has looked at it
    ends = (sweep.speed.min(), sweep.speed.max(), sweep.advance.min(), sweep.advance.max())
    return NoAdvance("repair first", len(sweep.advance), *(float(x) for x in ends))


# --- the return to zero -------------------------------------------------------------------------------------


@dataclass(frozen=True)
class StaysIn(Finding):
    """Advance that stays in at the `idle` speed [rad/s]: the `residual` [rad], the most that may stay in (`limit` [rad]),
    and the advance [rad] up to which the primary hangs `slack`, None if it does not."""

    residual: Uncertain
    limit: float
    idle: float
    slack: Uncertain | None
    cause = Cause.PRIMARY

    def words(self) -> Words:
        """The finding in words."""
        return Words(
            "does not come back to zero",
            f"{_residual_words(self.residual, self.limit, self.idle)}{_slack_words(self.slack)}",
            "set by light at idle, the engine ends up short of its total; set at the top, idle is far advanced and hunts",
            "a slack primary and a spindle that binds both leave the cam where it is put. To tell them apart, unhook both "
            "springs and turn the cam by hand: if it drags or sticks, the spindle binds: clean and oil it first. If it turns "
            "freely, the primary is slack or stretched, or its post bent in: reset the post or replace the spring",
        )


@dataclass(frozen=True)
class MayStayIn(Finding):
    """As `StaysIn`, but with a `chance` [1] that leaves it open; `zeroed_at` [rad/s] is where the zero was taken, None if
    the weights were held home."""

    residual: Uncertain
    limit: float
    idle: float
    chance: float
    zeroed_at: float | None
    cause = Cause.PRIMARY

    def words(self) -> Words:
        """The finding in words."""
        hidden = (
            ""
            if self.zeroed_at is None
            else f"; zero was taken at {self.zeroed_at * RPM:.0f} rpm, where some may have been in already"
        )
        return Words(
            "cannot tell whether it comes back to zero",
            f"{_residual_words(self.residual, self.limit, self.idle)}: probability {self.chance:.0%}{hidden}",
            "advance that stays in at idle is added to whatever the timing light is set to",
            "take zero with the weights held home by hand, then read again at idle, coming down",
        )


def _residual_words(residual: Uncertain, limit: float, idle: float) -> str:
    at = f"{idle * RPM:.0f} rpm"
    return f"{residual.degrees()} stays in at {at} where {np.degrees(limit):.1f}° is the most (distributor)"


def _slack_words(slack: Uncertain | None) -> str:
    return "" if slack is None else f"; the primary hangs slack up to {slack.degrees()} of advance"


def _slack(e: Evidence) -> Uncertain | None:
    """The advance [rad] up to which the primary hangs slack; None unless it surely does."""
    takeup = e.takeup(0)
    return takeup.summary if takeup.above(SLACK) > SURE else None


def _stays_in(e: Evidence) -> Finding | None:
    target, sweep = e.job.target, e.job.sweep
    idle = None if target is None else next((b for b in target.bands if b.kind == "idle"), None)
    limit = STAYS_IN if idle is None else max(idle.high, STAYS_IN)
    chance = e.residual.above(limit)
    if chance <= 1 - SURE:
        return None
    if chance < SURE:
        zeroed_at = None if sweep is None else sweep.zeroed_at
        return MayStayIn("open question", e.residual.summary, limit, e.idle, chance, zeroed_at)
    return StaysIn("high", e.residual.summary, limit, e.idle, _slack(e))


# --- friction -----------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class Sluggish(Finding):
    """Rising and falling lie too far `apart` [rad], by the fitted `friction` [N·m]."""

    apart: Uncertain
    friction: Uncertain
    cause = Cause.FRICTION

    def words(self) -> Words:
        """The finding in words."""
        friction, by = self.friction.value, self.friction.standard_uncertainty or 0.0
        return Words(
            "sluggish: rising and falling lie apart",
            f"{self.apart.degrees()} between the two (distributor), {np.degrees(SLUGGISH):.0f}° is the most; friction "
            f"{1e3 * friction:.1f} ± {2e3 * by:.1f} mN·m, which the rubbing block's drag cannot cause, since that does not "
            "change sign",
            "timing depends on whether the engine was speeding up or slowing down",
            "dry or rusty cam spindle, dirt, worn pins: clean and oil before any spring is judged",
        )


def _sluggish(e: Evidence) -> Finding | None:
    if e.apart.above(SLUGGISH) < SURE:
        return None
    return Sluggish("repair first", e.apart.summary, e.value("friction").summary)


# --- springs ------------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class OutOfBand:
    """A point band that the curve misses: its `speed` [rad/s], the band's edge `limit` [rad], and the `advance` [rad]."""

    speed: float
    limit: float
    advance: Uncertain

    def words(self, edge: str) -> str:
        """In words, the `edge` being "most" or "least"."""
        at = f"{self.speed * RPM:.0f} rpm"
        return f"{self.advance.degrees()} at {at} where {np.degrees(self.limit):.1f}° is the {edge}"


@dataclass(frozen=True)
class NeverTakesUp(Finding):
    """The second spring does not take up before the `stop` [rad], with a probability `chance` [1]."""

    stop: Uncertain
    chance: float
    cause = Cause.SECONDARY

    def words(self) -> Words:
        """The finding in words."""
        return Words(
            "the second spring never takes up",
            f"it would begin past the stop of {self.stop.degrees()} (distributor); probability {self.chance:.0%}",
            "all of the advance is in far too soon: knock under load at middling speed",
            "look for a missing or opened hook, a bent or worn post, or a wrong spring; set the post or replace the spring",
        )


def _never_takes_up(e: Evidence) -> Finding | None:
    if len(e.job.places) < 2 or e.never(1) < SURE:
        return None
    return NeverTakesUp("high" if e.job.target is not None else "medium", e.stop.summary, e.never(1))


@dataclass(frozen=True)
class EarlyOnset(Finding):
    """Too much advance below the knee of the target's curve: the bands missed, the speed of `onset` [rad/s], and the
    advance [rad] up to which the primary hangs `slack`, None if it is weak rather than slack."""

    missed: tuple[OutOfBand, ...]
    onset: Uncertain
    slack: Uncertain | None
    cause = Cause.PRIMARY

    def words(self) -> Words:
        """The finding in words."""
        told = "; ".join(m.words("most") for m in self.missed)
        return Words(
            "early onset: weak primary" if self.slack is None else "early onset: slack primary",
            f"{told} (distributor); onset {self.onset.rpm()}{_slack_words(self.slack)}",
            "too much advance too early: pinking as it pulls away, hunting at idle",
            "first see that the cam turns freely by hand with both springs unhooked; then replace the primary, or reset its post",
        )


def _early(e: Evidence, ideal: Ideal | None) -> Finding | None:
    missed = _above(e, False, _knee(e, ideal))
    return EarlyOnset("high", missed, e.onset.summary, _slack(e)) if missed else None


@dataclass(frozen=True)
class LateTakeUp(Finding):
    """Too much advance past the knee of the target's curve: the bands missed, the `takeup` [rad] of the second spring, and
    the take-up `wanted` [rad] if it is surely later than that, None if the spring is weak rather than late."""

    missed: tuple[OutOfBand, ...]
    takeup: Uncertain
    wanted: float | None
    cause = Cause.SECONDARY

    def words(self) -> Words:
        """The finding in words."""
        told = "; ".join(m.words("most") for m in self.missed)
        wanted = "" if self.wanted is None else f", the target wants about {np.degrees(self.wanted):.1f}°"
        return Words(
            "too much past the knee: weak second spring"
            if self.wanted is None
            else "take-up late: hook or post of the second spring worn",
            f"{told} (distributor); the second spring takes up at {self.takeup.degrees()}{wanted}",
            "too much advance in the middle of the range: knock under load, the more the harder it pulls",
            "close the hook or bend the post out; a worn hook or groove wants a new spring or post",
        )


def _late_takeup(e: Evidence, ideal: Ideal | None) -> Finding | None:
    if len(e.job.places) < 2 or e.never(1) >= SURE:
        return None
    knee = _knee(e, ideal)
    missed = _above(e, True, knee)
    if not missed:
        return None
    late = e.takeup(1).above(knee + LATE) > SURE
    return LateTakeUp("high", missed, e.takeup(1).summary, knee if late else None)


@dataclass(frozen=True)
class TooLittleAdvance(Finding):
    """The bands that the curve stays below."""

    missed: tuple[OutOfBand, ...]
    cause = Cause.SPRINGS

    def words(self) -> Words:
        """The finding in words."""
        return Words(
            "too little advance: springs too strong, or something binds",
            f"{'; '.join(m.words('least') for m in self.missed)} (distributor)",
            "flat, hot and thirsty: the engine runs retarded at these speeds",
            "free the weights and the cam spindle first; then weaker springs or posts bent in",
        )


def _too_little(e: Evidence) -> Finding | None:
    missed = tuple(
        OutOfBand(band.speed or 0.0, band.low, rising.summary)
        for band, rising, _ in _timed(e)
        if not band.from_zero and rising.below(band.low) > SURE
    )
    return TooLittleAdvance("medium", missed) if missed else None


def _timed(e: Evidence) -> list[tuple[Band, Sampled, Sampled]]:
    """The target's point bands, each with the rising and the falling advance [rad] there."""
    target = e.job.target
    bands = [] if target is None else [b for b in target.bands if b.kind == "point"]
    if not bands:
        return []
    speeds = np.array([b.speed for b in bands], float)
    rising, falling = e.rising(speeds), e.falling(speeds)
    return [(b, Sampled(rising[:, i]), Sampled(falling[:, i])) for i, b in enumerate(bands)]


def _above(e: Evidence, past_knee: bool, knee: float) -> tuple[OutOfBand, ...]:
    """Bands that the unit is surely above, below or past the `knee` [rad] of the target's curve."""
    return tuple(
        OutOfBand(band.speed or 0.0, band.high, falling.summary)
        for band, _, falling in _timed(e)
        if falling.above(band.high) > SURE and ((band.low + band.high) / 2 > knee) == past_knee
    )


def _knee(e: Evidence, ideal: Ideal | None) -> float:
    """The take-up [rad] of the second spring that the target's curve asks for; infinite with one spring."""
    if len(e.job.places) < 2:
        return float(np.inf)
    wanted = None if ideal is None or len(ideal.springs) < 2 else ideal.springs[1].takeup
    target = e.job.target
    top = 0.0 if target is None else max(b.high for b in target.bands)
    return 0.45 * top if wanted is None else max(wanted, 0.2 * top)


# --- the stop -----------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class StopTrim:
    """What a trim would have to do to bring the stop into the maximum's band: build it up (`up`) or file it, by `edge` [m]
    to reach the band and by `middle` [m] to reach its middle, where `allowed` [m] may be trimmed. Both lengths are None
    if the job does not tell how the stop turns with its trim."""

    up: bool
    edge: float | None
    middle: float | None
    allowed: float

    def words(self) -> str:
        """In words, whether the trim is allowed."""
        if self.edge is None or self.middle is None:
            return "Whether a trim can save it cannot be told: give the stop's radius, or degrees per mm by a feeler."
        can = "can be saved" if self.edge <= self.allowed + 1e-12 else "cannot be saved"
        return (
            f"It {can} by a trim: {'building up' if self.up else 'filing'} {1e3 * self.edge:.2f} mm reaches the band's edge, "
            f"{1e3 * self.middle:.2f} mm its middle; {1e3 * self.allowed:.2f} mm is allowed."
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
class StopOff(Finding):
    """A stop outside the maximum's band: the `stop` [rad], the band's edge `limit` [rad], whether it is `over` or short of
    it, the `chance` [1] of that, the `ratio` [1] of crank to distributor, and the `trim` that it needs."""

    stop: Uncertain
    limit: float
    over: bool
    chance: float
    ratio: float
    trim: StopTrim | None
    cause = Cause.STOP

    def words(self) -> Words:
        """The finding in words."""
        off = np.degrees(abs(self.stop.value - self.limit))
        told = (
            f"{self.stop.degrees()} where {np.degrees(self.limit):.1f}° is the {'most' if self.over else 'least'}: {off:.1f}° "
            f"too {'much' if self.over else 'little'} at the distributor, {off * self.ratio:.1f}° at the crank"
        )
        if self.severity == "open question":
            return Words(
                f"cannot tell whether the stop is {'worn' if self.over else 'short'}",
                f"{told}; probability {self.chance:.0%}",
                "too much at the top is knock at full load that nobody hears",
                "turn the cam to its stop by hand against a degree wheel, three times, and give the mean with its ±",
            )
        told = told if self.trim is None else f"{told}. {self.trim.words()}"
        if self.over:
            return Words(
                "stop worn, filed or its bush missing", told,
                "too much total advance: knock at full load breaks pistons before it is heard",
                "build the stop up while the unit is stripped, or fit the missing bush",
            )  # fmt: skip
        return Words(
            "stop built up, or something binds before it", told, "short of its total: flat and hot at speed",
            "find what binds; else file the stop",
        )  # fmt: skip


def _stop(e: Evidence) -> Finding | None:
    band = None if e.job.target is None else e.job.target.maximum
    if band is None:
        return None
    above, below = e.stop.above(band.high), e.stop.below(band.low)
    chance, over = max(above, below), above >= below
    if chance <= 1 - SURE:
        return None
    return StopOff(
        "open question" if chance < SURE else "high",
        e.stop.summary,
        band.high if over else band.low,
        over,
        chance,
        e.job.speed_ratio,
        stop_trim(e.job, e.stop.mean),
    )
