"""The history of a folder's units as a table for a spreadsheet: a row for each band of each record."""

from __future__ import annotations

import csv
import io
from pathlib import Path

from recurve.files import rewrite_own
from recurve.output.documents.units import BandOfUnit, LeftOfUnit, UnitOfFolder, UnitsDocument
from recurve.text import csv_text

OF_UNIT = ("name", "title", "unit", "date", "state", "first time", "corrections", "found", "findings")
OF_RECORD = (
    "record",
    "verdict",
    "risk",
    "chance",
    "chance set on bench",
    "primary",
    "secondary",
    "trim [mm]",
    "stop [deg]",
)
OF_BAND = ("band", "speed [rpm]", "min [deg]", "max [deg]")
SIDES = ("rising_deg", "rising_deviation_deg", "falling_deg", "falling_deviation_deg")
SIDE_HEADS = ("rising [deg]", "rising deviation [deg]", "falling [deg]", "falling deviation [deg]")
HEAD = (
    *OF_UNIT,
    *OF_RECORD,
    *OF_BAND,
    *(f"{what} {side}" for what in ("measured", "predicted", "predicted set on bench") for side in SIDE_HEADS),
)


def write_rows(path: Path, document: UnitsDocument) -> None:
    """Write the table; a file that is there must be such a table. Raises InputError and OutputError."""
    rewrite_own(path, rows_csv(document), ",".join(HEAD[:3]), "table of units")


def rows_csv(document: UnitsDocument) -> bytes:
    """The table: UTF-8, its columns with their units; speeds and angles are the distributor's."""
    out = io.StringIO(newline="")
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(HEAD)
    for unit in document.units:
        of_unit = _of_unit(unit)
        if not unit.left:
            writer.writerow(_filled([*of_unit, *_of_record(None, unit)]))
        for number, one in enumerate(unit.left, 1):
            of_record = [str(number), *_of_record(one, unit)[1:]]
            for band in one.bands:
                writer.writerow(_filled([*of_unit, *of_record, *_of_band(band)]))
    return out.getvalue().encode("utf-8")


def _filled(cells: list[str]) -> list[str]:
    return cells + [""] * (len(HEAD) - len(cells))


def _number(value: float | None) -> str:
    return "" if value is None else f"{value:.6g}"


def _of_unit(unit: UnitOfFolder) -> list[str]:
    found = unit.found
    texts = (unit.name, unit.title, unit.unit, unit.date, unit.state, unit.first or "")
    findings = "" if found is None else "; ".join(f.what for f in found.findings)
    return [
        *map(csv_text, texts),
        str(unit.corrections),
        "" if found is None else csv_text(found.verdict),
        csv_text(findings),
    ]


def _of_record(one: LeftOfUnit | None, unit: UnitOfFolder) -> list[str]:
    plan = unit.plan if one is None else one.plan
    judged = ["", "", ""] if one is None else ["", one.verdict, _number(one.risk)]
    if plan is None:
        return [*judged, *[""] * 6]
    springs = {s.place: csv_text(s.id) for s in plan.springs}
    return [
        *judged,
        _number(plan.chance),
        _number(plan.chance_set),
        springs.get("primary", ""),
        springs.get("secondary", ""),
        _number(plan.trim_mm),
        _number(plan.stop_deg),
    ]


def _of_band(band: BandOfUnit) -> list[str]:
    cells = [band.band, _number(band.speed_rpm), _number(band.min_deg), _number(band.max_deg)]
    for side in (band.measured, band.predicted, band.predicted_set):
        cells += ["" if side is None else _number(getattr(side, name)) for name in SIDES]
    return cells
