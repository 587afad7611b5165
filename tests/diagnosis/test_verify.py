"""The finished unit judged by a new sweep, what to turn if it fails, and the record that is kept of it."""

from __future__ import annotations

import os
import tomllib
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from checkout import EXAMPLES
from example_plans import example, planned
from sweeps import swept

from recurve.diagnosis.verify import Verification, verify_unit
from recurve.errors import InputError
from recurve.job.model import Job
from recurve.job.read import load_job, read_as_left
from recurve.output.documents.check import VerifyDocument
from recurve.output.planfile import plan_toml
from recurve.output.sheet.record import record_toml
from recurve.output.text.check import verify_text
from recurve.physics.curve import Installed, Unit, trace
from recurve.physics.target import judge, worst

SPEEDS = range(200, 1401, 50)


def finished(folder: Path) -> Job:
    """The launch as planned, read from its plan.toml."""
    path = folder / "plan.toml"
    path.write_bytes(plan_toml(planned("launch")).replace(b"../../data", os.fsencode(EXAMPLES.parent / "data")))
    return load_job(path)


def built(primary: float = 0.0, secondary: float = 0.0, stop: float = 0.0) -> Unit:
    """The launch as it was really built: posts off by so many mm, the stop by so many degrees."""
    build = planned("launch").build
    assert build is not None
    off = (primary * 1e-3, secondary * 1e-3)
    springs = tuple(Installed(s.spring, s.posts, s.bend + o) for s, o in zip(build.unit.springs, off, strict=True))
    return replace(build.unit, springs=springs, stop=build.stop + np.radians(stop))


def verified(folder: Path, unit: Unit, noise: float = 0.15, seed: int = 3) -> Verification:
    """The finished unit with a sweep of what was really built."""
    left = folder / "as-left.csv"
    left.write_text(swept(unit, SPEEDS, noise, seed), encoding="utf-8")
    job = finished(folder)
    return verify_unit(job, read_as_left(left, example("launch"), basis="distributor"))


def margin_after(result: Verification, unit: Unit) -> float:
    """The true margin once the correction's post moves are made on what was really built."""
    job = planned("launch").job
    assert job.target is not None
    moves = {} if result.correction is None else {m.what: m.by for m in result.correction.moves}
    bends = [moves.get(f"{name} post", 0.0) for name in ("primary", "secondary")]
    springs = tuple(Installed(s.spring, s.posts, s.bend + b) for s, b in zip(unit.springs, bends, strict=True))
    stop = unit.stop - moves.get("stop", 0.0) * job.stop.per_mm
    return worst(judge(job.target, trace(replace(unit, springs=springs, stop=stop))))


def test_built_as_planned_it_passes(tmp_path: Path) -> None:
    result = verified(tmp_path, built())
    assert result.verdict == "passes"
    assert result.correction is None
    assert all(b.verdict == "passes" and b.more == 0 for b in result.bands)


@pytest.mark.parametrize(("primary", "secondary"), [(-0.35, 0.0), (0.6, 0.0)])
def test_a_primary_post_that_is_off_is_the_one_to_move(primary: float, secondary: float, tmp_path: Path) -> None:
    unit = built(primary, secondary)
    result = verified(tmp_path, unit)
    assert result.verdict in ("fails", "too close to call")
    assert result.correction is not None
    assert [m.what for m in result.correction.moves] == ["primary post"]
    # Against the error, and by about as much: the rest is within the doubt of the readings.
    assert np.sign(result.correction.moves[0].by) == -np.sign(primary)
    assert abs(result.correction.moves[0].by * 1e3 + primary) < 0.3
    assert margin_after(result, unit) > 0.3
    assert "leave the secondary" in result.correction.moves[0].words
    assert "mm over the posts" in result.correction.moves[0].words


def test_a_stop_that_is_off_is_trimmed(tmp_path: Path) -> None:
    unit = built(stop=1.6)
    result = verified(tmp_path, unit)
    assert result.verdict == "fails"
    assert result.correction is not None
    assert "stop" in [m.what for m in result.correction.moves]
    assert margin_after(result, unit) > 0.1


