"""The timing card against hand calculations, each written out. Angles in [timing] and on the card are the crank's.

Total = static + ratio × advance, the ratio two on a four-stroke engine (common practice, no source).
"""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest
from commands import run

from recurve.errors import InputError
from recurve.job.read import load_any

HEAD = 'title = "Hand case, invented"\n[distributor]\nlobes = 4\nrotation = "clockwise"\n'
SWEEP = '[sweep]\nfile = "read.csv"\nreading = "± 0.3 deg"\n'


def card(folder: Path, target: str, timing: str, rows: str, *arguments: str, ratio: float = 2.0) -> dict[str, Any]:
    """The timing card of a job of a target and readings alone; `rows` as "320 0 r, 320 4.4 f": rpm, degrees, direction."""
    text = [row.split() for row in rows.split(",")]
    names = {"r": "rising", "f": "falling"}
    lines = [f"{speed},{advance},{names[way]}" for speed, advance, way in text]
    (folder / "read.csv").write_text(
        "speed [rpm],advance [deg],direction\n" + "\n".join(lines) + "\n", encoding="utf-8"
    )
    path = folder / "unit.toml"
    head = HEAD if ratio == 2.0 else HEAD + f"speed_ratio = {ratio}\n"
    path.write_text(f"{head}[target]\n{target}\n[timing]\n{timing}\n{SWEEP}", encoding="utf-8")
    status, out, err = run(["timing", str(path), "--json", *arguments])
    assert status in (0, 3), err
    told: dict[str, Any] = json.loads(out)
    return told


def trap(told: dict[str, Any], by: str) -> dict[str, Any]:
    found: dict[str, Any] = next(t for t in told["traps"] if t["set"] == by)
    return found


# A book of 1.5 ± 1.5° at 420 rpm and so on to 10° at 1200 rpm, distributor; static 10° at the crank.
BOOK = """points = [
  { speed = "420 rpm", advance = "1.5 deg", tolerance = "1.5 deg" },
  { speed = "800 rpm", advance = "6 deg", tolerance = "1 deg" },
  { speed = "1200 rpm", advance = "10 deg", tolerance = "1 deg" },
]
maximum = { advance = "10 deg", tolerance = "1 deg" }"""
SOUND = "420 1.5 r, 800 6 r, 1200 10 r, 1400 10 r, 800 6 f, 420 1.5 f"


@pytest.mark.parametrize(
    ("timing", "rows", "wanted"),
    [
        # The book's 1.5° at 420 rpm (840 crank): 10 + 2 × 1.5 = 13° at idle. A sound unit set so has a static of
        # 13 − 2 × 1.5 = 10° and ends at 10 + 2 × 10 = 30°.
        ('static = "10 deg"\nidle = "840 rpm"', SOUND, (13.0, 10.0, 30.0)),
        # 3.5° in at idle, falling, 10° at the top: set to 13° it has 13 − 7 = 6° of static and ends at 6 + 20 = 26°.
        (
            'static = "10 deg"\nidle = "840 rpm"',
            "420 3.5 r, 800 7 r, 1200 10 r, 1400 10 r, 800 7.5 f, 420 3.5 f",
            (13.0, 6.0, 26.0),
        ),
        # Worn stop: 12.5° at the top, 1.5° in at idle: static 10, total 10 + 25 = 35°.
        (
            'static = "10 deg"\nidle = "840 rpm"',
            "420 1.5 r, 800 6 r, 1200 12.5 r, 1400 12.5 r, 800 6 f, 420 1.5 f",
            (13.0, 10.0, 35.0),
        ),
        # Rising it shows nothing at 420 rpm, falling 3° stay in: set at idle to 13° it has 13 − 6 = 7°, total 27°.
        (
            'static = "10 deg"\nidle = "840 rpm"',
            "420 0 r, 800 5 r, 1200 10 r, 1400 10 r, 800 7 f, 420 3 f",
            (13.0, 7.0, 27.0),
        ),
        # The owner sets 12° at idle: 3.5° are in, so static 12 − 7 = 5°, total 25°.
        (
            'static = "10 deg"\nidle = "840 rpm"\nidle_setting = "12 deg"',
            "420 3.5 r, 800 7 r, 1200 10 r, 1400 10 r, 800 7.5 f, 420 3.5 f",
            (12.0, 5.0, 25.0),
        ),
        # Idle at 1220 rpm of the crank, 610 of the distributor: half-way from 1.5 to 6, 3.75°: 10 + 7.5 = 17.5°.
        (
            'static = "10 deg"\nidle = "1220 rpm"',
            "420 1.5 r, 800 6 r, 1200 10 r, 1400 10 r, 800 6 f, 420 1.5 f",
            (17.5, 10.0, 30.0),
        ),
    ],
)
def test_set_at_idle_to_the_book_s_figure(
    timing: str, rows: str, wanted: tuple[float, float, float], tmp_path: Path
) -> None:
    one = trap(card(tmp_path, BOOK, timing, rows), "at idle")
    assert (one["reading_deg"], one["static_deg"], one["total_deg"]) == pytest.approx(wanted, abs=1e-3)


