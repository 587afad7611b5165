"""What the build sheet's parts say. How it is laid out is held in test_sheet_pdf.py."""

from __future__ import annotations

import json
import re
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from checkout import EXAMPLES
from sheetplans import JOB, launch, leaves, make

from recurve.diagnosis.check import check_unit
from recurve.job.read import load_job
from recurve.output.documents.plan import PlanDocument
from recurve.output.sheet import blocks
from recurve.output.sheet.numbers import Shown
from recurve.output.sheet.parts import Source
from recurve.output.sheet.sheet import sheet_facts
from recurve.planner.build import make_build
from recurve.planner.plan import Plan
from recurve.planner.simulate import Built
from recurve.uncertainty import Sampled


def part(plan: Plan, name: str, units: Any = "both") -> Any:
    """The facts of one part of the sheet, None where it is left out."""
    found = {one["name"]: one["facts"] for one in sheet_facts(plan, units)["parts"]}
    return found.get(name)


def inch_rows(plan: Plan) -> list[dict[str, str]]:
    facts = blocks.found(Source(plan, PlanDocument.of(plan), Shown(plan.job.speed_ratio, "inch")))
    assert facts is not None
    return list(facts["rows"])


def rows(plan: Plan, units: Any = "both") -> dict[str, list[dict[str, str]]]:
    return {row["label"]: row["cells"] for row in part(plan, "springs", units)["rows"]}


# --- what it says ----------------------------------------------------------------------------------------


def test_header(plan: Plan) -> None:
    facts = sheet_facts(plan)
    assert facts["fingerprint"] == plan.job.fingerprint
    assert part(plan, "verdict")["rotation"] == (
        "clockwise seen from the rotor end, anticlockwise seen from the drive end"
    )
    electronic = replace(plan, job=replace(plan.job, trigger="electronic"))
    for name in ("ready", "engine"):
        assert part(plan, name)["points"] and not part(electronic, name)["points"]
    assert json.loads(json.dumps(facts, allow_nan=False)) == facts


def test_highest_bench_speed_is_a_tenth_past_the_work_rounded_up_to_50(plan: Plan) -> None:
    assert plan.build is not None and plan.build.curve.all_in is not None
    assert plan.build.curve.all_in * 30 / np.pi < 900
    # A band at 900 rpm: 1.1 · 900 = 990, up to 1000, twice that at the crank (hand calculation).
    first = plan.build.results[0]
    late = replace(first, band=replace(first.band, speed=900 * np.pi / 30))
    late_plan = replace(plan, build=replace(plan.build, results=(*plan.build.results, late)))
    assert part(late_plan, "verdict")["highest"] == part(late_plan, "setting")["highest"]
    assert part(late_plan, "verdict")["highest"] == {"main": "1000 rpm (distributor)", "small": "2000 rpm (crank)"}


def test_a_stop_left_alone(plan: Plan) -> None:
    stop = part(plan, "stop")
    assert (stop["way"], stop["trim"]) == ("", None)
    assert stop["planned"] == {"main": "12.0° (distributor)", "small": "24.0° (crank)"}
    assert stop["check"] == {"main": "9.0° to 11.0° (distributor)", "small": "18.0° to 22.0° (crank)"}


def test_a_stop_built_up(trimmed: Plan) -> None:
    # Hand calculation: 0.5 mm at 14 mm is 0.5/14 rad = 2.05°; 0.5 mm is 0.5/25.4 in = 0.020 in.
    stop = part(trimmed, "stop")
    assert stop["way"] == "build up"
    assert stop["trim"] == {"main": "0.50 mm", "small": "0.020 in"}
    assert stop["change"]["main"] == "2.0° (distributor)"
    assert stop["planned"]["main"] == "10.0° (distributor)"


