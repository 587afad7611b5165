"""The weights' motion: closed loops, hand cases, a table against its slot, and every fault."""

from __future__ import annotations

import re
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
import pytest
from mechanisms import Mechanism, Post, Pull, closed_swing, inertia, job_text, mechanism
from modelunits import motion_of, unit_of
from numpy.typing import ArrayLike
from scipy.interpolate import CubicSpline

from recurve.errors import PhysicsError
from recurve.job.read import load_job
from recurve.physics.curve import Unit, trace
from recurve.physics.mechanism import CorrectedWeights, Link, RadiusTable, ReferenceSlope, Slot, Weights, weight_faults

DEG = np.pi / 180


def polar(radius: float, degrees: float) -> complex:
    """A point [mm, deg] in metres."""
    return 1e-3 * radius * complex(np.exp(1j * degrees * DEG))


# --- motion ---------------------------------------------------------------------------------------------


@pytest.mark.parametrize("seed", range(100, 124))
def test_motion_against_closed_loop(seed: int) -> None:
    """ψ, r and I′ of slot and link against a secant search that closes the loop, differentiated by a spline."""
    one = mechanism(seed)
    alpha = np.linspace(0.0, one.stop * DEG, 61)
    swing, motion, weights = closed_swing(one, alpha), motion_of(one), unit_of(one).weights
    assert isinstance(weights, Weights)
    psi, rate = motion.swing(alpha)
    assert psi == pytest.approx(swing, abs=1e-10)
    assert rate == pytest.approx(CubicSpline(alpha, swing)(alpha, 1), abs=1e-4 * np.abs(rate).max())
    assert weights.inertia(alpha) == pytest.approx(inertia(one, swing), rel=1e-10)
    slope = CubicSpline(alpha, inertia(one, swing))(alpha, 1)
    assert weights.inertia_slope(alpha) == pytest.approx(slope, abs=1e-4 * slope.max())


def test_slot_by_the_law_of_sines() -> None:
    """Hand: pivot at 20 mm, pin 10 mm from it straight towards the shaft. In the triangle of shaft, pivot and pin
    20/sin(pin) = 10/sin α, the angle at the pin obtuse, so ψ = α − asin(2 sin α); r² = a² + b² + 2ab cos(β + ψ)."""
    slot = Slot(20e-3, 20e-3 + polar(12, 75), 10e-3)
    alpha = np.array([0.0, 5.0, 12.0, 20.0]) * DEG
    psi = alpha - np.arcsin(2 * np.sin(alpha))
    assert slot.swing(alpha)[0] == pytest.approx(psi, abs=1e-14)
    squared = 20e-3**2 + 12e-3**2 + 2 * 20e-3 * 12e-3 * np.cos(75 * DEG + psi)
    assert slot.radius(alpha)[0] ** 2 == pytest.approx(squared, rel=1e-13)
    # dψ/dα = 1 − 2 cos α / √(1 − 4 sin² α), −1 at rest: the pin halves the way to the pivot.
    assert slot.swing(0.0)[1] == pytest.approx(-1.0)
    steep = 1 - 2 * np.cos(alpha) / np.sqrt(1 - 4 * np.sin(alpha) ** 2)
    assert slot.swing(alpha)[1] == pytest.approx(steep, rel=1e-12)


def test_link_as_a_parallelogram() -> None:
    """Hand: the weight's arm equals the cam's and stands parallel to it, the link is as long as the pivot is far:
    the weight then turns as the cam does, ψ = α."""
    link = Link(20e-3, 20e-3 + polar(12, -60), 20e-3 + polar(8, 70), polar(8, 70))
    alpha = np.array([0.0, 4.0, 10.0, 15.0]) * DEG
    psi, rate = link.swing(alpha)
    assert (psi, rate) == (pytest.approx(alpha, abs=1e-14), pytest.approx(np.ones(4)))
    squared = 20e-3**2 + 12e-3**2 + 2 * 20e-3 * 12e-3 * np.cos(-60 * DEG + alpha)
    weights = Weights(2, 0.030, link)
    assert weights.inertia(alpha) == pytest.approx(2 * 0.030 * squared, rel=1e-12)
    # I′ = −count · m · 2ab sin(β + α)
    slope = -2 * 0.030 * 2 * 20e-3 * 12e-3 * np.sin(-60 * DEG + alpha)
    assert weights.inertia_slope(alpha) == pytest.approx(slope, rel=1e-12)


