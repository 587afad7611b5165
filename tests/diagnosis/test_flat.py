"""A sweep whose readings are all alike: where it was read tells whether the weights bind, all is in, or none has begun.

The figures are invented. Onset at 500 rpm at the latest is common practice, no source.
"""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from commands import run
from integrator import bench
from longer import some
from mechanisms import Mechanism
from synthetic import all_in, as_csv
from whole_units import whole
from worn import Way

from recurve.diagnosis.check import check_unit
from recurve.diagnosis.exchanged import springs_may_hold
from recurve.job.read import load_job

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


# --- springs that hold the weights home as well as something that binds -----------------------------------------


def changed_over(one: Mechanism) -> Mechanism:
    """The mechanism with its two springs on each other's posts."""
    first, second = one.springs
    hung = tuple(
        replace(p, rate=s.rate, tension=s.tension, free_length=s.free_length)
        for s, p in ((second, first), (first, second))
    )
    return replace(one, springs=hung)


@pytest.mark.parametrize("seed", range(980, 992))
def test_exchanged_springs_that_hold_the_weights_home(seed: int, tmp_path: Path) -> None:
    """How far the unit goes with its springs exchanged is what `integrator` makes it; between 0.5° and 2.5° either is right, by
    the ± of what was measured."""
    made = whole(seed, "sound", "known", Way(count=14))
    job = made.job(tmp_path)
    assert job.sweep is not None
    curve = bench(changed_over(made.one), 0.005, 0.005)
    curve.stand_still()
    top = float(curve.go_through(np.array([np.degrees(float(job.sweep.speed.max())) / 6.0]))[0])
    if top < 0.5 or top > 2.5:
        assert springs_may_hold(job, job.sweep) == (top < 0.5), top


def test_springs_that_hold_the_weights_home_as_they_hang(tmp_path: Path) -> None:
    """Its springs changed over and then measured: the secondary pulls 200 N at rest, against which the weights do nothing."""
    job = whole(8202, "springs changed over", "known", Way()).job(tmp_path)
    assert job.sweep is not None and springs_may_hold(job, job.sweep)
    assert "look at the springs first" in check_unit(job).findings[0].remedy


@pytest.mark.parametrize(("seed", "held"), some([(980, True), (983, False)], 2))
def test_springs_are_looked_at_before_anything_is_stripped(seed: int, held: bool, tmp_path: Path) -> None:
    """A sweep without any advance. Of the first unit exchanged springs make one, as `integrator` says; of the second not."""
    made = whole(seed, "sound", "known", Way(count=14))
    curve = bench(changed_over(made.one), 0.005, 0.005)
    up = np.round(np.linspace(300.0, 1.15 * all_in(bench(made.one, 0.005, 0.005)), 12))
    curve.stand_still()
    assert (float(curve.go_through(up).max()) < 0.5) == held
    made.job(tmp_path)
    noise = np.round(np.random.default_rng(seed).uniform(0.0, 0.3, 2 * len(up) - 1), 1)
    text = as_csv(np.concatenate([up, up[-2::-1]]), noise, len(up))
    (tmp_path / "as-found.csv").write_text(text, encoding="utf-8")
    check = check_unit(load_job(tmp_path / "whole.toml"))
    first = check.findings[0]
    assert BINDS in first.what and check.verdict == "mechanical repair first"
    assert ("exchanged" in first.what) == held
    assert ("look at the springs first" in first.remedy) == held