def test_springs_lengths_bends_and_take_up(trimmed: Plan) -> None:
    heads = part(trimmed, "springs")["heads"]
    assert heads[0] == "primary, post P: pulls from rest"
    build = trimmed.build
    assert build is not None and build.springs[1].takeup is not None
    assert heads[1] == f"secondary, post S: takes up at {np.degrees(build.springs[1].takeup):.1f}°"
    said = rows(trimmed)
    assert said["spring"] == [{"main": "the spring now fitted", "small": "leave it in"}] * 2
    assert [c["main"] for c in said["rate"]] == ["1.00 N/mm", "3.00 N/mm"]
    # 1 N/mm = 1000/4.4482216 · 0.0254 lbf/in = 5.71 (exact definitions of lbf and in)
    assert said["rate"][0]["small"] == "5.71 lbf/in"
    assert [c["main"] for c in said["free, inside the hooks"]] == ["15.50 mm", "16.50 mm"]
    assert [c["main"] for c in said["over the posts, as found"]] == ["16.00 mm", "16.00 mm"]
    assert said["over the posts, set to"] == [
        {"main": "16.20 mm", "small": "0.638 in"},
        {"main": "15.90 mm", "small": "0.626 in"},
    ]
    assert said["bend"] == [
        {"main": "outward, away from the other, 0.20 mm", "small": "0.008 in"},
        {"main": "inward, towards the other, 0.10 mm", "small": "0.004 in"},
    ]
    # The job lets both go 0.5 mm either way.
    assert [c["main"] for c in said["travel left"]] == [
        "inward 0.70 mm, outward 0.30 mm",
        "inward 0.40 mm, outward 0.60 mm",
    ]
    # 1 N/mm · (16.2 − 15.5) mm; the slack of 0.6 mm goes at 0.6/1.2 of 12° (hand calculation).
    # 0.70 N / 4.4482 N is 0.157 lbf.
    assert said["pull at rest"] == [
        {"main": "0.70 N", "small": "0.157 lbf"},
        {"main": "none", "small": "slack 0.60 mm"},
    ]
    assert [c["main"] for c in said["takes up"]] == ["pulls from rest", "6.0° (distributor)"]
    assert not {"initial tension", "wire", "outside", "coils, material"} & set(said)


def test_what_is_known_of_a_spring_from_the_shelf_is_told(plan: Plan) -> None:
    assert plan.build is not None
    first, second = plan.build.springs
    spring = replace(
        first.spring, id="#D3", wire=0.5e-3, outer=6.1e-3, coils=12.5, material="music", initial_tension=0.25
    )
    said = rows(replace(plan, build=replace(plan.build, springs=(replace(first, spring=spring), second))))
    assert said["spring"][0] == {"main": "#D3", "small": ""}
    # 0.50 mm is 0.020 in, 6.10 mm 0.240 in (hand calculation).
    assert said["wire"] == [{"main": "0.50 mm", "small": "0.020 in"}, {"main": "", "small": ""}]
    assert said["outside"][0] == {"main": "6.10 mm", "small": "0.240 in"}
    assert said["coils, material"][0]["main"] == "12.5, music"
    assert said["initial tension"][0]["main"] == "0.25 N"
    assert [c["main"] for c in said["bend"]] == ["leave it as it stands"] * 2


def test_a_second_spring_that_never_pulls_says_so(plan: Plan) -> None:
    assert plan.build is not None
    first, second = plan.build.springs
    idle = replace(plan.build, springs=(first, replace(second, takeup=None)))
    assert rows(replace(plan, build=idle))["takes up"][1]["main"] == "never before the stop"


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
    said = rows(make(tmp_path, text))
    assert said["post to bend"][0] == {"main": "base plate, 21.0 mm from the axis", "small": "at 40°"}
    assert said["other post"][0] == {"main": "cam plate, 12.0 mm from the axis", "small": "at 75°"}
    assert said["post to bend"][1]["main"] == "the one that you marked"


def primary_by_hand(bend: float) -> float:
    """Speed [rpm] at which 1° is in, by hand from equation 3 (recurve.physics) for the job's round numbers and a
    bend [mm]: length 16.1 mm + bend, radius 15 + 1/6 mm, both growing evenly with the advance; T_d + T_f = 5 mN·m."""
    per_radian = 180 / np.pi
    torque = (0.6 + bend) * (1.2e-3 / 12 * per_radian)
    inertia_slope = 2 * 0.030 * 2 * (15 + 1 / 6) * 1e-3 * (1e-3 / 6 * per_radian)
    return float(np.sqrt(2 * (torque + 5e-3) / inertia_slope) * 30 / np.pi)


def test_bench_setting_speeds_and_what_a_bend_does(plan: Plan) -> None:
    first, second = part(plan, "setting")["settings"]
    assert (first["spring"], first["mark"], second["spring"], second["mark"]) == ("primary", "P", "secondary", "S")
    speed = primary_by_hand(0.0)
    assert first["speed"] == {"main": f"{speed:.0f} rpm (distributor)", "small": f"{2 * speed:.0f} rpm (crank)"}
    moved = primary_by_hand(0.1) - speed
    assert first["effect"] == f"Bending the post by 0.10 mm moves that by about {moved:.0f} rpm (distributor)"
    assert first["advance"]["main"] == "1.0° (distributor)"
    assert second["advance"] == {"main": "11.0° (distributor)", "small": "22.0° (crank)"}


def test_a_spring_found_in_the_other_place_is_to_be_moved(plan: Plan) -> None:
    assert plan.build is not None
    first, second = plan.build.springs
    swapped = replace(plan.build, springs=(second, first))
    assert rows(replace(plan, build=swapped))["spring"] == [
        {"main": "the spring now fitted", "small": "move it here: it is the secondary"},
        {"main": "the spring now fitted", "small": "move it here: it is the primary"},
    ]


