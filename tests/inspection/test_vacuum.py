"""The vacuum unit: a capsule found again from readings of one that is known, bands, leaks, stiction; limits of the TM."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from recurve.inspection.bench import INHG
from recurve.inspection.model import Hold, Vacuum, VacuumPoint, VacuumReading
from recurve.inspection.vacuum import check_vacuum, fit_capsule, vacuum_advance, vacuum_range
from recurve.units import Quantity as Measured

DEG = np.pi / 180
BOOK = {"start": (4 * INHG, 6 * INHG), "full": (11 * INHG, 14 * INHG), "maximum": (7 * DEG, 9 * DEG)}


def unit(
    start: float = 5.0, rate: float = 1.1, most: float = 8.0, late: float = 0.0, noise: float = 0.0, top: float = 18.0,
    seed: int = 1, sign: int = 1, hold: Hold | None = None,
) -> Vacuum:  # fmt: skip
    """A unit read up and down every 1 inHg: starts at `start` inHg, `rate` ° per inHg, `late` inHg stiction each way."""
    draw = np.random.default_rng(seed)
    rows = []
    for rising in (True, False):
        for at in np.arange(2.0, top, 1.0):
            true = np.clip(rate * (at - start - (late if rising else -late)), 0.0, most)
            rows.append(VacuumReading(at * INHG, max(true + draw.normal(0, noise), 0.0) * DEG, rising))
    return Vacuum(
        sign, BOOK["start"], BOOK["full"], BOOK["maximum"], (VacuumPoint(8 * INHG, 2 * DEG, 5 * DEG),), tuple(rows),
        0.3 * DEG, 0.2 * INHG, hold,
    )  # fmt: skip


@settings(max_examples=25)
@given(start=st.floats(3, 7), rate=st.floats(0.7, 2), most=st.floats(5, 9), late=st.floats(0.1, 0.6))
def test_a_capsule_is_found_again(start: float, rate: float, most: float, late: float) -> None:
    """Readings without error give the capsule they were made from."""
    assume(start + most / rate <= 15)
    found = fit_capsule(unit(start, rate, most, late))
    assert found is not None and found.stop is not None and found.full is not None and found.apart is not None
    assert found.start.value / INHG == pytest.approx(start, abs=0.02)
    assert found.rate.value / DEG * INHG == pytest.approx(rate, rel=0.02)
    assert found.stop.value / DEG == pytest.approx(most, abs=0.02)
    assert found.full.value / INHG == pytest.approx(start + most / rate, abs=0.05)
    assert found.apart.value / DEG == pytest.approx(2 * late * rate, abs=0.05)


def test_the_truth_lies_within_the_uncertainty() -> None:
    """Over 40 sets of errors the start is within two standard uncertainties in most; errors as stated (GUM 4.3.7)."""
    inside = 0
    for seed in range(40):
        found = fit_capsule(unit(noise=0.3 / np.sqrt(3), late=0.2, seed=seed))
        assert found is not None and found.start.standard_uncertainty is not None
        inside += abs(found.start.value / INHG - 5.0) <= 2 * found.start.standard_uncertainty / INHG
    assert inside >= 34


def test_a_unit_that_never_reached_its_stop_has_none() -> None:
    found = fit_capsule(unit(top=10.0))
    assert found is not None and found.stop is None and found.full is None


def verdicts(given: Vacuum) -> dict[str, str]:
    """Every check's verdict."""
    return {j.what: j.verdict for j in check_vacuum(given).judged}


def test_bands() -> None:
    """By hand against the book of these tests: 5 inHg, 8°, full at 12.3 inHg pass; a start of 8 inHg and 5° do not."""
    assert set(verdicts(unit(noise=0.05)).values()) == {"pass"}
    told = verdicts(unit(start=8.0, most=5.0, noise=0.05))
    assert told["vacuum unit begins at"] == told["vacuum unit's maximum"] == told["vacuum unit at 27 kPa"] == "fail"


def test_leak_and_stiction() -> None:
    """A unit must hold 16 inHg: US Army TM 5-4210-230-14&P-1 pp. 554-556 (READ)."""
    low = Hold(Measured(12 * INHG, 0.1 * INHG), Measured(12 * INHG, 0.1 * INHG), 30.0)
    leaks = Hold(Measured(17 * INHG, 0.1 * INHG), Measured(9 * INHG, 0.1 * INHG), 30.0)
    assert verdicts(unit(hold=low))["vacuum unit drawn to"] == "fail"
    told = verdicts(unit(hold=leaks, late=1.0))
    assert told["vacuum lost in 30 s"] == told["vacuum unit, rising against falling"] == "fail"


def test_retard_takes_away() -> None:
    given = unit(sign=-1)
    told = vacuum_advance(given, 16 * INHG)
    assert told is not None and told[0] / DEG == pytest.approx(-8.0, abs=0.05)
    assert vacuum_range(given) / DEG == pytest.approx(-8.0, abs=0.05)
