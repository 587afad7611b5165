"""Reads any job, those without weights, stop and springs too."""

from __future__ import annotations

from pathlib import Path

from recurve import jobmodel as m
from recurve import jobunit as u
from recurve.errors import InputError
from recurve.inspectionbuild import build_inspection
from recurve.job import BareJob, Job
from recurve.jobfile import fingerprint_of, is_bare, load_job, located, read_document, table_of, validated
from recurve.sweepbuild import sweep_of
from recurve.tables import read_catalogue, read_sweep
from recurve.targetbuild import Faults, build_target


def load_any(path: str | Path) -> Job | BareJob:
    """Read a job file and the tables it names, with weights or without. Raises as `load_job` does."""
    text, document, faults = read_document(path)
    if not is_bare(document):
        return load_job(path)
    file = Path(path)
    model = validated(m.BareModel, document, text, str(path), faults)
    readings = table_of(file, document, "sweep", read_sweep, faults)
    table_of(file, document, "catalogue", read_catalogue, faults)
    if model is None or faults:
        raise InputError(faults)
    given, unit = model.drag or u.Drag(), model.distributor
    wrong: Faults = []
    notes: list[str] = []
    target = build_target(model.target, unit.speed_ratio, wrong)
    inspection = build_inspection(model.condition, model.vacuum, model.timing, (unit, model.drag), wrong, notes)
    if wrong:
        raise InputError([located(text, str(file), key, message) for key, message in wrong])
    return BareJob(
        path=file,
        title=model.title,
        unit=model.unit or "",
        date="" if model.date is None else str(model.date),
        lobes=unit.lobes,
        breakers=unit.breakers,
        rotation=unit.rotation,
        speed_ratio=unit.speed_ratio,
        trigger=given.trigger,
        trigger_fitted=given.trigger_fitted or given.trigger,
        target=target,
        sweep=None if model.sweep is None or readings is None else sweep_of(model.sweep, unit.speed_ratio, readings),
        inspection=inspection,
        notes=tuple(notes),
        fingerprint=fingerprint_of(file, model),
        document=document,
    )
