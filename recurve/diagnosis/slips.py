"""Whether a sweep was written in other terms than the job says: crank figures for the distributor's, or the reverse.

Nobody sees it in one number: a worn unit reads high or low too. The question is which explains the whole outline better,
wear or a factor. Wear is told as probability densities of two things: by how much the springs pull too little at four
places of the travel, and by how much the largest advance is off the book's. For each factor the outline is turned back
by it, and the densities of what is then left are compared (Bayes' rule), averaged over the outlines that the readings
allow. The densities are this project's own; what they lead to is held by a study on units made elsewhere.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import Enum
from typing import ClassVar

import numpy as np

from recurve.arrays import Array
from recurve.diagnosis.strength import book_curve
from recurve.fit.outline import Pieces
from recurve.inspection.findings import Cause, Finding, Words
from recurve.physics.target import Target
from recurve.units import Quantity

PLACES_LOOKED_AT = np.array([0.3, 0.5, 0.7, 0.9])  # of the book's largest advance
SLIP = 0.02  # probability of each slip before anything is read
# Kinds of wear: how common; of the log of the strength needed its mean, and its standard deviations in common, from the
# bottom of the travel to the top, and at each place alone.
WEAR = ((0.40, 0.0, 0.06, 0.06, 0.06), (0.45, 0.1, 0.30, 0.20, 0.12), (0.15, 0.2, 0.60, 0.50, 0.40))
# Of the log of the largest advance over the book's: how common, mean, standard deviation.
STOPS = ((0.6, 0.0, 0.06), (0.3, 0.05, 0.20), (0.1, 0.10, 0.45))
SLOPE = np.array([-0.9, -0.3, 0.3, 0.9])
NOT_REACHED = np.exp(-1.2)  # density of a place that the outline does not reach: as of a usual miss
SUSPECTED = 0.5  # probability of a slip above which it is told before any wear
POSSIBLE = 0.05  # above which it is mentioned
MOST = 3.0  # beyond e^±3 of strength one factor is as odd as another
# A largest advance that was turned to by hand, on the degree wheel, was in the distributor's degrees whatever the sweep was
# written in. How often it was taken from the sweep after all, and shares its slip; how often it is wrong by anything at all,
# up to WHEEL_REACH; what bench and wheel differ by without any slip. This project's own, no source.
FROM_SWEEP, WHEEL_WRONG, WHEEL_REACH, WHEEL_APART = 0.08, 0.01, np.radians(40.0), np.radians(0.5)


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
    """Probability [1] of each slip, of `Slip.none` too; they sum to 1."""

    chance: dict[Slip, float]

    @property
    def likeliest(self) -> Slip:
        """The slip, or none, of the highest probability."""
        return max(self.chance, key=lambda slip: self.chance[slip])

    @property
    def suspected(self) -> bool:
        """Whether a slip is likelier than none. Two may share what is left: whether there is one at all decides."""
        return 1.0 - self.chance[Slip.none] > SUSPECTED


def slip_odds(target: Target, pieces: Pieces, speed_ratio: float, stop: Quantity | None = None) -> SlipOdds:
    """How likely each slip is, for equally likely outlines (n,) and `speed_ratio` [1] crank revolutions per distributor
    revolution; `stop` [rad] is the largest advance by the degree wheel, if it was measured. Where the ratio is 1, crank
    and distributor are the same and there is nothing to mix up."""
    tops = [b.high for b in target.bands if b.kind != "idle"]
    if speed_ratio == 1.0 or not tops:
        return SlipOdds({Slip.none: 1.0})
    largest = max(tops) if target.maximum is None else (target.maximum.low + target.maximum.high) / 2
    places = PLACES_LOOKED_AT * largest
    book = book_curve(target, places).middle
    weight = {}
    for slip in Slip:
        speed, advance = (speed_ratio**power for power in slip.value)
        found = pieces.speed_squared(places * advance) / speed**2
        needed = np.clip(np.log(book / np.maximum(found, 1e-3)), -MOST, MOST)
        off = np.log(pieces.largest / advance / largest)
        prior = SLIP if slip is not Slip.none else 1.0 - SLIP * (len(Slip) - 1)
        seen = _wheel_density(stop, pieces.largest, advance)
        weight[slip] = prior * float((_strength_density(needed) * _stop_density(off) * seen).mean())
    total = max(sum(weight.values()), 1e-300)
    return SlipOdds({slip: w / total for slip, w in weight.items()})


def _strength_density(needed: Array) -> Array:
    """Density (n,) [1] of the logs of strength needed (n, places), nan where not reached."""
    density = np.zeros(len(needed))
    for pattern in np.unique(np.isfinite(needed), axis=0):
        rows = (np.isfinite(needed) == pattern).all(axis=1)
        for common, mean, together, slope, alone in WEAR:
            covariance = together**2 + slope**2 * np.outer(SLOPE, SLOPE) + alone**2 * np.eye(len(SLOPE))
            root = np.linalg.cholesky(covariance[np.ix_(pattern, pattern)])
            scaled = np.linalg.solve(root, (needed[rows][:, pattern] - mean).T)
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


@dataclass(frozen=True)
class CrankSlip(Finding):
    """The sweep is explained better by a `slip` than by wear, with the `chance` [1]; `ratio` [1] is the speed ratio."""

    slip: Slip
    chance: float
    ratio: float
    units: ClassVar[dict[str, str]] = {"chance": "1", "ratio": "1"}
    cause = Cause.CRANK_FIGURES

    def words(self) -> Words:
        """The finding in words."""
        engine = sum(self.slip.value) > 0
        named = zip(("speeds", "advances"), self.slip.value, strict=True)
        what = " and ".join(name for name, power in named if power)
        given, told = ("crank", "distributor") if engine else ("distributor", "crank")
        return Words(
            f"the {what} look like {given} figures, entered as {told} figures",
            f"{'divided' if engine else 'multiplied'} by {self.ratio:g}, the {what} fit the book's curve far "
            f"better; that this is the cause, and not wear, has a probability of {self.chance:.0%}",
            "if so, every result here is off by that factor",
            'check what the bench shows; in [sweep], set basis (or speed_basis and advance_basis) to "crank" or "distributor"',
        )


def crank_slip(odds: SlipOdds, ratio: float) -> CrankSlip | None:
    """The likeliest slip as a finding, to be checked first if it is likelier than not; None if none is worth a word. `ratio`
    [1] is the speed ratio."""
    slips = {slip: chance for slip, chance in odds.chance.items() if slip is not Slip.none}
    if not slips or max(slips.values()) < POSSIBLE:
        return None
    likeliest = max(slips, key=lambda slip: slips[slip])
    return CrankSlip("check first" if odds.suspected else "open question", likeliest, slips[likeliest], ratio)
