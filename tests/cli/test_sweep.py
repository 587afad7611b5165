"""Readings taken one by one in a pseudo-terminal: none lost to a kill, each against its band, misfits doubted aloud."""

from __future__ import annotations

import math
import re
from pathlib import Path

import numpy as np
import pytest
from checkout import EXAMPLES
from jobs import without, write_job
from terminal import Terminal

from recurve.errors import InputError
from recurve.job.live import Reading, SweepFile, band_at, band_words, misfits, turned
from recurve.job.model import FileBasis
from recurve.job.read import load_job
from recurve.physics.target import Band, Target

RPM = math.pi / 30  # rad/s
TYPED = ["300 0.4", "500 4.2", "700 6.9", "1000 9.1", "1200 10.9"]


def lines_of(path: Path) -> list[str]:
    return path.read_text(encoding="utf-8").splitlines()[1:]


def test_kill_in_the_middle_loses_no_reading(tmp_path: Path) -> None:
    """Whenever the prompt is back, every reading is in the file: killed there, and gone on with."""
    job = write_job(tmp_path)
    terminal = Terminal(["sweep", str(job), "--to", "left.csv"], tmp_path)
    terminal.wait()
    for count, line in enumerate(TYPED, 1):
        terminal.type(line)
        text = terminal.wait() or ""
        assert len(lines_of(tmp_path / "left.csv")) == count
        assert f"{count}: {line.split()[0]} rpm" in text
    terminal.type("0")
    terminal.kill()
    assert [x.replace(",", " ") for x in lines_of(tmp_path / "left.csv")] == [f"{x} rising" for x in TYPED]
    again = Terminal(["sweep", str(job), "--to", "left.csv"], tmp_path)
    assert "5 readings are in left.csv; going on, rising." in (again.wait() or "")
    for line in ("down", "1000 9.4", "nonsense", "500 4.6", "undo", "500 4.5", "end", "0.1"):
        again.type(line)
        again.wait()
    assert again.ended() == 0, again.shown
    assert lines_of(tmp_path / "left.csv")[5:] == ["1000,9.4,falling", "500,4.5,falling"]
    assert re.search(rf"recurve verify \S.*{job.name}'? left.csv", " ".join(again.shown.split()))


def test_a_job_without_a_sweep_is_given_one(tmp_path: Path) -> None:
    job = write_job(tmp_path, without("sweep"))
    (tmp_path / "as-found.csv").unlink()
    before = job.read_text(encoding="utf-8")
    terminal = Terminal(["sweep", "unit.toml"], tmp_path)
    terminal.wait()
    for line in ("distributor", "0.8", "", "250 rpm", "300 0.4", "900 12", "down", "500 7.1", "end", ""):
        terminal.type(line)
        terminal.wait()
    assert terminal.ended() == 0, terminal.shown
    assert job.read_text(encoding="utf-8").startswith(before)  # only added to
    sweep = load_job(job).sweep
    assert sweep is not None and sweep.zeroed_at is not None
    assert sweep.zeroed_at / RPM == pytest.approx(250)
    assert list(np.degrees(sweep.advance)) == pytest.approx([0.4, 12, 7.1])


def test_a_line_cut_short_is_taken_off(tmp_path: Path) -> None:
    path = tmp_path / "a.csv"
    path.write_text("# mine\nspeed [rpm],advance [deg],direction\n300,0.4,rising\n500,6", encoding="utf-8")
    file = SweepFile(path)
    assert len(file.readings) == 1
    file.append(file.parse("600 7", rising=True))
    assert path.read_text(encoding="utf-8").endswith("300,0.4,rising\n600,7,rising\n")
    assert path.read_text(encoding="utf-8").startswith("# mine\n")


def test_units_of_the_file_and_of_the_reading(tmp_path: Path) -> None:
    path = tmp_path / "a.csv"
    path.write_text("speed [rev/s],advance [rad],direction\n", encoding="utf-8")
    file = SweepFile(path)
    file.append(file.parse("600 rpm 9 deg", rising=False))
    assert path.read_text(encoding="utf-8").splitlines()[1] == f"10,{math.radians(9):.6g},falling"
    (tmp_path / "b.csv").write_text("advance [deg],speed [rpm]\n", encoding="utf-8")
    with pytest.raises(InputError, match="got another header"):
        SweepFile(tmp_path / "b.csv")


def deg(x: float) -> float:
    return math.radians(x)


