"""A drawer with columns of the owner's own: they are kept, named once, and read as nothing; a misspelt column is none of them."""

from __future__ import annotations

from pathlib import Path

import pytest
from jobs import SPRINGS, write_job

from recurve.errors import InputError
from recurve.job.drawer import noted_in, taken_in
from recurve.job.read import load_job
from recurve.job.tables import read_catalogue, with_spring
from recurve.springs.noted import Noted
from recurve.springs.spring import Catalogue, Spring
from recurve.units import Quantity

OWN = "\n".join(
    f"{line},{'remarks,box,' if i == 0 else f'from Anna; 1.8 N?,box {i},'}"
    for i, line in enumerate(SPRINGS.splitlines())
)


def read(folder: Path, text: str) -> tuple[Catalogue | None, list[str]]:
    path, faults = folder / "springs.csv", list[str]()
    path.write_text(text, encoding="utf-8")
    return read_catalogue(path, "springs.csv", faults), faults


def test_they_are_named_once_and_change_no_spring(tmp_path: Path) -> None:
    plain, _ = read(tmp_path, SPRINGS)
    found, faults = read(tmp_path, OWN)
    assert found is not None and plain is not None and faults == []
    assert found.springs == plain.springs
    (note,) = (n for n in found.notes if n not in plain.notes)
    assert note == (
        'springs.csv:1: recurve does not read these columns, and leaves them as they are: "remarks", "box", '
        "one without a name."
    )


@pytest.mark.parametrize("name", ["remarks", "notes", "place", "box", "price", "Bought at", "date", "count", "colour"])
def test_names_of_the_owner_s_own(tmp_path: Path, name: str) -> None:
    found, faults = read(tmp_path, SPRINGS.replace("quantity\n", f"quantity,{name}\n"))
    assert found is not None and faults == []


@pytest.mark.parametrize(
    ("name", "meant"),
    [
        ("coil", "coils"), ("qty", "quantity"), ("quantiy", "quantity"), ("materiel", "material"), ("OD", "outer"),
        ("tension", "initial_tension"), ("spring rate", "rate"), ("wire_mm", "wire"),
    ],
)  # fmt: skip
def test_a_misspelt_column_is_asked_about(tmp_path: Path, name: str, meant: str) -> None:
    found, faults = read(tmp_path, SPRINGS.replace("quantity\n", f"quantity,{name}\n"))
    assert found is None and "unknown column" in faults[0] and f'did you mean "{meant}"?' in faults[0]


def test_where_a_column_lacks_another_may_be_the_one_that_was_meant(tmp_path: Path) -> None:
    found, faults = read(tmp_path, SPRINGS.replace("free_length [mm]", "inside [mm]"))
    assert found is None and 'unknown column "inside"' in faults[0] and 'no column "free_length"' in faults[1]


def test_a_sweep_has_no_columns_of_one_s_own(tmp_path: Path) -> None:
    path = write_job(tmp_path, sweep="speed [rpm],advance [deg],direction,remarks\n300,0.4,rising,x\n")
    with pytest.raises(InputError, match='unknown column "remarks"'):
        load_job(path)


def test_they_stay_as_they_are(tmp_path: Path) -> None:
    """A spring is taken, one is measured, one is put in: the owner's cells are the same, byte for byte. None of it changes what
    a plan rests on, nor does another remark."""
    path = write_job(tmp_path, springs=OWN)
    before, drawer = load_job(path).digests, tmp_path / "springs.csv"
    content, _ = taken_in(drawer.read_bytes(), "d", "A1", "unit.toml primary")
    content, _ = noted_in(content, "d", "B1", Noted(Quantity(3600.0, 30.0), from_="weighed"))
    rows = content.decode().splitlines()
    assert rows[0].startswith(OWN.splitlines()[0])
    assert rows[1].startswith("A1,1.5,13.6,0,,,,,1,from Anna; 1.8 N?,box 1,,unit.toml")
    assert [r for r in rows[2:] if not r.startswith("B1")] == [
        r for r in OWN.splitlines()[2:] if not r.startswith("B1")
    ]
    drawer.write_bytes(content.replace(b"from Anna", b"from Berta"))
    assert load_job(path).digests == before
    drawer.write_bytes(with_spring(drawer, Spring("C1", 2000.0, 0.015, 0.0))[0])
    assert drawer.read_text(encoding="utf-8").splitlines()[-1].startswith("C1,2,15,0,")
    assert load_job(path).digests != before
