"""The history of a unit, from the files that its plan's folder keeps: as-found.toml, plan.toml and as-left.toml."""

from __future__ import annotations

import tomllib
from pathlib import Path
from typing import Any

from pydantic import ValidationError

from recurve.job.schema import PlannedTable
from recurve.output.documents.units import (
    BandOfUnit,
    FindingOfUnit,
    FoundOfUnit,
    LeftOfUnit,
    OffOfUnit,
    PlacedOfUnit,
    PlanOfUnit,
    SideOfBand,
    TolerancesOfUnit,
    UnitOfFolder,
    first_time,
)
from recurve.output.planfile import plan_folder
from recurve.output.unitfolder import Unit, unit_of
from recurve.text import printable


def history_of(name: str, path: Path) -> UnitOfFolder:
    """What a unit's files tell of it."""
    unit = unit_of(name, path)
    faults = list(unit.faults)
    left = _left(plan_folder(path) / "as-left.toml", faults)
    return UnitOfFolder(
        name=name,
        file=str(path),
        title=unit.title,
        unit=unit.about,
        date=unit.date,
        state=unit.state,
        next=unit.next[1],
        faults=faults,
        found=_found(unit),
        plan=_planned(unit),
        left=left,
        first=first_time(left),
        corrections=sum(bool(one.corrected) for one in left[:-1]),
    )


def _document(path: Path, faults: list[str]) -> dict[str, Any]:
    """The document of a file that recurve wrote; nothing of one that is not there, or cannot be read, which is told."""
    try:
        return tomllib.loads(path.read_text(encoding="utf-8"))
    except FileNotFoundError:
        return {}
    except (OSError, ValueError, RecursionError) as fault:
        faults.append(f"{path}: got a file that cannot be read ({printable(str(fault))}), expected what recurve wrote")
        return {}


def _found(unit: Unit) -> FoundOfUnit | None:
    document = _document(plan_folder(unit.path) / "as-found.toml", [])
    try:
        return FoundOfUnit(
            verdict=str(document["verdict"]),
            current=document["inputs"] == unit.inputs,
            findings=[
                FindingOfUnit(**{key: f[key] for key in ("what", "severity", "cause")}) for f in document["findings"]
            ],
        )
    except (KeyError, TypeError, ValidationError):
        return None


def _planned(unit: Unit) -> PlanOfUnit | None:
    return None if unit.plan is None else said_by(unit.plan)


def said_by(planned: PlannedTable) -> PlanOfUnit:
    """What the [planned] table of a plan says."""
    springs = [
        PlacedOfUnit(
            place=s.place,
            id=s.id,
            new=s.new,
            length_mm=s.length_mm if s.length_holds else None,
            bend_mm=s.bend_mm,
            bend_holds=s.bend_holds,
            rate_n_per_mm=s.rate_n_per_mm,
        )
        for s in planned.springs
    ]
    return PlanOfUnit(
        out_of_reach=planned.out_of_reach,
        chance=planned.chance,
        chance_set=planned.chance_set,
        stop_deg=planned.stop_deg,
        trim_mm=planned.trim_mm,
        springs=springs,
        build=None if planned.build is None else TolerancesOfUnit(**planned.build.model_dump()),
    )


def _left(path: Path, faults: list[str]) -> list[LeftOfUnit]:
    entries = _document(path, faults).get("as_left", [])
    found = []
    for number, entry in enumerate(entries if isinstance(entries, list) else [], 1):
        try:
            found.append(_record(entry))
        except (KeyError, TypeError, ValueError):
            faults.append(
                f"{path}: as_left[{number}]: got no record of a finished unit, expected one as recurve wrote it"
            )
    return found


def _record(entry: dict[str, Any]) -> LeftOfUnit:
    """A record as the file has it. Raises KeyError, TypeError and ValueError for what is none."""
    planned = None if "planned" not in entry else PlannedTable.model_validate({"job": "", **entry["planned"]})
    was_set = dict(entry.get("set", {}))
    set_by = was_set.pop("set_by", None)
    return LeftOfUnit(
        id=entry["id"],
        date=entry["date"],
        verdict=entry["verdict"],
        distrust=entry.get("distrust", []),
        risk=entry.get("risk"),
        set_by=set_by,
        set_=was_set,
        corrected=entry.get("correction", []),
        plan=None if planned is None else said_by(planned),
        built=[_off(key, *values) for key, values in entry.get("built", {}).items()],
        bands=[_band(band, planned) for band in entry["bands"]],
    )


def _off(key: str, off: float, uncertainty: float) -> OffOfUnit:
    """How far a build was off, by its key in the record: "primary_rate", "primary_length_mm" or "stop_deg"."""
    place, _, what = key.removesuffix("_mm").rpartition("_")
    at, kind = ("", "stop") if key == "stop_deg" else (place, what)
    return OffOfUnit.model_validate({"what": kind, "place": at, "off": off, "standard_uncertainty": uncertainty})


def _band(band: dict[str, Any], planned: PlannedTable | None) -> BandOfUnit:
    """A band as measured, and as the plan said it would be."""
    speed = band.get("speed_rpm")
    said = None
    if planned is not None:
        said = next((f for f in planned.forecast if (f.band, f.speed_rpm) == (band["band"], speed)), None)
    predicted = [
        None if s is None else SideOfBand(**s.model_dump()) for s in (said and said.by_calliper, said and said.on_bench)
    ]
    return BandOfUnit(
        band=band["band"],
        speed_rpm=speed,
        min_deg=band["min_deg"],
        max_deg=band["max_deg"],
        verdict=band["verdict"],
        measured=SideOfBand(
            rising_deg=band["rising_deg"],
            rising_deviation_deg=band["rising_standard_uncertainty_deg"],
            falling_deg=band["falling_deg"],
            falling_deviation_deg=band["falling_standard_uncertainty_deg"],
        ),
        predicted=predicted[0],
        predicted_set=predicted[1],
    )
