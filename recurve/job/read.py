"""Reads a job: the TOML file, the tables it names, and every fault of them all in one pass.

Reads any job, those without weights, stop and springs too.
"""

from __future__ import annotations

import copy
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any, TypeVar

from pydantic import BaseModel, ValidationError

from recurve.errors import Fault, InputError, PhysicsError
from recurve.inspection.model import Inspection
from recurve.job import schema as m
from recurve.job import schema_unit as u
from recurve.job.build import (
    build_drag,
    build_motion,
    build_places,
    build_reaches,
    build_slope,
    build_springs,
    build_stop,
    build_tolerances,
    build_weights,
    drag_notes,
    measured_posts,
    mounting_of,
)
from recurve.job.build_inspection import build_inspection, build_target, timing_faults
from recurve.job.doubts import drag_doubts, sweep_doubts, target_doubts, unit_doubts
from recurve.job.inputs import digests_of, fingerprint_of
from recurve.job.learned import UnitType, type_notes
from recurve.job.measured import Measured, MeasuredDrive, described
from recurve.job.messages import faults_in, is_missing, located
from recurve.job.model import BareJob, Job, JobHead, SpringPlace
from recurve.job.named import NamedTables
from recurve.job.sweeps import (
    build_reference,
    confirmed,
    counted_twice,
    reading_faults,
    static_faults,
    sweep_of,
    weights_of,
)
from recurve.job.tables import read_sweep
from recurve.job.unit_type import read_typed_document, told_where
from recurve.physics.curve import Stop
from recurve.physics.logged import gathered_notes
from recurve.physics.mechanism import RadiusTable, ReferenceSlope, weight_faults
from recurve.physics.reference import Reference
from recurve.physics.sweep import Readings, Sweep
from recurve.physics.target import Target, thinned
from recurve.springs.spring import Catalogue

Model = TypeVar("Model", bound=BaseModel)


@dataclass(frozen=True)
class JobFiles:
    """A job's file and the tables it names, as read: nothing is built of them yet."""

    path: Path
    text: str
    document: dict[str, Any]
    model: m.JobModel
    sweep: Readings | None
    reference: Readings | None
    catalogue: Catalogue | None
    kind: UnitType | None


@dataclass(frozen=True)
class JobParts:
    """What is built of a job's files. A reference sweep is described and has no faults, but it is not fitted: the posts then
    stand on weights of which nothing is known. `reference_notes` are of that sweep, `notes` of the rest; `doubts` what is
    probably a slip."""

    measured: Measured
    stop: Stop
    places: tuple[SpringPlace, ...]
    target: Target | None
    inspection: Inspection
    reference_notes: tuple[str, ...]
    notes: tuple[str, ...]
    doubts: tuple[str, ...]


def load_job(path: str | Path, springs_wanted: bool = True) -> Job:
    """Read a job file and the tables it names.

    Three steps: `read_files`, `build_parts`, and `whole_job`, which fits a reference sweep where the weights are known by
    one. Every fault is found before that fit. Without `springs_wanted` a catalogue whose file is gone is no fault; the job
    is then without one. Raises InputError with one line for each fault of all files, PhysicsError
    where everything can be read but no such distributor can work. Lengths, masses and so on are SI afterwards, angles
    radians, speeds and advances the distributor's.
    """
    files = read_files(path, springs_wanted)
    return whole_job(files, build_parts(files))


def read_files(path: str | Path, springs_wanted: bool = True) -> JobFiles:
    """The job file by its model, and the tables it names; raises InputError with one line for each fault of them all. Without
    `springs_wanted` a catalogue whose file is gone is none."""
    text, document, kind = read_typed_document(path)
    with told_where(Path(path), text, kind):
        return _files(Path(path), text, document, kind, springs_wanted)


def _files(path: Path, text: str, document: dict[str, Any], kind: UnitType | None, springs_wanted: bool) -> JobFiles:
    if not document.keys() & UNIT_TABLES and document.keys() & OTHER_TABLES:
        message = (
            "missing, expected weights, stop and springs, since no curve can be computed or planned without them; "
            "recurve check and recurve timing do without"
        )
        raise InputError(Fault(("weights",), message, str(path)))
    faults: list[Fault] = []
    model = validated(m.JobModel, document, text, str(path), faults)
    tables = NamedTables(path, text, document, faults)
    readings, reference = tables.sweep(), tables.reference()
    catalogue = tables.catalogue() if springs_wanted or tables.catalogue_is_there() else None
    if model is None or faults:
        raise InputError([*faults, *_of_the_rest(document, faults, reference, text, str(path))])
    return JobFiles(path, text, document, model, readings, reference, catalogue, kind)


