"""What is written back to a drawer that several units share: each takes its own spring, whatever its job file is called.

The units are invented; what the drawer must say afterwards is written by hand: two springs A1, and one less for each unit.
"""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest
from jobs import SPRINGS
from workshops import add_unit

from recurve.job.model import Job
from recurve.job.read import load_job
from recurve.job.tables import read_catalogue
from recurve.output import drawer
from recurve.output.drawer import DrawerAsked, DrawerEdit
from recurve.springs.noted import Noted

SHARED = ('"springs.csv"', '"../drawer.csv"')


@pytest.fixture(autouse=True)
def a1_as_primary(monkeypatch: pytest.MonkeyPatch) -> None:
    """Each finished unit has an A1 as its primary."""

    def fitted(*_: Any) -> tuple[Any, ...]:
        return (drawer.SpringTold("primary", "A1", Noted(), "the sweep tells nothing of this spring"),)

    monkeypatch.setattr(drawer, "springs_told", fitted)


def units(folder: Path, *names: str) -> list[Job]:
    (folder / "drawer.csv").write_text(SPRINGS, encoding="utf-8")
    return [load_job(add_unit(folder, name, changes=(SHARED,))) for name in names]


def take(job: Job) -> list[str]:
    result: Any = None  # `springs_told` alone reads it
    edit = DrawerEdit(job, result, DrawerAsked(take=True), "abc")
    edit.write()
    return edit.told


def left(folder: Path) -> int | None:
    found = read_catalogue(folder / "drawer.csv", "drawer.csv", [])
    assert found is not None
    return next(s.quantity for s in found.springs if s.id == "A1")


def test_units_whose_files_have_one_name(tmp_path: Path) -> None:
    """Every job is called unit.toml: the folder tells them apart. Each is counted once, however often it is judged."""
    one, two = units(tmp_path, "a", "b")
    assert take(one) == ["primary A1: one less in the drawer."] and left(tmp_path) == 1
    assert take(one) == ["primary A1: was taken before."] and left(tmp_path) == 1
    assert take(two) == ["primary A1: one less in the drawer."] and left(tmp_path) == 0
    assert take(two) == ["primary A1: was taken before."] and left(tmp_path) == 0
    assert "a/unit.toml primary; b/unit.toml primary" in (tmp_path / "drawer.csv").read_text(encoding="utf-8")


def test_the_name_does_not_hang_on_where_one_stands(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    units(tmp_path, "a; b")
    monkeypatch.chdir(tmp_path / "a; b")
    assert take(load_job("unit.toml")) == ["primary A1: one less in the drawer."]
    monkeypatch.chdir(tmp_path)
    assert take(load_job("a; b/unit.toml")) == ["primary A1: was taken before."] and left(tmp_path) == 1


def test_an_entry_that_names_no_folder(tmp_path: Path) -> None:
    """An older entry may be of either unit: nothing is counted until a person says whose it is."""
    one, two = units(tmp_path, "a", "b")
    old = SPRINGS.replace("quantity\n", "quantity,taken_for\n").replace(
        "A1,1.5,13.6,0,,,,,2", "A1,1.5,13.6,0,,,,,1,unit.toml primary"
    )
    (tmp_path / "drawer.csv").write_text(old, encoding="utf-8")
    (told,) = take(two)
    assert 'taken_for has "unit.toml primary"' in told and "b/unit.toml primary" in told and left(tmp_path) == 1
    settled = old.replace("unit.toml primary", "a/unit.toml primary")
    (tmp_path / "drawer.csv").write_text(settled, encoding="utf-8")
    assert take(one) == ["primary A1: was taken before."] and take(two) == ["primary A1: one less in the drawer."]


def test_a_job_beside_its_drawer_is_named_as_before(tmp_path: Path) -> None:
    job = load_job(add_unit(tmp_path, "a"))
    old = SPRINGS.replace("quantity\n", "quantity,taken_for\n").replace(
        "A1,1.5,13.6,0,,,,,2", "A1,1.5,13.6,0,,,,,1,unit.toml primary"
    )
    (tmp_path / "a" / "springs.csv").write_text(old, encoding="utf-8")
    assert take(job) == ["primary A1: was taken before."]


def test_a_unit_named_by_its_plan_is_counted_once(tmp_path: Path) -> None:
    """The job, then the plan.toml beside it: one unit, one spring; and so from another folder."""
    (job,) = units(tmp_path, "a")
    folder = tmp_path / "a" / "unit-plan"
    folder.mkdir()
    table = '[planned]\njob = "unit.toml"\ninputs = "000000000000"\nout_of_reach = false\n'
    text = job.path.read_text(encoding="utf-8").replace('"as-found.csv"', '"../as-found.csv"')
    plan = folder / "plan.toml"
    plan.write_text(text.replace('"../drawer.csv"', '"../../drawer.csv"') + table, encoding="utf-8")
    assert take(job) == ["primary A1: one less in the drawer."]
    assert take(load_job(plan)) == ["primary A1: was taken before."] and left(tmp_path) == 1
    plan.rename(tmp_path / "a" / "elsewhere.toml")  # no plan of unit.toml there: a unit of its own
    moved = (tmp_path / "a" / "elsewhere.toml").read_text(encoding="utf-8").replace('"../', '"')
    (tmp_path / "a" / "elsewhere.toml").write_text(moved, encoding="utf-8")
    assert take(load_job(tmp_path / "a" / "elsewhere.toml")) == ["primary A1: one less in the drawer."]


def test_a_spring_that_another_one_replaced_is_told(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """An A1 was taken, then an A2 is fitted in its place: the A1 stays counted, and a person is told how to put it back."""
    (job,) = units(tmp_path, "a")
    take(job)

    def fitted(*_: Any) -> tuple[Any, ...]:
        return (drawer.SpringTold("primary", "A2", Noted(), "the sweep tells nothing of this spring"),)

    monkeypatch.setattr(drawer, "springs_told", fitted)
    taken, told = take(job)
    assert taken == "primary A2: one less in the drawer." and left(tmp_path) == 1
    assert told.startswith(
        "A1 is still counted as taken for this unit, as its primary: if it is back in the drawer, raise its"
    )
    assert 'delete "a/unit.toml primary" from its taken_for' in told
    text = (tmp_path / "drawer.csv").read_text(encoding="utf-8")
    (tmp_path / "drawer.csv").write_text(text.replace(",1,a/unit.toml primary", ",2,"), encoding="utf-8")
    assert take(job) == ["primary A2: was taken before."]
