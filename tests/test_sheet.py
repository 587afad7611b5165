"""The build sheet: what it says, in which order, and that it is a PDF of one or two pages."""

from __future__ import annotations

import json
import re
import subprocess
import sys
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import typst
from test_plots import JOB, SWEEP, launch, make

from recurve.build import make_build
from recurve.datafiles import data_file
from recurve.plan import Plan
from recurve.plots import plan_figure_bytes
from recurve.sheet import sheet_facts, sheet_inputs, sheet_pdf
from recurve.yields import Built

FIGURE = b'<svg xmlns="http://www.w3.org/2000/svg" width="510pt" height="346pt"><path d="M0 0L9 9L0 9Z"/></svg>'


@pytest.fixture
def plan(tmp_path: Path) -> Plan:
    """As found: nothing is bent, the stop is left alone."""
    return make(tmp_path, JOB + SWEEP)


@pytest.fixture
def trimmed(plan: Plan) -> Plan:
    """The stop built up by 0.5 mm, the primary's post bent out by 0.2 mm, the secondary's in by 0.1 mm."""
    springs = tuple(p.found for p in plan.job.places if p.found is not None)
    build = make_build(plan.job, springs, (0.2e-3, -0.1e-3), plan.job.stop.advance - 0.5 / 14)
    return replace(plan, build=build, verdict="passes with stop trim")


@pytest.fixture
def refused(plan: Plan) -> Plan:
    reasons = ("No springs at all can do it: “at most 7.0° at 700 rpm” fights.",)
    return replace(plan, verdict="out of reach", reasons=reasons, notes=("A remark.",))


def rows(facts: dict[str, Any]) -> dict[str, list[dict[str, str]]]:
    return {row["label"]: row["cells"] for row in facts["springs"]["rows"]}


def query(plan: Plan, label: str, paper: str = "a4") -> list[Any]:
    """The values that the laid-out sheet carries under a label, in the order of the pages."""
    found: list[Any] = json.loads(
        typst.query(
            data_file("sheet.typ").read_bytes(),
            f"<{label}>",
            field="value",
            ignore_system_fonts=True,
            sys_inputs=sheet_inputs(plan, FIGURE, paper),
        )
    )
    return found


def pages(pdf: bytes) -> int:
    return len(re.findall(rb"/Type ?/Page\b", pdf))


def media(pdf: bytes) -> list[float]:
    box = re.search(rb"/MediaBox ?\[([^]]+)\]", pdf)
    assert box is not None
    return [float(x) for x in box[1].split()]


# --- the document ----------------------------------------------------------------------------------------


@pytest.mark.parametrize(("paper", "size"), [("a4", (210.0, 297.0)), ("letter", (215.9, 279.4))])
def test_one_or_two_pages_of_the_paper_asked_for_the_same_bytes_each_time(plan: Plan, paper: Any, size: Any) -> None:
    figure = plan_figure_bytes(plan)["curve.svg"]
    pdf = sheet_pdf(plan, figure, paper)
    assert pdf.startswith(b"%PDF")
    assert pages(pdf) == 2 == query(plan, "pages", paper)[0]
    # ISO 216 and ANSI/ASME Y14.1 sizes [mm] at 72 points an inch
    assert media(pdf)[2:] == pytest.approx([x / 25.4 * 72 for x in size], abs=0.1)
    assert sheet_pdf(plan, figure, paper) == pdf
    assert b"CreationDate" not in pdf and b"CreateDate" not in pdf


def test_another_figure_and_another_margin_give_another_sheet(plan: Plan) -> None:
    pdf = sheet_pdf(plan, FIGURE)
    assert sheet_pdf(plan, FIGURE.replace(b"L9 9", b"L9 8")) != pdf
    assert plan.build is not None
    assert sheet_pdf(replace(plan, build=replace(plan.build, margin=-9.0)), FIGURE) != pdf


@pytest.mark.parametrize("paper", ["a4", "letter"])
def test_a_long_job_still_takes_two_pages(trimmed: Plan, paper: Any) -> None:
    assert trimmed.build is not None
    build = replace(trimmed.build, results=trimmed.build.results * 3)
    job = replace(trimmed.job, title="W" * 300, unit="x" * 300)
    long = replace(
        trimmed, build=build, job=job, notes=("A remark of a common length, which fills a line or so of text.",) * 2
    )
    assert pages(sheet_pdf(long, FIGURE, paper)) == 2


