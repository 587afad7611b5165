"""Curves of many units at once against the exact curve of one and against the tests' own bench.

`trace` is held to hand calculations and to a multibody simulation elsewhere; `integrator` moves the
weights step by step and knows nothing of curves. Both are independent of `ensemble`'s grids and searches.
"""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest
from integrator import STEP, Bench, bench, sweep
from mechanisms import RPM, Mechanism, Pull, mechanism
from modelunits import unit_of
from multibody import Simulation
from numpy.typing import NDArray

from recurve.physics.curve import Drag, Unit, trace
from recurve.physics.ensemble import Curves, Shapes, Units, curves, takeups
from recurve.physics.mechanism import Weights

Array = NDArray[np.float64]
SEEDS = range(16)
SPEEDS = np.linspace(120.0, 2400.0, 60)  # [rpm]
SHARE = 0.03


def worn(seed: int) -> Mechanism:
    """A mechanism with friction; of four in a row one hangs slack, one has a second spring that pulls from rest,
    one a second spring that never takes up, one is as drawn."""
    one = replace(mechanism(seed), friction=0.4 + 0.2 * (seed % 5))
    first, second = one.springs
    if seed % 4 == 1:
        first = replace(first, free_length=_length(one, 0) + 0.4)
    elif seed % 4 == 2:
        second = replace(second, free_length=_length(one, 1) - 0.1)
    elif seed % 4 == 3:
        second = replace(second, free_length=_length(one, 1) + 30.0)
    return replace(one, springs=(first, second))


def _length(one: Mechanism, index: int) -> float:
    """Length over the posts [mm] at rest: their distance, and the posts' diameter."""
    pull: Pull = one.springs[index]
    return float(abs(pull.anchor.place - pull.far.place) + pull.diameter)


def model_unit(one: Mechanism) -> Unit:
    """The package's unit, with the friction's share."""
    return unit_of(one, Drag(1e-3 * one.drag, 1e-3 * one.friction, SHARE))


def family_of(unit: Unit, stops: Array, modes: Array | None = None, amounts: Array | None = None) -> Curves:
    """Copies of the unit with these stops (n,) [rad], all in one family tabulated to 1.3 times its stop."""
    n = len(stops)
    posts = tuple(s.posts for s in unit.springs)
    shapes = Shapes.of(unit.weights, posts, 1.3 * unit.stop, modes)
    rest = np.array([float(p.length(0.0)[0]) for p in posts])
    springs = [s.spring for s in unit.springs]
    columns = [np.array(x) for x in zip(*((s.rate, s.free_length, s.initial_tension) for s in springs), strict=True)]
    rate, free, tension = (np.tile(x, (n, 1)) for x in columns)
    d = unit.drag
    drag, friction, share = (np.full(n, x) for x in (d.rubbing_block, d.friction, d.friction_share))
    none = np.zeros((n, 0)) if amounts is None else amounts
    return curves(shapes, Units(rate, rest - free, tension, drag, friction, share, stops, none), 400)


@pytest.mark.parametrize("seed", SEEDS)
def test_a_family_is_the_exact_curve_of_each(seed: int) -> None:
    """Jumps by initial tensions, slack and absent springs, three stops at once; 400 points before and after the
    take-up leave less than 0.01°."""
    unit = model_unit(worn(seed))
    stops = unit.stop * np.array([0.7, 1.0, 1.2])
    made = family_of(unit, stops)
    rising, falling = made.rising_advance(SPEEDS * RPM), made.falling_advance(SPEEDS * RPM)
    for i, stop in enumerate(stops):
        exact = trace(replace(unit, stop=float(stop)))
        assert np.degrees(rising[i]) == pytest.approx(np.degrees(exact.rising_advance(SPEEDS * RPM)), abs=0.01)
        assert np.degrees(falling[i]) == pytest.approx(np.degrees(exact.falling_advance(SPEEDS * RPM)), abs=0.01)


@pytest.mark.parametrize("seed", SEEDS)
def test_a_family_sweeps_as_the_bench_does(seed: int) -> None:
    """From what stays in at a standstill up to 900 rpm, which is often short of the stop, and down again."""
    one = worn(seed)
    speeds = SPEEDS[SPEEDS <= 900]
    up, down = sweep(one, speeds, SHARE)
    unit = model_unit(one)
    made = family_of(unit, np.array([unit.stop]))
    start = made.falling_advance(np.zeros(1))[:, 0]
    top = made.rising_advance(np.array([speeds.max() * RPM]), start)[:, 0]
    assert np.degrees(start[0]) == pytest.approx(bench(one, SHARE).stand_still(), abs=0.01 + STEP)
    assert np.degrees(made.rising_advance(speeds * RPM, start)[0]) == pytest.approx(up, abs=0.01 + STEP)
    assert np.degrees(made.falling_advance(speeds * RPM, top)[0]) == pytest.approx(down, abs=0.01 + STEP)


