"""The commands as a person runs them: what is printed, which files are left, which status is returned."""

from __future__ import annotations

import json
import os
import shutil
import subprocess
import sys
import tomllib
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pdfplumber
import pytest
from commands import no_nan, run
from jobs import JOB, without, write_job

from recurve import __version__
from recurve.errors import InputError
from recurve.job.read import load_job
from recurve.output.judged import finished_unit
from recurve.output.planfile import plan_path
from recurve.text import printable
from recurve.units import Quantity as Measured
from recurve.units import parse

# So that what was left can be judged by as few readings.
FINER = ('reading = "± 0.8 deg"', 'reading = "± 0.2 deg"')
RESULTS = ["curve.png", "curve.svg", "order.csv", "plan.toml", "sheet.pdf", "window.svg"]


@dataclass(frozen=True)
class Planned:
    """The test job planned once for all tests that only look: its `path`, the JSON it told and the files it left, then
    what a second run told as `text` and the files that one left. `inputs` are the job's files before."""

    path: Path
    inputs: dict[str, bytes]
    told: tuple[int, str, str]
    files: dict[str, bytes]
    text: tuple[int, str, str]
    again: dict[str, bytes]

    @property
    def facts(self) -> Any:
        """Its one JSON document."""
        return json.loads(self.told[1])


@pytest.fixture(scope="module")
def planned(tmp_path_factory: pytest.TempPathFactory) -> Planned:
    """Planned twice in one folder, as JSON and as text."""
    path = write_job(tmp_path_factory.mktemp("planned"), FINER)
    inputs, results = contents(path.parent), path.parent / "unit-plan"
    told = run(["plan", str(path), "--json"])
    files = contents(results)
    text = run(["plan", str(path)])
    return Planned(path, inputs, told, files, text, contents(results))


def contents(folder: Path) -> dict[str, bytes]:
    """The files of a folder by name."""
    return {p.name: p.read_bytes() for p in sorted(folder.iterdir()) if p.is_file()}


def test_version_and_help() -> None:
    assert run(["--version"]) == (0, f"recurve {__version__}\n", "")
    code, out, _ = run(["--help"])
    assert code == 0
    for words in ("curve", "plan", "magnetos", "recurve plan examples/launch.toml"):
        assert words in out
    assert max(len(line) for line in out.splitlines()) <= 80


def test_as_a_module() -> None:
    done = subprocess.run([sys.executable, "-m", "recurve", "--version"], capture_output=True, text=True, check=True)
    assert done.stdout == f"recurve {__version__}\n"


def test_help_loads_nothing_heavy() -> None:
    code = (
        "import sys; from recurve.cli.app import app, main; sys.argv = ['recurve', '--help']\n"
        "try: main()\nexcept SystemExit: pass\n"
        "heavy = {'numpy', 'scipy', 'matplotlib', 'pint', 'typst', 'pydantic'} & set(sys.modules)\n"
        "sys.exit(f'loaded {heavy}' if heavy else 0)"
    )
    subprocess.run([sys.executable, "-c", code], check=True, capture_output=True)


def test_bad_usage() -> None:
    for arguments in (
        ["plan"],
        ["curve", "x", "--colour"],
        ["polish"],
        ["plan", "x", "--paper", "a3"],
    ):
        code, out, err = run(arguments)
        assert code == 2
        assert out == ""
        assert err != ""


def test_curve_as_json(tmp_path: Path) -> None:
    path = write_job(tmp_path)
    code, out, err = run(["curve", str(path), "--json", "--speeds", "200:1000:300"])
    facts = json.loads(out)
    assert (code, err) == (0, "")
    assert facts["speed_rpm"] == [200, 500, 800, 1000]  # both ends included
    assert len(facts["rising_deg"]) == len(facts["falling_deg"]) == 4
    assert facts["takeup_deg"]["secondary"] == pytest.approx(7.0, abs=1e-6)  # as the job has it
    assert facts["stop_deg"] == pytest.approx(13.8)
    assert facts["snap"] == []
    no_nan(facts)