UNIT_TABLES = {"weights", "stop", "springs"}  # without which there is no curve to compute
OTHER_TABLES = {"condition", "vacuum", "timing", "sweep"}  # that can be judged without a curve
WHOLE_ONLY = ("motion", "posts")  # tables that tell nothing in part


def _faults_and_missing(document: dict[str, Any], text: str, shown: str) -> tuple[tuple[Fault, ...], tuple[Fault, ...]]:
    """What is wrong in a job, and what it only lacks for its curve to be computed; each with its key."""
    try:
        m.JobModel.model_validate(document)
    except ValidationError as error:
        absent = [is_missing(one) for one in error.errors(include_url=False)]
        told = faults_in(error, text, shown, m.JobModel)
        wrong = tuple(fault for fault, only_missing in zip(told, absent, strict=True) if not only_missing)
        return wrong, tuple(fault for fault, only_missing in zip(told, absent, strict=True) if only_missing)
    return (), ()


def _known_part(document: dict[str, Any], missing: tuple[Fault, ...]) -> dict[str, Any]:
    """The document without those tables that tell nothing while a key of theirs is missing."""
    known: dict[str, Any] = copy.deepcopy(document)
    for fault in missing:
        table: Any = known
        for part in fault.key or ():
            if part in WHOLE_ONLY and isinstance(table, dict):
                table.pop(part, None)
                break
            table = table.get(part) if isinstance(table, dict) else None
    return known


def validated(model: type[Model], document: dict[str, Any], text: str, shown: str, faults: list[Fault]) -> Model | None:
    """The document by its model; None, with its faults, where it does not follow it."""
    try:
        return model.model_validate(document)
    except ValidationError as error:
        faults.extend(faults_in(error, text, shown, model))
        return None


def build_parts(files: JobFiles) -> JobParts:
    """The frozen types of a job's parts; a reference sweep is described, not fitted. Raises PhysicsError with one line for
    each fault."""
    faults: list[Fault] = []
    parts = _parts(files.model, files.sweep, files.reference, faults)
    with told_where(files.path, files.text, files.kind):
        if faults or parts is None:
            raise PhysicsError([located(fault, files.text, str(files.path)) for fault in faults])
    return parts


def _parts(
    model: m.JobModel, readings: Readings | None, reference: Readings | None, faults: list[Fault]
) -> JobParts | None:
    """The parts of a job and its readings; None, its `faults` told, where something is wrong with them."""
    unit, given = model.distributor, model.weights
    driven: MeasuredDrive | RadiusTable | None = None
    slope = build_slope(given.motion) if isinstance(given.motion, u.SlopeMotion) else None
    if not isinstance(given.motion, u.ReferenceMotion | u.SlopeMotion):
        driven = build_motion(given.motion, unit.rotation, model.stop.advance, faults)
    on = mounting_of(given, unit.rotation, driven)
    stop = build_stop(model.stop, faults)
    drag = build_drag(model.drag or u.Drag(), unit, faults)
    target = build_target(model.target, unit.speed_ratio, faults)
    if driven is not None:
        faults += weight_faults(described(driven), stop.limits[1])
    disagree: list[str] = []
    places = () if _any_of(faults, "weights") else build_places(model.springs, on, stop.limits[1], faults, disagree)
    reference_said: list[str] = []
    motion: MeasuredDrive | RadiusTable | Reference | ReferenceSlope | None = driven or slope
    if motion is None:
        sound = not _any_of(faults, "stop", "springs")
        motion = build_reference(model, reference, places if sound else None, faults, reference_said)
    said: list[str] = []
    inspection = build_inspection(model.condition, model.vacuum, model.timing, (unit, model.drag), faults, said)
    faults += _other_faults(model, readings)
    if faults or motion is None:
        return None
    reaches = build_reaches(model.springs, places, on, stop.limits[1])
    springs = build_springs(model.springs)
    measured = Measured(
        build_weights(given, motion), model.stop.advance, drag, springs, reaches, measured_posts(model.springs, on)
    )
    doubts = (*unit_doubts(model, motion, places), *disagree)
    return JobParts(
        measured, stop, places, target, inspection, tuple(reference_said), (*drag_notes(drag), *said), doubts
    )


def _other_faults(model: m.JobModel | m.BareModel, readings: Readings | None) -> list[Fault]:
    """Where timing and target contradict each other, or a static timing the readings."""
    faults = timing_faults(model.target, model.timing)
    return faults if model.sweep is None else [*faults, *static_faults(model.sweep, ("sweep",), readings)]


