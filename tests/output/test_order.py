"""One order list of several plans. The plans are invented and written by hand (tests/support/workshops.py): each asks for the
primary A1, of which there are two, or A2 in its place."""

from __future__ import annotations

import csv
import io
import json
from dataclasses import replace
from pathlib import Path

import pytest
import tomli_w
from commands import run
from jobs import SPRINGS
from workshops import Left, add_unit

from recurve.job.drawer import noted_in, taken_in
from recurve.job.read import load_any, load_job
from recurve.output.documents.order import OrderDocument
from recurve.output.judged import finished_unit
from recurve.output.order import HEAD, order_list, order_rows
from recurve.output.remembered import read_units
from recurve.output.text.order import order_text
from recurve.springs.noted import Noted
from recurve.units import Quantity


def units(folder: Path, *names: str) -> list[Path]:
    """Planned units that share one drawer."""
    (folder / "drawer.csv").write_text(SPRINGS, encoding="utf-8")
    return [add_unit(folder, name, 0.9, changes=(('"springs.csv"', '"../drawer.csv"'),)) for name in names]


def lines(document: OrderDocument) -> list[tuple[str, int, int, int]]:
    """Name, taken, ordered, lacking."""
    return [(x.id, x.take, x.order, x.lacking) for x in document.lines]


def test_the_stock_is_shared(tmp_path: Path) -> None:
    """Two A1 and one A2 for four units: the third gets the alternate, the fourth none."""
    paths = units(tmp_path, "a", "b", "c", "d")
    assert lines(order_list(paths[:2])) == [("A1", 2, 0, 0)]
    three = order_list(paths[:3])
    assert lines(three) == [("A1", 2, 0, 0), ("A2", 1, 0, 0)] and three.good
    assert [u.planned for u in three.lines[1].used_for] == ["A1"] and three.lines[1].used_for[0].alternate
    four = order_list(paths)
    assert lines(four) == [("A1", 2, 0, 1), ("A2", 1, 0, 0)] and not four.good


def test_a_drawer_of_its_own(tmp_path: Path) -> None:
    """The same id in two drawers is two springs."""
    paths = [*units(tmp_path, "a", "b"), add_unit(tmp_path, "own", 0.9), add_unit(tmp_path, "own2", 0.9)]
    found = order_list(paths)
    assert [(x.id, x.take, x.in_stock) for x in found.lines] == [("A1", 2, 2), ("A1", 1, 2), ("A1", 1, 2)]
    assert len({x.catalogue for x in found.lines}) == 3


def test_a_spring_that_serves_several(tmp_path: Path) -> None:
    """A1 can be ordered here, and so can A2, which serves both units; what is not in the catalogue is none."""
    changed = SPRINGS.replace(",,,,,2\nA2", ",,,,,\nA2").replace("1\nA3", "\nA3")
    (tmp_path / "drawer.csv").write_text(changed, encoding="utf-8")
    paths = [add_unit(tmp_path, n, 0.9, changes=(('"springs.csv"', '"../drawer.csv"'),)) for n in ("a", "b")]
    found = order_list(paths)
    assert lines(found) == [("A1", 0, 2, 0)]
    assert [(s.id, s.in_stock, len(s.used_for)) for s in found.shared] == [("A2", None, 2)]


def test_who_is_left_out(tmp_path: Path) -> None:
    paths = units(tmp_path, "a", "stale")
    paths[1].write_text(paths[1].read_text(encoding="utf-8") + "# changed\n", encoding="utf-8")
    paths += [add_unit(tmp_path, "unplanned"), add_unit(tmp_path, "built", 0.9, (Left(),))]
    found = order_list(paths)
    assert found.jobs == [str(paths[0])]
    why = {Path(o.job).parent.name: (o.why.partition(":")[0], o.settled) for o in found.left_out}
    assert why == {
        "stale": ("the job unit.toml was changed after it was planned", False),
        "unplanned": ("it has no plan", False),
        "built": ("it is built and has passed", True),
    }


def changed(path: Path, old: str, new: str) -> None:
    text = path.read_text(encoding="utf-8")
    assert old in text
    path.write_text(text.replace(old, new), encoding="utf-8")


