"""A sweep that stopped before the advance was all in must not set an engine's timing by its last reading.

Truth: units of `worn`, swept by `integrator`, which share nothing with the package. All invented. Crank terms have speed
ratio 2, which is the four-stroke engine's own.
"""

from __future__ import annotations

import re
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from integrator import Bench, bench
from synthetic import all_in, as_csv
from worn import STEP, worn_mechanism

from recurve.diagnosis.timing_card import timing_card
from recurve.job.read import load_any
from recurve.units import RPM

STATIC = 8.0  # crank degrees: the truth that the total is made of
READING = 0.3  # how far off a reading is at most, distributor degrees


def swept(curve: Bench, speeds: np.ndarray, step: float, random: np.random.Generator) -> np.ndarray:
    """Rising, then falling, read to a `step` [deg]."""
    curve.stand_still()
    true = np.concatenate([curve.go_through(speeds), curve.go_through(speeds[-2::-1])])
    return np.asarray(np.round((true + READING * random.uniform(-1, 1, len(true))) / step) * step)


def job_of(seed: int, until: float, step: float, folder: Path) -> tuple[Path, Bench]:
    """A job of book, engine and a sweep that ends at so many times the speed at which all advance is in."""
    seen, one = worn_mechanism(seed, "sound")
    curve = bench(one, 0.005, STEP)
    speeds = np.unique(np.round(np.linspace(max(seen.book.idle - 40, 120), until * all_in(curve), 12), -1))
    read = swept(curve, speeds, step, np.random.default_rng([seed, int(100 * until)]))
    csv = as_csv(np.concatenate([speeds, speeds[-2::-1]]), read, len(speeds))
    text = replace(seen, reading=0.5, speed_reading=5.0, zeroed=None).text
    text = re.sub(
        r"\[target\].*?(?=\[sweep\])", "", text.replace("rotation", "speed_ratio = 2.0\nrotation"), flags=re.S
    )
    total = 2 * one.stop + STATIC
    engine = f'\n[timing]\ntotal = "{total:.1f} deg"\nidle = "{2 * seen.book.idle:.0f} rpm"\n'
    (folder / "as-found.csv").write_text(csv, encoding="utf-8")
    (folder / "unit.toml").write_text(text + engine, encoding="utf-8")
    return folder / "unit.toml", curve


SHORT = [(970, 0.8, 1.0), (972, 0.75, 1.0), (974, 0.85, 1.0), (976, 0.75, 1.0), (977, 0.8, 0.1), (980, 0.75, 1.0)]


@pytest.mark.parametrize(("seed", "until", "step"), SHORT)
def test_a_sweep_that_ends_early_sets_no_total(seed: int, until: float, step: float, tmp_path: Path) -> None:
    path, _ = job_of(seed, until, step, tmp_path)
    card = timing_card(load_any(path))
    assert card.verdict == "total not known"
    assert card.setting is not None and not card.setting.flat


@pytest.mark.parametrize("seed", [970, 972])
def test_a_sweep_well_past_the_stop_does(seed: int, tmp_path: Path) -> None:
    """And the engine set so has its total to within 2 crank degrees, twice what the readings are off."""
    path, curve = job_of(seed, 1.5, 0.1, tmp_path)
    card = timing_card(load_any(path))
    assert card.verdict == "set it so" and card.setting is not None
    curve.stand_still()
    within = curve.settle(card.setting.speed * RPM / 2)
    total = np.degrees(card.setting.reading) + 2 * (curve.advance[-1] - within)
    assert total == pytest.approx(2 * curve.advance[-1] + STATIC, abs=2.0)
