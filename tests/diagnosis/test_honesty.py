"""What was said against what came, on invented units whose truth is known.

Intervals are held against SciPy's own (`scipy.stats.binomtest`, `chi2`), the distribution of a count against every outcome
summed by hand, and the verdicts against simulations: how often a true say is called wrong, and a false one is noticed.
"""

from __future__ import annotations

from itertools import product

import numpy as np
import pytest
from scipy import stats

from recurve.arrays import Array
from recurve.diagnosis.honesty import (
    FEW,
    RARE,
    binomial_interval,
    calibrate,
    chances_of_counts,
    errors_at,
    errors_together,
    scatter_of,
    size_of,
)
from recurve.units import SQRT3

NONE_OPEN = np.zeros(0)
TRIALS = 400
# Of TRIALS simulations so many may be wrong where RARE of them are allowed to be: the 99.9 % point of the binomial.
ALLOWED = int(stats.binom.ppf(0.999, TRIALS, RARE))


@pytest.mark.parametrize(("count", "units"), [(0, 8), (1, 1), (7, 12), (12, 12), (190, 200)])
def test_interval_of_a_share(count: int, units: int) -> None:
    """Against SciPy's exact interval."""
    found = stats.binomtest(count, units).proportion_ci(0.95, "exact")
    assert binomial_interval(count, units) == pytest.approx((found.low, found.high), abs=1e-9)


def test_chances_of_counts() -> None:
    """Against all 64 outcomes of six unlike trials."""
    chance = np.array([0.1, 0.5, 0.9, 0.98, 0.3, 1.0])
    expected = np.zeros(7)
    for outcome in product((0, 1), repeat=6):
        expected[sum(outcome)] += np.prod(np.where(outcome, chance, 1 - chance))
    assert chances_of_counts(chance) == pytest.approx(expected, abs=1e-12)


def said_and_came(seed: int, units: int, worse: float = 0.0) -> tuple[Array, np.ndarray]:
    """Chances that were said, and whether units passed whose true chance is `worse` by so much."""
    random = np.random.default_rng(seed)
    said = random.choice([0.7, 0.9, 0.98], units)
    return said, random.random(units) < np.clip(said - worse, 0.0, 1.0)


@pytest.mark.parametrize("units", [FEW, 25, 100])
def test_a_true_chance_is_seldom_called_wrong(units: int) -> None:
    wrong = sum(calibrate(*said_and_came(seed, units), NONE_OPEN).verdict != "agrees" for seed in range(TRIALS))
    assert wrong <= ALLOWED


def test_a_false_chance_is_noticed() -> None:
    """A quarter less than said, of 60 units, is told nearly always; a quarter more as too careful."""
    too_sure = sum(calibrate(*said_and_came(s, 60, 0.25), NONE_OPEN).verdict == "too sure" for s in range(100))
    said = np.full(60, 0.6)
    careful = sum(
        calibrate(said, np.random.default_rng(s).random(60) < 0.85, NONE_OPEN).verdict == "too careful"
        for s in range(100)
    )
    assert too_sure > 90 and careful > 90


def test_few_units_tell_nothing() -> None:
    """Even where all of seven failed; the eighth settles it. None at all is no fault."""
    said, failed = np.full(FEW, 0.98), np.zeros(FEW, bool)
    assert calibrate(said[1:], failed[1:], NONE_OPEN).verdict == "too few"
    assert calibrate(said, failed, NONE_OPEN).verdict == "too sure"
    nothing = calibrate(NONE_OPEN, np.zeros(0, bool), np.array([0.9]))
    assert nothing.whole is None and nothing.verdict == "too few" and nothing.open == 1


def test_the_verdict_holds_whichever_way_open_units_went() -> None:
    """Of 12 units told 90 %, 7 passed and 5 failed: too many failed. If 8 more stay open, they may all have passed."""
    said, passed = np.full(12, 0.9), np.arange(12) < 7
    assert calibrate(said, passed, NONE_OPEN).verdict == "too sure"
    assert calibrate(said, passed, np.full(8, 0.9)).verdict == "agrees"


def test_bins() -> None:
    """Each unit is in one bin, by hand: 1 and 0.95 in the last, 0.5 in the second."""
    found = calibrate(np.array([0.0, 0.5, 0.79, 0.95, 1.0]), np.array([False, True, False, True, True]), NONE_OPEN)
    assert [(b.low, b.units, b.passed) for b in found.bins] == [(0.0, 1, 0), (0.5, 2, 1), (0.95, 2, 2)]


def test_interval_of_a_spread() -> None:
    """Against SciPy's chi-squared."""
    size, low, high = size_of(18.0, 8, 0.05)
    assert size == pytest.approx(1.5)
    assert (low, high) == pytest.approx(tuple(np.sqrt(18.0 / stats.chi2(8).ppf([0.975, 0.025]))))


