"""Where the truth lies among the samples of the fit, over units drawn from its own priors: simulation-based calibration.

    RECURVE_UNITS=300 RECURVE_FIRST=0 pytest -n 0 -s -m study tests/fit/test_calibration.py     prints the table

The normal run only makes sure that the study could tell: that a sampler too sure of itself would be found out.
"""

from __future__ import annotations

import os
from collections.abc import Sequence

import numpy as np
import pytest
from calibration import CLASSES, Ranked, drawn, ranked_all
from numpy.typing import NDArray
from scipy.stats import binom, chisquare, kstest

UNITS = int(os.environ.get("RECURVE_UNITS", "150"))
FIRST = int(os.environ.get("RECURVE_FIRST", "10000"))
RARE = 0.01  # the chance that a calibrated fit is called bad by any of all the tests together
LEAST, MOST = 0.93, 0.98  # of truths within the 95 % interval between quantiles
BINS, FEW = 10, 50
Array = NDArray[np.float64]


def by_name(found: Sequence[Ranked]) -> dict[str, Array]:
    """All ranks (n,) by class and estimate, and of all classes together."""
    table: dict[str, list[float]] = {}
    for one in found:
        for name, rank in one.ranks.items():
            for which in (one.known, "all"):
                table.setdefault(f"{which}: {name}", []).append(rank)
    return {name: np.array(ranks) for name, ranks in table.items()}


def chance(ranks: Array) -> float:
    """How likely ranks so uneven are if they are uniform: by chi-squared over ten bins, or by Kolmogorov and Smirnov's test,
    the smaller of the two twice."""
    counts = np.histogram(ranks, BINS, (0.0, 1.0))[0]
    return min(1.0, 2 * min(float(chisquare(counts).pvalue), float(kstest(ranks, "uniform").pvalue)))


def uneven(table: dict[str, Array]) -> dict[str, float]:
    """Those whose ranks are not uniform, with one rate of error over all of them (Holm, Scandinavian Journal of Statistics 6,
    1979; from memory)."""
    chances = sorted((chance(ranks), name) for name, ranks in table.items() if len(ranks) >= FEW)
    bad = {}
    for place, (by_chance, name) in enumerate(chances):
        if by_chance * (len(chances) - place) > RARE:
            break
        bad[name] = by_chance
    return bad


def inside(ranks: Array) -> int:
    """How many truths lie between the quantiles 2.5 % and 97.5 %."""
    return int(((ranks >= 0.025) & (ranks <= 0.975)).sum())


def as_text(found: Sequence[Ranked]) -> str:
    """The table of a study, as printed."""
    lines = [f"{len(found)} units, converged {np.mean([one.converged for one in found]):.3f}"]
    for name, ranks in sorted(by_name(found).items()):
        which, what = name.split(": ")
        off = [o.off[what] for o in found if which in (o.known, "all") and what in o.off]
        told = f"±2u {np.mean(np.array(off) <= 2.0):.3f} of {len(off)}" if off else ""
        counts = np.histogram(ranks, BINS, (0.0, 1.0))[0]
        lines.append(
            f"  {name:28} {inside(ranks) / len(ranks):.3f} of {len(ranks)}, p {chance(ranks):.4f} {counts} {told}"
        )
    return "\n".join(lines)


def test_units_of_each_class_are_drawn_the_same_each_time() -> None:
    made = [drawn(seed) for seed in range(3)]
    assert [one.known for one in made] == list(CLASSES)
    assert "rate" not in made[2].text and made[0].text.count("free_length") == 2
    assert (drawn(1).text, drawn(1).readings) == (made[1].text, made[1].readings)


def test_the_study_can_tell() -> None:
    """Ranks of samples half as wide as they should be, of a truth that is one of them, are uneven; even ones are not."""
    random = np.random.default_rng(5)
    truth, samples = random.normal(size=(150, 1)), random.normal(size=(150, 1000))
    good = {f"{i}": random.random(150) for i in range(20)}
    assert uneven(good) == {}
    assert list(uneven(good | {"sure": np.mean(0.5 * samples < truth, axis=1)})) == ["sure"]


@pytest.mark.study
def test_study_of_calibration() -> None:
    found = ranked_all(range(FIRST, FIRST + UNITS), workers=1)
    print("\n" + as_text(found))
    table = by_name(found)
    assert uneven(table) == {}
    whole = {name: ranks for name, ranks in table.items() if name.startswith("all")}
    short = {n: inside(r) for n, r in whole.items() if binom.cdf(inside(r), len(r), LEAST) < RARE / len(whole)}
    assert short == {}
    broad = {n: inside(r) for n, r in whole.items() if binom.sf(inside(r) - 1, len(r), MOST) < RARE / len(whole)}
    assert broad == {}
