"""A sweep whose readings are all alike: where it was read tells whether the weights bind, all is in, or none has begun.

The figures are invented. Onset at 500 rpm at the latest is common practice, no source.
"""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest
from commands import run

HEAD = 'title = "Flat, invented"\n[distributor]\nlobes = 4\nrotation = "clockwise"\n'
# 0 at 400 rpm, 6 at 700, 11 at 1000 rpm and above.
BOOK = """[target]
points = [
  { speed = "400 rpm", min = "0 deg", max = "2 deg" },
  { speed = "700 rpm", min = "5 deg", max = "7 deg" },
  { speed = "1000 rpm", min = "10 deg", max = "12 deg" },
]
maximum = { advance = "11 deg", tolerance = "1 deg" }
"""
TOP = "1000 11.2 r, 1100 11.2 r, 1200 11.0 r, 1300 10.9 r"
BINDS, IN, NOT_BEGUN = "the weights or the cam bind", "all the advance in", "ends before the advance begins"


def checked(folder: Path, rows: str, book: str = BOOK) -> dict[str, Any]:
    """The check of a job of book and readings alone; `rows` as "320 0 r, 320 4.4 f": rpm, degrees, direction."""
    import json

    ways = {"r": "rising", "f": "falling"}
    lines = [f"{speed},{advance},{ways[way]}" for speed, advance, way in (row.split() for row in rows.split(","))]
    (folder / "read.csv").write_text("speed [rpm],advance [deg],direction\n" + "\n".join(lines) + "\n", "utf-8")
    text = f'{HEAD}{book}[sweep]\nfile = "read.csv"\nreading = "± 0.3 deg"\n'
    (folder / "unit.toml").write_text(text, encoding="utf-8")
    code, out, err = run(["check", str(folder / "unit.toml"), "--json"])
    assert code in (0, 3), err
    told: dict[str, Any] = json.loads(out)
    return told


@pytest.mark.parametrize(
    ("rows", "book", "what"),
    [
        (TOP, BOOK, IN),
        (TOP, "", IN),
        ("1000 8 r, 1100 8 r, 1200 8.1 r, 1300 8 r", BOOK, IN),  # short of 11°, but a stop, not weights
        ("700 6 r, 800 6 r, 1000 6 r, 1200 6.1 r", BOOK, IN),  # right at 700 rpm, then a stop that is built up
        ("300 6 r, 600 6.1 r, 900 6 r, 1200 6.2 r", BOOK, BINDS),  # 6° at 300 rpm, and at 1200 rpm no more
        ("300 0 r, 600 0.1 r, 900 0 r, 1200 0.2 r", BOOK, BINDS),
        ("300 0 r, 600 0.1 r, 900 0 r, 1200 0.2 r", "", BINDS),
        ("100 0 r, 200 0 r, 250 0 r, 300 0 r", BOOK, NOT_BEGUN),
        ("200 0 r, 300 0 r, 450 0.2 r", "", NOT_BEGUN),
    ],
)
def test_what_a_flat_sweep_is(rows: str, book: str, what: str, tmp_path: Path) -> None:
    told = checked(tmp_path, rows, book)
    first = [f["what"] for f in told["findings"]]
    assert any(what in f for f in first), first
    assert sum(any(w in f for w in (BINDS, IN, NOT_BEGUN)) for f in first) == 1
    assert (told["verdict"] == "mechanical repair first") == (what == BINDS)


def test_a_flat_top_says_nothing_of_idle_and_of_no_spring(tmp_path: Path) -> None:
    """Nothing was read below 1000 rpm, where no engine idles (common practice, no source)."""
    told = checked(tmp_path, TOP + ", 1300 11.0 f, 1200 11.1 f, 1000 11.2 f")
    assert not any("come back" in f["what"] or "springs pull" in f["what"] for f in told["findings"])
    assert told["strength"] == []


def test_a_flat_top_above_its_band_is_a_stop(tmp_path: Path) -> None:
    """13.5° where 10 to 12° are asked."""
    told = checked(tmp_path, "1000 13.5 r, 1200 13.5 r, 1400 13.4 r, 1400 13.5 f, 1200 13.5 f, 1000 13.5 f")
    assert any("stop" in f["what"] for f in told["findings"]), told["findings"]