@pytest.mark.parametrize("units", [FEW, 40])
def test_true_predictions_are_seldom_called_wrong(units: int) -> None:
    """Normal errors of the size that was said, alone and five to a unit that hang together at random."""
    alone = together = 0
    for seed in range(TRIALS):
        random = np.random.default_rng(seed)
        one = errors_at(random.normal(size=units))
        alone += one.verdict != "agrees" or one.side != 0
        share = random.random()
        same = np.sqrt(share) * random.normal(size=(units, 1)) + np.sqrt(1 - share) * random.normal(size=(units, 5))
        found = errors_together(list(same))
        together += found is None or found.verdict != "agrees"
    assert alone <= ALLOWED and together <= ALLOWED


def test_false_predictions_are_noticed() -> None:
    """Twice as far off as said, half as far, and on one side, in 30 units."""
    random = np.random.default_rng(3)
    off = random.normal(size=30)
    assert errors_at(2 * off).verdict == "too sure" and errors_at(0.5 * off).verdict == "too careful"
    assert errors_at(off + 1.0).side == 1 and errors_at(off - 1.0).side == -1
    assert errors_at(9 * off[: FEW - 1]).verdict == "too few" and errors_together([]) is None


def builds(seed: int, count: int, half_width: float, noise: float) -> tuple[Array, Array]:
    """Builds anywhere within their ±, as a sweep shows them with unlike standard uncertainties about `noise`."""
    random = np.random.default_rng(seed)
    known = noise * random.uniform(0.5, 1.5, count)
    return random.uniform(-half_width, half_width, count) + known * random.normal(size=count), known


@pytest.mark.parametrize(("count", "noise"), [(FEW, 0.02), (30, 0.02), (30, 0.1), (100, 0.05)])
def test_a_true_tolerance_is_seldom_called_wrong(count: int, noise: float) -> None:
    """± 0.1 mm as said, however well or badly the sweep shows it; the interval holds the truth as often as it says."""
    found = [scatter_of(*builds(seed, count, 0.1, noise), 0.1) for seed in range(TRIALS)]
    assert sum(f.verdict != "agrees" for f in found) <= ALLOWED
    assert sum(not f.low <= 0.1 <= f.high for f in found) <= ALLOWED
    assert sum(f.one_sided for f in found) <= 2 * ALLOWED  # by a normal distribution, which is short of 8 builds' own


def test_a_false_tolerance_is_noticed_and_the_proposal_is_near_the_truth() -> None:
    """± 0.1 mm was said, the truth is ± 0.25 mm, or ± 0.03 mm, in 30 builds read to 0.02 mm."""
    more = [scatter_of(*builds(seed, 30, 0.25, 0.02), 0.1) for seed in range(60)]
    less = [scatter_of(*builds(seed, 30, 0.03, 0.02), 0.1) for seed in range(60)]
    assert all(f.verdict == "more" for f in more) and sum(f.verdict == "less" for f in less) > 50
    assert np.mean([f.proposed for f in more if f.proposed]) == pytest.approx(0.25, rel=0.05)
    # Narrower only by what is sure: seldom below the truth.
    assert sum(f.proposed is not None and f.proposed < 0.03 for f in less) <= 3


def test_scatter_at_its_ends() -> None:
    """By hand: exactly known builds give √3 times their root mean square about the plan; ones that lie nearer than they can be
    read tell no scatter; a habit is told as one-sided; few builds, and none, propose nothing."""
    exact = scatter_of(np.full(FEW, 0.2), np.zeros(FEW), 0.1)
    assert exact.found == pytest.approx(0.2 * SQRT3) and exact.one_sided
    near = scatter_of(np.full(9, 0.01), np.full(9, 0.1), 0.1)
    assert near.found == 0.0 and near.low == 0.0
    few = scatter_of(np.full(FEW - 1, 9.0), np.zeros(FEW - 1), 0.1)
    assert few.verdict == "too few" and few.proposed is None and not few.one_sided
    assert scatter_of(np.zeros(0), np.zeros(0), 0.1).verdict == "too few"
    zero = scatter_of(np.zeros(10), np.zeros(10), 0.1)
    assert zero.found == pytest.approx(0.0, abs=1e-9) and zero.verdict == "less"


def test_one_build_far_off_is_no_scatter() -> None:
    """Eleven builds as said and one ten times as far: a slip in one sweep proposes no other tolerance. Two of them do."""
    random = np.random.default_rng(6)
    off, known = random.uniform(-0.1, 0.1, 12), np.full(12, 0.01)
    off[3] = 1.0
    assert scatter_of(off, known, 0.1).verdict == "agrees"
    off[7] = -1.0
    assert scatter_of(off, known, 0.1).verdict == "more"