# What of [distributor] a table's faults depend on: where that itself is wrong, they are not told.
LEANS_ON = {
    "drag": {"lobes", "breakers"}, "condition": {"lobes", "breakers"}, "vacuum": {"speed_ratio"}, "timing": {"speed_ratio"},
    "target": {"speed_ratio"}, "weights": {"rotation"}, "springs": {"rotation"},
}  # fmt: skip
STAND_INS = {"lobes": 4, "rotation": "clockwise"}  # that no fault told depends on


def _of_the_rest(
    document: dict[str, Any], known: list[Fault], reference: Readings | None, text: str, shown: str
) -> list[Fault]:
    """What is wrong with those tables of a job whose shape is right, beside the faults already `known`, so that all are told
    in one pass."""
    keys = [fault.key for fault in known if fault.key]
    wrong = {key[0] for key in keys}
    unsure = {key[1] for key in keys if key[0] == "distributor" and len(key) > 1}
    if ("distributor",) in keys:
        return []  # nothing of it is known
    sound = {key: value for key, value in document.items() if key not in wrong} | {"title": "-"}
    told = document.get("distributor", {})
    known_keys = {k: v for k, v in told.items() if k not in unsure and k in u.Distributor.model_fields}
    sound["distributor"] = {**STAND_INS, **known_keys}
    faults: list[Fault] = []
    try:
        _parts(m.JobModel.model_validate(sound), None, reference, faults)
    except ValidationError:
        faults += _of_a_part(sound)
    told_of = [f for f in faults if f.key is None or not (LEANS_ON.get(str(f.key[0]), set()) & unsure)]
    return [located(fault, text, shown) for fault in told_of]


def _of_a_part(document: dict[str, Any]) -> list[Fault]:
    """What is wrong with a job, all of the right shape, that has no weights, no stop or no springs."""
    try:
        model = m.BareModel.model_validate(document)
    except ValidationError:
        return []  # a table is wrong as a whole, which is known
    faults: list[Fault] = []
    unit, notes = model.distributor, list[str]()
    build_drag(model.drag or u.Drag(), unit, faults)
    build_target(model.target, unit.speed_ratio, faults)
    build_inspection(model.condition, model.vacuum, model.timing, (unit, model.drag), faults, notes)
    faults += timing_faults(model.target, model.timing)
    motion = None if model.weights is None else model.weights.motion
    stop = None if model.stop is None else model.stop.advance
    if motion is None or isinstance(motion, u.ReferenceMotion | u.SlopeMotion) or stop is None:
        return faults
    driven = build_motion(motion, unit.rotation, stop, faults)
    return [*faults, *weight_faults(described(driven), stop.value)]


def _any_of(faults: list[Fault], *tables: str) -> bool:
    """Whether a fault is of one of these tables of the job."""
    return any(fault.key is not None and fault.key[0] in tables for fault in faults)


def whole_job(files: JobFiles, parts: JobParts) -> Job:
    """The job of its parts; a reference sweep is fitted here."""
    model, measured, catalogue = files.model, parts.measured, files.catalogue
    weights, fit_notes, doubt = weights_of(measured.weights, parts.stop.limits[1])
    notes = (
        *parts.reference_notes,
        *fit_notes,
        *counted_twice(model),
        *parts.notes,
        *(() if catalogue is None else catalogue.notes),
    )
    head = _head(files.path, files.document, model, files.sweep, (parts.target, parts.inspection, notes, parts.doubts))
    return Job(
        **vars(_of_type(head, files.kind)),
        weights=weights,
        stop=parts.stop,
        drag=measured.drag.drag(head.trigger),
        places=parts.places,
        catalogue=catalogue,
        build=build_tolerances(model.build),
        measured=measured,
        doubt=doubt,
    )


def _head(
    file: Path,
    document: dict[str, Any],
    model: m.JobModel | m.BareModel,
    readings: Readings | None,
    built: tuple[Target | None, Inspection, tuple[str, ...], tuple[str, ...]],
) -> JobHead:
    """What every job has; `built` is the target, the inspection, what must be said aloud, and what is probably a slip."""
    unit, drag = model.distributor, model.drag or u.Drag()
    target, inspection, notes, doubts = built
    sweep = _swept(model, readings)
    used = None if target is None else thinned(target)
    doubts = (*doubts, *drag_doubts(model.drag), *target_doubts(model.target, target), *sweep_doubts(sweep))
    return JobHead(
        path=file,
        title=model.title,
        unit=model.unit or "",
        date="" if model.date is None else str(model.date),
        lobes=unit.lobes,
        breakers=unit.breakers,
        rotation=unit.rotation,
        speed_ratio=unit.speed_ratio,
        trigger=drag.trigger,
        trigger_fitted=drag.trigger_fitted or drag.trigger,
        target=used,
        sweep=sweep,
        inspection=inspection,
        notes=(*doubts, *gathered_notes(sweep), *confirmed(model), *_thinned_notes(target, used), *notes),
        doubts=doubts,
        fingerprint=fingerprint_of(file, model),
        digests=digests_of(file, model),
        model=model,
        document=document,
    )