def test_the_work_is_told_in_order_and_each_caution_where_it_is_needed(plan: Plan, trimmed: Plan) -> None:
    steps = ["Stop", "Springs", "Set on the bench, speed rising", "Check on the bench, up and down", "The curve"]
    assert query(trimmed, "step") == steps == query(plan, "step")
    assert query(trimmed, "caution") == ["weld", "bend", "bench", "engine", "limits"]
    assert query(plan, "caution") == ["bend", "bench", "engine", "limits"]
    assert trimmed.build is not None
    filed = replace(trimmed, build=replace(trimmed.build, trim=-0.1e-3))
    assert query(filed, "caution") == ["file", "bend", "bench", "engine", "limits"]
    assert query(plan, "refused") == []


def test_out_of_reach_is_refused_in_large_letters_and_gives_no_work(refused: Plan) -> None:
    assert query(refused, "refused") == ["OUT OF REACH: DO NOT BUILD"]
    assert query(refused, "step") == []
    facts = sheet_facts(refused)
    assert not facts["go"]
    assert facts["reasons"] == list(refused.reasons) and facts["notes"] == ["A remark."]
    assert (facts["stop"], facts["springs"], facts["settings"]) == (None, None, [])
    assert facts["nearest"] == "the spring that is in it (primary) and the spring that is in it (secondary)"
    bare = replace(refused, build=None)
    assert sheet_facts(bare)["bench"] == [] and query(bare, "refused") == query(refused, "refused")
    assert pages(sheet_pdf(bare, FIGURE)) == 1


@pytest.mark.parametrize(
    "text", ['#panic("no")', "*a* _b_ `c` $x$ <pages> @d \\", "= Heading\n\n- #sys.inputs", "日本語\x00שלום"]
)
def test_text_from_a_job_is_never_read_as_markup(refused: Plan, text: str) -> None:
    job = replace(refused.job, title=text, unit=text)
    told = replace(refused, job=job, notes=(text,), reasons=(text,))
    assert query(told, "title") == [" ".join(text.replace("\x00", " ").split())]
    assert query(told, "pages") == [1]


def test_no_heavy_library_is_loaded_before_it_is_needed() -> None:
    code = "import sys, recurve.plots, recurve.sheet; print([m for m in ('matplotlib', 'typst') if m in sys.modules])"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"


# --- what it says ----------------------------------------------------------------------------------------


def test_header(plan: Plan) -> None:
    facts = sheet_facts(plan)
    assert facts["fingerprint"] == plan.job.fingerprint
    assert facts["rotation"] == {"rotor_end": "clockwise", "drive_end": "anticlockwise"}
    assert facts["points"]
    electronic = replace(plan, job=replace(plan.job, trigger="electronic"))
    assert not sheet_facts(electronic)["points"]
    assert json.loads(json.dumps(facts, allow_nan=False)) == facts


def test_highest_bench_speed_is_a_tenth_past_the_work_rounded_up_to_50(plan: Plan) -> None:
    assert plan.build is not None and plan.build.curve.all_in is not None
    assert plan.build.curve.all_in * 30 / np.pi < 900
    # A band at 900 rpm: 1.1 · 900 = 990, up to 1000, twice that at the crank (hand calculation).
    assert plan.job.target is not None
    late = replace(plan.job.target.bands[0], speed=900 * np.pi / 30)
    target = replace(plan.job.target, bands=(*plan.job.target.bands, late))
    facts = sheet_facts(replace(plan, job=replace(plan.job, target=target)))
    assert facts["highest"] == {"main": "1000 rpm (distributor)", "small": "2000 rpm (crank)"}


def test_a_stop_left_alone(plan: Plan) -> None:
    stop = sheet_facts(plan)["stop"]
    assert (stop["way"], stop["trim"]) == ("", None)
    assert stop["planned"] == {"main": "12.0° (distributor)", "small": "24.0° (crank)"}
    assert stop["check"] == {"main": "9.0° to 11.0° (distributor)", "small": "18.0° to 22.0° (crank)"}


def test_a_stop_built_up(trimmed: Plan) -> None:
    # Hand calculation: 0.5 mm at 14 mm is 0.5/14 rad = 2.05°; 0.5 mm is 0.5/25.4 in = 0.020 in.
    stop = sheet_facts(trimmed)["stop"]
    assert stop["way"] == "build up"
    assert stop["trim"] == {"main": "0.50 mm", "small": "0.020 in"}
    assert stop["change"]["main"] == "2.0° (distributor)"
    assert stop["planned"]["main"] == "10.0° (distributor)"


