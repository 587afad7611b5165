"""What is told of a stop outside its band, and what to do about it."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from example_plans import example
from jobs import write_job

from recurve.diagnosis.stop import StopOff, StopTrim, other_stop_than_type, stop_finding
from recurve.fit.fit import fit_sweep
from recurve.fit.state import Evidence
from recurve.job.read import load_job
from recurve.uncertainty import Uncertain

DEG = np.pi / 180


def off(over: bool, trim: StopTrim | None) -> StopOff:
    """A stop of 16.3 ± 0.2°, 3.3° off its band."""
    return StopOff("high", Uncertain(16.3 * DEG, 0.1 * DEG), 13 * DEG, over, 1.0, 2.0, trim)


@pytest.mark.parametrize(
    ("over", "trim", "says", "never"),
    [
        (True, StopTrim(True, 0.86e-3, 1.12e-3, 0.3e-3), "fit the missing bush; or fit a sound stop", "build the stop up"),
        (True, StopTrim(True, 0.86e-3, 1.12e-3, 0.0), "does not let this one be built up (build_up_to", "build the stop up"),
        (True, StopTrim(True, 0.2e-3, 0.4e-3, 0.3e-3), "build the stop up while", "another unit"),
        (True, StopTrim(True, None, None, 0.3e-3), "build the stop up while", "another unit"),
        (False, StopTrim(False, 0.86e-3, 1.12e-3, 0.3e-3), "find what binds; or fit a sound stop", "file the stop"),
        (False, StopTrim(False, 0.2e-3, 0.4e-3, 0.3e-3), "find what binds; if nothing does, file the stop", "another unit"),
    ],
)  # fmt: skip
def test_no_trim_is_advised_that_cannot_save_the_stop(over: bool, trim: StopTrim, says: str, never: str) -> None:
    told = off(over, trim)
    assert says in told.remedy and never not in told.remedy
    assert ("cannot be saved" in told.evidence) == (trim.edge is not None and not trim.can)


def test_the_crane_s_stop_is_not_to_be_built_up() -> None:
    """It may be built up by 0.3 mm (its file), and would need more: `recurve plan` says so too."""
    found = stop_finding(Evidence.of(example("crane"), fit_sweep(example("crane"))), True)
    assert found is not None and "cannot be saved" in found.evidence and "allows 0.30 mm" in found.evidence
    assert "build the stop up" not in found.remedy


TYPE = """title = "kran"
units = 4
[stop]
advance = { mean = "14.1 deg", spread = "0.9 deg", uncertain = "0.3 deg", units = 4 }
"""


@pytest.mark.parametrize(("stop", "told"), [(10.0, True), (12.5, False)])
def test_a_stop_far_from_its_types_may_be_of_another_type(tmp_path: Path, stop: float, told: bool) -> None:
    """By hand: √(0.9² + 0.3²) = 0.95°; a stop at 10.0 ± 0.2° is 4.1/√(0.95² + 0.1²) = 4.3 standard deviations off, one at 12.5°
    1.7. Both are short of the book's 13°."""
    (tmp_path / "type.toml").write_text(TYPE, encoding="utf-8")
    job = load_job(write_job(tmp_path, ('unit = "bench dummy"', 'type = "type.toml"')))
    read = Uncertain(stop * DEG, 0.1 * DEG)
    found = other_stop_than_type(job, read)
    assert (found is not None) == told
    short = replace(off(False, None), stop=read, of_type=found)
    words = 'or it is not of the type "kran", whose units stop at 14.1 ± 1.9° (distributor)'
    assert (words in short.remedy) == told
