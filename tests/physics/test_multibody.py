"""The model against an independent multibody simulation (MuJoCo).

Every expected advance is the simulation's; see `multibody` for what it is made of. All mechanisms are
invented, by `mechanisms`.
"""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise
from pathlib import Path

import numpy as np
import pytest
from mechanisms import PLACES, RPM, Mechanism, mechanism
from modelunits import loaded_unit
from multibody import RAMP, Simulation

from recurve.physics.curve import Trace, residual_advance, trace

# Within 0.02° everywhere is asked; what is seen is 0.001°, and where an initial tension holds the weights
# the stretch over which the simulation brings it in.
ASKED = 0.02
SEEN = 0.002
SEEDS = range(42)


def picture(seed: int) -> float | None:
    """How the points are given: every third by radius and angle, the others flat, turned by some angle [deg]."""
    return None if seed % 3 == 0 else 37.0 * seed


def curve_of(one: Mechanism, folder: Path, flat: float | None = None) -> Trace:
    """The package's curve of a mechanism, by way of a job file."""
    return trace(loaded_unit(one, folder, flat))


@pytest.mark.parametrize("seed", SEEDS)
def test_settled_advance(seed: int, tmp_path: Path) -> None:
    """Speed up from rest past the stop and down again: nine settled advances of each mechanism."""
    one = mechanism(seed)
    curve, simulation = curve_of(one, tmp_path, picture(seed)), Simulation(one)
    speeds = np.array(one.speeds)
    up = [simulation.settle(rpm) for rpm in speeds]
    down = [simulation.settle(rpm) for rpm in speeds[-2::-1]]
    rising = np.degrees(curve.rising_advance(speeds * RPM))
    falling = np.degrees(curve.falling_advance(speeds[-2::-1] * RPM))
    held = np.degrees(curve.takeups[1] or 0.0)
    for seen, predicted in zip([*up, *down], [*rising, *falling], strict=True):
        assert seen == pytest.approx(predicted, abs=ASKED if abs(predicted - held) < 1e-6 else SEEN)
    # The speeds are spread over the travel, so that it is not the two stops that agree.
    assert 0 < rising[0] < 0.3 * one.stop < 0.5 * one.stop < rising[3] < one.stop


def test_the_mechanisms_hold_every_kind() -> None:
    """The seeds above hold slot and link with both rotations, both senses of the weights and of the posts, and more."""
    drawn = [mechanism(seed) for seed in SEEDS]
    motions = {(m.kind, m.rotation, m.cg[1] > 0) for m in drawn}
    assert len(motions) == 8
    placed = {(p.anchor.on, p.far.on) for m in drawn for p in m.springs}
    assert placed == set(PLACES)
    assert {m.count for m in drawn} == {2, 3}
    assert {m.drag > 0 for m in drawn} == {p.tension > 0 for m in drawn for p in m.springs} == {True, False}
    given = {(m.kind, m.rotation, picture(seed) is None) for seed, m in zip(SEEDS, drawn, strict=True)}
    assert len(given) == 8
    assert sum(m.springs[1].tension > 0 for m in drawn) > 10


@pytest.mark.parametrize("seed", [3, 4, 10, 33])
def test_halving_the_step_changes_nothing(seed: int) -> None:
    """The simulation's constraints are twice as stiff in time with half the step: what they yield is below 0.001°."""
    one = mechanism(seed)
    coarse, fine = Simulation(one), Simulation(one, step=1.25e-4)
    for rpm in one.speeds:
        assert coarse.settle(rpm) == pytest.approx(fine.settle(rpm), abs=1e-3)


