"""Timing on the engine: the worked cases, there and back, the target from the engine's side, jobs with and without."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from checkout import EXAMPLES
from hypothesis import given
from hypothesis import strategies as st
from jobs import without, write_job

from recurve.diagnosis.timing_card import timing_card
from recurve.errors import InputError
from recurve.inspection.model import Timing
from recurve.inspection.timing import Card, crank_timing, make_card, reading_of, static_of
from recurve.inspection.timing_curves import ReadCurve, TableCurve, was_read
from recurve.job.model import BareJob, Job
from recurve.job.read import load_any, load_job
from recurve.output.documents.timing import TimingDocument
from recurve.output.figures.timing import timing_figure_bytes
from recurve.output.text.workshop import timing_text

DEG, RPM = np.pi / 180, np.pi / 30
FERRY = EXAMPLES / "ferry.toml"


def engine(**given: float | None) -> Timing:
    """Engine figures, degrees and rpm of the crank."""
    values = (
        dict.fromkeys(
            (
                "static",
                "total",
                "limit",
                "idle",
                "idle_setting",
                "top_speed",
                "cruise_speed",
                "cruise_vacuum",
                "full_load_vacuum",
            )
        )
        | given
    )
    units = {n: RPM if n in ("idle", "top_speed", "cruise_speed") else DEG for n in values}
    return Timing(
        tolerance=2 * DEG, tolerance_source="", speeds=(),
        **{n: None if v is None else v * units[n] for n, v in values.items()},
    )  # fmt: skip


def line(*points: tuple[float, float]) -> TableCurve:
    """A curve by (distributor rpm, distributor deg)."""
    return TableCurve(np.array([p[0] for p in points]) * RPM, np.array([p[1] for p in points]) * DEG)


def card(timing: Timing, ratio: float = 2.0, **curves: TableCurve) -> Card:
    """The card for curves as_found, book, planned."""
    made = make_card(timing, ratio, {n.replace("_", " "): c for n, c in curves.items()}, None)
    assert made is not None
    return made


SOUND = line((0, 0), (250, 0), (1200, 10))


def test_ten_at_the_distributor_are_twenty_at_the_crank() -> None:
    """Common practice, no source: 10° at 1200 rpm are 20° at 2400 on the crank; static 10 makes 30, 12.5 in makes 35."""
    assert crank_timing(SOUND, 0.0, 2.0, 2400 * RPM) / DEG == pytest.approx(20.0)
    assert crank_timing(SOUND, 10 * DEG, 2.0, 2400 * RPM) / DEG == pytest.approx(30.0)
    assert crank_timing(line((250, 0), (1200, 12.5)), 10 * DEG, 2.0, 2400 * RPM) / DEG == pytest.approx(35.0)
    assert crank_timing(SOUND, 0.0, 1.0, 1200 * RPM) / DEG == pytest.approx(10.0)


def test_stop_wear_of_three_is_six_at_the_crank() -> None:
    """Common practice, no source."""
    worn = line((250, 0), (1200, 13))
    made = card(engine(static=10.0, total=30.0), as_found=worn, book=SOUND)
    at = [static + 2.0 * c.stop for n, c, static in made.curves if n == "book"]
    assert reading_of(10 * DEG, worn.stop, 2.0) - at[0] == pytest.approx(6 * DEG)


def test_the_trap_of_setting_at_idle() -> None:
    """Common practice, no source: 5° held at idle, set by light to 12: static 2, and with 12.5 in 27 total. Left at the
    book's static of 10 it shows 20 at idle and ends at 35."""
    worn = line((0, 5), (300, 5), (1200, 12.5))
    made = card(engine(static=10.0, total=30.0, idle=600.0, idle_setting=12.0), as_found=worn, book=SOUND)
    idle, top, static = made.traps
    assert static.idle is not None
    assert np.array([static.static, static.idle, static.total]) / DEG == pytest.approx([10.0, 20.0, 35.0])
    assert np.array([idle.static, idle.total]) / DEG == pytest.approx([2.0, 27.0])
    assert top.idle is not None
    assert np.array([top.static, top.idle, top.total]) / DEG == pytest.approx([5.0, 15.0, 30.0])
    assert any("hunt" in w for w in made.warnings)


