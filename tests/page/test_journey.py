"""The page in a real browser: a whole unit from nothing to its record, wrong entries, two tabs, a phone, everyone's access.

The unit is the launch of the examples, invented, typed in answer by answer. Accessibility by axe-core (WCAG 2.2 AA rules).
"""

from __future__ import annotations

import csv
import json
import tomllib
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from browser import executable
from checkout import ROOT, needs_checkout
from served import Served, driven, served

from recurve.job.edit import read_edited
from recurve.job.read import load_job
from recurve.job.tables import read_catalogue
from recurve.page.fields import shown_as
from recurve.page.work import KEPT

pytestmark = [
    needs_checkout,
    pytest.mark.skipif(executable() is None, reason="no Chromium here: the page was not driven"),
]
AXE = ROOT / "tests" / "support" / "axe.min.js"
LAUNCH = ROOT / "examples" / "launch.toml"
STEPS = ("book", "sweep", "look", "parts", "springs", "plan", "set", "left", "papers")


@pytest.fixture(scope="module")
def chromium() -> Iterator[Any]:
    with driven() as browser:
        yield browser


@pytest.fixture(scope="module")
def workshop(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Served]:
    with served(tmp_path_factory.mktemp("workshop")) as server:
        yield server


def opened(chromium: Any, server: Served, where: str = "/", width: int = 1280, scheme: str = "light") -> Any:
    """A page that must say nothing on its console."""
    context = chromium.new_context(viewport={"width": width, "height": 900}, color_scheme=scheme)
    context.set_default_timeout(15000)
    page = context.new_page()
    page.said = []
    page.on("console", lambda m: page.said.append(m.text) if m.type == "error" else None)
    page.on("pageerror", lambda e: page.said.append(str(e)))
    page.goto(f"{server.address}{where}")
    return page


def until(page: Any, expression: str, given: Any = None) -> None:
    """Wait until a JavaScript function of one argument is true; asked from outside, since the page's policy allows no eval."""
    for _ in range(1000):
        if page.evaluate(expression, given):
            return
        page.wait_for_timeout(20)
    raise AssertionError(expression)