def test_a_unit_on_the_crank_itself(tmp_path: Path) -> None:
    """Ratio 1: 3.5° in at 420 rpm where the book has 1.5 + 10 = 11.5°: static 11.5 − 3.5 = 8°, total 8 + 10 = 18°."""
    rows = "420 3.5 r, 800 7 r, 1200 10 r, 1400 10 r, 800 7.5 f, 420 3.5 f"
    one = trap(card(tmp_path, BOOK, 'static = "10 deg"\nidle = "420 rpm"', rows, ratio=1.0), "at idle")
    assert (one["reading_deg"], one["static_deg"], one["total_deg"]) == pytest.approx((11.5, 8.0, 18.0), abs=1e-3)


def test_a_book_in_crank_degrees(tmp_path: Path) -> None:
    """13 ± 3° at 840 rpm, static of 10° included, is 1.5° of the distributor at 420 rpm: the same card."""
    crank = """basis = "crank"
static = "10 deg"
points = [
  { speed = "840 rpm", advance = "13 deg", tolerance = "3 deg" },
  { speed = "1600 rpm", advance = "22 deg", tolerance = "2 deg" },
  { speed = "2400 rpm", advance = "30 deg", tolerance = "2 deg" },
]
maximum = { advance = "30 deg", tolerance = "2 deg" }"""
    one = trap(card(tmp_path, crank, 'idle = "840 rpm"', SOUND), "at idle")
    assert (one["reading_deg"], one["static_deg"], one["total_deg"]) == pytest.approx((13.0, 10.0, 30.0), abs=1e-3)


TOTAL = 'basis = "crank"\nstatic = "8 deg"\ntotal = "26 deg"'


@pytest.mark.parametrize(
    ("rows", "idle", "setting", "at_static"),
    [
        # 9° at the top: static 26 − 18 = 8°; 4.4° stay in at 320 rpm falling: 8 + 8.8 = 16.8° at idle.
        ("320 0 r, 700 6 r, 1300 9 r, 1500 9 r, 700 7 f, 320 4.4 f", 640, (8.0, 16.8), (16.8, 26.0)),
        # Nothing stays in: 8° at idle.
        ("320 0 r, 700 6 r, 1300 9 r, 1500 9 r, 700 6.5 f, 320 0 f", 640, (8.0, 8.0), (8.0, 26.0)),
        # 11° at the top: static 26 − 22 = 4°; 2° in at idle: 4 + 4 = 8°. At the book's static: 8 + 22 = 30° total.
        ("320 1 r, 700 7 r, 1300 11 r, 1500 11 r, 700 8 f, 320 2 f", 640, (4.0, 8.0), (12.0, 30.0)),
        # 7.5° at the top: static 26 − 15 = 11°; 1° in: 13°. At the book's static: 8 + 15 = 23°.
        ("320 0 r, 700 5 r, 1300 7.5 r, 1500 7.5 r, 700 5 f, 320 1 f", 640, (11.0, 13.0), (10.0, 23.0)),
        # Idle at 510 rpm, half-way between falling readings of 4.4° at 320 and 7° at 700 rpm: 5.7°: 8 + 11.4 = 19.4°.
        ("320 0 r, 700 6 r, 1300 9 r, 1500 9 r, 700 7 f, 320 4.4 f", 1020, (8.0, 19.4), (19.4, 26.0)),
    ],
)
def test_set_by_the_total_from_readings_alone(
    rows: str, idle: int, setting: tuple[float, float], at_static: tuple[float, float], tmp_path: Path
) -> None:
    """The total of the book, 26°, and what then is static and what the light shows at idle; and the unit at the book's static
    of 8°, with its idle and total."""
    told = card(tmp_path, TOTAL, f'total = "26 deg"\nidle = "{idle} rpm"', rows)
    assert (told["setting"]["static_deg"], told["setting"]["idle_deg"]) == pytest.approx(setting, abs=1e-3)
    as_is = trap(told, "static")
    assert (as_is["idle_deg"], as_is["total_deg"]) == pytest.approx(at_static, abs=1e-3)
    # Set by the total it is the book's total: "off the book" could not be other than 0.
    assert told["totals"]["as found"]["off_book_deg"] is None and trap(told, "all in")["off_book_deg"] is None


