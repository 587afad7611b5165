"""The history of a folder's units: what their files tell, and that it is read once and never wrongly remembered.

The units and their records are invented and written by hand (tests/support/workshops.py); what must be read of them is by
hand too.
"""

from __future__ import annotations

import csv
import io
import json
from pathlib import Path

import pytest
from commands import run
from jobs import BARE_HEAD, JOB, without, write_job
from workshops import MEASURED, PREDICTED, Left, add_unit

from recurve.errors import InputError, OutputError
from recurve.output import history, remembered
from recurve.output.documents.units import UnitOfFolder
from recurve.output.honest import units_document
from recurve.output.remembered import FILE, read_units
from recurve.output.text.units import units_text
from recurve.output.unitrows import HEAD, rows_csv

TARGET = '[target]\npoints = [{ speed = "700 rpm", min = "1 deg", max = "12 deg" }]\n'


def silent(_: str) -> None:
    """Progress that nobody sees."""


def by_name(folder: Path) -> dict[str, UnitOfFolder]:
    """The units of a folder by the first part of their names."""
    return {u.name.partition("/")[0]: u for u in read_units(folder, silent)}


def write_states(folder: Path) -> None:
    """A unit in every state, a type of unit, and files that are no jobs."""
    bare = BARE_HEAD.format(ratio="2.0")
    (folder / "begun.toml").write_text(bare, encoding="utf-8")
    (folder / "book.toml").write_text(bare + TARGET, encoding="utf-8")
    (folder / "swept.toml").write_text(f'{bare}{TARGET}[sweep]\nfile = "swept.csv"\n', encoding="utf-8")
    sweep = "speed [rpm],advance [deg],direction\n500,3,rising\n700,5,rising\n700,5.5,falling\n"
    (folder / "swept.csv").write_text(sweep, encoding="utf-8")
    (folder / "type.toml").write_text('title = "A type"\nunits = 3\n[distributor]\nlobes = 6\n', encoding="utf-8")
    (folder / "archive").mkdir()
    (folder / "archive" / "old.toml").write_text(bare, encoding="utf-8")
    add_unit(folder, "measured")
    add_unit(folder, "planned", 0.9)
    add_unit(folder, "built", 0.9, (Left("fails", ("bend it",)),))
    add_unit(folder, "passed", 0.9, (Left("fails", ("bend it",)), Left()))


def test_states(tmp_path: Path) -> None:
    write_states(tmp_path)
    found = by_name(tmp_path)
    assert {name: u.state for name, u in found.items()} == {
        "begun": "begun", "book": "book", "swept": "swept", "measured": "measured", "planned": "planned",
        "built": "read as left", "passed": "passed",
    }  # fmt: skip
    assert found["planned"].plan is not None and found["planned"].plan.chance == 0.9
    assert found["measured"].plan is None and found["measured"].date == "2026-05-04"
    assert found["passed"].corrections == 1 and found["built"].corrections == 0


@pytest.mark.parametrize(
    ("verdicts", "first"),
    [
        (["passes"], "passed"),
        (["fails!", "passes"], "failed"),
        (["read again", "passes"], "passed"),  # nothing was moved between
        (["too close to call", "too close to call", "fails!"], "failed"),
        (["too close to call!", "passes"], "open"),  # it may have been moved
        (["not converged"], "open"),
    ],
)
def test_first_time(tmp_path: Path, verdicts: list[str], first: str) -> None:
    """By hand; an exclamation mark: something was then to be moved."""
    add_unit(tmp_path, "one", 0.9, tuple(Left(v.strip("!"), ("bend it",) if v.endswith("!") else ()) for v in verdicts))
    assert by_name(tmp_path)["one"].first == first


def test_predicted_beside_measured(tmp_path: Path) -> None:
    """A record keeps what had been said, whatever is planned since; an older one, without it, has no prediction."""
    add_unit(tmp_path, "one", 0.5, (Left(chance=0.97),))
    add_unit(tmp_path, "old", None, (Left(chance=None),))
    found = by_name(tmp_path)
    (one,), (old,) = found["one"].left, found["old"].left
    assert one.plan is not None and one.plan.chance == 0.97
    (band,) = one.bands
    assert band.predicted is not None and band.predicted.rising_deg == PREDICTED.rising
    assert band.measured.falling_deviation_deg == MEASURED.falling_off
    assert old.plan is None and old.bands[0].predicted is None