def why(paths: list[Path]) -> list[str]:
    """Why each is left out, in the order of the jobs."""
    told = {o.job: o.why for o in order_list(paths).left_out}
    return [told.get(str(path), "") for path in paths]


def test_springs_taken_and_measured_change_no_plan(tmp_path: Path) -> None:
    """Of two A1 one is taken for another unit, and B1 is measured: who planned an A1 before still gets one. A row of the
    owner's is then changed, which may change the plan."""
    paths = units(tmp_path, "a", "b")
    drawer = tmp_path / "drawer.csv"
    content, told = taken_in(drawer.read_bytes(), "drawer.csv", "A1", "other/unit.toml primary")
    content, _ = noted_in(content, "drawer.csv", "B1", Noted(Quantity(3600.0, 30.0), from_="weighed"))
    drawer.write_bytes(content)
    assert told == "" and why(paths) == ["", ""]
    assert lines(order_list(paths)) == [("A1", 1, 0, 0), ("A2", 1, 0, 0)]
    changed(drawer, "A3,2.0", "A3,2.1")
    assert set(why(paths)) == {"the catalogue ../drawer.csv was changed after it was planned: plan it again"}


def test_the_file_that_changed_is_named(tmp_path: Path) -> None:
    """The sweep; the job and its sweep; a plan of an earlier version cannot tell which."""
    sweep, both, earlier = units(tmp_path, "sweep", "both", "earlier")
    plan = earlier.parent / "unit-plan" / "plan.toml"
    changed(plan, "[planned.files]", "[other]")
    for path in (sweep, both, earlier):
        changed(path.parent / "as-found.csv", "300,0.4", "300,0.5")
    changed(both, "bench dummy", "bench dummy 2")
    assert why([sweep, both, earlier]) == [
        "the sweep as-found.csv was changed after it was planned: plan it again",
        "the job unit.toml and the sweep as-found.csv were changed after it was planned: plan it again",
        "the job, or a file that it names, was changed after it was planned: plan it again",
    ]


def test_a_spring_that_is_not_as_its_row_says(tmp_path: Path) -> None:
    """One A1, planned with 1.5 N/mm, was then weighed: 1.62 N/mm."""
    (path,) = units(tmp_path, "a")
    drawer = tmp_path / "drawer.csv"
    changed(drawer, "A1,1.5,13.6,0,,,,,2", "A1,1.5,13.6,0,,,,,1")
    assert why([path]) == [""]
    drawer.write_bytes(noted_in(drawer.read_bytes(), "d", "A1", Noted(Quantity(1620.0, 20.0), from_="weighed"))[0])
    assert read_units(tmp_path, str)[0].state == "measured"
    assert why([path]) == ["A1 was measured after it was planned, and is not as its row says: plan it again"]


def test_a_unit_that_took_its_springs_is_judged_by_its_plan(tmp_path: Path) -> None:
    """Nothing is said of other inputs, nor is a new plan asked for; a sweep that changed is told."""
    (path,) = units(tmp_path, "a")
    plan = path.parent / "unit-plan" / "plan.toml"
    job = (
        path.read_text(encoding="utf-8")
        .replace('"as-found.csv"', '"../as-found.csv"')
        .replace('"../drawer', '"../../drawer')
    )
    plan.write_text(f"{job}\n{plan.read_text(encoding='utf-8')}", encoding="utf-8")
    drawer = tmp_path / "drawer.csv"
    drawer.write_bytes(taken_in(drawer.read_bytes(), "d", "A1", "a/unit.toml primary")[0])
    assert finished_unit(plan, load_job(path))[1] == "" and read_units(tmp_path, str)[0].state == "planned"
    changed(path.parent / "as-found.csv", "300,0.4", "300,0.5")
    told = finished_unit(plan, load_job(path))[1]
    assert "the sweep as-found.csv was changed after it was planned" in told and "plan again" in told


def with_alternates(path: Path, *names: str) -> Path:
    told = ", ".join(f'"{name}"' for name in names)
    changed(path.parent / "unit-plan" / "plan.toml", '    "A2",\n', f"    {told},\n")
    return path


