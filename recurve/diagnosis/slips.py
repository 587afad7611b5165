"""Whether a sweep was written in other terms than the job says: crank figures for the distributor's, or the reverse.

Nobody sees it in one number: a worn unit reads high or low too. The question is which explains the whole outline better,
wear or a factor. Wear is told as probability densities of two things: by how much the springs pull too little at four
places of the travel, and by how much the largest advance is off the book's. For each factor the outline is turned back
by it, and the densities of what is then left are compared (Bayes' rule), averaged over the outlines that the readings
allow. Where the job says in which terms sweep and book were written, a factor of two is a slip of the one or of the other;
a book that would be an odd one without its slip speaks against it. The densities are this project's own; what they lead
to is held by a study on units made elsewhere.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from enum import Enum
from typing import ClassVar, Literal

import numpy as np

from recurve.arrays import Array
from recurve.diagnosis.strength import book_curve
from recurve.fit.outline import Pieces
from recurve.inspection.findings import Cause, Finding, Severity, Words
from recurve.physics.sweep import AsRead
from recurve.physics.target import Target
from recurve.uncertainty import chance_words
from recurve.units import RPM, Quantity

PLACES_LOOKED_AT = np.array([0.3, 0.5, 0.7, 0.9])  # of the book's largest advance
SLIP = 0.02  # probability of each slip before anything is read
# Kinds of wear: how common; of the log of the strength needed its mean, by how much it rises from the bottom of the travel
# to the top, and its standard deviations in common, from bottom to top, and at each place alone. The last but one: the
# springs changed over, the heavier one in the primary's place, so that far too little advances at the bottom. The last:
# what nobody thought of.
WEAR = (
    (0.40, 0.0, 0.0, 0.06, 0.06, 0.06),
    (0.43, 0.1, 0.0, 0.30, 0.20, 0.12),
    (0.13, 0.2, 0.0, 0.60, 0.50, 0.40),
    (0.03, -1.2, 0.5, 0.50, 0.40, 0.30),
    (0.01, 0.0, 0.0, 1.50, 1.00, 0.60),
)
# Of the log of the largest advance over the book's: how common, mean, standard deviation.
STOPS = ((0.6, 0.0, 0.06), (0.3, 0.05, 0.20), (0.1, 0.10, 0.45))
SLOPE = np.array([-0.9, -0.3, 0.3, 0.9])
NOT_REACHED = np.exp(-1.2)  # density of a place that the outline does not reach: as of a usual miss
SUSPECTED = 0.5  # probability of a slip above which it is told before any wear
POSSIBLE = 0.05  # above which it is mentioned
MOST = 3.0  # beyond e^±3 of strength one factor is as odd as another
RARE_SLIP = 0.002  # of one that neither table can have made, such as a tachometer set wrong
# Advance all in at 600 to 2800 rpm, at most 4 to 20°, distributor (common practice, no source): twice the standard deviation
# of the logs about their middle.
USUAL_ALL_IN = (np.log(np.sqrt(600.0 * 2800.0) / RPM), np.log(2800.0 / 600.0) / 4)
USUAL_LARGEST = (np.log(np.radians(np.sqrt(4.0 * 20.0))), np.log(20.0 / 4.0) / 4)
# A largest advance that was turned to by hand, on the degree wheel, was in the distributor's degrees whatever the sweep was
# written in. How often it was taken from the sweep after all, and shares its slip; how often it is wrong by anything at all,
# up to WHEEL_REACH; what bench and wheel differ by without any slip. This project's own, no source.
FROM_SWEEP, WHEEL_WRONG, WHEEL_REACH, WHEEL_APART = 0.08, 0.01, np.radians(40.0), np.radians(0.5)


Source = Literal["sweep", "book", "neither"]


class Slip(Enum):
    """What was written in other terms, as the factors that speeds and advances were multiplied by: the speed ratio to
    the power of `value`."""

    none = (0, 0)
    crank = (1, 1)
    crank_speeds = (1, 0)
    crank_advances = (0, 1)
    distributor = (-1, -1)
    distributor_speeds = (-1, 0)
    distributor_advances = (0, -1)


@dataclass(frozen=True)
class SlipOdds:
    """Probability [1] of each slip, of `Slip.none` too; they sum to 1. `source`: which table each would be a slip of."""

    chance: dict[Slip, float]
    source: dict[Slip, Source] = field(default_factory=dict)

    @property
    def likeliest(self) -> Slip:
        """The slip, or none, of the highest probability."""
        return max(self.chance, key=lambda slip: self.chance[slip])

    @property
    def suspected(self) -> bool:
        """Whether a slip is likelier than none. Two may share what is left: whether there is one at all decides."""
        return 1.0 - self.chance[Slip.none] > SUSPECTED


def slip_odds(target: Target, pieces: Pieces, as_read: AsRead, speed_ratio: float, stop: Quantity | None) -> SlipOdds:
    """How likely each slip is, for equally likely outlines (n,) of readings written as `as_read`, and `speed_ratio` [1] crank
    revolutions per distributor revolution; `stop` [rad] is the largest advance by the degree wheel, if it was measured.
    Where the ratio is 1, crank and distributor are the same and there is nothing to mix up; nor where both tables were
    confirmed."""
    tops = [b.high for b in target.bands if b.kind != "idle"]
    if speed_ratio == 1.0 or not tops or (target.confirmed and as_read.confirmed):
        return SlipOdds({Slip.none: 1.0})
    largest = max(tops) if target.maximum is None else (target.maximum.low + target.maximum.high) / 2
    places = PLACES_LOOKED_AT * largest
    book = book_curve(target, places).middle
    priors = {slip: _prior(slip, target, as_read, speed_ratio) for slip in Slip}
    priors[Slip.none] = 1.0 - sum(priors[slip] for slip in Slip if slip is not Slip.none)
    weight = {}
    for slip in Slip:
        speed, advance = (speed_ratio**power for power in slip.value)
        found = pieces.speed_squared(places * advance) / speed**2
        needed = np.clip(np.log(book / np.maximum(found, 1e-3)), -MOST, MOST)
        off = np.log(pieces.largest / advance / largest)
        seen = _wheel_density(stop, pieces.largest, advance)
        weight[slip] = priors[slip] * float((_strength_density(needed) * _stop_density(off) * seen).mean())
    total = max(sum(weight.values()), 1e-300)
    chance = {slip: w / total for slip, w in weight.items()}
    return SlipOdds(chance, {slip: _source(slip, target, as_read) for slip in Slip if slip is not Slip.none})


def _source(slip: Slip, target: Target, as_read: AsRead) -> Source:
    """Which table would have made it, of those that are not confirmed. Readings that are too large were the crank's and called
    the distributor's, or the book's are too small, the distributor's called the crank's; and the reverse."""

    def may(written: tuple[str, str], too_large: str) -> bool:
        asked = zip(slip.value, written, strict=True)
        return all(power == 0 or (word == too_large) == (power > 0) for power, word in asked)

    if may((as_read.speed, as_read.advance), "distributor") and not as_read.confirmed:
        return "sweep"
    return "book" if may(target.read_in, "crank") and not target.confirmed else "neither"


def _prior(slip: Slip, target: Target, as_read: AsRead, ratio: float) -> float:
    """Probability [1] of a slip before a reading is looked at."""
    source = _source(slip, target, as_read)
    if slip is Slip.none or source == "neither":
        return RARE_SLIP
    return SLIP if source == "sweep" else SLIP * min(_usual(target, slip, ratio), 1.0)


def _usual(target: Target, slip: Slip, ratio: float) -> float:
    """How usual the book is if it holds the slip, over how usual it is as it stands, as a ratio of densities [1]."""
    speeds = [b.speed for b in target.bands if b.kind == "point" and b.speed is not None]
    largest = max(b.high for b in target.bands if b.kind != "idle")
    told = [(*USUAL_LARGEST, largest, slip.value[1])]
    if speeds:
        told.append((*USUAL_ALL_IN, max(speeds), slip.value[0]))
    middle, spread, value, power = np.array(told).T
    off = (np.log(value) - middle) / spread
    with_slip = off + power * np.log(ratio) / spread
    return float(np.exp(0.5 * (off**2 - with_slip**2).sum()))


def _strength_density(needed: Array) -> Array:
    """Density (n,) [1] of the logs of strength needed (n, places), nan where not reached."""
    density = np.zeros(len(needed))
    for pattern in np.unique(np.isfinite(needed), axis=0):
        rows = (np.isfinite(needed) == pattern).all(axis=1)
        for common, mean, climb, together, slope, alone in WEAR:
            covariance = together**2 + slope**2 * np.outer(SLOPE, SLOPE) + alone**2 * np.eye(len(SLOPE))
            root = np.linalg.cholesky(covariance[np.ix_(pattern, pattern)])
            scaled = np.linalg.solve(root, (needed[rows] - mean - climb * SLOPE)[:, pattern].T)
            norm = np.prod(np.diag(root)) * np.sqrt(2 * np.pi) ** pattern.sum()
            density[rows] += common * np.exp(-0.5 * (scaled**2).sum(axis=0)) / norm * NOT_REACHED ** (~pattern).sum()
    return density


def _stop_density(off: Array) -> Array:
    """Density (n,) [1] of the log of the largest advance over the book's."""
    return np.asarray(
        sum(w * np.exp(-0.5 * ((off - mean) / sd) ** 2) / (sd * np.sqrt(2 * np.pi)) for w, mean, sd in STOPS)
    )