def test_springs_lengths_bends_and_take_up(trimmed: Plan) -> None:
    facts = sheet_facts(trimmed)
    assert facts["springs"]["heads"] == ["primary (light), post P", "secondary (heavy), post S"]
    said = rows(facts)
    assert said["spring"] == [{"main": "the spring that is in it", "small": "leave it in"}] * 2
    assert [c["main"] for c in said["rate"]] == ["1.00 N/mm", "3.00 N/mm"]
    # 1 N/mm = 1000/4.4482216 · 0.0254 lbf/in = 5.71 (exact definitions of lbf and in)
    assert said["rate"][0]["small"] == "5.71 lbf/in"
    assert [c["main"] for c in said["free, inside the hooks"]] == ["15.50 mm", "16.50 mm"]
    assert [c["main"] for c in said["over the posts, as found"]] == ["16.00 mm", "16.00 mm"]
    assert said["over the posts, set to"] == [
        {"main": "16.20 mm", "small": "0.638 in"},
        {"main": "15.90 mm", "small": "0.626 in"},
    ]
    assert [c["main"] for c in said["bend"]] == ["0.20 mm out, away from the other", "0.10 mm in, towards the other"]
    # The job lets both go 0.5 mm either way.
    assert [c["main"] for c in said["travel left"]] == ["in 0.70 mm, out 0.30 mm", "in 0.40 mm, out 0.60 mm"]
    # 1 N/mm · (16.2 − 15.5) mm; the slack of 0.6 mm goes at 0.6/1.2 of 12° (hand calculation).
    assert said["pull at rest"] == [{"main": "0.70 N", "small": ""}, {"main": "none", "small": "slack 0.60 mm"}]
    assert [c["main"] for c in said["takes up"]] == ["pulls from rest", "6.0° (distributor)"]
    assert "initial tension" not in said and "wire, outside, coils" not in said


def test_what_is_known_of_a_spring_from_the_shelf_is_told(plan: Plan) -> None:
    assert plan.build is not None
    first, second = plan.build.springs
    spring = replace(
        first.spring, id="#D3", wire=0.5e-3, outer=6.1e-3, coils=12.5, material="music", initial_tension=0.25
    )
    said = rows(sheet_facts(replace(plan, build=replace(plan.build, springs=(replace(first, spring=spring), second)))))
    assert said["spring"][0] == {"main": "#D3", "small": ""}
    assert [c["main"] for c in said["wire, outside, coils"]] == ["0.50 mm wire, 6.10 mm outside, 12.5 coils", ""]
    assert said["wire material"][0]["main"] == "music"
    assert said["initial tension"][0]["main"] == "0.25 N"
    assert [c["main"] for c in said["bend"]] == ["leave it as it stands"] * 2


def test_a_second_spring_that_never_pulls_says_so(plan: Plan) -> None:
    assert plan.build is not None
    first, second = plan.build.springs
    idle = replace(plan.build, springs=(first, replace(second, takeup=None)))
    assert rows(sheet_facts(replace(plan, build=idle)))["takes up"][1]["main"] == "never before the stop"


def test_posts_are_told_by_body_radius_and_angle(tmp_path: Path) -> None:
    posts = """[springs.primary.posts]
kind = "points"
anchor = { on = "base", radius = "21 mm", angle = "40 deg" }
far = { on = "cam", radius = "12 mm", angle = "75 deg" }
"""
    slot = """kind = "slot"
pivot = { radius = "21 mm" }
cg = { distance = "12.6 mm", angle = "75 deg" }
pin = { distance = "13.1 mm", angle = "168 deg" }
"""
    text = re.sub(r"\[springs\.primary\.posts\]\n(.+\n){3}", posts, JOB)
    text = re.sub(r'kind = "table"\nadvance = \["0 deg", "6 deg", "12 deg"\]\ncg_radius.+\n', slot, text)
    said = rows(sheet_facts(make(tmp_path, text)))
    assert said["post to bend"][0] == {"main": "base plate, 21.0 mm from the axis", "small": "at 40°"}
    assert said["other post"][0] == {"main": "cam plate, 12.0 mm from the axis", "small": "at 75°"}
    assert said["post to bend"][1]["main"] == "the one that you marked"


