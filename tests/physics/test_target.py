"""Bands and margins (recurve.physics, section 8), by hand."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from recurve.physics.curve import Trace
from recurve.physics.target import Band, BandResult, Target, judge, worst

DEG = np.pi / 180


def band(low: float, high: float, speed: float | None = 100.0) -> Band:
    """A band in degrees."""
    return Band("point" if speed is not None else "maximum", speed, low * DEG, high * DEG)


@pytest.mark.parametrize(
    ("low", "high", "advance", "margin"),
    [
        (5, 7, 6, 1.0),  # the centre
        (5, 7, 5, 0.0),  # the edges
        (5, 7, 7, 0.0),
        (5, 7, 6.5, 0.5),  # half-way between
        (5, 7, 5.25, 0.25),
        (5, 7, 4, -1.0),  # as far outside as the half width
        (5, 7, 10, -3.0),
        (0, 2, 0, 1.0),  # from zero: only the upper edge counts
        (0, 2, 1, 0.5),
        (0, 2, 2, 0.0),
        (0, 2, 4, -1.0),
        (-1, 2, 0, 1.0),  # a band that begins below zero is one from zero
        (-1, 2, 1, 0.5),
    ],
)
def test_margin_by_hand(low: float, high: float, advance: float, margin: float) -> None:
    """By definition 1 at the centre, 0 on the edge, linear, negative outside; from zero 1 at 0 and 0 at the top."""
    assert float(band(low, high).margin(advance * DEG)) == pytest.approx(margin, abs=1e-12)


def test_the_maximum_has_the_same_margin() -> None:
    """10.5° to 11.5°: 11.25° lies half-way between centre and edge."""
    assert float(band(10.5, 11.5, None).margin(11.25 * DEG)) == pytest.approx(0.5)


@given(
    low=st.floats(0.5, 20),
    width=st.floats(0.1, 10),
    margin=st.floats(-50, 1),
)
def test_edges_undo_margin(low: float, width: float, margin: float) -> None:
    """Both edges at a margin have that margin, what lies between more, what lies outside less."""
    one = band(low, low + width)
    below, above = one.edges(margin)
    assert one.margin(below) == pytest.approx(margin, abs=1e-9)
    assert one.margin(above) == pytest.approx(margin, abs=1e-9)
    assert one.margin((below + above) / 2) == pytest.approx(1.0, abs=1e-9)
    assert one.margin(above + 0.1 * DEG) < margin
    assert one.margin(below - 0.1 * DEG) < margin


@given(high=st.floats(0.1, 20), margin=st.floats(-50, 1))
def test_edges_of_a_band_from_zero(high: float, margin: float) -> None:
    """The upper edge has the margin; nothing is too little."""
    one = band(0.0, high)
    below, above = one.edges(margin)
    assert float(below) == 0.0
    assert one.margin(above) == pytest.approx(margin, abs=1e-9)


def test_edges_of_many_margins_at_once() -> None:
    """5° to 7° at margins 0, ½, 1: 5–7, 5.5–6.5, 6–6."""
    below, above = band(5, 7).edges(np.array([0.0, 0.5, 1.0]))
    assert np.asarray(below) / DEG == pytest.approx([5.0, 5.5, 6.0])
    assert np.asarray(above) / DEG == pytest.approx([7.0, 6.5, 6.0])


def straight(onset: float, friction: float = 0.0) -> Trace:
    """A made-up curve: ω² rises straight from `onset` at 0° to `onset` + 1000 at 10°, `friction` up and down from it."""
    advance = np.linspace(0.0, 10.0, 1001) * DEG
    squared = onset + 1000.0 * np.linspace(0.0, 1.0, 1001)
    return Trace(advance, squared + friction, squared - friction, (0.0,))


def test_judge_by_hand() -> None:
    """ω² = 500 lies half-way up; friction 100 parts rising 4° and falling 6°: margins in 4–8° are 0 and 1."""
    speed = float(np.sqrt(500.0))
    target = Target((band(4, 8, speed), band(8, 11, None)))
    point, maximum = judge(target, straight(0.0, 100.0))
    assert point.rising / DEG == pytest.approx(4.0)
    assert point.falling / DEG == pytest.approx(6.0)
    assert point.margin == pytest.approx(0.0, abs=1e-9)
    # The stop at 10° in 8–11°: 0.5 from the centre of half width 1.5.
    assert (maximum.rising / DEG, maximum.falling / DEG) == pytest.approx((10.0, 10.0))
    assert maximum.margin == pytest.approx(2 / 3)
    assert worst((point, maximum)) == point.margin


def test_the_rising_curve_begins_at_what_stays_in() -> None:
    """At an idle of ω² = 100 the falling curve (ω₋² = −200 … 800) keeps 3° in, so at ω² = 250, where rising speed
    alone would have brought 0.5°, there are 3°; at ω² = 700 rising speed has brought 5°."""
    idle = Band("idle", float(np.sqrt(100.0)), 0.0, 4.0 * DEG)
    target = Target((band(1, 5, float(np.sqrt(250.0))), idle, band(4, 8, float(np.sqrt(700.0)))))
    low, at_idle, high = judge(target, straight(0.0, 200.0))
    assert at_idle.rising / DEG == pytest.approx(3.0)
    assert at_idle.falling / DEG == pytest.approx(3.0)
    assert at_idle.margin == pytest.approx(0.25)
    assert low.rising / DEG == pytest.approx(3.0)
    assert high.rising / DEG == pytest.approx(5.0)
    assert high.falling / DEG == pytest.approx(9.0)
    assert high.margin == pytest.approx(-0.5)


def test_parts_of_a_target() -> None:
    """Idle speed, maximum and the bands at a speed are found in any order."""
    idle, point, maximum = Band("idle", 30.0, 0.0, 0.01), band(1, 2), band(9, 11, None)
    whole = Target((maximum, point, idle))
    assert (whole.idle_speed, whole.maximum, whole.timed) == (30.0, maximum, (point, idle))
    bare = Target((point,))
    assert (bare.idle_speed, bare.maximum, bare.timed) == (None, None, (point,))
    assert isinstance(judge(bare, straight(0.0))[0], BandResult)
