"""What is told of a stop outside its band, and what to do about it."""

from __future__ import annotations

import numpy as np
import pytest
from example_plans import example

from recurve.diagnosis.stop import StopOff, StopTrim, stop_finding
from recurve.fit.fit import fit_sweep
from recurve.fit.state import Evidence
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
