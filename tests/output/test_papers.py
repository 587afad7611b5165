"""What a person at the bench sees of the papers: pages that are full, heads over their columns, one system of units, and boxes
that hold what is known."""

from __future__ import annotations

import csv
import io
import json
import re
from dataclasses import replace
from functools import cache
from typing import Any

import numpy as np
import pytest
from checkout import EXAMPLES
from example_plans import planned
from longer import some
from pdfpages import POINT, Page, read

from recurve.diagnosis.check import check_bare, check_unit
from recurve.job.model import BareJob
from recurve.job.read import load_any, load_job
from recurve.output.documents.check import CheckDocument
from recurve.output.documents.plan import PlanDocument
from recurve.output.figures.look import look_figure_bytes
from recurve.output.figures.plan import plan_figure_bytes
from recurve.output.planfile import order_csv
from recurve.output.sheet.blocks import ready_parts
from recurve.output.sheet.look import found_facts, found_pdf
from recurve.output.sheet.numbers import Shown
from recurve.output.sheet.sheet import sheet_facts, sheet_pdf
from recurve.physics.sweep import AsRead
from recurve.units import LengthUnits

FOOT_MM = 14.0  # the lower margin, with the foot


@cache
def pages(name: str, paper: Any = "a4", units: Any = "both") -> list[Page]:
    """The sheet of an example as `recurve plan` writes it."""
    plan = planned(name)
    document = PlanDocument.of(plan)
    given, drawn = ready_parts(plan, document, units)
    return read(sheet_pdf(plan, plan_figure_bytes(plan)["curve.svg"], paper, units, given, drawn, document))


def used(page: Page) -> float:
    """How far down a page its words reach, its foot apart, as a fraction of its height."""
    body = page.boxes[page.boxes[:, 3] < page.size[1] - FOOT_MM * POINT]
    return float(body[:, 3].max() / page.size[1])


@pytest.mark.parametrize("paper", ["a4", "letter"])
@pytest.mark.parametrize("name", some(["launch", "pump"], 1))
def test_a_sheet_has_three_pages_and_none_is_half_empty(name: str, paper: str) -> None:
    made = pages(name, paper)
    assert len(made) == 3
    assert all(used(page) > 0.75 for page in made), [used(page) for page in made]


def test_what_belongs_together_stays_on_one_page() -> None:
    """The table for the light and the lines below it; the setting and its caution; the curve and its head."""
    for paper in ("a4", "letter"):
        for page in pages("launch", paper):
            assert ("total, read" in page.text) == ("timed by" in page.text)
            assert ("Set on the bench, speed rising" in page.text) == ("with a clip missing" in page.text)
            assert ("The curve" in page.text) == ("Shaded" in page.text)


@pytest.mark.parametrize(("head", "column"), [("min", 2), ("rising", 3), ("falling", 4), ("max", 5)])
def test_heads_stand_over_their_values(head: str, column: int) -> None:
    """In the bench table of the launch, whose row at 900 rpm has both speeds, the band and the two aims."""
    page = next(p for p in pages("launch") if "Check on the bench" in p.text)
    names, boxes = np.array(page.words), page.boxes
    top = boxes[np.flatnonzero(names == "Check")[0], 1]
    row = boxes[np.flatnonzero((names == "900") & (boxes[:, 1] > top))[0], 1]
    right = np.sort(boxes[np.abs(boxes[:, 1] - row) < 2.0, 2])
    heads = boxes[(names == head) & (boxes[:, 1] > top) & (boxes[:, 1] < row), 2]
    assert np.abs(heads - right[column]).min() < 1.0


# --- one system of units ------------------------------------------------------------------------------------

METRIC = re.compile(r"\d (?:mm|N/mm|N|mN·m)\b|\b(?:mm|N/mm|mN·m)\b")
IMPERIAL = re.compile(r"\d (?:in|lbf|lbf/in|ozf·in)\b(?! stock\b)|\blbf/in\b|\bozf·in\b")