def _wheel_density(stop: Quantity | None, largest: Array, factor: float) -> Array:
    """Density (n,) [1/rad] of the wheel's figure where the sweep's `largest` (n,) [rad] were multiplied by `factor` [1]; 1
    where nothing was measured."""
    if stop is None or stop.origin != "given":
        return np.ones(len(largest))
    sd = float(np.hypot(stop.standard_uncertainty or 0.0, WHEEL_APART))

    def normal(about: Array) -> Array:
        return np.asarray(np.exp(-0.5 * ((stop.value - about) / sd) ** 2) / (sd * np.sqrt(2 * np.pi)))

    own = 1.0 - FROM_SWEEP - WHEEL_WRONG
    return np.asarray(own * normal(largest / factor) + FROM_SWEEP * normal(largest) + WHEEL_WRONG / WHEEL_REACH)


_AS_IT_STANDS = "If both are right as they stand, write confirmed = true in both tables"


@dataclass(frozen=True)
class CrankSlip(Finding):
    """The sweep is explained better by a `slip` than by wear, with the `chance` [1]; `ratio` [1] is the speed ratio, `source`
    the table whose slip it would be."""

    slip: Slip
    chance: float
    ratio: float
    source: Source = "sweep"
    units: ClassVar[dict[str, str]] = {"chance": "1", "ratio": "1"}
    cause = Cause.CRANK_FIGURES

    def words(self) -> Words:
        """The finding in words."""
        engine = sum(self.slip.value) > 0
        named = zip(("speeds", "advances"), self.slip.value, strict=True)
        what = " and ".join(name for name, power in named if power)
        given, told = ("crank", "distributor") if engine else ("distributor", "crank")
        if self.source == "neither":
            return Words(
                f"the {what} are {'twice' if engine else 'half'} what the book leads one to expect"
                if self.ratio == 2.0
                else f"the {what} are off by a factor of {self.ratio:g}",
                f"{'divided' if engine else 'multiplied'} by {self.ratio:g}, the {what} fit the book's curve far better, though "
                f"the job counts sweep and book in terms that cannot explain it; probability {chance_words(self.chance)}",
                "if so, every result here is off by that factor",
                "see which shaft the tachometer and the degree ring count, and for how many lobes they are set; then look at "
                f"basis in [sweep] and in [target]. {_AS_IT_STANDS}",
            )
        if self.source == "book":
            return Words(
                f"the book's {what} look like {told} figures, entered as {given} figures",
                f"with the book's {what} {'multiplied' if engine else 'divided'} by {self.ratio:g}, the readings fit its curve "
                f"far better; that this is the cause, and not wear, has a probability of {chance_words(self.chance)}",
                "if so, the unit would be built to a curve that is off by that factor",
                "see whether the book counts in engine or distributor speeds and degrees; in [target], set basis (or "
                'speed_basis and advance_basis) to "crank" or "distributor"; then see that the tachometer counts that shaft. '
                f"{_AS_IT_STANDS}",
            )
        return Words(
            f"the {what} look like {given} figures, entered as {told} figures",
            f"{'divided' if engine else 'multiplied'} by {self.ratio:g}, the {what} fit the book's curve far "
            f"better; that this is the cause, and not wear, has a probability of {chance_words(self.chance)}",
            "if so, every result here is off by that factor",
            'check what the bench shows; in [sweep], set basis (or speed_basis and advance_basis) to "crank" or "distributor". '
            f"{_AS_IT_STANDS}",
        )


def crank_slip(odds: SlipOdds, ratio: float) -> CrankSlip | None:
    """The likeliest slip as a finding, to be checked first if it is likelier than not; None if none is worth a word. `ratio`
    [1] is the speed ratio."""
    slips = {slip: chance for slip, chance in odds.chance.items() if slip is not Slip.none}
    if not slips or max(slips.values()) < POSSIBLE:
        return None
    likeliest = max(slips, key=lambda slip: slips[slip])
    severity: Severity = "check first" if odds.suspected else "open question"
    return CrankSlip(severity, likeliest, slips[likeliest], ratio, odds.source[likeliest])
