"""Reads a job: the TOML file, the tables it names, and every fault of them all in one pass (design §5)."""

from __future__ import annotations

import hashlib
import tomllib
from dataclasses import replace
from itertools import pairwise
from pathlib import Path
from typing import Any, TypeVar

import numpy as np
from pydantic import BaseModel, ValidationError

from recurve import jobmodel as m
from recurve import jobunit as u
from recurve.curve import Drag, Installed
from recurve.defaults import default, ranges
from recurve.errors import InputError, PhysicsError
from recurve.faults import dotted, fault_lines, place
from recurve.inspectionbuild import build_inspection
from recurve.job import Job, SpringPlace, Sweep
from recurve.jobbuild import PLACES, Build, limits_of
from recurve.mechanism import ReferenceSlope, Weights
from recurve.reference import KnownSpring, Reference, fit_reference, reference_faults, reference_notes
from recurve.safetext import beside
from recurve.springs import Spring
from recurve.tables import Catalogue, Readings, read_catalogue, read_sweep, read_text
from recurve.target import Target
from recurve.units import Measured

Model = TypeVar("Model", bound=BaseModel)


def load_job(path: str | Path) -> Job:
    """Read a job file and the tables it names.

    Raises InputError with one line for each fault of all files, PhysicsError where everything can be
    read but no such distributor can work. Lengths, masses and so on are SI afterwards, angles radians,
    speeds and advances the distributor's.
    """
    file = Path(path)
    text, document, faults = read_document(path)
    if is_bare(document):
        raise InputError(
            f"{path}: weights: missing, expected weights, stop and springs: without them there is no curve to compute or to "
            "plan; recurve check and recurve timing work without"
        )
    model = validated(m.JobModel, document, text, str(path), faults)
    readings = table_of(file, document, "sweep", read_sweep, faults)
    faults += swapped_columns(readings, str(path))
    reference = _reference_table(file, document, faults)
    catalogue = table_of(file, document, "catalogue", read_catalogue, faults)
    if model is None or faults:
        raise InputError(faults)
    return _build(file, model, document, text, (readings, reference), catalogue)


def read_document(path: str | Path) -> tuple[str, dict[str, Any], list[str]]:
    """The text of a job file, what it holds, and faults met on the way; raises InputError where it is not TOML."""
    faults: list[str] = []
    text = read_text(Path(path), str(path), faults)
    if text is None:
        raise InputError(faults)
    try:
        return text, tomllib.loads(text), faults
    except tomllib.TOMLDecodeError as fault:
        raise InputError(f"{path}: not TOML: {fault}") from None
    except RecursionError:
        raise InputError(f"{path}: got tables nested too deeply to read, expected a job file") from None


def is_bare(document: dict[str, Any]) -> bool:
    """Whether a job does without weights, stop and springs, and has something else to say."""
    there = [name in document for name in ("weights", "stop", "springs")]
    return not any(there) and any(name in document for name in ("condition", "vacuum", "timing"))


def validated(model: type[Model], document: dict[str, Any], text: str, shown: str, faults: list[str]) -> Model | None:
    """The document by its model; None, with a line for each fault, where it does not follow it."""
    try:
        return model.model_validate(document)
    except ValidationError as error:
        faults.extend(fault_lines(error, text, shown, model))
        return None


def table_of(job: Path, document: dict[str, Any], name: str, read: Any, faults: list[str]) -> Any:
    """The table that [sweep] or [catalogue] names, read even if the job itself has faults."""
    entry = document.get(name)
    return _read(job, entry.get("file") if isinstance(entry, dict) else None, read, faults)


def _reference_table(job: Path, document: dict[str, Any], faults: list[str]) -> Readings | None:
    """The reference sweep that [weights.motion] names, read even if the job itself has faults."""
    weights = document.get("weights")
    motion = weights.get("motion") if isinstance(weights, dict) else None
    if not isinstance(motion, dict) or motion.get("kind") != "reference":
        return None
    found: Readings | None = _read(job, motion.get("sweep"), read_sweep, faults)
    faults += swapped_columns(found, str(motion.get("sweep")))
    return found