TARGET = Target((
    Band("point", 500 * RPM, deg(3), deg(5)), Band("point", 700 * RPM, deg(6), deg(8)), Band("idle", 250 * RPM, 0.0, deg(0.5)),
    Band("maximum", None, deg(10), deg(12)),
))  # fmt: skip


def test_bands_between_points_are_lines() -> None:
    """Hand calculation: half-way from 500 to 700 rpm the band is half-way from 3..5 to 6..8 deg."""
    assert band_at(TARGET, 500 * RPM, 10 * RPM) == (TARGET.bands[0], True)
    between = band_at(TARGET, 600 * RPM, 10 * RPM)
    assert between is not None and not between[1]
    assert (between[0].low, between[0].high) == pytest.approx((deg(4.5), deg(6.5)))
    assert band_at(TARGET, 350 * RPM, 10 * RPM) is None
    crank = FileBasis(2.0, 2.0, deg(10), deg(0.5), 10 * RPM)
    words = band_words(TARGET, Reading(1000 * RPM, deg(20.4), True), crank)  # crank: 500 rpm, 5.2 deg of 3 to 5
    assert words == "band 16.0 to 20.0 deg: ABOVE by 0.4 deg"
    assert "inside" in band_words(TARGET, Reading(1000 * RPM, deg(19.9), True), crank)
    assert band_words(TARGET, Reading(1000 * RPM, deg(20.04), True), crank).endswith("deg: on its upper edge")
    assert band_words(TARGET, Reading(1000 * RPM, deg(15.96), True), crank).endswith("deg: on its lower edge")


UP = [Reading(s * RPM, deg(a), True) for s, a in ((300, 0.4), (500, 6.2), (900, 12.1))]
BASIS = FileBasis(1.0, 1.0, 0.0, deg(0.5), 5 * RPM)


@pytest.mark.parametrize(
    ("speed", "advance", "rising", "words"),
    [
        (700, 9.0, True, None),  # between its neighbours
        (700, 5.0, True, "cannot fall"),  # lower than at a lower speed, by more than two readings may be off
        (700, 5.4, True, None),  # lower, but within it
        (400, 7.6, True, "cannot fall"),
        (500, 8.0, True, "does not repeat"),
        (1000, 16.0, True, "more than the stop"),
        (500, 5.0, False, "lags behind"),
        (500, 7.5, False, None),
        (950, 12.3, True, None),
        (330, 9.0, True, "a jump"),
    ],
)
def test_what_does_not_fit(speed: float, advance: float, rising: bool, words: str | None) -> None:
    said = misfits(UP, Reading(speed * RPM, deg(advance), rising), BASIS, deg(13.8))
    assert bool(said) == (words is not None)
    assert words is None or words in " ".join(said)


def test_the_examples_own_sweeps_fit() -> None:
    """No reading of the five invented units is doubted when it is typed in the order of its file."""
    from recurve.job.live import read_bench

    examples = EXAMPLES
    for name in ("launch", "tractor", "pump", "genset", "crane"):
        bench, named, _ = read_bench(examples / f"{name}.toml")
        readings = SweepFile(examples / str(named)).readings
        for i, reading in enumerate(readings):
            assert misfits(readings[:i], reading, bench.basis, bench.stop) == [], (name, reading)


BENCH = FileBasis(1.0, 1.0, 0.0, np.radians(0.5), 10 * RPM)


@pytest.mark.parametrize(
    ("speeds", "new", "back"),
    [
        ([300, 500, 700], 600, True),  # down again by 100 rpm, and nobody said so
        ([300, 500, 700], 690, False),  # the drive runs unsteadily
        ([700, 500, 300], 200, False),  # taken in any order from the first
        ([300], 200, False),
        ([1200, 1300, 1300], 1200, True),  # the top was read twice
        ([900, 1000, 980], 960, True),  # down by small steps
    ],
)
def test_a_sweep_that_turns_round_is_noticed(speeds: list[float], new: float, back: bool) -> None:
    before = [Reading(s * RPM, 0.1, True) for s in speeds]
    assert turned(before, Reading(new * RPM, 0.1, True), BENCH) == back
    # Coming down from 700 to 300 rpm, either is a way up again.
    falling = [Reading(s * RPM, 0.1, False) for s in reversed(speeds)]
    assert turned(falling, Reading(new * RPM, 0.1, False), BENCH) == (speeds[0] < speeds[-1] and new > speeds[0])