def test_small_swing_about_the_pivot() -> None:
    """Thomson, Theory of Vibration with Applications, §5.7 (READ): a pendulum of length r on a pivot at R swings in
    the field ω² r as ω_n = ω √(R/r). From the package's I: ω_n² = −½ ω² I″(ψ) / (m r²), here with ω = 1."""
    pivot, arm, mass = 21e-3, 12e-3, 0.03
    slot = Slot(pivot, pivot + arm, pivot + polar(10, 170))
    alpha = np.linspace(-0.01, 0.01, 9)
    curvature = 2 * np.polyfit(slot.swing(alpha)[0], Weights(1, mass, slot).inertia(alpha), 4)[2]
    assert np.sqrt(-curvature / 2 / (mass * arm**2)) == pytest.approx(np.sqrt(pivot / arm), rel=1e-6)


@pytest.mark.parametrize("rows", [2, 3, 4])
def test_a_correction_goes_through_its_rows(rows: int) -> None:
    """Of up to four rows the polynomial goes through all: I′ there is the factor times that of the weights."""
    plain = Weights(2, 0.03, SLOT)
    advance, factor = (0.0, 0.08, 0.16, 0.23)[:rows], (1.1, 0.9, 1.05, 0.97)[:rows]
    corrected = CorrectedWeights(2, 0.03, SLOT, advance, factor)
    assert corrected.inertia_slope(advance) == pytest.approx(np.array(factor) * plain.inertia_slope(advance), rel=1e-9)


def test_radii_need_a_mass_and_a_motion() -> None:
    """Where a sweep with known springs does not show where the mass is, or the mass is not known, there is no inertia to tell."""
    for weights in (Weights(2, None, SLOT), Weights(2, 0.03, ReferenceSlope(0.24, (0.0,), ((0.0,),)))):
        with pytest.raises(PhysicsError, match="does not show where the mass is"):
            weights.inertia(0.1)


# --- a table against the slot it was sampled from -------------------------------------------------------


def table_of(slot: Slot | Link, rows: int, stop: float, error: np.ndarray, limit: float) -> RadiusTable:
    """Radii read at `rows` advances up to the stop [rad], off by `error` (rows,) [m]."""
    alpha = np.linspace(0.0, stop, rows)
    return RadiusTable(tuple(alpha), tuple(slot.radius(alpha)[0] + error), (limit,) * rows)


SLOT = Slot(21e-3, 21e-3 + polar(12.6, 75), 21e-3 + polar(13.1, 168))
STOP = 13.8 * DEG


def shape_of(motion: Slot | RadiusTable, alpha: np.ndarray) -> np.ndarray:
    """d(r²)/dα [m²/rad], all that the curve takes from the weights' motion."""
    return 2 * np.prod(motion.radius(alpha), axis=0)


def allowed(table: RadiusTable, alpha: np.ndarray) -> np.ndarray:
    """How far d(r²)/dα [m²/rad] may be off if every row is off by its limit, the worst way."""
    return np.abs(table.row_effects(alpha)).sum(axis=0)


def test_a_row_moved_is_moved_by_its_standard_uncertainty() -> None:
    """GUM 4.3.7 (SECOND-HAND): a limit a that is as likely anywhere within has the standard uncertainty a/√3."""
    table = RadiusTable((0.0, 0.1, 0.2), (20e-3, 20.5e-3, 21.2e-3), (0.05e-3, 0.10e-3, 0.05e-3))
    moved = table.moved(1)
    assert moved.cg_radius[1] - table.cg_radius[1] == pytest.approx(0.10e-3 / np.sqrt(3), rel=1e-9)
    assert (moved.cg_radius[0], moved.cg_radius[2]) == (table.cg_radius[0], table.cg_radius[2])


