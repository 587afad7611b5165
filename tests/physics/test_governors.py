"""Spring-loaded governors from textbooks, solved by the core of the curve: the same balance of moments.

A governor's bell crank is given to the core as I(α) and L(α), α the angle of the crank: balls at
r = r_slow + a α, sleeve at b α (a ball arm, b sleeve arm, both upright at mid-travel, obliquity and
weights neglected as the books do). In each book F = m ω² r at one ball; 1 fast end, 2 slow end.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
import pytest
from numpy.typing import ArrayLike
from scipy.optimize import brentq

from recurve.arrays import Array
from recurve.physics.curve import Drag, Installed, Trace, Unit, trace
from recurve.springs.spring import Spring

INCH, LBF = 0.0254, 4.4482216152605
LBF_PER_INCH = LBF / INCH
# The books take g as 32.2 ft/s²: a ball of W lb is W/32.2 slug.
POUND = LBF / (32.2 * 0.3048)
RPM = np.pi / 30


@dataclass(frozen=True)
class Balls:
    """Two balls of `mass` [kg] on arms [m] of a bell crank, `slow` [m] from the shaft at the slow end."""

    mass: float
    slow: float
    arm: float

    def inertia_slope(self, advance: ArrayLike) -> Array:
        """d(2 m r²)/dα [kg·m²/rad] at the crank's angle [rad]."""
        return 4 * self.mass * (self.slow + self.arm * np.asarray(advance, float)) * self.arm


@dataclass(frozen=True)
class Lever:
    """What a spring on an arm [m] of the crank is stretched over; `rest` [m] at the slow end."""

    arm: float
    rest: float = 1.0

    def length(self, advance: ArrayLike, bend: ArrayLike = 0.0) -> tuple[Array, Array]:
        """Length [m] and its slope [m/rad]."""
        alpha = np.asarray(advance, float)
        return self.rest + self.arm * alpha + np.asarray(bend), np.full_like(alpha, self.arm)


def sprung(posts: Lever, rate: float, pull: float, tension: float = 0.0) -> Installed:
    """A spring of this rate [N/m] that pulls `pull` [N] at the slow end, `tension` of it initial."""
    return Installed(Spring("governor", rate, posts.rest - (pull - tension) / rate, tension), posts)


@dataclass(frozen=True)
class Hartnell:
    """A Hartnell governor [kg, m, N/m, N]; `pull` is the sleeve's load at the slow end."""

    mass: float
    slow: float
    lift: float
    ball_arm: float
    sleeve_arm: float
    rate: float = 1.0
    pull: float = 1.0

    def trace(self, drag: Drag | None = None) -> Trace:
        """The core's answer; the crank's angle as the advance."""
        spring = sprung(Lever(self.sleeve_arm), self.rate, self.pull)
        balls = Balls(self.mass, self.slow, self.ball_arm)
        return trace(Unit(balls, (spring,), drag or Drag(), self.lift / self.sleeve_arm), 201)

    def rpm(self, radius: float | None = None) -> float:
        """Speed of balance [rpm] at a ball's radius [m]; at the fast end without one."""
        curve = self.trace()
        crank = curve.stop if radius is None else (radius - self.slow) / self.ball_arm
        return speed_at(curve, crank)


def speed_at(curve: Trace, crank: float) -> float:
    """The speed [rpm] of the rising branch at the crank's angle [rad]."""
    speed = curve.rising_speed(crank)
    assert speed is not None
    return speed / RPM


def solve(rpm: Callable[[float], float], wanted: float, low: float, high: float) -> float:
    """The unknown for which the core gives the wanted speed [rpm]."""
    return float(brentq(lambda x: rpm(x) - wanted, low, high, xtol=1e-12, rtol=1e-12))


def from_two_speeds(given: Hartnell, slow_rpm: float, fast_rpm: float) -> Hartnell:
    """The governor with load and rate found from its two ends' speeds."""

    def loaded(pull: float) -> Hartnell:
        return Hartnell(given.mass, given.slow, given.lift, given.ball_arm, given.sleeve_arm, 1.0, pull)

    pull = solve(lambda p: loaded(p).rpm(given.slow), slow_rpm, 1.0, 1e5)

    def with_rate(rate: float) -> Hartnell:
        return Hartnell(given.mass, given.slow, given.lift, given.ball_arm, given.sleeve_arm, rate, pull)

    return with_rate(solve(lambda k: with_rate(k).rpm(), fast_rpm, 1e-2, 1e7))