def _of_type(head: JobHead, kind: UnitType | None) -> JobHead:
    """The same of a job that names a type, with what must be said of it."""
    return head if kind is None else replace(head, kind=kind, notes=(*head.notes, *type_notes(kind)))


def _thinned_notes(target: Target | None, used: Target | None) -> list[str]:
    """What must be said of a target of which not all points are used."""
    if target is None or used is None or target is used:
        return []
    many, few = (sum(b.kind == "point" for b in t.bands) for t in (target, used))
    return [
        f"The target has {many} points. {few} of them are used: the others lie on straight lines between these, to within "
        "0.05° (distributor)."
    ]


def _swept(model: m.BareModel, readings: Readings | None) -> Sweep | None:
    if model.sweep is None or readings is None:
        return None
    return sweep_of(model.sweep, model.distributor.speed_ratio, readings)


def read_as_left(path: str | Path, job: JobHead, *, basis: str | None = None, zeroed_at: str | None = None) -> Sweep:
    """Readings of the finished unit, taken as those of the job's [sweep] were unless `basis` says otherwise; zero is
    taken with the weights held home unless `zeroed_at` tells a speed. Raises InputError."""
    table = {k: v for k, v in job.document.get("sweep", {}).items() if k not in ("zeroed_at", "confirmed")} | {
        "file": str(path)
    }
    if basis is not None:
        table = {k: v for k, v in table.items() if not k.endswith("basis") and k != "static"} | {"basis": basis}
    if zeroed_at is not None:
        table["zeroed_at"] = zeroed_at
    try:
        given = m.SweepTable.model_validate(table)
    except ValidationError as error:
        raise InputError(faults_in(error, "", "verify", m.SweepTable)) from None
    readings = readings_of(path)
    if wrong := static_faults(given, ("sweep",), readings):
        raise InputError([located(fault, "", str(path)) for fault in wrong])
    return sweep_of(given, job.speed_ratio, readings)


def readings_of(path: str | Path) -> Readings:
    """The readings of a sweep's file, as they stand there. Raises InputError."""
    lines: list[str] = []
    readings = read_sweep(Path(path), str(path), lines)
    wrong = reading_faults(readings, str(path))
    if readings is None or wrong:
        raise InputError([*lines, *wrong])
    return readings


def load_any(path: str | Path) -> Job | BareJob:
    """Read a job file and the tables it names, whole or in part. Raises as `load_job` does."""
    text, document, kind = read_typed_document(path)
    with told_where(Path(path), text, kind):
        return _any(Path(path), text, document, kind)


def _any(path: Path, text: str, document: dict[str, Any], kind: UnitType | None) -> Job | BareJob:
    wrong, missing = _faults_and_missing(document, text, str(path))
    part = [fault for fault in missing if fault.key and fault.key[0] in UNIT_TABLES]
    if not part:
        return load_job(path)
    # Beside a key that is wrong, one that is missing in the same table may be the one that was meant.
    faults = [*wrong, *(f for f in missing if f not in part or (wrong and f.key is not None and len(f.key) > 1))]
    tables = NamedTables(path, text, document, faults)
    readings, reference, _ = tables.sweep(), tables.reference(), tables.catalogue()
    if faults:
        known = _known_part(document, missing)
        raise InputError([*faults, *_of_the_rest(known, [*faults, *missing], reference, text, str(path))])
    model = m.BareModel.model_validate(_known_part(document, missing))
    notes: list[str] = []
    unit = model.distributor
    target = build_target(model.target, unit.speed_ratio, faults)
    inspection = build_inspection(model.condition, model.vacuum, model.timing, (unit, model.drag), faults, notes)
    faults += _other_faults(model, readings)
    if faults:
        raise InputError([located(fault, text, str(path)) for fault in faults])
    head = _head(path, document, model, readings, (target, inspection, tuple(notes), ()))
    return BareJob(
        **vars(_of_type(head, kind)), stop=None if model.stop is None else model.stop.advance, lacking=missing
    )
