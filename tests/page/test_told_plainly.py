"""What a newcomer stumbled over: whose figures the readings are, ranges as books print them, what a plan lacks, bare numbers."""

from __future__ import annotations

import html
import tomllib
from pathlib import Path

import pytest
from checkout import needs_checkout
from starlette.testclient import TestClient

from recurve.job.answers import cells_of
from recurve.job.edit import begin
from recurve.page.app import build_app

pytestmark = needs_checkout
BOOK = {
    "distributor.lobes": 4, "distributor.rotation": "clockwise", "target.basis": "crank", "target.static": "10 deg",
    "target.points": [{"speed": "1600 rpm", "min": "18 deg", "max": "22 deg"}],
}  # fmt: skip


@pytest.fixture
def client(tmp_path: Path) -> TestClient:
    begin(tmp_path / "mill" / "unit.toml", {"title": "Mill", **BOOK})
    return TestClient(build_app(tmp_path), base_url="http://127.0.0.1", client=("127.0.0.1", 50000))


def test_whose_figures_the_readings_are_stands_at_the_fields(client: TestClient) -> None:
    shown = client.get("/u/mill/unit/sweep").text
    assert "The book is in crank figures" in shown and "speed [distributor rpm]" in shown
    client.post("/u/mill/unit/answer", data={"key": "sweep.basis", "value": "crank", "shown": '""', "step": "sweep"})
    client.post("/u/mill/unit/reading", data={"speed": "800", "advance": "14", "way": "rising", "which": "found"})
    shown = client.get("/u/mill/unit/sweep").text
    assert "The book is in crank figures" not in shown
    assert "speed [crank rpm]" in shown and "advance [crank deg]" in shown


@pytest.mark.parametrize(
    ("typed", "cells"),
    [
        ("800 rpm 10 to 12", ["800 rpm", "10", "12"]), ("800 10-12", ["800", "10", "12"]), ("800, 10–12", ["800", "10", "12"]),
        ("-0.5 0.5", ["-0.5", "0.5"]), ("-1 -0.5", ["-1", "-0.5"]), ("0.82 ± 0.06 14-15", ["0.82 ± 0.06", "14", "15"]),
    ],
)  # fmt: skip
def test_a_range_is_read_as_books_print_it(typed: str, cells: list[str]) -> None:
    assert cells_of(typed) == cells


def test_what_a_plan_lacks_names_the_step(client: TestClient) -> None:
    shown = client.get("/u/mill/unit/plan").text
    assert "The weights: count, mass, and how they move. Step Parts." in shown
    assert "expected a table" not in shown


def test_a_bare_number_that_was_set_takes_its_unit(client: TestClient, tmp_path: Path) -> None:
    for key, value in (("primary_length", "14.70 ± 0.03"), ("stop", "11.2"), ("primary_spring", "17")):
        assert "Saved." in html.unescape(client.post("/u/mill/unit/was-set", data={"key": key, "value": value}).text)
    kept = tomllib.loads((tmp_path / "mill" / "unit-plan" / "as-left.toml").read_text(encoding="utf-8"))["set"]
    assert kept == {"primary_length": "14.70 ± 0.03 mm", "stop": "11.2 deg", "primary_spring": "17"}
