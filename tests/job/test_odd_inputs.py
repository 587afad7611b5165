"""Odd inputs: a plain word for each, never a traceback, and what is probably a slip stands above the verdict.

What is too sure or out of the trade's ranges: common practice, no source (`recurve/units.py`, `data/ranges.toml`).
"""

from __future__ import annotations

import os
import pty
import re
import subprocess
import sys
import tomllib
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from checkout import ROOT
from fuzz import outcome
from jobs import JOB, SPRINGS, SWEEP, without, write_job

from recurve.errors import InputError
from recurve.files import check_writable
from recurve.job.doubts import sweep_doubts, unit_doubts
from recurve.job.read import load_any, load_job
from recurve.job.shelf import read_spring
from recurve.physics.mechanism import ReferenceSlope
from recurve.physics.sweep import Sweep
from recurve.springs.spring import Catalogue
from recurve.springs.stress import preferred_initial_stress
from recurve.units import Quantity

POINTS = JOB[JOB.index("points = [") : JOB.index("idle = {")]
LONG = "a" * 300 + ".csv"


def refused(path: Path) -> list[str]:
    with pytest.raises(InputError) as fault:
        load_job(path)
    return [line.replace(f"{path.parent}/", "") for line in fault.value.faults]


@pytest.mark.parametrize(
    ("old", "new", "place"),
    [
        ('"31.5 ± 0.3 g"', '"31.5 ± 0 g"', "unit.toml:13: weights.mass"),
        ('"31.5 ± 0.3 g"', '"31.5 ± 1e-12 g"', "unit.toml:13: weights.mass"),
        ('"15.2 mm"', '"15.2 ± 1e-12 mm"', "unit.toml:33: springs.primary.free_length"),
        ('"7 ± 0.5 deg"', '"7 ± 1e-12 deg"', "unit.toml:43: springs.secondary.takeup"),
        ('"1.0 mN*m"', '"1.0 ± 0 mN*m"', "unit.toml:28: drag.friction"),
        ('"± 0.8 deg"', '"± 0 deg"', "unit.toml:62: sweep.reading"),
        ('"± 0.8 deg"', '"± 1e-12 deg"', "unit.toml:62: sweep.reading"),
    ],
)
def test_nothing_is_measured_without_an_error(old: str, new: str, place: str, tmp_path: Path) -> None:
    """A ± of 0, or far below any instrument's, is a slip: a fit would believe it, and blame the other parts."""
    (line,) = refused(write_job(tmp_path, (old, new)))
    assert line.startswith(f"{place}: got {new}, expected a ± of ")
    assert "nothing is measured more closely" in line


@pytest.mark.parametrize("given", ["31.5 ± 0.0001 g", "31.5 ± 0.1 mg", "0.0315 ± 1e-7 kg"])
def test_the_finest_scale_is_believed(given: str, tmp_path: Path) -> None:
    load_job(write_job(tmp_path, ("31.5 ± 0.3 g", given.replace("31.5 ± 0.1 mg", "31500 ± 0.1 mg"))))


def test_a_tolerance_of_the_build_may_be_nothing(tmp_path: Path) -> None:
    """It is wanted, not measured."""
    job = load_job(write_job(tmp_path, ("[catalogue]", '[build]\npost = "± 0 mm"\n[catalogue]')))
    assert job.build.post == 0.0


@pytest.mark.parametrize(
    ("name", "told"),
    [
        ("", 'sweep.file: got "", expected the name of a file'),
        ("  ", 'sweep.file: got "  ", expected the name of a file'),
        ("a\\u0000b.csv", "expected the name of a file"),
        (LONG, "a name of 304 bytes; expected at most 255"),
        (".", 'sweep.file: got ".", which is a folder; expected a file'),
        ("as-fuond.csv", 'no such file in {folder}; expected a file that is there; did you mean "as-found.csv"?'),
        ("no/such.csv", "but there is no folder no; expected a file that is there"),
        ("/".join(["a" * 200] * 40), "which cannot be looked for"),
    ],
)  # fmt: skip
def test_a_file_name_that_is_none(name: str, told: str, tmp_path: Path) -> None:
    """The key, its line, and the folder looked in."""
    (line,) = refused(write_job(tmp_path, ('"as-found.csv"', f'"{name}"')))
    assert line.startswith("unit.toml:61: sweep.file: got ")
    assert told.format(folder=tmp_path) in line
    assert len(line) < 200 + len(str(tmp_path))


