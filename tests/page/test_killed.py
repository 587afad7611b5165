"""Kill -9 of the page's server: no answer and no reading that it had shown as saved is lost, at whatever moment it is killed.

A journey of saves is asked of a server process as a browser asks it, and the process is killed at random moments, most of
them in the middle of a save. What the page had shown as saved is then looked for in the job's own files. A kill between two
particular writes is rare, so every moment between two of them is also tried one by one, with a disk that stops there.
"""

from __future__ import annotations

import csv
import html
import json
import os
import re
import threading
import time
import tomllib
import urllib.error
import urllib.parse
import urllib.request
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from http.client import HTTPException
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from checkout import ROOT, needs_checkout
from served import Served

from recurve.job.edit import Edited, begin, read_edited, save_answer
from recurve.page.fields import as_shown, shown_as

pytestmark = needs_checkout
LAUNCH = ROOT / "examples" / "launch.toml"
GONE = (urllib.error.URLError, HTTPException, OSError)
SPRINGS = ("A1, 1.09, 13.9, 0.2\nB2, 3.57, 17.4, 0", "A1, 1.09, 13.9, 0.2", "")
# Choices and members of groups: with them an answer moves between the job file and the file beside it.
MOVING: tuple[tuple[str, tuple[str, ...]], ...] = (
    ("~places", ("xy", "angles")), ("~trim", ("no", "radius")), ("~whose", ("others", "these")), ("~second", ("no", "yes")),
    ("weights.motion.kind", ("table", "slot")), ("weights.motion.pin.angle", ("", "168 deg")),
    ("springs.primary.posts.far.radius", ("", "12 mm")), ("stop.radius", ("", "14 mm")), ("~shelf", ("now", "file")),
)  # fmt: skip


@dataclass
class Kept:
    """What the page has shown as saved: answers, readings of both sweeps (speed, advance), what was set, and what the bench
    showed; `open` says what was asked when the server was killed and may or may not have been taken in."""

    answers: dict[str, Any] = field(default_factory=dict)
    readings: dict[str, list[tuple[float, float]]] = field(default_factory=lambda: {"found": [], "left": []})
    was_set: dict[str, str] = field(default_factory=dict)
    shown: list[tuple[float, float]] = field(default_factory=list)
    open: tuple[str, dict[str, str]] | None = None


class Journey:
    """Someone at the bench, without a browser: asks the server for one save after another, and keeps what it says is saved."""

    def __init__(self, server: Served, name: str) -> None:
        self.server, self.name, self.kept = server, name, Kept()
        self.job = server.folder / f"{name}.toml"
        self.took = 0.03

    def ask(self, where: str, told: dict[str, str]) -> str:
        """One request; it stays open if no whole answer comes."""
        self.kept.open = (where, told)
        request = urllib.request.Request(
            f"{self.server.address}/u/{self.name}/{where}",
            urllib.parse.urlencode(told).encode(),
            {"hx-request": "true"},
        )
        since = time.perf_counter()
        with urllib.request.urlopen(request, timeout=20) as answer:
            text = str(answer.read().decode())
        self.took = 0.8 * self.took + 0.2 * (time.perf_counter() - since)
        self.kept.open = None
        return text

    def save(self, where: str, told: dict[str, str]) -> None:
        """Ask for a save, and believe what is shown."""
        if where == "answer":
            told = {**told, "shown": as_shown(self.kept.answers.get(told["key"], "")), "step": step_of_key(told["key"])}
        text = self.ask(where, told)
        if where == "answer":
            self.kept.answers[told["key"]] = answer_shown(text, told["key"])
        elif where == "reading":
            rows = re.findall(r"<td>([\d.]+) rpm, (-?[\d.]+) deg</td>", text)
            self.kept.readings[told["which"]] = [(float(s), float(a)) for s, a in rows[::-1]]
        elif where == "was-set":
            assert "Saved." in text, text
            self.kept.was_set[told["key"]] = told["value"]
        else:
            rows = re.findall(r"<tr><td>([\d.]+)</td><td>([\d.]+)</td>", text)
            self.kept.shown = [(float(s), float(a)) for s, a in rows]

    def compare(self) -> None:
        """Everything that was shown as saved is in the files; what was open may be, and is then shown from now on."""
        where, told = self.kept.open or ("", {})
        there = read_edited(self.job).answers
        for key, value in self.kept.answers.items():
            if where == "answer" and key in (told["key"], *(("catalogue.file",) if told["key"] == "~springs" else ())):
                self.kept.answers[key] = there.get(key, "")
            else:
                assert there.get(key, "") == value, (key, told)
        folder = self.job.parent / f"{self.job.stem}-plan"
        for which, path in (
            ("found", self.job.parent / str(there.get("sweep.file", "no"))),
            ("left", folder / "as-left.csv"),
        ):
            more = where == "reading" and told["which"] == which
            self.kept.readings[which] = _begins_with(self.kept.readings[which], _rows(path), more)
        self.kept.shown = _begins_with(self.kept.shown, _rows(folder / "setting.csv"), where == "shown")
        path = folder / "as-left.toml"
        had = tomllib.loads(path.read_text(encoding="utf-8")).get("set", {}) if path.exists() else {}
        for key, value in self.kept.was_set.items():
            assert had.get(key) == value or (where == "was-set" and told["key"] == key), key
        self.kept.was_set = had
        self.kept.open = None


