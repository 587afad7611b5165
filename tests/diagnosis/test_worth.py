"""What a measurement is said to bring, against hand cases and against the fit that has it."""

from __future__ import annotations

from pathlib import Path
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest
from hand_units import Lever
from jobs import without, write_job
from sweeps import swept

from recurve.diagnosis.worth import _planned, _with_springs, narrowing, readings_to_take, worth_measuring
from recurve.fit.fit import fit_sweep
from recurve.fit.state import Evidence
from recurve.job.read import load_job
from recurve.physics.ensemble import Units

SPEEDS = list(range(250, 1401, 75))
FOUND_SECONDARY = 'takeup = "7 ± 0.5 deg"\nrate = "4.0 N/mm"\n'


@pytest.mark.parametrize(("uncertainty", "left"), [(0.0, 1.0), (1.0, 3.0), (1e6, 5.0)])
def test_narrowing_by_hand(uncertainty: float, left: float) -> None:
    """y = 2 q + e, q and e of variance 1: V = 5. Known to u, q leaves 5 − 4/(1 + u²): 1, 3 and all of 5."""
    random = np.random.default_rng(1)
    q, e = random.standard_normal((2, 400_000))
    assert narrowing((2 * q + e)[:, None], q, uncertainty) == pytest.approx(1 - np.sqrt(left / 5), abs=0.004)


def test_a_reading_is_as_sure_as_bench_and_speed_let_it_be() -> None:
    """Read to ± 0.003 rad at a speed known to ± 0.6 rad/s, on a curve of 0.02 rad per rad/s rising and on a flat one falling:
    in standard uncertainties 0.003/√3, and with 0.02 · 0.6/√3 together."""
    sweep = SimpleNamespace(speed=np.array([50.0, 100.0]), reading=0.003, speed_reading=0.6)
    fit: Any = SimpleNamespace(model=SimpleNamespace(sweep=sweep))
    unit: Any = SimpleNamespace(
        rising=lambda speeds: np.array([[1.0], [2.0]]) + 0.02 * speeds,
        falling=lambda speeds: np.full((2, len(speeds)), 0.2),
    )
    told = list(readings_to_take(unit, fit))
    assert {rising for _, rising, _, _ in told} == {True, False}
    for speed, rising, shows, noise in told:
        assert 39.9 < speed < 110.1
        assert shows == pytest.approx([1 + 0.02 * speed, 2 + 0.02 * speed] if rising else [0.2, 0.2])
        assert noise == pytest.approx(np.hypot(0.003, 0.012 if rising else 0.0) / np.sqrt(3))


@pytest.mark.parametrize(
    ("takeup", "stretch"),
    [(0.0, 2e-3), (0.1, -1e-3), (None, -2e-3)],  # None: never, which is at the stop of 0.2 rad
)
def test_new_springs_are_set_as_the_best_ones_would_be(takeup: float | None, stretch: float) -> None:
    """1000 N/m on posts that part by 10 mm per rad: 2 N at rest are 2 mm, and one that takes up late is as much shorter than
    the posts are apart by then."""
    many = np.ones((3, 1))
    units = Units(800 * many, many, 0.1 * many, *(np.ones(3) for _ in range(4)), many)
    unit: Any = SimpleNamespace(
        model=SimpleNamespace(units=lambda states: units),
        ensemble=SimpleNamespace(states=None),
        job=SimpleNamespace(places=(SimpleNamespace(posts=Lever()),)),
    )
    ideal: Any = SimpleNamespace(stop=0.2, springs=(SimpleNamespace(rate=1000.0, pull=2.0, takeup=takeup),))
    made = _with_springs(unit, ideal)
    assert made.stretch[:, 0] == pytest.approx([stretch] * 3)
    assert made.rate[:, 0].tolist() == [1000.0] * 3 and made.tension[:, 0].tolist() == [0.0] * 3
    assert made.drag is units.drag


def evidence(folder: Path, secondary: str) -> Evidence:
    """The test job's unit (4.0 N/mm, 7°) swept, with this known of its secondary."""
    unit = load_job(write_job(folder)).as_found()
    assert unit is not None
    text = swept(unit, SPEEDS, 0.25, 4)
    job = load_job(write_job(folder, (FOUND_SECONDARY, secondary), without("catalogue"), sweep=text))
    return Evidence.of(job, fit_sweep(job))


