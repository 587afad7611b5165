"""The vacuum unit: a capsule found again from readings of one that is known, bands, leaks, stiction; limits of the TM."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from scipy.optimize import curve_fit

from recurve.inspection import vacuum
from recurve.inspection.bench import INHG, Item
from recurve.inspection.inspected import inspect_unit
from recurve.inspection.model import Hold, Inspection, Vacuum, VacuumPoint, VacuumReading
from recurve.inspection.vacuum import check_vacuum, fit_capsule, vacuum_advance, vacuum_range
from recurve.inspection.vacuum_findings import VacuumBasis, VacuumDead, VacuumOffBook
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


def read_at(*rows: tuple[float, float, bool], points: tuple[tuple[float, float, float], ...] = ()) -> Vacuum:
    """A unit of these tests' book, or of points (inHg, least, most °), read at (inHg, °, rising)."""
    book = (None, None, None) if points else (BOOK["start"], BOOK["full"], BOOK["maximum"])
    return Vacuum(
        1, *book, tuple(VacuumPoint(p * INHG, a * DEG, b * DEG) for p, a, b in points),
        tuple(VacuumReading(p * INHG, a * DEG, up) for p, a, up in rows), 0.3 * DEG, 0.2 * INHG, None,
    )  # fmt: skip


THREE = ((4.0, 0.0, 2.0), (8.0, 4.0, 6.0), (12.0, 7.0, 9.0))


def test_a_dead_unit_fails_at_the_points_of_its_book() -> None:
    """By hand: 0° at 8 and 12 inHg where 4 to 6° and 7 to 9° are asked; one finding, not three."""
    given = read_at((4, 0, True), (8, 0, True), (12, 0, True), points=THREE)
    assert verdicts(given) == {
        "vacuum unit at 14 kPa": "pass",
        "vacuum unit at 27 kPa": "fail",
        "vacuum unit at 41 kPa": "fail",
    }
    (found,) = inspect_unit(Inspection(vacuum=given), 4, 2.0).findings
    assert isinstance(found, VacuumDead) and found.severity == "medium"


def test_a_weak_unit_fails_at_the_points_of_its_book() -> None:
    """By hand: 0, 1, 2° where 0 to 2, 4 to 6 and 7 to 9° are asked; only two readings move."""
    given = read_at((4, 0, True), (8, 1, True), (12, 2, True), points=THREE)
    assert [j.verdict for j in check_vacuum(given).judged] == ["pass", "fail", "fail"]
    found = inspect_unit(Inspection(vacuum=given), 4, 2.0).findings
    assert [type(f) for f in found].count(VacuumOffBook) == 2


def test_a_good_unit_read_at_the_points_of_its_book_passes() -> None:
    given = read_at((4, 1, True), (8, 5, True), (12, 8, True), points=THREE)
    assert set(verdicts(given).values()) == {"pass", "no limit"}  # the book gives no start, full or maximum
    assert inspect_unit(Inspection(vacuum=given), 4, 2.0).findings == ()


@pytest.mark.parametrize(
    ("at", "advance", "verdict"),
    [
        (4.0, 0.0, "pass"),
        (4.0, 2.0, "fail"),
        (8.5, 0.0, "fail"),
        (8.5, 3.0, "pass"),
        (16.0, 8.0, "pass"),
        (16.0, 5.0, "fail"),
    ],
)
def test_a_reading_between_the_figures_of_the_book(at: float, advance: float, verdict: str) -> None:
    """Begins at 4 to 6 inHg, full at 11 to 14, maximum 7 to 9°. By hand at 8.5 inHg: at least 7·(8.5 − 6)/(14 − 6) = 2.2°, at
    most 9·(8.5 − 4)/(11 − 4) = 5.8°; below 4 inHg nothing; from 14 inHg on 7 to 9°."""
    (judged,) = check_vacuum(read_at((at, advance, True))).judged
    assert judged.verdict == verdict


def test_begins_at_is_the_rising_figure() -> None:
    """Starts at 5 inHg, 1 inHg late each way: by hand 6 inHg rising, home again at 4 inHg."""
    found = check_vacuum(unit(late=1.0)).capsule
    assert found is not None
    assert found.begins(rising=True).value / INHG == pytest.approx(6.0, abs=0.05)
    assert found.begins(rising=False).value / INHG == pytest.approx(4.0, abs=0.05)
    begins = next(j for j in check_vacuum(unit(start=5.6, late=0.9)).judged if j.item is Item.VACUUM_START)
    assert begins.measured.value / INHG == pytest.approx(6.5, abs=0.05) and begins.verdict == "fail"


def test_a_falling_reading_is_held_against_the_rising_one() -> None:
    """By hand: 5° falling and 1° rising at one vacuum are 4° apart; the trade's limit is less."""
    given = read_at((8, 1, True), (8, 5, False), points=((8.0, 0.0, 2.0),))
    told = verdicts(given)
    assert told["vacuum unit, rising against falling"] == "fail" and told["vacuum unit at 27 kPa"] == "pass"


