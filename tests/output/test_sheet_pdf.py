"""The build sheet as a document: order, pages, text that can be read back, fonts, margins, nothing over anything."""

from __future__ import annotations

import json
import subprocess
import sys
from dataclasses import replace
from functools import cache
from typing import Any

import numpy as np
import pytest
import typst
from pdfpages import Page, embedded, outside, overlapping, read
from sheetplans import launch, leaves

from recurve.data import data_file
from recurve.output.figures.plan import plan_figure_bytes
from recurve.output.sheet.sheet import PAPERS, PARTS, sheet_facts, sheet_pdf, typst_files
from recurve.planner.plan import Plan
from recurve.planner.simulate import Built

FIGURE = b'<svg xmlns="http://www.w3.org/2000/svg" width="510pt" height="346pt"><path d="M0 0L9 9L0 9Z"/></svg>'
DATA = data_file("wire.toml").parent


def query(plan: Plan, label: str, paper: str = "a4") -> list[Any]:
    """The values that the laid-out sheet carries under a label, in the order of the pages."""
    found: list[Any] = json.loads(
        typst.query(
            typst_files("sheet.typ", sheet_facts(plan), {"curve.svg": FIGURE}),
            f"<{label}>",
            field="value",
            ignore_system_fonts=True,
            sys_inputs={"paper": PAPERS[paper]},
        )
    )
    return found


@cache
def launch_pages(paper: Any = "a4", units: Any = "both") -> tuple[bytes, list[Page]]:
    """The launch's sheet and what can be read back from it."""
    pdf = sheet_pdf(launch(), FIGURE, paper, units)
    return pdf, read(pdf)


@pytest.mark.parametrize("units", ["metric", "inch"])
def test_units_of_one_kind_overlap_nothing(units: Any) -> None:
    page = launch_pages("a4", units)[1][0]
    assert overlapping(page) == [] and outside(page, 16.0, 6.0, 6.0) == []
    build = launch().build
    assert build is not None
    # An inch is 25.4 mm (by definition); the length over the primary's posts is on the first page.
    metric, inch = f"{1e3 * build.springs[0].length:.2f}", f"{1e3 * build.springs[0].length / 25.4:.3f}"
    assert (inch in page.words) == (units == "inch") and (metric in page.words) == (units == "metric")


# --- order ------------------------------------------------------------------------------------------------


def test_the_work_is_told_in_order_and_each_caution_where_it_is_needed(plan: Plan, trimmed: Plan) -> None:
    steps = [
        "Stop", "Springs", "Set on the bench, speed rising", "Check on the bench, rising and falling", "Static timing",
        "Timing by light, engine warm",
    ]  # fmt: skip
    assert query(trimmed, "step") == steps == query(plan, "step")
    assert query(trimmed, "caution") == ["weld", "bend", "bench", "engine", "limits"]
    assert query(plan, "caution") == ["bend", "bench", "engine", "limits"]
    assert trimmed.build is not None
    filed = replace(trimmed, build=replace(trimmed.build, trim=-0.1e-3))
    assert query(filed, "caution") == ["file", "bend", "bench", "engine", "limits"]
    assert query(plan, "refused") == []
    built = Built(np.arange(50) > 0, (("post setting", 0.02),))
    assert query(replace(plan, built=built), "chance") == ["98 % set by calliper alone"]


def test_out_of_reach_is_refused_in_large_letters_and_gives_no_work(refused: Plan) -> None:
    assert query(refused, "refused") == ["OUT OF REACH: DO NOT BUILD"]
    assert query(refused, "step") == []
    parts = {p["name"]: p["facts"] for p in sheet_facts(refused)["parts"]}
    assert list(parts) == ["verdict", "check", "curve", "notes", "limits"]
    assert not parts["verdict"]["go"] and parts["verdict"]["numbers"] == []
    assert parts["verdict"]["reasons"] == list(refused.reasons) and parts["notes"]["notes"] == ["A remark."]
    nearest = "the spring now fitted (primary) and the spring now fitted (secondary)"
    assert parts["check"]["nearest"] == nearest
    bare = replace(refused, build=None)
    assert [p["name"] for p in sheet_facts(bare)["parts"]] == ["verdict", "curve", "notes", "limits"]
    assert query(bare, "refused") == query(refused, "refused")
    assert query(bare, "pages") == [1]


def test_the_pages_are_bench_engine_and_findings() -> None:
    assert query(launch(), "chapter") == ["On the engine", "The unit as found"]
    pages = launch_pages()[1]
    assert len(pages) == 3 == query(launch(), "pages")[0]
    told = (("Before you start",), ("Check on the bench", "On the engine"), ("The curve", "The unit as found"))
    for page, words in zip(pages, told, strict=True):
        assert all(one in page.text for one in words)


