"""Sparks on the degree wheel: spacing by hand, and figures that are slips of reading or writing and no wear.

Lobes stand 360° / lobes apart (derived); within 1° of distributor is sound (common practice, no source).
"""

from __future__ import annotations

from random import Random
from typing import Literal

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from recurve.inspection.inspected import ShaftWear, WheelMisread, inspect_unit
from recurve.inspection.model import Condition, Inspection, PointsAngles
from recurve.inspection.wheel import SparkRow, moved_opening, spark_row
from recurve.units import Quantity

DEG = np.pi / 180


def row(*at: float, pm: float | tuple[float, ...] = 0.2) -> SparkRow:
    """Sparks at figures of the wheel [deg], each ± `pm` [deg]."""
    each = pm if isinstance(pm, tuple) else (pm,) * len(at)
    sparks = tuple(Quantity(a * DEG, p * DEG) for a, p in zip(at, each, strict=True))
    return spark_row("sparks as read", sparks, None, 1.0 * DEG)


def found(*at: float, pm: float = 0.2, lobes: int | None = None) -> tuple[list[str], list[str], tuple[str, ...]]:
    """Names of the findings, the verdicts, and what is undecided."""
    sparks = tuple(Quantity(a * DEG, pm * DEG) for a in at)
    seen = inspect_unit(Inspection(Condition(sparks=sparks)), lobes or len(at), 2.0)
    return [type(f).__name__ for f in seen.findings], [j.verdict for j in seen.judged], seen.undecided


def test_errors_that_add_up_from_lobe_to_lobe_count() -> None:
    """Eight lobes, each of the first four spaces 0.5° too wide, the others too narrow: no two neighbours are out by more than
    0.5°, but the fifth spark is 4 × 0.5 = 2° from its place by the first."""
    at = [0.0, 45.5, 91.0, 136.5, 182.0, 226.5, 271.0, 315.5]
    one = row(*at)
    assert one.spacing is not None and one.pair == (1, 5)
    assert one.spacing.value / DEG == pytest.approx(2.0)
    assert found(*at)[1] == ["fail"]


def test_each_spark_has_its_own_uncertainty() -> None:
    """1.5° out between two sparks read to ± 2°: two standard uncertainties are 2 √((2² + 2²)/3) = 3.27°, which says nothing. The
    same figures read to ± 0.2° are 1.5 ± 0.33°, over 1°."""
    one = row(0, 90, 180, 271.5, pm=(2.0, 0.5, 0.5, 2.0))
    assert one.spacing is not None and one.spacing.half_width is not None and one.pair == (1, 4)
    assert one.spacing.half_width / DEG == pytest.approx(2 * np.sqrt(8 / 3), rel=1e-6)
    assert found(0, 90, 180, 271.5)[1] == ["fail"]


def test_a_sure_error_is_not_hidden_by_an_unsure_one() -> None:
    """Spark 2 is 2 ± 0.2° out and fails, whatever spark 4, ± 5°, is."""
    one = row(0, 92, 180, 270, pm=(0.2, 0.2, 0.2, 5.0))
    assert one.pair is not None and 4 not in one.pair


@pytest.mark.parametrize("at", [(0, 90, 270, 180), (0, 180, 90, 270), (10, 280, 190, 100)])
def test_sparks_in_firing_order_are_sorted_and_told(at: tuple[float, ...]) -> None:
    names, verdicts, undecided = found(*at)
    assert names == ["WheelMisread"] and verdicts == ["pass"] and undecided == ()


def test_the_order_of_rotation_is_told() -> None:
    """0, 90, 270, 180° pass as first, second, fourth, third."""
    slip = row(0, 90, 270, 180).misread
    assert slip is not None and (slip.kind, slip.sparks) == ("order", (1, 2, 4, 3))
    doubled = row(0, 90, 180, 180).misread
    assert doubled is not None and (doubled.kind, doubled.sparks) == ("whole pitch", (3, 4))
    back = row(270, 180, 90, 0).misread
    assert back is not None and back.kind == "backwards"
    assert row(350, 80, 170, 260).misread is None