def test_weights_that_move_inward_at_rest_only() -> None:
    """Hand: r = 20 − 2α + 20α² mm shrinks up to 0.05 rad and grows from there."""
    advance = (0.0, 0.1, 0.2)
    table = RadiusTable(advance, tuple(1e-3 * (20 - 2 * a + 20 * a * a) for a in advance), (0.05e-3,) * 3)
    assert ["move inward as the cam advances" in fault.message for fault in weight_faults(table, 0.2)] == [True]


@pytest.mark.parametrize("rows", [5, 6, 8, 12])
def test_exact_table_gives_the_slot(rows: int) -> None:
    """Radii without error leave what a quadratic cannot follow: 0.02 mm, within what ± 0.05 mm in each row allows.
    For this slot that is 9 % of the drive at both ends of the travel, so it is not nothing."""
    table = table_of(SLOT, rows, STOP, np.zeros(rows), 0.05e-3)
    alpha = np.linspace(0.0, STOP, 50)
    assert table.radius(alpha)[0] == pytest.approx(SLOT.radius(alpha)[0], abs=0.02e-3)
    assert (np.abs(shape_of(table, alpha) - shape_of(SLOT, alpha)) < allowed(table, alpha)).all()


@pytest.mark.parametrize("seed", range(8))
def test_read_table_within_its_rows(seed: int) -> None:
    """Radii read within ± 0.05 mm: d(r²)/dα moves by no more than all rows' effects together."""
    error = np.random.default_rng(seed).uniform(-0.05e-3, 0.05e-3, 6)
    exact, read = (table_of(SLOT, 6, STOP, e, 0.05e-3) for e in (np.zeros(6), error))
    alpha = np.linspace(0.0, STOP, 50)
    moved = np.abs(shape_of(read, alpha) - shape_of(exact, alpha))
    assert (moved < allowed(exact, alpha)).all()
    # With the signs of the worst case the bound is met, to the square of the errors.
    worst = 0.05e-3 * np.sign(exact.row_effects(alpha[:1])[:, 0])
    pushed = shape_of(table_of(SLOT, 6, STOP, worst, 0.05e-3), alpha[:1]) - shape_of(exact, alpha[:1])
    assert pushed == pytest.approx(allowed(exact, alpha[:1]), rel=0.02)


def test_row_effects_by_moving_a_row() -> None:
    """Each row's effect against the same table with that row moved by a thousandth of its limit."""
    table = table_of(SLOT, 5, STOP, np.zeros(5), 0.05e-3)
    alpha = np.linspace(0.0, STOP, 7)
    before = shape_of(table, alpha)
    for row, effect in enumerate(table.row_effects(alpha)):
        moved = table_of(SLOT, 5, STOP, 0.05e-6 * (np.arange(5) == row), 0.05e-3)
        assert 1e3 * (shape_of(moved, alpha) - before) == pytest.approx(effect, abs=2e-3 * np.abs(effect).max())


def test_rows_are_weighted_by_their_limits() -> None:
    """A row read to ± 5 mm hardly counts beside rows read to ± 0.01 mm, however far off it is."""
    alpha = np.linspace(0.0, STOP, 5)
    wild = SLOT.radius(alpha)[0] + np.array([0, 0, 3e-3, 0, 0])
    table = RadiusTable(tuple(alpha), tuple(wild), (1e-5, 1e-5, 5e-3, 1e-5, 1e-5))
    assert table.radius(alpha)[0] == pytest.approx(SLOT.radius(alpha)[0], abs=0.02e-3)


@dataclass(frozen=True)
class Shifted:
    """The weights of a table with d(r²)/dα off by all its rows' effects, times `sign`."""

    weights: Weights
    sign: float

    def inertia_slope(self, advance: ArrayLike) -> np.ndarray:
        """I′(α) [kg·m²/rad]."""
        table = self.weights.motion
        assert isinstance(table, RadiusTable)
        effect = self.weights.count * self.weights.mass * allowed(table, np.asarray(advance))
        return self.weights.inertia_slope(advance) + self.sign * effect


