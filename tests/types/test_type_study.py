"""The study of types: what is promised of a sixth unit that was only swept, against what it does.

RECURVE_FIRST=100 pytest -n 0 -s -m study tests/types/test_type_study.py     other types, and prints the table
"""

from __future__ import annotations

import os
import time
from pathlib import Path

import numpy as np
import pytest
from type_study import book_of, learned, measured_text, studied, sturdy, summary, unit_of

from recurve.output.learned import learn_units

KINDS, UNITS = 4, 10
FIRST = int(os.environ.get("RECURVE_FIRST", "0"))


@pytest.mark.study
def test_units_planned_from_sweep_and_wheel() -> None:
    """The 95 % band holds in at least 93 %, a right unit is accused in under 3 %, and no fewer pass than was promised, but for
    chance; no more corrections than for the same unit measured in at least 90 %. At least 95 % of foreign ones are told. Seeds
    100 on chose the rule by which they are; of seeds 300 on, 120 of 120 were told, and 0 of 40 right ones accused."""
    kinds = sturdy(KINDS, FIRST)
    found = studied(kinds, UNITS, [(k, 0) for k in kinds])
    print(f"\n{summary(found)}")
    planned = [f for f in found if f.points]
    inside, points = sum(f.inside for f in planned), sum(f.points for f in planned)
    assert len(planned) > 0.8 * len(found)
    assert 0.93 <= inside / points <= 1.0
    passed, promised = np.mean([f.passed for f in planned]), np.mean([f.chance for f in planned])
    assert passed > promised - 2.5 * np.sqrt(promised * (1 - promised) / len(planned))
    both = [f for f in planned if f.measured_passed is not None]
    assert np.mean([f.passed or not f.measured_passed for f in both]) >= 0.9 - 1 / len(both)
    assert sum(not f.own.fits for f in found) <= 0.03 * len(found)
    foreign = [o for f in found for o in f.others]
    assert sum(not o.fits for o in foreign) >= 0.95 * len(foreign)
    assert max(f.simulated for f in found) < 0.1


@pytest.mark.study
def test_fifty_units_are_learned_in_time(tmp_path: Path) -> None:
    """Half a minute, on a quiet machine."""
    kind, random = sturdy(1)[0], np.random.default_rng(97)
    files = []
    for unit in range(50):
        files.append(tmp_path / f"unit-{unit}.toml")
        files[-1].write_text(measured_text(unit_of(kind, unit), book_of(kind), random), encoding="utf-8")
    begun = time.perf_counter()
    found = learn_units(files, [], lambda text: None).made
    assert time.perf_counter() - begun < 30.0
    assert found.learned["weights", "mass"].units == 50


def test_a_type_of_five_units_has_the_scatter_that_they_have(tmp_path: Path) -> None:
    """The mass scatters by 3 %, as `type_study` has it; five units tell that within a factor of two and a half."""
    from recurve.job.unit_type import read_type

    kind = sturdy(1)[0]
    mass = read_type(learned(kind, 0, UNITS, tmp_path), "type").learned["weights", "mass"]
    assert 0.4 < mass.spread / (0.03 * mass.mean) < 2.5