def test_what_cannot_be_judged_is_said() -> None:
    assert check_vacuum(read_at((4, 1, True), (8, 5, True), points=THREE)).unjudged == ("no reading at 41 kPa",)
    assert "rising" in check_vacuum(read_at((8, 5, False), points=THREE)).unjudged[0]
    (lacking,) = check_vacuum(read_at((5, 0, True), (9, 3, True))).unjudged
    assert lacking.startswith("no reading at 47 kPa or more")
    bare = read_at((8, 5, True))
    assert "of the book's figures" in check_vacuum(replace(bare, start=None, full=None, maximum=None)).unjudged[0]
    assert check_vacuum(unit()).unjudged == ()


def test_a_book_that_lacks_a_figure_still_judges_what_it_can() -> None:
    """Start 4 to 6 inHg and maximum 7 to 9°, no full: 0, 1, 2° at 4, 8, 12 inHg may be right, and it is said that this is open;
    11° is over any maximum, 2° at 3 inHg is too early."""
    weak = replace(read_at((4, 0, True), (8, 1, True), (12, 2, True)), full=None)
    assert check_vacuum(weak).unjudged[0].startswith("the job gives no full from the book")
    over = replace(read_at((3, 2, True), (12, 11, True)), full=None)
    assert [j.verdict for j in check_vacuum(over).judged] == ["fail", "fail"]


def test_a_book_without_readings_is_not_called_right() -> None:
    given = read_at(points=THREE)
    assert check_vacuum(given).unjudged == ("no readings were taken",)
    assert [f.severity for f in inspect_unit(Inspection(vacuum=given), 4, 2.0).findings] == ["open question"]


def test_a_reading_past_the_last_point_of_the_book_counts() -> None:
    """More vacuum never gives less: 3° at 16 inHg, where 7° at least are asked at 12 inHg; 5° at 10 inHg, between 4° at 8 and
    9° at 12 inHg, is right."""
    given = read_at((8, 5, True), (10, 5, True), (12, 8, True), (16, 3, True), points=THREE)
    told = {j.detail: j.verdict for j in check_vacuum(given).judged if j.item is Item.VACUUM_POINT}
    assert told[" 54 kPa"] == "fail" and told.get(" 34 kPa", "pass") == "pass"


def test_numbers_that_the_readings_do_not_tell_are_not_judged() -> None:
    """4, 5 and 8° at 0, 8 and 12 inHg lie on no line: where it begins could be anywhere."""
    check = check_vacuum(read_at((0, 4, True), (8, 5, True), (12, 8, True)))
    assert check.capsule is not None and check.capsule.start.standard_uncertainty is None
    assert Item.VACUUM_START not in {j.item for j in check.judged}
    assert any("where it begins" in words for words in check.unjudged)


@pytest.mark.parametrize(("factor", "rows"), [(2.0, (2, 10, 16)), (0.5, (0.5, 2.5, 4))])
def test_crank_degrees_for_the_distributors(factor: float, rows: tuple[float, float, float]) -> None:
    """1, 5, 8° of the distributor are 2, 10, 16° of the crank (common practice, no source): that is asked before all else."""
    given = read_at(*((at, a, True) for at, a in zip((4, 8, 12), rows, strict=True)), points=THREE)
    found = inspect_unit(Inspection(vacuum=given), 4, 2.0).findings
    assert isinstance(found[0], VacuumBasis) and found[0].factor == factor
    assert not any(isinstance(f, VacuumOffBook) for f in found)
    weak = read_at((4, 0, True), (8, 1, True), (12, 4, True), points=THREE)  # doubled, 2° at 8 inHg is still too little
    assert not any(isinstance(f, VacuumBasis) for f in inspect_unit(Inspection(vacuum=weak), 4, 2.0).findings)


def test_what_a_weak_or_dead_unit_adds_is_what_was_read_and_not_the_book() -> None:
    """By hand: 0° at 8 and 12 inHg are 0° at 10 inHg, and 1 and 2° are 1.5°, though the book has 5 and 8° there."""
    dead = read_at((4, 0, True), (8, 0, True), (12, 0, True), points=THREE)
    assert vacuum_advance(dead, 10 * INHG) == (0.0, "as read")
    weak = read_at((4, 0, True), (8, 1, True), (12, 2, True), points=THREE)
    told = vacuum_advance(weak, 10 * INHG)
    assert told is not None and told[0] / DEG == pytest.approx(1.5) and told[1] == "as read"


def test_a_fit_is_not_carried_past_what_was_read() -> None:
    """Read up to 10 inHg, still climbing: at 16 inHg a straight line would give 12.1°; the book has 8° at the most."""
    short = unit(top=10.5)
    told = vacuum_advance(short, 16 * INHG)
    assert told is not None and told[0] / DEG <= 8.0 + 1e-9 and "no reading was taken there" in told[1]
    inside = vacuum_advance(short, 9 * INHG)
    assert inside is not None and inside[1] == "as measured" and inside[0] / DEG == pytest.approx(4.4, abs=0.05)


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