def test_too_close_to_call_says_how_many_readings(tmp_path: Path) -> None:
    result = verified(tmp_path, built(stop=0.62), noise=0.3)
    close = [b for b in result.bands if b.verdict == "too close to call"]
    assert result.verdict == "too close to call"
    assert close and all(b.more >= 1 for b in close)
    assert "more readings" in verify_text(result)


def test_one_wild_reading_is_flagged_and_does_not_decide(tmp_path: Path) -> None:
    left = tmp_path / "as-left.csv"
    lines = swept(built(), SPEEDS, 0.15, 3).splitlines()
    lines[10] = lines[10].split(",")[0] + ",14.9,rising"
    left.write_text("\n".join(lines) + "\n", encoding="utf-8")
    result = verify_unit(finished(tmp_path), read_as_left(left, example("launch"), basis="distributor"))
    assert result.verdict == "passes"
    assert result.fit.outliers == (11,)
    assert "rows 11" in verify_text(result)


def test_the_record_keeps_both_sweeps_and_is_appended_to(tmp_path: Path) -> None:
    found = example("launch")
    left = tmp_path / "as-left.csv"
    left.write_text(swept(built(), SPEEDS, 0.15, 3), encoding="utf-8")
    readings = read_as_left(left, found, basis="distributor")
    job = finished(tmp_path)
    record = tmp_path / "as-left.toml"
    result = verify_unit(job, readings)
    record.write_bytes(record_toml(record, result, found.sweep, readings, job.fingerprint))
    (entry,) = tomllib.loads(record.read_text(encoding="utf-8"))["as_left"]
    assert found.sweep is not None
    assert entry["verdict"] == "passes"
    assert len(entry["as_found"]["speed_rpm"]) == len(found.sweep.speed)
    assert len(entry["as_left"]["speed_rpm"]) == 2 * len(SPEEDS)
    assert "2 standard uncertainties" in entry["decision_rule"]
    # The same readings are not recorded twice; other readings are added.
    assert record_toml(record, result, found.sweep, readings, job.fingerprint) == record.read_bytes()
    other = verify_unit(job, replace(readings, advance=readings.advance + 1e-3))
    both = tomllib.loads(record_toml(record, other, found.sweep, other.job.sweep or readings, job.fingerprint).decode())
    assert len(both["as_left"]) == 2


def test_a_record_that_is_none_is_not_overwritten(tmp_path: Path) -> None:
    record = tmp_path / "as-left.toml"
    record.write_text("notes = 1\n", encoding="utf-8")
    left = tmp_path / "as-left.csv"
    left.write_text(swept(built(), SPEEDS, 0.15, 3), encoding="utf-8")
    readings = read_as_left(left, example("launch"), basis="distributor")
    result = verify_unit(finished(tmp_path), readings)
    with pytest.raises(InputError, match="no as-left record"):
        record_toml(record, result, None, readings, "0")


def test_report_fits_80_columns(tmp_path: Path) -> None:
    result = verified(tmp_path, built(-0.35))
    assert max(len(line) for line in verify_text(result).splitlines()) <= 80
    document = VerifyDocument.of(result)
    assert {t.verdict for t in document.targets} <= {"passes", "fails", "too close to call"}
    assert document.correction is not None
    assert (document.correction.moves[0].to_mm or 0.0) > 10


def test_readings_of_the_finished_unit_can_be_wrong_too(tmp_path: Path) -> None:
    left = tmp_path / "as-left.csv"
    left.write_text("speed [rpm],advance [deg],direction\n300,x,rising\n", encoding="utf-8")
    with pytest.raises(InputError, match=r"as-left\.csv:2: advance"):
        read_as_left(left, example("launch"))
    with pytest.raises(InputError, match="zeroed_at"):
        read_as_left(left, example("launch"), zeroed_at="250 mm")