def test_the_spring_found_is_an_alternate_that_needs_no_stock(tmp_path: Path) -> None:
    """Two A1 for three units: the third keeps the spring found in it, as its plan allows; the other's is no help to it. Nothing
    is lacking, and the report says how to plan that unit again."""
    paths = units(tmp_path, "a", "b", "c")
    with_alternates(paths[0], "as found primary")
    for path in paths[1:]:
        with_alternates(path, "as found secondary")
    found = order_list(paths)
    assert found.good and lines(found) == [("A1", 2, 0, 0)]
    assert [(k.job, k.place, k.id, k.planned) for k in found.kept] == [
        (str(paths[0]), "primary", "as found primary", "A1")
    ]
    text = order_text(found)
    assert f"  recurve plan {paths[0]} --keep primary\n" in text and "--only-in-stock" not in text
    assert unspaced(f"primary of {paths[0]}: keep the spring found there, in place of A1") in unspaced(text)


def test_two_units_keep_their_own(tmp_path: Path) -> None:
    """A spring found is that unit's alone: with no A1 at all each keeps its own. As planned comes first where there is one."""
    paths = [with_alternates(p, "as found primary", "A2") for p in units(tmp_path, "a", "b")]
    assert order_list(paths).kept == []
    changed(tmp_path / "drawer.csv", "A1,1.5,13.6,0,,,,,2", "A1,1.5,13.6,0,,,,,0")
    found = order_list(paths)
    assert [k.job for k in found.kept] == [str(p) for p in paths] and found.lines == [] and found.good


def test_what_lacks_names_its_unit_and_leads_on(tmp_path: Path) -> None:
    """Two A1 and one A2 for four units: one goes without. Planning it with what is in stock, alone, would take the A1 again."""
    paths = units(tmp_path, "a", "b", "c", "d")
    found = order_list(paths)
    (lacks,) = (u for u in found.lines[0].used_for if u.lacking)
    (other,) = (u for u in found.lines[1].used_for if u.alternate)
    text = order_text(found)
    assert unspaced(f"none is left for the primary of {lacks.job}") in unspaced(text)
    assert "--only-in-stock" not in text
    assert f"  recurve plan {other.job} --primary A2\n" in text
    assert unspaced(f"plan {lacks.job} again with --primary and another spring") in unspaced(text)


def unspaced(text: str) -> str:
    """Without spaces and ends of lines: a long path may be broken anywhere."""
    return "".join(text.split())


def built(folder: Path, name: str, *records: Left) -> Path:
    """A planned unit with these records of its plan."""
    path = add_unit(folder, name, 0.9, changes=(('"springs.csv"', '"../drawer.csv"'),))
    inputs = {"planned": {"inputs": load_any(path).fingerprint}}
    entries = [replace(one, planned=one.planned or inputs["planned"]).entry(i, name) for i, one in enumerate(records)]
    (path.parent / "unit-plan" / "as-left.toml").write_text(tomli_w.dumps({"as_left": entries}), encoding="utf-8")
    return path


@pytest.mark.parametrize("verdict", ["fails", "read again", "too close to call"])
def test_a_unit_that_was_built_has_its_springs(tmp_path: Path, verdict: str) -> None:
    """Whatever the record says of its curve, and though its job was changed since; a record of an earlier plan counts not."""
    units(tmp_path)
    one, two = built(tmp_path, "a", Left(verdict, ("bend it",))), built(tmp_path, "b", Left(verdict))
    earlier = built(tmp_path, "c", Left(verdict, planned={"inputs": "0" * 12}))
    changed(two, "bench dummy", "bench dummy 2")
    found = order_list([one, two, earlier])
    assert found.jobs == [str(earlier)] and found.good and found.notes == []
    words = f"it is built by its plan, so it has its springs; its last record says: {verdict}"
    assert [(o.why, o.settled) for o in found.left_out] == [(words, True)] * 2