def test_a_catalogue_and_a_reference_sweep_are_looked_for_likewise(tmp_path: Path) -> None:
    motion = JOB[JOB.index("[weights.motion]") : JOB.index("[stop]")]
    path = write_job(
        tmp_path,
        ('"springs.csv"', '"sprigns.csv"'),
        (motion, '[weights.motion]\nkind = "reference"\nsweep = "refrence.csv"\n\n'),
    )
    first, second = refused(path)
    assert "weights.motion.sweep: got" in first and f"no such file in {tmp_path}" in first
    assert "catalogue.file: got" in second and 'did you mean "springs.csv"?' in second


def test_a_job_that_is_not_there_names_the_folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)
    with pytest.raises(InputError, match=re.escape(f"none.toml: got no file there, looked in {tmp_path}; expected")):
        load_job("none.toml")


# --- ids that begin with # -----------------------------------------------------------------------------------


def test_a_row_that_begins_like_a_comment_is_told(tmp_path: Path) -> None:
    job = load_job(write_job(tmp_path, springs="# invented\n" + SPRINGS.replace("A2,", "#A2,")))
    assert job.catalogue is not None and "A2" not in {s.id for s in job.catalogue.springs}
    (note,) = job.catalogue.notes
    assert note.startswith(f'{tmp_path}/springs.csv:4: "#A2" begins with #, so the line is read as a comment')
    assert note in job.notes


def test_a_spring_is_not_put_into_a_file_as_a_comment(tmp_path: Path) -> None:
    write_job(tmp_path)
    hung = ["50 g at 14 mm", "100 g at 15 mm"]
    code, _, err = outcome(
        ["spring", *hung, "--free-length", "13 mm", "--append", str(tmp_path / "springs.csv"), "--id", "#9"]
    )
    assert code == 2 and '--id: got "#9", expected a name that does not begin with #' in err
    with pytest.raises(ValueError, match="does not begin with #"):
        read_spring("#9 1.5 14", "mm")


# --- negative advance ----------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("old", "new", "place"),
    [
        ('advance = "4 deg"', 'advance = "-4 deg"', "target.points[2]: got an advance of at most -3.00 deg (distributor)"),
        ('min = "0 deg", max = "1 deg"', 'min = "-3 deg", max = "-1 deg"', "target.points[1]: got an advance of at most -1.00"),
        ('advance = "11 deg"', 'advance = "-11 deg"', "target.maximum: got an advance of at most -10.50 deg"),
    ],
)  # fmt: skip
def test_a_book_that_asks_for_less_than_nothing(old: str, new: str, place: str, tmp_path: Path) -> None:
    (line,) = refused(write_job(tmp_path, (old, new)))
    assert place in line and line.endswith("weights do not retard")


def test_readings_counted_downwards(tmp_path: Path) -> None:
    lines = [line if i == 0 else re.sub(r",(?=\d)", ",-", line, count=1) for i, line in enumerate(SWEEP.splitlines())]
    (line,) = refused(write_job(tmp_path, sweep="\n".join(lines) + "\n"))
    assert line == (
        "as-found.csv: got advances from -13.8 to -0.4 deg, all below 0; expected advance counted upwards from 0"
    )


def test_a_static_larger_than_all_that_is_said_to_include_it(tmp_path: Path) -> None:
    change = ('reading = "± 0.8 deg"', 'basis = "crank"\nstatic = "40 deg"')
    (line,) = refused(write_job(tmp_path, change))
    assert "sweep.static: got 40.0 deg, more than any reading, the largest of which is 13.8 deg (crank)" in line


@pytest.mark.parametrize("advance", ["-0.1", "0"])
def test_readings_that_hardly_leave_zero_are_judged(advance: str, tmp_path: Path) -> None:
    """A little below 0 throughout: the bench's zero; it ended in a traceback."""
    rows = "".join(f"{speed},{advance},{way}\n" for way in ("rising", "falling") for speed in range(300, 1300, 200))
    code, out, _ = outcome(["check", str(write_job(tmp_path, sweep=SWEEP.splitlines()[0] + "\n" + rows))])
    assert code == 3 and "no advance: the weights or the cam bind" in out


# --- what stands above the verdict -----------------------------------------------------------------------------

