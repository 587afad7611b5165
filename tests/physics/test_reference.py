"""I′ from a reference sweep, checked against units whose I′ is known; all units and readings are invented.

The true I′ is that of a mechanism of `mechanisms`, by its geometry, which the job that is tested never tells.
Sweeps come from the curve of the true unit or from the multibody simulation, read with seeded errors equally
likely anywhere between ± limits, and the springs are known only within theirs.
"""

from __future__ import annotations

import re
import tomllib
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from faults import REFERENCE_FAULTS
from mechanisms import RPM, job_text, mechanism
from modelunits import unit_of
from multibody import Simulation
from reference_units import DRAG, FREE, RATE, SEEDS, Bench, errors, reference_text, slope_of, sweep_text, swept
from sweeps import HEADER

from recurve.errors import InputError
from recurve.fit.model import slope_modes
from recurve.job.read import load_job
from recurve.output.planfile import plan_folder, plan_toml
from recurve.physics.curve import trace
from recurve.planner.plan import make_plan


@pytest.mark.parametrize("many", [24, pytest.param(240, marks=pytest.mark.study)])
def test_coverage(many: int, tmp_path: Path) -> None:
    """Over sixteen mechanisms read by various benches: the true I′ is within two standard uncertainties at 90 % of the
    advances or more, the uncertainties are neither small nor boasted (root mean square of error over uncertainty
    about 1), and nothing pulls the mean to one side."""
    benches = (Bench(), Bench(many=8, reading=0.8), Bench(zeroed=1.1), Bench(reading=0.2, speed=4.0))
    found = [errors(*swept(seed, tmp_path, benches[seed // 4 % 4])) for seed in range(many)]
    error, stated = (np.stack(x) for x in zip(*found, strict=True))
    assert (np.abs(error) < 2 * stated).mean() >= 0.90
    assert 0.8 < np.sqrt(((error / stated) ** 2).mean()) < 1.2
    assert np.abs(error.mean(axis=0)).max() < 0.05


def test_multibody(tmp_path: Path) -> None:
    """A slot unit swept in the simulation, which shares only its numbers with the package: with springs known to 1 %
    and readings to ± 0.1°, I′ is that of its geometry to 2 %, and within the stated uncertainty."""
    one = mechanism(SEEDS[0])
    assert one.kind == "slot"
    simulation, lines = Simulation(one), ["speed [rpm],advance [deg],direction"]
    for rpm in np.linspace(one.speeds[0], one.speeds[-1], 9).round():
        lines.append(f"{rpm},{simulation.settle(rpm):.4f},rising")
    (tmp_path / "reference.csv").write_text("\n".join(lines), encoding="utf-8")
    text = (
        reference_text(one, Bench(0.1, 0.5))
        .replace(f"± {100 * RATE} %", "± 1 %")
        .replace(f"± {1e3 * FREE} mm", "± 0.01 mm")
    )
    text = text.replace(f"± {DRAG} mN*m", "± 0.05 mN*m").replace(
        "[drag]", '[drag]\nfriction = "0 mN*m"\nfriction_share = "0"'
    )
    (tmp_path / "unit.toml").write_text(text, encoding="utf-8")
    error, stated = errors(unit_of(one), tmp_path / "unit.toml")
    assert np.abs(error).max() < 0.02
    assert (np.abs(error) < 2 * stated).all()


def test_other_springs(tmp_path: Path) -> None:
    """Stiffer springs set tighter in units whose geometry is not told: the curve is the true unit's within two stated
    standard uncertainties, at nine readings out of ten or more, and these are worth having."""
    inside, width = [], []
    for seed in range(6):
        unit, path = swept(seed, tmp_path)
        slope = slope_of(load_job(path))
        springs = tuple(
            replace(s, spring=replace(s.spring, rate=1.5 * s.spring.rate, free_length=s.spring.free_length - 0.3e-3))
            for s in unit.springs
        )
        other = replace(unit, springs=springs)
        speeds = np.linspace(trace(other, 201).onset or 0.0, trace(other, 201).all_in or 0.0, 12)[1:-1]
        drawn = np.random.default_rng(seed).multivariate_normal(slope.coefficients, slope.covariance, 60)
        might = [replace(other, weights=replace(slope, coefficients=tuple(c))) for c in drawn]
        spread = np.std([trace(u, 201).rising_advance(speeds) for u in might], axis=0)
        got = trace(replace(other, weights=slope)).rising_advance(speeds)
        inside.append(np.abs(got - trace(other).rising_advance(speeds)) < 2 * spread + 1e-4)
        width.append(np.degrees(spread))
    assert np.mean(inside) >= 0.90
    assert np.median(width) < 0.5


def test_modes_tell_the_whole_uncertainty(tmp_path: Path) -> None:
    """No more than three modes, and the uncertainty of I′ is the sweep's at every advance."""
    job = load_job(swept(3, tmp_path)[1])
    grid = np.linspace(0.0, 1.35 * job.stop.advance, 101)
    modes = slope_modes(job, grid)
    assert len(modes) <= 3
    assert np.sqrt((modes**2).sum(axis=0)) == pytest.approx(slope_of(job).uncertainty(grid), rel=1e-9)
    past = slope_of(job).uncertainty(np.array([1.0, 1.15, 1.3]) * job.stop.advance)
    assert past[0] < past[1] < past[2]  # beyond the stop nothing was read


def test_the_note_names_a_reading_that_helps(tmp_path: Path) -> None:
    """Springs, drag and friction known well, but nothing read in the lower half: the note says where I′ is uncertain
    and at which speed to read; with six readings there, made like the others, it is less uncertain."""
    one, random = mechanism(SEEDS[0]), np.random.default_rng(5)
    unit, bench = unit_of(one), Bench(many=16)
    text = (
        reference_text(one, bench).replace(f"± {100 * RATE} %", "± 0.5 %").replace(f"± {1e3 * FREE} mm", "± 0.005 mm")
    )
    text = text.replace(f"± {DRAG} mN*m", "± 0.02 mN*m").replace(
        "[drag]", '[drag]\nfriction = "0 mN*m"\nfriction_share = "0"'
    )
    head, *lines = sweep_text(unit, bench, random)[0].splitlines()
    upper = [line for line in lines if float(line.split(",")[1]) > 0.5 * one.stop]
    path = tmp_path / "unit.toml"
    path.write_text(text, encoding="utf-8")
    (tmp_path / "reference.csv").write_text("\n".join([head, *upper]), encoding="utf-8")
    before = load_job(path)
    (note,) = [n for n in before.notes if "uncertain by more than 10 %" in n]
    found = re.search(
        r"from 0\.0° to ([\d.]+)° \(distributor\): take readings at about (\d+) rpm \(distributor\), speed (rising|falling)",
        note,
    )
    assert found is not None, note
    rpm = float(found[2])
    more = []
    for _ in range(6):
        at = float(np.degrees(trace(unit).rising_advance((rpm + bench.speed * random.uniform(-1, 1)) * RPM)))
        assert 0.0 <= at <= float(found[1]) + 0.5
        more.append(f"{rpm},{at + bench.reading * random.uniform(-1, 1):.2f},{found[3]}")
    (tmp_path / "reference.csv").write_text("\n".join([head, *upper, *more]), encoding="utf-8")
    region = np.linspace(0.0, np.radians(float(found[1])), 21)
    stated = [slope_of(job).uncertainty(region).mean() for job in (before, load_job(path))]
    assert stated[1] < 0.7 * stated[0]


def coefficients(path: Path) -> tuple[float, ...]:
    """Of the job's log I′."""
    return slope_of(load_job(path)).coefficients


def test_rotation_does_not_matter(tmp_path: Path) -> None:
    """Posts by angle, in the direction of rotation: a clockwise unit and an anticlockwise one read the same."""
    path = swept(1, tmp_path)[1]
    text, first = path.read_text(encoding="utf-8"), coefficients(path)
    other = {'"clockwise"': '"anticlockwise"', '"anticlockwise"': '"clockwise"'}
    path.write_text(re.sub('"(anti)?clockwise"', lambda found: other[found[0]], text), encoding="utf-8")
    assert path.read_text(encoding="utf-8") != text
    assert coefficients(path) == first


def test_crank_readings(tmp_path: Path) -> None:
    """The same readings in crank terms, twice the speed and 8° + twice the advance, say the same but for rounding."""
    path = swept(2, tmp_path)[1]
    first = slope_of(load_job(path))
    crank = slope_of(load_job(swept(2, tmp_path, Bench(ratio=2.0, static=8.0))[1]))
    grid = np.linspace(0.0, first.reach, 11)
    assert crank.inertia_slope(grid) == pytest.approx(first.inertia_slope(grid), rel=5e-3)


def test_springs_of_their_own_and_bent_posts(tmp_path: Path) -> None:
    """The job describes other springs and posts 0.5 mm further out than they stood in the sweep; the springs that were
    in it, with that bend, say what the job says that describes the unit as it was swept."""
    one = mechanism(SEEDS[1])
    path = swept(1, tmp_path)[1]
    first, text = coefficients(path), path.read_text(encoding="utf-8")
    tables = ""
    moved = []
    for name, pull in zip(("primary", "secondary"), one.springs, strict=True):
        lines = re.search(rf"\[springs\.{name}\]\n(rate.*\nfree_length.*\ninitial_tension.*\n)", text)
        assert lines is not None
        tables += f'[weights.motion.{name}]\n{lines[1]}post_bend = "-0.5 mm"\n'
        line = pull.anchor.place - pull.far.place
        place = pull.anchor.place + 0.5 * line / abs(line)
        anchor = replace(pull.anchor, radius=float(abs(place)), angle=float(np.degrees(np.angle(place))))
        moved.append(replace(pull, anchor=anchor, rate=2.0 * pull.rate, free_length=pull.free_length - 1.0))
    other = reference_text(replace(one, springs=tuple(moved)))
    path.write_text(other.replace("[stop]", tables + "[stop]"), encoding="utf-8")
    assert coefficients(path) == pytest.approx(first, abs=1e-6)


def test_the_primary_alone(tmp_path: Path) -> None:
    """A sweep with the secondary taken out, as [weights.motion.primary] alone says."""
    path = swept(0, tmp_path)[1]
    one, text = mechanism(SEEDS[0]), path.read_text(encoding="utf-8")
    alone = replace(unit_of(one), springs=unit_of(one).springs[:1])
    readings = sweep_text(alone, Bench(), np.random.default_rng(3))[0]
    (tmp_path / "reference.csv").write_text(readings, encoding="utf-8")
    lines = re.search(r"\[springs\.primary\]\n(rate.*\nfree_length.*\ninitial_tension.*\n)", text)
    assert lines is not None
    path.write_text(text.replace("[stop]", f"[weights.motion.primary]\n{lines[1]}[stop]"), encoding="utf-8")
    error, stated = errors(alone, path)
    assert (np.abs(error) < 2 * stated).mean() >= 0.9


def test_a_sweep_that_is_both_is_told(tmp_path: Path) -> None:
    path = swept(0, tmp_path)[1]
    assert not any("count twice" in note for note in load_job(path).notes)
    both = '[sweep]\nfile = "./reference.csv"\n'
    path.write_text(path.read_text(encoding="utf-8") + both, encoding="utf-8")
    assert sum("count twice" in note for note in load_job(path).notes) == 1


def test_plan_file(tmp_path: Path) -> None:
    """The plan's job file gives the planned curve though posts, stop and springs are no longer those of the sweep."""
    one = mechanism(SEEDS[0])
    path = swept(0, tmp_path)[1]
    sold = ["id,rate [N/mm],free_length [mm],initial_tension [N]"]
    for i, pull in enumerate(one.springs):
        sold += [
            f"S{i}{j},{pull.rate * k:.3f},{pull.free_length - 0.4:.3f},{pull.tension:.3f}"
            for j, k in enumerate((0.8, 1.3))
        ]
    (tmp_path / "springs.csv").write_text("\n".join(sold), encoding="utf-8")
    curve, points = trace(unit_of(one)), ""
    for rpm in one.speeds[1:4]:
        at = 0.93 * float(np.degrees(curve.rising_advance(rpm * RPM)))
        points += f'  {{ speed = "{rpm} rpm", advance = "{at:.2f} deg", tolerance = "1.5 deg" }},\n'
    text = path.read_text(encoding="utf-8").replace(
        "post_diameter", 'post_travel = ["-0.8 mm", "0.8 mm"]\npost_diameter'
    )
    text = text.replace("[stop]", '[stop]\nradius = "14 mm"\nbuild_up_to = "1 mm"')
    text += f'[target]\npoints = [\n{points}]\nmaximum = {{ advance = "{one.stop - 1.5:.2f} deg", tolerance = "0.5 deg" }}\n'
    path.write_text(text + '[catalogue]\nfile = "springs.csv"\n', encoding="utf-8")
    plan = make_plan(load_job(path))
    build = plan.build
    assert build is not None and build.trim != 0.0 and any(s.bend != 0.0 for s in build.springs)
    plan_folder(path).mkdir()
    made = plan_folder(path) / "plan.toml"
    made.write_bytes(plan_toml(plan))
    again = load_job(made).as_found()
    assert again is not None
    grid = np.linspace(0.0, build.stop, 50)
    assert again.weights.inertia_slope(grid) == pytest.approx(build.unit.weights.inertia_slope(grid), rel=1e-6)
    speeds = np.array(one.speeds) * RPM
    assert trace(again).rising_advance(speeds) == pytest.approx(build.curve.rising_advance(speeds), abs=1e-6)
    motion = tomllib.loads(made.read_text(encoding="utf-8"))["weights"]["motion"]
    was = tomllib.loads(path.read_text(encoding="utf-8"))
    assert motion["stop"] == was["stop"]["advance"] and motion["drag"] == was["drag"]


@pytest.mark.parametrize("name", REFERENCE_FAULTS)
def test_faults(name: str, tmp_path: Path) -> None:
    """What is wrong with a reference sweep is told with its key, what it got and what was expected."""
    change, readings, expected = REFERENCE_FAULTS[name]
    path = swept(0, tmp_path)[1]
    if change is not None:
        text = path.read_text(encoding="utf-8")
        assert change[0] in text
        path.write_text(text.replace(*change), encoding="utf-8")
    if readings is not None:
        at_stop = f"{mechanism(SEEDS[0]).stop:.2f}"
        (tmp_path / "reference.csv").write_text(readings.replace("{stop}", at_stop), encoding="utf-8")
    with pytest.raises(InputError) as fault:
        load_job(path)
    for part in expected:
        assert part in str(fault.value)


def test_all_faults_in_one_pass(tmp_path: Path) -> None:
    """A bad key, a bad line of the reference sweep and a wrong unit, all three told; elsewhere a mass is still asked."""
    path = swept(0, tmp_path)[1]
    text = path.read_text(encoding="utf-8")
    (tmp_path / "reference.csv").write_text(HEADER + "500,x,rising\n", encoding="utf-8")
    path.write_text(
        text.replace("lobes = 6", "lobes = 60").replace("sweep = ", 'stop = "3 mm"\nsweep = '), encoding="utf-8"
    )
    with pytest.raises(InputError) as fault:
        load_job(path)
    told = str(fault.value)
    assert "distributor.lobes" in told and "weights.motion.stop" in told and 'reference.csv:2: advance: got "x"' in told
    slot = job_text(mechanism(SEEDS[0]))
    path.write_text(re.sub(r"mass = .*\n", "", slot).replace("lobes = 6", "lobes = 60"), encoding="utf-8")
    with pytest.raises(InputError) as fault:
        load_job(path)
    assert "weights.mass: missing, expected" in str(fault.value) and "distributor.lobes" in str(fault.value)
