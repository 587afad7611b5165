"""Sweeps from a logger: taken together in groups, they tell what all their readings tell.

The units and their readings are made by the tests' own simulation (`tests/support/synthetic.py`), which shares nothing with
the package; the fit of every single reading is the second opinion on the groups.
"""

from __future__ import annotations

import subprocess
import sys
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
import synthetic
from fuzz import outcome
from jobs import write_job
from longer import some
from sweeps import swept

from recurve.fit.fit import Fit, fit_sweep
from recurve.job.read import load_job
from recurve.physics import logged
from recurve.physics.sweep import Sweep

RPM = np.pi / 30


def both_fits(seed: int, each_way: int, folder: Path, monkeypatch: pytest.MonkeyPatch) -> tuple[Fit, Fit]:
    """A unit's fit by its groups, and by every reading."""
    case = synthetic.case(seed, "sound", each_way)
    grouped = fit_sweep(case.job(folder))
    with monkeypatch.context() as patch:
        patch.setattr(logged, "MOST", 10**9)
        return grouped, fit_sweep(case.job(folder))


def off(grouped: Fit, full: Fit) -> tuple[list[float], list[float]]:
    """What the estimates of two fits differ by, in standard uncertainties, and the ratios of these."""
    pairs = [
        (a.quantity, b.quantity)
        for a, b in zip(grouped.estimates, full.estimates, strict=True)
        if a.quantity is not None and b.quantity is not None and (b.quantity.standard_uncertainty or 0.0) > 1e-3
    ]
    apart = [(a.value - b.value) / (b.standard_uncertainty or 1.0) for a, b in pairs]
    return apart, [(a.standard_uncertainty or 0.0) / (b.standard_uncertainty or 1.0) for a, b in pairs]