DOUBTS = {
    "a point above the maximum": (
        ('rpm", advance = "9 deg", tolerance = "1 deg"', 'rpm", min = "8 deg", max = "16 deg"'),
        "At 1000 rpm the target allows 16.0°, but its maximum ends at 11.5° (distributor): one of the two is wrong.",
    ),
    "an advance above the maximum": (
        ('{ speed = "1000 rpm", advance = "9 deg"', '{ speed = "1000 rpm", advance = "13 deg"'),
        "At 1000 rpm the target asks 13.0°, but its maximum ends at 11.5° (distributor): one of the two is wrong.",
    ),
    "drag in N·m": (
        ('"4.5 mN*m"', '"4.5 N*m"'), "The drag of the rubbing block is 4500 mN·m, outside the usual 0 to 40 mN·m:",
    ),
    "friction in N·m": (('"1.0 mN*m"', '"1.0 N*m"'), "The friction is 1000 mN·m, outside the usual 0 to 30 mN·m:"),
    "a post moved far": (
        ('post_travel = ["-0.5 mm", "1.0 mm"]', 'post_travel = ["-0.5 mm", "5.7 mm"]'),
        "The travel of a post (primary post, outward) is 5.7 mm, outside the usual 0 to 3 mm:",
    ),
    "a post that the calliper finds elsewhere": (
        ('free_length = "15.2 mm"\n', 'free_length = "15.2 mm"\nover_posts = "23.0 mm"\n'), "The calliper is used.",
    ),
    "a weight in kg": (("31.5 ± 0.3 g", "0.315 kg"), "The mass of one weight is 315 g, outside the usual 15 to 70 g:"),
}  # fmt: skip


@pytest.mark.parametrize("name", DOUBTS)
def test_a_figure_that_is_probably_a_slip_stands_above_the_verdict(name: str, tmp_path: Path) -> None:
    """In the report of every command, once, and on the sheet; nothing is refused for it."""
    change, told = DOUBTS[name]
    path = write_job(tmp_path, change, without("sweep"))
    for command in ("curve", "plan") if name in ("a point above the maximum", "drag in N·m") else ("curve",):
        code, out, _ = outcome([command, str(path), *(["--html"] if command == "plan" else [])])
        assert code in (0, 3)
        flat = " ".join(out.split())
        assert flat.count(told) == 1
        head = flat[: flat.index(told)]
        assert "CHECK THESE FIGURES FIRST" in head and "margin" not in head and "onset" not in head
    if (page := tmp_path / "unit-plan" / "report.html").is_file():
        shown = re.sub(r"<[^>]+>|[\u200b\u2060]", "", page.read_text(encoding="utf-8").split("</head>")[1])
        shown = " ".join(shown.split())  # also the spaces at which no line breaks
        assert shown.index("Check these figures first") < shown.index("Planned from")
        assert shown.count(told) == 1


def test_sound_figures_are_not_doubted(tmp_path: Path) -> None:
    """A tolerance that reaches a little past the maximum's own is how books are written."""
    assert load_job(write_job(tmp_path)).doubts == ()
    wide = '{ speed = "1000 rpm", advance = "11 deg", tolerance = "1 deg" }'
    close = ('{ speed = "1000 rpm", advance = "9 deg", tolerance = "1 deg" }', wide)
    assert load_job(write_job(tmp_path, close)).doubts == ()
    for path in sorted((ROOT / "examples").glob("*.toml")):
        assert load_any(path).doubts == (), path


def test_a_reading_far_below_zero_is_doubted(tmp_path: Path) -> None:
    job = load_job(write_job(tmp_path, sweep=SWEEP.replace("300,0.4", "300,-40")))
    assert job.doubts == (
        "as-found.csv reads -40.0° (distributor) in line 2: weights do not retard. Check the sign, and where zero "
        "was set.",
    )


# --- all faults in one pass ------------------------------------------------------------------------------------