# What has just come from the server answers to nobody until htmx has settled it.
SETTLED = "() => document.querySelector('.htmx-swapping, .htmx-settling, .htmx-added') === null"
WCAG = {"type": "tag", "values": ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa"]}
# What colours and a narrow window change; everything else of a page is the same in both.
SEEN = {"type": "rule", "values": ["color-contrast", "link-in-text-block", "target-size"]}


def violations(page: Any, rules: dict[str, Any]) -> list[str]:
    """What axe-core finds against WCAG 2.2 A and AA, or some of its rules. It is read into the page past its policy, which
    allows only its own."""
    page.evaluate(AXE.read_text(encoding="utf-8"))
    found = page.evaluate(
        f"axe.run({{runOnly: {json.dumps(rules)}, resultTypes: ['violations']}})"
        ".then(r => r.violations.map(v => v.id + ': ' + v.nodes[0].html))"
    )
    return [str(one) for one in found]


def sticks_out(page: Any) -> int:
    return int(page.evaluate("document.documentElement.scrollWidth - document.documentElement.clientWidth"))


def typed_launch() -> dict[str, str]:
    """Every answer of the launch as a person would type it; its springs typed as well."""
    answers = dict(read_edited(LAUNCH).answers)
    faults: list[str] = []
    shelf = read_catalogue(LAUNCH.parent / str(answers.pop("catalogue.file")), "", faults)
    rows = []
    for s in [s for s in shelf.springs if s.id in ("D2-18", "D7-08", "D2-17", "D7-09", "D3-01", "D6-02")]:
        rows.append(f"{s.id}, {s.rate / 1e3:.6g}, {s.free_length * 1e3:.6g}, {s.initial_tension:.6g}")
    given = {key: shown_as(value) for key, value in answers.items() if key not in ("sweep.file", "title")}
    return {**given, "~shelf": "now", "~springs": "\n".join(rows)}


def go_to(page: Any, link: str, step: str) -> None:
    """Follow the link to a step, and wait until it is there: a click alone does not."""
    page.get_by_role("link", name=link, exact=True).click()
    page.wait_for_url(f"**/{step}")


def fill(page: Any, answers: dict[str, str]) -> set[str]:
    """Type every answer that a step asks for, those that lead to more first; the keys that were typed."""
    done: set[str] = set()
    while True:
        keys = page.evaluate("[...document.querySelectorAll('form.field [name=key]')].map(e => e.value)")
        left = next((k for k in keys if k in answers and k not in done), None)
        if left is None:
            return done
        done.add(left)
        form = page.locator(f"form.field:has(input[name=key][value='{left}'])")
        entry = form.locator("[name=value]")
        with page.expect_response(lambda r: r.url.endswith("/answer")):
            if entry.evaluate("e => e.tagName") == "SELECT":
                entry.select_option(answers[left])
            else:
                entry.fill(answers[left])
                entry.press("Tab")
        # A choice may bring other questions: the page is whole again when nothing is on its way.
        until(page, "() => !document.querySelector('.htmx-request, .htmx-swapping, .htmx-settling, .htmx-added')")
        if entry.evaluate("e => e.tagName") != "SELECT":
            form.get_by_text("Saved.").wait_for()
        assert "wrong" not in (form.get_attribute("class") or ""), (left, form.inner_text())


def read_in(page: Any, rows: list[tuple[float, float]]) -> None:
    """Type readings, speed and advance, by the keyboard alone."""
    speed = page.locator("form.reading [name=speed]").first
    speed.focus()
    for rpm, degrees in rows:
        page.keyboard.type(f"{rpm:g}")
        page.keyboard.press("Enter")  # to the advance
        page.keyboard.type(f"{degrees:g}")
        with page.expect_response(lambda r: r.url.endswith("/reading")):
            page.keyboard.press("Enter")
        until(page, "() => document.querySelector('form.reading [name=speed]').value === ''")


def test_from_nothing_to_the_record(chromium: Any, workshop: Served) -> None:
    page = opened(chromium, workshop)
    assert "no unit in this folder yet" in page.inner_text("#units")
    page.get_by_label("A new unit: what is it?").fill("Launch, typed")
    page.get_by_role("button", name="Begin").click()
    page.wait_for_url("**/u/launch-typed/unit/book")
    answers = typed_launch()
    done = fill(page, answers)
    assert {"distributor.rotation", "target.points", "target.maximum"} <= done
    go_to(page, "Sweep as found", "sweep")
    done |= fill(page, answers)
    with (ROOT / "examples" / "launch-as-found.csv").open(encoding="utf-8") as file:
        rows = [r for r in csv.reader(file) if r and not r[0].startswith(("#", "speed"))]
    read_in(page, [(float(s), float(a)) for s, a, _ in rows])
    assert page.locator("table.readings tbody tr").count() == len(rows)
    job = workshop.folder / "launch-typed" / "unit.toml"
    ways = [r[2] for r in csv.reader((job.parent / "as-found.csv").read_text().splitlines()[1:])]
    assert ways == [r[2].strip() for r in rows]  # rising turned to falling by itself
    for step in ("parts", "springs"):
        page.goto(f"{workshop.address}/u/launch-typed/unit/{step}")
        done |= fill(page, answers)
    assert sorted(set(answers) - done) == ["~sweep"]  # the page has its own table for it
    assert load_job(job).measured == load_job(LAUNCH).measured
    go_to(page, "First look", "look")
    page.get_by_role("button", name="Look at it").click()
    page.locator(".verdict").wait_for(timeout=60000)
    assert page.locator("article.finding").count() >= 1
    go_to(page, "Plan", "plan")
    page.get_by_role("button", name="Plan it").click()
    page.locator("tr.best").wait_for(timeout=60000)
    assert "Passes" in page.inner_text(".verdict >> nth=0").capitalize()
    until(page, SETTLED)
    hung = [page.locator(f"[name=spring-{place}] option").first.inner_text() for place in ("primary", "secondary")]
    assert page.inner_text("tr.best th").startswith(" + ".join(hung))  # what is tried begins with the planned springs
    before = page.inner_html("#tried")
    page.locator("[name=bend-primary]").evaluate(
        "e => { e.value = 0.4; e.dispatchEvent(new Event('input', {bubbles: true})); }"
    )
    until(page, "b => document.getElementById('tried').innerHTML !== b", before)
    page.locator("[name=rpm]").evaluate("e => { e.value = 900; e.dispatchEvent(new Event('input', {bubbles: true})); }")
    page.get_by_text("900 rpm, rising").wait_for()
    go_to(page, "Build and set", "set")
    page.get_by_label("speed [distributor rpm]").fill("394")
    page.get_by_label("advance [distributor deg]").fill("4")
    page.get_by_role("button", name="What to bend").click()
    page.get_by_text("Bend the primary post").wait_for()
    length = page.get_by_label("Primary, over both posts at rest")
    length.fill("14.69 ± 0.03 mm")
    length.press("Tab")
    page.locator("#set-primary_length-told", has_text="Saved.").wait_for()
    kept = tomllib.loads((job.parent / "unit-plan" / "as-left.toml").read_text(encoding="utf-8"))
    assert kept["set"] == {"primary_length": "14.69 ± 0.03 mm"}
    go_to(page, "Sweep as left", "left")
    read_in(page, finished(job))
    page.get_by_role("button", name="Judge it").click()
    page.locator(".verdict").wait_for(timeout=60000)
    assert page.inner_text(".verdict").lower() in ("passes", "too close to call"), page.inner_text("main")[:1500]
    go_to(page, "Papers", "papers")
    for paper in ("Build sheet", "Record to hand over"):
        address = page.get_by_role("link", name=paper).get_attribute("href")
        answer = page.request.get(f"{workshop.address}{address}")
        assert answer.ok and answer.body().startswith(b"%PDF")
    (job.parent / "unit-plan" / KEPT["plan"]).unlink()  # as after a plan that the command made
    page.goto(f"{workshop.address}/u/launch-typed/unit/plan")
    assert f"There is a plan already: primary {hung[0]}, secondary {hung[1]}." in page.inner_text("main")
    assert page.said == []


def finished(job: Path) -> list[tuple[float, float]]:
    """Readings of the unit as planned, by its own curve, rounded to a tenth of a degree."""
    from recurve.physics.curve import trace

    unit = load_job(job.parent / "unit-plan" / "plan.toml").as_found()
    assert unit is not None
    curve, speeds = trace(unit, 801), np.arange(200.0, 1301.0, 100.0)
    up = np.degrees(curve.rising_advance(speeds * np.pi / 30))
    down = np.degrees(curve.falling_advance(speeds * np.pi / 30))
    rising = [(float(s), round(float(a), 1)) for s, a in zip(speeds, up, strict=True)]
    return rising + [(float(s), round(float(a), 1)) for s, a in zip(speeds, down, strict=True)][::-1]


@pytest.fixture(scope="module")
def examples(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Served]:
    """The examples, served from a copy."""
    import shutil

    folder = tmp_path_factory.mktemp("copied")
    shutil.copytree(ROOT / "examples", folder / "examples", ignore=shutil.ignore_patterns("*-plan"))
    shutil.copytree(ROOT / "data", folder / "data")
    with served(folder / "examples") as server:
        yield server


@pytest.mark.parametrize(
    ("scheme", "width", "rules"), [("light", 1280, WCAG), ("dark", 390, SEEN)], ids=["light", "dark"]
)
def test_everyone_can_use_it(chromium: Any, examples: Served, scheme: str, width: int, rules: dict[str, Any]) -> None:
    """No page breaks a rule of WCAG 2.2 AA that a machine can see: each rule on a desk in light, and in dark on a phone those
    that colours and width may break."""
    page = opened(chromium, examples, width=width, scheme=scheme)
    for where in ("/", *(f"/u/launch/{step}" for step in STEPS), "/u/dinghy/book", "/u/nowhere/book"):
        page.goto(f"{examples.address}{where}")
        assert violations(page, rules) == [], where


def test_nothing_sticks_out_on_a_phone(chromium: Any, examples: Served) -> None:
    page = opened(chromium, examples, width=390)
    for where in ("/", *(f"/u/launch/{step}" for step in STEPS)):
        page.goto(f"{examples.address}{where}")
        assert sticks_out(page) <= 0, where


def test_wrong_entries_are_told_at_their_field(chromium: Any, examples: Served) -> None:
    page = opened(chromium, examples, "/u/tractor/book")
    form = page.locator("form.field:has(input[name=key][value='distributor.lobes'])")
    before = (examples.folder / "tractor.toml").read_bytes()
    form.locator("[name=value]").fill("many")
    form.locator("[name=value]").press("Tab")
    form.get_by_text("expected a whole number").wait_for()
    assert "wrong" in (form.get_attribute("class") or "")
    assert form.locator("[aria-invalid=true]").count() == 1
    assert (examples.folder / "tractor.toml").read_bytes() == before


def test_two_tabs_and_an_editor_lose_nothing(chromium: Any, examples: Served) -> None:
    """What was changed elsewhere meanwhile is shown beside what was typed; nothing is written until one is chosen."""
    page, job = opened(chromium, examples, "/u/pump/sweep"), examples.folder / "pump.toml"
    text = job.read_text(encoding="utf-8")
    other = text.replace('advance = "11.2 ± 0.3 deg"', 'advance = "11.9 ± 0.3 deg"')
    assert other != text
    job.write_text(other, encoding="utf-8")
    form = page.locator("form.field:has(input[name=key][value='stop.advance'])")
    form.locator("[name=value]").fill("12.4 ± 0.3 deg")
    form.locator("[name=value]").press("Tab")
    form.get_by_text("changed meanwhile").wait_for()
    assert "11.9 ± 0.3 deg" in form.inner_text() and job.read_text(encoding="utf-8") == other
    form.get_by_role("button", name="Write mine").click()
    form.get_by_text("Saved.").wait_for()
    assert job.read_text(encoding="utf-8") == other.replace("11.9 ± 0.3", "12.4 ± 0.3")


def test_a_server_that_is_gone_is_told(chromium: Any, tmp_path: Path) -> None:
    with served(tmp_path) as server:
        page = opened(chromium, server)
        page.get_by_label("A new unit: what is it?").fill("Gone")
        page.get_by_role("button", name="Begin").click()
        page.wait_for_url("**/book")
        server.kill()
        page.get_by_label("How many lobes does the breaker cam have?").fill("6")
        page.keyboard.press("Tab")
        page.get_by_text("No answer from the page's server").wait_for()
