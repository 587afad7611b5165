"""A length over the posts that nobody measured on the unit is never told as found, and no bend is told from it.

The unit and its type are invented: the type tells where the primary's posts stand, the job all else.
"""

from __future__ import annotations

from functools import cache
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

import numpy as np
import pytest
from jobs import JOB, without, write_job

from recurve.job.posts_at_rest import lengths_by_type
from recurve.job.read import load_job
from recurve.output.documents.plan import PlanDocument
from recurve.output.documents.units import UnitOfFolder, UnitsDocument
from recurve.output.history import said_by
from recurve.output.honest import honesty_of
from recurve.output.planfile import planned_table
from recurve.output.sheet.sheet import sheet_facts
from recurve.output.text.plan import plan_text
from recurve.output.text.units import units_text
from recurve.planner.plan import Plan, make_plan
from recurve.planner.springset import Constraints

POSTS = JOB[JOB.index("[springs.primary.posts]") : JOB.index("[springs.secondary]")]
SPREAD = {"anchor": (0.4, 1.2), "far": (0.3, 0.9)}  # standard deviation of radius [mm] and angle [deg]
TYPE = """title = "Invented type"
units = 5
[distributor]
lobes = 6
breakers = 1
rotation = "clockwise"
speed_ratio = 2.0
[springs.primary.posts]
kind = "points"
anchor = { on = "base", radius = "21 ± 0.692820 mm", angle = "40 ± 2.078461 deg" }
far = { on = "cam", radius = "12 ± 0.519615 mm", angle = "75 ± 1.558846 deg" }
"""  # ± is the square root of 3 times the standard deviation


def typed(folder: Path, *changes: tuple[str, str], kind: str = TYPE, swept: bool = False) -> Path:
    own = () if swept else (without("sweep"),)
    (folder / "type.toml").write_text(kind, encoding="utf-8")
    return write_job(folder, *own, (POSTS, ""), ('unit = "bench dummy"', 'type = "type.toml"'), *changes)


MEASURED = ('free_length = "15.2 mm"\n', 'free_length = "15.2 mm"\nover_posts = "15.70 ± 0.05 mm"\n')


@cache
def plan(measured: bool) -> Plan:
    with TemporaryDirectory() as folder:
        return make_plan(load_job(typed(Path(folder), *((MEASURED,) if measured else ()))), top=3)


def drawn() -> tuple[float, float]:
    """Mean and standard deviation [mm] of the length over the posts, of a hundred thousand units drawn."""
    random, at = np.random.default_rng(5), {}
    for name, (radius, angle) in {"anchor": (21.0, 40.0), "far": (12.0, 75.0)}.items():
        spread = SPREAD[name]
        turned = np.radians(random.normal(angle, spread[1], 100_000))
        at[name] = random.normal(radius, spread[0], 100_000) * np.exp(1j * turned)
    lengths = np.abs(at["anchor"] - at["far"]) + 2.5
    return float(lengths.mean()), float(lengths.std())


def cells(plan: Plan, units: Any = "both") -> dict[str, list[dict[str, str]]]:
    (found,) = (p["facts"] for p in sheet_facts(plan, units)["parts"] if p["name"] == "springs")
    return {row["label"]: row["cells"] for row in found["rows"]}


def test_the_length_that_the_type_tells(tmp_path: Path) -> None:
    primary, secondary = lengths_by_type(load_job(typed(tmp_path)))
    mean, deviation = drawn()
    assert secondary is None and primary is not None
    assert 1e3 * primary.length == pytest.approx(mean, abs=0.02)
    assert 1e3 * primary.standard_uncertainty == pytest.approx(deviation, rel=0.02)


def test_what_is_measured_on_the_unit_is_known(tmp_path: Path) -> None:
    """A calliper over the posts; places that the job states itself; a job without a type."""
    assert lengths_by_type(load_job(typed(tmp_path, MEASURED))) == (None, None)
    assert lengths_by_type(load_job(write_job(tmp_path, ('unit = "bench dummy"', 'type = "type.toml"')))) == (
        None,
        None,
    )
    assert lengths_by_type(load_job(write_job(tmp_path))) == (None, None)


def test_a_table_of_lengths_is_the_types_too(tmp_path: Path) -> None:
    """By hand: ± 0.6 mm is a standard uncertainty of 0.6/√3."""
    table = (
        '[springs.primary.posts]\nkind = "table"\nadvance = ["0 deg", "14 deg"]\nlength = ["15.6 ± 0.6 mm", "17 mm"]\n'
    )
    path = typed(
        tmp_path,
        ('post_diameter = "2.5 mm"\nfree_length', "free_length"),
        kind=TYPE[: TYPE.index("[springs")] + table,
    )
    found = lengths_by_type(load_job(path))[0]
    assert found is not None and 1e3 * found.length == pytest.approx(15.6)
    assert 1e3 * found.standard_uncertainty == pytest.approx(0.6 / 3**0.5)