def test_all_faults_of_all_files_come_at_once(tmp_path: Path) -> None:
    """Faults of shape, of physics, of the target, of the inspection, of both tables and of the folder for the results."""
    path = write_job(
        tmp_path,
        ("breakers = 1\n", "breakers = 1\nspark = 2\n"),  # shape
        ('advance = "4 deg"', 'advance = "-4 deg"'),  # the target
        ('angle = "168 deg"', 'angle = "8 deg"'),  # weights that would retard
        ('rubbing_block = "4.5 mN*m"', 'rubbing_block = "4.5 mm"'),  # shape
        ("[catalogue]", '[condition]\ndwell = "95 deg"\n[vacuum]\nstart = "5 inHg"\n[catalogue]'),  # the inspection
        springs=SPRINGS.replace("A1,1.5,", "A1,x,"),
        sweep=SWEEP.replace("500,6.2,rising", "500,6.2,up"),
    )
    (tmp_path / "unit-plan").write_text("in the way", encoding="utf-8")
    code, out, err = outcome(["plan", str(path)])
    assert code == 2 and out == ""
    for words in (
        "distributor.spark: unknown key",
        "target.points[2]: got an advance",
        "weights.motion: ",
        'drag.rubbing_block: got "4.5 mm"',
        "condition.dwell: got 95.0 deg",
        "vacuum",
        "springs.csv:2: rate:",
        "as-found.csv:3: direction:",
        "unit-plan: got a file where the folder for the results should be",
    ):
        assert words in err, words
    assert len(err.splitlines()) == 9


def test_what_depends_on_a_wrong_key_is_not_told_falsely(tmp_path: Path) -> None:
    """Dwell is judged by the lobes: with those unknown, nothing is said of it."""
    dwell = ("[catalogue]", '[condition]\ndwell = "65 deg"\n[catalogue]')
    lines = refused(write_job(tmp_path, ("lobes = 6", "lobs = 6"), dwell))
    assert [re.sub(r"^unit.toml(:\d+)?: ", "", line).split(":")[0] for line in lines] == [
        "distributor.lobes",
        "distributor.lobs",
    ]


def test_a_part_of_a_job_has_all_its_faults_told(tmp_path: Path) -> None:
    path = tmp_path / "part.toml"
    path.write_text(
        'title = "Part"\n[distributor]\nlobes = 4\nrotation = "clockwise"\n[stop]\nradius = "14 g"\n'
        '[target]\npoints = [{ speed = "500 rpm", max = "-1 deg" }]\n[sweep]\nfile = "none.csv"\n',
        encoding="utf-8",
    )
    with pytest.raises(InputError) as fault:
        load_any(path)
    told = " | ".join(fault.value.faults)
    assert "stop.radius" in told and "target.points[1]" in told and "sweep.file" in told


def test_verify_tells_the_faults_of_job_and_readings_together(tmp_path: Path) -> None:
    path = write_job(tmp_path, ("31.5 ± 0.3 g", "31,5 g"))
    (tmp_path / "left.csv").write_text(SWEEP.replace("500,6.2", "500,x"), encoding="utf-8")
    (tmp_path / "as-left.toml").write_text("[set]\nstop = 3\n", encoding="utf-8")
    code, _, err = outcome(["verify", str(path), str(tmp_path / "left.csv")])
    assert code == 2
    for words in ("weights.mass", "left.csv:3: advance", "as-left.toml: stop: got 3"):
        assert words in err, words


# --- words of a checker ----------------------------------------------------------------------------------------

JARGON = re.compile(
    r"valid|dictionary|instance|tuple|integer|string|datetime|boolean|\bNone\b|\ba [aeio]|greater than|parse|model|field"
)
NASTY: tuple[Any, ...] = (
    True, 7, 6.5, -1, float("inf"), float("nan"), "x", "", [], ["x"], {}, {"x": 1}, [[1]], "2 furlong",
)  # fmt: skip


def keys_of(document: Any, at: tuple[str | int, ...] = ()) -> Iterator[tuple[str | int, ...]]:
    inside = (
        document.items() if isinstance(document, dict) else enumerate(document) if isinstance(document, list) else ()
    )
    for key, value in inside:
        yield (*at, key)
        yield from keys_of(value, (*at, key))


def test_no_word_of_a_checker_reaches_a_person(tmp_path: Path) -> None:
    """Any odd value at any key of the examples."""
    seen = 0
    for path in sorted((ROOT / "examples").glob("*.toml")):
        document = tomllib.loads(path.read_text(encoding="utf-8"))
        for way in keys_of(document):
            for value in NASTY if len(way) < 3 or path.stem == "launch" else NASTY[:9:4]:
                changed: Any = tomllib.loads(path.read_text(encoding="utf-8"))
                inner = changed
                for part in way[:-1]:
                    inner = inner[part]
                inner[way[-1]] = value
                seen += check_words(tmp_path, changed)
    assert seen > 1500


