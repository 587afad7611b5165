"""`recurve spring` as a person runs it: readings in many units, the report, the row in a catalogue."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from commands import no_nan, run

from recurve.job.tables import read_catalogue

TWO = ["100 g at 14.2 mm", "300 g at 16.1 mm"]
HEADER = "id,rate [N/mm],free_length [mm],initial_tension [N],wire [mm],outer [mm],coils,material,quantity\n"
Patch = pytest.MonkeyPatch


def test_example_as_text() -> None:
    """0.2 kg · 9.80665 m/s² over 1.9 mm is 1.0323 N/mm (hand)."""
    code, out, err = run(["spring", *TWO, "--free-length", "13.2 mm"])
    assert (code, err) == (0, "")
    assert max(len(line) for line in out.splitlines()) <= 80
    for words in ("1.032 ±", "N/mm", "lbf/in", "two standard uncertainties", "initial tension", "13.20 mm", "± 1%"):
        assert words in out


SAME = [
    ["0.980665 N at 14.2 mm", "2.941995 N at 16.1 mm"],
    ["0.1 kg @ 0.559055 in", "0.3 kg @ 0.633858 in"],
    ["100 gf at 14.2 mm", "300 gf at 16.1 mm"],
    ["3.527396 oz at 14.2 mm", "10.582189 oz at 16.1 mm"],
    ["0.2204623 lbf at 1.42 cm", "0.6613868 lb at 1.61 cm"],
]


@pytest.mark.parametrize("readings", SAME)
def test_any_unit_gives_the_same(readings: list[str]) -> None:
    """By hand 0.2 kg · 9.80665 m/s² / 1.9 mm = 1.0323 N/mm. Of lengths ± 0.05 mm and pulls ± 1 %, two standard
    uncertainties are 2 √(2 (1.0323 · 0.05)² + 0.0098² + 0.0294²) / (√3 · 1.9) = 0.0482 N/mm."""
    code, out, _ = run(["spring", *readings, "--free-length", "13.2 mm", "--json"])
    facts = json.loads(out)
    assert code == 0
    assert facts["rate_n_per_mm"] == pytest.approx(1.0323, rel=1e-4)
    assert facts["rate_2u_n_per_mm"] == pytest.approx(0.0482, abs=3e-4)
    no_nan(facts)


def test_given_limits_are_taken() -> None:
    """All ± given: nothing is assumed. u(k) by hand: √2 · √(0.01² + 1²·0.02²)/√3 / 2 mm = 0.009129 N/mm, doubled."""
    readings = ["1 ± 0.01 N at 14 ± 0.02 mm", "3 N ± 0.01 N at 16 mm +/- 0.02 mm"]
    code, out, _ = run(["spring", *readings, "--json"])
    facts = json.loads(out)
    assert code == 0
    assert facts["rate_2u_n_per_mm"] == pytest.approx(2 * 0.0091287, abs=1e-5)
    assert facts["initial_tension_n"] is None
    assert [n for n in facts["notes"] if "no ±" in n] == []


def test_a_wire_that_does_not_fit_is_said() -> None:
    described = ["--wire", "0.5 mm", "--outer", "4.6 mm", "--coils", "10.5", "--material", "stainless"]
    code, out, _ = run(["spring", *TWO, "--free-length", "12.9 mm", *described])
    assert code == 0
    assert "By its wire and coils its rate is 0." in " ".join(out.split())
    assert "may be stretched to" in " ".join(out.split())


def test_too_uncertain_is_no(tmp_path: Path) -> None:
    path = tmp_path / "s.csv"
    path.write_text(HEADER + "A,1,14,0,,,,,\n")
    arguments = ["spring", "100 g at 14.2 mm", "110 g at 14.3 mm", "--free-length", "13.2 mm"]
    code, out, _ = run([*arguments, "--append", str(path), "--id", "B"])
    assert code == 3
    assert "TOO UNCERTAIN" in out
    assert path.read_text() == HEADER + "A,1,14,0,,,,,\n"


# --- the row in a catalogue -----------------------------------------------------------------------------------


def append(path: Path, *more: str) -> tuple[int, str, str]:
    given = ["spring", *TWO, "--free-length", "13.8 mm", "--append", str(path), *more]
    return run(given)


def test_a_row_is_added_and_read_again(tmp_path: Path) -> None:
    path = tmp_path / "s.csv"
    path.write_text(HEADER + "A,1,14,0,,,,,\n")
    code, _, _ = append(path, "--id", "N, 7", "--quantity", "2")
    assert code == 0
    assert path.read_text().startswith(HEADER + "A,1,14,0,,,,,\n")
    found = read_catalogue(path, "s.csv", [])
    assert found is not None
    new = found.springs[-1]
    assert (new.id, new.quantity) == ("N, 7", 2)
    assert new.rate == pytest.approx(1032.28, rel=1e-4)
    assert new.free_length == pytest.approx(13.8e-3)
    assert new.initial_tension == pytest.approx(0.980665 - 1.032279 * 0.4, rel=1e-3)  # hand: on the line at 13.8 mm


def test_the_file_keeps_its_ways(tmp_path: Path) -> None:
    """Its own units, order of columns, comments, mark and line ends; a last line without an end gets one."""
    path = tmp_path / "s.csv"
    before = b"\xef\xbb\xbf# my shelf\r\nfree_length [in],ID,initial_tension [lbf],rate [lbf/in]\r\n0.55,A,0,6"
    path.write_bytes(before)
    code, _, err = append(path, "--id", "B", "--wire", "0.55 mm")
    assert code == 0
    assert "no column for wire" in err
    after = path.read_bytes()
    assert after.startswith(before + b"\r\n")
    assert after.endswith(b"\r\n")
    cells = after.decode("utf-8-sig").splitlines()[-1].split(",")
    assert cells[1] == "B"
    assert [float(cells[i]) for i in (0, 2, 3)] == pytest.approx([13.8 / 25.4, 0.12763, 5.8945], rel=1e-3)


def test_a_catalogue_is_begun(tmp_path: Path) -> None:
    path = tmp_path / "new.csv"
    assert append(path, "--id", "A")[0] == 0
    assert path.read_text().startswith(HEADER)
    assert append(path, "--id", "B")[0] == 0
    found = read_catalogue(path, "new.csv", [])
    assert found is not None and [s.id for s in found.springs] == ["A", "B"]


BAD_FILES = [
    (HEADER + "A,1,14,0,,,,,\n", '--id: got "A"'),
    ("id,free_length [mm],wire [mm],outer [mm],coils,material\n", 'no column "rate"'),
    ("id,rate [N/mm],free_length [mm]\nX,1,14\n", 'no column "initial_tension"'),
    ("id;rate;free_length\n", "expected"),
    (HEADER + "X,-1,14,0,,,,,\n", "expected more than 0"),
]


@pytest.mark.parametrize(("text", "words"), BAD_FILES)
def test_a_file_that_cannot_take_it_is_left_alone(text: str, words: str, tmp_path: Path) -> None:
    path = tmp_path / "s.csv"
    path.write_text(text)
    code, out, err = append(path, "--id", "A")
    assert (code, out) == (2, "")
    assert words in err
    assert path.read_text() == text
    assert list(tmp_path.iterdir()) == [path]


BAD = [
    (["100 g at 14.2 mm"], ["expected two or more"]),
    (["100 g", "200 g at 15 mm"], ['reading 1: got "100 g", expected a weight and a length']),
    (
        ["100 mm at 14 mm", "200 g at 15 g"],
        ['reading 1: got "100 mm at 14 mm"', "weight such as", 'reading 2: got "200 g at 15 g"'],
    ),
    (["100 at 14 mm", "0 g at 15 mm"], ["no unit", "expected more than 0"]),
    (["1,5 N at 14 mm", "2 N at 15 mm"], ["comma"]),
    ([*TWO, "--material", "musc"], ['--material: got "musc"', 'did you mean "music"?']),
    ([*TWO, "--wire", "3 mm", "--outer", "4 mm"], ["--outer: got 4.00 mm, expected over twice"]),
    ([*TWO, "--coils", "-4"], ["--coils"]),
    ([*TWO, "--free-length", "13 furlong per hour"], ["--free-length"]),
    (["300 g at 14.2 mm", "100 g at 16.1 mm"], ["smaller pull at a greater length"]),
    ([*TWO, "--append", "x.csv"], ["--id: missing"]),
    ([*TWO, "--append", "x.csv", "--id", "A"], ["--free-length: missing"]),
]


@pytest.mark.parametrize(("arguments", "words"), BAD)
def test_bad_input(arguments: list[str], words: list[str], tmp_path: Path, monkeypatch: Patch) -> None:
    monkeypatch.chdir(tmp_path)
    code, out, err = run(["spring", *arguments])
    assert (code, out) == (2, "")
    for part in words:
        assert part in err
    assert "Traceback" not in err
    assert list(tmp_path.iterdir()) == []


def test_a_note_adds_no_spring(tmp_path: Path) -> None:
    """The row that is there gets the note; nothing is said of a spring added, and no row is."""
    drawer = tmp_path / "springs.csv"
    drawer.write_text("id,rate [N/mm],free_length [mm],quantity\nS2,0.8,11.97,1\n", encoding="utf-8")
    readings = ["2 N @ 14.4 mm", "4 N @ 16.8 mm", "6 N @ 19.3 mm"]
    code, out, err = run(
        ["spring", *readings, "--free-length", "12 mm", "--note", "springs.csv", "--id", "S2"], tmp_path
    )
    assert code == 0, err
    assert "Added" not in out and "S2: noted rate" in out
    assert len(drawer.read_text(encoding="utf-8").splitlines()) == 2


def noted(folder: Path, row: str, readings: list[str], free: str) -> str:
    """What is told of a spring noted in this row, without line ends."""
    drawer = folder / "springs.csv"
    drawer.write_text(f"id,rate [N/mm],free_length [mm],quantity\n{row}\n", encoding="utf-8")
    code, out, err = run(["spring", *readings, "--free-length", free, "--note", "springs.csv", "--id", "S2"], folder)
    assert code == 0, err
    return " ".join(out.split())


def test_a_spring_that_is_plainly_another_is_asked_about(tmp_path: Path) -> None:
    """By hand: 2 N on 0.61 mm is 3.27 N/mm, where the row says 0.436 N/mm. One of 0.45 N/mm, 3 % off, is the row's."""
    stiff = noted(tmp_path, "S2,0.436,11.32,1", ["2 N @ 12.00 mm", "4 N @ 12.612 mm", "6 N @ 13.224 mm"], "11.3 mm")
    assert "the row says rate 0.436 N/mm, and 3.268 N/mm was measured: is this the spring of that row?" in stiff
    right = noted(tmp_path, "S2,0.436,11.32,1", ["1 N @ 13.52 mm", "2 N @ 15.74 mm", "3 N @ 17.96 mm"], "11.3 mm")
    assert "S2: noted rate 0.45" in right and "the spring of that row" not in right
    long = noted(tmp_path, "S2,0.436,9.0,1", ["1 N @ 13.52 mm", "2 N @ 15.74 mm", "3 N @ 17.96 mm"], "11.3 mm")
    assert "the row says free length 9 mm, and 11.3 mm was measured" in long


def test_a_length_that_is_not_noted_is_told(tmp_path: Path) -> None:
    """By hand: the line through the readings reaches 0 N at 12.00 mm, a millimetre past the coils closed."""
    readings = ["1 N @ 14.22 mm", "2 N @ 16.44 mm", "3 N @ 18.67 mm"]
    told = noted(tmp_path, "S2,0.45,11.0,1", readings, "11.0 mm")
    assert "noted rate" in told and "noted free length" not in told and "Its free length is not noted" in told
    assert "until it is 11.99 mm long" in told or "until it is 12.00 mm long" in told