def test_a_unit_that_was_built_with_other_springs(tmp_path: Path) -> None:
    """A2 hangs where A1 was planned: the A1 is still to be had, which is said. The spring planned, named, changes nothing."""
    units(tmp_path)
    other = built(tmp_path, "a", Left("fails", set_={"primary_spring": "A2"}))
    same = built(tmp_path, "b", Left("fails", set_={"primary_spring": "A1"}))
    found = order_list([other, same])
    assert found.jobs == [str(other)] and lines(found) == [("A1", 1, 0, 0)]
    assert found.notes == [
        f"{other}: its last record says that A2 was fitted as the primary, so the A1 planned is in the list."
    ]
    assert unspaced(found.notes[0]) in unspaced(order_text(found))
    assert [Path(o.job) for o in found.left_out] == [same]


def test_a_unit_that_was_planned_again_since(tmp_path: Path) -> None:
    """From the same files, with another spring asked for: it has the A1 of its first plan, and needs the A2 of its second."""
    units(tmp_path)
    path = built(tmp_path, "a", Left("fails"))
    changed(path.parent / "unit-plan" / "plan.toml", 'id = "A1"', 'id = "A2"')
    changed(path.parent / "unit-plan" / "plan.toml", "rate_n_per_mm = 1.5", "rate_n_per_mm = 1.9")
    found = order_list([path])
    assert [x.id for x in found.lines] == ["A2"] and "A1 was fitted as the primary" in found.notes[0]


def test_a_unit_that_passed_and_was_planned_again(tmp_path: Path) -> None:
    """From a changed job, or from the same with an A2 asked for: its springs are in the list, and `units` sends it to the bench.
    A spring fitted in place of the one planned, with which it passed, is no new plan."""
    units(tmp_path)
    job, spring = built(tmp_path, "a", Left(planned={"inputs": "0" * 12})), built(tmp_path, "b", Left())
    other = built(tmp_path, "c", Left(set_={"primary_spring": "A2"}))
    changed(spring.parent / "unit-plan" / "plan.toml", 'id = "A1"', 'id = "A2"')
    changed(spring.parent / "unit-plan" / "plan.toml", "rate_n_per_mm = 1.5", "rate_n_per_mm = 1.9")
    found = order_list([job, spring, other])
    assert found.jobs == [str(job), str(spring)] and lines(found) == [("A1", 1, 0, 0), ("A2", 1, 0, 0)]
    assert [(o.job, o.why) for o in found.left_out] == [(str(other), "it is built and has passed")]
    assert sum("has passed, and was planned again since" in note for note in found.notes) == 2
    assert [u.state for u in read_units(tmp_path, str)] == ["planned", "planned", "passed"]


def test_readings_of_the_unit_as_found_build_nothing(tmp_path: Path) -> None:
    units(tmp_path)
    readings = {"speed_rpm": [700.0], "advance_deg": [7.2], "direction": ["rising"]}
    one = built(tmp_path, "a", Left("read again", more={"as_found": readings}))
    assert order_list([one]).jobs == [str(one)]


def test_the_command(tmp_path: Path) -> None:
    """Status 3 where something lacks; JSON holds to its schema (`run` asks); the table is that of the document."""
    units(tmp_path, "a", "b", "c", "d")
    jobs = [f"{n}/unit.toml" for n in "abcd"]
    code, out, _ = run(["order", *jobs[:3], "--csv", "list.csv"], tmp_path)
    assert code == 0 and "in place of A1" in out and max(map(len, out.splitlines())) <= 80
    rows = list(csv.DictReader(io.StringIO((tmp_path / "list.csv").read_text(encoding="utf-8"))))
    assert list(rows[0]) == list(HEAD) and [(r["id"], r["take"], r["rate [N/mm]"]) for r in rows] == [
        ("A1", "2", "1.5"),
        ("A2", "1", "1.9"),
    ]
    code, out, _ = run(["order", *jobs, "--json"], tmp_path)
    assert code == 3 and json.loads(out)["lines"][0]["lacking"] == 1
    code, out, _ = run(["order", *jobs], tmp_path)
    assert code == 3 and "1 too few in stock" in out and max(map(len, out.splitlines())) <= 80


@pytest.mark.parametrize("name", ["=A1", "@x"])
def test_a_name_that_a_spreadsheet_would_evaluate(tmp_path: Path, name: str) -> None:
    found = order_list(units(tmp_path, "a"))
    line = found.lines[0].model_copy(update={"id": name})
    assert f"\n'{name}," in order_rows(found.model_copy(update={"lines": [line]})).decode()
