"""The interview in a pseudo-terminal, as a person meets it: both systems of units, nonsense, interruption, going on.

The units are invented. What the interview writes is judged by the job file's own reader and by `recurve check`.
"""

from __future__ import annotations

import shutil
import sys
import tomllib
from pathlib import Path

import numpy as np
import pytest
from checkout import EXAMPLES, ROOT
from terminal import Terminal, answer, question_in
from typed_answers import typed

from recurve.cli.app import main
from recurve.cli.interview import keep_answers
from recurve.cli.start import about
from recurve.errors import Fault
from recurve.job.made import blank_text, document_of, job_text
from recurve.job.model import BareJob
from recurve.job.questions import asked, parts, questions
from recurve.job.read import load_any, load_job
from recurve.units import parse

# The launch of examples/, as its mechanic would type it.
METRIC: dict[str, str | list[str]] = {
    "~units": "mm",
    "title": "Launch engine, typed",
    "date": "2026-03-14",
    "target.basis": "1",
    "target.points": ["400 0.5 2.5", "550, 4 deg, 6 deg", "750 6 8", "900 8.5 10.5", "1100 10 12"],
    "target.idle": "250 0.5",
    "target.maximum": "10 12",
    "~sweep": "now",
    "sweep.basis": "distributor",
    "sweep.reading": "0.4",
    "sweep.speed_reading": "± 5 rpm",
    "sweep.zeroed_at": "250",
    "distributor.rotation": "clockwise",
    "distributor.lobes": "6",
    "~drag": "moment",
    "drag.rubbing_block": "3.0 ± 1.0",
    "drag.friction": "0.6 +/- 0.4 mN*m",
    "stop.advance": "13.8 ± 0.3",
    "~takeups": "turned",
    "springs.primary.takeup": "0.6 ± 0.4",
    "springs.primary.rate": "0.82 ± 0.06",
    "springs.secondary.takeup": "9 ± 0.5 deg",
    "springs.secondary.rate": "4.4 ± 0.3 N/mm",
    "~places": "angles",
    "springs.primary.post_diameter": "2.5",
    "springs.primary.posts.anchor.on": "base",
    "springs.primary.posts.anchor.radius": "19.4",
    "springs.primary.posts.anchor.angle": "40",
    "springs.primary.posts.far.on": "cam",
    "springs.primary.posts.far.radius": "12",
    "springs.primary.posts.far.angle": "73",
    "springs.primary.post_travel": "1 1",
    "springs.secondary.post_diameter": "2.5 mm",
    "springs.secondary.posts.anchor.on": "base",
    "springs.secondary.posts.anchor.radius": "21.3",
    "springs.secondary.posts.anchor.angle": "220",
    "springs.secondary.posts.far.on": "cam",
    "springs.secondary.posts.far.radius": "12",
    "springs.secondary.posts.far.angle": "259",
    "springs.secondary.post_travel": "-0.5 0.5",
    "weights.motion.kind": "slot",
    "weights.mass": "29.6 ± 0.2",
    "weights.motion.pivot.radius": "21.5 ± 0.1",
    "weights.motion.cg.distance": "12.6 ± 0.2",
    "weights.motion.cg.angle": "76 ± 1",
    "weights.motion.pin.distance": "13.4 ± 0.1",
    "weights.motion.pin.angle": "184 ± 1",
    "~trim": "radius",
    "stop.radius": "14.5",
    "stop.build_up_to": "1.2",
    "~shelf": "now",
    "~springs": ["D1-08 1.09 12.7", "D4-10, 3.52 N/mm, 17.5 mm, 0 N"],
}


def readings_of(name: str) -> list[str]:
    """The lines of an example's sweep as they are typed: speed and advance, `down` at the turn, `end`, zero, Enter."""
    lines = [x.split(",") for x in (EXAMPLES / name).read_text(encoding="utf-8").splitlines()[2:]]
    up = [f"{a} {b}" for a, b, way in lines if way == "rising"]
    down = [f"{a} {b}" for a, b, way in lines if way == "falling"]
    return [*up, "down", *down, "end"]