# --- how sure it is -----------------------------------------------------------------------------------------


def test_a_reading_is_as_sure_as_dial_and_gauge_together() -> None:
    """1° per inHg: ± 0.3° of the dial and ± 0.4 inHg of the gauge make ± 0.5°: 0.5°/√3 standard (GUM 4.3.7)."""
    given = replace(unit(), reading=0.3 * DEG, gauge=0.4 * INHG)
    at = np.array([5.0, 7.0, 10.0])
    assert vacuum._sigma(given, at * INHG, (at - 5.0) * DEG) == pytest.approx(0.5 * DEG / np.sqrt(3))


def test_the_uncertainties_are_those_of_scipy() -> None:
    """By `scipy.optimize.curve_fit` on the same readings, which scatter more than stated:
    start, rate, stop and stiction, and once more with the full vacuum in place of the rate."""
    given = unit(late=0.4, noise=0.25, seed=4)
    found = fit_capsule(given)
    assert found is not None
    late = np.array([1.0 if r.rising else -1.0 for r in given.readings])
    at, read = (np.array([getattr(r, n) for r in given.readings]) for n in ("vacuum", "advance"))
    at, read = at / INHG, read / DEG

    def by_rate(_: object, start: float, rate: float, stop: float, stiction: float) -> np.ndarray:
        return np.clip(rate * (at - start - late * stiction), 0.0, stop)

    def by_full(_: object, start: float, full: float, stop: float, stiction: float) -> np.ndarray:
        return by_rate(_, start, stop / (full - start), stop, stiction)

    values, spread = curve_fit(by_rate, at, read, (5.0, 1.1, 8.0, 0.4))
    ours = (found.start, found.rate, found.stop, found.stiction)
    size = (INHG, DEG / INHG, DEG, INHG)
    for one, value, variance, unit_of in zip(ours, values, np.diag(spread), size, strict=True):
        assert one is not None and one.standard_uncertainty is not None
        assert one.value / unit_of == pytest.approx(value, rel=2e-3)
        assert one.standard_uncertainty / unit_of == pytest.approx(np.sqrt(variance), rel=0.02)
    full, variances = curve_fit(by_full, at, read, (5.0, 12.0, 8.0, 0.4))
    assert found.full is not None and found.full.standard_uncertainty is not None
    assert found.full.value / INHG == pytest.approx(full[1], rel=2e-3)
    assert found.full.standard_uncertainty / INHG == pytest.approx(np.sqrt(variances[1, 1]), rel=0.02)


def test_a_capsule_is_judged_by_two_standard_uncertainties() -> None:
    """The start with vacuum rising is start and stiction together, in quadrature; the maximum is the stop alone."""
    check = check_vacuum(unit(noise=0.2, late=0.4))
    found = check.capsule
    assert found is not None and found.stiction is not None and found.stop is not None
    start, stiction, stop = (x.standard_uncertainty or 0.0 for x in (found.start, found.stiction, found.stop))
    wide = {j.item: j.measured.half_width for j in check.judged}
    assert stop > 0
    assert wide[Item.VACUUM_START] == pytest.approx(2 * np.hypot(start, stiction))
    assert wide[Item.VACUUM_MAXIMUM] == pytest.approx(2 * stop)


def test_the_same_gauge_twice_is_surer_of_what_was_lost() -> None:
    """Half of ± 0.2 inHg is left to each of two readings: 2 √(2 · 0.1²/3) = 0.163 inHg."""
    hold = Hold(Measured(16 * INHG, 0.2 * INHG), Measured(15 * INHG, 0.2 * INHG), 60.0)
    (lost,) = [j for j in check_vacuum(unit(hold=hold)).judged if j.item is Item.VACUUM_LOSS]
    assert lost.measured.value / INHG == pytest.approx(1.0)
    assert lost.measured.half_width is not None and lost.measured.half_width / INHG == pytest.approx(0.1633, abs=1e-4)


@pytest.mark.parametrize("order", [(5.0, 7.5), (7.5, 5.0), (5.0, 2.5)])
def test_of_several_readings_at_a_point_the_worst_counts(order: tuple[float, float]) -> None:
    """4 to 6° at 8 inHg: 5° passes, 7.5 and 2.5° do not."""
    given = read_at(*((8, a, True) for a in order), points=THREE)
    assert verdicts(given)["vacuum unit at 27 kPa"] == "fail"


def test_a_unit_that_moves_at_all_is_not_dead() -> None:
    """Nothing with vacuum rising, 5° with vacuum falling: it sticks, or was read wrongly, but it moves."""
    still = [(8, 0, True), (12, 0, True)]
    assert check_vacuum(read_at(*still, points=THREE)).dead
    assert not check_vacuum(read_at(*still, (8, 5, False), points=THREE)).dead
