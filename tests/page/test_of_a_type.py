"""A unit of a type that was measured before: begun so on the page and in the interview, what the type gives shown at each field.

The type is that of the winches of the examples, invented, learned from three of them.
"""

from __future__ import annotations

import builtins
import html
import re
import shutil
import tomllib
from pathlib import Path
from typing import Any

import pytest
from checkout import EXAMPLES, needs_checkout
from starlette.testclient import TestClient

from recurve.cli.interview import interview
from recurve.cli.start import start
from recurve.job.edit import read_edited
from recurve.job.model import BareJob, Job
from recurve.job.read import load_any
from recurve.page.app import build_app
from recurve.page.fields import as_shown

pytestmark = needs_checkout


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    shutil.copytree(EXAMPLES / "winch", tmp_path / "units" / "winch", ignore=shutil.ignore_patterns("unit-*"))
    return tmp_path / "units"


@pytest.fixture
def client(folder: Path) -> TestClient:
    return TestClient(
        build_app(folder), base_url="http://127.0.0.1", client=("127.0.0.1", 50000), follow_redirects=False
    )


def field(page: str, key: str) -> str:
    """The form of a question, as text."""
    form = re.search(rf'<form(?:(?!</form>).)*value="{re.escape(key)}".*?</form>', page, re.S)
    assert form is not None, key
    return html.unescape(re.sub(r"<[^>]+>", " ", form[0]))


def begun(client: TestClient, folder: Path) -> Path:
    assert "Cargo winch" in client.get("/").text
    where = client.post("/new", data={"title": "Winch 5", "type": "winch/type.toml"}).headers["location"]
    assert where == "/u/winch-5/unit/book"
    return folder / "winch-5" / "unit.toml"


def test_a_new_unit_of_a_type_has_what_the_type_has(client: TestClient, folder: Path) -> None:
    job = begun(client, folder)
    assert tomllib.loads(job.read_text(encoding="utf-8"))["type"] == "../winch/type.toml"
    found, winch = load_any(job), load_any(EXAMPLES / "winch" / "unit-4.toml")
    assert isinstance(found, Job) and found.target == winch.target and found.weights == winch.weights
    book, parts = (client.get(f"/u/winch-5/unit/{step}").text for step in ("book", "parts"))
    assert 'From the type "Cargo winch": 4.' in field(book, "distributor.lobes")
    assert "450 rpm, 1 deg, 3.5 deg" in field(book, "target.points")
    # The means of type.toml; √3 · √(1.12² + 0.648²) = 2.24.
    assert "27.3 ± 2.24 g" in field(parts, "weights.mass")
    assert 'From the type "Cargo winch": slot.' in field(parts, "weights.motion.kind")


def test_what_is_measured_goes_before_the_type(client: TestClient, folder: Path) -> None:
    """One number of a point, and the rest of it from the type; a spread of the type's is left where nothing was measured."""
    job = begun(client, folder)
    for key, value in (("springs.primary.posts.anchor.radius", "19.2 ± 0.05 mm"), ("weights.mass", "27.9 ± 0.1 g")):
        answer = client.post("/u/winch-5/unit/answer", data={"key": key, "value": value, "shown": '""'}).text
        assert "Saved." in answer and "From the type" not in answer
        assert key.rpartition(".")[2] in job.read_text(encoding="utf-8")
    found = load_any(job)
    assert isinstance(found, Job) and found.kind is not None
    assert found.weights.mass == pytest.approx(0.0279)
    taken = {".".join(key) for key in found.kind.taken}
    assert "weights.mass" not in taken and "springs.primary.posts.anchor.radius" not in taken
    assert {"springs.primary.posts.anchor.angle", "weights.motion.pin.angle"} <= taken


def test_a_book_of_its_own_takes_nothing_of_the_types(client: TestClient, folder: Path) -> None:
    begun(client, folder)
    told = {"key": "target.points", "value": "500, 2, 4\n900, 8, 10", "shown": '""', "step": "book"}
    assert "Saved." in client.post("/u/winch-5/unit/answer", data=told).text
    assert "From the type" not in field(client.get("/u/winch-5/unit/book").text, "target.idle")
    found = load_any(folder / "winch-5" / "unit.toml")
    assert found.target is not None and len(found.target.bands) == 2


def test_a_type_is_taken_off_again_and_only_a_type_is_taken(client: TestClient, folder: Path) -> None:
    job = begun(client, folder)
    was = as_shown(read_edited(job).answers["type"])
    wrong = client.post(
        "/u/winch-5/unit/answer", data={"key": "type", "value": "unit.toml", "shown": was, "step": "book"}
    )
    assert (
        "expected a type file" in html.unescape(wrong.text) and read_edited(job).answers["type"] == "../winch/type.toml"
    )
    client.post("/u/winch-5/unit/answer", data={"key": "type", "value": "", "shown": was, "step": "book"})
    assert "type" not in read_edited(job).answers
    assert client.post("/new", data={"title": "x", "type": "../secret.toml"}).status_code == 404


def test_nobody_is_asked_for_a_type_where_there_is_none(client: TestClient, folder: Path) -> None:
    shutil.rmtree(folder / "winch")
    client.post("/new", data={"title": "Alone"})
    assert "of the type" not in client.get("/").text
    assert 'value="type"' not in client.get("/u/alone/unit/book").text


def test_the_interview_offers_the_types_and_says_what_they_have(
    folder: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    (folder / "new").mkdir()
    typed = iter(["1"])
    monkeypatch.setattr(builtins, "input", lambda prompt: next(typed, ""))
    answers: dict[str, Any] = {"~units": "mm", "weights.mass": "27.9 ± 0.1 g", "~strip": "yes"}
    interview(folder / "new", answers)
    out = " ".join(capsys.readouterr().out.split())
    assert "1 ../winch/type.toml" in out and answers["type"] == "../winch/type.toml"
    assert 'From the type "Cargo winch": 20.5 ± 0.375 mm' in out and "Enter takes that" in out
    start(folder / "new", blank=False)  # all is answered: the job file is written
    found = load_any(folder / "new" / "unit.toml")
    assert isinstance(found, Job) and not isinstance(found, BareJob)
    assert found.kind is not None and ("weights", "mass") not in found.kind.taken
    assert found.weights.mass == pytest.approx(0.0279)