def _begins_with(
    shown: list[tuple[float, float]], there: list[tuple[float, float]], more: bool
) -> list[tuple[float, float]]:
    """The rows of a file, which must be those shown, and perhaps one more that was on its way."""
    assert there[: len(shown)] == shown
    assert len(there) <= len(shown) + more
    return there


def _rows(path: Path) -> list[tuple[float, float]]:
    """The whole lines of a table; what a kill left of a line counts for nothing."""
    if not path.exists():
        return []
    lines = path.read_text(encoding="utf-8").split("\n")[1:-1]
    return [(float(row[0]), float(row[1])) for row in csv.reader(lines)]


def answer_shown(text: str, key: str) -> Any:
    """The answer that the page shows as the file's: what its field would send along with the next change. A form without the
    field shows none."""
    form = re.search(rf'name="key" value="{re.escape(key)}"><input type="hidden" name="shown" value="([^"]*)"', text)
    assert form is not None, (key, text[:2000])
    assert "wrong" not in text.split(form[0])[0].rsplit("<form", 1)[1], html.unescape(text)
    return json.loads(html.unescape(form[1]))


def step_of_key(key: str) -> str:
    """The step on which a key is asked."""
    from recurve.job.questions import parts
    from recurve.page.fields import STEPS

    title = next(p.title for p in parts() if key in {q.key for q in p.questions})
    return next(s.name for s in STEPS if title in s.parts)


def saves(count: int, seed: int) -> Iterator[tuple[str, dict[str, str]]]:
    """A journey of so many saves: every answer of the launch first, then changes of mind among readings and settings."""
    random = np.random.default_rng(seed)
    given = {
        k: shown_as(v) for k, v in read_edited(LAUNCH).answers.items() if k not in ("sweep.file", "~sweep", "~springs")
    }
    first = [("answer", {"key": k, "value": v}) for k, v in given.items()][: max(count - 12, 6)]
    yield from first
    for number in range(count - len(first)):
        kind = random.integers(8)
        speed, advance = f"{400 + 10 * number}", f"{0.1 * number:.1f}"
        if kind < 3:
            key, values = MOVING[int(random.integers(len(MOVING)))]
            yield "answer", {"key": key, "value": values[int(random.integers(len(values)))]}
        elif kind == 3:
            yield "answer", {"key": "~springs", "value": SPRINGS[int(random.integers(len(SPRINGS)))]}
        elif kind == 4:
            yield "was-set", {"key": "primary_length", "value": f"{14 + 0.01 * number:.2f} mm"}
        elif kind == 5:
            yield "shown", {"speed": speed, "advance": advance}
        else:
            yield "reading", {"speed": speed, "advance": advance, "way": "rising", "which": ("found", "left")[kind - 6]}


