"""What must hold for every mechanism: the moment on a pivot, energy, monotony, scale and mirror.

The mechanisms are drawn by `mechanisms`, sound ones with springs that make a plausible curve.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from itertools import pairwise
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from mechanisms import RPM, Mechanism, job_text, mechanism
from modelunits import loaded_unit, motion_of, unit_of

from recurve.arrays import Array
from recurve.errors import PhysicsError
from recurve.job.read import load_job
from recurve.physics.curve import Drag, Trace, Unit, spring_torque, trace
from recurve.physics.mechanism import Weights

SPEEDS = np.linspace(100.0, 2600.0, 126) * RPM
# Interpolation on the grid of advance (see `trace`) and rounding [rad]: 1e-5°.
GRID = 1e-5 * np.pi / 180

mechanisms = st.integers(0, 400).map(mechanism)
shares = st.floats(0.0, 0.3)
frictions = st.floats(0.0, 3e-3)
few = settings(max_examples=25)


def curve_of(unit: Unit) -> Trace:
    """A finer curve than the package's own, so that the comparisons below may be narrow."""
    return trace(unit, 4001)


def advances(unit: Unit) -> tuple[Array, Array]:
    """Rising and falling advance [rad] at SPEEDS."""
    curve = curve_of(unit)
    return curve.rising_advance(SPEEDS), curve.falling_advance(SPEEDS)


def weights_of(one: Mechanism) -> Weights:
    """The package's weights of a mechanism."""
    weights = unit_of(one).weights
    assert isinstance(weights, Weights)
    return weights


# --- the moment on a pivoted weight, and energy ---------------------------------------------------------


@few
@given(mechanisms, st.floats(0.0, 1.0), st.floats(5.0, 250.0), st.integers(0, 10**6))
def test_pivot_moment(one: Mechanism, share: float, omega: float, seed: int) -> None:
    """|M_P| = m ω² |r_P × r_cg| for any distribution of mass (derived): the centrifugal forces on 200 random
    particles about the pivot, times the turn of the weight for a turn of the cam, are the package's ½ ω² I′."""
    motion, weights, alpha = motion_of(one), weights_of(one), share * np.radians(one.stop)
    random = np.random.default_rng(seed)
    masses = random.uniform(0.1, 1.0, 200)
    masses *= weights.mass / masses.sum()
    cloud = random.normal(0.0, 6e-3, 200) + 1j * random.normal(0.0, 3e-3, 200)
    cloud += motion.cg - (masses * cloud).sum() / weights.mass
    psi, rate = motion.swing(alpha)
    now = motion.pivot + (cloud - motion.pivot) * np.exp(1j * psi)
    # Each particle is thrown outward with m ω² r; its moment about the pivot is the arm crossed with it.
    moment = (np.conj(now - motion.pivot) * masses * omega**2 * now).imag.sum()
    assert weights.count * moment * rate == pytest.approx(omega**2 / 2 * weights.inertia_slope(alpha), rel=1e-9)
    cg = (masses * now).sum() / weights.mass
    assert abs(moment) == pytest.approx(weights.mass * omega**2 * abs((np.conj(motion.pivot) * cg).imag), rel=1e-9)


@few
@given(mechanisms)
def test_slopes_against_differences(one: Mechanism) -> None:
    """I′ and dL/dα against central differences of the fourth order of I and L."""
    unit, weights, step = unit_of(one), weights_of(one), 1e-3
    alpha = np.linspace(0.0, unit.stop, 9)

    def difference(of: Callable[[Array], Array]) -> Array:
        wide, near = of(alpha + 2 * step) - of(alpha - 2 * step), of(alpha + step) - of(alpha - step)
        return (8 * near - wide) / (12 * step)

    assert weights.inertia_slope(alpha) == pytest.approx(difference(weights.inertia), rel=1e-6)
    for spring in unit.springs:
        assert spring.length(alpha)[1] == pytest.approx(difference(lambda a, s=spring: s.length(a)[0]), rel=1e-6)