def test_a_unit_with_one_spring_has_one_setting(plan: Plan) -> None:
    job = replace(plan.job, places=plan.job.places[:1])
    found = job.places[0].found
    assert found is not None
    build = make_build(job, (found,), (0.0,), job.stop.advance)
    single = replace(plan, job=job, build=build)
    assert [s["mark"] for s in part(single, "setting")["settings"]] == ["P"]
    assert part(single, "springs")["heads"] == ["primary, post P: pulls from rest"]
    assert len(part(single, "verdict")["numbers"]) == 3


def test_bench_check_in_the_order_of_speed_the_maximum_last(plan: Plan) -> None:
    table = part(plan, "check")["rows"]
    assert [r["what"] for r in table] == ["idle", "", "", "maximum"]
    assert [r["speed"] for r in table[:3]] == ["200", "400", "600"]
    assert [r["crank"] for r in table[:3]] == ["400", "800", "1200"]
    assert [(r["min"], r["max"]) for r in table] == [("0.0", "0.5"), ("2.0", "5.0"), ("6.0", "9.0"), ("9.0", "11.0")]
    # Below onset nothing is in, at the highest speed the stop's 12°, which is outside its band.
    assert (table[0]["rising"], table[0]["falling"]) == ("0.0", "0.0")
    assert (table[3]["rising"], table[3]["inside"], table[0]["inside"]) == ("12.0", False, True)
    assert f"{table[3]['speed']} rpm (distributor)" == part(plan, "verdict")["highest"]["main"]


def test_a_band_that_one_decimal_would_move_is_given_with_two(tmp_path: Path) -> None:
    # Crank degrees halve: 12.5° at the crank is 6.25° of the distributor.
    text = JOB.replace('min = "6 deg", max = "9 deg"', 'min = "6.25 deg", max = "9 deg"')
    table = part(make(tmp_path, text), "check")["rows"]
    assert [(r["min"], r["max"]) for r in table][2] == ("6.25", "9.00")
    assert {len(r[k].split(".")[1]) for r in table for k in ("min", "rising", "falling", "max")} == {2}


# --- how sure it is, and the unit as found ---------------------------------------------------------------


def test_the_chance_of_passing_and_what_costs_most(plan: Plan, refused: Plan) -> None:
    # 49 of 50 builds pass; what gains less than 1 % is not named, and no more than two are.
    passed = np.arange(50) > 0
    costs = (("post setting", 0.02), ("spring rates", 0.013), ("stop", 0.011), ("mass geometry", 0.0))
    told = part(replace(plan, built=Built(passed, costs)), "verdict")["chance"]
    assert told == {
        "main": "98 % set by calliper alone",
        "small": "most of the risk comes from post setting (2 %) and spring rates (1 %)",
    }
    sure = part(replace(plan, built=Built(np.ones(8, bool), costs[-1:])), "verdict")["chance"]
    assert sure == {"main": "over 99 % set by calliper alone", "small": "no single uncertainty costs as much as 1 %"}
    assert part(plan, "verdict")["chance"] is None
    assert part(replace(refused, built=Built(passed, costs)), "verdict")["chance"] is None


def test_a_plan_from_the_description_says_so_and_shows_nothing_as_found(plan: Plan) -> None:
    assert part(plan, "verdict")["basis"] == "the unit as described; no sweep was fitted"
    assert part(plan, "found") is None and part(plan, "curve")["shaded"] == ""


def test_a_plan_from_a_sweep_shows_the_unit_as_found() -> None:
    plan = launch()
    # launch-as-found.csv has 21 readings.
    assert part(plan, "verdict")["basis"] == "the sweep of the unit as found, 21 readings"
    assert part(plan, "found")["readings"].startswith("21 readings; they scatter no more than their ± allows")
    shaded = part(plan, "curve")["shaded"]
    assert "nine builds in ten" in shaded and "round the curve as found" in shaded


def test_the_findings_are_those_of_the_check() -> None:
    told = part(launch(), "found")["findings"]
    checked = check_unit(load_job(EXAMPLES / "launch.toml")).findings
    assert [(f["what"], f["remedy"]) for f in told] == [(f.what, f.remedy) for f in checked]
    # In the words of the sheet of a unit as found, not in those of the JSON.
    assert {f.severity for f in checked} == {"high"} and {f["severity"] for f in told} == {"serious"}


