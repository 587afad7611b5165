"""`recurve timing` and what a check of a unit without weights prints, on the ferry.

The ferry's figures are invented and stand in its job; what is expected of them is worked by hand beside each.
"""

from __future__ import annotations

from pathlib import Path

import pytest
from checkout import EXAMPLES
from commands import run
from jobs import write_job

from recurve.cli.show import _planned
from recurve.diagnosis import timing_card
from recurve.inspection.model import Vacuum, VacuumPoint
from recurve.inspection.vacuum import Capsule, book_capsule, vacuum_advance, vacuum_range
from recurve.job.read import load_job
from recurve.output.documents.condition import CapsuleDocument, Pressure, Slope
from recurve.output.text.check import capsule_words
from recurve.uncertainty import Uncertain

ENGINE = '[timing]\nstatic = "10 deg"\nidle = "600 rpm"\ntop_speed = "3600 rpm"\n'


@pytest.fixture
def ferry(tmp_path: Path) -> Path:
    """The ferry's job and readings in a folder of their own."""
    for file in EXAMPLES.glob("ferry*.*"):
        (tmp_path / file.name).write_bytes(file.read_bytes())
    return tmp_path / "ferry.toml"


# --- the card ----------------------------------------------------------------------------------------------


def test_the_card_as_text(ferry: Path) -> None:
    """Its sweep ends at 13.6° (distributor), 27.2° at the crank: for a total of 31° static must be 31 − 27.2 = 3.8°,
    and at idle, 290 rpm of the distributor, where 3.9° stay in falling, the light shows 3.8 + 2 · 3.9 = 11.6°. The book's 15°
    at 1100 and 23° at 1700 rpm (crank) stand in the target: half-way, at 1400, 19°; 31° from 2500 on, so 7/8 of the
    way from 1700, at 2400, 23 + 7 = 30°. The cruise vacuum, 11 inHg, was read at 6.4° (distributor): + 12.8° at the
    crank."""
    code, out, err = run(["timing", ferry.name], ferry.parent)
    assert (code, err) == (0, "")
    assert max(len(line) for line in out.splitlines()) <= 80
    assert "SET IT SO" in out and "total as found, with static 3.8°: 31.0°" in " ".join(out.split())
    assert "at idle, 580 rpm, the light then shows 11.6°" in " ".join(out.split())
    rows = {
        int(r[0]): [float(x) for x in r[1:]] for r in map(str.split, out.splitlines()) if len(r) == 5 and r[0].isdigit()
    }
    assert rows[1400][1] == 19.0 and rows[2400][1] == 30.0
    assert all(row[3] - row[1] == pytest.approx(2 * 6.4, abs=0.4) for row in rows.values())
    assert {p.name for p in (ferry.parent / "ferry-plan").iterdir()} == {"timing.svg", "timing.png"}


