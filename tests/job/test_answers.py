"""What is typed at a question: nonsense, bare numbers, and the job that the answers make; no process of its own.

The units are those of examples/, invented. The job file's own reader judges what is made.
"""

from __future__ import annotations

import builtins
import shutil
import tomllib
from pathlib import Path

import numpy as np
import pytest
from checkout import EXAMPLES, ROOT, written
from typed_answers import typed

from recurve.cli.interview import ask_question
from recurve.job.answers import read_answer, read_row
from recurve.job.made import job_text
from recurve.job.questions import Question, questions
from recurve.job.read import load_job

# By kind of question: what is typed, and how the complaint begins.
NONSENSE = {
    "choice": ("perhaps", "expected one of "),
    "date": ("yesterday", "expected year-month-day, such as 2026-03-14."),
    "whole": ("many", "expected a whole number."),
    "number": ("two", "expected a number, with a decimal point."),
    "quantity": ("12,6 parsecs", "a comma in the number; expected a decimal point."),
    "pair": ("1 2 3", "got 3 numbers, expected two, such as "),
    "rows": ("fast", "got 1 of them, expected 2 "),
    "row": ("1 2 3 4", "got 4 of them, expected "),
    "file": (
        "no/such/file.csv",
        "no/such/file.csv: got no file there, looked in {folder}/no/such; expected a readable file.",
    ),
    "type": ("no/such/file.toml", "got no/such/file.toml, expected a type file that recurve learn made."),
    "springs": ("A1", "expected a name, a rate, a free length, and an initial tension if there is one."),
    "readings": ("quick 3", "expected speed and advance, such as 550 4.8"),
}


