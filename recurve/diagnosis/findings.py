"""Findings of the curve: what is wrong with springs, stop and friction, and what that does to the engine.

Functions decide by probabilities over the ensemble of states; the classes hold the numbers and put them into words. What is
called sure holds for everything that is called so together, over all bands. A spring is found wrong only by what is left
when stop and friction are put right (`causes`).
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import ClassVar

import numpy as np

from recurve.arrays import Mask
from recurve.diagnosis.causes import MENDED, SLUGGISH, SPRUNG, Blame, knee, repaired
from recurve.diagnosis.exchanged import springs_may_hold
from recurve.diagnosis.flat import NoAdvance, flat_finding
from recurve.diagnosis.stop import stop_finding
from recurve.fit.state import SURE, Evidence
from recurve.inspection.findings import Cause, Finding, Severity, Words
from recurve.physics.target import Band
from recurve.planner.ideal import Ideal
from recurve.uncertainty import Sampled, Uncertain, chance_words
from recurve.units import RPM

STAYS_IN = np.radians(0.5)  # most advance at idle where the target does not say; common practice, no source
LATE = np.radians(1.0)  # a second spring that takes up this much later than the target wants: its hook or post is worn
ONE_OUT = 0.8  # likeliest band missed, in probability, from which a unit that surely misses some band is called so
SLACK = np.radians(0.2)  # a primary that takes up later than this hangs slack


def curve_findings(evidence: Evidence, ideal: Ideal | None, blamed: Blame | None) -> list[Finding]:
    """All findings of the curve, in no order; `blamed` are the parts that keep it out of its bands, None without bands, or
    where it is in them. Without a target only findings that need no book figures."""
    sweep = evidence.job.sweep
    flat = None if sweep is None else flat_finding(sweep, evidence.job.target)
    if sweep is not None and isinstance(flat, NoAdvance):
        return [replace(flat, by_springs=springs_may_hold(evidence.job, sweep))]
    sure = _surely(evidence)
    causes = () if blamed is None else blamed.causes
    found = [_stays_in(evidence, sure, blamed), _sluggish(evidence, blamed), _never_takes_up(evidence)]
    if evidence.job.target is not None:
        found += [stop_finding(evidence, bool({"above stop", "below stop"} & sure))]
        if blamed is not None and blamed.open_friction:
            missed = tuple(m for m, _ in _missed(evidence, evidence))
            springs: list[Finding] = [Unsettled("high", missed, True)] if missed else []
        else:
            left = repaired(evidence, tuple(c for c in causes if c in MENDED))
            springs = _spring_findings(left, evidence, ideal, blamed)
        found += springs if one_is_out(evidence) else [replace(f, severity="open question") for f in springs]
    return [f for f in found if f is not None]


def one_is_out(evidence: Evidence) -> bool:
    """Whether one band alone is clearly missed. Where few readings leave all open, a unit misses some band in nearly every state,
    though each band alone is missed in hardly more than half of them: that is said by the priors, not by the readings."""
    events = _events(evidence)
    return bool(events) and max(float(e.mean()) for e in events.values()) >= ONE_OUT


def sure_together(events: dict[str, Mask]) -> frozenset[str]:
    """Those of the named events (n,) [bool], each over the same equally likely states, that are sure all together: the
    likeliest first, as long as the states in which all of them happen are SURE of all."""
    kept: list[str] = []
    for name in sorted(events, key=lambda n: -float(events[n].mean())):
        if float(np.logical_and.reduce([events[n] for n in (*kept, name)]).mean()) < SURE:
            break
        kept.append(name)
    return frozenset(kept)


def _surely(e: Evidence) -> frozenset[str]:
    """What is surely wrong with the curve, by the names of `_events`."""
    return sure_together(_events(e))


def _events(e: Evidence) -> dict[str, Mask]:
    """What may be wrong with the curve, (n,) [bool] each: "idle", "above stop", "below stop", and points as "above 3"."""
    events = {"idle": e.residual.sample > _idle_limit(e)}
    band = None if e.job.target is None else e.job.target.maximum
    if band is not None:
        events |= {"above stop": e.stop.sample > band.high, "below stop": e.stop.sample < band.low}
    return events | _point_events(e)


def _point_events(e: Evidence) -> dict[str, Mask]:
    """Point bands that are missed, by "above" or "below" and the band's number, (n,) [bool]."""
    events = {}
    for i, (band, rising, falling) in enumerate(_timed(e)):
        events[f"above {i}"] = falling.sample > band.high
        if not band.from_zero:
            events[f"below {i}"] = rising.sample < band.low
    return events