def test_a_sweep_that_begins_above_idle_says_nothing_of_idle(tmp_path: Path) -> None:
    told = card(tmp_path, TOTAL, 'total = "26 deg"\nidle = "640 rpm"', "600 5 r, 1300 9 r, 1500 9 r, 600 6 f")
    assert told["setting"]["idle_deg"] is None
    assert [t["set"] for t in told["traps"]] == ["all in", "static"]
    assert any("320 rpm (distributor)" in w and "no falling readings so low" in w for w in told["warnings"])
    assert any("begin at 1200 rpm (crank), above idle" in w for w in told["warnings"])
    assert not any("hunt" in w for w in told["warnings"])  # 5° in at 600 rpm say nothing of 320
    shown = dict(zip(told["table"]["speed_rpm"], told["table"]["as_found_deg"], strict=True))
    assert all((timing is None) == (speed < 1140) for speed, timing in shown.items())  # 5 % below 1200 rpm at the most
    # At 1200 rpm 5° are in: 26 − 2 × 9 + 2 × 5 = 18°; at 3000 rpm, past the flat end, all of it: 26°.
    assert (shown[1200.0], shown[3000.0]) == pytest.approx((18.0, 26.0), abs=1e-3)


def test_what_is_not_known_is_a_dash_on_the_card(tmp_path: Path) -> None:
    card(tmp_path, TOTAL, 'total = "26 deg"\nidle = "640 rpm"', "600 5 r, 1300 9 r, 1500 9 r, 600 6 f")
    text = run(["timing", str(tmp_path / "unit.toml")])[1]
    assert ["640", "-"] in [line.split() for line in text.splitlines()]


def test_readings_that_still_climb_tell_no_total(tmp_path: Path) -> None:
    """6° at 700 and 9° at 1000 rpm: more may come. The book's total of 26° is set where it was read last, 2000 rpm of the
    crank, and not past it; at the book's static of 8° the unit ends at 8 + 18 = 26° or more."""
    told = card(tmp_path, TOTAL, 'idle = "640 rpm"', "320 0 r, 700 6 r, 1000 9 r, 700 7 f, 320 1 f")
    assert told["verdict"] == "total not known"
    assert told["setting"]["speed_rpm"] == pytest.approx(2000) and not told["setting"]["all_in"]
    assert "all in" not in [t["set"] for t in told["traps"]]
    as_is = trap(told, "static")
    assert as_is["total_deg"] == pytest.approx(26.0) and not as_is["total_known"] and as_is["off_book_deg"] is None
    code, text, _ = run(["timing", str(tmp_path / "unit.toml")])
    assert code == 3 and "total at least 26.0°" in " ".join(text.split())
    assert max(told["table"]["speed_rpm"]) <= 2000 or told["table"]["as_found_deg"][-1] is None


