"""Halves of a sweep that cannot be of one unit and one zero; units and readings by `worn`, which shares nothing with the tool."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from longer import some
from whole_units import whole
from worn import WEAR, Way

from recurve.diagnosis.check import check_bare, check_unit
from recurve.diagnosis.halves import Halves, halves_apart
from recurve.job.read import load_any, load_job
from recurve.physics.sweep import Sweep

READ = Way(count=16)


def swept(folder: Path, seed: int, fault: str = "sound", way: Way = READ) -> Sweep:
    """The readings of a unit, as the tool has them."""
    sweep = whole(seed, fault, "unknown", way).job(folder).sweep
    assert sweep is not None
    return sweep


def moved(sweep: Sweep, rising: bool, by: float) -> Sweep:
    """One half read so many degrees higher."""
    half = np.asarray(sweep.rising, bool) == rising
    return replace(sweep, advance=sweep.advance + np.radians(by) * half)


def test_no_wear_sets_the_halves_apart(tmp_path: Path) -> None:
    """By the physics: friction holds falling readings above rising ones, and on the stop nothing does. Of 10 kinds of wear, and
    of more and less friction, none is taken for a slip."""
    for seed in range(600, 612):
        for fault in WEAR:
            for way in (READ, Way(), Way(count=5), Way(short=True), Way(zeroed=True)):
                assert halves_apart(swept(tmp_path, seed, fault, way)) is None, (seed, fault, way)


@pytest.mark.parametrize("rising", [True, False])
@pytest.mark.parametrize("by", [-2.5, 2.5])
def test_a_half_that_is_off_is_told(rising: bool, by: float, tmp_path: Path) -> None:
    """The wheel slipped by 2.5° for one half: told as that much, with its sign. Falling below rising is seen wherever the curve
    climbs; falling above it only on the stop, which not every sweep reads twice at one speed."""
    told = [halves_apart(moved(swept(tmp_path, seed, "sound"), rising, by)) for seed in range(640, 652)]
    found = [one for one in told if one is not None]
    assert len(found) >= (11 if (by > 0) == rising else 4)
    for one in found:
        wanted = np.radians(-by if rising else by)
        assert abs(one.apart.value - wanted) < 4.0 * (one.apart.standard_uncertainty or 0.0) + np.radians(0.3)


def test_exchanged_directions_of_a_sluggish_unit_are_told(tmp_path: Path) -> None:
    """Rising marked falling and the other way round, of units of which many have curves that lie a degree apart."""
    told = []
    for seed in range(640, 660):
        sweep = swept(tmp_path, seed, "sluggish", Way(count=20))
        told.append(halves_apart(replace(sweep, rising=~np.asarray(sweep.rising, bool))))
    found = [one for one in told if one is not None]
    assert len(found) >= 5
    assert all(one.apart.value < 0 for one in found)
    assert any("rising and falling are exchanged" in one.words().consequence for one in found)


@pytest.mark.parametrize("seed", some([600, 603, 606], 1))
def test_nothing_is_said_of_wear_while_the_halves_lie_apart(seed: int, tmp_path: Path) -> None:
    """As it is read, whole and without the parts: the slip comes first, and nothing else is told but what stays open."""
    unit = whole(seed, "sound", "known", READ)
    head, *rows = unit.seen.readings.strip().splitlines()
    off = [_with(row, -2.5) if row.endswith("falling") else row for row in rows]
    job = unit.job(tmp_path)
    (tmp_path / "as-found.csv").write_text("\n".join([head, *off, ""]), encoding="utf-8")
    check = check_unit(load_job(job.path))
    assert check.verdict == "cannot tell" and not check.trust.ok
    assert [type(f) for f in check.findings if f.severity != "open question"] == [Halves]
    bare = "\n".join(
        [
            "title = 'bare'",
            "[distributor]",
            "lobes = 4",
            'rotation = "clockwise"',
            unit.text[unit.text.index("[target]") :],
        ]
    )
    (tmp_path / "bare.toml").write_text(bare, encoding="utf-8")
    look = check_bare(load_any(tmp_path / "bare.toml"))
    assert look.verdict == "cannot tell"
    assert Halves in {type(f) for f in look.findings}


def _with(row: str, by: float) -> str:
    speed, advance, way = row.split(",")
    return f"{speed},{float(advance) + by:.2f},{way}"