class TestHartnellBevan:
    """Bevan, The Theory of Machines, 3rd ed., ch. 13, Ex. 3 p. 466 (SECOND-HAND): 3 lb a ball, N2 300, N1 1.06 N2,
    r 3 to 4.5 in, a 4, b 2 in. Speed at 3.5 in: 308 rpm; recomputed 307.84, spring 84.03 lb/in."""

    given = Hartnell(3 * POUND, 3 * INCH, 0.75 * INCH, 4 * INCH, 2 * INCH)

    def test_rate_then_speed(self) -> None:
        """The rate from both ends' speeds, then the speed between them."""
        found = from_two_speeds(self.given, 300.0, 318.0)
        assert found.rate / LBF_PER_INCH == pytest.approx(84.03, abs=0.01)
        assert found.rpm(3.5 * INCH) == pytest.approx(307.84, abs=0.01)
        assert found.rpm(3.5 * INCH) == pytest.approx(308.0, abs=0.5)

    def test_mass_from_rate(self) -> None:
        """Turned round: 84.03 lb/in and the load at the slow end, 4 m ω² r = 91.95 lb by hand, give 3 lb a ball."""
        pull = 4 * 3 * POUND * (300 * RPM) ** 2 * 3 * INCH

        def rpm(mass: float) -> float:
            return Hartnell(mass, 3 * INCH, 0.75 * INCH, 4 * INCH, 2 * INCH, 84.03 * LBF_PER_INCH, pull).rpm()

        assert pull / LBF == pytest.approx(91.95, abs=0.01)
        assert solve(rpm, 318.0, 0.5, 5.0) / POUND == pytest.approx(3.0, abs=5e-4)

    def test_radius_from_speed(self) -> None:
        """307.84 rpm stands the balls at 3.5 in, with the speed rising and falling: there is no friction."""
        found = from_two_speeds(self.given, 300.0, 318.0)
        for advance in (found.trace().rising_advance, found.trace().falling_advance):
            radius = found.slow + found.ball_arm * float(advance(307.84 * RPM))
            assert radius / INCH == pytest.approx(3.5, abs=1e-3)


def wilson_hartnell(auxiliary: float, pull: float, ball_rate: float = 3.0) -> Trace:
    """Bevan's Ex. 4 with this auxiliary spring [lb/in] and load of it at the slow end [N]; two ball springs side by
    side, `ball_rate` [lb/in] together, run from ball to ball and lengthen by 2 a α."""
    arm, sleeve, slow = 6 * INCH, 4 * INCH, 5 * INCH
    between = sprung(Lever(2 * arm), ball_rate * LBF_PER_INCH, 1.0)
    aux = sprung(Lever(sleeve), auxiliary * LBF_PER_INCH, pull)
    return trace(Unit(Balls(5 * POUND, slow, arm), (between, aux), Drag(), 2 / 6), 201)


def test_wilson_hartnell_bevan() -> None:
    """Bevan, Ex. 4 p. 468 (SECOND-HAND): 5 lb a ball, N2 240, N1 1.05 N2, r 5 to 7 in, a 6, b 4 in, each of two ball
    springs 1.5 lb/in. Auxiliary spring 23 lb/in; recomputed 22.976. How the load at the slow end is shared among the
    springs does not matter."""
    pull = solve(lambda p: speed_at(wilson_hartnell(20.0, p), 0.0), 240.0, 1.0, 5000.0)
    rate = solve(lambda k: speed_at(wilson_hartnell(k, pull), 2 / 6), 252.0, 1.0, 200.0)
    assert rate == pytest.approx(22.976, abs=2e-3)
    assert rate == pytest.approx(23.0, abs=0.05)
    both = solve(lambda k: speed_at(wilson_hartnell(22.976, pull, k), 2 / 6), 252.0, 0.5, 20.0)
    assert both / 2 == pytest.approx(1.5, abs=1e-3)


class TestHartnellSarkar:
    """Sarkar, Theory of Machines, 1st ed. 2002, ch. 7, Ill. 7 p. 203 (SECOND-HAND): m 3 kg, a 120, b 80, r2 120 mm, N2
    320, k 20 kN/m, lift 15 mm. Recomputed: load 1212.8 N, N1 327.97 rpm; the book's own π gives 1217.0 and 327.9."""

    @staticmethod
    def governor(rate: float = 20e3, pull: float = 1212.8, lift: float = 0.015) -> Hartnell:
        """The example with any of its unknowns."""
        return Hartnell(3.0, 0.120, lift, 0.120, 0.080, rate, pull)

    def test_load(self) -> None:
        """The spring's load at the slow end from its speed."""
        pull = solve(lambda p: self.governor(pull=p).rpm(0.120), 320.0, 10.0, 1e4)
        assert pull == pytest.approx(1212.8, abs=0.05)
        assert pull == pytest.approx(1217.0, rel=4e-3)

    def test_fast_speed(self) -> None:
        """The speed at full lift."""
        assert self.governor().rpm() == pytest.approx(327.97, abs=0.01)
        assert self.governor().rpm() == pytest.approx(327.9, abs=0.1)

    def test_rate_and_lift_from_fast_speed(self) -> None:
        """k and the lift from N1; its five digits leave 0.2 % of the rate and 0.5 % of the lift."""
        assert solve(lambda k: self.governor(rate=k).rpm(), 327.97, 1e4, 4e4) == pytest.approx(20e3, rel=2e-3)
        lift = solve(lambda x: self.governor(lift=x).rpm(), 327.97, 5e-3, 25e-3)
        assert lift == pytest.approx(0.015, rel=5e-3)