def test_curve_as_text(tmp_path: Path) -> None:
    code, out, err = run(["curve", str(write_job(tmp_path)), "--speeds", "200:1000:400"])
    assert (code, err) == (0, "")
    assert max(len(line) for line in out.splitlines() if tmp_path.name not in line) <= 80
    assert "\x1b" not in out
    for words in ("Test unit, invented", "distributor", "crank", "onset", "rpm", "secondary at 7.00°"):
        assert words in out


def test_plan_as_json(planned: Planned) -> None:
    facts = planned.facts
    # The job's readings scatter far more than the ± stated here: the plan is told, and that it must not be built from yet.
    assert (planned.told[0], planned.told[2]) == (3, "")
    assert facts["verdict"] == "passes with stop trim"
    assert [t["band"] for t in facts["targets"]] == ["point"] * 4 + ["idle", "maximum"]
    assert facts["margin"] == min(t["margin"] for t in facts["targets"])
    # Six springs, one of them not there, one pair each of those of which only one lies there, the two as found.
    assert facts["searched"]["pairs"] == 7 * 7 - 4
    no_nan(facts)
    assert list(planned.files) == RESULTS
    assert sorted(Path(f).name for f in facts["files"]) == RESULTS
    assert contents(planned.path.parent) == planned.inputs


def test_plan_toml_is_a_job_that_gives_the_planned_curve(planned: Planned) -> None:
    wanted = planned.facts["curve"]
    top = wanted["speed_rpm"][-1]
    job = planned.path.parent / "unit-plan" / "plan.toml"
    code, out, _ = run(["curve", str(job), "--json", "--speeds", f"100:{top}:50"])
    curve = json.loads(out)
    assert code == 0
    assert curve["speed_rpm"] == wanted["speed_rpm"]
    for key in ("rising_deg", "falling_deg"):
        assert curve[key] == pytest.approx(wanted[key], abs=1e-5)
    assert curve["stop_deg"] == pytest.approx(wanted["stop_deg"], abs=1e-6)


def test_plan_of_a_plan_stays(planned: Planned, tmp_path: Path) -> None:
    """The planned unit needs no stop trim any more, and its own springs are good enough."""
    shutil.copytree(planned.path.parent, tmp_path, dirs_exist_ok=True)
    code, out, _ = run(["plan", str(tmp_path / "unit-plan" / "plan.toml"), "--json"])
    assert code == 0
    assert json.loads(out)["verdict"] == "passes"
    again = tomllib.loads((tmp_path / "unit-plan" / "plan-plan" / "plan.toml").read_text(encoding="utf-8"))["planned"]
    assert again["job"] == "plan.toml" and not again["out_of_reach"]


def test_same_input_same_bytes_and_letter_paper(planned: Planned, tmp_path: Path) -> None:
    """Once more elsewhere, in a process that hashes texts otherwise: the same words and files, but for a sheet of 8.5 by
    11 inches."""
    assert planned.again == planned.files
    path = write_job(tmp_path, FINER)
    done = subprocess.run(
        [sys.executable, "-m", "recurve", "plan", str(path), "--paper", "letter"],
        env={**os.environ, "PYTHONHASHSEED": "1", "TZ": "Pacific/Apia"},
        capture_output=True,
        encoding="utf-8",
        check=False,
    )
    out = done.stdout.replace(printable(str(tmp_path)), printable(str(planned.path.parent)))
    assert (done.returncode, out, done.stderr) == planned.text
    files = contents(tmp_path / "unit-plan")
    assert {n: b for n, b in files.items() if n != "sheet.pdf"} == {
        n: b for n, b in planned.files.items() if n != "sheet.pdf"
    }
    with pdfplumber.open(tmp_path / "unit-plan" / "sheet.pdf") as sheet:
        assert (float(sheet.pages[0].width), float(sheet.pages[0].height)) == pytest.approx((612.0, 792.0))