def test_what_is_no_record_is_told(tmp_path: Path) -> None:
    path = add_unit(tmp_path, "one", 0.9, (Left(),))
    record = path.parent / "unit-plan" / "as-left.toml"
    record.write_text(record.read_text(encoding="utf-8").replace("risk", "chance"), encoding="utf-8")
    assert by_name(tmp_path)["one"].left[0].risk is None  # an older record did not have it
    record.write_text("[[as_left]]\nverdict = 3\n", encoding="utf-8")
    assert "as_left[1]: got no record" in by_name(tmp_path)["one"].faults[0]
    record.write_text("no toml", encoding="utf-8")
    assert "cannot be read" in by_name(tmp_path)["one"].faults[0]


def test_a_unit_is_read_again_only_where_a_file_of_it_changed(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    add_unit(tmp_path, "one", 0.9, (Left(),))
    add_unit(tmp_path, "two", 0.9)
    read: list[str] = []
    really = history.history_of

    def counted(name: str, path: Path) -> UnitOfFolder:
        read.append(name)
        return really(name, path)

    monkeypatch.setattr(history, "history_of", counted)

    def again() -> list[str]:
        read.clear()
        kept, fresh = read_units(tmp_path, silent), read.copy()
        (tmp_path / FILE).unlink()  # safe at any time: the same is read without it
        assert read_units(tmp_path, silent) == kept
        return fresh

    again()
    assert again() == []
    for file, change in [
        ("unit.toml", "# a comment\n"), ("as-found.csv", "1250,13.8,rising\n"), ("springs.csv", "C1,2,15,0,,,,,\n"),
        ("unit.answers.toml", 'unit = "tag 9"\n'), ("unit-plan/plan.toml", "# a comment\n"),
        ("unit-plan/as-left.toml", "# a comment\n"), ("unit-plan/as-found.toml", 'verdict = "sound"\n'),
    ]:  # fmt: skip
        with (tmp_path / "one" / file).open("a", encoding="utf-8") as out:
            out.write(change)
        assert again() == ["one/unit"], file
    (tmp_path / "one" / "unit-plan" / "as-left.toml").unlink()
    assert again() == ["one/unit"]
    add_unit(tmp_path, "three")
    assert again() == ["three/unit"]
    (tmp_path / "two" / "unit.toml").unlink()
    assert again() == [] and "two" not in (tmp_path / FILE).read_text(encoding="utf-8")


@pytest.mark.parametrize(
    "broken", ["", "{", '{"form": "0", "units": {}}', '{"form": 1}', "[]", '{"units": {"one/unit": 3}}']
)
def test_a_broken_memory_is_made_anew(tmp_path: Path, broken: str) -> None:
    add_unit(tmp_path, "one", 0.9, (Left(),))
    right = read_units(tmp_path, silent)
    whole = (tmp_path / FILE).read_bytes()
    (tmp_path / FILE).write_text(broken, encoding="utf-8")
    assert read_units(tmp_path, silent) == right
    assert (tmp_path / FILE).read_bytes() == whole


def test_a_folder_that_cannot_be_written_is_read(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    add_unit(tmp_path, "one")

    def refuse(*_: object) -> None:
        raise OutputError("no")

    monkeypatch.setattr(remembered, "write_folder", refuse)
    assert len(read_units(tmp_path, silent)) == 1
    with pytest.raises(InputError, match="got no folder"):
        read_units(tmp_path / "none", silent)


def test_the_table_for_a_spreadsheet(tmp_path: Path) -> None:
    """A row for each band of each record; a text that a spreadsheet would evaluate is made harmless."""
    add_unit(tmp_path, "one", 0.9, (Left("fails", ("bend it",)), Left()))
    path = add_unit(tmp_path, "two", 0.8)
    path.write_text(path.read_text(encoding="utf-8").replace('"bench dummy"', '"=1+1"'), encoding="utf-8")
    table = rows_csv(units_document(".", read_units(tmp_path, silent)))
    rows = list(csv.DictReader(io.StringIO(table.decode())))
    assert list(rows[0]) == list(HEAD) and [r["name"] for r in rows] == ["one/unit", "one/unit", "two/unit"]
    assert [r["record"] for r in rows] == ["1", "2", ""]
    assert (rows[0]["measured rising [deg]"], rows[0]["predicted falling [deg]"]) == ("7.2", "7.4")
    assert (rows[2]["unit"], rows[2]["chance"], rows[2]["speed [rpm]"]) == (
        "'=1+1",
        "",
        "",
    )  # its plan is of another job


def test_the_command(tmp_path: Path) -> None:
    """The JSON holds to its schema (`run` asks), the report to 80 columns; a search narrows; a table is written on request."""
    write_states(tmp_path)
    code, out, _ = run(["units", ".", "--json"], tmp_path)
    assert code == 0 and len(json.loads(out)["units"]) == 7
    code, out, _ = run(["units", ".", "--search", "built", "--csv", "units.csv"], tmp_path)
    assert code == 0 and out.startswith(".: 1 unit\n") and max(map(len, out.splitlines())) <= 80
    assert len((tmp_path / "units.csv").read_text(encoding="utf-8").splitlines()) == 2
    code, out, _ = run(["units", "."], tmp_path)
    assert code == 0 and max(map(len, out.splitlines())) <= 80
    code, _, _ = run(["units", ".", "--csv", "units.csv"], tmp_path)
    assert code == 0 and len((tmp_path / "units.csv").read_text(encoding="utf-8").splitlines()) == 9


def test_findings_as_check_wrote_them(tmp_path: Path) -> None:
    path = write_job(tmp_path, without("weights"), without("stop"))
    assert run(["check", path.name], tmp_path)[0] == 3
    (one,) = read_units(tmp_path, silent)
    assert one.found is not None and one.found.current and one.found.findings
    path.write_text(path.read_text(encoding="utf-8") + "# changed\n", encoding="utf-8")
    (one,) = read_units(tmp_path, silent)
    assert one.found is not None and not one.found.current


POSTS = JOB[JOB.index("[springs.primary.posts]") : JOB.index("[springs.secondary]")]
TYPE = f'title = "Invented type"\nunits = 5\n[distributor]\nlobes = 6\nrotation = "clockwise"\n{POSTS}'


def test_a_unit_whose_parts_its_type_tells_is_not_called_measured(tmp_path: Path) -> None:
    """Swept, or by the wheel alone, which is to be swept next; one that states all itself was measured, type or none."""
    typed = ('unit = "bench dummy"', 'type = "type.toml"')
    changes = {"swept": (typed, (POSTS, "")), "wheel": (typed, (POSTS, ""), without("sweep")), "own": (typed,)}
    for name, told in changes.items():
        (tmp_path / name).mkdir()
        (tmp_path / name / "type.toml").write_text(TYPE, encoding="utf-8")
        write_job(tmp_path / name, *told)
    found = by_name(tmp_path)
    assert {name: (u.state, u.next) for name, u in found.items()} == {
        "swept": ("swept, with a type", "plan it"),
        "wheel": ("not swept, with a type", "sweep the unit as found"),
        "own": ("measured", "plan it"),
    }
    text = units_text(units_document(".", list(found.values())))
    assert "swept, type" in text and "swept, with a type; next: plan it" in text


def test_the_table_keeps_to_eighty_columns(tmp_path: Path) -> None:
    """The longest of each column: a long name, "read as left", "failed", two chances that are over 99 %."""
    name = "a-distributor-of-a-very-long-name-indeed"
    add_unit(tmp_path, name, 0.999, (Left("fails", ("bend it",), chance=0.999),))
    text = units_text(units_document(".", list(by_name(tmp_path).values())))
    (row,) = (line for line in text.splitlines() if "read as left" in line and "2026" in line)
    assert ">99% / >99%" in row and "failed" in row
    assert max(map(len, text.splitlines())) <= 80
