"""What the bench page, and what it stands on, says of what cannot be done."""

from __future__ import annotations

import html
import re
import shutil
import socket
from collections.abc import Callable, Iterator
from dataclasses import replace
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import numpy as np
from checkout import ROOT
from provoked import said
from starlette.testclient import TestClient

from recurve.diagnosis.setting import Shown, post_to_bend
from recurve.errors import RecurveError
from recurve.job.edit import begin, read_edited
from recurve.job.read import load_job
from recurve.output.judged import finished_unit
from recurve.page.app import build_app
from recurve.page.drawer import _typed
from recurve.page.fields import as_shown, question_of, read_field
from recurve.page.serve import _listener
from recurve.page.work import Works
from recurve.page.workshop import folder_for
from recurve.springs.spring import Spring

RPM = 30 / np.pi


def refused(action: Callable[..., Any], *given: Any) -> list[str]:
    """What an action raises."""
    try:
        action(*given)
    except (RecurveError, ValueError) as fault:
        return [str(fault)]
    raise AssertionError(f"{given} was taken")


def client_of(folder: Path) -> TestClient:
    """One who asks the page of the copied examples."""
    shutil.copytree(ROOT / "data", folder / "data")
    shutil.copytree(ROOT / "examples", folder / "examples", ignore=shutil.ignore_patterns("*-plan"))
    app = build_app(folder / "examples")
    here = ("127.0.0.1", 50000)
    return TestClient(app, base_url="http://127.0.0.1", headers={"hx-request": "true"}, client=here)


def pages(folder: Path) -> Iterator[tuple[str, list[str]]]:
    """Each with what is said."""
    yield "no folder", said(["page", str(folder / "none")])
    client = client_of(folder)

    def asked(where: str, **data: str) -> list[str]:
        answer = client.post(where, data=data) if data else client.get(where)
        return [html.unescape(one) for one in re.findall(r"<li>(.*?)</li>", answer.text, re.S)]

    job = load_job(folder / "examples" / "launch.toml")
    yield "no bend explains it", refused(post_to_bend, job, [Shown(210 / RPM, np.radians(11.0))], 0.01)
    yield "a reading at rest", refused(post_to_bend, job, [Shown(300 / RPM, 0.0)], 0.01)
    begin(folder / "new" / "unit.toml", {"title": "New"})
    yield "begun twice", refused(begin, folder / "new" / "unit.toml", {})
    yield "no plan", [finished_unit(folder / "none.toml", job)[1]]
    yield "no such question", refused(question_of, "nothing.here")
    yield "a bad line", refused(read_field, question_of("target.points"), "500 1 2\nx", {})
    with socket.socket() as taken:
        taken.bind(("127.0.0.1", 0))
        taken.listen()
        yield "a port that is taken", refused(_listener, "127.0.0.1", taken.getsockname()[1])
    yield "a key that is not measured", asked("/u/launch/was-set", key="colour", value="1")
    for what in ("spring-primary=none", "rate-primary=heavy", "rate-primary=5000", "bend-primary=much"):
        yield what, asked(f"/u/launch/tried?{what}")
    weighed = {"readings": "4 N at 14.7 mm\n10 N at 17.7 mm", "free_length": "13.2 mm", "add": "1"}
    new = folder / "examples" / "weighed.toml"
    begin(new, {"title": "New"})
    for what, told_so in (
        ("no name", {"id": ""}), ("no free length", {"id": "A", "free_length": ""}), ("a quote in a name", {"id": 'A"'}),
        ("a good one", {"id": "A"}), ("its name twice", {"id": "A"}), ("no weighing", {"readings": "heavy"}),
    ):  # fmt: skip
        yield what, asked("/u/weighed/weighed", **{**weighed, **told_so})
    yield "a list elsewhere", asked("/u/launch/weighed", **{**weighed, "id": "A"})
    stale = replace(read_edited(new), answers={"~springs": []})
    yield "another list meanwhile", refused(_typed, new, stale, Spring("B", 2e3, 0.0132, 1.0))
    there = as_shown(read_edited(folder / "examples" / "launch.toml").answers["catalogue.file"])
    told = client.post("/u/launch/answer", data={"key": "catalogue.file", "value": "/etc/x.csv", "shown": there}).text
    yield "a table elsewhere", [html.unescape(one) for one in re.findall(r'<p class="told"[^>]*>(.*?)</p>', told)]
    told = client.post("/u/launch/answer", data={"key": "type", "value": "launch.toml", "shown": '""'}).text
    yield "no type of unit", [html.unescape(one) for one in re.findall(r'<p class="told"[^>]*>(.*?)<', told)]
    text = (folder / "examples" / "launch.toml").read_text(encoding="utf-8")
    bookless = re.sub(r"\[target\]\n.*?(?=\n\[)", "", text, flags=re.S)
    (folder / "examples" / "bookless.toml").write_text(bookless, encoding="utf-8")
    yield "no book", asked("/u/bookless/tried")
    bare = re.sub(
        r"\[catalogue\]\nfile.*\n", "", re.sub(r"(?m)^(rate|free_length|takeup|initial_tension) .*\n", "", text)
    )
    (folder / "examples" / "springless.toml").write_text(bare, encoding="utf-8")
    yield "no springs", asked("/u/springless/tried")
    works = Works()
    for number in range(2):
        works.runs[Path(str(number)), "plan"] = SimpleNamespace(done=False, look=lambda: None)  # type: ignore[assignment]
    yield "too much at once", refused(works.start, folder / "x.toml", "plan", {})
    (folder / "full").mkdir()
    for number in range(1, 1000):
        (folder / "full" / ("a" if number == 1 else f"a-{number}")).mkdir()
    yield "a thousand of one name", refused(folder_for, folder / "full", "a")