def test_friction_band() -> None:
    """Mean speed 246.154 rpm, mid-lift sleeve load 1102.45 N, sleeve friction 30 N: N √((P ± 30)/P) = 249.481 up,
    242.782 down, band 6.70 rpm. Sarkar, Ill. 9 p. 204 (SECOND-HAND; its last step only), book 6.7."""
    ball_arm, sleeve, middle, rate, lift = 0.120, 0.080, 0.130, 20e3, 0.02
    # The mass that balances the load at mid-lift and mean speed, by hand: 2 m ω² r a = P b.
    mass = 1102.45 * sleeve / (2 * (246.154 * RPM) ** 2 * middle * ball_arm)
    slow = middle - ball_arm * lift / sleeve / 2
    governor = Hartnell(mass, slow, lift, ball_arm, sleeve, rate, 1102.45 - rate * lift / 2)
    curve = governor.trace(Drag(friction=30.0 * sleeve))
    at = lift / sleeve / 2
    up, down = (float(np.sqrt(np.interp(at, curve.advance, x))) / RPM for x in (curve.rising, curve.falling))
    assert governor.rpm(middle) == pytest.approx(246.154, abs=1e-3)
    assert up == pytest.approx(249.481, abs=1e-3)
    assert down == pytest.approx(242.782, abs=1e-3)
    assert up - down == pytest.approx(6.70, abs=0.005)
    # The two curves pass through the middle at just these speeds.
    assert float(curve.rising_advance(249.481 * RPM)) == pytest.approx(at, abs=2e-3 * at)
    assert float(curve.falling_advance(242.782 * RPM)) == pytest.approx(at, abs=2e-3 * at)


class TestUnstable:
    """NITK Surathkal virtual laboratory, governors quiz (READ): Hartnell, lift 3 cm, m 1.5 kg, sleeve arm 6.5, ball arm
    7.5, mid radius 10.5 cm, bottom 430, top 415 rpm: 6135 N/m (recomputed 6137)."""

    given = Hartnell(1.5, 0.105 - 0.015 * 7.5 / 6.5, 0.03, 0.075, 0.065)

    def test_rate(self) -> None:
        """k from the two speeds; the top's is below the bottom's, so the speeds are those of balance at each end."""

        def top(rate: float) -> float:
            curve = self.sprung(rate).trace()
            return float(np.sqrt(curve.rising[-1])) / RPM

        rate = solve(top, 415.0, 100.0, 1e5)
        assert rate == pytest.approx(6137.0, abs=1.0)
        assert rate == pytest.approx(6135.0, rel=5e-4)

    def sprung(self, rate: float) -> Hartnell:
        """The governor in balance at 430 rpm at the bottom; 2 m ω² r a = P b by hand."""
        pull = 2 * 1.5 * (430 * RPM) ** 2 * self.given.slow * 7.5 / 6.5
        return Hartnell(1.5, self.given.slow, 0.03, 0.075, 0.065, rate, pull)

    def test_snap(self) -> None:
        """Speed rising, it flies from the bottom to the top at 430 rpm; falling, it stays out down to 415."""
        curve = self.sprung(6137.0).trace()
        (snap,) = curve.snaps
        assert (snap.start, snap.end) == (0.0, pytest.approx(0.03 / 0.065))
        assert snap.speed / RPM == pytest.approx(430.0, abs=1e-6)
        assert curve.return_speed == pytest.approx(415.0 * RPM, rel=1e-4)
        between = 425.0 * RPM
        assert (float(curve.rising_advance(between)), float(curve.falling_advance(between))) == (0.0, curve.stop)


def test_isochronous() -> None:
    """NITK, the same quiz (READ): controlling force 1100 N with the balls 35 cm apart, 550 N at 20 cm: the pull to add
    for it to be isochronous 183.5 N (183.33). The spring lies between the balls, L = 2 r, on an arm of 1 m."""
    rate = 550.0 / 0.15

    def ends(added: float) -> Array:
        between = sprung(Lever(2.0, 0.20), rate, 550.0 + added, added)
        return trace(Unit(Balls(2.0, 0.10, 1.0), (between,), Drag(), 0.075), 201).rising

    added = float(brentq(lambda x: ends(x)[-1] - ends(x)[0], 0.0, 500.0))
    assert added == pytest.approx(183.33, abs=0.005)
    assert added == pytest.approx(183.5, abs=0.2)
    # Isochronous: one speed over the whole travel, not at the two ends alone.
    assert np.ptp(ends(added)) < 1e-9 * ends(added)[0]
    assert np.ptp(ends(0.0)) > 0.05 * ends(0.0)[0]