def _read(job: Path, file: Any, read: Any, faults: list[str]) -> Any:
    if not isinstance(file, str) or not file or "\0" in file:
        return None
    return read(beside(job, file), str(job.parent / file), faults)


def _build(
    file: Path,
    model: m.JobModel,
    document: dict[str, Any],
    text: str,
    tables: tuple[Readings | None, Readings | None],
    catalogue: Catalogue | None,
) -> Job:
    build = Build(model)
    readings, reference = tables
    weights, stop, drag, target = _weights(build, reference), build.stop(), build.drag(), build.target()
    build.physics(weights, stop)
    places: tuple[SpringPlace, ...] = ()
    if not any(key[0] == "weights" for key, _ in build.faults):
        places = build.places(weights.motion, stop.limits[1])
        build.plausible(weights, stop, places)
    inspection = build_inspection(
        model.condition, model.vacuum, model.timing, (model.distributor, model.drag), build.faults, build.notes
    )
    if build.faults:
        raise PhysicsError([located(text, str(file), key, message) for key, message in build.faults])
    given = model.drag or u.Drag()
    return Job(
        path=file,
        title=model.title,
        unit=model.unit or "",
        date="" if model.date is None else str(model.date),
        lobes=model.distributor.lobes,
        breakers=model.distributor.breakers,
        rotation=model.distributor.rotation,
        speed_ratio=model.distributor.speed_ratio,
        weights=weights,
        stop=stop,
        drag=drag,
        trigger=given.trigger,
        places=places,
        target=target,
        sweep=None
        if model.sweep is None or readings is None
        else sweep_of(model.sweep, model.distributor.speed_ratio, readings),
        catalogue=catalogue,
        build=build.tolerances(),
        limits=limits_of(model),
        notes=(*build.notes, *_order_notes(target), *(() if catalogue is None else catalogue.notes)),
        fingerprint=fingerprint_of(file, model),
        document=document,
        inspection=inspection,
        trigger_fitted=given.trigger_fitted or given.trigger,
        points_drag=build.points_drag,
    )


def located(text: str, shown: str, key: tuple[Any, ...], message: str) -> str:
    """`file:line: key: message`; a message that begins with its own key keeps it."""
    where = place(text, shown, key)
    own = dotted(tuple(key))
    if message.startswith(own):
        return f"{where[: -len(own)]}{message}"
    return f"{where}: {message}"


def sweep_of(given: m.SweepTable | u.ReferenceMotion, ratio: float, readings: Readings) -> Sweep:
    """Readings in distributor terms, as the table says they were taken; `ratio` crank turns a distributor turn."""
    speed_ratio = ratio if (given.speed_basis or given.basis) == "crank" else 1.0
    crank = (given.advance_basis or given.basis) == "crank"
    advance_ratio = ratio if crank else 1.0
    static = 0.0 if given.static is None else given.static.value
    reading = given.reading if given.reading is not None else default("sweep", "reading", "angle")
    speed_reading = (
        given.speed_reading if given.speed_reading is not None else default("sweep", "speed_reading", "speed")
    )
    return Sweep(
        given.sweep if isinstance(given, u.ReferenceMotion) else given.file,
        readings.speed / speed_ratio,
        (readings.advance - static) / advance_ratio,
        readings.rising,
        readings.row,
        reading / advance_ratio,
        speed_reading / speed_ratio,
        None if given.zeroed_at is None else given.zeroed_at.value / speed_ratio,
        static_known=not crank or given.static is not None,
    )


def swapped_columns(readings: Readings | None, shown: str) -> list[str]:
    """The fault of a sweep whose speed and advance have changed places: degrees no unit has, at a crawl."""
    if readings is None or len(readings.speed) < 2:
        return []
    if np.median(np.abs(readings.advance)) > np.radians(100.0) and np.median(readings.speed) * 30 / np.pi < 100.0:
        return [
            f"{shown}: got advances of hundreds of degrees at a few rpm, expected speed and advance the other way round"
        ]
    return []