@pytest.mark.parametrize(("units", "other"), [("inch", METRIC), ("metric", IMPERIAL)])
@pytest.mark.parametrize("name", some(["launch", "crane"], 1))
def test_a_sheet_in_one_system_has_no_number_in_the_other(name: str, units: str, other: re.Pattern[str]) -> None:
    text = " ".join(p.text for p in pages(name, "a4", units))
    assert other.findall(text) == []


def test_an_inch_sheet_turns_findings_and_order_list_too() -> None:
    """An inch is 25.4 mm and a pound-force 4.4482216152605 N, both by definition."""
    plan = planned("launch")
    text = " ".join(p.text for p in pages("launch", "a4", "inch"))
    found = next(p for p in sheet_facts(plan, "metric")["parts"] if p["name"] == "found")["facts"]
    stop = next(f["evidence"] for f in found["findings"] if "trim" in f["evidence"])
    lengths = [float(x) for x in re.findall(r"(\d+\.\d+) mm", stop)]
    assert len(lengths) == 3 and all(f"{x / 25.4:.3f} in" in text for x in lengths)
    low, high = (x / 4.4482216152605 * 25.4e-3 for x in plan.purchases[0].rates)
    assert f"{low:.2f} to {high:.2f}" in text
    low, high = (x * 1e3 / 25.4 for x in plan.purchases[0].lengths)
    assert f"{low:.3f} to {high:.3f}" in text


def test_the_file_of_the_order_is_in_inch_units_too() -> None:
    """By definition as above; the metric file is what it was."""
    plan = planned("launch")
    metric, inch = (list(csv.DictReader(io.StringIO(order_csv(plan, u).decode()))) for u in ("both", "inch"))
    assert order_csv(plan) == order_csv(plan, "metric") == order_csv(plan, "both")
    assert not any("mm" in name or "[N" in name for name in inch[0])
    for one, other in zip(metric, inch, strict=True):
        assert float(other["rate [lbf/in]"]) == pytest.approx(
            float(one["rate [N/mm]"]) / 4.4482216152605 * 25.4, rel=1e-5
        )
        assert float(other["wire [in]"]) == pytest.approx(float(one["wire [mm]"]) / 25.4, rel=1e-5)
        for end in ("from", "to"):
            length = float(one[f"free_length_{end} [mm]"]) / 25.4
            assert float(other[f"free_length_{end} [in]"]) == pytest.approx(length, abs=1e-3)


def test_sentences_in_inch_units() -> None:
    """By hand: 1 N/mm = 25.4/4.4482 = 5.71 lbf/in; 1 mN·m = 1/(4.4482/16·25.4) = 0.1416 ozf·in; 0.46 mm = 0.018 in."""
    inch, metric = Shown(2.0, "inch"), Shown(2.0, "metric")
    assert inch.words("0.46 mm reaches the edge") == "0.018 in reaches the edge"
    assert inch.words("of 1.00 to 2.00 N/mm") == "of 5.71 to 11.42 lbf/in"
    assert inch.words("0.11 ± 0.01 mm (0.004 in)") == "0.004 ± 0.000 in"
    assert inch.words("friction 1.0 mN·m") == "friction 0.14 ozf·in"
    assert inch.words("a pull of 4.45 N.") == "a pull of 1.000 lbf."
    assert inch.words("at 900 rpm (distributor), D2-18 N7") == "at 900 rpm (distributor), D2-18 N7"
    assert metric.words("0.11 ± 0.01 mm (0.004 in), 0.3 mm") == "0.11 ± 0.01 mm, 0.3 mm"
    assert Shown(2.0, "both").words("0.11 mm (0.004 in)") == "0.11 mm (0.004 in)"


def test_no_inch_beside_the_word_in() -> None:
    """A bend says its way, then how far: "0.005 in in" reads as a slip of the pen."""
    for units in ("inch", "both"):
        text = " ".join(p.text for p in pages("launch", "a4", units))
        assert not re.search(r"\d in in\b|\d in out\b", text)


