"""A drawer of springs changed: what was measured is noted beside a row's own figures, a spring is taken; nothing else changes.

The drawers are invented; what must stand in them afterwards is written by hand.
"""

from __future__ import annotations

import numpy as np
import pytest

from recurve.errors import InputError
from recurve.job.drawer import noted_in, taken_in
from recurve.job.tables import catalogue_of
from recurve.output.drawer import noted_words
from recurve.springs.noted import Noted
from recurve.springs.spring import Catalogue, Spring
from recurve.units import Quantity

HEAD = "id,rate [N/mm],free_length [mm],quantity"
DRAWER = f"""# the small drawer, left
{HEAD}
A1,0.8,13.6,1
  # A9,1,14,2  gone to a friend
"B, stiff",1.9,14.8,2

C1,2,15,
"""
RATE = Quantity(850.0, 17.0)


def read(content: bytes) -> Catalogue:
    """The drawer as a plan reads it."""
    faults: list[str] = []
    found = catalogue_of(content.decode("utf-8-sig"), "d.csv", faults)
    assert found is not None, faults
    return found


def spring(content: bytes, identity: str) -> Spring:
    """One of its springs."""
    return next(s for s in read(content).springs if s.id == identity)


def test_a_note_changes_the_header_and_its_row_alone() -> None:
    noted = Noted(RATE, None, None, 'weighed, "2026-05-04"')
    content, changed = noted_in(DRAWER.encode(), "d.csv", "B, stiff", noted)
    head = f"{HEAD},measured_rate [N/mm],measured_rate_pm [N/mm],measured_from"
    row = '"B, stiff",1.9,14.8,2,0.85,0.017,"weighed, ""2026-05-04"""'
    assert content.decode() == DRAWER.replace(HEAD, head).replace('"B, stiff",1.9,14.8,2', row)
    assert changed == ("rate",)
    assert noted_in(content, "d.csv", "B, stiff", noted) == (content, ())  # the same weighing once


@pytest.mark.parametrize("mark", [b"", b"\xef\xbb\xbf"])
def test_marks_line_ends_and_a_file_without_a_last_one_are_kept(mark: bytes) -> None:
    before = mark + DRAWER.replace("\n", "\r\n").rstrip().encode()
    content, _ = noted_in(before, "d.csv", "C1", Noted(RATE, from_="weighed"))
    assert content.startswith(mark + b"#") and content.endswith(b"C1,2,15,,0.85,0.017,weighed")
    assert content.count(b"\n") == content.count(b"\r\n") == before.count(b"\r\n")


def test_inches_stay_inches() -> None:
    """0.85 N/mm is 4.8536 lbf/in: 1 lbf/in is 0.175127 N/mm (exactly 4.4482216/25.4)."""
    drawer = b"id,free_length [in],rate [lbf/in],quantity\nA1,0.5,4.6,1\n"
    content, _ = noted_in(drawer, "d.csv", "A1", Noted(RATE, from_="weighed"))
    assert content.splitlines()[1] == b"A1,0.5,4.6,1,4.8536,0.097073,weighed"
    assert spring(content, "A1").rate == pytest.approx(850.0, rel=1e-4)


def test_the_better_known_figure_stays() -> None:
    first, _ = noted_in(DRAWER.encode(), "d.csv", "A1", Noted(RATE, Quantity(13.7e-3, 0.05e-3), None, "one"))
    worse, changed = noted_in(first, "d.csv", "A1", Noted(Quantity(800.0, 40.0), None, None, "two"))
    assert changed == () and worse == first
    better, changed = noted_in(
        first, "d.csv", "A1", Noted(Quantity(840.0, 4.0), Quantity(13.9e-3, 0.1e-3), None, "three")
    )
    assert changed == ("rate",) and b"A1,0.8,13.6,1,0.84,0.004,13.7,0.05,one; three" in better
    found = spring(better, "A1")
    assert (found.rate, found.free_length) == (pytest.approx(840.0), pytest.approx(13.7e-3))