def test_as_found_the_sweep_agrees_with_what_was_measured_by_hand() -> None:
    """The launch's job: stop 13.8 ± 0.3° and secondary 9.0 ± 0.5° by degree wheel; the readings narrow both."""
    found = part(launch(), "found")
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
    noted = replace(launch(), fit=told)
    assert part(noted, "verdict")["basis"] == "the sweep of the unit as found, 19 readings"
    assert part(noted, "found")["readings"].startswith(
        "19 readings, 2 left out; they scatter 1.6 times as much as their ± allows"
    )


def test_every_number_outside_the_table_has_its_unit(trimmed: Plan) -> None:
    told = [part(trimmed, "stop"), part(trimmed, "setting"), [n["value"] for n in part(trimmed, "verdict")["numbers"]]]
    values = [v for v in leaves(told) if re.search(r"\d", v)]
    values += [
        v
        for name, c in rows(trimmed).items()
        if name != "coils, material"
        for cell in c
        for v in cell.values()
        if re.search(r"\d", v)
    ]
    unit = re.compile(
        r" (mm|in|N|N/mm|lbf|lbf/in)\b|° \((distributor|crank)\)|° to .*° \((distributor|crank)\)|rpm \((distributor|crank)\)"
    )
    assert len(values) > 20
    assert [v for v in values if not unit.search(v)] == []


# --- the numbers to set, the units, the engine ---------------------------------------------------------------


def test_the_five_numbers_to_set_come_first_and_are_those_of_the_steps(trimmed: Plan) -> None:
    assert sheet_facts(trimmed)["parts"][0]["name"] == "verdict"
    numbers = part(trimmed, "verdict")["numbers"]
    assert [n["name"] for n in numbers] == [
        "stop", "over post P, at rest", "over post S, at rest", "1.0° in, rising", "9.0° in, rising",
    ]  # fmt: skip
    settings = part(trimmed, "setting")["settings"]
    assert [n["value"] for n in numbers] == [
        part(trimmed, "stop")["planned"], *rows(trimmed)["over the posts, set to"], *(s["speed"] for s in settings)
    ]  # fmt: skip


def test_metric_or_inch_alone(trimmed: Plan) -> None:
    """1 in = 25.4 mm and 1 lbf = 4.4482216152605 N exactly."""
    length, rate, pull = "over the posts, set to", "rate", "pull at rest"
    metric, inch = rows(trimmed, "metric"), rows(trimmed, "inch")
    assert metric[length][0] == {"main": "16.20 mm", "small": ""}
    assert inch[length][0] == {"main": "0.638 in", "small": ""}
    assert (metric[rate][0], inch[rate][0]) == (
        {"main": "1.00 N/mm", "small": ""},
        {"main": "5.71 lbf/in", "small": ""},
    )
    assert (metric[pull][0]["main"], inch[pull][0]["main"]) == ("0.70 N", "0.157 lbf")
    for units, foreign in (("metric", r"\d (in|lbf|ozf)\b"), ("inch", r"\d (mm|N|mN·m)\b")):
        assert not [t for t in leaves(sheet_facts(trimmed, units)["parts"][:-1]) if re.search(foreign, t)]
    told = {r["label"]: r["main"] for r in inch_rows(launch())}
    both = {r["label"]: r for r in part(launch(), "found")["rows"]}
    # 1 mN·m = 1e-3 / (4.4482216/16 · 0.0254) ozf·in = 0.14161 ozf·in
    value = float(both["rubbing block"]["main"].split(" ")[0]) * 0.14161
    assert float(told["rubbing block"].split(" ")[0]) == pytest.approx(value, abs=0.006)


def test_the_engine_s_table_is_the_bench_s_times_the_ratio(plan: Plan) -> None:
    bench, crank = part(plan, "check")["rows"], part(plan, "engine")["rows"]
    for low, high in zip(bench, crank, strict=True):
        assert high["speed"] == low["crank"]
        for a, b in (("min", "min"), ("rising", "aim"), ("max", "max")):
            assert float(high[b]) == pytest.approx(2 * float(low[a]), abs=0.11)
    assert part(plan, "engine")["static"] == ""


def test_ready_made_parts_are_shown_in_their_place(plan: Plan) -> None:
    block = {"title": "Timing card", "rows": []}
    names = [p["name"] for p in sheet_facts(plan, given={"timing": block})["parts"]]
    assert names.index("engine") + 1 == names.index("timing")
    assert "timing" not in [p["name"] for p in sheet_facts(plan)["parts"]]


def test_a_sampled_speed_is_told_with_two_standard_uncertainties() -> None:
    """400 and 440 rpm, equally likely: 420 rpm with a standard deviation of 20, so ± 40, and twice of both at the crank."""
    told = Shown(2.0).uncertain_speed(Sampled(np.array([400.0, 440.0]) * np.pi / 30))
    assert told == {"main": "420 ± 40 rpm (distributor)", "small": "840 ± 80 rpm (crank)"}