# --- boxes that are known are filled ------------------------------------------------------------------------


def test_the_static_that_the_job_tells_and_the_totals_are_filled_in() -> None:
    """The pump's card gives 9° static. By hand: the light shows 9° and what the unit adds."""
    assert planned("pump").job.target_static == pytest.approx(np.radians(9.0))
    engine = next(p for p in sheet_facts(planned("pump"))["parts"] if p["name"] == "engine")["facts"]
    assert engine["static"] == "9.0° (crank)"
    for row in engine["rows"]:
        assert row["static"] == "9.0" and float(row["total"]) == pytest.approx(9.0 + float(row["aim"]), abs=0.051)
    page = next(p for p in pages("pump") if "On the engine" in p.text)
    last = engine["rows"][-1]
    assert f"all in {last['speed']} {last['min']} {last['aim']} {last['max']} 9.0 {last['total']}" in page.text


def test_where_the_static_is_not_told_its_boxes_stay_empty() -> None:
    engine = next(p for p in sheet_facts(planned("launch"))["parts"] if p["name"] == "engine")["facts"]
    assert engine["static"] == "" and all(r["static"] == r["total"] == "" for r in engine["rows"])


# --- the sheet of a unit as found ---------------------------------------------------------------------------


def test_every_column_of_the_sheet_as_found_says_distributor_or_what_it_counts() -> None:
    job = load_any(EXAMPLES / "dinghy.toml")
    assert isinstance(job, BareJob)
    parts = {p["name"]: p["facts"] for p in found_facts(job, CheckDocument.of(check_bare(job)), {})["parts"]}
    for head in parts["bands"]["table"]["heads"][1:-1]:
        assert head["unit"].endswith(", distributor"), head
    assert [h["unit"] for h in parts["strength"]["table"]["heads"][1:3]] == ["of what the book needs", "times as much"]
    assert parts["signed"]["boxes"] == ["swept by", "bench", "date"]
    crank = replace(job, sweep=replace(job.sweep, as_read=AsRead("crank", "crank", 2.0))) if job.sweep else job
    parts = {p["name"]: p["facts"] for p in found_facts(crank, CheckDocument.of(check_bare(job)), {})["parts"]}
    assert parts["signed"]["boxes"] == ["swept by", "timing light or bench", "date"]


@pytest.mark.parametrize(
    ("units", "never", "somewhere"), [("inch", r"\d\s(?:mm|N/mm|N)\b", "in"), ("metric", r"\d\s(?:in|lbf)\b", "mm")]
)
def test_a_sheet_as_found_has_its_lengths_in_the_units_asked_for(
    units: LengthUnits, never: str, somewhere: str
) -> None:
    """The launch's own springs do, with a trim of the stop, which its findings tell as a length."""
    job = load_job(EXAMPLES / "launch.toml")
    told = json.dumps(found_facts(job, CheckDocument.of(check_unit(job)), {}, units)["parts"], ensure_ascii=False)
    assert not re.search(never, told.replace("\N{NO-BREAK SPACE}", " "))
    assert re.search(rf"\d\s{somewhere}\b", told)


@pytest.mark.parametrize("paper", ["a4", "letter"])
def test_the_tables_of_the_sheet_as_found_are_not_torn(paper: Any) -> None:
    """Each head of a column stands once: a table that goes over a page repeats it."""
    job = load_any(EXAMPLES / "dinghy.toml")
    assert isinstance(job, BareJob)
    result = check_bare(job)
    assert result.look is not None
    svgs = {name: made for name, made in look_figure_bytes(job, result.look).items() if name.endswith(".svg")}
    made = read(found_pdf(job, CheckDocument.of(result), svgs, paper))
    text = " ".join(p.text for p in made)
    assert len(made) == 2 and text.count("they must pull") == 1 and text.count("outside probability") <= 1
