"""Whether what was said beforehand came true: chances of passing, predicted curves, and tolerances of building.

A chance of passing is held against how often units passed by the exact distribution of a sum of unlike yes-or-no trials
(the Poisson binomial distribution), so that few units are enough for what is grossly wrong and no number is for what is not.
The interval on a share is that of Clopper and Pearson (Biometrika 26, 1934; from memory), the one on a spread is by chi-squared.
Under FEW units nothing is told.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Literal

import numpy as np

from recurve.arrays import Array, Mask
from recurve.units import SQRT3

FEW = 8  # units under which nothing is told
RARE = 0.05  # of all answers that say something is wrong, so many are allowed to be wrong where nothing is
EDGES = (0.0, 0.5, 0.8, 0.9, 0.95, 1.0)  # of the bins of a chance [1]

Honesty = Literal["too few", "too sure", "agrees", "too careful"]
Spread = Literal["too few", "more", "agrees", "less"]


@dataclass(frozen=True)
class Share:
    """Units that were told a chance from `low` to `high` [1]: how many there are (`units`), the mean chance that was `said` [1],
    how many `passed`, and the interval `from_` to `to` [1] that holds the true share with a probability of 0.95."""

    low: float
    high: float
    units: int
    said: float
    passed: int
    from_: float
    to: float


@dataclass(frozen=True)
class Calibration:
    """Chances of passing against what came: all units together (`whole`, None without any), by bins, how many units stay `open`,
    and the `verdict`: the chances said were higher than the truth ("too sure"), lower, or agree as far as so many units tell."""

    whole: Share | None
    bins: tuple[Share, ...]
    open: int
    verdict: Honesty


def calibrate(chance: Array, passed: Mask, open_: Array) -> Calibration:
    """Hold the chances (n,) [1] of units that surely `passed` (n,) or failed against what came; `open_` (m,) [1] are the chances
    of units of which that is not known. They count in no share, and the verdict must hold whichever way they went."""
    whole = _share(0.0, 1.0, chance, passed) if len(chance) else None
    bins = []
    for low, high in pairwise(EDGES):
        inside = (chance >= low) & ((chance < high) | (high == EDGES[-1]))
        if inside.any():
            bins.append(_share(low, high, chance[inside], passed[inside]))
    verdict: Honesty = "too few"
    if len(chance) >= FEW:
        every, count = np.concatenate([chance, open_]), int(passed.sum())
        likely = chances_of_counts(every)
        at_most, at_least = likely[: count + len(open_) + 1].sum(), likely[count:].sum()
        verdict = "too sure" if at_most < RARE / 2 else "too careful" if at_least < RARE / 2 else "agrees"
    return Calibration(whole, tuple(bins), len(open_), verdict)


def chances_of_counts(chance: Array) -> Array:
    """The probability (n + 1,) [1] that 0, 1, … of n trials come true, each with its own `chance` (n,) [1]."""
    likely = np.ones(1)
    for one in chance:
        likely = np.convolve(likely, (1.0 - one, one))
    return likely


def _share(low: float, high: float, chance: Array, passed: Mask) -> Share:
    count, units = int(passed.sum()), len(chance)
    return Share(low, high, units, float(chance.mean()), count, *binomial_interval(count, units))


def binomial_interval(count: int, units: int) -> tuple[float, float]:
    """The interval [1] of Clopper and Pearson at 95 % for a share of which `count` of so many `units` were seen."""
    from scipy.special import betaincinv

    low = 0.0 if count == 0 else float(betaincinv(count, units - count + 1, RARE / 2))
    high = 1.0 if count == units else float(betaincinv(count + 1, units - count, 1 - RARE / 2))
    return low, high


# --- predicted curves -----------------------------------------------------------------------------------------


@dataclass(frozen=True)
class Errors:
    """Measured less predicted at one place of the curve, in standard deviations [1]: of how many `units`, their `mean`, their
    root mean square `size` with the interval `low` to `high`, and the `verdict` on what was said of the uncertainty. `side`:
    0 none, else +1 where the measured curve surely lies above the predicted, −1 below."""

    units: int
    mean: float
    size: float
    low: float
    high: float
    verdict: Honesty
    side: int


def errors_at(off: Array, rare: float = RARE) -> Errors:
    """What the errors (n,) [1] of n units at one place tell: of a true prediction they have mean 0 and mean square 1. A verdict
    is wrong with a probability of at most `rare` [1], half of it by the size and half by the side."""
    from scipy.special import ndtri

    count, mean = len(off), float(off.mean())
    size, low, high = size_of(float((off**2).sum()), count, rare / 2)
    few = count < FEW
    side = 0 if few or abs(mean) * np.sqrt(count) < -ndtri(rare / 4) else int(np.sign(mean))
    return Errors(count, mean, size, low, high, _honest(few, low, high), side)


def errors_together(units: Sequence[Array]) -> Errors | None:
    """All errors of each unit (k,) [1] together. Those of one unit hang together, so each unit counts as one number, its mean
    square: for errors that are partly independent the interval is then too wide, never too narrow. None without units."""
    if not units:
        return None
    squares = np.array([float((one**2).mean()) for one in units])
    size, low, high = size_of(float(squares.sum()), len(units), RARE)
    few = len(units) < FEW
    return Errors(
        len(units), float(np.mean([one.mean() for one in units])), size, low, high, _honest(few, low, high), 0
    )


def size_of(squares: float, count: int, rare: float) -> tuple[float, float, float]:
    """Root mean square of `count` numbers with this sum of `squares` [any²], and the interval that holds the true standard
    deviation about 0 [any] but for a probability of `rare` [1], by chi-squared."""
    from scipy.special import chdtri

    # chdtri inverts the upper tail.
    low, high = (np.sqrt(squares / chdtri(count, tail)) for tail in (rare / 2, 1 - rare / 2))
    return float(np.sqrt(squares / count)), float(low), float(high)


def _honest(few: bool, low: float, high: float) -> Honesty:
    if few:
        return "too few"
    return "too sure" if low > 1.0 else "too careful" if high < 1.0 else "agrees"


# --- tolerances of building -----------------------------------------------------------------------------------


@dataclass(frozen=True)
class Scatter:
    """How far builds were off the plan, as half-widths like those of [build]: √3 times the standard deviation about the plan,
    `found` with its interval `low` to `high`, beside what was `said` [any]; `mean` [any] with its standard `uncertain`ty, of how
    many `builds`; the `verdict`, and what to write into [build], `proposed`, None where nothing is proposed. `one_sided`: the
    builds surely lie on one side of the plan, which a habit makes and no tolerance cures."""

    builds: int
    said: float
    found: float
    low: float
    high: float
    mean: float
    uncertain: float
    verdict: Spread
    proposed: float | None
    one_sided: bool


def scatter_of(off: Array, uncertainty: Array, said: float, rare: float = RARE) -> Scatter:
    """What builds `off` (n,) [any] the plan, each known with a standard `uncertainty` (n,) [any], tell of a tolerance of which a
    half-width was `said` [any]. The deviation σ at which Σ off²/(σ² + uncertainty²) equals a quantile of chi-squared with n
    degrees of freedom is an end of the interval, since errors of building and of measuring add up by squares."""
    from scipy.special import chdtri, ndtri

    count = len(off)
    if count == 0:
        return Scatter(0, said, 0.0, 0.0, 0.0, 0.0, 0.0, "too few", None, False)
    found, low, high = (
        SQRT3 * _deviation(off, uncertainty, float(wanted))
        for wanted in (count, chdtri(count, rare / 2), chdtri(count, 1 - rare / 2))
    )
    mean = float(off.mean())
    uncertain = float(np.sqrt(((found / SQRT3) ** 2 + uncertainty**2).sum())) / count
    verdict: Spread = "agrees"
    if count < FEW:
        verdict = "too few"
    elif low > said and _more_without_farthest(off, uncertainty, said, rare):
        verdict = "more"
    elif high < said:
        verdict = "less"
    # Wider by what was found; narrower by no more than is sure.
    proposed = {"more": found, "less": high}.get(verdict)
    apart = off - mean
    spread = np.sqrt(float((apart**2).sum()) / max(count - 1, 1) / count)
    one_sided = count >= FEW and abs(mean) > -ndtri(rare / 2) * max(spread, 1e-12 * abs(mean))
    return Scatter(count, said, found, low, high, mean, uncertain, verdict, proposed, bool(one_sided))


def _more_without_farthest(off: Array, uncertainty: Array, said: float, rare: float) -> bool:
    """Whether builds scatter more than was `said` even without the one farthest off: one sweep misread is no scatter."""
    from scipy.special import chdtri

    kept = np.arange(len(off)) != int(np.argmax(off**2 / ((said / SQRT3) ** 2 + uncertainty**2)))
    return SQRT3 * _deviation(off[kept], uncertainty[kept], float(chdtri(int(kept.sum()), rare / 2))) > said


def _deviation(off: Array, uncertainty: Array, wanted: float) -> float:
    """The standard deviation σ at which Σ off²/(σ² + uncertainty²) is as `wanted`; 0 where it is less without any."""
    if wanted <= 0.0:
        return float("inf")
    low, high = 0.0, float(np.sqrt((off**2).sum() / wanted))  # of exactly known builds
    with np.errstate(divide="ignore", invalid="ignore"):
        if float(np.nansum(off**2 / uncertainty**2)) <= wanted and (uncertainty > 0.0).all():
            return 0.0
    for _ in range(60):
        middle = (low + high) / 2
        if float((off**2 / np.maximum(middle**2 + uncertainty**2, 1e-300)).sum()) > wanted:
            low = middle
        else:
            high = middle
    return high
