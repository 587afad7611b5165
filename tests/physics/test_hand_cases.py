"""The curve of units that can be worked out by hand.

Weights with I′(α) = C constant and springs on straight levers, L = L₀ + h α, so that ω² = 2 (τ + T_d ± T_f) /
((1 ∓ s) C) is a broken straight line. With C = 2e-5 kg·m²/rad every 10 mN·m makes 1000 rad²/s².
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hand_units import Drive, Lever, steady

from recurve.arrays import Array
from recurve.physics.curve import Drag, Installed, Stop, Unit, residual_advance, trace
from recurve.springs.spring import Spring

# Pulls 1 N at rest, 1 N/mm on 10 mm: τ = 10 mN·m + 0.1 α.
PRIMARY = Installed(Spring("light", 1000.0, 0.019), Lever())
# Takes up at 0.1 rad with 2 N, 2 N/mm on 10 mm: τ = 20 mN·m + 0.2 (α − 0.1) from there.
SECONDARY = Installed(Spring("heavy", 2000.0, 0.021, 2.0), Lever())
UNIT = Unit(Drive(steady), (PRIMARY, SECONDARY), Drag(), 0.2)
# So ω² is 1000 at rest, 2000 and 4000 on both sides of the take-up, 7000 at the stop of 0.2 rad.


def both(unit: Unit, squared: float) -> tuple[float, float]:
    """Rising and falling advance [rad] at ω² [rad²/s²]."""
    curve = trace(unit)
    return float(curve.rising_advance(np.sqrt(squared))), float(curve.falling_advance(np.sqrt(squared)))


HAND = [
    (0.0, 0.0),
    (900.0, 0.0),
    (1500.0, 0.05),
    (1999.0, 0.0999),
    (2001.0, 0.1),
    (3000.0, 0.1),
    (3999.0, 0.1),
    (4300.0, 0.11),
    (5500.0, 0.15),
    (6999.0, 0.2 - 1 / 30000),
    (7001.0, 0.2),
    (1e6, 0.2),
]


@pytest.mark.parametrize(("squared", "advance"), HAND)
def test_plateau_by_hand(squared: float, advance: float) -> None:
    """The advance waits at the take-up from ω² = 2000 to 4000, both ways; the stop holds it past 7000."""
    assert both(UNIT, squared) == pytest.approx((advance, advance), abs=1e-9)


def test_speeds_by_hand() -> None:
    """Onset and home at 1000, all in at 7000; 0.1 rad is reached at 2000, before the jump, and left at 4000."""
    curve = trace(UNIT)
    assert (curve.onset, curve.return_speed, curve.all_in) == pytest.approx(np.sqrt([1000.0, 1000.0, 7000.0]))
    assert curve.takeups == pytest.approx((0.0, 0.1))
    assert curve.snaps == ()
    assert curve.rising_speed(0.0) == pytest.approx(np.sqrt(1000.0))
    assert curve.rising_speed(0.1) == pytest.approx(np.sqrt(2000.0))
    assert curve.rising_speed(0.1001) == pytest.approx(np.sqrt(4003.0))
    assert curve.rising_speed(0.15) == pytest.approx(np.sqrt(5500.0))
    assert curve.rising_speed(0.2) == pytest.approx(np.sqrt(7000.0))
    assert curve.rising_speed(0.2001) is None


def test_friction_by_hand() -> None:
    """T_f = 2 mN·m shifts the rising curve up and the falling one down by 200 rad²/s²."""
    unit = replace(UNIT, drag=Drag(friction=2e-3))
    curve = trace(unit)
    assert (curve.onset, curve.return_speed, curve.all_in) == pytest.approx(np.sqrt([1200.0, 800.0, 7200.0]))
    assert both(unit, 1500.0) == pytest.approx((0.03, 0.07), abs=1e-9)
    # The plateau lies from 2200 to 4200 rising, from 3800 to 1800 falling.
    assert both(unit, 4100.0) == pytest.approx((0.1, 0.11), abs=1e-9)
    assert both(unit, 2100.0) == pytest.approx((0.09, 0.1), abs=1e-9)


def test_friction_share_by_hand() -> None:
    """s = 0.2: ω² is 1/0.8 of it rising and 1/1.2 falling; at 1500 it balances 12 and 18 mN·m."""
    unit = replace(UNIT, drag=Drag(friction_share=0.2))
    assert both(unit, 1500.0) == pytest.approx((0.02, 0.08), abs=1e-9)
    curve = trace(unit)
    assert (curve.onset, curve.return_speed, curve.all_in) == pytest.approx(np.sqrt([1250.0, 1000 / 1.2, 8750.0]))


def test_drag_by_hand() -> None:
    """T_d = 5 mN·m moves both curves up by 500 rad²/s²."""
    unit = replace(UNIT, drag=Drag(rubbing_block=5e-3))
    assert both(unit, 1500.0) == pytest.approx((0.0, 0.0), abs=1e-9)
    assert both(unit, 2000.0) == pytest.approx((0.05, 0.05), abs=1e-9)


SLACK = replace(UNIT, springs=(replace(PRIMARY, spring=replace(PRIMARY.spring, free_length=0.0205)), SECONDARY))
# The primary takes up at 0.05 rad: τ = 0.1 (α − 0.05) from there to 0.1 rad.


@pytest.mark.parametrize(
    ("drag", "squared", "residual"),
    [
        (0.0, 100.0, (0.06, 0.06)),  # 1 mN·m
        (4e-3, 100.0, (0.0, 0.06)),  # the drag of 4 mN·m alone holds to 400
        (4e-3, 399.0, (0.0, 0.05 + 0.0399)),
        (4e-3, 500.0, (0.06, 0.1)),
        (4e-3, 1000.0, (0.1, 0.1)),  # the secondary's plateau begins at 900 with drag, at 500 without
    ],
)
def test_residual_by_hand(drag: float, squared: float, residual: tuple[float, float]) -> None:
    """A slack primary leaves advance in; drag may be all that brings it home."""
    unit = replace(SLACK, drag=Drag(rubbing_block=drag))
    assert residual_advance(unit, float(np.sqrt(squared))) == pytest.approx(residual, abs=1e-9)


def test_slack_unit_by_hand() -> None:
    """Without drag a slack unit has no onset and no home; with friction of 1 mN·m it has an onset, at 100."""
    curve = trace(SLACK)
    assert (curve.onset, curve.return_speed) == (None, None)
    assert curve.takeups == pytest.approx((0.05, 0.1))
    assert curve.rising_speed(0.02) is None
    rubbed = trace(replace(SLACK, drag=Drag(friction=1e-3)))
    assert rubbed.onset == pytest.approx(10.0)
    assert rubbed.return_speed is None
    # At rest friction holds the weights where 0.1 (α − 0.05) = 1 mN·m.
    assert float(rubbed.falling_advance(0.0)) == pytest.approx(0.06, abs=1e-9)


def test_rising_begins_at_what_stayed_in() -> None:
    """From 0.06 rad the rising curve holds until its own speed is met: 0.06 up to 100, then 0.08 at 300."""
    curve = trace(SLACK)
    for squared, advance in ((0.0, 0.06), (90.0, 0.06), (300.0, 0.08)):
        assert float(curve.rising_advance(np.sqrt(squared), 0.06)) == pytest.approx(advance, abs=1e-4)


def test_falling_from_below_the_stop() -> None:
    """A sweep that reached only 0.05 rad falls from there: 0.05 down to 1500, then along the curve."""
    curve = trace(UNIT)
    for squared, advance in ((9000.0, 0.05), (1600.0, 0.05), (1200.0, 0.02)):
        assert float(curve.falling_advance(np.sqrt(squared), 0.05)) == pytest.approx(advance, abs=1e-9)


def cubic(alpha: Array) -> Array:
    """ω² = 1000 (x³ − 3x + 3), x = −2 + 20 α: 1000 at rest, 5000 at the hump x = −1, 1000 at x = 1, 5000 at x = 2."""
    x = -2 + 20 * alpha
    return 1000 * (x**3 - 3 * x + 3)


def test_snap_by_hand() -> None:
    """The hump at α = 0.05 is jumped over at ω² = 5000 to α = 0.2; falling, the weights stay out until 1000."""
    spring = Installed(Spring("even", 1e-9, 0.019, 1.0), Lever())  # 1 N throughout: τ = 10 mN·m
    unit = Unit(Drive(lambda alpha: 2 * 0.01 / cubic(alpha)), (spring,), Drag(), 0.22)
    curve = trace(unit, 20001)
    (snap,) = curve.snaps
    assert (snap.start, snap.end, snap.speed) == pytest.approx((0.05, 0.2, np.sqrt(5000.0)), abs=2e-5)
    # Between, x³ = 3x: x = −√3 on the way up, x = √3 on the way down.
    assert both(unit, 3000.0) == pytest.approx(((2 - np.sqrt(3)) / 20, (2 + np.sqrt(3)) / 20), abs=1e-6)
    # Past the snap, within a step of the grid of 2001 points.
    assert both(unit, 5001.0)[0] == pytest.approx(0.2, abs=1.2e-4)
    assert curve.return_speed == pytest.approx(np.sqrt(1000.0), rel=1e-6)


def test_three_snaps() -> None:
    """Three humps of ω² are three snaps, each at its own speed: 1000 + 16000 α + 600 sin(2 π α / 0.1) has its crests
    where cos(2 π α / 0.1) = −16000 · 0.1 / (1200 π), by hand; the last is jumped over to the stop."""

    def squared(alpha: Array) -> Array:
        return 1000 + 16000 * alpha + 600 * np.sin(20 * np.pi * alpha)

    spring = Installed(Spring("even", 1e-9, 0.019, 1.0), Lever())
    curve = trace(Unit(Drive(lambda alpha: 2 * 0.01 / squared(alpha)), (spring,), Drag(), 0.25), 20001)
    crests = np.arccos(-16000 / (600 * 20 * np.pi)) / (20 * np.pi) + np.array([0.0, 0.1, 0.2])
    assert [s.start for s in curve.snaps] == pytest.approx(crests, abs=2e-5)
    assert [s.speed**2 for s in curve.snaps] == pytest.approx(squared(crests), rel=1e-6)
    landed = [float(squared(np.array(s.end))) for s in curve.snaps[:2]]
    assert landed == pytest.approx(squared(crests[:2]), rel=1e-3)
    assert curve.snaps[2].end == 0.25


def test_stop_and_its_trim() -> None:
    """13.8° on a stop 14 mm out: 1 mm is 1/14 rad; filing adds, building up takes."""
    stop = Stop(np.radians(13.8), 1 / 14e-3, 0.4e-3, 1.2e-3)
    assert stop.limits == pytest.approx((np.radians(13.8) - 1.2 / 14, np.radians(13.8) + 0.4 / 14))
    assert stop.trim(np.radians(13.8) - 0.7 / 14) == pytest.approx(0.7e-3)
    assert stop.trim(np.radians(13.8) + 0.3 / 14) == pytest.approx(-0.3e-3)
    assert Stop(0.2).trim(0.1) == 0.0
    assert Stop(0.2).limits == (0.2, 0.2)