@pytest.mark.parametrize("question", [q for q in questions() if q.kind in NONSENSE], ids=lambda q: q.key)
def test_nonsense_at_each_question(
    question: Question, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """Each question explains and repeats on nonsense, then takes a good answer; driven without a process of its own."""
    shutil.copy(EXAMPLES / "launch-as-found.csv", tmp_path / "good.csv")
    shutil.copy(ROOT / "data" / "springs.csv", tmp_path / "springs.csv")
    shutil.copy(EXAMPLES / "winch" / "type.toml", tmp_path / "type.toml")
    good = question.example if isinstance(question.example, str) else question.example[0]
    if question.kind == "file":
        good = str(tmp_path / {"catalogue.file": "springs.csv", "type": "type.toml"}.get(question.key, "good.csv"))
    rows = question.example if isinstance(question.example, list) else [good]
    ends = {"rows": [*rows, ""], "springs": [*rows, ""], "readings": ["550 4.8", "end", "yes", ""]}
    nonsense, complaint = NONSENSE["type" if question.key == "type" else question.kind]
    typed = iter([nonsense, "", *ends["readings"]] if question.kind == "readings" else
                 [nonsense, "\ufffd", *ends.get(question.kind, [good])])  # fmt: skip
    monkeypatch.setattr(builtins, "input", lambda prompt: next(typed))
    answers = {"distributor.lobes": 6} if question.key != "distributor.lobes" else {}
    found = ask_question(question, answers, tmp_path)
    assert found != ""
    assert next(typed, None) is None  # every line was asked for
    out = " ".join(capsys.readouterr().out.split())
    assert f"{nonsense!r}: {complaint.format(folder=Path.cwd())}" in out
    if question.kind != "readings":
        assert out.count(question.how.split(",")[0]) >= 2  # explained again


def test_crank_degrees_points_from_a_scan_and_a_scale(tmp_path: Path) -> None:
    """The dock pump of examples/: link, xy, static timing in every figure, drag by levers."""
    table = tomllib.loads((EXAMPLES / "pump.toml").read_text(encoding="utf-8"))
    motion, sweep = table["weights"]["motion"], table["sweep"]
    given: dict[str, str | list[str]] = {
        "target.basis": "crank",
        "target.static": "9",
        "target.points": ["800 11 15", "1200 17 21", "1600 22 26", "2000 26 30", "2400 29 33"],
        "target.idle": "550 10",
        "target.maximum": "29 33",
        "~sweep": "file",
        "sweep.file": written(EXAMPLES / "pump-as-found.csv"),
        **{f"sweep.{k}": sweep[k] for k in ("basis", "static", "reading", "speed_reading")},
        "distributor.rotation": "clockwise",
        "distributor.lobes": "4",
        "~drag": "scale",
        **{f"drag.{k}": v for k, v in table["drag"].items()},
        "stop.advance": table["stop"]["advance"],
        "~takeups": "turned",
        "~places": "xy",
        "weights.motion.kind": "link",
        "weights.mass": table["weights"]["mass"],
        **{f"weights.motion.{k}.xy": ", ".join(motion[k]["xy"]) for k in ("pivot", "cg", "pin", "cam")},
    }
    for name, spring in table["springs"].items():
        given |= {f"springs.{name}.{k}": spring[k] for k in ("rate", "takeup", "post_diameter")}
        given[f"springs.{name}.post_travel"] = " ".join(t.split()[0] for t in spring["post_travel"])
        for end in ("anchor", "far"):
            given[f"springs.{name}.posts.{end}.on"] = spring["posts"][end]["on"]
            given[f"springs.{name}.posts.{end}.xy"] = ", ".join(spring["posts"][end]["xy"])
    path = tmp_path / "unit.toml"
    path.write_text(job_text(typed(given), "pump"), encoding="utf-8")
    ours, theirs = load_job(path), load_job(EXAMPLES / "pump.toml")
    assert ours.weights == theirs.weights and ours.drag == theirs.drag and ours.target == theirs.target
    assert ours.measured == theirs.measured
    assert [p.posts for p in ours.places] == [p.posts for p in theirs.places]
    assert ours.sweep is not None and theirs.sweep is not None
    assert np.array_equal(ours.sweep.advance, theirs.sweep.advance)


def question(key: str) -> Question:
    return next(q for q in questions() if q.key == key)


def test_bare_numbers_take_the_persons_units() -> None:
    mass, pair = question("weights.mass"), question("springs.primary.post_travel")
    assert read_answer(mass, "1.05", "inch") == "1.05 oz"
    assert read_answer(mass, "31.5 ± 0.3", "mm") == "31.5 ± 0.3 g"
    assert read_answer(mass, "31.5 g", "inch") == "31.5 g"
    assert read_answer(pair, "0.5 1", "mm") == ["-0.5 mm", "1 mm"]
    assert read_answer(question("weights.motion.cg.xy"), "18.1 ± 0.2 mm, −20.3 mm", "mm") == [
        "18.1 ± 0.2 mm",
        "-20.3 mm",
    ]
    row = read_row(question("target.points"), "550 rpm 4 deg 6 deg", "mm")
    assert row == {"speed": "550 rpm", "min": "4 deg", "max": "6 deg"}
    with pytest.raises(ValueError, match="oz"):
        read_answer(question("springs.primary.rate"), "12 oz/in", "inch")  # a mass where a pull is asked


def test_a_reference_sweep_stands_in_for_the_weights(tmp_path: Path) -> None:
    """Nothing of the weights: the sweep with known springs is told by the interview as the job file wants it."""
    given: dict[str, str | list[str]] = {
        "~sweep": "file",
        "sweep.file": written(EXAMPLES / "launch-as-found.csv"),
        "sweep.reading": "0.4",
        "sweep.zeroed_at": "250",
        "distributor.rotation": "clockwise",
        "distributor.lobes": "6",
        "stop.advance": "13.8",
        "~second": "no",
        "~places": "lengths",
        "springs.primary.rate": "2 ± 0.1",
        "springs.primary.free_length": "13",
        "springs.primary.posts.length": ["0 13.9", "13.8 16.7"],
        "weights.motion.kind": "reference",
        "weights.motion.sweep": written(EXAMPLES / "launch-as-found.csv"),
    }
    path = tmp_path / "unit.toml"
    path.write_text(job_text(typed(given), "no weights"), encoding="utf-8")
    job = load_job(path)
    assert job.weights.mass is None and len(job.places) == 1
    motion = job.document["weights"]["motion"]
    assert (motion["reading"], motion["zeroed_at"]) == ("0.4 deg", "250 rpm")
