"""One number by which all readings are off, by hand and on units whose truth the integrator of the tests knows."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import Literal

import numpy as np
import pytest
from longer import some
from worn import Way, worn

from recurve.diagnosis.first_look import FirstLook, first_look
from recurve.diagnosis.look_findings import AllOff
from recurve.diagnosis.offset import BandRead, all_too_high
from recurve.physics.target import Band
from recurve.units import RPM

_BOOK: tuple[tuple[Literal["idle", "point", "maximum"], float | None, float, float], ...] = (
    ("idle", 350, 0.0, 0.5), ("point", 600, 1.0, 3.0), ("point", 900, 5.0, 7.0), ("point", 1200, 8.0, 10.0),
    ("maximum", None, 9.5, 11.5),
)  # fmt: skip
# The book: home at idle, three points and the stop, each ± 1°.
BOOK = tuple(
    Band(kind, None if rpm is None else rpm / RPM, np.radians(low), np.radians(high)) for kind, rpm, low, high in _BOOK
)
SOUND = (0.0, 2.0, 6.0, 9.0, 10.5)


def read(above: tuple[float, ...]) -> list[BandRead]:
    """The bands of the book, read by so many degrees above a sound unit, with 0.1° of doubt of each."""
    doubt = 0.1 * np.random.default_rng(1).standard_normal((5, 400))
    return [
        BandRead(band, (np.radians(at + by + off),))
        for band, at, by, off in zip(BOOK, SOUND, above, doubt, strict=True)
    ]


@pytest.mark.parametrize(
    ("above", "told"),
    [
        ((1.3, 1.3, 1.3, 1.3, 1.3), True),
        ((1.3, 0.7, 1.9, 1.4, 1.2), True),  # a little otherwise in each, as units are within their bands
        ((2.2, 2.2, 2.2, 2.2, 2.2), True),
        ((1.3, 1.3, 1.3, 0.7, 0.0), False),  # the stop is by the book: a primary that does not come home
        ((0.0, 1.3, 1.3, 1.3, 1.3), False),  # home at idle: weak springs and a worn stop
        ((0.0, 0.0, 0.0, 0.0, 2.0), False),
        ((0.0, 3.0, 2.0, 2.0, 0.0), False),
        ((0.0, 0.0, 0.0, 0.0, 0.0), False),
    ],
)
def test_one_number_must_explain_home_points_and_stop(above: tuple[float, ...], told: bool) -> None:
    found = all_too_high(read(above), 1.0 if not any(above) else 0.0)
    assert (found is not None) is told
    if isinstance(found, AllOff):
        assert np.degrees(found.by.value) == pytest.approx(np.mean(above), abs=0.1)


def test_what_meets_the_book_as_it_is_has_no_offset() -> None:
    assert all_too_high(read((0.6, 0.5, 0.6, 0.5, 0.6)), 0.3) is None


def off_by(folder: Path, seed: int, by: float) -> FirstLook:
    """The look at a sound unit with so many degrees too much in every reading."""
    job = worn(seed, "sound").job(folder)
    assert job.sweep is not None
    return first_look(replace(job, sweep=replace(job.sweep, advance=job.sweep.advance + np.radians(by))))


@pytest.mark.parametrize("seed", some([3001, 3000, 3002, 3003], 1))
@pytest.mark.parametrize("by", [1.2, -1.2])
def test_a_pointer_off_its_zero_is_told_before_any_wear(seed: int, by: float, tmp_path: Path) -> None:
    look = off_by(tmp_path, seed, by)
    [told] = look.findings
    assert isinstance(told, AllOff) and told.severity == "check first" and look.verdict == "cannot tell"
    assert ("too high" in told.what) is (by > 0)
    assert np.degrees(told.by.value) == pytest.approx(by, abs=0.6)
    assert [s.measure for s in look.steps] == ["hold the weights home by hand and read the pointer"]


@pytest.mark.parametrize(
    "fault", some(["slack primary", "weak primary", "stop worn", "broken primary", "late secondary"], 1)
)
@pytest.mark.parametrize("seed", some([3004, 3005, 3006], 1))
def test_springs_or_stop_alone_are_no_offset(seed: int, fault: str, tmp_path: Path) -> None:
    assert not any(isinstance(f, AllOff) for f in first_look(worn(seed, fault, Way()).job(tmp_path)).findings)
