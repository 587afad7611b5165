"""Names and line ends that every system takes: a job folder goes from one machine to another and still works.

What Windows has no place for in a name: its documentation "Naming Files, Paths, and Namespaces" (MEMORY).
"""

from __future__ import annotations

import re
import tomllib
from pathlib import Path

import numpy as np
import pytest
from checkout import written
from commands import run
from jobs import JOB, SPRINGS, SWEEP, write_job

from recurve.job.live import Reading, SweepFile
from recurve.job.read import load_job
from recurve.output import planfile
from recurve.output.planfile import plan_folder
from recurve.planner.plan import Plan

DEVICES = {"CON", "PRN", "AUX", "NUL", *(f"{port}{n}" for port in ("COM", "LPT") for n in "123456789¹²³")}
TEXTS = {".toml", ".csv", ".svg", ".html"}


def fits(name: str) -> bool:
    """Whether Windows takes this as the name of a file or folder."""
    device = name.split(".")[0].rstrip().upper() in DEVICES
    return not re.search(r'[<>:"/\\|?*\x00-\x1f]', name) and name[-1:] not in (".", " ", "") and not device


@pytest.mark.parametrize(
    "name",
    ["a:b", 'say "6"', "con", "LPT1", "a.", "a ", "2<3>|?*", "line\nend", "back\\slash", ".hidden", "é ü", "x" * 250],
)
def test_a_plan_s_folder_has_a_name_that_every_system_takes(name: str) -> None:
    folder = plan_folder(Path("jobs") / f"{name}.toml")
    assert fits(folder.name)
    assert len(folder.name.encode()) <= 255
    assert folder.parent == Path("jobs")


def test_names_are_kept_where_they_can_be_and_told_apart_where_not() -> None:
    assert plan_folder(Path("my unit 3.1.toml")).name == "my unit 3.1-plan"
    assert plan_folder(Path("a:b.toml")) != plan_folder(Path("a?b.toml"))


def with_ends(folder: Path, end: str) -> Path:
    """The test job in files whose lines end so."""
    folder.mkdir()
    for name, text in (("unit.toml", JOB), ("as-found.csv", SWEEP), ("springs.csv", SPRINGS)):
        (folder / name).write_bytes(text.replace("\n", end).encode())
    return folder / "unit.toml"


@pytest.mark.parametrize("end", ["\r\n", "\r"], ids=["CRLF", "CR"])
def test_files_are_read_with_any_line_end(end: str, tmp_path: Path) -> None:
    plain = load_job(write_job(tmp_path))
    job = load_job(with_ends(tmp_path / "other", end))
    assert job.catalogue is not None and job.sweep is not None and plain.sweep is not None
    assert job.catalogue == plain.catalogue
    assert np.array_equal(job.sweep.speed, plain.sweep.speed)


def test_files_are_written_with_one_line_end(tmp_path: Path) -> None:
    folder = tmp_path / "other"
    path = with_ends(folder, "\r\n")
    for command in ("plan", "check", "draw"):
        assert run([command, str(path)])[0] in (0, 3)
    written = [p for p in (folder / "unit-plan").iterdir() if p.is_file()]
    assert {"plan.toml", "order.csv", "curve.svg", "fit.svg", "unit.svg"} <= {p.name for p in written}
    for path in written:
        assert fits(path.name)
        assert path.suffix not in TEXTS or b"\r" not in path.read_bytes(), path.name
    planned = tomllib.loads((folder / "unit-plan" / "plan.toml").read_text(encoding="utf-8"))
    assert planned["catalogue"]["file"] == "../springs.csv"


def test_readings_are_added_to_a_file_with_windows_line_ends(tmp_path: Path) -> None:
    path = tmp_path / "as-left.csv"
    path.write_bytes(SWEEP.replace("\n", "\r\n").encode())
    file = SweepFile(path)
    file.append(Reading(400 * np.pi / 30, np.radians(2.0), False))
    assert [round(r.speed * 30 / np.pi) for r in SweepFile(path).readings][-2:] == [300, 400]
    file.undo()
    assert len(SweepFile(path).readings) == SWEEP.count("\n") - 1
    assert b"\r" not in path.read_bytes()


def test_tables_on_another_drive_are_named_in_full(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Between two drives of Windows there is no relative path: `os.path.relpath` raises ValueError there."""

    def none(path: object, start: object) -> str:
        raise ValueError("path is on mount 'D:', start on mount 'C:'")

    class Made:
        job = load_job(write_job(tmp_path))

    monkeypatch.setattr(planfile.os.path, "relpath", none)
    made: Plan = Made()
    assert planfile._from_plan("springs.csv", made) == written(tmp_path / "springs.csv")
