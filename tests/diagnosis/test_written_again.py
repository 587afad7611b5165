"""Readings that are no new evidence, and a ± that no bench keeps: units by `worn` and `whole_units`."""

from __future__ import annotations

import re
from pathlib import Path

import numpy as np
import pytest
from longer import some
from whole_units import Whole, whole
from worn import Way, Worn, worn

from recurve.diagnosis.check import BareCheck, Check, check_bare, check_unit
from recurve.diagnosis.copied import TypedTwice, repeated
from recurve.diagnosis.readings import Scatter
from recurve.errors import InputError
from recurve.inspection.findings import Cause
from recurve.job.model import Job
from recurve.job.read import load_any

READ = Way(count=14)


def unit_of(seed: int, fault: str, measured: bool) -> Whole | Worn:
    """The same unit with its parts measured, or with nothing but book and sweep."""
    return whole(seed, fault, "known", READ) if measured else worn(seed, fault, READ)


def judged(folder: Path) -> Check | BareCheck:
    """The job of the folder judged."""
    [path] = folder.glob("*.toml")
    job = load_any(path)
    return check_unit(job) if isinstance(job, Job) else check_bare(job)


def rows(folder: Path) -> list[str]:
    """The lines of the sweep."""
    return (folder / "as-found.csv").read_text(encoding="utf-8").splitlines()


def write(folder: Path, lines: list[str]) -> None:
    """The sweep written anew."""
    (folder / "as-found.csv").write_text("\n".join(lines) + "\n", encoding="utf-8")


@pytest.mark.parametrize("measured", [True, False], ids=["measured", "bare"])
@pytest.mark.parametrize("seed", some([700, 703, 708], 1))
def test_a_sweep_that_was_typed_twice_is_told(seed: int, measured: bool, tmp_path: Path) -> None:
    unit_of(seed, "sound", measured).job(tmp_path)
    once = rows(tmp_path)
    write(tmp_path, [*once, *once[1:]])
    check = judged(tmp_path)
    assert check.verdict == "cannot tell"
    assert [f.severity for f in check.findings if isinstance(f, TypedTwice)] == ["check first"]


def test_a_sweep_that_was_read_twice_is_not_taken_for_one_typed_twice(tmp_path: Path) -> None:
    """Read twice to 0.1° with ± 0.3 to 0.5°, a few readings come out the same."""
    random = np.random.default_rng(5)
    for seed in range(700, 706):
        unit = worn(seed, "sound", READ)
        unit.job(tmp_path)
        once = rows(tmp_path)
        again = []
        for line in once[1:]:
            speed, advance, way = line.split(",")
            again.append(f"{speed},{float(advance) + 0.1 * random.integers(-3, 4):.3f},{way}")
        write(tmp_path, [*once, *again])
        job = load_any(tmp_path / "worn.toml")
        assert job.sweep is not None and repeated(job.sweep) == 0


@pytest.mark.parametrize("measured", [True, False], ids=["measured", "bare"])
@pytest.mark.parametrize("seed", some([700, 703, 708], 1))
def test_too_small_a_plus_or_minus_is_no_wear(seed: int, measured: bool, tmp_path: Path) -> None:
    """The generator's readings are off by up to 0.3 to 0.5°; the job says ± 0.08°, as if the last digit of a display were it."""
    unit = unit_of(seed, "sound", measured)
    unit.job(tmp_path)
    [path] = tmp_path.glob("*.toml")
    text, count = re.subn(r'\nreading = "± [^"]*"', '\nreading = "± 0.08 deg"', path.read_text(encoding="utf-8"))
    assert count == 1
    path.write_text(text, encoding="utf-8")
    check = judged(tmp_path)
    assert check.verdict == "cannot tell"
    [told] = [f for f in check.findings if isinstance(f, Scatter)]
    assert (told.severity, told.cause) == ("check first", Cause.READINGS)
    # Uniform errors of that limit have a standard deviation of it over √3; the curve takes some of it up.
    limit = np.radians((unit.seen if isinstance(unit, Whole) else unit).reading)
    assert 0.6 < told.deviation / (limit / np.sqrt(3)) < 1.4


@pytest.mark.parametrize("measured", [True, False], ids=["measured", "bare"])
@pytest.mark.parametrize("seed", some([700, 703, 708], 1))
def test_a_mark_that_wanders_is_wear(seed: int, measured: bool, tmp_path: Path) -> None:
    """Where the curve climbs each reading is off by up to 1.5° more, whatever the job says of the bench."""
    unit_of(seed, "sound", measured).job(tmp_path)
    random = np.random.default_rng(seed)
    head, *lines = rows(tmp_path)
    shaken = [line.split(",") for line in lines]
    write(tmp_path, [head, *(f"{s},{float(a) + random.uniform(-1.5, 1.5):.3f},{way}" for s, a, way in shaken)])
    check = judged(tmp_path)
    assert check.verdict != "sound"
    assert {f.severity for f in check.findings if isinstance(f, Scatter)} <= {"repair first"}


@pytest.mark.parametrize("zero", [360, 20, 10], ids=str)
def test_a_wheel_read_backwards(zero: int, tmp_path: Path) -> None:
    """The wheel counts against the advance, from 360° or from a mark that is not its zero: nothing is computed from it."""
    worn(700, "sound", READ).job(tmp_path)
    head, *lines = rows(tmp_path)
    turned = [(s, f"{zero - float(a):.1f}", way) for s, a, way in (line.split(",") for line in lines)]
    write(tmp_path, [head, *(",".join(row) for row in turned)])
    with pytest.raises(InputError, match="was the wheel read backwards"):
        load_any(tmp_path / "worn.toml")
