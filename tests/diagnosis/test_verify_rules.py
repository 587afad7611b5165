"""The rules by which a finished unit is judged, each by hand: guarded acceptance with a guard band of the expanded uncertainty
for a coverage factor of 2, and the specific risk (JCGM 106:2012, 8.3.2 and 9.3.2; SECOND-HAND); what more readings would
bring, by the posterior variance of a normal mean (textbook)."""

from __future__ import annotations

from collections.abc import Iterator
from statistics import NormalDist
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest

from recurve.diagnosis import verify
from recurve.diagnosis.verify import ReadMore, VerifyVerdict
from recurve.physics.sweep import Sweep
from recurve.physics.target import Band, Target
from recurve.uncertainty import Sampled

DEG, RPM = np.pi / 180, np.pi / 30
BAND = Band("point", 800 * RPM, 8 * DEG, 11 * DEG)
NORMAL = np.array([NormalDist().inv_cdf((i + 0.5) / 20_001) for i in range(20_001)])
NORMAL /= NORMAL.std()


def read(mean: float, u: float = 0.1) -> Sampled:
    """A normal sample of so many degrees, of standard uncertainty `u` [deg]."""
    return Sampled((mean + u * NORMAL) * DEG)


@pytest.fixture
def none_settles(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(verify, "settling", lambda *given: None)


@pytest.mark.parametrize(
    ("rising", "falling", "verdict"),
    [
        (9.0, 10.79, "passes"),
        (9.0, 10.81, "too close to call"),  # within 0.2° below the edge, by 2 u
        (9.0, 11.19, "too close to call"),
        (9.0, 11.21, "fails"),
        (8.21, 10.0, "passes"),
        (8.19, 10.0, "too close to call"),
        (7.81, 10.0, "too close to call"),
        (7.79, 10.0, "fails"),
        (7.79, 10.9, "fails"),  # one edge is enough
        (7.9, 11.1, "too close to call"),
    ],
)
def test_the_curve_and_two_standard_uncertainties_lie_inside(
    rising: float, falling: float, verdict: VerifyVerdict, none_settles: None
) -> None:
    """8 to 11°, u = 0.1°: the falling curve is held against the upper edge, the rising one against the lower."""
    unit: Any = None
    assert verify._judged_band(BAND, read(rising), read(falling), unit).verdict == verdict


def test_a_band_from_zero_has_no_lower_edge(none_settles: None) -> None:
    """At most 1° at idle."""
    unit: Any = None
    idle = Band("idle", 250 * RPM, 0.0, 1 * DEG)
    assert verify._judged_band(idle, read(0.0), read(0.7), unit).verdict == "passes"
    assert verify._judged_band(idle, read(0.0), read(0.9), unit).verdict == "too close to call"


@pytest.mark.parametrize(
    ("rising", "falling", "risk"), [(9.5, 10.9, 0.1587), (8.1, 9.5, 0.1587), (9.5, 11.0, 0.5), (8.3, 10.7, 0.0013)]
)
def test_the_risk_of_a_band(rising: float, falling: float, risk: float, none_settles: None) -> None:
    """Φ(−1) = 0.1587 at one standard uncertainty inside either edge; Φ(−3) = 0.00135 (tables of the normal distribution). The
    two curves go up and down together here, so that at three on both sides either tail counts."""
    unit: Any = None
    found = verify._judged_band(BAND, read(rising), read(falling), unit)
    expected = 2 * 0.00135 if risk == 0.0013 else risk
    assert found.risk == pytest.approx(expected, abs=3e-4)


def test_both_edges_must_be_settled(monkeypatch: pytest.MonkeyPatch) -> None:
    """0.1° and 0.15° from the edges: to be settled, a standard uncertainty of half as much is wanted on each side. The reading
    that takes longer is told; where one side cannot be settled, none is."""
    asked = []

    def settled(evidence: object, one: Sampled, wanted: float) -> ReadMore:
        asked.append(round(wanted / DEG, 4))
        return ReadMore(1.0, True, 3 if wanted < 0.06 * DEG else 2)

    unit: Any = None
    monkeypatch.setattr(verify, "settling", settled)
    found = verify._judged_band(BAND, read(8.15), read(10.9), unit)
    assert sorted(asked) == [0.05, 0.075] and found.more == 3
    monkeypatch.setattr(
        verify, "settling", lambda e, one, wanted: None if wanted < 0.06 * DEG else ReadMore(1.0, True, 2)
    )
    assert verify._judged_band(BAND, read(8.15), read(10.9), unit).read is None


SHOWN = NORMAL[np.random.default_rng(3).permutation(len(NORMAL))]


@pytest.mark.parametrize(("wanted", "times"), [(0.96, 1), (0.45, 4), (0.21, 12), (0.19, None), (1.01, None)])
def test_how_often_a_reading_must_be_taken(wanted: float, times: int | None, monkeypatch: pytest.MonkeyPatch) -> None:
    """A quantity of variance 1, read directly with a variance of 3: n readings leave 1/(1 + n/3). By hand 0.75 after one, 0.43
    after four (0.5 after three), 0.2 after twelve, and more than twelve are not proposed. Nothing is to be read where it is
    known well enough."""

    def readings(evidence: object, fit: object) -> Iterator[tuple[float, bool, np.ndarray, float]]:
        yield 1.0, True, SHOWN, float(np.sqrt(3.0))
        yield 2.0, False, NORMAL, 0.1  # which has nothing to do with it

    monkeypatch.setattr(verify, "readings_to_take", readings)
    unit: Any = SimpleNamespace(fit=1)
    found = verify.settling(unit, Sampled(SHOWN), float(np.sqrt(wanted)))
    assert found == (None if times is None else ReadMore(1.0, True, times))


def test_the_reading_that_settles_it_soonest_is_proposed(monkeypatch: pytest.MonkeyPatch) -> None:
    """One that shows the half of it exactly leaves 0.5 at best; of the others the one with less noise takes fewer."""

    def readings(evidence: object, fit: object) -> Iterator[tuple[float, bool, np.ndarray, float]]:
        yield 1.0, True, SHOWN, 3.0
        yield 2.0, False, SHOWN, 1.0
        yield 3.0, True, (SHOWN + NORMAL) / np.sqrt(2), 0.01

    monkeypatch.setattr(verify, "readings_to_take", readings)
    unit: Any = SimpleNamespace(fit=1)
    # 1/(1 + n) ≤ 0.4 from n = 1.5 on.
    assert verify.settling(unit, Sampled(SHOWN), float(np.sqrt(0.4))) == ReadMore(2.0, False, 2)


def sweep(rows: range, advance: float = 0.0) -> Sweep:
    """Readings at these rpm, one after the other."""
    speed = np.array([float(r) for r in rows]) * RPM
    return Sweep(
        speed, speed / 100 + advance, np.ones(len(speed), bool), np.arange(len(speed)) + 2, "left.csv", 0.01, 1.0
    )


@pytest.mark.parametrize(("alike", "same"), [(20, True), (19, True), (18, False), (12, False)])
def test_a_file_is_the_one_as_found_where_nearly_all_readings_are_its(alike: int, same: bool) -> None:
    """19 of 20 readings are 95 %. Two benches may well read the same at half of their speeds."""
    before, now = sweep(range(200, 200 + 50 * alike, 50)), sweep(range(200, 1200, 50))
    assert bool(verify._same(now, before)) == same
    assert not verify._same(now, sweep(range(200, 1200, 50), 0.001))


@pytest.mark.parametrize(
    ("advance", "rising", "left_out", "told"),
    [
        (10.2, True, False, None),  # 11.2°, and a reading may be off by 0.29°
        (10.4, True, False, True),
        (7.5, True, False, None),  # 8.5°
        (6.5, False, False, True),  # 7.5°
        (9.0, True, True, False),
    ],
)
def test_a_reading_is_held_against_its_band_with_what_the_zero_hides(
    advance: float, rising: bool, left_out: bool, told: bool | None
) -> None:
    """8 to 11° at 800 rpm; 1° was in where zero was taken, so the true advance is 1° more than read. A reading of ± 0.25°, two
    standard uncertainties of 0.25/√3, may be off by 0.289°."""
    one = Sweep(
        np.array([BAND.speed]),
        np.array([advance * DEG]),
        np.array([rising]),
        np.array([5]),
        "left.csv",
        0.25 * DEG,
        1.0,
    )
    model = SimpleNamespace(hidden=lambda states: np.array([1 * DEG]), sweep=one)
    job = SimpleNamespace(target=Target((BAND,)))
    fit: Any = SimpleNamespace(job=job, model=model, best=np.zeros(3), outliers=(5,) if left_out else ())
    found = verify._to_read_again(fit, one)
    assert [(x.row, x.left_out, x.band is not None) for x in found] == ([] if told is None else [(5, left_out, told)])