def test_the_setting_speed_is_where_all_is_in() -> None:
    """By hand: 10° are in at 1200 rpm of the distributor, 20° at 2400 rpm of the crank, on a static of 10°; none at idle."""
    made = card(engine(static=10.0, total=30.0, idle=420.0, limit=34.0), planned=SOUND, book=SOUND)
    s = made.setting
    assert s is not None and s.flat and s.idle is not None
    assert s.speed / RPM >= 2400.0
    assert np.array([s.reading, s.static, s.idle, s.total]) / DEG == pytest.approx([30.0, 10.0, 10.0, 30.0])
    assert made.verdict == "set it so" and made.warnings == ()


def test_past_the_limit_it_is_not_to_be_run() -> None:
    made = card(engine(static=14.0, limit=32.0), planned=SOUND)
    assert made.verdict == "do not run it so"
    assert "above the limit of 32.0°" in made.warnings[0]


def test_an_engine_that_may_not_turn_fast_enough() -> None:
    made = card(engine(static=10.0, top_speed=1500.0), planned=SOUND)
    assert made.setting is not None and not made.setting.flat
    assert made.setting.speed / RPM == pytest.approx(1500.0)


def test_vacuum_at_full_load_is_told() -> None:
    """3° at the distributor are 6° at the crank."""
    made = make_card(engine(static=10.0), 2.0, {"planned": SOUND}, None, (None, (3 * DEG, "as measured")))
    assert made is not None and any("adds 6.0° (crank) at full load" in w for w in made.warnings)


@pytest.mark.parametrize(("vacuum", "verdict"), [(0.0, "set it so"), (1.9, "set it so"), (2.1, "do not run it so")])
def test_vacuum_at_full_load_counts_against_the_limit(vacuum: float, verdict: str) -> None:
    """30° and 2 × 1.9° are 33.8° at the crank, under a limit of 34°; 2 × 2.1° make 34.2°."""
    timing = engine(static=10.0, total=30.0, limit=34.0)
    made = make_card(timing, 2.0, {"planned": SOUND}, None, (None, (vacuum * DEG, "as measured")))
    assert made is not None and made.verdict == verdict


def test_the_setting_speed_waits_for_the_later_of_unit_and_book() -> None:
    """All in at 1000 rpm, by the book at 1200 rpm (distributor): 2400 rpm (crank) either way."""
    quick = line((0, 0), (250, 0), (1000, 10))
    for planned, book in ((quick, SOUND), (SOUND, quick)):
        made = card(engine(static=10.0, total=30.0), planned=planned, book=book)
        assert made.setting is not None and made.setting.speed / RPM >= 2400.0


def test_advance_that_is_in_at_idle_both_ways_is_not_held() -> None:
    """1° is in at 300 rpm of the distributor rising and falling alike: nothing stays in. With 1° more it does."""
    early = line((0, 0), (200, 0), (1200, 10))
    assert not any("stays in" in w for w in card(engine(static=10.0, idle=600.0), planned=early).warnings)
    held = ReadCurve(early, line((200, 1), (300, 2), (1200, 10)))
    made = make_card(engine(static=10.0, idle=600.0), 2.0, {"as left": held}, None)
    assert made is not None and any("2.0° (crank) stays in" in w for w in made.warnings)


@given(reading=st.floats(-20, 60), advance=st.floats(0, 20), ratio=st.floats(0.5, 4))
def test_static_and_reading_there_and_back(reading: float, advance: float, ratio: float) -> None:
    assert reading_of(static_of(reading, advance, ratio), advance, ratio) == pytest.approx(reading, abs=1e-9)


@given(
    onset=st.floats(150, 500), slope=st.floats(0.004, 0.04), most=st.floats(4, 17), idle=st.floats(300, 1200),
    static=st.floats(-5, 20), held=st.floats(0, 3),
)  # fmt: skip
def test_random_units_there_and_back(
    onset: float, slope: float, most: float, idle: float, static: float, held: float
) -> None:
    """A unit set to a static shows a reading at idle; set by light to that reading it has that static again."""
    unit = line((0, held), (onset, held), (onset + most / slope, held + most))
    made = card(engine(static=static, total=static + 2 * (held + most), idle=idle), as_found=unit)
    s = made.setting
    assert s is not None and s.idle is not None
    assert s.static / DEG == pytest.approx(static, abs=1e-6)
    again = card(engine(static=static, idle=idle, idle_setting=s.idle / DEG), as_found=unit).traps[0]
    assert np.array([again.static, again.total]) / DEG == pytest.approx([static, static + 2 * (held + most)], abs=1e-6)


# --- jobs ---------------------------------------------------------------------------------------------------

ENGINE = """\
[target]
basis = "crank"
static = "10 deg"
total = "32 deg"
all_in = "2000 rpm"
timing = [{ speed = "1200 rpm", timing = "22 deg", tolerance = "3 deg" }]
idle = { speed = "600 rpm", max = "11 deg" }

"""