def test_plan_as_text(planned: Planned) -> None:
    code, out, err = planned.text
    assert (code, err) == (3, "")
    assert max(len(line) for line in out.splitlines() if planned.path.parent.name not in line) <= 80
    assert "\x1b" not in out
    lines = out.splitlines()
    verdict = next(i for i, line in enumerate(lines) if line.startswith("PASSES WITH STOP TRIM"))
    order = [
        next(i for i, line in enumerate(lines) if line.startswith(w))
        for w in ("Springs", "Stop", "Set", "Target", "Written")
    ]
    assert order == sorted(order)
    assert verdict < order[0]


def test_out_of_reach(tmp_path: Path) -> None:
    change = ('{ speed = "700 rpm", advance = "7 deg"', '{ speed = "520 rpm", advance = "10.4 deg"')
    path = write_job(tmp_path, change, without("sweep"))
    code, out, err = run(["plan", str(path)])
    assert (code, err) == (3, "")
    assert "OUT OF REACH, margin -" in out
    told = " ".join(out.split())
    assert "at 520 rpm" in told and "at 500 rpm" in told
    assert (tmp_path / "unit-plan" / "order.csv").read_text(encoding="utf-8").count("\n") == 1
    written = (tmp_path / "unit-plan" / "plan.toml").read_text(encoding="utf-8")
    assert "# OUT OF REACH" in written
    planned = tomllib.loads(written)["planned"]
    told = {"job": "unit.toml", "inputs": load_job(path).fingerprint, "out_of_reach": True}
    assert {key: planned[key] for key in told} == told


def test_nothing_can_be_built(planned: Planned, tmp_path: Path) -> None:
    springs = "id,rate [N/mm],free_length [mm]\nL1,2,40\nL2,4,41\n"
    changes = [('free_length = "15.2 mm"\n', ""), ('takeup = "7 ± 0.5 deg"\n', ""), without("sweep")]
    shutil.copytree(planned.path.parent, tmp_path, dirs_exist_ok=True)
    path = write_job(tmp_path, *changes, springs=springs)
    code, out, _ = run(["plan", str(path), "--json"])
    facts = json.loads(out)
    assert code == 3
    assert facts["margin"] is None
    assert facts["springs"] == {"primary": None, "secondary": None}
    assert "pulls from rest" in facts["reasons"][-1]
    # The plan of the earlier run is not left to be taken for this one's.
    assert sorted(os.listdir(path.parent / "unit-plan")) == [
        "curve.png",
        "curve.svg",
        "order.csv",
        "sheet.pdf",
        "window.svg",
    ]


def test_a_catalogue_is_not_needed_where_the_springs_found_will_do(tmp_path: Path) -> None:
    path = write_job(tmp_path, ('[catalogue]\nfile = "springs.csv"\n', ""))
    _, out, _ = run(["plan", str(path), "--json"])
    assert {s["id"] for s in json.loads(out)["springs"].values()} == {"as found primary", "as found secondary"}


def test_text_from_a_job_cannot_steer_the_terminal(tmp_path: Path) -> None:
    path = write_job(tmp_path, ('title = "Test unit, invented"', 'title = "a\\u001b[31mred"'))
    _, out, _ = run(["curve", str(path)])
    assert "a?[31mred" in out
    bad = write_job(tmp_path, ('"clockwise"', '"\\u001b[2J"'))
    _, _, err = run(["curve", str(bad)])
    assert "\x1b" not in err
    assert JOB.count("clockwise") == 1