def planned(folder: Path) -> None:
    """A plan's folder, so that readings can be taken while setting: what the plan says does not matter here."""
    folder.mkdir()
    table = (ROOT / "data" / "springs.csv").read_bytes()
    (folder / "springs.csv").write_bytes(table)
    (folder / "launch-as-found.csv").write_bytes((ROOT / "examples" / "launch-as-found.csv").read_bytes())
    text = LAUNCH.read_text(encoding="utf-8").replace("../data/springs.csv", "springs.csv")
    (folder / "plan.toml").write_text(text, encoding="utf-8")


@pytest.mark.parametrize(
    ("count", "kills"), [(20, 3), pytest.param(200, 60, marks=pytest.mark.study)], ids=["short", "long"]
)
def test_nothing_shown_as_saved_is_lost(tmp_path: Path, count: int, kills: int) -> None:
    random = np.random.default_rng(count)
    begin(tmp_path / "boat" / "unit.toml", {"title": "A boat's, invented"})
    planned(tmp_path / "boat" / "unit-plan")
    server = Served(tmp_path)
    journey, done, died = Journey(server, "boat/unit"), 0, 0
    at = set(random.choice(np.arange(2, count), kills, replace=False).tolist())
    try:
        for number, (where, told) in enumerate(saves(count, count)):
            timer = threading.Timer(float(random.uniform(0.0, 1.3)) * journey.took, server.process.kill)
            if number in at:
                timer.start()
            try:
                journey.save(where, told)
                done += 1
            except GONE:
                assert number in at
            if number in at:
                timer.join()
                died += 1
                server.kill()
                journey.compare()
                server.start(server.port)
        server.kill()
        journey.compare()
    finally:
        server.end()
    print(f"\n{count} saves asked, {done} shown as saved, {died} kills")
    assert died == kills
    assert len(journey.kept.answers) > 5


# --- each moment ----------------------------------------------------------------------------------------------


class Dead(BaseException):
    """The power is gone: nothing that runs may catch this, and no write happens after it."""


WRITES = ("replace", "unlink", "link", "rename", "write", "remove")


@pytest.fixture
def power(monkeypatch: pytest.MonkeyPatch) -> Iterator[list[int]]:
    """How many writes the disk takes yet, [-1] for no end; at 0 each fails, also those that would put things back."""
    left = [-1]

    def until_cut(real: Callable[..., Any]) -> Callable[..., Any]:
        def write(*given: Any, **named: Any) -> Any:
            if left[0] == 0:
                raise Dead
            left[0] -= 1
            return real(*given, **named)

        return write

    for name in WRITES:
        monkeypatch.setattr(os, name, until_cut(getattr(os, name)))
    yield left
    left[0] = -1


@pytest.mark.parametrize(("key", "values"), MOVING)
def test_at_no_moment_of_a_save_is_another_answer_lost(
    tmp_path: Path, power: list[int], key: str, values: tuple[str, str]
) -> None:
    """Killed after each write of a save in turn: every other answer is in the files, and this one is old or new."""
    path = tmp_path / "unit.toml"
    begin(path, {**read_edited(LAUNCH).answers, "~trim": "radius", "~whose": "these", "~places": "angles"})
    beside = tmp_path / "unit.answers.toml"
    for value in (*values, values[0]):
        before, was = read_edited(path).answers, {p: p.read_bytes() for p in (path, beside) if p.exists()}
        for writes in range(40):
            for one in (path, beside):
                one.write_bytes(was[one]) if one in was else one.unlink(missing_ok=True)
            power[0] = writes
            try:
                saved = save_answer(path, key, value, before.get(key, ""))
            except Dead:
                saved = None
            power[0] = -1
            there = read_edited(path).answers
            assert {k: v for k, v in there.items() if k != key} == {k: v for k, v in before.items() if k != key}, writes
            assert there.get(key, "") in ((value,) if saved else (value, before.get(key, "")))
            if isinstance(saved, Edited):
                break
        else:
            raise AssertionError("the save needed more than forty writes")