def test_the_report_and_the_sheet_say_measure(tmp_path: Path) -> None:
    made = plan(False)
    told = PlanDocument.of(made).springs.primary
    assert told is not None and told.found_length_mm is None
    assert told.type_length_mm is not None and told.type_length_2u_mm is not None
    by_type = f"{told.type_length_mm:.2f} ± {told.type_length_2u_mm:.2f} mm"
    assert told.type_length_2u_mm == pytest.approx(2 * drawn()[1], rel=0.02)
    set_to = f"{told.installed_length_mm:.2f} mm"
    text = " ".join(plan_text(made).split())
    assert f"measure over the posts, then set {set_to}" in text and by_type in text
    row = next(line for line in plan_text(made).splitlines() if line.startswith("  primary") and "0.6" in line[20:32])
    assert "leave it" not in row and "ward" not in row
    cell = {label: one[0]["main"] for label, one in cells(made).items()}
    found = cells(made)["over the posts, as found"][0]
    assert "not measured" in found["main"] and by_type in found["small"]
    assert cell["bend"] == f"measure over the posts, then set {set_to}" and cell["travel left"] == ""
    assert max(map(len, plan_text(made).splitlines())) <= 80
    inch = {label: one[0]["main"] for label, one in cells(made, "inch").items()}
    assert "mm" not in inch["bend"] and " in" in inch["bend"]


def test_the_secondary_is_told_as_it_was(tmp_path: Path) -> None:
    """Its posts are measured: its length as found, and its bend from there."""
    for made, index in ((plan(False), 1), (plan(True), 0), (plan(True), 1)):
        told = PlanDocument.of(made).springs.in_place[index][1]
        assert told.type_length_mm is None and told.found_length_mm == pytest.approx(
            told.installed_length_mm - told.bend_mm, abs=2e-3
        )
        row = cells(made)
        assert row["over the posts, as found"][index]["main"] == f"{told.found_length_mm:.2f} mm"
        assert row["bend"][index]["main"].startswith(("inward", "outward", "leave it as it stands"))


def test_other_pairs_tell_no_bend_either(tmp_path: Path) -> None:
    """The column of the primary's bend says "measure" for pairs from the catalogue."""
    lines = plan_text(plan(False)).splitlines()
    first = next(i for i, line in enumerate(lines) if line.startswith("Pairs that come nearest")) + 2
    pairs = [line for line in lines[first : first + 3] if line.startswith("  ")]
    assert pairs and all(line.split()[-3] == "measure" for line in pairs[:2])


def test_a_spring_that_stays_on_its_posts(tmp_path: Path) -> None:
    """The sweep shows it on them: a bend counts from where they stand, whatever they measure, and no length is told."""
    made = make_plan(load_job(typed(tmp_path, swept=True)), constraints=Constraints(keep=frozenset({"primary"})))
    told = PlanDocument.of(made).springs.primary
    assert told is not None and told.bend_holds and told.found_length_mm is None
    row = {label: one[0]["main"] for label, one in cells(made).items()}
    assert row["over the posts, set to"].startswith("as found") and "not measured" in row["over the posts, as found"]
    assert row["bend"].startswith(("inward", "outward", "leave it as it stands"))
    text = " ".join(plan_text(made).split())
    assert "count the bend from where they stand" in text and "then set" not in text


def test_units_tells_no_length_that_the_plan_does_not(tmp_path: Path) -> None:
    """A bend where the spring stays on posts that nobody measured; a length to set where another comes on them, or where they
    were measured. The words are those of the plan's report."""
    stays = make_plan(load_job(typed(tmp_path, swept=True)), constraints=Constraints(keep=frozenset({"primary"})))
    for made, in_mm in ((stays, False), (plan(False), True), (plan(True), True)):
        told = PlanDocument.of(made).springs.primary
        said = said_by(planned_table(made))
        assert told is not None and said.springs[0].bend_holds == told.bend_holds
        assert said.springs[0].bend_mm == pytest.approx(told.bend_mm, abs=1e-3)
        unit = UnitOfFolder(
            name="a", file="a.toml", title="", unit="", date="", state="planned", next="", faults=[], found=None, plan=said,
            left=[], first=None, corrections=0,
        )  # fmt: skip
        document = UnitsDocument(folder="f", units=[unit], honesty=honesty_of([]), files=[])
        text = " ".join(units_text(document).split())
        assert (f"{told.installed_length_mm:.2f} mm over the posts" in text) == in_mm
        way = "outward" if told.bend_mm > 0 else "inward"
        assert in_mm or f"its post bent {way} {abs(told.bend_mm):.2f} mm" in text or "left as it stands" in text
