"""Whether one figure of the book was typed wrongly: its maximum, its idle speed, or one of its points; and bands that contradict
each other.

What a sweep shows cannot tell a wrong figure from a worn unit: a stop at half of what the book asks may have been built up. A
book speaks against itself, though. Its points rise to its maximum, and nothing may be in at idle, which lies below them. So a
figure is doubted only where the others of the same book leave it no place, whatever the unit does; the readings then tell
which of the figures it is, and by how much. Where they do not, both figures are named.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from typing import ClassVar, Literal

import numpy as np

from recurve.arrays import Array
from recurve.fit.outline import Outline
from recurve.fit.state import SURE, Evidence
from recurve.inspection.findings import Cause, Finding, Words
from recurve.physics.sweep import Sweep
from recurve.physics.target import Band, Shaft, Target
from recurve.uncertainty import Sampled, Uncertain
from recurve.units import RPM

SAME = np.radians(0.05)  # edges that differ by less are the same figure
AGREES = 0.5  # fraction of the states that must meet a band, or several together
FEWEST_MET = 3  # other bands that must be met before one figure alone is blamed
PAST = 1.05  # of the fastest reading: so far a sweep is trusted
Figure = Literal["maximum", "idle", "speed", "advance"]


@dataclass(frozen=True)
class Swept:
    """What a sweep shows of a unit, for equally likely states (n,): `at` a speed [rad/s] its advance (ways, n) [rad], with speed
    rising, falling or both; its `largest` advance (n,) [rad], None where that was not seen; the `slowest` and the `fastest`
    reading [rad/s]."""

    at: Callable[[float], Array]
    largest: Array | None
    slowest: float
    fastest: float

    @classmethod
    def of_fit(cls, evidence: Evidence) -> Swept | None:
        """By the fitted unit; None without a sweep."""
        sweep = None if evidence.fit is None else evidence.fit.job.sweep
        if sweep is None:
            return None
        made = evidence.curves
        start = made.at_standstill()  # what stays in at idle would be that at an idle speed which may be wrong

        def at(speed: float) -> Array:
            one = np.array([speed])
            return np.stack([made.rising_advance(one, start)[:, 0], made.falling_advance(one)[:, 0]])

        return cls(at, evidence.stop.sample, *_ends(sweep))

    @classmethod
    def of_outline(cls, outline: Outline, sweep: Sweep) -> Swept | None:
        """By the readings alone; None where they count from a zero that hides some of the advance."""
        if outline.counts_from is not None:
            return None
        read = ((outline.rising, sweep.rising.any()), (outline.falling, not sweep.rising.all()))
        ways = [way for way, there in read if there]
        seen = outline.complete >= AGREES or outline.model.stop is not None

        def at(speed: float) -> Array:
            return np.stack([way(speed).sample for way in ways])

        return cls(at, outline.largest.sample if seen else None, *_ends(sweep))

    def shown(self, band: Band) -> Array | None:
        """The advance (ways, n) [rad] to hold against a band; None where the sweep does not tell it. Below the slowest reading
        there is no more in than there."""
        if band.speed is None:
            return None if self.largest is None else self.largest[None]
        if band.speed > PAST * self.fastest or (band.speed < self.slowest / PAST and not band.from_zero):
            return None
        return self.at(max(band.speed, self.slowest))

    def met(self, band: Band) -> Array | None:
        """In which states (n,) bool [1] the band is met; None where the sweep does not tell."""
        shown = self.shown(band)
        low = -np.inf if band.from_zero else band.low
        return None if shown is None else np.asarray(((shown >= low) & (shown <= band.high)).all(axis=0))

    def beyond(self, band: Band, above: bool) -> bool:
        """Whether the unit surely lies above the band, or below it."""
        shown = self.shown(band)
        if shown is None:
            return False
        out = (shown > band.high) if above else (shown < band.low)
        return float(out.any(axis=0).mean()) >= SURE


def _ends(sweep: Sweep) -> tuple[float, float]:
    return float(sweep.speed.min()), float(sweep.speed.max())


def book_figures(target: Target | None, ratio: float, swept: Swept | None) -> tuple[Finding, ...]:
    """The figures of the book that were probably typed wrongly; where the readings single out none, two that contradict each
    other. `ratio` [1]: crank revolutions per distributor revolution."""
    if target is None:
        return ()
    if swept is not None and not target.confirmed:
        ends = (_maximum(target, ratio, swept), _idle(target, ratio, swept))
        found = tuple(f for f in ends if f is not None)
        if found:
            return found
        one = _one_band(target, ratio, swept)
        if one is not None:
            return (one,)
    pair = contradiction(target)
    return () if pair is None else (BookContradicts("check first", *pair),)


# --- bands that no curve can meet -----------------------------------------------------------------------------


def contradiction(target: Target) -> tuple[Band, Band] | None:
    """Two bands that contradict each other the most: the first asks at a speed for more than the second allows at that speed, a
    faster one, or at the stop. No curve that rises with speed can meet both."""
    by = _asked_over(target, np.array([b.high for b in target.bands]))
    if not by.size or by.max() <= SAME:
        return None
    early, late = np.unravel_index(int(by.argmax()), by.shape)
    return target.bands[int(early)], target.bands[int(late)]


def _asked_over(target: Target, allowed: Array) -> Array:
    """By how much (n, n) [rad] each band's least is above what is `allowed` (n,) [rad] by each that is not slower; −inf where the
    other is slower or the same, or the band asks for nothing."""
    speed = np.array([np.inf if b.speed is None else b.speed for b in target.bands])
    low = np.array([-np.inf if b.from_zero else b.low for b in target.bands])
    told = (speed[:, None] <= speed[None, :]) & ~np.eye(len(speed), dtype=bool)
    return np.where(told, low[:, None] - allowed[None, :], -np.inf)


@dataclass(frozen=True)
class BookContradicts(Finding):
    """No curve can meet both the `early` band's least and the `late` one's most."""

    early: Band
    late: Band
    units: ClassVar[dict[str, str]] = {"least": "deg", "most": "deg"}
    cause = Cause.SLIP

    @property
    def least(self) -> float:
        """What the one asks for at least [rad]."""
        return self.early.low

    @property
    def most(self) -> float:
        """What the other allows at most [rad]."""
        return self.late.high

    def words(self) -> Words:
        """The finding in words."""
        return Words(
            "two figures of the book contradict each other",
            f"“at least {_degrees(self.least)} {_where(self.early)}” and “at most {_degrees(self.most)} {_where(self.late)}” "
            "(distributor): advance never falls as speed rises, so no unit can meet both",
            "if one is wrong, the unit would be judged and built by a wrong figure",
            "look both up again and correct [target]. Is one of them in crank degrees or crank rpm?",
        )


# --- one figure in the other shaft's terms ----------------------------------------------------------------------


_AS_IT_STANDS = "If the book does say so, write confirmed = true in [target]"


@dataclass(frozen=True)
class OtherShaft(Finding):
    """One `figure` of a `band` looks like one of the shaft `of`, among figures of the other; put right, the band would be
    `changed`. The unit shows the advance `read` [rad] there, and `then` where it would be, None where that is the same place.
    `against`: the band of the book that leaves it no place."""

    figure: Figure
    band: Band
    changed: Band
    of: Shaft
    read: Uncertain
    against: Band
    then: Uncertain | None = None
    units: ClassVar[dict[str, str]] = {"read": "deg", "then": "deg"}
    cause = Cause.CRANK_FIGURES

    def words(self) -> Words:
        """The finding in words."""
        band, now, read, of = self.band, self.changed, self.read.degrees(), self.of
        unit = "rpm" if self.figure in ("idle", "speed") else "degrees"
        if self.figure == "maximum":
            name = "the book's maximum"
            told = (
                f"it asks for {_range(band)}, where the book's last point has {_range(self.against)} at "
                f"{_rpm(self.against)} and the readings end at {read}; as {of} degrees it is {_range(now)} (distributor)"
            )
            consequence = "if so, a sound stop would be filed, built up or thrown away"
        elif self.figure == "idle" and self.then is not None:
            name = "the book's idle speed"
            told = (
                f"at {_rpm(band)} it allows at most {_degrees(band.high)}, though the book asks for at least "
                f"{_degrees(self.against.low)} at {_rpm(self.against)}, and {read} stays in; as {of} rpm it is {_rpm(now)} "
                f"(distributor), where {self.then.degrees()} stays in"
            )
            consequence = "if so, a sound primary would be replaced"
        else:
            name = f"the {self.figure} of the book's point at {_rpm(band)}"
            told = (
                f"{_range(band)} at {_rpm(band)} fits ill with {_range(self.against)} {_where(self.against)}, and the "
                f"readings show {read}; as {of} {unit} it is {_range(now)} at {_rpm(now)} (distributor), which they meet, as "
                "they do all others"
            )
            consequence = "if so, sound springs would be replaced"
        return Words(
            f"{name} looks like {of} {unit}",
            told,
            consequence,
            f"look it up again: is it in {of} {unit}, the other figures not? Then correct it in [target]. {_AS_IT_STANDS}",
        )


def _maximum(target: Target, ratio: float, swept: Swept) -> OtherShaft | None:
    """The maximum alone in the other shaft's degrees: by its points the book's curve does not come near it, nor does the unit,
    which ends near what it would be, or between the two. A stop is worn or built up by a few degrees, not to half or twice."""
    top, points = target.maximum, _points(target)
    if top is None or ratio == 1.0 or len(points) < 2 or swept.largest is None:
        return None
    last, of_crank = points[-1], target.read_in[1] == "distributor"
    new = _times(top, 1.0 / ratio if of_crank else ratio)
    out = top.low > max(last.high, _reach(points, swept.fastest)) if of_crank else top.high < last.low
    if not out or new.high < last.low or contradiction(_with(target, top, new)) is not None:
        return None
    off = np.log(np.maximum(swept.largest, SAME) / _middle(new)) * (1.0 if of_crank else -1.0)
    if float((off > -np.log(ratio) / 2).mean()) < SURE or not swept.beyond(top, above=not of_crank):
        return None
    of: Shaft = "crank" if of_crank else "distributor"
    return OtherShaft("check first", "maximum", top, new, of, Sampled(swept.largest).summary, last)


def _reach(points: list[Band], speed: float) -> float:
    """How far [rad] the book's curve comes by a speed [rad/s] if it climbs on as between its last two points, straight in speed
    squared."""
    before, last = points[-2:]
    x, y = ([_square(b) for b in (before, last)], [_middle(b) for b in (before, last)])
    slope = max(y[1] - y[0], 0.0) / max(x[1] - x[0], 1e-9)
    return y[1] + slope * max(speed**2 - x[1], 0.0)


def _idle(target: Target, ratio: float, swept: Swept) -> OtherShaft | None:
    """The idle speed alone in crank rpm: as it stands, a slower point allows more than it does, and the points ask for more
    there, by a straight line in speed squared between their least advances; as it would be, the unit may have come home."""
    idle = next((b for b in target.bands if b.kind == "idle"), None)
    points = _points(target)
    asking = [b for b in points if not b.from_zero]
    if idle is None or idle.speed is None or ratio == 1.0 or target.read_in[0] != "distributor" or not asking:
        return None
    new = replace(idle, speed=idle.speed / ratio)
    if _square(points[0]) >= _square(idle) or points[0].high <= idle.high + SAME or _square(new) > _square(points[0]):
        return None
    asked_as_is, asked_then = (_least_at(points, _square(b)) for b in (idle, new))
    if not asked_then <= idle.high < asked_as_is - SAME or contradiction(_with(target, idle, new)) is not None:
        return None
    shown, then = swept.shown(idle), swept.shown(new)
    if shown is None or then is None or not swept.beyond(idle, above=True):
        return None
    if swept.beyond(new, above=True):  # then it never comes home, whatever the book has
        return None
    against = next((b for b in asking if _square(b) >= _square(idle)), asking[-1])
    read, there = (Sampled(x[-1]).summary for x in (shown, then))
    return OtherShaft("check first", "idle", idle, new, "crank", read, against, there)


def _least_at(points: list[Band], squared: float) -> float:
    """The least [rad] that a straight line between the points has at a speed squared [rad²/s²]; 0 at a standstill."""
    x, low = [0.0, *(_square(b) for b in points)], [0.0, *(max(b.low, 0.0) for b in points)]
    return float(np.interp(squared, x, low))


# --- one band alone ---------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class LookAgain(Finding):
    """One `band` alone is missed, and the band `against` leaves it no place in the book; the unit shows the advance `read` [rad]
    there, and meets the `others` [1]."""

    band: Band
    against: Band
    read: Uncertain
    others: int
    units: ClassVar[dict[str, str]] = {"read": "deg", "others": "1"}
    cause = Cause.SLIP

    def words(self) -> Words:
        """The finding in words."""
        where = _where(self.band)
        return Words(
            f"the book's figure {where} looks wrong",
            f"it has {_range(self.band)} {where}, which fits ill with {_range(self.against)} {_where(self.against)}; the "
            f"readings show {self.read.degrees()} and meet all the other {self.others} bands (distributor)",
            "if so, a sound unit would be rebuilt to a wrong figure",
            f"look this figure up again, and correct it in [target]. {_AS_IT_STANDS}",
        )


def _one_band(target: Target, ratio: float, swept: Swept) -> OtherShaft | LookAgain | None:
    """The one band that the unit misses, on the side on which the rest of the book leaves it no place. What no factor explains is
    told only of a band without which the book holds together: one that is narrow may be missed by a worn unit."""
    if not _at_odds(target):
        return None
    missed = [b for b in target.bands if _misses(b, swept)]
    if len(missed) != 1:
        return None
    [band] = missed
    met = [m for m in (swept.met(b) for b in target.bands if b is not band) if m is not None]
    above = swept.beyond(band, above=True)
    against = next((other for one, other, high in _at_odds(target) if one is band and high == above), None)
    shown = swept.shown(band)
    if against is None or shown is None or len(met) < FEWEST_MET or float(np.all(met, axis=0).mean()) < AGREES:
        return None
    read = Sampled(shown.mean(axis=0)).summary
    for figure, new in _changes(target, band, ratio):
        then = swept.met(new)
        if then is not None and float(then.mean()) >= AGREES and not _at_odds(_with(target, band, new)):
            of: Shaft = "crank" if target.read_in[figure == "advance"] == "distributor" else "distributor"
            return OtherShaft("check first", figure, band, new, of, read, against)
    rest = replace(target, bands=tuple(b for b in target.bands if b is not band))
    alone = contradiction(target) is not None and contradiction(rest) is None
    return LookAgain("check first", band, against, read, len(met)) if alone else None


def _misses(band: Band, swept: Swept) -> bool:
    return swept.beyond(band, above=True) or (not band.from_zero and swept.beyond(band, above=False))


def _at_odds(target: Target) -> list[tuple[Band, Band, bool]]:
    """Bands with another that leaves them no place, the farthest off first, and whether it is by their upper edge: a band asks
    for more than a faster one has in its middle, or allows less than a slower one has there."""
    bands = target.bands
    by_low = _asked_over(target, np.array([_middle(b) for b in bands]))
    middles = replace(target, bands=tuple(b if b.from_zero else replace(b, low=_middle(b)) for b in bands))
    turned = _asked_over(middles, np.array([b.high for b in bands]))
    found = [(by_low[i, j], bands[i], bands[j], False) for i, j in np.argwhere(by_low > SAME)]
    found += [(turned[i, j], bands[j], bands[i], True) for i, j in np.argwhere(turned > SAME)]
    return [(one, other, high) for _, one, other, high in sorted(found, key=lambda f: -f[0])]


def _changes(target: Target, band: Band, ratio: float) -> Iterator[tuple[Figure, Band]]:
    """A point with its speed, or its advance, told in the terms of the other shaft."""
    if band.kind != "point" or band.speed is None or ratio == 1.0:
        return
    speed, advance = (1.0 / ratio if shaft == "distributor" else ratio for shaft in target.read_in)
    yield "speed", replace(band, speed=band.speed * speed)
    yield "advance", _times(band, advance)


# --- bands and their words --------------------------------------------------------------------------------------


def _points(target: Target) -> list[Band]:
    """The points, the slowest first."""
    return sorted((b for b in target.bands if b.kind == "point" and b.speed is not None), key=_square)


def _square(band: Band) -> float:
    return (band.speed or 0.0) ** 2


def _middle(band: Band) -> float:
    return (max(band.low, 0.0) + band.high) / 2


def _times(band: Band, factor: float) -> Band:
    stated = None if band.stated is None else band.stated * factor
    return replace(band, low=band.low * factor, high=band.high * factor, stated=stated)


def _with(target: Target, band: Band, new: Band) -> Target:
    """The target with one band changed."""
    return replace(target, bands=tuple(new if b is band else b for b in target.bands))


def _degrees(advance: float) -> str:
    return f"{np.degrees(advance):.1f}°"


def _range(band: Band) -> str:
    return f"at most {_degrees(band.high)}" if band.from_zero else f"{_degrees(band.low)} to {_degrees(band.high)}"


def _rpm(band: Band) -> str:
    return f"{(band.speed or 0.0) * RPM:.0f} rpm"


def _where(band: Band) -> str:
    return {"point": f"at {_rpm(band)}", "idle": f"at idle, {_rpm(band)}", "maximum": "at the stop"}[band.kind]