@few
@given(mechanisms, st.floats(0.1, 1.0))
def test_energy(one: Mechanism, share: float) -> None:
    """∫ ½ I′ dα = ½ ΔI, and ∫ τ dα is what the springs store, F_i x + ½ k x² each; by Gauss's rule between take-ups."""
    unit, weights = unit_of(one), weights_of(one)
    end = share * unit.stop
    takeups = tuple(s.takeup(unit.stop) for s in unit.springs)
    cuts = sorted({0.0, end, *(t for t in takeups if t is not None and t < end)})
    nodes, factors = np.polynomial.legendre.leggauss(20)
    drive = work = 0.0
    for a, b in pairwise(cuts):
        alpha = (a + b) / 2 + (b - a) / 2 * nodes
        drive += (b - a) / 2 * float(factors @ weights.inertia_slope(alpha))
        work += (b - a) / 2 * float(factors @ spring_torque(unit.springs, takeups, alpha))
    assert drive == pytest.approx(float(weights.inertia(end) - weights.inertia(0.0)), rel=1e-9)
    assert work == pytest.approx(sum(stored(one, i, end) - stored(one, i, 0.0) for i in range(2)), rel=1e-8)


def stored(one: Mechanism, index: int, alpha: float) -> float:
    """Energy [J] in a spring at the advance [rad], counted from its free length."""
    pull = one.springs[index]
    stretch = max(float(unit_of(one).springs[index].length(alpha)[0]) - 1e-3 * pull.free_length, 0.0)
    return pull.tension * stretch + 1e3 * pull.rate * stretch**2 / 2


# --- more and less --------------------------------------------------------------------------------------


@few
@given(mechanisms, st.integers(0, 1), st.floats(1.0, 3.0), frictions, shares)
def test_a_stiffer_spring_never_advances_more(
    one: Mechanism, which: int, factor: float, friction: float, share: float
) -> None:
    """Either spring stiffer at the same free length, speed rising or falling."""
    drag = Drag(1e-3 * one.drag, friction, share)
    stiff = list(one.springs)
    stiff[which] = replace(stiff[which], rate=factor * stiff[which].rate)
    before, after = advances(unit_of(one, drag)), advances(unit_of(replace(one, springs=tuple(stiff)), drag))
    for soft, hard in zip(before, after, strict=True):
        assert (hard <= soft + GRID).all()


@few
@given(mechanisms, st.floats(1.0, 2.0), frictions, shares)
def test_heavier_weights_never_advance_less(one: Mechanism, factor: float, friction: float, share: float) -> None:
    """Every weight heavier, speed rising or falling."""
    drag = Drag(1e-3 * one.drag, friction, share)
    before, after = advances(unit_of(one, drag)), advances(unit_of(replace(one, mass=factor * one.mass), drag))
    for light, heavy in zip(before, after, strict=True):
        assert (heavy >= light - GRID).all()


@few
@given(mechanisms, frictions, frictions)
def test_more_drag_never_advances_more(one: Mechanism, drag: float, more: float) -> None:
    """The rubbing block drags the cam back, whichever way the weights move."""
    for less, dragged in zip(
        advances(unit_of(one, Drag(drag))), advances(unit_of(one, Drag(drag + more))), strict=True
    ):
        assert (dragged <= less + GRID).all()


@few
@given(mechanisms, st.floats(0.2, 5.0), frictions, shares)
def test_everything_scaled_together(one: Mechanism, factor: float, friction: float, share: float) -> None:
    """Rates, initial tensions, drag, friction and mass times the same factor: the curve is the same."""
    springs = tuple(replace(p, rate=factor * p.rate, tension=factor * p.tension) for p in one.springs)
    scaled = replace(one, springs=springs, mass=factor * one.mass)
    drag = Drag(1e-3 * one.drag, friction, share)
    times = Drag(factor * drag.rubbing_block, factor * drag.friction, share)
    for before, after in zip(advances(unit_of(one, drag)), advances(unit_of(scaled, times)), strict=True):
        assert after == pytest.approx(before, abs=1e-10)


@few
@given(mechanisms, frictions, shares)
def test_rising_never_leads_falling(one: Mechanism, friction: float, share: float) -> None:
    """Friction keeps the rising advance at or below the falling; without it they are one for a curve without a snap."""
    rubbed = curve_of(unit_of(one, Drag(1e-3 * one.drag, friction, share)))
    assert (rubbed.rising_advance(SPEEDS) <= rubbed.falling_advance(SPEEDS) + GRID).all()
    free = curve_of(unit_of(one))
    assert free.snaps == ()
    assert free.rising_advance(SPEEDS) == pytest.approx(free.falling_advance(SPEEDS), abs=GRID)


