"""The sheet's ready-made parts: there with all, some or none of the job's blocks, and no text that is cut or empty."""

from __future__ import annotations

import re
from dataclasses import replace
from functools import cache
from pathlib import Path
from tempfile import TemporaryDirectory

import numpy as np
import pytest
from checkout import EXAMPLES, written
from example_plans import planned

from recurve.inspection.inspected import inspect_unit
from recurve.inspection.model import Inspection
from recurve.job.read import load_job
from recurve.output.documents.plan import PlanDocument
from recurve.output.sheet.blocks import ready_parts
from recurve.output.sheet.sheet import sheet_facts, sheet_pdf
from recurve.planner.plan import Plan, make_plan

BLOCKS = """
[condition]
side_play = "0.2 ± 0.01 mm"
dwell = "38 ± 0.5 deg"
coil = { resistance = "1.6 ohm", inductance = "6 mH", supply = "13 V", ballast = "1.5 ohm" }
[vacuum]
hold = { vacuum = "16.5 ± 0.1 inHg", left = "16.2 ± 0.1 inHg", after = "30 s" }
[timing]
static = "10 deg"
total = "34 deg"
idle = "600 rpm"
top_speed = "3600 rpm"
"""


@cache
def plan() -> Plan:
    """The launch's plan without its sweep, its job with every block; invented figures."""
    text = (EXAMPLES / "launch.toml").read_text(encoding="utf-8") + BLOCKS
    with TemporaryDirectory() as folder:
        path = Path(folder) / "blocks.toml"
        for name in ("../data/springs.csv", "launch-as-found.csv"):
            text = text.replace(f'"{name}"', f"'{written((EXAMPLES / name).resolve())}'")
        path.write_text(text, encoding="utf-8")
        return make_plan(replace(load_job(path), sweep=None))


def some(**kept: object) -> Plan:
    """The plan with these blocks alone."""
    job = replace(plan().job, inspection=Inspection(**kept))
    return replace(plan(), job=job, inspected=inspect_unit(job.inspection, job.lobes, job.speed_ratio))


def test_all_blocks_are_on_the_sheet() -> None:
    parts, figures = ready_parts(plan(), PlanDocument.of(plan()))
    assert set(parts) == {"order", "timing", "condition", "mechanism"}
    assert {f["file"] for p in parts.values() for f in p.get("figures", ())} == set(figures)
    names = [p["name"] for p in sheet_facts(plan(), given=parts)["parts"]]
    assert {"order", "timing", "condition"} <= set(names)
    assert sheet_pdf(plan(), figures["unit.svg"], given=parts, figures=figures).startswith(b"%PDF")


def test_wear_over_its_limit_is_told_on_the_sheet() -> None:
    """0.2 mm of side play, over 0.006 in (common practice, no source)."""
    condition = ready_parts(plan(), PlanDocument.of(plan()))[0]["condition"]
    assert any(r["label"] == "side play" and r["main"].endswith("fail") for r in condition["rows"])


def test_the_timing_card_adds_up() -> None:
    """The setting's total is the book's 34° at the crank (in the job), and no row is past it by more than rounding."""
    timing = ready_parts(plan(), PlanDocument.of(plan()))[0]["timing"]
    assert "a total of 34.0° (crank)" in timing["text"][0]
    planned = [h["name"].partition(",")[0] for h in timing["table"]["heads"]].index("planned")
    assert max(float(row[planned]) for row in timing["table"]["rows"]) == pytest.approx(34.0, abs=0.06)


def test_the_timing_card_has_vacuum_off_and_on() -> None:
    """Full vacuum adds the middle of 7 to 9° (distributor), 16° at the crank, at every speed (common practice, no source)."""
    given = plan().job.inspection
    assert given.vacuum is not None and given.timing is not None
    bands = {"start": (14e3, 20e3), "full": (37e3, 47e3), "maximum": (np.radians(7.0), np.radians(9.0))}
    with_vacuum = some(
        vacuum=replace(given.vacuum, **bands),
        timing=replace(given.timing, cruise_speed=200.0, cruise_vacuum=50e3),
    )
    timing = ready_parts(with_vacuum, PlanDocument.of(with_vacuum))[0]["timing"]
    assert timing["text"][-1] == "Vacuum adds +16.0° (crank) at cruise, by the book."
    table = timing["table"]
    assert [h["unit"].partition(", ")[2] for h in table["heads"]][-2:] == ["vacuum off", "vacuum on, at cruise +16.0°"]
    assert all(float(on) - float(off) == pytest.approx(16.0, abs=0.11) for *_, off, on in table["rows"])


def test_the_page_for_the_engine_says_what_the_timing_card_says() -> None:
    """One static, and the book's total of 34° (in the job) where all advance is in."""
    parts = ready_parts(plan(), PlanDocument.of(plan()))[0]
    facts = next(p["facts"] for p in sheet_facts(plan(), given=parts)["parts"] if p["name"] == "engine")
    heads = [h["name"] for h in parts["timing"]["table"]["heads"]]
    static = next(name.rpartition(" ")[2] for name in heads if name.startswith("planned"))
    assert facts["carded"]["static"] == static
    assert {row["static"] + "°" for row in facts["rows"]} == {static}
    assert facts["rows"][-1]["what"] == "all in" and float(facts["rows"][-1]["total"]) == pytest.approx(34.0, abs=0.06)


@pytest.mark.parametrize("kept", [("condition",), ("vacuum",), ("timing",), ()])
def test_some_or_none(kept: tuple[str, ...]) -> None:
    bare = some(**{name: getattr(plan().job.inspection, name) for name in kept})
    parts, _ = ready_parts(bare, PlanDocument.of(bare))
    assert ("timing" in parts) == ("timing" in kept)
    assert ("condition" in parts) == bool({"condition", "vacuum"} & set(kept))
    assert {"order", "mechanism"} <= set(parts)


def test_a_list_of_springs_says_what_is_in_stock() -> None:
    order = ready_parts(plan(), PlanDocument.of(plan()))[0]["order"]
    made = plan().build
    assert made is not None
    assert [row[1] for row in order["table"]["rows"]] == [s.spring.id for s in made.springs]
    assert all(row[2] == "to order" or row[2].endswith("in stock") for row in order["table"]["rows"])


def test_the_engine_s_page_and_the_timing_card_name_one_static() -> None:
    """The card sets 34° in all with the planned maximum; the page before it adds the same static to each row."""
    parts, _ = ready_parts(plan(), PlanDocument.of(plan()))
    facts = {p["name"]: p["facts"] for p in sheet_facts(plan(), given=parts)["parts"]}
    assert facts["engine"]["carded"]["static"] in facts["timing"]["text"][0]
    assert facts["engine"]["static"] == "10.0° (crank)"  # the book's, named as such
    assert float(facts["engine"]["rows"][-1]["total"]) == pytest.approx(34.0, abs=0.06)


def test_what_was_said_before_is_not_said_again() -> None:
    """Cautions of the engine stand before the timing card; findings of the inspection among those of the unit as found."""
    told = ready_parts(plan(), PlanDocument.of(plan()))[0]
    assert told["timing"]["cautions"] == [] and told["condition"]["text"]
    assert not any(re.search(r"^[a-z]|\. [a-z]", words) for words in told["condition"]["text"])
    refused = replace(plan(), verdict="out of reach")
    assert ready_parts(refused, PlanDocument.of(refused))[0]["timing"]["cautions"]
    fitted = replace(plan(), fit=planned("launch").fit)
    assert ready_parts(fitted, PlanDocument.of(fitted))[0]["condition"]["text"] == []