def test_every_sort_of_unit_is_among_them() -> None:
    """Else the two tests above would show less than they say."""
    units = [model_unit(worn(seed)) for seed in SEEDS]
    first = [u.springs[0].takeup(u.stop) for u in units]
    second = [u.springs[1].takeup(u.stop) for u in units]
    assert sum(t is not None and t > 0 for t in first) >= 3
    assert sum(t == 0 for t in second) >= 3
    assert sum(t is None for t in second) >= 3
    jumps = [
        u.springs[1].spring.initial_tension > 0 and t is not None and t > 0 for u, t in zip(units, second, strict=True)
    ]
    assert sum(jumps) >= 3


def test_a_waiting_advance_is_kept() -> None:
    """A second spring's initial tension: between the two speeds of the jump the advance is the take-up."""
    seed = next(s for s in SEEDS if s % 4 == 0 and mechanism(s).springs[1].tension > 0)
    unit = model_unit(worn(seed))
    takeup = unit.springs[1].takeup(unit.stop)
    assert takeup is not None
    exact = trace(unit)
    here = np.flatnonzero(exact.advance == takeup)
    low, high = np.sqrt(exact.rising[here[[0, -1]]])
    assert high - low > 5 * RPM
    made = family_of(unit, np.array([unit.stop]))
    speeds = np.linspace(low, high, 7)[1:-1]
    assert np.degrees(made.rising_advance(speeds)[0]) == pytest.approx(np.degrees(takeup), abs=1e-3)


def test_a_mode_of_the_mass_geometry_is_that_much_more_mass() -> None:
    """log I′ larger by 2 standard uncertainties of 0.03 each is e^0.06 times the mass: the same curve."""
    unit = model_unit(worn(0))
    mode = np.full((1, len(Shapes.grid(1.0))), 0.03)
    made = family_of(unit, np.array([unit.stop]), mode, np.array([[2.0]]))
    assert isinstance(unit.weights, Weights)
    exact = trace(replace(unit, weights=replace(unit.weights, mass=np.exp(0.06) * unit.weights.mass)))
    assert np.degrees(made.rising_advance(SPEEDS * RPM)[0]) == pytest.approx(
        np.degrees(exact.rising_advance(SPEEDS * RPM)), abs=0.01
    )


def test_take_ups_of_many_springs() -> None:
    """Against each spring's own root finding; 0 from rest, infinite beyond the table."""
    unit = model_unit(worn(0))
    shapes = Shapes.of(unit.weights, tuple(s.posts for s in unit.springs), unit.stop)
    spring = unit.springs[1]
    rest = float(spring.length(0.0)[0])
    stretches = np.array([1e-4, 0.0, -1e-4, -1e-3, -5e-2])
    exact = [replace(spring, spring=replace(spring.spring, free_length=rest - x)).takeup(unit.stop) for x in stretches]
    wanted = np.array([np.inf if t is None else t for t in exact])
    assert wanted[0] == wanted[1] == 0 < wanted[2] < wanted[3] < wanted[4] == np.inf
    assert takeups(shapes, stretches, 1) == pytest.approx(wanted, abs=1e-6)


# --- the bench itself ---------------------------------------------------------------------------------------


@pytest.mark.parametrize("seed", [0, 5])
def test_the_bench_against_a_multibody_simulation(seed: int) -> None:
    """Two speeds up and one down, with friction; 0.05° is what the simulation's soft constraints cost."""
    one = replace(mechanism(seed), friction=1.0)
    ours, simulated = bench(one), Simulation(one, damping=8.0)
    low, middle, high = one.speeds[1:4]
    for before, rpm in pairwise((low - 30, low, high, middle)):
        reached = simulated.creep(before, rpm, 25)
        assert ours.settle(rpm) == pytest.approx(reached, abs=0.05)


def test_the_bench_by_hand() -> None:
    """Drive 0.002 ω², springs 10 + 20 α/rad mN·m, friction 2, share 0.1, α up to 0.2 rad in 5 steps: at ω² = 7000
    the moment is 14 and friction holds 3.4, so it goes out while 14 − 10 − 20 α > 3.4, that is to 0.03 rad; at ω² =
    5000 it is 10 against 3, so it stays; at 3500 it is 7 against 2.7, and it comes home while 10 + 20 α − 7 > 2.7,
    which 0.03 rad is and 0 too. Hand calculation."""
    alpha = np.linspace(0.0, 0.2, 21)
    unit = Bench(np.degrees(alpha), np.full(21, 2e-3), 10 + 20 * alpha, 0.0, 2.0, 0.1)
    reached = [np.radians(unit.settle(np.sqrt(squared) / RPM)) for squared in (6000, 6999, 5000, 3500)]
    assert reached == pytest.approx([0.0, 0.03, 0.03, 0.0], abs=1e-9)


def test_a_curve_that_rises_far_beyond_the_speed_within_one_step_is_read_on_its_line() -> None:
    """ω² from 0 to 100 over 0.5 rad: at ω = 1 a hundredth of that, at 2 a twenty-fifth; at 11 all of it."""
    advance, squared = np.array([[0.0, 0.5]]), np.array([[0.0, 100.0]])
    made = Curves(advance, squared, squared)
    for read in (made.rising_advance, made.falling_advance):
        assert read(np.array([1.0, 2.0, 11.0]))[0] == pytest.approx([0.005, 0.02, 0.5], abs=1e-12)
