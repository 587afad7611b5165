"""The report page: complete, self-contained, escaped; and in a real browser where the machine has one."""

from __future__ import annotations

import base64
import hashlib
import re
from collections import Counter
from dataclasses import replace
from functools import cache
from html.parser import HTMLParser
from pathlib import Path

import pytest
from browser import Browser, executable
from example_plans import planned
from pdfpages import read
from sheetplans import launch, leaves

from recurve.data import data_file
from recurve.output.figures.plan import narrow_figure_svg, plan_figure_bytes
from recurve.output.sheet.sheet import PARTS, inline_svg, page_html, sheet_facts
from recurve.planner.plan import Plan

DATA = data_file("wire.toml").parent
SVG = b'<?xml version="1.0"?>\n<svg xmlns="http://www.w3.org/2000/svg" width="9pt" height="9pt"><path id="p" d="M0 0"/></svg>'
FIGURES = {"curve.svg": SVG, "curve-narrow.svg": SVG}
EMPTY = {"meta", "link", "br", "img", "hr", "input"}


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
        if not {"style", "svg", "script"} & set(self.open):
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


def test_nothing_is_asked_of_a_network_and_one_script_runs_known_by_its_digest() -> None:
    """A source of a script is a digest as in CSP Level 3, 2.3.1: base64 of the SHA-256 of the element's text (MEMORY)."""
    page = launch_page().decode()
    reader = parsed(launch_page())
    assert not [t for t, _, _ in reader.attributes if t in ("script", "iframe", "object", "embed", "img")]
    (script,) = re.findall("<script>(.*?)</script>", page, re.S)
    assert "fetch" not in script and "http" not in script and "@import" not in page
    for _, name, value in reader.attributes:
        assert not name.startswith("on")
        if name in ("src", "href", "xlink:href", "action", "srcset"):
            assert value.startswith("#") or value == "data:,", value
    assert all(u.startswith("#") for u in re.findall(r"url\(([^)]*)\)", page))
    (policy,) = [v for t, n, v in reader.attributes if (t, n) == ("meta", "content") and "default-src" in v]
    digest = base64.b64encode(hashlib.sha256(script.encode()).digest()).decode()
    assert policy.startswith("default-src 'none'") and policy.endswith(f"script-src 'sha256-{digest}'")


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


def test_every_box_of_the_sheet_can_be_typed_in_and_has_a_name() -> None:
    """Two boxes for each band on the bench, three on the engine (static, total and read), one for each number to set, a tick for
    each point to see to first, and the lines."""
    page = page_html(launch(), FIGURES).decode()
    facts = {p["name"]: p["facts"] for p in sheet_facts(launch())["parts"]}
    boxes = re.findall(r'<input type="(text|checkbox)"([^>]*)>', page)
    rows = len(facts["check"]["rows"])
    texts = [rest for kind, rest in boxes if kind == "text"]
    assert len(texts) == len(facts["verdict"]["numbers"]) + 2 * rows + 4 + 3 + 3 * rows + 2
    assert all('aria-label="' in rest for rest in texts)
    assert sum(kind == "checkbox" for kind, _ in boxes) == 6 + 2
    pump = page_html(planned("pump"), FIGURES).decode()
    assert 'value="9.0° (crank)"' in pump  # what the job tells stands in its box


def test_ids_and_numbers_with_units_stay_on_one_line() -> None:
    page = page_html(launch(), FIGURES).decode()
    build = launch().build
    assert build is not None
    for spring in build.springs:
        assert f'<span class="id">{spring.spring.id}</span>' in page
    assert '<span class="id">HM-017</span>' in page and '<span class="id">2026-03-14</span>' in page
    assert "six-cylinder" in page  # no id: a line may break there
    body = re.sub("<svg.*?</svg>|<[^>]*>", "", page[page.index("<main>") :], flags=re.S)
    assert not re.search(r"\d (?:mm|rpm|N/mm)\b", body)


# --- in a browser -------------------------------------------------------------------------------------------


NO_BROWSER = pytest.mark.skipif(executable() is None, reason="no Chromium on this machine (chromium, google-chrome)")


@NO_BROWSER
def test_what_is_typed_and_ticked_is_there_again_and_only_for_this_job(tmp_path: Path) -> None:
    """Typed as a user's browser would tell it, by an input event; then the page is loaded again, and another job's page."""
    path, other = tmp_path / "report.html", tmp_path / "other.html"
    path.write_bytes(page_html(launch(), FIGURES))
    other.write_bytes(page_html(planned("pump"), FIGURES))
    reading = 'input[aria-label="read, rising, 400 rpm"]'
    tick = "#ready input"

    def value(browser: Browser, script: str) -> object:
        return browser.ask("Runtime.evaluate", expression=script, returnByValue=True)["result"].get("value")

    with Browser.start() as browser:
        assert browser.show(path, 390, 844, True)["said"] == []
        typed = f"""{{ const box = document.querySelector('{reading}'); box.value = '1.7';
            box.dispatchEvent(new Event('input')); document.querySelector('{tick}').click(); }}"""
        value(browser, typed)
        browser.show(path, 1280, 900, False)
        assert value(browser, f"document.querySelector('{reading}').value") == "1.7"
        assert value(browser, f"document.querySelector('{tick}').checked") is True
        assert value(browser, "document.getElementById('kept').textContent.startsWith('What you type is kept')") is True
        assert "1.7" in " ".join(p.text for p in read(browser.printed()))
        browser.show(other, 390, 844, True)
        assert value(browser, f"document.querySelector('{reading}').value") == ""
        assert value(browser, f"document.querySelector('{tick}').checked") is False


@NO_BROWSER
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