def check_words(folder: Path, document: dict[str, Any]) -> int:
    from recurve.job.messages import faults_in
    from recurve.job.schema import JobModel

    try:
        JobModel.model_validate(document)
    except ValueError as error:
        faults = faults_in(error, "", "unit.toml", JobModel)  # type: ignore[arg-type]
    else:
        return 0
    for fault in faults:
        told = re.sub(r'"[^"]*"', "", fault.message)  # without what was typed
        assert not JARGON.search(told), fault
    return len(faults)


@pytest.mark.parametrize(
    ("old", "new", "told"),
    [
        ("date = 2026-05-04", "date = 2026-05-04T10:00:00", "got 2026-05-04 10:00:00, expected a day without a time of day"),
        ("lobes = 6", 'lobes = "six"', 'distributor.lobes: got "six", expected a whole number'),
        ("lobes = 6", "lobes = true", "distributor.lobes: got true, expected a whole number"),
        ("lobes = 6", "lobes = 0", "distributor.lobes: got 0, expected 1 or more"),
        ("speed_ratio = 2.0", 'speed_ratio = "two"', 'distributor.speed_ratio: got "two", expected a number'),
        (POINTS, 'points = "7"\n', 'target.points: got "7", expected a list in square brackets'),
        (POINTS, 'points = ["7"]\n', 'target.points[1]: got "7", expected a table of speed, min, max and so on'),
        ('pivot = { radius = "21.0 mm" }', 'pivot = "21 mm"', 'motion.pivot: got "21 mm", expected a table of radius, xy'),
        ('basis = "crank"', "", ""),
        ('advance = "13.8 ± 0.3 deg"\n', "", 'stop.advance: missing, expected an angle, such as "1.5 deg"'),
    ],
)  # fmt: skip
def test_a_fault_in_plain_words(old: str, new: str, told: str, tmp_path: Path) -> None:
    if not told:
        old, new, told = "[target]\n", '[target]\nbasis = "engine"\n', 'got "engine", expected "distributor" or "crank"'
    (line,) = refused(write_job(tmp_path, (old, new)))
    assert told in line


# --- thousands of faults, a folder, a terminal -------------------------------------------------------------------


def test_two_thousand_unknown_keys_are_told(tmp_path: Path) -> None:
    path = write_job(tmp_path, ("lobes = 6", "lobes = 6\n" + "".join(f"key_{i} = {i}\n" for i in range(2000))))
    lines = refused(path)
    assert len(lines) == 2000
    assert lines[1999].startswith("unit.toml:2006: distributor.key_1999: unknown key")