@pytest.mark.parametrize("seed", [16, 22, 23])
def test_plateau(seed: int, tmp_path: Path) -> None:
    """An initial tension holds the weights where it takes up: over the plateau the simulation stands within the
    stretch in which its tension comes in."""
    one = mechanism(seed)
    curve, simulation = curve_of(one, tmp_path), Simulation(one)
    held = curve.takeups[1]
    assert held is not None
    edges = np.sqrt(curve.rising[curve.advance == held]) / RPM
    give = np.degrees(RAMP / 4e-3)  # the posts part by at least 4 mm a radian
    assert edges[1] > 1.02 * edges[0]
    for share in (0.1, 0.5, 0.9):
        rpm = edges[0] + share * (edges[1] - edges[0])
        assert -0.001 < simulation.settle(rpm) - np.degrees(held) < give
        assert curve.rising_advance(rpm * RPM) == curve.falling_advance(rpm * RPM) == pytest.approx(held, abs=1e-12)


@pytest.mark.parametrize("seed", [1, 7, 8, 18])
def test_friction_parts_rising_from_falling(seed: int, tmp_path: Path) -> None:
    """Coulomb friction of 2 mN·m at the cam, speed raised and lowered so slowly that nothing overshoots."""
    one = replace(mechanism(seed), friction=2.0)
    curve, simulation = curve_of(one, tmp_path), Simulation(one, damping=6.0)
    speeds = np.array(one.speeds[1:4:2])
    stages = [0.5 * speeds[0], *speeds, 1.3 * one.speeds[-1], *speeds[::-1]]
    seen = [simulation.creep(a, b) for a, b in pairwise(stages)]
    rising, falling = (np.degrees(f(speeds * RPM)) for f in (curve.rising_advance, curve.falling_advance))
    assert seen[:2] == pytest.approx(rising.tolist(), abs=ASKED)
    assert seen[2] == pytest.approx(one.stop, abs=SEEN)
    assert seen[:2:-1] == pytest.approx(falling.tolist(), abs=ASKED)
    assert (falling - rising).min() > 2 * ASKED


@pytest.mark.parametrize("seed", [8, 24, 30])
def test_snap(seed: int, tmp_path: Path) -> None:
    """A soft spring under much initial tension: the weights fly from rest to the stop at the onset, and come home
    only at a lower speed. In the model and in the simulation."""
    sound = mechanism(seed)
    soft = replace(sound.springs[0], rate=0.11, tension=0.9 * sound.springs[0].tension + 3)
    one = replace(sound, springs=(soft,))
    curve, simulation = curve_of(one, tmp_path), Simulation(one)
    (snap,) = curve.snaps
    assert (snap.start, np.degrees(snap.end)) == (0.0, pytest.approx(one.stop))
    home = curve.return_speed
    assert home is not None and home < 0.93 * snap.speed
    for rpm, advance in [
        (0.998 * snap.speed / RPM, 0.0),
        (1.002 * snap.speed / RPM, one.stop),
        (1.002 * home / RPM, float(np.degrees(curve.falling_advance(1.002 * home)))),
        (0.998 * home / RPM, 0.0),
    ]:
        assert simulation.settle(rpm) == pytest.approx(advance, abs=SEEN)


@pytest.mark.parametrize(("seed", "home"), [(11, False), (17, False), (23, False), (19, True), (27, True)])
def test_residual_advance(seed: int, home: bool, tmp_path: Path) -> None:
    """A primary left 1 mm slack or so: what stays in at 200 rpm once the weights have been out, with the
    rubbing block's drag, which may bring it home, and without."""
    sound = mechanism(seed)
    light = replace(sound.springs[0], tension=0.0, free_length=sound.springs[0].free_length + 1.0)
    one = replace(sound, springs=(light, sound.springs[1]))
    expected = []
    for drag in (one.drag, 0.0):
        simulation = Simulation(replace(one, drag=drag))
        assert simulation.settle(3000.0) == pytest.approx(one.stop, abs=SEEN)
        expected.append(simulation.settle(200.0))
    residual = np.degrees(residual_advance(loaded_unit(one, tmp_path), 200.0 * RPM))
    assert residual == pytest.approx(np.array(expected), abs=ASKED)
    assert (expected[0] < SEEN) == home
    assert expected[1] > 0.5
