"""How fast the page answers while someone works at it: milliseconds, and as a ratio to a bare round trip in the same run.

Not part of the normal run: `pytest tests/bench/test_page_speed.py --override-ini addopts= -s`.
"""

from __future__ import annotations

import shutil
import time
import urllib.parse
from collections.abc import Callable, Iterator
from http.client import HTTPConnection
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from browser import executable
from checkout import ROOT
from served import Served, driven, served

from recurve.page.fields import as_shown

MOST_MS = 50.0  # from a slider's change to the new curve, at the 95th percentile
MOST_SAVE_MS = 250.0  # a save, disk and all, while a plan takes one core: a pause that nobody typing waits for
TRIALS, SAVES = 300, 60


@pytest.fixture
def examples(tmp_path: Path) -> Iterator[Served]:
    shutil.copytree(ROOT / "examples", tmp_path / "examples", ignore=shutil.ignore_patterns("*-plan"))
    shutil.copytree(ROOT / "data", tmp_path / "data")
    with served(tmp_path / "examples") as server:
        yield server


@pytest.fixture
def line(examples: Served) -> Iterator[Line]:
    made = Line(examples)
    yield made
    made.http.close()


class Line:
    """One connection that stays open, as a browser's does."""

    def __init__(self, server: Served) -> None:
        self.http = HTTPConnection("127.0.0.1", server.port)

    def get(self, where: str) -> str:
        self.http.request("GET", where, headers={"hx-request": "true"})
        return self._text()

    def post(self, where: str, **told: str) -> str:
        head = {"hx-request": "true", "content-type": "application/x-www-form-urlencoded"}
        self.http.request("POST", where, urllib.parse.urlencode(told), head)
        return self._text()

    def _text(self) -> str:
        answer = self.http.getresponse()
        text = answer.read().decode()
        assert answer.status == 200, text
        return text


def milliseconds(act: Callable[[int], Any], times: int) -> np.ndarray[Any, np.dtype[np.float64]]:
    """How long each of so many calls took [ms]."""
    taken = []
    for number in range(times):
        begin = time.perf_counter()
        act(number)
        taken.append(1e3 * (time.perf_counter() - begin))
    return np.array(taken)


def told(name: str, taken: np.ndarray[Any, np.dtype[np.float64]], bare: float) -> float:
    """The 95th percentile [ms], printed with the median and the ratio to a bare round trip."""
    middle, high = (float(np.percentile(taken, p)) for p in (50, 95))
    print(
        f"{name}: median {middle:.1f} ms, 95 % under {high:.1f} ms, {middle / bare:.1f} bare round trips of {bare:.2f} ms"
    )
    return high


def moved(number: int, random: np.random.Generator) -> str:
    """A trial's address: every slider somewhere."""
    bend, other, trim, shift = random.uniform(-0.5, 0.5, 4)
    return f"bend-primary={bend:.2f}&bend-secondary={other:.2f}&trim={trim:.2f}&shift={shift:.2f}"


@pytest.mark.parametrize("name", ["launch", "tractor", "crane"])
def test_a_slider_as_the_server_answers(line: Line, name: str) -> None:
    random = np.random.default_rng(1)
    line.get(f"/u/{name}/tried?{moved(0, random)}")
    bare = float(np.median(milliseconds(lambda _: line.get("/static/page.js"), TRIALS)))
    print(f"\n{name}")
    high = told("curve", milliseconds(lambda n: line.get(f"/u/{name}/tried?{moved(n, random)}"), TRIALS), bare)
    swing = told(
        "weights", milliseconds(lambda n: line.get(f"/u/{name}/swing?rpm={200 + n}&{moved(n, random)}"), TRIALS), bare
    )
    assert max(high, swing) < MOST_MS


# Moves a slider so many times, some milliseconds apart, and takes for each curve that comes how long ago the slider stood where
# it was asked for. A slider that moves on meanwhile leaves places out; where it stops, the curve must be of that place.
FROM_CHANGE_TO_CURVE = """
async ([times, apart]) => {
  const since = {}, taken = [], out = document.getElementById('tried');
  const slider = document.querySelector('[name=bend-primary]');
  let last = '';
  document.addEventListener('htmx:afterSwap', e => {
    out.getBoundingClientRect();  // laid out, so that what comes next is to paint it
    last = new URL(e.detail.xhr.responseURL).searchParams.get('bend-primary');
    taken.push(performance.now() - since[last]);
  });
  for (let n = 1; n <= times; n++) {
    slider.value = (n / times).toFixed(2);
    since[slider.value] = performance.now();
    slider.dispatchEvent(new Event('input', { bubbles: true }));
    await new Promise(done => setTimeout(done, apart));
  }
  await new Promise(done => setTimeout(done, 300));
  return [taken, last];
}
"""
BARE = """
async () => {
  const taken = [];
  for (let n = 0; n < 150; n++) {
    const since = performance.now();
    await (await fetch('/static/page.js', { cache: 'no-store' })).text();
    taken.push(performance.now() - since);
  }
  return taken;
}
"""


@pytest.mark.skipif(executable() is None, reason="no Chromium here")
def test_a_slider_in_the_browser(examples: Served) -> None:
    """From the slider's event to the new curve in the page, laid out: moved now and then, and dragged."""
    with driven() as browser:
        page = browser.new_page()
        page.goto(f"{examples.address}/u/launch/plan")
        bare = float(np.median(page.evaluate(BARE)))
        print()
        high = []
        for name, apart in (("moved", 120), ("dragged", 16)):
            taken, last = page.evaluate(FROM_CHANGE_TO_CURVE, [100, apart])
            assert float(last) == 1.0
            high.append(told(f"slider {name}, {len(taken)} curves", np.array(taken), bare))
    assert max(high) < MOST_MS


def test_typing_goes_on_while_a_plan_runs(line: Line) -> None:
    """Answers and readings saved before, and while a plan and a first look take their cores."""
    had = ["13.8 ± 0.3 deg", "13.9 ± 0.3 deg"]

    def answer(number: int) -> None:
        old, new = had[number % 2], had[(number + 1) % 2]
        text = line.post("/u/launch/answer", key="stop.advance", value=new, shown=as_shown(old), step="sweep")
        assert "Saved." in text

    def reading(number: int) -> None:
        line.post("/u/tractor/reading", speed=f"{300 + number}", advance="2", way="rising", which="found")

    bare = float(np.median(milliseconds(lambda _: line.get("/static/page.js"), TRIALS)))
    print()
    told("answer saved", milliseconds(answer, SAVES), bare)
    told("reading saved", milliseconds(reading, SAVES), bare)
    line.post("/u/crane/begin/plan")
    line.post("/u/launch/begin/found")
    high = told("answer saved, a plan running", milliseconds(answer, SAVES), bare)
    other = told("reading saved, a plan running", milliseconds(reading, SAVES), bare)
    running = "Stop it" in line.get("/u/crane/progress/plan")
    print(f"the plan {'still runs' if running else 'was through before the last save'}")
    assert max(high, other) < MOST_SAVE_MS