@few
@given(mechanisms, frictions, shares)
def test_more_speed_never_advances_less(one: Mechanism, friction: float, share: float) -> None:
    """Both curves climb with speed, from 0 at a standstill to the stop, and stay between these."""
    curve = curve_of(unit_of(one, Drag(1e-3 * one.drag, friction, share)))
    fastest = 2 * float(np.sqrt(curve.rising.max()))
    for advance in (curve.rising_advance, curve.falling_advance):
        climb = advance(np.concatenate([[0.0], SPEEDS, [fastest]]) if fastest > SPEEDS[-1] else SPEEDS)
        assert (np.diff(climb) >= 0).all()
        assert float(advance(fastest)) == curve.stop
    assert float(curve.rising_advance(0.0)) == 0.0


@few
@given(mechanisms, st.floats(0.01, 0.99), frictions, shares)
def test_speed_of_an_advance_is_the_inverse(one: Mechanism, part: float, friction: float, share: float) -> None:
    """The rising curve at the speed that reaches an advance gives this advance."""
    curve = curve_of(unit_of(one, Drag(1e-3 * one.drag, friction, share)))
    alpha = part * curve.stop
    speed = curve.rising_speed(alpha)
    assert speed is not None
    assert float(curve.rising_advance(speed * (1 + 1e-12))) == pytest.approx(alpha, abs=10 * GRID)


@few
@given(mechanisms)
def test_first_order_speed(one: Mechanism) -> None:
    """Equation 1 (recurve.physics) put together afresh at the advance that the curve tells: ½ ω² I′ = Σ T L′ + T_d."""
    unit, weights = unit_of(one), weights_of(one)
    curve = curve_of(unit)
    takeup = curve.takeups[1]
    speeds = np.array(one.speeds[:4]) * RPM
    for omega, alpha in zip(speeds, curve.rising_advance(speeds), strict=True):
        if takeup is not None and abs(alpha - takeup) < 1e-3:
            continue  # on the plateau the pull is anything up to the initial tension
        moment = 1e-3 * one.drag
        for pull, spring in zip(one.springs, unit.springs, strict=True):
            length, slope = (float(x) for x in spring.length(alpha))
            stretch = length - 1e-3 * pull.free_length
            moment += (pull.tension + 1e3 * pull.rate * stretch) * slope if stretch > 0 else 0.0
        assert moment == pytest.approx(omega**2 / 2 * float(weights.inertia_slope(alpha)), rel=1e-5)


# --- one unit described in several ways -----------------------------------------------------------------


@pytest.mark.parametrize("seed", range(200, 212))
def test_descriptions_agree(seed: int, tmp_path: Path) -> None:
    """By radius and angle, as xy from pictures lying any way, and its mirror image turning the other way: one curve."""
    one = mechanism(seed)
    turned = {"clockwise": "anticlockwise", "anticlockwise": "clockwise"}[one.rotation]
    before = advances(loaded_unit(one, tmp_path))
    assert before[0].max() > 0.9 * np.radians(one.stop)
    mirrored = replace(one, rotation=turned)
    for other, flat in ((one, 0.0), (one, 130.0), (mirrored, None), (mirrored, 77.0)):
        for expected, found in zip(before, advances(loaded_unit(other, tmp_path, flat)), strict=True):
            assert found == pytest.approx(expected, abs=1e-9)
    for expected, found in zip(before, advances(unit_of(one)), strict=True):
        assert found == pytest.approx(expected, abs=1e-9)


@pytest.mark.parametrize("seed", range(200, 204))
def test_the_sense_of_rotation_matters(seed: int, tmp_path: Path) -> None:
    """The same picture said to turn the other way: the weights would retard (I′ changes its sign with that of every
    angle, by hand), so the job is refused. Else the test above could not fail."""
    one = mechanism(seed)
    turned = {"clockwise": "anticlockwise", "anticlockwise": "clockwise"}[one.rotation]
    job = tmp_path / "job.toml"
    job.write_text(job_text(one, 20.0).replace(f'"{one.rotation}"', f'"{turned}"'), encoding="utf-8")
    with pytest.raises(PhysicsError, match="retard"):
        load_job(job)
