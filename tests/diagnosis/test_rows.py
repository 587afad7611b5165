"""Readings written in the wrong rows: a sweep of a sound unit drawn by hand, with its rows exchanged or shifted."""

from __future__ import annotations

from dataclasses import replace
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest

from recurve.diagnosis.readings import WANDERS, Scatter, scatter_of
from recurve.diagnosis.rows import RowSlip, row_slip
from recurve.fit.outline import fit_outline
from recurve.physics.sweep import Sweep
from recurve.units import RPM


def exchanged(sweep: Sweep) -> tuple[Sweep, int]:
    """The two neighbouring rising readings that differ most, in each other's place; and the first of them."""
    up = int(np.count_nonzero(sweep.rising))
    at = int(np.diff(sweep.advance[:up]).argmax())
    advance = sweep.advance.copy()
    advance[[at, at + 1]] = advance[[at + 1, at]]
    return replace(sweep, advance=advance), at


def shifted(sweep: Sweep) -> tuple[Sweep, int]:
    """One reading in the middle of the rising half written twice, and all after it a row too far down; and where."""
    up = int(np.count_nonzero(sweep.rising))
    at = up // 2
    advance = sweep.advance.copy()
    advance[at + 1 : up] = sweep.advance[at : up - 1]
    return replace(sweep, advance=advance), at


def drawn(random: np.random.Generator) -> Sweep:
    """A sound unit by hand: straight in speed squared from 500 to 1400 rpm, 12° in all, 20 rpm between rising and falling; every
    reading is off by up to 0.2°."""
    up = np.arange(300.0, 1601.0, 100.0)
    speed = np.concatenate([up, up[-2::-1]])
    rising = np.arange(len(speed)) < len(up)
    advance = 12.0 * np.clip(((speed + 20.0 * ~rising) ** 2 - 500**2) / (1400**2 - 500**2), 0.0, 1.0)
    read = np.radians(advance + random.uniform(-0.2, 0.2, len(speed)))
    return Sweep(speed / RPM, read, rising, np.arange(len(speed)) + 2, "found.csv", np.radians(0.2), 5.0 / RPM)


def told(sweep: Sweep) -> RowSlip | None:
    """The slip of rows that is told of a sweep."""
    outline = fit_outline(sweep, enough=100.0)
    found = row_slip(sweep, outline, outline.inflation, len(outline.outliers))
    assert found is None or isinstance(found, RowSlip)
    return found


def test_two_readings_in_each_other_s_place_are_a_slip() -> None:
    """Often both are told, never two others. Where only one of them is left out as wild, the rest is judged without it."""
    right = 0
    for seed in range(1, 9):
        sweep, at = exchanged(drawn(np.random.default_rng(seed)))
        found = told(sweep)
        assert found is None or (found.shift, found.rows) == (0, (at + 2, at + 3))
        right += found is not None
    assert right >= 1


def test_a_half_that_is_a_row_off_is_a_slip() -> None:
    """Which half it is, the readings may leave open. Where one wild reading would explain as much, nothing is told."""
    right = 0
    for seed in range(1, 5):
        sweep, at = shifted(drawn(np.random.default_rng(seed)))
        found = told(sweep)
        assert found is None or (
            found.shift != 0 and (found.rising or found.either) and abs(found.rows[0] - at - 2) <= 1
        )
        right += found is not None
    assert right >= 3


def test_readings_that_scatter_everywhere_are_no_slip_of_rows() -> None:
    random = np.random.default_rng(3)
    sweep = drawn(random)
    assert told(replace(sweep, advance=sweep.advance + np.radians(random.uniform(-1.5, 1.5, len(sweep.speed))))) is None


@pytest.mark.parametrize(("reading", "severity"), [(0.05, "check first"), (0.3, "repair first")])
def test_a_bench_that_reads_closer_than_any_tells_of_no_wear(reading: float, severity: str) -> None:
    """Readings 1° off to either side: wear by a ± that a bench can have, and nothing by one that none has."""
    sweep = replace(drawn(np.random.default_rng(4)), reading=np.radians(reading))
    wild: Any = SimpleNamespace(
        inflation=4.0, outliers=(), chi2=400.0, dof=25.0,
        expected=sweep.advance + np.radians(1.0) * (-1.0) ** np.arange(len(sweep.speed)),
    )  # fmt: skip
    found = scatter_of(sweep, wild)
    assert isinstance(found, Scatter) and found.severity == severity and found.deviation > WANDERS