def run(arguments: list[str], monkeypatch: pytest.MonkeyPatch) -> int:
    monkeypatch.setattr(sys, "argv", ["recurve", *arguments])
    with pytest.raises(SystemExit) as stopped:
        main()
    return int(stopped.value.code or 0)


def test_metric_with_the_readings_typed(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """From nothing to a sheet without opening the job file; the unit is the one that examples/launch.toml describes."""
    terminal = Terminal(["start", "boat"], tmp_path)
    keys = answer(terminal, METRIC | {"~readings": readings_of("launch-as-found.csv")})
    assert terminal.ended() == 0, terminal.shown[-2000:]
    assert len(keys) == len(set(keys))  # nothing had to be asked twice
    for part in parts():
        assert part.title in terminal.shown
    job, given = load_job(tmp_path / "boat" / "unit.toml"), load_job(EXAMPLES / "launch.toml")
    for ours, theirs in ((job.weights, given.weights), (job.target, given.target), (job.drag, given.drag)):
        assert ours == theirs
    assert job.sweep is not None and given.sweep is not None
    assert np.array_equal(job.sweep.speed, given.sweep.speed) and np.array_equal(job.sweep.advance, given.sweep.advance)
    assert (job.sweep.reading, job.sweep.zeroed_at) == (given.sweep.reading, given.sweep.zeroed_at)
    assert job.stop.limits == pytest.approx(given.stop.limits)
    for ours_, theirs_ in zip(job.places, given.places, strict=True):
        assert ours_.travel == theirs_.travel and ours_.posts == theirs_.posts
        assert ours_.found is not None and theirs_.found is not None and ours_.found.rate == theirs_.found.rate
    monkeypatch.chdir(tmp_path)
    assert run(["plan", "boat/unit.toml"], monkeypatch) == 0
    assert (tmp_path / "boat/unit-plan/sheet.pdf").is_file()
    assert [x for x in terminal.shown.splitlines() if len(x) > 80] == []
    capsys.readouterr()


def inches(metric: str, dimension: str, unit: str) -> str:
    """A metric answer in another unit, bare, as its person would type it."""
    from recurve.units import factor

    found = parse(metric, dimension)
    limit = "" if found.half_width is None else f" ± {found.half_width / factor(unit, dimension):.12g}"
    return f"{found.value / factor(unit, dimension):.12g}{limit}"


def test_inches_with_tables(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """The tractor of examples/, which has no places but lengths, measured in inches, ounces and pounds."""
    given = tomllib.loads((EXAMPLES / "tractor.toml").read_text(encoding="utf-8"))
    shutil.copy(EXAMPLES / "tractor-as-found.csv", tmp_path / "sweep.csv")
    motion, springs = given["weights"]["motion"], given["springs"]
    answers: dict[str, str | list[str]] = {
        "~units": "inch",
        "target.points": ["300 0 2", "400 2.5 4.5", "600 6 8", "800 8.5 10.5", "1000 10.5 12.5"],
        "target.idle": "235 0.5",
        "target.maximum": "10.5 12.5",
        "~sweep": "file",
        "sweep.file": "sweep.csv",
        "sweep.reading": "± 0.4 deg",
        "sweep.speed_reading": "5",
        "sweep.zeroed_at": "200 rpm",
        "distributor.rotation": "anti",
        "distributor.lobes": "4",
        "~drag": "moment",
        "drag.rubbing_block": inches("5.5 ± 2 mN*m", "moment", "ozf*in"),
        "drag.friction": inches("1.0 ± 0.6 mN*m", "moment", "ozf*in"),
        "stop.advance": "11.6 ± 0.3 deg",
        "~takeups": "lengths",
        "~places": "lengths",
        "weights.motion.kind": "table",
        "weights.mass": inches("38.5 ± 0.3 g", "mass", "oz"),
        "weights.motion.cg_radius": [
            f"{a}; {inches(r, 'length', 'in')}" for a, r in zip(motion["advance"], motion["cg_radius"], strict=True)
        ],
        "~shelf": "none",
    }
    for name, spring in springs.items():
        rows = zip(spring["posts"]["advance"], spring["posts"]["length"], strict=True)
        answers |= {
            f"springs.{name}.rate": inches(spring["rate"], "rate", "lbf/in"),
            f"springs.{name}.free_length": inches(spring["free_length"], "length", "in"),
            f"springs.{name}.posts.length": [f"{a}, {b}" for a, b in rows],  # a unit of its own stays what it is
            f"springs.{name}.post_travel": " ".join(inches(t, "length", "in") for t in spring["post_travel"]),
        }
    terminal = Terminal(["start", "tractor"], tmp_path)
    answer(terminal, answers)
    assert terminal.ended() == 0, terminal.shown[-2000:]
    job, theirs = load_job(tmp_path / "tractor" / "unit.toml"), load_job(EXAMPLES / "tractor.toml")
    assert job.title == "tractor"
    assert job.weights.mass == pytest.approx(theirs.weights.mass)
    grid = np.linspace(0.0, theirs.stop.advance, 9)
    assert job.weights.inertia_slope(grid) == pytest.approx(theirs.weights.inertia_slope(grid), rel=1e-6)
    assert job.drag.rubbing_block == pytest.approx(theirs.drag.rubbing_block)
    for one, other in zip(job.places, theirs.places, strict=True):
        assert one.posts.length(grid)[0] == pytest.approx(other.posts.length(grid)[0])
        assert one.found is not None and other.found is not None
        assert one.found.rate == pytest.approx(other.found.rate)
        assert one.travel == pytest.approx(other.travel)
    monkeypatch.chdir(tmp_path)
    assert run(["check", "tractor/unit.toml"], monkeypatch) in (0, 3)
    capsys.readouterr()


def test_stopped_and_gone_on_with(tmp_path: Path) -> None:
    """Stopped by a word, by Ctrl-C and by kill -9: no answer is lost, none is asked again."""
    first = Terminal(["start", "boat"], tmp_path)
    keys = answer(first, METRIC, until="target.idle")
    first.type("stop")
    assert first.status() == 3
    assert "go on with: recurve start boat" in first.shown
    second = Terminal(["start", "boat"], tmp_path)
    more = answer(second, METRIC | {"~sweep": "later"}, until="~drag")
    assert more[0] == "target.idle"
    assert second.interrupt() == 3
    third = Terminal(["start", "boat"], tmp_path)
    rest = answer(third, METRIC, until="springs.primary.rate")
    assert rest[0] == "~drag"
    third.kill()
    fourth = Terminal(["start", "boat"], tmp_path)
    last = answer(fourth, METRIC)
    assert last[0] == "springs.primary.rate"
    assert fourth.ended() == 0, fourth.shown[-1500:]
    every = [*keys, *more, *rest, *last]
    assert len(every) == len(set(every))
    assert load_job(tmp_path / "boat" / "unit.toml").sweep is None


def test_a_wrong_angle_is_asked_again(tmp_path: Path) -> None:
    """Weights that would retard: the interview says so, asks for the angle again, and writes nothing before."""
    terminal = Terminal(["start", "boat"], tmp_path)
    wrong = METRIC | {"~sweep": "later", "weights.motion.cg.angle": "-76", "~shelf": "none"}
    answer(terminal, wrong, until="~shelf")
    terminal.type("none")
    seen: list[str] = []
    while (text := terminal.wait()) is not None:
        question = question_in(text)
        assert question is not None
        seen.append(question.key)
        terminal.type("76 ± 1" if question.key == "weights.motion.cg.angle" else "")
    assert terminal.ended() == 0, terminal.shown[-1500:]
    assert "would retard" in " ".join(terminal.shown.split())
    assert {"distributor.rotation", "weights.motion.cg.angle", "weights.motion.pin.angle"} <= set(seen)
    assert load_job(tmp_path / "boat" / "unit.toml").weights == load_job(EXAMPLES / "launch.toml").weights
    assert not (tmp_path / "boat" / "unit.draft.toml").exists()


@pytest.mark.parametrize(
    ("key", "first", "others"),
    [
        (("target", "points", 1, "min"), "target.points", 0),
        (("stop", "radius"), "stop.radius", 0),
        (("springs", "primary", "posts", "far", "on"), "springs.primary.posts.far.on", 0),
        (("weights", "motion", "cg"), "weights.motion.cg.distance", 1),
        (("weights", "motion"), "distributor.rotation", 6),
        (None, None, 0),
        ((), None, 0),
    ],
)
def test_what_a_fault_is_about(key: tuple[str | int, ...] | None, first: str | None, others: int) -> None:
    """By its key and not by its words: rows of a table ask for the table, a table for all that is in it. The weights may move
    the wrong way because the rotation is wrong. Counted by hand in the questions: kind, and two numbers each of cg and
    pin, and the pivot's radius."""
    asked = about(
        [Fault(key, "stop.advance: words that tell nothing")], typed(METRIC | {"~sweep": "later", "~shelf": "none"})
    )
    assert [q.key for q in asked][:1] == ([] if first is None else [first])
    assert len(asked) == (0 if first is None else 1 + others)


def test_the_bench_begins_with_a_caution(tmp_path: Path) -> None:
    """In a paragraph of its own, before the first question about the bench."""
    terminal = Terminal(["start", "boat"], tmp_path)
    answer(terminal, METRIC, until="~sweep")
    assert [x[:24] for x in terminal.shown.split("\n") if "CAUTION" in x] == ["CAUTION: clamp the unit "]
    terminal.kill()


def test_a_part_gone_through_again(tmp_path: Path) -> None:
    """A mistake seen on the drawing is mended by the interview, not in an editor; what a sweep added stays."""
    folder = tmp_path / "boat"
    answers = typed(METRIC | {"~sweep": "later", "~shelf": "none", "weights.motion.cg.angle": "67 ± 1"})
    keep_answers(folder, answers)
    first = Terminal(["start", "boat"], tmp_path)
    answer(first, {})
    assert first.ended() == 0, first.shown
    assert load_job(folder / "unit.toml").weights != load_job(EXAMPLES / "launch.toml").weights
    shutil.copy(EXAMPLES / "launch-as-found.csv", folder / "as-found.csv")
    with (folder / "unit.toml").open("a", encoding="utf-8") as job:
        job.write('\n[sweep]\nfile = "as-found.csv"\n')  # as recurve sweep adds it
    second = Terminal(["start", "boat"], tmp_path)
    assert "10  The weights" in (second.wait() or "")
    second.type("10")
    again = answer(second, {"weights.motion.cg.angle": "76 ± 1"})
    assert second.ended() == 0, second.shown
    assert {q.part for q in questions() if q.key in again} == {9}
    job = load_job(folder / "unit.toml")
    assert job.weights == load_job(EXAMPLES / "launch.toml").weights and job.sweep is not None


def test_back_and_explain(tmp_path: Path) -> None:
    """? says other words than the hint that already stands there; < asks the question before again."""
    terminal = Terminal(["start", "boat"], tmp_path)
    answer(terminal, {"distributor.rotation": "anticlockwise"}, until="distributor.lobes")
    terminal.type("?")
    assert "An answer looks like this: 6" in (terminal.wait() or "")
    terminal.type("<")
    text = terminal.wait()
    question = question_in(text or "")
    assert question is not None and question.key == "distributor.rotation"
    terminal.type("clockwise")
    terminal.wait()
    terminal.kill()
    kept = tomllib.loads((tmp_path / "boat/answers.toml").read_text(encoding="utf-8"))["answers"]
    assert kept["distributor.rotation"] == "clockwise"


def test_a_job_that_cannot_be_read_is_told_and_left_alone(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    mine = tmp_path / "unit.toml"
    mine.write_text("# mine\n", encoding="utf-8")
    assert run(["start", str(tmp_path)], monkeypatch) == 2
    assert run(["start", str(tmp_path), "--blank"], monkeypatch) == 2
    assert mine.read_text(encoding="utf-8") == "# mine\n"
    assert "title: missing" in capsys.readouterr().err


def test_a_job_changed_by_hand_is_read_again(tmp_path: Path) -> None:
    """An editor changed the mass and added a table that no question asks for: both count, and the file is kept as it was."""
    folder = tmp_path / "boat"
    keep_answers(folder, typed(METRIC | {"~sweep": "later", "~shelf": "none"}))
    first = Terminal(["start", "boat"], tmp_path)
    answer(first, {})
    assert first.ended() == 0, first.shown
    path = folder / "unit.toml"
    changed = (
        path.read_text(encoding="utf-8").replace("29.6 ± 0.2 g", "30.1 ± 0.1 g") + '\n[build]\npost = "± 0.2 mm"\n'
    )
    path.write_text(changed, encoding="utf-8")
    second = Terminal(["start", "boat"], tmp_path)
    assert "changed by hand" in " ".join((second.wait() or "").split())
    second.type("")
    assert second.ended() == 0, second.shown
    kept = tomllib.loads((folder / "answers.toml").read_text(encoding="utf-8"))["answers"]
    assert kept["weights.mass"] == "30.1 ± 0.1 g"
    assert (folder / "unit.by-hand.toml").read_text(encoding="utf-8") == changed
    job = load_job(path)
    assert job.weights.mass == pytest.approx(30.1e-3) and job.build.post == pytest.approx(0.2e-3)
    assert job.places == load_job(folder / "unit.by-hand.toml").places


NOTEBOOK: dict[str, str | list[str]] = {
    "distributor.rotation": "clockwise",
    "distributor.lobes": "6",
    "target.points": ["400 0.5 2.5", "550 4 6", "1100 10 12"],
    "target.idle": "250 0.5",
    "target.maximum": "10 12",
    "~sweep": "now",
    "~readings": ["250 2.1", "550 8.4", "1100 13.6", "550 9.0", "yes", "250 2.6", "end"],
    "stop.advance": "13.8 ± 0.3",
}


def test_a_notebook_is_looked_at_after_fifteen_questions(tmp_path: Path) -> None:
    """Five readings, a book, the wheel; down was forgotten, and is asked about. Then the answer ends without a screwdriver."""
    terminal = Terminal(["start", "boat"], tmp_path)
    keys = answer(terminal, NOTEBOOK, until="~strip")
    assert len(keys) <= 15
    shown = " ".join(terminal.shown.split())
    assert "falling from here on? yes or no" in shown
    assert "does not come back to zero" in shown and "SPRINGS OR POSTS" in shown
    assert "13.8 ± 0.3 deg (distributor)" in shown  # the echo says its ± and whose degrees
    terminal.type("no")
    answer(terminal, {"title": "Notebook, invented"})
    assert terminal.ended() == 0, terminal.shown[-1500:]
    assert [x for x in terminal.shown.splitlines() if len(x) > 80] == []
    job = load_any(tmp_path / "boat" / "unit.toml")
    assert isinstance(job, BareJob) and job.title == "Notebook, invented"
    assert job.sweep is not None and list(job.sweep.rising) == [True, True, True, False, False]


def test_stopping_leaves_what_is_known(tmp_path: Path) -> None:
    terminal = Terminal(["start", "boat"], tmp_path)
    answer(terminal, NOTEBOOK, until="~strip")
    terminal.type("stop")
    assert terminal.status() == 3
    assert "What is known so far" in terminal.shown
    assert isinstance(load_any(tmp_path / "boat" / "unit.toml"), BareJob)


def test_facts_of_springs_that_were_not_swept_are_not_held_against_the_sweep() -> None:
    given = METRIC | {"~sweep": "file", "sweep.file": "as-found.csv", "~shelf": "none"}
    these, others = (document_of(typed(given | {"~whose": w}), "x")["springs"] for w in ("these", "others"))
    assert these["primary"]["rate"] == "0.82 ± 0.06 N/mm" and "takeup" in these["secondary"]
    assert not {"rate", "takeup"} & (others["primary"].keys() | others["secondary"].keys())
    assert others["primary"]["posts"] == these["primary"]["posts"]


def test_wear_vacuum_and_timing_are_asked_where_they_are_wanted(tmp_path: Path) -> None:
    given = {
        "distributor.rotation": "clockwise", "distributor.lobes": "4", "~sweep": "later", "~strip": "no",
        "~wear": "yes", "condition.side_play": "0.12", "condition.breaker_plate": "stiff",
        "~vacuum": "yes", "vacuum.start": "120 160", "vacuum.measured": ["150 0.6", "250 2.9", "350 5.8"],
        "~timing": "yes", "timing.static": "10", "timing.idle": "600",
    }  # fmt: skip
    path = tmp_path / "unit.toml"
    path.write_text(job_text(typed(given), "bench"), encoding="utf-8")
    job = load_any(path)
    assert job.inspection.timing is not None and job.inspection.vacuum is not None
    assert len(job.inspection.vacuum.readings) == 3
    keys = {q.key for q in asked(typed({"~strip": "no"}))}
    assert not {"weights.mass", "condition.dwell", "vacuum.start", "timing.idle"} & keys


def test_blank(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """The template alone sets nothing; with its # taken away it loads."""
    assert run(["start", str(tmp_path / "new"), "--blank"], monkeypatch) == 0
    path = tmp_path / "new" / "unit.toml"
    text = path.read_text(encoding="utf-8")
    assert text == blank_text() and tomllib.loads(text) == {}
    path.write_text("\n".join(x[1:] if (x[:1] == "#" and x[1:2] not in ("", " ")) or x[:4] == "#  {" else x
                              for x in text.splitlines()), encoding="utf-8")  # fmt: skip
    shutil.copy(EXAMPLES / "launch-as-found.csv", path.parent / "as-found.csv")
    shutil.copy(ROOT / "data" / "springs.csv", path.parent / "springs.csv")
    assert load_job(path).weights == load_job(EXAMPLES / "launch.toml").weights


def test_wear_vacuum_unit_and_timing_are_asked_for_where_they_are_wanted(tmp_path: Path) -> None:
    """The same as the job file would have them by hand; the leak test goes in whole, with whose units are typed."""
    terminal = Terminal(["start", "boat"], tmp_path)
    wanted: dict[str, str | list[str]] = {
        "distributor.rotation": "clockwise", "distributor.lobes": "4", "~strip": "yes",
        "~wear": "yes", "condition.side_play": "0.05", "condition.condenser": "chafed", "condition.vacuum_unit": "holds",
        "~vacuum": "yes", "vacuum.start": "120 160", "vacuum.measured": ["100 0", "300 3"],
        "vacuum.hold.vacuum": "16.2 inHg", "vacuum.hold.left": "16 inHg", "vacuum.hold.after": "60",
        "~timing": "yes", "timing.static": "8", "timing.idle": "640", "timing.idle_setting": "12",
    }  # fmt: skip
    keys = answer(terminal, wanted)
    assert terminal.ended() == 0, terminal.shown[-2000:]
    assert set(wanted) <= set(keys)
    for figure in (12, 13, 14, 15):
        assert f"recurve guide {figure}" in terminal.shown
    job = load_any(tmp_path / "boat" / "unit.toml")
    condition, vacuum, timing = job.inspection.condition, job.inspection.vacuum, job.inspection.timing
    assert condition is not None and vacuum is not None and timing is not None
    assert condition.side_play is not None and condition.side_play.value == pytest.approx(5e-5)
    assert (condition.condenser, condition.vacuum_unit) == ("chafed", "holds")
    assert vacuum.hold is not None and vacuum.hold.time == 60.0 and len(vacuum.readings) == 2
    assert timing.static is not None and np.degrees(timing.static) == pytest.approx(8.0)
    assert timing.idle_setting is not None and np.degrees(timing.idle_setting) == pytest.approx(12.0)


def test_a_leak_test_told_in_part_is_left_out() -> None:
    given = {"distributor.lobes": 4, "~strip": "yes", "~vacuum": "yes", "vacuum.hold.vacuum": "16 inHg"}
    assert "vacuum" not in document_of(given, "")
    whole = given | {"vacuum.hold.left": "16 inHg", "vacuum.hold.after": "60 s"}
    assert document_of(whole, "")["vacuum"]["hold"] == {"vacuum": "16 inHg", "left": "16 inHg", "after": "60 s"}