def primary_by_hand(bend: float) -> float:
    """Speed [rpm] at which 1° is in, hand calculation of design eq. 3 for the job's round numbers and a bend [mm]:
    length 16.1 mm + bend, radius 15 + 1/6 mm, both growing evenly with the advance; T_d + T_f = 5 mN·m."""
    per_radian = 180 / np.pi
    torque = (0.6 + bend) * (1.2e-3 / 12 * per_radian)
    inertia_slope = 2 * 0.030 * 2 * (15 + 1 / 6) * 1e-3 * (1e-3 / 6 * per_radian)
    return float(np.sqrt(2 * (torque + 5e-3) / inertia_slope) * 30 / np.pi)


def test_bench_setting_speeds_and_what_a_bend_does(plan: Plan) -> None:
    first, second = sheet_facts(plan)["settings"]
    assert (first["spring"], first["mark"], second["spring"], second["mark"]) == ("primary", "P", "secondary", "S")
    speed = primary_by_hand(0.0)
    assert first["speed"] == {"main": f"{speed:.0f} rpm (distributor)", "small": f"{2 * speed:.0f} rpm (crank)"}
    moved = primary_by_hand(0.1) - speed
    assert first["effect"] == f"0.10 mm of bend moves it about {moved:.0f} rpm (distributor)"
    assert first["advance"]["main"] == "1.0° (distributor)"
    assert second["advance"] == {"main": "11.0° (distributor)", "small": "22.0° (crank)"}


def test_a_spring_found_in_the_other_place_is_to_be_moved(plan: Plan) -> None:
    assert plan.build is not None
    first, second = plan.build.springs
    swapped = replace(plan.build, springs=(second, first))
    assert rows(sheet_facts(replace(plan, build=swapped)))["spring"] == [
        {"main": "the spring that is in it", "small": "move it here: it is the secondary"},
        {"main": "the spring that is in it", "small": "move it here: it is the primary"},
    ]


def test_a_unit_with_one_spring_has_one_setting(plan: Plan) -> None:
    job = replace(plan.job, places=plan.job.places[:1])
    found = job.places[0].found
    assert found is not None
    build = make_build(job, (found,), (0.0,), job.stop.advance)
    facts = sheet_facts(replace(plan, job=job, build=build))
    assert [s["mark"] for s in facts["settings"]] == ["P"]
    assert facts["springs"]["heads"] == ["primary (light), post P"]


def test_bench_check_in_the_order_of_speed_the_maximum_last(plan: Plan) -> None:
    table = sheet_facts(plan)["bench"]
    assert [r["what"] for r in table] == ["idle", "", "", "maximum"]
    assert [r["speed"] for r in table[:3]] == ["200", "400", "600"]
    assert [r["crank"] for r in table[:3]] == ["400", "800", "1200"]
    assert [(r["min"], r["max"]) for r in table] == [("0.0", "0.5"), ("2.0", "5.0"), ("6.0", "9.0"), ("9.0", "11.0")]
    # Below onset nothing is in, at the highest speed the stop's 12°, which is outside its band.
    assert (table[0]["rising"], table[0]["falling"]) == ("0.0", "0.0")
    assert (table[3]["rising"], table[3]["inside"], table[0]["inside"]) == ("12.0", False, True)
    assert f"{table[3]['speed']} rpm (distributor)" == sheet_facts(plan)["highest"]["main"]


def test_a_band_that_one_decimal_would_move_is_given_with_two(tmp_path: Path) -> None:
    # Crank degrees halve: 12.5° at the crank is 6.25° of the distributor.
    text = JOB.replace('min = "6 deg", max = "9 deg"', 'min = "6.25 deg", max = "9 deg"')
    table = sheet_facts(make(tmp_path, text))["bench"]
    assert [(r["min"], r["max"]) for r in table][2] == ("6.25", "9.00")
    assert {len(r[k].split(".")[1]) for r in table for k in ("min", "rising", "falling", "max")} == {2}


# --- how sure it is, and the unit as found ---------------------------------------------------------------


def test_the_chance_of_passing_and_what_costs_most(plan: Plan, refused: Plan) -> None:
    # 49 of 50 builds pass; what gains less than 1 % is not named, and no more than two are.
    passed = np.arange(50) > 0
    costs = (("post setting", 0.02), ("spring rates", 0.013), ("stop", 0.011), ("mass geometry", 0.0))
    told = sheet_facts(replace(plan, built=Built(passed, costs)))["chance"]
    assert told == {"main": "98 %", "small": "what costs most: post setting (2 %) and spring rates (1 %)"}
    sure = sheet_facts(replace(plan, built=Built(np.ones(8, bool), costs[-1:])))["chance"]
    assert sure == {"main": "over 99 %", "small": "no single doubt costs as much as 1 %"}
    assert query(replace(plan, built=Built(passed, costs)), "chance") == ["98 %"]
    assert sheet_facts(plan)["chance"] is None
    assert sheet_facts(replace(refused, built=Built(passed, costs)))["chance"] is None