@pytest.mark.parametrize("seed", [0, 2, 8, 14])
def test_table_in_a_job_gives_the_slots_curve(seed: int, tmp_path: Path) -> None:
    """A job with radii read exactly from a slot: the slot's curve lies between the two curves that the rows'
    default ± 0.05 mm leave open, which are not so far apart (4°) that anything would lie between."""
    sound = mechanism(seed)
    sound = replace(sound, springs=tuple(p for p in sound.springs if "weight" not in p.anchor.on + p.far.on))
    exact = trace(unit_of(sound))
    unit = as_table(sound, tmp_path)
    speeds = np.array(sound.speeds[:4]) * np.pi / 30
    assert isinstance(unit.weights, Weights)
    low, high = (
        trace(replace(unit, weights=Shifted(unit.weights, sign))).rising_advance(speeds) for sign in (-1.0, 1.0)
    )
    assert (low <= exact.rising_advance(speeds)).all()
    assert (exact.rising_advance(speeds) <= high).all()
    assert (high - low).max() < 4 * DEG


def as_table(sound: Mechanism, folder: Path) -> Unit:
    """The unit from a job file whose weights are described by seven radii."""
    alpha = np.linspace(0.0, sound.stop, 7)
    radii = 1e3 * motion_of(sound).radius(alpha * DEG)[0]
    rows = ", ".join(f'"{a:.6f} deg"' for a in alpha), ", ".join(f'"{float(r)!r} mm"' for r in radii)
    motion = f'[weights.motion]\nkind = "table"\nadvance = [{rows[0]}]\ncg_radius = [{rows[1]}]\n'
    text = re.sub(r"\[weights\.motion\].*?(?=\[springs)", motion, job_text(sound), count=1, flags=re.DOTALL)
    job = folder / "table.toml"
    job.write_text(text, encoding="utf-8")
    unit = load_job(job).as_found()
    assert unit is not None
    return unit


# --- faults ---------------------------------------------------------------------------------------------


BINDING = Slot(20e-3, 20e-3 + polar(12, 75), 10e-3)
PARALLEL = polar(8, 70)


def parallelogram(beta: float) -> Link:
    """ψ = α (see above), with the centre of gravity at the angle β [deg]."""
    return Link(20e-3, 20e-3 + polar(12, beta), 20e-3 + PARALLEL, PARALLEL)


def test_sound_weights_have_no_fault() -> None:
    """What the cases below are varied from."""
    assert weight_faults(BINDING, 29 * DEG) == []
    assert weight_faults(parallelogram(-60), 20 * DEG) == []


def test_binding_before_the_stop() -> None:
    """Hand: sin(pin) = 2 sin α above, so the slot binds at 30°; with a reach of 32° in steps of 0.13° it says so."""
    (fault,) = weight_faults(BINDING, 32 * DEG)
    assert "binds at" in fault.message and "pin" in fault.message
    assert 30.0 <= float(re.findall(r"[\d.]+(?=°)", fault.message)[0]) <= 30.2


def test_link_stretched_before_the_stop() -> None:
    """Hand: arm 8 mm on a pivot at 20 mm, cam point at 10 mm on the same side, 90° round; the link can reach the cam
    point no longer once it stands 8 + link from the pivot."""
    pin, cam = 20e-3 + polar(8, 110), polar(10, 90)
    link = Link(20e-3, 20e-3 + polar(12, 60), pin, cam)
    farthest = abs(pin - cam) * 1e3 + 8
    binds = np.degrees(np.arccos((20**2 + 10**2 - farthest**2) / (2 * 20 * 10))) - 90
    (fault,) = weight_faults(link, (binds + 3) * DEG)
    assert "binds at" in fault.message
    assert binds <= float(re.findall(r"[\d.]+(?=°)", fault.message)[0]) <= binds + 0.2


def test_retarding() -> None:
    """The parallelogram with β on the other side: outward would be retard."""
    (fault,) = weight_faults(parallelogram(60), 15 * DEG)
    assert "retard" in fault.message and "sign of the angles" in fault.message