def test_six_in_firing_order_that_are_bent_are_still_bent() -> None:
    """1-5-3-6-2-4 on six lobes: lobe 3 stands at 122°, 2° late."""
    names, verdicts, _ = found(0, 240, 122, 300, 60, 180)
    assert set(names) == {"WheelMisread", "ShaftWear"} and verdicts == ["fail"]


@pytest.mark.parametrize("at", [(0, 90, 180, 180), (10, 100, 100.4, 280), (0, 90, 180, 2), (0, 60, 120, 121, 240, 300)])
def test_a_whole_lobe_pitch_is_a_slip_and_no_bent_shaft(at: tuple[float, ...]) -> None:
    names, verdicts, undecided = found(*at)
    assert names == ["WheelMisread"] and verdicts == []
    assert "slip" in undecided[0]


@pytest.mark.parametrize("at", [(0, 0.5, -0.3, 0.2), (0, 1, 2, 3), (5, 5, 5, 5)])
def test_departures_in_place_of_figures_of_the_wheel(at: tuple[float, ...]) -> None:
    names, verdicts, undecided = found(*at)
    assert names == ["WheelMisread"] and verdicts == [] and undecided


def test_a_bent_shaft_is_a_bent_shaft() -> None:
    """11° on a pitch of 90° is far, and still nearer to its own place than to any other."""
    sparks = tuple(Quantity(a * DEG, 0.2 * DEG) for a in (0, 90, 180, 281))
    (wear,) = inspect_unit(Inspection(Condition(sparks=sparks)), 4, 2.0).findings
    assert isinstance(wear, ShaftWear) and wear.severity == "repair first"


@given(st.floats(0, 360), st.lists(st.floats(-3, 3), min_size=2, max_size=12), st.randoms(use_true_random=False))
def test_neither_the_wheel_s_zero_nor_the_order_changes_the_spacing(
    zero: float, off: list[float], random: Random
) -> None:
    """Turning the wheel, or listing the sparks in another order, changes no error; it is the largest less the least."""
    at = [zero + 360 / len(off) * i + x for i, x in enumerate(off)]
    one = row(*at, pm=0.0)
    random.shuffle(at)
    other = row(*at, pm=0.0)
    assert one.spacing is not None and other.spacing is not None
    assert one.spacing.value / DEG == pytest.approx(max(off) - min(off), abs=1e-6)
    assert other.spacing.value == pytest.approx(one.spacing.value, abs=1e-9)


def test_pushed_readings_of_two_lobes_are_told() -> None:
    """Openings at 90 and 180.8° on four lobes are two lobes: the timing moved by 0.8°, not by 90.8°."""

    def pushed(way: Literal["one way", "other way"], closes: float, opens: float) -> PointsAngles:
        return PointsAngles(1, 1, way, Quantity(closes * DEG, 0.1 * DEG), Quantity(opens * DEG, 0.1 * DEG))

    pair = (pushed("one way", 40, 90), pushed("other way", 130, 180.8))
    moved, slip = moved_opening(*pair, 4)
    assert moved.value / DEG == pytest.approx(0.8) and slip is not None
    told = inspect_unit(Inspection(Condition(angles=pair)), 4, 2.0)
    assert any(isinstance(f, WheelMisread) for f in told.findings)
    same, none = moved_opening(pushed("one way", 40, 90), pushed("other way", 40, 90.8), 4)
    assert same.value / DEG == pytest.approx(0.8) and none is None


def test_an_opening_that_is_almost_a_pitch_away_is_the_next_lobe_s() -> None:
    """90 and 175.5° on four lobes: the next lobe's opening, 4.5° early, and no move of 85.5°."""

    def opens(at: float) -> PointsAngles:
        return PointsAngles(1, 1, "one way", Quantity((at - 50) * DEG, 0.1 * DEG), Quantity(at * DEG, 0.1 * DEG))

    moved, slip = moved_opening(opens(90), opens(175.5), 4)
    assert moved.value / DEG == pytest.approx(4.5) and slip is not None


def test_one_spark_read_on_both_sides_of_the_wheel_s_zero_is_one_spark() -> None:
    """359.8° and 0.2° are the same place, and nothing was read at 270°: no even row of four."""
    one = row(0.2, 90, 180, 359.8)
    assert one.spacing is None and one.misread is not None
    assert (one.misread.kind, one.misread.sparks) == ("whole pitch", (1, 4))