def test_a_plan_from_the_description_says_so_and_shows_nothing_as_found(plan: Plan) -> None:
    facts = sheet_facts(plan)
    assert facts["basis"] == "the unit as described; no sweep was fitted"
    assert facts["found"] is None and facts["shaded"] == ""
    assert query(plan, "found") == []


@pytest.mark.parametrize("paper", ["a4", "letter"])
def test_a_plan_from_a_sweep_shows_the_unit_as_found_on_two_pages(paper: Any) -> None:
    plan = launch()
    facts = sheet_facts(plan)
    # launch-as-found.csv has 21 readings.
    assert facts["basis"] == "the sweep of the unit as found, 21 readings fitted"
    assert facts["found"]["readings"].startswith("21 readings; they scatter no more than stated (chi² ")
    assert "nine builds in ten" in facts["shaded"] and "round the curve as found" in facts["shaded"]
    assert query(plan, "found", paper) == [facts["found"]["readings"]]
    assert query(plan, "pages", paper) == [2]


@pytest.mark.parametrize("paper", ["a4", "letter"])
def test_where_two_pages_are_full_the_unit_as_found_gives_way(paper: Any) -> None:
    plan = launch()
    assert plan.build is not None
    doubled = replace(plan.build, results=plan.build.results * 2)
    full = replace(plan, build=doubled, notes=("A remark of a common length, which fills a line or so of text.",) * 4)
    assert query(full, "found", paper) == []
    assert query(full, "pages", paper) == [2]


def test_as_found_the_sweep_agrees_with_what_was_measured_by_hand() -> None:
    """The launch's job: stop 13.8 ± 0.3° and secondary 9.0 ± 0.5° by degree wheel; the readings narrow both."""
    found = sheet_facts(launch())["found"]
    said = {row["label"]: row for row in found["rows"]}
    assert list(said) == [
        "onset", "back at zero", "stays in at 250 rpm", "stop", "primary takes up", "secondary takes up", "friction",
        "rubbing block",
    ]  # fmt: skip
    for label, measured, limit in (("stop", 13.8, 0.3), ("secondary takes up", 9.0, 0.5)):
        got = re.fullmatch(r"(\d+\.\d) ± (\d\.\d)° \(distributor\)", said[label]["main"])
        assert got is not None, said[label]
        assert abs(float(got[1]) - measured) < limit
        assert 0 < float(got[2]) <= limit
    assert re.fullmatch(r"\d+ ± \d+ rpm \(distributor\)", said["onset"]["main"])
    assert re.fullmatch(r"\d+ ± \d+ rpm \(crank\)", said["onset"]["small"])
    assert said["friction"]["main"].endswith(" mN·m")


def test_readings_left_out_and_scatter_are_told() -> None:
    fit = launch().fit
    assert fit is not None
    told = replace(fit, outliers=(3, 9), inflation=1.62)
    facts = sheet_facts(replace(launch(), fit=told))
    assert facts["basis"] == "the sweep of the unit as found, 19 readings fitted"
    assert facts["found"]["readings"].startswith("19 readings, 2 left out; they scatter 1.6 times as much as stated (")


def test_every_number_outside_the_table_has_its_unit(trimmed: Plan) -> None:
    facts = sheet_facts(trimmed)
    values = [v for v in _texts([facts["stop"], facts["highest"], facts["settings"]]) if re.search(r"\d", v)]
    values += [v for c in rows(facts).values() for cell in c for v in cell.values() if re.search(r"\d", v)]
    unit = re.compile(
        r" (mm|in|N|N/mm|lbf/in)\b|° \((distributor|crank)\)|° to .*° \((distributor|crank)\)|rpm \((distributor|crank)\)"
    )
    assert len(values) > 20
    assert [v for v in values if not unit.search(v)] == []


def _texts(value: Any) -> list[str]:
    if isinstance(value, str):
        return [value]
    children = value.values() if isinstance(value, dict) else value if isinstance(value, list) else ()
    return [text for child in children for text in _texts(child)]