def read_as_left(path: str | Path, job: Job, *, basis: str | None = None, zeroed_at: str | None = None) -> Sweep:
    """Readings of the finished unit, taken as those of the job's [sweep] were unless `basis` says otherwise; zero is
    taken with the weights held home unless `zeroed_at` tells a speed. Raises InputError."""
    faults: list[str] = []
    table = {k: v for k, v in job.document.get("sweep", {}).items() if k != "zeroed_at"} | {"file": str(path)}
    if basis is not None:
        table = {k: v for k, v in table.items() if not k.endswith("basis") and k != "static"} | {"basis": basis}
    if zeroed_at is not None:
        table["zeroed_at"] = zeroed_at
    try:
        given = m.SweepTable.model_validate(table)
    except ValidationError as error:
        raise InputError(fault_lines(error, "", "verify", m.SweepTable)) from None
    readings = read_sweep(Path(path), str(path), faults)
    faults += swapped_columns(readings, str(path))
    if readings is None or faults:
        raise InputError(faults)
    return sweep_of(given, job.speed_ratio, readings)


def _order_notes(target: Target | None) -> list[str]:
    """Bands that no rising curve can meet, since a later one lies below an earlier one."""
    if target is None:
        return []
    bands = sorted((b for b in target.timed if b.speed is not None), key=lambda b: b.speed or 0.0)
    notes = []
    for early, late in pairwise(bands):
        if late.high < early.low:
            rpm = [round(float(b.speed or 0.0) * 30 / np.pi) for b in (early, late)]
            notes.append(
                f"The target falls: at {rpm[1]} rpm it allows less than it asks at {rpm[0]} rpm (distributor). "
                "Check the points."
            )
    return notes


def fingerprint_of(job: Path, model: m.JobModel | m.BareModel) -> str:
    """Twelve hex digits that change with any byte of the job or of the tables it names."""
    digest = hashlib.sha256()
    tables = [t.file for t in (model.sweep, model.catalogue) if t is not None]
    if isinstance(model, m.JobModel) and isinstance(model.weights.motion, u.ReferenceMotion):
        tables.append(model.weights.motion.sweep)
    for file in (job, *(beside(job, t) for t in tables)):
        content = file.read_bytes()
        digest.update(len(content).to_bytes(8, "big") + content)
    return digest.hexdigest()[:12]


# --- a reference sweep --------------------------------------------------------------------------------------

# What is known of a spring that was weighed and stretched where the job gives no ±: limits; common practice, no source.
RATE_LIMIT = 0.05
FREE_LENGTH_LIMIT = 0.2e-3
SQRT3 = float(np.sqrt(3.0))


def _weights(build: Build, readings: Readings | None) -> Weights:
    """The job's weights; from a reference sweep, I′ as the springs that were in it tell."""
    motion = build.model.weights.motion
    if not isinstance(motion, u.ReferenceMotion):
        return build.weights()
    flat = ReferenceSlope(build.model.stop.advance.value, (0.0,), ((0.0,),))
    given = _reference(build, motion, readings, flat)
    if given is None:
        return build.weights(flat)
    faults = reference_faults(given)
    build.faults += [(("weights", "motion"), f"{motion.sweep}: {text}") for text in faults]
    if faults:
        return build.weights(flat)
    fit = fit_reference(given)
    build.notes += reference_notes(fit, build.stop().limits[1])
    return build.weights(fit.slope)