def test_what_counts_in_a_plan() -> None:
    """One spring in the row: as measured, with its own ±. Two, or any number: the row's own figures, and it is said why."""
    content = DRAWER.encode()
    for identity in ("A1", "B, stiff", "C1"):
        content, _ = noted_in(content, "d.csv", identity, Noted(RATE, None, Quantity(0.2, 0.05), "weighed"))
    single, two, ordered = (spring(content, i) for i in ("A1", "B, stiff", "C1"))
    assert (single.rate, single.rate_limit) == (pytest.approx(850.0), pytest.approx(0.02))
    assert (single.initial_tension, single.tension_limit) == (pytest.approx(0.2), pytest.approx(0.05))
    assert (two.rate, two.rate_limit, ordered.rate) == (pytest.approx(1900.0), None, pytest.approx(2000.0))
    notes = " ".join(read(content).notes)
    assert "A1: counted with as measured" in notes and "B, stiff, C1: one spring of the row was measured" in notes
    none_left = content.replace(b"A1,0.8,13.6,1", b"A1,0.8,13.6,0")
    assert spring(none_left, "A1").rate == pytest.approx(800.0)


def test_a_spring_is_taken_once_for_the_same_unit() -> None:
    content, why = taken_in(DRAWER.encode(), "d.csv", "B, stiff", "launch.toml primary")
    assert why == "" and b'"B, stiff",1.9,14.8,1,launch.toml primary\n' in content
    assert taken_in(content, "d.csv", "B, stiff", "launch.toml primary") == (content, "was taken before")
    content, why = taken_in(content, "d.csv", "B, stiff", "tractor.toml primary")
    assert why == "" and spring(content, "B, stiff").quantity == 0
    assert taken_in(content, "d.csv", "B, stiff", "a third")[1].startswith("none is left")
    assert taken_in(content, "d.csv", "C1", "a third") == (content, "can be ordered, so there is no count")


@pytest.mark.parametrize(
    ("content", "words"),
    [
        (b"\xff", "not UTF-8"),
        (b"speed [rpm],advance [deg]\n1,2\n", "unknown column"),
        (DRAWER.encode().replace(b"A1,", b"A2,"), 'no row "A1"'),
        (f"{HEAD},measured_rate [N/mm]\nA1,1,13,1,1.1\n".encode(), "measured_rate_pm: got an empty cell"),
        (f"{HEAD},measured_rate [N/mm],measured_rate_pm [N/mm]\nA1,1,13,1,1.1,-2\n".encode(), "expected more than 0"),
    ],
)
def test_what_is_no_drawer_is_refused(content: bytes, words: str) -> None:
    with pytest.raises(InputError, match=words):
        noted_in(content, "d.csv", "A1", Noted(RATE, from_="weighed"))


def test_any_drawer_keeps_all_else() -> None:
    """Drawers of random cells, quoted, spaced and short: after a note each row still reads as before, and taking the new columns
    away gives the old rows."""
    random = np.random.default_rng(4)
    for _ in range(60):
        ids = [f"S{i}" + ("", " x", ", y", ' "z"')[random.integers(4)] for i in range(5)]
        rows = []
        for one in ids:
            quoted = '"' + one.replace('"', '""') + '"' if set(one) & set('," ') or random.random() < 0.3 else one
            blank = " " * int(random.integers(2))
            figures = f"{blank}{random.uniform(1, 3):.3f},{random.uniform(12, 16):.2f}{blank}"
            rows.append(f"{quoted},{figures}" + ",1" * int(random.integers(2)))
            rows += ["", "# a note, with a comma"][: int(random.integers(3))]
        text = "\n".join([HEAD, *rows]) + "\n"
        chosen = ids[random.integers(5)]
        content, _ = noted_in(text.encode(), "d.csv", chosen, Noted(None, Quantity(14e-3, 1e-4), None, "weighed"))
        before, after = read(text.encode()).springs, read(content).springs
        assert [s.id for s in before] == [s.id for s in after]
        assert [s.rate for s in before] == [s.rate for s in after]
        old, new = text.splitlines(), content.decode().splitlines()
        assert len(old) == len(new) and sum(a != b for a, b in zip(old, new, strict=True)) == 2
        assert all(b.startswith(a) for a, b in zip(old, new, strict=True))


def test_what_rounding_left_is_written_as_nothing() -> None:
    """An initial tension of 6e-15 N, known to 0.31 N, is none; one of 0.02 N, less than its ±, stays."""
    for value, cell in ((5.995e-15, b",0,0.31,"), (0.02, b",0.02,0.31,")):
        found = Noted(None, None, Quantity(value, 0.31), "sweep")
        content, changed = noted_in(DRAWER.encode(), "d.csv", "A1", found)
        assert cell in content and ("0 ± 0.31 N" in noted_words(found, changed)) == (value < 1e-3)