def test_check_as_json_and_text(tmp_path: Path) -> None:
    path = write_job(tmp_path).relative_to(tmp_path)
    code, out, err = run(["check", str(path), "--json"], tmp_path)
    facts = json.loads(out)
    assert (code, err) == (3, "")
    assert facts["verdict"] not in ("sound", "facts only")
    assert facts["findings"] and facts["fit"]["converged"]
    no_nan(facts)
    assert sorted(os.listdir(tmp_path / "unit-plan")) == ["as-found.toml", "fit.png", "fit.svg"]
    code, out, _ = run(["check", str(path)], tmp_path)
    assert code == 3
    assert max(len(line) for line in out.splitlines()) <= 80
    assert "\x1b" not in out


def test_verify_uses_the_plan_beside_the_job(planned: Planned, tmp_path: Path) -> None:
    shutil.copytree(planned.path.parent, tmp_path, dirs_exist_ok=True)
    curve = planned.facts["curve"]
    lines = ["speed [rpm],advance [deg],direction"]
    for direction in ("rising", "falling"):
        lines += [
            f"{s},{a:.2f},{direction}"
            for s, a in zip(curve["speed_rpm"], curve[f"{direction}_deg"], strict=True)
            if s >= 200 and s % 50 == 0
        ]
    left = tmp_path / "as-left.csv"
    left.write_text("\n".join(lines) + "\n", encoding="utf-8")
    code, out, err = run(["verify", planned.path.name, left.name, "--json"], tmp_path)
    result = json.loads(out)
    assert err == ""
    assert result["verdict"] == "passes", result
    assert code == 0
    no_nan(result)
    assert {"as-left.toml", "as-left.svg", "as-left.png"} <= set(os.listdir(tmp_path / "unit-plan"))
    # A unit three degrees out fails, with what to move.
    left.write_text("\n".join(lines[:1] + [_shifted(line, 3.0) for line in lines[1:]]) + "\n", encoding="utf-8")
    # The job was changed since it was planned: what is judged is the plan, and that is said.
    (tmp_path / planned.path.name).write_text(planned.path.read_text(encoding="utf-8") + "\n", encoding="utf-8")
    code, out, err = run(["verify", planned.path.name, left.name], tmp_path)
    assert code == 3
    assert f"the job {planned.path.name} was changed after it was planned" in err and "plan again" in err
    # A plan.toml without the [planned] table, as earlier versions wrote it, is judged as well.
    plan = tmp_path / "unit-plan" / "plan.toml"
    plan.write_text(plan.read_text(encoding="utf-8").partition("[planned]")[0], encoding="utf-8")
    code, out, err = run(["verify", planned.path.name, left.name], tmp_path)
    assert code == 3
    assert "does not say what it was planned from" in err and "plan again" in err
    assert max(len(line) for line in out.splitlines()) <= 80


def test_verify_needs_no_catalogue(planned: Planned, tmp_path: Path) -> None:
    """The drawer's list is gone: the plan is judged all the same, and what cannot be told is told."""
    shutil.copytree(planned.path.parent, tmp_path, dirs_exist_ok=True)
    path = tmp_path / planned.path.name
    before, _ = finished_unit(plan_path(path), load_job(path))
    (tmp_path / "springs.csv").unlink()
    with pytest.raises(InputError, match="no such file"):
        load_job(path)
    unit, told = finished_unit(plan_path(path), load_job(path, springs_wanted=False))
    assert unit.catalogue is None and before.catalogue is not None
    assert unit.places == before.places and unit.stop == before.stop
    assert "the catalogue springs.csv is not there" in told


def _shifted(line: str, by: float) -> str:
    speed, advance, direction = line.split(",")
    return f"{speed},{max(float(advance) + by, 0.0) if float(advance) > 0 else 0.0:.2f},{direction}"


@pytest.mark.parametrize("text", ["7.85962683412e-20 ± 0.0128", "1e-3 ± 1e-4", "1.5E-2 +/- 0.001"])
def test_a_number_with_an_exponent_and_a_limit(text: str) -> None:
    value, limit = (float(x) for x in text.replace("+/-", "±").split("±"))
    assert parse(text, "number") == Measured(value, limit)