def test_every_part_has_its_layout_on_paper_and_ready_made_ones_are_laid_out(plan: Plan) -> None:
    assert {layout for _, layout, _ in PARTS} <= {p.stem for p in (DATA / "sheet").glob("*.typ")}
    block = {
        "title": "Timing card", "chapter": True, "cautions": ["Mind the fan."], "text": ["Set it thus."],
        "rows": [{"label": "static", "main": "8.0° (crank)", "small": "by the book"}],
        "table": {
            "heads": [{"name": "speed", "unit": "crank rpm"}, {"name": "read", "unit": "crank degrees"}],
            "rows": [["500"], ["2500"]], "blanks": 1,
        },
        "figures": [{"file": "drawing.svg", "alt": "a drawing", "width": 50}], "boxes": ["timed by", "date"],
    }  # fmt: skip
    pdf = sheet_pdf(plan, FIGURE, given={"timing": block}, figures={"drawing.svg": FIGURE})
    (page,) = [p for p in read(pdf) if "Timing card" in p.text]
    for words in ("Caution. Mind the fan.", "Set it thus.", "8.0° (crank)", "crank degrees", "2500", "timed by"):
        assert words in page.text


# --- the document ----------------------------------------------------------------------------------------


@pytest.mark.parametrize(("paper", "size"), [("a4", (210.0, 297.0)), ("letter", (215.9, 279.4))])
def test_paper_text_fonts_and_margins(paper: Any, size: Any) -> None:
    pdf, pages = launch_pages(paper)
    assert len(pages) == 3
    fonts = embedded(pdf)
    assert fonts and all(fonts.values()), fonts
    for number, page in enumerate(pages, 1):
        # ISO 216 and ANSI/ASME Y14.1 sizes [mm] at 72 points an inch
        assert page.size == pytest.approx([x / 25.4 * 72 for x in size], abs=0.1)
        assert f"page {number} of {len(pages)}" in page.text
        assert launch().job.fingerprint in page.text and launch().job.title in page.text
        assert outside(page, 16.0, 6.0, 6.0) == []
        assert overlapping(page) == []


def test_everything_the_facts_say_can_be_read_on_the_page() -> None:
    text = " ".join(p.text for p in launch_pages()[1]).replace("\u200b", "").lower()
    facts = sheet_facts(launch())
    for part in facts["parts"]:
        for words in leaves(part["facts"]):
            for one in words.replace("\u200b", "").split():
                assert one.strip("();").lower() in text, (part["name"], words)


@pytest.mark.parametrize("paper", ["a4", "letter"])
def test_a_long_job_overlaps_nothing_and_stays_on_its_pages(trimmed: Plan, paper: Any) -> None:
    assert trimmed.build is not None
    build = replace(trimmed.build, results=trimmed.build.results * 3)
    job = replace(trimmed.job, title="W" * 300, unit="x" * 300)
    remark = "A remark of a common length, which fills a line or so of text."
    pages = read(sheet_pdf(replace(trimmed, build=build, job=job, notes=(remark,) * 4), FIGURE, paper))
    assert len(pages) <= 5
    for page in pages:
        assert outside(page, 16.0, 6.0, 6.0) == [] and overlapping(page) == []


def test_a_pdf_without_a_date(plan: Plan) -> None:
    pdf = sheet_pdf(plan, plan_figure_bytes(plan)["curve.svg"])
    assert pdf.startswith(b"%PDF")
    assert b"CreationDate" not in pdf and b"CreateDate" not in pdf


def test_another_figure_another_margin_and_other_units_give_another_sheet(plan: Plan) -> None:
    pdf = sheet_pdf(plan, FIGURE)
    assert sheet_pdf(plan, FIGURE.replace(b"L9 9", b"L9 8")) != pdf
    assert sheet_pdf(plan, FIGURE, units="inch") != pdf
    assert plan.build is not None
    assert sheet_pdf(replace(plan, build=replace(plan.build, margin=-9.0)), FIGURE) != pdf


@pytest.mark.parametrize(
    "text", ['#panic("no")', "*a* _b_ `c` $x$ <pages> @d \\", "= Heading\n\n- #sys.inputs", "日本語\x00שלום"]
)
def test_text_from_a_job_is_never_read_as_markup(refused: Plan, text: str) -> None:
    job = replace(refused.job, title=text, unit=text)
    told = replace(refused, job=job, notes=(text,), reasons=(text,))
    assert query(told, "title") == [" ".join(text.replace("\x00", " ").split())]
    assert query(told, "pages") == [1]


def test_no_heavy_library_is_loaded_before_it_is_needed() -> None:
    code = (
        "import sys, recurve.output.figures.plan, recurve.output.sheet.sheet; "
        "print([m for m in ('matplotlib', 'typst') if m in sys.modules])"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"