def _reference(
    build: Build, motion: u.ReferenceMotion, readings: Readings | None, flat: ReferenceSlope
) -> Reference | None:
    """The unit as it was in its reference sweep; None where something else in the job is wrong, which is told there."""
    table = motion.drag or build.model.drag or u.Drag()
    then = Build(build.model.model_copy(update={"drag": table}))
    drag = then.drag()
    if motion.drag is not None:
        build.faults += [(("weights", "motion", *key), text) for key, text in then.faults]
        build.notes += [f"In the reference sweep: {text}" for text in then.notes]
    places = then.places(flat, then.stop().limits[1])  # what is wrong with them is told where the job's own are made
    _reference_spring_faults(build, motion)
    if readings is None or then.faults or build.faults:
        return None
    sweep = sweep_of(motion, build.model.distributor.speed_ratio, readings)
    springs = [_known_spring(build.model, n, p) for n, p in zip(PLACES, places, strict=False)]
    stop = motion.stop or build.model.stop.advance
    middle, spread = _resistance(table, drag)
    return Reference(
        replace(readings, speed=sweep.speed, advance=sweep.advance),
        sweep.reading,
        sweep.speed_reading,
        sweep.zeroed_at,
        tuple(s for s in springs if s is not None),
        middle,
        spread,
        stop.value,
        stop.standard_uncertainty or default("fit", "stop", "angle"),
        default("fit", "zero", "angle"),
    )


def _reference_spring_faults(build: Build, motion: u.ReferenceMotion) -> None:
    springs = build.model.springs
    if motion.secondary is not None and springs.secondary is None:
        build.faults.append(
            (
                ("weights", "motion", "secondary"),
                "got a spring without posts, expected [springs.secondary] to tell them",
            )
        )
    if motion.primary is not None:
        return
    for name, table in zip(PLACES, (springs.primary, springs.secondary), strict=True):
        if table is not None and not table.described:
            build.faults.append(
                (
                    ("springs", name),
                    "got a reference sweep, but neither rate and free_length (or takeup) here nor "
                    "[weights.motion.primary]; expected the springs that were in it, weighed and stretched",
                )
            )


def _known_spring(model: m.JobModel, name: str, place: SpringPlace) -> KnownSpring | None:
    """The spring that was in this place while it was swept, None where there was none."""
    motion, described = model.weights.motion, getattr(model.springs, name)
    assert isinstance(motion, u.ReferenceMotion)
    given = getattr(motion, name) if motion.primary is not None else described
    if given is None:
        return None
    bent = getattr(given, "post_bend", None) or Measured(0.0)
    if given.takeup is None:
        free, by = given.free_length.value, given.free_length.standard_uncertainty or FREE_LENGTH_LIMIT / SQRT3
    else:
        length, slope = place.posts.length(given.takeup.value, bent.value)
        free, by = float(length), float(slope) * (given.takeup.standard_uncertainty or 0.0) or FREE_LENGTH_LIMIT / SQRT3
    tension = given.initial_tension or Measured(0.0)
    return KnownSpring(
        name,
        Installed(Spring(f"reference {name}", given.rate.value, free, tension.value), place.posts, bent.value),
        (given.rate.standard_uncertainty or RATE_LIMIT * given.rate.value / SQRT3) / given.rate.value,
        float(np.hypot(by, bent.standard_uncertainty or 0.0)),
        tension.standard_uncertainty or 0.1 * tension.value,
    )


def _resistance(given: u.Drag, drag: Drag) -> tuple[Drag, Drag]:
    """Drag and friction while it was swept, and their standard uncertainties; what was not measured is one-sided."""
    spread = ranges()["drag"]["rubbing_block"]["limit"] * 1e-3 / SQRT3
    if given.trigger == "electronic":
        spread = 0.0
    elif given.rubbing_block is not None:
        spread = given.rubbing_block.standard_uncertainty or 0.25 * drag.rubbing_block / SQRT3
    elif given.breaker_spring is not None:
        spread = 0.35 * drag.rubbing_block / SQRT3  # a friction coefficient is hardly known to better than a third
    friction = _one_sided(given.friction, default("fit", "friction", "moment"))
    share = _one_sided(given.friction_share, default("fit", "friction_share", "number"))
    return Drag(drag.rubbing_block, friction[0], share[0]), Drag(spread, friction[1], share[1])


def _one_sided(given: Measured | None, spread: float) -> tuple[float, float]:
    """A friction as measured; otherwise mean and standard deviation of a half normal distribution about 0."""
    if given is not None:
        return given.value, given.standard_uncertainty or 0.3 * given.value
    return spread * float(np.sqrt(2 / np.pi)), spread * float(np.sqrt(1 - 2 / np.pi))