def test_what_is_promised_comes_true(tmp_path: Path) -> None:
    """The secondary not known at all: weighing it to 3 % is said to narrow the curve by so much. Then it is weighed."""
    before = evidence(tmp_path, "")
    step = next(s for s in worth_measuring(before, None) if "secondary spring off" in s.measure)
    assert step.narrowing is not None and f"{step.narrowing:.0%}" in step.gain
    after = evidence(tmp_path, 'rate = "4.0 ± 0.21 N/mm"\n')  # ± 0.21, a standard uncertainty of 3 %
    spread = [float(np.sqrt(_planned(e, None).var(axis=0).mean())) for e in (before, after)]
    assert 1 - spread[1] / spread[0] == pytest.approx(step.narrowing, abs=0.12)


def test_the_most_telling_comes_first_and_what_is_known_is_not_asked_for(tmp_path: Path) -> None:
    steps = worth_measuring(evidence(tmp_path, 'takeup = "7 ± 0.1 deg"\nrate = "4.0 ± 0.05 N/mm"\n'), None)
    gains = [s.narrowing or 0.0 for s in steps]
    assert gains == sorted(gains, reverse=True)
    assert not any("secondary spring" in s.measure for s in steps)
    minutes = [s.gain.rsplit("about ", 1)[1] for s in steps]
    assert "1 minute" in minutes and "1 minutes" not in minutes


KNOWN = {
    "secondary rate": (FOUND_SECONDARY.split("\n")[1], 'rate = "4.0 ± 0.2 N/mm"'),
    "take-up": (FOUND_SECONDARY.split("\n")[0], 'takeup = "7 ± 0.4 deg"'),
    "stop": ('advance = "13.8 ± 0.3 deg"', 'advance = "13.8 ± 0.1 deg"'),
    "primary rate": ('rate = "1.6 ± 0.1 N/mm"', 'rate = "1.6 ± 0.05 N/mm"'),
    "drag": ('rubbing_block = "4.5 mN*m"', 'rubbing_block = "4.5 ± 0.3 mN*m"'),
}


def spread_with(folder: Path, known: frozenset[str], text: str) -> float:
    """Standard deviation [rad] of the curve at the bands' speeds with this known of the unit, and the rest left out."""
    changes = [(old, new if name in known else _left_out(name, old)) for name, (old, new) in KNOWN.items()]
    evidence = Evidence.of(*(lambda j: (j, fit_sweep(j)))(load_job(write_job(folder, *changes, sweep=text))))
    return float(np.sqrt(_planned(evidence, None).var(axis=0).mean()))


def _left_out(name: str, old: str) -> str:
    """Of the stop the ± is left out; all else is not measured."""
    return 'advance = "13.8 ± 0.6 deg"' if name == "stop" else ""


def widened(folder: Path, names: list[str]) -> list[str]:
    """Where knowing one thing more, truly, widens the curve by more than a twentieth. A spread of 1000 equal samples is itself
    known to 1/√2000, 2.2 %, so a ratio of two is allowed 3 % more."""
    unit = load_job(write_job(folder)).as_found()
    assert unit is not None
    text = swept(unit, SPEEDS, 0.3, 7)
    sets = [frozenset(n for i, n in enumerate(names) if k >> i & 1) for k in range(2 ** len(names))]
    spread = {s: spread_with(folder, s, text) for s in sets}
    return [
        f"{name} beside {sorted(s)}: {spread[s | {name}] / spread[s]:.3f}"
        for s in sets for name in names
        if name not in s and spread[s | {name}] > (1.05 + 0.03) * spread[s]
    ]  # fmt: skip


def test_knowing_more_never_widens_the_curve(tmp_path: Path) -> None:
    assert widened(tmp_path, ["secondary rate"]) == []


@pytest.mark.study
def test_knowing_more_never_widens_the_curve_over_all_subsets(tmp_path: Path) -> None:
    assert widened(tmp_path, list(KNOWN)) == []
