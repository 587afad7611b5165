"""What a sweep as left says of the springs fitted, on a unit whose springs are known: its curve is computed with them.

The catalogue is taken to be ± 15 % off in rate; the true primary is 10 % stiffer than its row, and is set 0.08 mm tighter.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
import pytest
from jobs import SPRINGS, without, write_job

from recurve.diagnosis.as_built import told_of
from recurve.diagnosis.as_set import AsSet
from recurve.diagnosis.springs_told import springs_told
from recurve.diagnosis.verify import Verification, verify_unit
from recurve.errors import InputError
from recurve.job.model import Job
from recurve.job.read import load_job, read_as_left
from recurve.output.drawer import DrawerAsked, DrawerEdit
from recurve.physics.curve import trace
from recurve.units import RPM, SQRT3, Quantity

PLANNED = """
[planned]
job = "unit.toml"
inputs = "000000000000"
[[planned.springs]]
place = "primary"
id = "A1"
new = true
length_mm = 15.5
rate_n_per_mm = 1.6
[[planned.springs]]
place = "secondary"
id = "B1"
new = false
length_mm = 15.5
rate_n_per_mm = 4.0
"""
STIFFER, TIGHTER, READING = 1.10, 0.08e-3, 0.1


@dataclass(frozen=True)
class Case:
    """The unit as planned, its sweep as left in a file, and that judged."""

    job: Job
    left: Path
    result: Verification


def judge(folder: Path, reading: float, told: AsSet, stiffer: float = STIFFER) -> Case:
    """Judge a unit that was built so, read to within ± `reading` [deg]."""
    path = write_job(
        folder, without("sweep"), ('"1.6 ± 0.1 N/mm"', '"1.6 ± 0.24 N/mm"'), ('"15.2 mm"', '"15.2 ± 0.05 mm"'),
        ('mass = "31.5 ± 0.3 g"', 'mass = "31.5 ± 0.05 g"'), ('"4.0 N/mm"', '"4.0 ± 0.2 N/mm"'),
        ('"4.5 mN*m"', '"4.5 ± 0.2 mN*m"'), ('friction = "1.0 mN*m"', 'friction = "1.0 ± 0.2 mN*m"'),
        ('[catalogue]', '[catalogue]  # invented'),
    )  # fmt: skip
    path.write_text(path.read_text(encoding="utf-8") + PLANNED, encoding="utf-8")
    job = load_job(path)
    unit = job.as_found()
    assert unit is not None
    primary = unit.springs[0]
    real = replace(primary.spring, rate=primary.spring.rate * stiffer, free_length=primary.spring.free_length - TIGHTER)
    curve = trace(replace(unit, springs=(replace(primary, spring=real), *unit.springs[1:])))
    speed, random = np.arange(250.0, 1500.0, 25.0), np.random.default_rng(2)
    rows = ["speed [rpm],advance [deg],direction"]
    for way, advance in (
        ("rising", curve.rising_advance(speed / RPM)),
        ("falling", curve.falling_advance(speed / RPM)),
    ):
        off = reading * random.uniform(-1, 1, len(speed))
        rows += [f"{s:.0f},{np.degrees(a) + o:.3f},{way}" for s, a, o in zip(speed, advance, off, strict=True)]
    left = folder / "as-left.csv"
    left.write_text("\n".join(rows) + "\n", encoding="utf-8")
    return Case(job, left, verify_unit(job, replace(read_as_left(left, job), reading=np.radians(reading)), told))


@pytest.fixture(scope="module")
def case(tmp_path_factory: pytest.TempPathFactory) -> Case:
    rest = 15.2e-3 + 0.5e-3
    folder = tmp_path_factory.mktemp("told")
    job = load_job(write_job(folder, without("sweep")))
    rest = float(job.places[0].posts.length(0.0)[0])
    return judge(folder, READING, AsSet(lengths=(Quantity(rest, 0.03e-3), None)))


def test_the_truth_lies_within_what_is_told(case: Case) -> None:
    """Rate and free length within 3 standard uncertainties of the truth, and far surer than the catalogue's."""
    (one,) = springs_told(case.result, "as left of unit.toml")
    assert (one.place, one.id) == ("primary", "A1") and one.noted.rate is not None
    true = 1600.0 * STIFFER
    assert one.noted.rate.half_width is not None
    assert abs(one.noted.rate.value - true) < SQRT3 * one.noted.rate.half_width
    assert one.noted.rate.half_width < 0.6 * 240.0
    free = one.noted.free_length
    assert free is not None and free.half_width is not None
    assert abs(free.value - (15.2e-3 - TIGHTER)) < SQRT3 * free.half_width


def test_what_was_known_before_is_taken_out(case: Case) -> None:
    """By hand, of normal distributions: what the readings say and what was known before give what is known after."""
    told = told_of(case.result.fit, "primary.rate")
    assert told is not None
    assert told.after == pytest.approx((told.uncertainty**-2 + told.before**-2) ** -0.5)
    assert told.uncertainty > told.after


def test_a_sweep_that_tells_nothing_says_so(tmp_path: Path) -> None:
    """Read to ± 4°, the same unit tells nothing of its springs: the catalogue's figure is not repeated as if it were measured."""
    found = judge(tmp_path, 4.0, AsSet())
    (one,) = springs_told(found.result, "as left of unit.toml")
    assert one.noted.empty and one.why


def test_a_spring_that_was_fitted_instead_is_the_one_told_of(case: Case) -> None:
    other = replace(case.result, told=AsSet(springs=("A2", None)))
    assert [one.id for one in springs_told(other, "x")] == ["A2"]
    doubtful = replace(case.result, verdict="read again")
    assert [(one.noted.empty, one.why) for one in springs_told(doubtful, "x")] == [
        (True, "the readings cannot be trusted yet")
    ]
    unplanned = replace(
        case.result, job=replace(case.result.job, model=case.job.model.model_copy(update={"planned": None}))
    )
    assert springs_told(unplanned, "x") == ()


def test_the_drawer_is_written_once_and_only_on_request(case: Case) -> None:
    """A2 and its row stay; the note stands in A1's; the count goes down once; a drawer that is gone is told."""
    drawer = case.job.path.with_name("springs.csv")
    drawer.write_text(SPRINGS, encoding="utf-8")
    edit = DrawerEdit(case.job, case.result, DrawerAsked(note=True, take=True), "abc")
    assert drawer.read_text(encoding="utf-8") == SPRINGS  # worked out, not written
    assert edit.write() and not edit.write()
    lines, before = drawer.read_text(encoding="utf-8").splitlines(), SPRINGS.splitlines()
    assert lines[2:] == before[2:] and lines[1].startswith("A1,1.5,13.6,0,,,,,1,")
    assert "as left of unit.toml, 2026-05-04, record abc, primary" in lines[1] and lines[1].endswith(
        ",unit.toml primary"
    )
    again = DrawerEdit(case.job, case.result, DrawerAsked(note=True, take=True), "abc")
    assert not again.write() and "nothing new" in again.told[0] and "taken before" in again.told[1]
    drawer.unlink()
    with pytest.raises(InputError, match="got no file that is there"):
        DrawerEdit(case.job, case.result, DrawerAsked(note=True), "abc")