@pytest.mark.parametrize("command", ["plan", "check", "draw", "timing"])
def test_a_folder_that_cannot_be_written_is_found_before_the_work(
    command: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = write_job(tmp_path, ("[stop]", '[timing]\nstatic = "8 deg"\n[stop]'))
    (tmp_path / "unit-plan").write_text("in the way", encoding="utf-8")
    worked: list[str] = []
    for name in ("recurve.planner.plan.fit_sweep", "recurve.diagnosis.check.fit_sweep"):
        monkeypatch.setattr(name, lambda job: worked.append("a fit"))
    code, _, err = outcome([command, str(path)])
    assert code == 2 and "unit-plan: got a file where the folder for the results should be" in err
    assert worked == []
    assert (tmp_path / "unit-plan").read_text(encoding="utf-8") == "in the way"


def test_a_folder_is_tried_without_a_trace(tmp_path: Path) -> None:
    check_writable(tmp_path / "new")
    check_writable(tmp_path)
    assert list(tmp_path.iterdir()) == []
    with pytest.raises(InputError, match="cannot be written"):
        check_writable(tmp_path / "no" / "new")
    with pytest.raises(InputError, match="cannot be written"):
        check_writable(tmp_path / ("x" * 300))


def test_a_unit_that_is_only_inspected_needs_no_folder(tmp_path: Path) -> None:
    path = tmp_path / "unit.toml"
    path.write_text(
        'title = "Part"\n[distributor]\nlobes = 4\nrotation = "clockwise"\n[condition]\nend_float = "0.2 mm"\n',
        encoding="utf-8",
    )
    (tmp_path / "unit-plan").write_text("in the way", encoding="utf-8")
    assert outcome(["check", str(path)])[0] != 2


def test_long_faults_wrap_on_a_terminal_and_not_in_a_pipe(tmp_path: Path) -> None:
    path = write_job(tmp_path, ("31.5 ± 0.3 g", "31.5 ± 0 g"), ("lobes = 6", "lobs = 6"))
    command = [sys.executable, "-m", "recurve", "curve", path.name]
    piped = subprocess.run(command, cwd=tmp_path, capture_output=True, text=True, check=False).stderr
    assert max(map(len, piped.splitlines())) > 100 and len(piped.splitlines()) == 3
    outside, inside = pty.openpty()
    with subprocess.Popen(command, cwd=tmp_path, stdout=inside, stderr=inside) as process:
        os.close(inside)
        shown = b""
        while True:
            try:
                more = os.read(outside, 65536)
            except OSError:  # how Linux tells the end of a terminal
                break
            if not more:
                break
            shown += more
        process.wait()
    os.close(outside)
    lines = shown.decode("utf-8").replace("\r\n", "\n").splitlines()
    assert max(map(len, lines)) <= 80
    assert " ".join(" ".join(lines).split()) == " ".join(piped.split())


def test_a_catalogue_with_nothing_odd_has_no_notes(tmp_path: Path) -> None:
    catalogue = load_job(write_job(tmp_path, springs="# a comment, of words\n" + SPRINGS)).catalogue
    assert isinstance(catalogue, Catalogue) and catalogue.notes == ()


# --- found by broken files ----------------------------------------------------------------------------------------


def test_a_spring_of_a_huge_index_overflows_nothing() -> None:
    """33500/exp(0.105 C) psi (10-41) is next to nothing for it; the band round it stays: ± 1000 (4 − (C − 3)/6.5) psi."""
    low, high = preferred_initial_stress(1e4)
    psi = 6894.757
    assert float(high - low) == pytest.approx(2000 * (4 - (1e4 - 3) / 6.5) * psi, rel=1e-6)


def test_a_primary_post_on_the_shaft_s_axis_is_judged(tmp_path: Path) -> None:
    """It has no lever: no spring there does anything, and nothing is divided by it."""
    far = (
        'far = { on = "cam", radius = "12 mm", angle = "75 deg" }',
        'far = { on = "cam", radius = "0 mm", angle = "75 deg" }',
    )
    code, out, err = outcome(["check", str(write_job(tmp_path, far))])
    assert code in (2, 3) and (out or err)


@pytest.mark.parametrize(
    ("reading", "low", "doubted"), [(0.5, -1.9, False), (0.5, -2.1, True), (1.0, -2.9, False), (1.0, -3.1, True)]
)
def test_how_far_below_zero_is_doubted(reading: float, low: float, doubted: bool) -> None:
    """More than 2° and more than three times the ± of a reading below no advance at all; never of a timing light whose static
    is not known."""
    speed, advance = np.array([30.0, 60.0]), np.radians([low, 5.0])
    sweep = Sweep(speed, advance, np.array([True, True]), np.array([2, 3]), "log.csv", np.radians(reading), 1.0)
    assert bool(sweep_doubts(sweep)) == doubted
    assert sweep_doubts(replace(sweep, static_known=False)) == []


@pytest.mark.parametrize(
    ("ratio", "most", "doubted"), [(2.0, 19, False), (2.0, 25, True), (1.0, 25, False), (1.0, 36, True)]
)
def test_a_stop_is_doubted_by_the_shaft_that_it_turns_with(
    ratio: float, most: int, doubted: bool, tmp_path: Path
) -> None:
    """Up to 20° at half the crank's speed, up to 35° on the crank itself (`data/ranges.toml`; common practice, no source)."""
    job = load_job(write_job(tmp_path, without("sweep")))
    stop = job.model.stop.model_copy(update={"advance": Quantity(np.radians(most), np.radians(0.3))})
    shaft = job.model.distributor.model_copy(update={"speed_ratio": ratio})
    model = job.model.model_copy(update={"stop": stop, "distributor": shaft})
    of_stop = [d for d in unit_doubts(model, ReferenceSlope(1.0, (0.0,), ((0.0,),)), ()) if "maximum advance" in d]
    assert len(of_stop) == int(doubted)
