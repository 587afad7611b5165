"""The report page: complete, self-contained, escaped; and in a real browser where the machine has one."""

from __future__ import annotations

import re
from collections import Counter
from dataclasses import replace
from functools import cache
from html.parser import HTMLParser
from pathlib import Path

import pytest
from browser import Browser, executable
from pdfpages import read
from sheetplans import launch, leaves

from recurve.data import data_file
from recurve.output.figures.plan import narrow_figure_svg, plan_figure_bytes
from recurve.output.sheet.sheet import PARTS, inline_svg, page_html, sheet_facts
from recurve.planner.plan import Plan

DATA = data_file("wire.toml").parent
SVG = b'<?xml version="1.0"?>\n<svg xmlns="http://www.w3.org/2000/svg" width="9pt" height="9pt"><path id="p" d="M0 0"/></svg>'
FIGURES = {"curve.svg": SVG, "curve-narrow.svg": SVG}
EMPTY = {"meta", "link", "br", "img", "hr"}


class Reader(HTMLParser):
    """Text outside style and SVG, attributes, and whether every element is closed in order."""

    def __init__(self) -> None:
        super().__init__()
        self.open: list[str] = []
        self.attributes: list[tuple[str, str, str]] = []
        self.texts: list[str] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.attributes += [(tag, name, value or "") for name, value in attrs]
        if tag not in EMPTY:
            self.open.append(tag)

    def handle_startendtag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.attributes += [(tag, name, value or "") for name, value in attrs]

    def handle_endtag(self, tag: str) -> None:
        assert self.open and self.open.pop() == tag, tag

    def handle_data(self, data: str) -> None:
        if not {"style", "svg"} & set(self.open):
            self.texts.append(data)


def parsed(page: bytes) -> Reader:
    reader = Reader()
    reader.feed(page.decode("utf-8"))
    reader.close()
    assert reader.open == []
    return reader


@cache
def launch_page() -> bytes:
    figures = {"curve.svg": plan_figure_bytes(launch())["curve.svg"], "curve-narrow.svg": narrow_figure_svg(launch())}
    return page_html(launch(), figures)


# --- structure, without a browser ---------------------------------------------------------------------------


def test_the_page_says_all_that_the_sheet_says() -> None:
    text = " ".join(" ".join(parsed(launch_page()).texts).split()).lower()
    facts = sheet_facts(launch())
    for words in (facts["title"], facts["unit"], facts["fingerprint"], facts["version"]):
        assert words.replace("\u200b", "").lower() in text
    for part in facts["parts"]:
        for words in leaves(part["facts"]):
            for one in words.split():
                assert one.strip("();").lower() in text, (part["name"], words)


def test_nothing_is_asked_of_a_network_and_nothing_runs() -> None:
    page = launch_page().decode()
    reader = parsed(launch_page())
    assert not [t for t, _, _ in reader.attributes if t in ("script", "iframe", "object", "embed", "img")]
    assert "<script" not in page and "@import" not in page
    for _, name, value in reader.attributes:
        assert not name.startswith("on")
        if name in ("src", "href", "xlink:href", "action", "srcset"):
            assert value.startswith("#") or value == "data:,", value
    assert all(u.startswith("#") for u in re.findall(r"url\(([^)]*)\)", page))
    (policy,) = [v for t, n, v in reader.attributes if (t, n) == ("meta", "content") and "default-src" in v]
    assert policy.startswith("default-src 'none'")


def test_ids_are_unique_and_references_lead_somewhere() -> None:
    attributes = parsed(launch_page()).attributes
    ids = Counter(v for _, name, v in attributes if name == "id")
    assert [i for i, n in ids.items() if n > 1] == []
    links = {v[1:] for _, name, v in attributes if name in ("href", "xlink:href") and v.startswith("#")}
    assert links <= set(ids)


def test_every_layout_is_there_for_the_screen_too() -> None:
    assert {layout for _, layout, _ in PARTS} <= {p.stem for p in (DATA / "page").glob("*.html")}


def test_ready_made_parts_and_refusals_are_shown(plan: Plan) -> None:
    block = {
        "title": "Timing card",
        "cautions": ["Mind the fan."],
        "figures": [{"file": "drawing.svg", "alt": "a drawing"}],
    }
    page = page_html(plan, {**FIGURES, "drawing.svg": SVG}, given={"timing": block})
    reader = parsed(page)
    assert "Timing card" in reader.texts and page.count(b'd="M0 0"') == 3
    refused = replace(plan, verdict="out of reach", reasons=("No springs at all.",))
    texts = " ".join(parsed(page_html(refused, FIGURES)).texts)
    assert "OUT OF REACH: DO NOT BUILD" in texts and "No springs at all." in texts and "On the engine" not in texts


@pytest.mark.parametrize("text", ["<script>alert(1)</script>", '"><img src=x>', "{{ 7 * 7 }}", "日本語 & שלום"])
def test_text_from_a_job_is_never_read_as_markup(plan: Plan, text: str) -> None:
    told = replace(plan, job=replace(plan.job, title=text, unit=text), notes=(text,))
    reader = parsed(page_html(told, FIGURES))
    assert " ".join(reader.texts).count(text) >= 3
    assert not [t for t, _, _ in reader.attributes if t in ("script", "img")]


def test_other_units_make_another_page_and_an_svg_keeps_to_itself(plan: Plan) -> None:
    assert page_html(plan, FIGURES, "inch") != page_html(plan, FIGURES)
    svg = b'<?xml?><svg width="9" viewBox="0 0 9 9"><g id="a" clip-path="url(#b)"/><use href="#a"/></svg>'
    inlined = inline_svg(svg, "one")
    assert inlined == (
        '<svg viewBox="0 0 9 9" role="img"><g id="one-a" clip-path="url(#one-b)"/><use href="#one-a"/></svg>'
    )


# --- in a browser -------------------------------------------------------------------------------------------


@pytest.mark.skipif(executable() is None, reason="no Chromium on this machine (chromium, google-chrome)")
def test_in_chromium_nothing_overflows_asks_or_complains_and_it_prints_like_the_sheet(tmp_path: Path) -> None:
    path = tmp_path / "report.html"
    path.write_bytes(launch_page())
    with Browser.start() as browser:
        for width, height, phone in ((320, 640, True), (390, 844, True), (1280, 900, False)):
            seen = browser.show(path, width, height, phone)
            assert seen["full"] == seen["wide"] == width
            assert seen["out"] == [] and seen["cut"] == []
            assert seen["asked"] == [path.as_uri()]
            assert seen["said"] == []
            assert "PASSES WITH STOP TRIM" in seen["text"].upper()
            assert seen["small"] >= 11.0  # CSS pixels
        pages = read(browser.printed())
    assert 3 <= len(pages) <= 5
    # The tables to write in are not torn apart.
    for first, last in (("Check on the bench", "zero after the run"), ("On the engine", "timed by")):
        assert any(first in page.text and last in page.text for page in pages)