def test_a_total_up_to_the_engine_s_top_speed_is_known(tmp_path: Path) -> None:
    """The same readings of an engine that turns no faster than 2000 rpm: nothing more can come."""
    timing = 'idle = "640 rpm"\ntop_speed = "2000 rpm"'
    assert card(tmp_path, TOTAL, timing, "320 0 r, 700 6 r, 1000 9 r, 700 7 f, 320 1 f")["verdict"] == "set it so"


def test_a_fine_sweep_that_climbs_to_its_end_is_not_all_in(tmp_path: Path) -> None:
    """Steps of 0.2° every 20 rpm, 1° in 100 rpm, to the end: no step is large, and still it climbs."""
    rows = ", ".join(f"{300 + 20 * i} {0.2 * i:.1f} r" for i in range(45))
    assert card(tmp_path, TOTAL, 'idle = "640 rpm"', rows)["verdict"] == "total not known"


def test_falling_readings_that_reach_higher_count(tmp_path: Path) -> None:
    """The rising sweep ends flat at 9°, the falling one begins at 11°: 11° is the most, and all in is not known."""
    told = card(tmp_path, TOTAL, 'idle = "640 rpm"', "320 0 r, 1100 9 r, 1300 9 r, 1500 11 f, 320 0 f")
    assert told["verdict"] == "total not known"
    assert trap(told, "static")["total_deg"] == pytest.approx(8 + 22)


def test_the_target_s_total_is_taken_where_timing_gives_none(tmp_path: Path) -> None:
    """12° at the top, total 26°: static 26 − 24 = 2°. Left at the book's static, 8 + 24 = 32°, 6° off and past the limit."""
    timing = 'idle = "640 rpm"\ntotal_limit = "28 deg"'
    told = card(tmp_path, TOTAL, timing, "320 0 r, 700 6 r, 1300 12 r, 1500 12 r, 700 7 f, 320 1 f")
    assert told["verdict"] == "set it so" and told["setting"]["static_deg"] == pytest.approx(2.0)
    as_is = trap(told, "static")
    assert (as_is["total_deg"], as_is["off_book_deg"]) == pytest.approx((32.0, 6.0))
    assert any(
        "timed to 8.0° (crank) statically, reaches a total of 32.0° (crank), above the limit" in w
        for w in told["warnings"]
    )


def test_a_maximum_without_points_gives_the_total(tmp_path: Path) -> None:
    """10° at the distributor on a static of 8° are 28°; with 12° at the top static is 28 − 24 = 4°."""
    target = 'maximum = { advance = "10 deg", tolerance = "1 deg" }'
    rows = "320 0 r, 700 6 r, 1300 12 r, 1500 12 r, 700 6 f, 320 0 f"
    told = card(tmp_path, target, 'static = "8 deg"\nidle = "640 rpm"', rows)
    assert (told["book_total_deg"], told["setting"]["static_deg"]) == pytest.approx((28.0, 4.0))


def test_an_upper_edge_alone_is_no_total(tmp_path: Path) -> None:
    """ "At most 10°" states no maximum: set at the book's static, 8 + 24 = 32°."""
    rows = "320 0 r, 700 6 r, 1300 12 r, 1500 12 r, 700 6 f, 320 0 f"
    told = card(tmp_path, 'maximum = { max = "10 deg" }', 'static = "8 deg"\nidle = "640 rpm"', rows)
    assert told["book_total_deg"] is None and told["setting"]["total_deg"] == pytest.approx(32.0)


def test_idle_before_a_rev_and_after_it(tmp_path: Path) -> None:
    """Rising nothing at 320 rpm, falling 4.4°: on a static of 8° the light shows 8° before a rev and 16.8° after. That
    nothing is in at idle with speed rising says nothing of an onset there."""
    rows = "320 0 r, 700 6 r, 1300 9 r, 1500 9 r, 700 7 f, 320 4.4 f"
    told = card(tmp_path, TOTAL, 'total = "26 deg"\nidle = "640 rpm"', rows)
    (warning,) = told["warnings"]
    assert (
        "8.0° (crank) before the engine is revved and 16.8° (crank) after" in warning
        and "8.8° (crank) stays in" in warning
    )