# --- the return to zero -------------------------------------------------------------------------------------


@dataclass(frozen=True)
class StaysIn(Finding):
    """Advance that stays in at the `idle` speed [rad/s]: the `residual` [rad], the most that may stay in (`limit` [rad]),
    the advance [rad] up to which the primary hangs `slack`, None if it does not, and whether the sweep shows that it
    `binds`."""

    residual: Uncertain
    limit: float
    idle: float
    slack: Uncertain | None
    binds: bool

    units: ClassVar[dict[str, str]] = {"residual": "deg", "limit": "deg", "idle": "rpm", "slack": "deg"}

    @property
    def cause(self) -> Cause:
        """Friction where the sweep shows it, else the primary."""
        return Cause.FRICTION if self.binds else Cause.PRIMARY

    def words(self) -> Words:
        """The finding in words."""
        return Words(
            "does not come back to zero",
            f"{_residual_words(self.residual, self.limit, self.idle)}{_slack_words(self.slack)}",
            "timed at idle, the engine ends up short of its total; timed at the top, it idles far advanced and hunts",
            "if zero was set with the weights held home, first hold them home again and read the pointer: if it shows as "
            "much, set zero and sweep again. If not, either the primary is slack or the cam spindle binds. Unhook "
            "both springs and turn the cam by hand. "
            "If it drags or sticks, the spindle binds: clean and oil it first. If it turns freely, the primary is "
            "slack or stretched, or its post is bent in: reset the post or replace the spring",
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
    units: ClassVar[dict[str, str]] = {"residual": "deg", "limit": "deg", "idle": "rpm", "chance": "1"}
    cause = Cause.PRIMARY

    def words(self) -> Words:
        """The finding in words."""
        hidden = (
            ""
            if self.zeroed_at is None
            else (
                f"; zero was set at {self.zeroed_at * RPM:.0f} rpm (distributor), where some advance may already "
                "have been in"
            )
        )
        return Words(
            "cannot tell whether it comes back to zero",
            f"{_residual_words(self.residual, self.limit, self.idle)}: probability {chance_words(self.chance)}{hidden}",
            "advance that stays in at idle upsets any timing set at idle",
            "set zero with the weights held home by hand, then read the advance again at idle, speed falling",
        )


def _residual_words(residual: Uncertain, limit: float, idle: float) -> str:
    at = f"{idle * RPM:.0f} rpm"
    return f"{residual.degrees()} stays in at {at}; the limit is {np.degrees(limit):.1f}° (distributor)"


def _slack_words(slack: Uncertain | None) -> str:
    return "" if slack is None else f"; the primary hangs slack until {slack.degrees()} of advance"


def _slack(e: Evidence) -> Uncertain | None:
    """The advance [rad] up to which the primary hangs slack; None unless it surely does."""
    takeup = e.takeup(0)
    return takeup.summary if takeup.above(SLACK) > SURE else None


def _idle_limit(e: Evidence) -> float:
    """The most advance [rad] that may stay in at idle."""
    target = e.job.target
    idle = None if target is None else next((b for b in target.bands if b.kind == "idle"), None)
    return float(STAYS_IN if idle is None else max(idle.high, STAYS_IN))


def _stays_in(e: Evidence, sure: frozenset[str], blamed: Blame | None) -> Finding | None:
    limit, sweep = _idle_limit(e), e.job.sweep
    chance = e.residual.above(limit)
    if chance <= 1 - SURE:
        return None
    if "idle" not in sure:
        zeroed_at = None if sweep is None else sweep.zeroed_at
        return MayStayIn("open question", e.residual.summary, limit, e.idle, chance, zeroed_at)
    slack = _slack(e)
    binds = blamed is not None and (blamed.open_friction or blamed.surely(Cause.FRICTION))
    return StaysIn("high", e.residual.summary, limit, e.idle, slack, slack is None and binds)


# --- friction -----------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class Sluggish(Finding):
    """Rising and falling lie `apart` [rad], by the fitted `friction` [N·m]: most of all at the `speed` [rad/s]. `chance` [1]
    that it is more than SLUGGISH; `needed` [1], the probability that the bands cannot be met until it is mended, None where
    they are met or there are none."""

    apart: Uncertain
    friction: Uncertain
    speed: float
    chance: float
    needed: float | None
    units: ClassVar[dict[str, str]] = {"apart": "deg", "friction": "mN*m", "speed": "rpm", "chance": "1", "needed": "1"}
    cause = Cause.FRICTION

    def words(self) -> Words:
        """The finding in words."""
        friction, by = self.friction.value, self.friction.standard_uncertainty or 0.0
        told = (
            f"{self.apart.degrees()} between the two at {self.speed * RPM:.0f} rpm; the limit is "
            f"{np.degrees(SLUGGISH):.0f}° (distributor). Friction is {1e3 * friction:.1f} ± {2e3 * by:.1f} mN·m. "
            "The rubbing block is not the cause: its drag is the same with speed rising and falling"
        )
        if self.severity == "repair first" and self.needed is not None:
            told += f". With this friction no springs can meet the bands (probability {chance_words(self.needed)})"
        if self.severity == "open question":
            return Words(
                "may be sluggish: the rising and falling curves may lie apart",
                f"{told}: probability {chance_words(self.chance)}",
                "friction may be mistaken for a faulty spring",
                "unhook the springs, turn the cam and swing the weights by hand: both must move freely. "
                "Clean and oil them, then read the climbing part of the curve again, speed rising and "
                "falling",
            )
        return Words(
            "sluggish: the rising and falling curves lie apart",
            told,
            "at the same speed the timing differs, depending on whether the engine is speeding up or slowing down",
            "look for a dry or rusty cam spindle, dirt and worn pins; clean and oil before you judge any spring",
        )


def _sluggish(e: Evidence, blamed: Blame | None) -> Finding | None:
    chance = e.apart.above(SLUGGISH)
    needed = None if blamed is None else blamed.needed.get(Cause.FRICTION, 0.0)
    named = blamed is not None and Cause.FRICTION in blamed.causes

    def told(severity: Severity) -> Sluggish:
        return Sluggish(severity, e.apart.summary, e.value("friction").summary, e.apart_at, chance, needed)

    if blamed is not None and named:
        return told("repair first" if blamed.surely(Cause.FRICTION) else "open question")
    if chance < SURE:
        return None
    # Where the bands can be met with the friction as it is, it is worth a word, but bars nothing.
    return told("medium" if blamed is not None or _in_bands(e) else "repair first")


def _in_bands(e: Evidence) -> bool:
    """Whether there are bands and the unit meets them, since no part is blamed."""
    return e.job.target is not None and bool(e.job.target.timed)


# --- springs ------------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class OutOfBand:
    """A point band that the curve misses: its `speed` [rad/s], the band's edge `limit` [rad], whether the curve is `over` it,
    the `advance` [rad], and the `chance` [1] of it."""

    speed: float
    limit: float
    over: bool
    advance: Uncertain
    chance: float

    def words(self) -> str:
        """In words."""
        edge = f"{'most' if self.over else 'least'} {np.degrees(self.limit):.1f}°"
        told = f"{self.advance.degrees()} at {self.speed * RPM:.0f} rpm, by the book at {edge}"
        return told if self.chance >= SURE else f"{told} (probability {chance_words(self.chance)})"


@dataclass(frozen=True)
class NeverTakesUp(Finding):
    """The second spring does not take up before the `stop` [rad], with a probability `chance` [1]; `early`: the advance is
    in too soon for it."""

    stop: Uncertain
    chance: float
    early: bool
    units: ClassVar[dict[str, str]] = {"stop": "deg", "chance": "1"}
    cause = Cause.SECONDARY

    def words(self) -> Words:
        """The finding in words."""
        return Words(
            "the secondary never takes up",
            f"with a probability of {chance_words(self.chance)} it would only begin to pull beyond the stop, at "
            f"{self.stop.degrees()} (distributor)",
            "all the advance is in far too soon: the engine knocks under load at medium speed"
            if self.early
            else "one spring makes the whole curve, so that its upper part cannot be set by itself",
            "look for a missing or opened hook, a bent or worn post, or the wrong spring; reset the post or "
            "replace the spring",
        )


def _never_takes_up(e: Evidence) -> Finding | None:
    if len(e.job.places) < 2 or e.never(1) < SURE:
        return None
    target = e.job.target
    above = (
        [] if target is None else [e.rising(np.array([b.speed]))[:, 0] > b.high for b in target.timed if b.high > 0.0]
    )
    early = bool(above) and float(np.logical_or.reduce(above).mean()) > 0.5
    return NeverTakesUp("high" if early else "medium", e.stop.summary, e.never(1), early)


@dataclass(frozen=True)
class EarlyOnset(Finding):
    """Too much advance by the primary: the bands missed, whether one of them lies `below_knee` of the target's curve, the
    speed of `onset` [rad/s], and the advance [rad] up to which the primary hangs `slack`, None if it is weak rather than
    slack."""

    missed: tuple[OutOfBand, ...]
    below_knee: bool
    onset: Uncertain
    slack: Uncertain | None
    units: ClassVar[dict[str, str]] = {"onset": "rpm", "slack": "deg"}
    cause = Cause.PRIMARY

    def words(self) -> Words:
        """The finding in words."""
        told = "; ".join(m.words() for m in self.missed)
        what = "early onset" if self.below_knee else "too much advance"
        return Words(
            f"{what}: {'weak' if self.slack is None else 'slack'} primary",
            f"{told} (distributor); onset {self.onset.rpm()}{_slack_words(self.slack)}",
            "the advance comes too early: the engine pinks as it pulls away, and hunts at idle"
            if self.below_knee
            else "too much advance for the speed: the engine knocks under load",
            "unhook both springs and check that the cam turns freely by hand; then replace the primary, or reset "
            "its post",
        )


@dataclass(frozen=True)
class LateTakeUp(Finding):
    """Too much advance by the secondary: the bands missed, its `takeup` [rad], and the take-up `wanted` [rad] if it is
    surely later than that, None if the spring is weak rather than late."""

    missed: tuple[OutOfBand, ...]
    takeup: Uncertain
    wanted: float | None
    units: ClassVar[dict[str, str]] = {"takeup": "deg", "wanted": "deg"}
    cause = Cause.SECONDARY

    def words(self) -> Words:
        """The finding in words."""
        told = "; ".join(m.words() for m in self.missed)
        wanted = "" if self.wanted is None else f"; the target asks for about {np.degrees(self.wanted):.1f}°"
        return Words(
            "too much advance past the knee: weak secondary"
            if self.wanted is None
            else "take-up late: the secondary's hook or post is worn",
            f"{told} (distributor); the secondary takes up at {self.takeup.degrees()}{wanted}",
            "too much advance in the middle of the speed range: the engine knocks under load",
            "close the hook, or bend the post out; replace a spring with a worn hook, or a post with a worn groove",
        )


@dataclass(frozen=True)
class Unsettled(Finding):
    """Out of the bands `missed` by one of the two springs, or by a spring or `friction`: the readings do not tell which.
    `measured`: both springs were, which does not tell what they should be. `both`: neither alone would do, by what is known of
    the other."""

    missed: tuple[OutOfBand, ...]
    friction: bool
    measured: bool = False
    both: bool = False
    cause = Cause.SPRINGS

    def words(self) -> Words:
        """The finding in words."""
        told = f"{'; '.join(m.words() for m in self.missed)} (distributor); "
        if self.friction:
            return Words(
                "out of its bands, and the readings cannot show whether friction or a spring is to blame",
                f"{told}either friction or a wrong spring would explain it",
                "you might buy springs where cleaning and oil would do",
                "unhook the springs, turn the cam and swing the weights by hand; clean and oil them, then sweep "
                "the unit again, speed rising and falling",
            )
        return Words(
            "too much advance: a spring is weak or late, or both are"
            if self.both
            else "too much advance: one of the springs is weak or late",
            f"{told}both springs put right would bring it back; the readings do not show which of them is worn"
            if self.both
            else f"{told}either the primary or the secondary would explain it",
            "too much advance for the speed: the engine knocks under load",
            "hold both springs against those of a sound unit, if you have one; recurve plan finds what brings the curve back, "
            "whichever it is"
            if self.measured
            else "take both springs off and weigh them, or turn the cam by hand to where each begins to pull; then run "
            "recurve plan",
        )


@dataclass(frozen=True)
class TooLittleAdvance(Finding):
    """The bands that the curve stays below, and the springs `by` which it does."""

    missed: tuple[OutOfBand, ...]
    by: tuple[Cause, ...]

    @property
    def cause(self) -> Cause:
        """The spring, or both."""
        return self.by[0] if len(self.by) == 1 else Cause.SPRINGS

    def words(self) -> Words:
        """The finding in words."""
        which = {
            Cause.PRIMARY: "the primary is too strong",
            Cause.SECONDARY: "the secondary is too strong or too early",
        }
        return Words(
            f"too little advance: {which.get(self.cause, 'springs too strong')}, or something binds",
            f"{'; '.join(m.words() for m in self.missed)} (distributor)",
            "the timing is retarded at these speeds: the engine is flat, runs hot and burns more fuel",
            "free the weights and the cam spindle first; then fit weaker springs, or bend the posts in",
        )


def _spring_findings(e: Evidence, seen: Evidence, ideal: Ideal | None, blamed: Blame | None) -> list[Finding]:
    """What the `blamed` springs do to the curve of `e`, with stop and friction put right; told as it was `seen`."""
    springs = () if blamed is None else tuple(c for c in blamed.causes if c in SPRUNG)
    if blamed is None or not springs:
        return []
    either = blamed.either
    at_knee = knee(e, ideal)
    missed = _missed(e, seen)
    over, under = [m for m in missed if m[0].over], tuple(m[0] for m in missed if not m[0].over)
    first = tuple(m for m, band in over if Cause.SECONDARY not in springs or (band.low + band.high) / 2 <= at_knee)
    second = tuple(m for m, band in over if m not in first)
    if Cause.PRIMARY not in springs:
        first, second = (), tuple(m for m, _ in over)
    found: list[Finding] = []
    known = e.model.springs_known
    if either and over:
        return [Unsettled("high", tuple(m for m, _ in over), False, known)]
    if over and springs == SPRUNG and not (first and second):
        # To name the one would clear the other, which the bands do not.
        found.append(Unsettled("high", tuple(m for m, _ in over), False, known, True))
        first = second = ()
    if first:
        below = any((band.low + band.high) / 2 <= at_knee for m, band in over if m in first)
        found.append(EarlyOnset("high", first, below, e.onset.summary, _slack(e)))
    if second and e.never(1) < SURE:
        late = e.takeup(1).above(at_knee + LATE) > SURE
        found.append(LateTakeUp("high", second, e.takeup(1).summary, at_knee if late else None))
    if under:
        found.append(TooLittleAdvance("medium", under, SPRUNG if either else springs))
    return found


def _missed(e: Evidence, seen: Evidence) -> list[tuple[OutOfBand, Band]]:
    """The point bands that the unit of `e` surely misses, all of them together; where it surely misses one, though not surely
    which, the likeliest. Their advances are told as they were `seen`."""
    events = _point_events(e)
    named: frozenset[str] = sure_together(events)
    if not named and events and float(np.logical_or.reduce(list(events.values())).mean()) >= SURE:
        named = frozenset([max(events, key=lambda n: float(events[n].mean()))])
    told = []
    for i, (band, rising, falling) in enumerate(_timed(seen)):
        for over, limit, advance in ((True, band.high, falling), (False, band.low, rising)):
            name = f"{'above' if over else 'below'} {i}"
            if name in named:
                chance = float(events[name].mean())
                told.append((OutOfBand(band.speed or 0.0, limit, over, advance.summary, chance), band))
    return told


def _timed(e: Evidence) -> list[tuple[Band, Sampled, Sampled]]:
    """The target's point bands, each with the rising and the falling advance [rad] there."""
    target = e.job.target
    bands = [] if target is None else [b for b in target.bands if b.kind == "point"]
    if not bands:
        return []
    speeds = np.array([b.speed for b in bands], float)
    rising, falling = e.rising(speeds), e.falling(speeds)
    return [(b, Sampled(rising[:, i]), Sampled(falling[:, i])) for i, b in enumerate(bands)]