@pytest.mark.parametrize("seed", some([1, 5], 1))
def test_groups_tell_what_all_readings_tell(seed: int, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Estimates and uncertainties, hysteresis and scatter, of some 800 readings as of 70 groups of them."""
    grouped, full = both_fits(seed, 400, tmp_path, monkeypatch)
    assert len(grouped.residuals) < 160 < 700 < len(full.residuals)
    apart, ratios = off(grouped, full)
    assert len(apart) >= 8
    assert max(map(abs, apart)) < 1.0
    assert min(ratios) > 0.75 and max(ratios) < 1.4
    assert grouped.inflation == full.inflation == 1.0
    assert grouped.outliers == full.outliers == ()


@pytest.mark.study
def test_groups_are_as_true_as_all_readings(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Over many units: unbiased, no surer than the full fit, and off the truth as far as their uncertainties say."""
    aparts, ratios, scores = [], [], []
    for seed in range(1, 25):
        grouped, full = both_fits(seed, 750, tmp_path, monkeypatch)
        found = off(grouped, full)
        aparts += found[0]
        ratios += found[1]
        truth = synthetic.case(seed, "sound", 750).truth
        for one in grouped.estimates:
            if one.quantity is not None and (one.standard_uncertainty or 0.0) > 1e-3 and one.name in truth:
                scores.append((one.quantity.value - truth[one.name]) / (one.standard_uncertainty or 1.0))
    print(
        f"{len(aparts)} estimates: apart {np.mean(aparts):+.3f} ± {np.std(aparts):.3f}, ratio {np.median(ratios):.3f}, "
    )
    print(f"within two standard uncertainties of the truth {np.mean(np.abs(scores) < 2):.3f}, rms {np.std(scores):.2f}")
    assert abs(float(np.mean(aparts))) < 0.1 and float(np.std(aparts)) < 0.5
    assert 0.97 < float(np.median(ratios)) < 1.15
    assert float(np.mean(np.abs(scores) < 2)) > 0.88


# --- what must survive -----------------------------------------------------------------------------------------


def saw(speed: np.ndarray, rising: np.ndarray) -> np.ndarray:
    """A curve of straight pieces [deg] over rpm, by hand: a knee, a plateau from 700 to 760 rpm, a stop, and 1.2° between
    rising and falling on its flanks."""
    up = np.interp(speed, [300, 700, 760, 1000, 1600], [0.0, 6.0, 6.0, 12.0, 12.0])
    down = np.interp(speed, [240, 620, 680, 920, 1600], [0.0, 6.0, 6.0, 12.0, 12.0])
    return np.where(rising, up, down)


def made(many: int, noise: float, reading: float, seed: int = 1) -> tuple[Sweep, np.ndarray]:
    """A log of the saw: a ramp up and a ramp down, `noise` [deg] of one standard deviation, ± `reading` [deg] stated."""
    random = np.random.default_rng(seed)
    speed = np.concatenate([np.linspace(250, 1500, many // 2), np.linspace(1500, 250, many - many // 2)])
    rising = np.arange(many) < many // 2
    error = noise * random.normal(size=many)
    advance = saw(speed, rising) + error
    sweep = Sweep(
        speed * RPM, np.radians(advance), rising, np.arange(many) + 2, "log.csv", np.radians(reading), 2.0 * RPM
    )
    return sweep, error


def test_a_hand_s_sweep_is_left_alone() -> None:
    sweep, _ = made(400, 0.2, 0.35)
    assert logged.gathered(sweep) is sweep


def test_knees_plateaus_turns_and_hysteresis_survive() -> None:
    sweep, _ = made(20_000, 0.2, 0.35)
    got = logged.gathered(sweep)
    assert got.groups is not None and len(got.speed) <= 2 * logged.GROUPS + 4
    rpm, read = got.speed / RPM, np.degrees(got.advance)
    # Where the sweep begins and turns.
    assert (rpm.min(), rpm.max()) == pytest.approx((250.0, 1500.0))
    for rising in (True, False):
        way = np.asarray(got.rising) == rising
        assert way.sum() > 24
        off_curve = np.abs(read[way] - saw(rpm[way], np.full(way.sum(), rising)))
        assert float(np.median(off_curve)) < 0.02
        assert float(off_curve[got.groups.size[way] > 1].max()) < 0.1  # no knee is rounded
    plateau = np.asarray(got.rising) & (rpm > 705) & (rpm < 755)
    assert plateau.sum() >= 2 and float(np.ptp(read[plateau])) < 0.1
    at = np.linspace(400, 650, 11)
    up, down = (
        np.interp(at, np.sort(rpm[way]), read[way][np.argsort(rpm[way])])
        for way in (np.asarray(got.rising), ~np.asarray(got.rising))
    )
    assert np.allclose(down - up, saw(at, np.zeros(11, bool)) - saw(at, np.ones(11, bool)), atol=0.08)


def test_the_uncertainty_of_a_group_is_that_of_its_mean() -> None:
    """Of independent errors, by how far the means really lie off, over 40 logs; the expected scatter is that of the noise over
    the root of the readings, with REPEATS beside it."""
    scores = []
    for seed in range(40):
        sweep, _ = made(4000, 0.2, 0.2 * 3**0.5, seed)
        got = logged.gathered(replace(sweep, speed_reading=1e-3 * RPM))
        assert got.groups is not None and got.groups.shared == 0.0
        flat = (got.speed / RPM > 1050) & (got.groups.size > 1)
        sigma = np.sqrt(got.variance(np.zeros(len(got.speed))) - logged.REPEATS**2)
        scores += list(((got.advance - np.radians(12.0)) / sigma)[flat])
    assert len(scores) > 500
    assert float(np.std(scores)) == pytest.approx(1.0, abs=0.08)
    assert abs(float(np.mean(scores))) < 0.1


def test_an_error_that_all_share_does_not_average_away() -> None:
    """A bench read to ± 0.9° that scatters by 0.05°: the rest of the ± stays, however many readings there are."""
    got = logged.gathered(made(20_000, 0.05, 0.9)[0])
    assert got.groups is not None and got.groups.shared > 0.98
    least = np.sqrt(got.variance(np.zeros(len(got.speed))))
    assert float(np.degrees(least.min())) == pytest.approx(0.9 / 3**0.5, rel=0.03)


def test_readings_that_a_filter_smoothed_are_worth_fewer() -> None:
    """A running mean of k readings leaves their errors with a correlation of (k − 1)/k from one to the next, and each of them
    worth about 1/(2k − 1) of an independent one: by (1 − ρ)/(1 + ρ), which is what the mean of a first-order process has."""
    sweep, error = made(20_000, 0.5, 0.5)
    smooth = np.convolve(error, np.ones(5) / 5, mode="same")
    read = np.degrees(sweep.advance) - error + smooth
    plain, filtered = (logged.gathered(s) for s in (sweep, replace(sweep, advance=np.radians(read))))
    assert plain.groups is not None and filtered.groups is not None
    assert plain.groups.count.sum() == pytest.approx(20_000, rel=0.02)
    assert filtered.groups.count.sum() == pytest.approx(20_000 / 9, rel=0.2)


def test_readings_far_off_are_left_out_and_named() -> None:
    sweep, _ = made(20_000, 0.2, 0.35)
    wrong = np.array([100, 101, 5000, 12_345, 19_000])
    read = sweep.advance.copy()
    read[wrong] += np.radians([4.0, 4.0, -5.0, 6.0, -3.0])
    got = logged.gathered(replace(sweep, advance=read))
    assert got.left_out == tuple(wrong + 2)
    clean = logged.gathered(sweep)
    assert clean.left_out == ()
    (note,) = logged.gathered_notes(got)
    assert "5 that lie far off their neighbours were left out (line 102, 103, 5002, 12347, 19002)" in note


def test_a_step_is_no_outlier() -> None:
    """Half the readings of a band of speeds lie 3° higher, as after a weight that stuck let go: nothing of it is left out."""
    sweep, _ = made(8000, 0.2, 0.35)
    late = (np.asarray(sweep.rising)) & (sweep.speed / RPM > 800) & (sweep.speed / RPM < 900)
    got = logged.gathered(replace(sweep, advance=sweep.advance + np.radians(3.0) * late))
    assert len(got.left_out) < 10
    rpm = got.speed / RPM
    inside = np.asarray(got.rising) & (rpm > 810) & (rpm < 890)
    assert np.allclose(np.degrees(got.advance[inside]) - saw(rpm[inside], np.ones(inside.sum(), bool)), 3.0, atol=0.1)


# --- a hundred thousand ----------------------------------------------------------------------------------------


def log_file(folder: Path, many: int) -> Path:
    """The log of the test job's own unit, a ramp up and a ramp down."""
    unit = load_job(write_job(folder)).as_found()
    assert unit is not None  # its springs are described
    speeds = np.linspace(250, 1400, many // 2).round(2)
    return write_job(folder, sweep=swept(unit, list(speeds), noise=0.8 / 3**0.5))


# The most memory of a process itself: what a parent held before it began would count in the system's own figure.
MEASURED = (
    "import re, runpy, sys, time\nbegan = time.monotonic()\nsys.argv[0] = 'recurve'\n"
    "try:\n    runpy.run_module('recurve', run_name='__main__')\n"
    "finally:\n    held = re.search(r'VmHWM:\\s+(\\d+)', open('/proc/self/status').read())[1]\n"
    "    print(f'MEASURED {time.process_time():.2f} {held}', file=sys.stderr)\n"
)


@pytest.mark.skipif(not Path("/proc/self/status").is_file(), reason="a system that does not tell what a process holds")
def test_a_hundred_thousand_readings_are_judged_in_little_memory(tmp_path: Path) -> None:
    """Under 500 MB, of a process of its own; its processor time is printed and measured in `tests/bench/`."""
    path = log_file(tmp_path, 100_000)
    command = [sys.executable, "-c", MEASURED, "check", str(path)]
    done = subprocess.run(command, capture_output=True, text=True, check=False)
    assert done.returncode in (0, 3), done.stderr
    assert "as-found.csv has 100000 readings, as from a logger." in " ".join(done.stdout.split())
    spent, held = (float(x) for x in done.stderr.split("MEASURED ")[1].split())
    print(f"{spent:.1f} s of a processor, {held / 1e3:.0f} MB")
    assert held * 1024 < 500e6


def test_the_remark_says_how_they_were_taken_together(tmp_path: Path) -> None:
    path = log_file(tmp_path, 5000)
    job = load_job(path)
    assert job.sweep is not None and job.sweep.groups is not None and job.sweep.groups.readings == 5000
    code, out, _ = outcome(["curve", str(path)])
    assert code == 0
    assert f"averaged in {len(job.sweep.speed)} groups of nearly equal speed" in " ".join(out.split())


def test_a_group_knows_how_widely_its_speeds_are_spread() -> None:
    """Of m speeds at equal steps h: h √((m² − 1)/12)."""
    got = logged.gathered(made(4000, 0.02, 0.35)[0])
    assert got.groups is not None and got.groups.left_out == ()
    step = 1250.0 / 1999 * RPM
    assert got.groups.spread == pytest.approx(step * np.sqrt((got.groups.size**2 - 1) / 12), rel=1e-6, abs=1e-9)


def test_a_group_is_split_at_the_middle_of_its_speeds() -> None:
    """Of 300 readings from 300 to 310 rpm and 30 more up to 400 rpm, the middle is 350 rpm, with 17 readings above it."""
    speed = np.concatenate([np.linspace(300, 310, 300), np.linspace(310, 400, 31)[1:]]) * RPM
    many = len(speed)
    sweep = Sweep(speed, np.zeros(many), np.ones(many, bool), np.arange(many) + 2, "log.csv", 0.01, 0.1 * RPM)
    whole = logged._run(sweep, np.arange(many), 10 * RPM)
    halves = logged._halves(sweep, whole, 10 * RPM)
    assert halves is not None
    below, above = (sweep.speed[half.at] / RPM for half in halves)
    assert below.max() < 350 < above.min() and len(above) == 17