def test_the_plan_beside_the_job_is_taken_while_it_belongs_to_it(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """Of these inputs: its springs. Out of reach: no curve. Of other or unknown inputs: planned anew, which is said before it is
    done, and why."""
    path = write_job(tmp_path)
    path.write_text(path.read_text(encoding="utf-8") + ENGINE, encoding="utf-8")
    job, anew = load_job(path), object()
    monkeypatch.setattr(timing_card, "planned_curve", lambda _: anew)
    assert _planned(job)[0] is anew
    assert "plan.toml: missing, so the curve is planned now" in capsys.readouterr().err
    plan = tmp_path / "unit-plan" / "plan.toml"
    plan.parent.mkdir()
    text = path.read_text(encoding="utf-8").replace('"as-found.csv"', '"../as-found.csv"')
    text = text.replace('"springs.csv"', '"../springs.csv"').replace('"13.8 ± 0.3 deg"', '"11 deg"')
    for planned, result in (
        (f'[planned]\njob = "unit.toml"\ninputs = "{job.fingerprint}"\n', 11.0),
        (f'[planned]\njob = "unit.toml"\ninputs = "{job.fingerprint}"\nout_of_reach = true\n', None),
        ('[planned]\njob = "unit.toml"\ninputs = "000000000000"\n', anew),
        ("", anew),
    ):
        plan.write_text(f"{text}\n{planned}", encoding="utf-8")
        got, _ = _planned(job)
        said = capsys.readouterr().err
        assert ("from other inputs than the job has now, so the curve is planned now" in said) == (result is anew)
        stop = None if got is None else float(getattr(got, "stop", 0.0)) * 57.29577951308232
        assert got is result if result is None or result is anew else stop == pytest.approx(11.0)


# --- a check without weights --------------------------------------------------------------------------------


def test_a_check_shows_the_target_both_ways(ferry: Path) -> None:
    """15° at 1100 rpm of the crank, static 8°: (15 − 8)/2 = 3.5° at 550 rpm; 31° in all: (31 − 8)/2 = 11.5°; each ± 2°
    at the crank (common practice, no source), ± 1° at the distributor."""
    code, out, _ = run(["check", ferry.name], ferry.parent)
    rows = [line.split() for line in out.splitlines()]
    assert code in (0, 3)
    assert ["point", "1100", "13.0", "to", "17.0", "550", "2.50", "to", "4.50"] in rows
    assert ["maximum", "stop", "29.0", "to", "33.0", "stop", "10.50", "to", "12.50"] in rows


def test_a_capsule_in_words_and_numbers() -> None:
    """± is two standard uncertainties; 0.005 rad/kPa is 0.29°/kPa; what no reading tells is said so. By hand: 600 Pa late, it
    begins at 20.6 kPa rising, the ± of both together √(0.5² + 0.05²) · 2 = 1.0, and is full at 48.6 kPa."""
    known = CapsuleDocument.of(
        Capsule(
            Uncertain(20e3, 500.0),
            Uncertain(5e-6, None),
            Uncertain(0.14, 0.002),
            Uncertain(48e3, 1e3),
            Uncertain(600.0, 50.0),
            0.001,
        )
    )
    words = capsule_words(known)
    for told in ("20.6 ± 1.0 kPa", "0.29 (not determined)°", "8.0 ± 0.2°", "48.6 ± 2.0 kPa", "1.2 kPa apart"):
        assert told in words
    assert known.rate_deg_per_kpa == Slope(value=0.286479, standard_uncertainty=None)
    assert known.start_kpa == Pressure(value=20.0, standard_uncertainty=0.5)
    open_ended = CapsuleDocument.of(Capsule(Uncertain(20e3, 500.0), Uncertain(5e-6, 1e-7), None, None, None, 0.001))
    assert "its maximum is not known" in capsule_words(open_ended) and "apart" not in capsule_words(open_ended)
    assert open_ended.stop_deg is None


def given_vacuum(**told: object) -> Vacuum:
    plain = {
        "sign": -1, "start": None, "full": None, "maximum": None, "points": (), "readings": (), "reading": 0.005,
        "gauge": 500.0, "hold": None, "limits": {},
    }  # fmt: skip
    return Vacuum(**{**plain, **told})


def test_a_vacuum_unit_by_the_book() -> None:
    """Half-way between its points by straight lines; a retard unit takes off. Worked by hand."""
    points = (VacuumPoint(40e3, 0.10, 0.14), VacuumPoint(20e3, 0.0, 0.04))
    by_points = given_vacuum(points=points)
    assert vacuum_advance(by_points, 30e3) == (pytest.approx(-0.07), "by the book")
    assert vacuum_range(by_points) == pytest.approx(-0.14)
    by_figures = given_vacuum(sign=1, start=(10e3, 20e3), full=(40e3, 50e3), maximum=(0.10, 0.14))
    assert vacuum_advance(by_figures, 30e3) == (pytest.approx(0.06), "by the book")
    assert vacuum_range(by_figures) == pytest.approx(0.14)
    assert book_capsule(given_vacuum()) is None and vacuum_advance(given_vacuum(), 30e3) is None
    assert vacuum_advance(None, 30e3) is None and vacuum_range(None) == vacuum_range(given_vacuum()) == 0.0
