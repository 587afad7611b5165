"""What is wrong in a job or a table is told with its place, exit status 2, and nothing is written."""

from __future__ import annotations

import os
import sys
from pathlib import Path

import pytest
from faults import JOB_FAULTS, SPRING_FAULTS, SWEEP_FAULTS
from jobs import SPRINGS, SWEEP, without, write_job

from recurve.cli.app import main
from recurve.errors import InputError
from recurve.job.read import load_job


def fails(arguments: list[str], monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> str:
    """Run the command line; it must exit 2 with nothing on stdout. Returns what it said on stderr."""
    monkeypatch.setattr(sys, "argv", ["recurve", *arguments])
    with pytest.raises(SystemExit) as stopped:
        main()
    out, err = capsys.readouterr()
    assert stopped.value.code == 2
    assert out == ""
    assert err.startswith("recurve: ")
    return err


def check_fault(
    path: Path, said: tuple[str, ...], monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """Planning this job fails with these words, and its folder holds afterwards what it held before."""
    before = {p: p.read_bytes() for p in path.parent.iterdir()}
    err = fails(["plan", str(path)], monkeypatch, capsys)
    for words in said:
        assert words in err, err
    assert {p: p.read_bytes() for p in path.parent.iterdir()} == before


@pytest.mark.parametrize("name", JOB_FAULTS)
def test_a_fault_in_the_job(
    name: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    changes, said = JOB_FAULTS[name]
    check_fault(write_job(tmp_path, *changes), said, monkeypatch, capsys)


@pytest.mark.parametrize(
    ("name", "key", "line"),
    [
        ("no unit", ("weights", "mass"), 'mass = "31.5"'),
        ("unknown key", ("distributor", "lobs"), "lobs = 6"),
        ("centre of gravity on the radius", ("weights", "motion", "cg"), "cg = "),
        ("spring that shortens", ("springs", "primary", "posts"), "[springs.primary.posts]"),
    ],
)
def test_a_fault_carries_its_place(name: str, key: tuple[str, ...], line: str, tmp_path: Path) -> None:
    """Its file, the line on which its key stands, and the key; the finished line is made of them."""
    path = write_job(tmp_path, *JOB_FAULTS[name][0])
    with pytest.raises(InputError) as refused:
        load_job(path)
    fault = next(f for f in refused.value.found if f.key == key)
    assert fault.line is not None and path.read_text(encoding="utf-8").splitlines()[fault.line - 1].startswith(line)
    assert f"{path}:{fault.line}: {'.'.join(key)}: {fault.message}" in refused.value.faults


@pytest.mark.parametrize("name", SPRING_FAULTS)
def test_a_fault_in_the_catalogue(
    name: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    springs, said = SPRING_FAULTS[name]
    check_fault(write_job(tmp_path, springs=springs), said, monkeypatch, capsys)


@pytest.mark.parametrize("name", SWEEP_FAULTS)
def test_a_fault_in_the_sweep(
    name: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    sweep, said = SWEEP_FAULTS[name]
    check_fault(write_job(tmp_path, sweep=sweep), said, monkeypatch, capsys)


def test_all_faults_of_all_files_in_one_pass(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    path = write_job(
        tmp_path,
        ("lobes = 6", "lobs = 6"),
        ("31.5 ± 0.3 g", "-1 g"),
        ('radius = "14 mm"', 'radius = "14 deg"'),
        springs=SPRINGS.replace("A1,1.5,", "A1,x,").replace("B1,3.5,", "B1,-1,"),
        sweep=SWEEP.replace("500,6.2,rising", "500,6.2,up"),
    )
    err = fails(["plan", str(path)], monkeypatch, capsys)
    for words in (
        "distributor.lobs",
        "distributor.lobes",
        "weights.mass",
        "stop.radius",
        "springs.csv:2",
        "springs.csv:5",
    ):
        assert words in err
    assert "as-found.csv:3" in err
    assert len(err.splitlines()) == 7


def test_a_job_that_is_not_there(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    assert "got no file there" in fails(["plan", str(tmp_path / "no.toml")], monkeypatch, capsys)
    assert "got no file there" in fails(["curve", str(tmp_path)], monkeypatch, capsys)
    told = fails(["plan", str(tmp_path / "nowhere" / "no.toml")], monkeypatch, capsys)
    assert len(told.splitlines()) == 1  # one slip of the path: nothing of a folder that cannot be written


def test_a_job_that_is_not_text(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    path = tmp_path / "unit.toml"
    path.write_bytes(b"title = \xff\xfe")
    assert "not UTF-8" in fails(["plan", str(path)], monkeypatch, capsys)


@pytest.mark.parametrize(
    "speeds", ["200", "200:100:50", "a:b:c", "200:2000:0", "-5:100:5", "200:nan:50", "1:20000:0.0001"]
)
def test_speeds_that_make_no_sense(
    speeds: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    err = fails(["curve", str(write_job(tmp_path)), f"--speeds={speeds}"], monkeypatch, capsys)
    assert "--speeds" in err
    assert "200:2000:50" in err


def test_a_curve_needs_the_springs(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    err = fails(["curve", str(write_job(tmp_path, ('rate = "4.0 N/mm"\n', "")))], monkeypatch, capsys)
    assert "springs.secondary: got no rate" in err


def test_a_folder_that_cannot_be_made(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    path = write_job(tmp_path, without("sweep"))
    (tmp_path / "unit-plan").write_text("in the way", encoding="utf-8")
    err = fails(["plan", str(path)], monkeypatch, capsys)
    assert "unit-plan" in err
    assert (tmp_path / "unit-plan").read_text(encoding="utf-8") == "in the way"
    assert sorted(os.listdir(tmp_path)) == ["as-found.csv", "springs.csv", "unit-plan", "unit.toml"]