def target_block() -> tuple[str, str]:
    """The change that puts the engine's target in place of the job's."""
    return without("target")[0], ENGINE


def test_the_engine_side_becomes_the_distributor_target(tmp_path: Path) -> None:
    """By hand: (22 − 10) / 2 = 6 ± 1.5° at 600 rpm; (32 − 10) / 2 = 11 ± 1° from 1000 rpm on; idle 0.5° at 300."""
    target = load_job(write_job(tmp_path, target_block())).target
    assert target is not None
    told = [
        (b.kind, None if b.speed is None else round(b.speed / RPM, 6), round(b.low / DEG, 6), round(b.high / DEG, 6))
        for b in target.bands
    ]
    assert told == [
        ("point", 600.0, 4.5, 7.5), ("point", 1000.0, 10.0, 12.0), ("idle", 300.0, 0.0, 0.5), ("maximum", None, 10.0, 12.0),
    ]  # fmt: skip


@pytest.mark.parametrize(
    ("old", "new", "told"),
    [
        ('static = "10 deg"\n', "", "static: missing"),
        ('basis = "crank"', 'basis = "distributor"', 'expected basis = "crank"'),
        ('total = "32 deg"\n', "", "expected total"),
    ],
)
def test_a_bad_engine_target(old: str, new: str, told: str, tmp_path: Path) -> None:
    block, text = target_block()
    with pytest.raises(InputError, match=told):
        load_job(write_job(tmp_path, (block, text.replace(old, new))))


def test_the_ferry_has_no_curve_but_all_else() -> None:
    """The example without weights: read, carded, drawn, and refused where a curve is needed."""
    job = load_any(FERRY)
    assert isinstance(job, BareJob)
    with pytest.raises(InputError, match="weights: missing"):
        load_job(FERRY)
    made = timing_card(job)
    document = TimingDocument.of(made, job)
    json.dumps(document.as_json(), allow_nan=False)
    text = timing_text(job, document)
    assert max(len(row) for row in text.splitlines()) <= 80
    for word in ("fan look still", "Ignition voltage", "creep up", "CRANK", "Set the unit as found here"):
        assert word in text
    assert timing_figure_bytes(made, "x") == timing_figure_bytes(made, "x")


def test_a_job_without_timing_says_what_is_missing(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="timing: missing"):
        timing_card(load_job(write_job(tmp_path, without("sweep"))))


def test_a_described_unit_has_a_card(tmp_path: Path) -> None:
    job = load_any(_timed(tmp_path))
    assert isinstance(job, Job)
    made = timing_card(job)
    assert [n for n, _, _ in made.curves] == ["as found", "book"]


def _timed(folder: Path) -> Path:
    path = write_job(folder, without("sweep"))
    path.write_text(
        path.read_text(encoding="utf-8") + '\n[timing]\nstatic = "8 deg"\nidle = "600 rpm"\n', encoding="utf-8"
    )
    return path


def test_readings_that_still_climb_are_not_called_all_in() -> None:
    """A sweep that ends before the stop knows no total: the card must say so, since too little said breaks pistons."""
    speed, advance = np.array([200.0, 400.0, 600.0]) * RPM, np.radians([0.0, 5.0, 9.0])
    assert TableCurve(speed, advance, read=True).all_in is None
    assert TableCurve(speed, np.radians([0.0, 8.9, 9.0]), read=True).all_in == pytest.approx(speed[2])
    card = make_card(engine(static=10.0, idle=600.0), 2.0, {"as found": TableCurve(speed, advance, read=True)}, None)
    assert card is not None and card.setting is not None and not card.setting.flat
    assert any("may not be all in" in w for w in card.warnings) and card.verdict == "total not known"


def test_readings_tell_nothing_past_their_end_while_they_climb() -> None:
    """Read up to 1500 rpm: whatever still climbs there tells nothing at 1600 rpm, more than a twentieth further up."""
    at = np.array([400.0, 1000.0, 1500.0, 1550.0, 1600.0]) * RPM
    climbs = replace(line((500, 0), (1000, 4), (1500, 8)), read=True)
    assert was_read(climbs, at).tolist() == [False, True, True, True, False]
    flat = replace(line((500, 0), (1000, 8), (1500, 8)), read=True)
    assert was_read(flat, at).tolist() == [False, True, True, True, True]
    assert np.isnan(crank_timing(climbs, 0.0, 2.0, 2 * at)).tolist() == [True, False, False, False, True]