def test_moving_inward_past() -> None:
    """Hand: with β = −7.02° and ψ = α the centre of gravity is farthest out at 7.02° of advance."""
    (fault,) = weight_faults(parallelogram(-7.02), 12 * DEG)
    assert "inward past" in fault.message and "angle of cg" in fault.message
    assert 7.02 <= float(re.findall(r"[\d.]+(?=°)", fault.message)[0]) <= 7.08


@pytest.mark.parametrize("beta", [0.0, 180.0, 0.4, -179.6])
def test_centre_of_gravity_on_the_radius(beta: float) -> None:
    """β at 0 or 180°, and within half a degree of it."""
    (fault,) = weight_faults(parallelogram(beta), 12 * DEG)
    assert fault.key == ("weights", "motion", "cg") and "0 or 180°" in fault.message


@pytest.mark.parametrize("beta", [-0.6, -60.0])
def test_centre_of_gravity_off_the_radius(beta: float) -> None:
    """Past half a degree the sense of the swing is told by the angle."""
    assert not any("0 or 180°" in fault.message for fault in weight_faults(parallelogram(beta), 12 * DEG))


def test_link_in_line() -> None:
    """Pivot, pin and the cam's point in one line: no lever."""
    link = Link(20e-3, 20e-3 + polar(12, -60), 12e-3, 5e-3)
    (fault,) = weight_faults(link, 10 * DEG)
    assert fault.key == ("weights", "motion", "cam") and "one line" in fault.message


@pytest.mark.parametrize(
    ("motion", "name"),
    [
        (Slot(0j, polar(12, 75), 10e-3), "pivot"),
        (Slot(20e-3, 20e-3, 10e-3), "cg"),
        (Slot(20e-3, 20e-3 + polar(12, 75), 20e-3), "pin"),
        (Link(20e-3, 20e-3 + polar(12, -60), 20e-3 + PARALLEL, 0j), "cam"),
    ],
)
def test_no_distance(motion: Slot | Link, name: str) -> None:
    """A point that falls on its centre, each named."""
    (fault,) = weight_faults(motion, 10 * DEG)
    assert fault.key == ("weights", "motion", name) and "got a distance of 0 mm" in fault.message


def test_table_that_falls() -> None:
    """Radii that shrink with advance are told of as inward motion."""
    table = RadiusTable((0.0, 0.1, 0.2), (24e-3, 23e-3, 22e-3), (5e-5,) * 3)
    (fault,) = weight_faults(table, 0.2)
    assert "inward" in fault.message


@pytest.mark.parametrize(
    ("old", "new", "words"),
    [
        ('angle = "75 deg" }', 'angle = "-75 deg" }', "weights.motion: the weights move inward"),
        ('advance = "13.8 deg"', 'advance = "40 deg"', "weights.motion: the drive binds at"),
        ('angle = "75 deg" }', 'angle = "180 deg" }', "weights.motion.cg: the centre of gravity lies on the radius"),
        ('angle = "76 deg" }', 'angle = "10 deg" }', "springs.primary.posts: the spring shortens from rest"),
    ],
)
def test_faults_reach_the_reader_of_a_job(old: str, new: str, words: str, tmp_path: Path) -> None:
    """One number of a sound job made wrong: refused with the key to look at."""
    anchor, far = Post("base", 21.0, 40.0), Post("cam", 12.0, 76.0)
    pull = Pull(anchor, far, 2.5, 0.8, 15.0)
    one = Mechanism("slot", "clockwise", 2, 31.5, 21.0, (12.6, 75.0), (13.1, 168.0), None, (pull,), 13.8, 4.5)
    text = re.sub(r'(\d)\.0 (mm|deg|g)"', r'\1 \2"', job_text(one))
    job = tmp_path / "job.toml"
    job.write_text(text, encoding="utf-8")
    assert load_job(job).as_found() is not None
    assert old in text
    job.write_text(text.replace(old, new), encoding="utf-8")
    with pytest.raises(PhysicsError) as told:
        load_job(job)
    assert words in str(told.value)