def test_no_zero_has_a_sign(tmp_path: Path) -> None:
    """9° at the top on the book's static of 8° are its total of 26°."""
    card(tmp_path, TOTAL, 'idle = "640 rpm"', "320 0 r, 700 6 r, 1300 9 r, 1500 9 r, 700 7 f, 320 4.4 f")
    text = run(["timing", str(tmp_path / "unit.toml")])[1]
    assert "-0.0" not in text and "total 26.0°, as the book" in " ".join(text.split())


def test_rising_readings_alone_say_nothing_of_what_stays_in(tmp_path: Path) -> None:
    told = card(tmp_path, TOTAL, 'total = "26 deg"\nidle = "640 rpm"', "320 0 r, 700 6 r, 1300 9 r, 1500 9 r")
    assert told["setting"]["idle_deg"] is None
    assert any("no falling readings" in w for w in told["warnings"])


def test_the_limit_at_the_upper_tolerance_is_no_reason_not_to_run_it(tmp_path: Path) -> None:
    """26 ± 2° under a limit of 27°: set it, but no higher than 27°."""
    timing = 'total = "26 deg"\ntotal_limit = "27 deg"\nidle = "640 rpm"'
    told = card(tmp_path, TOTAL, timing, "320 0 r, 700 6 r, 1300 9 r, 1500 9 r, 700 6 f, 320 0 f")
    assert told["verdict"] == "set it so"
    assert not any("do not run it so" in w for w in told["warnings"])
    assert any("at or below 27.0°" in w for w in told["warnings"])


@pytest.mark.parametrize(
    ("target", "timing", "told"),
    [
        (TOTAL, 'static = "10 deg"', "timing.static: got 10.0 deg (crank), but target.static says 8.0 deg (crank)"),
        (TOTAL, 'total = "6 deg"', "timing.total: got 6.0 deg (crank), expected no less than target.static, 8.0 deg"),
        (TOTAL, 'total = "28 deg"', "timing.total: got 28.0 deg (crank), but target.total says 26.0 deg (crank)"),
        (
            TOTAL,
            'total_limit = "7 deg"',
            "timing.total_limit: got 7.0 deg (crank), expected no less than target.static",
        ),
        (TOTAL, 'static = "8 deg"\ntotal_limit = "7 deg"', "total_limit: got less than static"),
        (
            TOTAL,
            'total_limit = "25 deg"',
            "timing.total_limit: got 25.0 deg (crank), expected no less than target.total",
        ),
        (TOTAL.replace("26 deg", "7 deg"), 'idle = "640 rpm"', "target.total: got 7.0 deg (crank)"),
    ],
)
def test_figures_that_contradict_each_other_are_faults(target: str, timing: str, told: str, tmp_path: Path) -> None:
    path = tmp_path / "unit.toml"
    path.write_text(f"{HEAD}[target]\n{target}\n[timing]\n{timing}\n", encoding="utf-8")
    with pytest.raises(InputError) as fault:
        load_any(path)
    assert told in str(fault.value)


def test_the_unit_as_left_is_timed_by_its_own_readings(tmp_path: Path) -> None:
    """As found 11° at the top, as left 9.5°: static 26 − 19 = 7°, and 0.5° in at idle: 8°."""
    left = tmp_path / "left.csv"
    rows = ["320,0,rising", "1300,9.5,rising", "1500,9.5,rising", "320,0.5,falling"]
    left.write_text("speed [rpm],advance [deg],direction\n" + "\n".join(rows) + "\n", encoding="utf-8")
    found = "320 1 r, 700 7 r, 1300 11 r, 1500 11 r, 700 8 f, 320 2 f"
    told = card(tmp_path, TOTAL, 'total = "26 deg"\nidle = "640 rpm"', found, "--sweep", str(left))
    assert (told["setting"]["static_deg"], told["setting"]["idle_deg"]) == pytest.approx((7.0, 8.0), abs=1e-3)
    assert told["table"]["as_left_deg"] is not None
    assert any("unit as left" in note for note in told["notes"])
