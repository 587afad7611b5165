"""The as-left record: what was found, what was left, and how it was judged; a PDF to hand over, and a TOML file that
grows.

It carries what ISO/IEC 17025:2017, 7.8.2 and 7.8.4 (SECOND-HAND), ask of a calibration certificate where that applies to
a workshop, and claims no accreditation. What only the workshop knows (customer, bench, temperature, the date of the
sweep, a signature) is left as lines to fill in.
"""

from __future__ import annotations

import hashlib
import math
import tomllib
from pathlib import Path
from typing import Any

from recurve.diagnosis.as_set import AsSet
from recurve.diagnosis.verify import DECISION_RULE, Before, Verification
from recurve.errors import InputError
from recurve.job.model import Job
from recurve.output.documents.base import deg, rpm
from recurve.output.documents.check import JudgedBand, VerifyDocument
from recurve.output.sheet.numbers import Shown, cell, signless
from recurve.output.sheet.parts import Facts, decimals, in_order
from recurve.output.sheet.readings import by_speed, conditions, each_reading, method, zero_words
from recurve.output.sheet.sheet import head_facts, typeset
from recurve.physics.sweep import Sweep
from recurve.text import breakable, printable, shortened
from recurve.units import PLACES, RPM, LengthUnits, Paper


def record_toml(path: Path, result: Verification, as_found: Sweep | None, as_left: Sweep, fingerprint: str) -> bytes:
    """The record file with this verification added; the same verification is not added twice.

    Raises InputError if the file exists but is not a record.
    """
    import tomli_w

    earlier, set_so = _earlier(path)
    entry = record_entry(result, as_found, as_left, fingerprint)
    if entry["id"] not in {one.get("id") for one in earlier}:
        earlier.append(entry)
    head = (
        "# As-left records of this unit, written by recurve verify. All speeds and angles are the distributor's.\n"
        '# [set] is yours: what was measured as it was set, such as primary_length = "13.41 ± 0.03 mm".\n'
    )
    return (head + tomli_w.dumps({"set": set_so, "as_left": earlier})).encode("utf-8")


def _earlier(path: Path) -> tuple[list[dict[str, Any]], dict[str, Any]]:
    """The entries of the record as it is, and what was told of the unit as it was set."""
    if not path.exists():
        return [], {}
    try:
        document = tomllib.loads(path.read_text(encoding="utf-8"))
        entries = document["as_left"] if "set" not in document else document.get("as_left", [])
    except (tomllib.TOMLDecodeError, UnicodeDecodeError, KeyError, OSError) as fault:
        raise InputError(f"{path}: got a file that is no as-left record ({fault}), expected one, or none") from None
    return list(entries), dict(document.get("set", {}))


def record_entry(result: Verification, as_found: Sweep | None, as_left: Sweep, fingerprint: str) -> dict[str, Any]:
    """One verification as the record keeps it, with an `id` derived from its content; from what was planned it is not, so that
    a drawer that has changed since makes no other verification of it."""
    import tomli_w

    entry = _content(result, as_found, as_left, fingerprint)
    own = {key: value for key, value in entry.items() if key not in ("inputs", "planned", "built")}
    return {"id": hashlib.sha256(tomli_w.dumps(own).encode("utf-8")).hexdigest()[:12], **entry}


def _content(result: Verification, as_found: Sweep | None, as_left: Sweep, fingerprint: str) -> dict[str, Any]:
    job = result.job
    entry: dict[str, Any] = {
        "title": job.title,
        "unit": job.unit,
        "date": job.date,
        "inputs": fingerprint,
        "verdict": result.verdict,
        **({} if result.trust.ok else {"distrust": [printable(x) for x in result.trust.reasons]}),
        "decision_rule": DECISION_RULE,
        "risk": round(result.risk, 4),
        "set": _told(result.told),
        "bands": [_band(JudgedBand.of(b)) for b in result.bands],
        "as_left": _readings(as_left),
    }
    planned = job.model.planned
    if planned is not None:
        entry["planned"] = planned.model_dump(exclude_none=True, exclude={"job"})
    built = _built(result)
    if built:
        entry["built"] = built
    if as_found is not None:
        entry["as_found"] = _readings(as_found)
    if result.correction is not None:
        entry["correction"] = [m.words for m in result.correction.moves]
    return entry


def _told(told: AsSet) -> dict[str, Any]:
    """What was measured of the unit as it was set, in mm and degrees; what was not is left out."""
    rows: dict[str, Any] = {}
    for name, length, spring in zip(PLACES, told.lengths, told.springs, strict=True):
        if length is not None:
            rows[f"{name}_length_mm"] = round(length.value * 1e3, 3)
        if spring is not None:
            rows[f"{name}_spring"] = printable(spring)
    if told.stop is not None:
        rows["stop_deg"] = round(deg(told.stop.value), 3)
    if told.trim is not None:
        rows["stop_trim_mm"] = round(told.trim.value * 1e3, 3)
    if told.set_by is not None:
        rows["set_by"] = told.set_by
    return rows


def _built(result: Verification) -> dict[str, Any]:
    """How far the readings show the build to be off the plan; what they do not show is left out."""
    if result.built is None:
        return {}
    rows: dict[str, Any] = {}
    for one in result.built.springs:
        if one.rate is not None:
            rows[f"{one.place}_rate"] = [round(x, 5) for x in one.rate]
        if one.length is not None:
            rows[f"{one.place}_length_mm"] = [round(x * 1e3, 4) for x in one.length]
    if result.built.stop is not None:
        rows["stop_deg"] = [round(deg(x), 4) for x in result.built.stop]
    return rows


def _band(b: JudgedBand) -> dict[str, Any]:
    speed = {} if b.speed_rpm is None else {"speed_rpm": round(b.speed_rpm, 3)}
    return {
        "band": b.band,
        **speed,
        "min_deg": round(b.min_deg, 3),
        "max_deg": round(b.max_deg, 3),
        "rising_deg": round(b.rising_deg, 3),
        "rising_standard_uncertainty_deg": round(b.rising_standard_uncertainty, 3),
        "falling_deg": round(b.falling_deg, 3),
        "falling_standard_uncertainty_deg": round(b.falling_standard_uncertainty, 3),
        "verdict": b.verdict,
    }


def _readings(sweep: Sweep) -> dict[str, Any]:
    return {
        "file": printable(sweep.file),
        "speed_rpm": [round(rpm(s), 3) for s in sweep.speed],
        "advance_deg": [round(deg(a), 3) for a in sweep.advance],
        "direction": ["rising" if r else "falling" for r in sweep.rising],
        "reading_limit_deg": round(deg(sweep.reading), 3),
    }


def record_pdf(
    result: Verification,
    document: VerifyDocument,
    before: Before | None,
    as_left: Sweep,
    fingerprint: str,
    figure_svg: bytes,
    paper: Paper = "a4",
    units: LengthUnits = "both",
) -> bytes:
    """The record as PDF, the same bytes for the same input. `document`: the verification's; `before`: the unit as found, if
    it was swept."""
    facts = record_facts(result, document, before, as_left, fingerprint, units)
    return typeset("record.typ", facts, {"as-left.svg": figure_svg}, paper)


def record_facts(
    result: Verification,
    document: VerifyDocument,
    before: Before | None,
    as_left: Sweep,
    fingerprint: str,
    units: LengthUnits = "both",
) -> Facts:
    """Everything the record says. Numbers are text with their unit, except in tables, whose columns name theirs."""
    job, shown = result.job, Shown(result.job.speed_ratio, units)
    as_found = None if before is None else before.evidence.job.sweep
    identity = record_entry(result, as_found, as_left, fingerprint)["id"]
    return {
        **head_facts(job),
        "kind": "As-left record",
        "fingerprint": fingerprint,
        "record": identity,
        "identity": f"record {identity}",
        "verdict": document.verdict,
        "distrust": [breakable(shown.words(x)) for x in document.trust.reasons],
        "rule": DECISION_RULE,
        "again": [breakable(shown.words(x)) for x in document.read_again],
        "item": _item(job),
        "springs": _springs(job, shown),
        "results": _results(document, before),
        "correction": []
        if result.correction is None
        else [breakable(shown.words(m.words)) for m in result.correction.moves],
        "uncertainty": _uncertainty(document, as_left),
        "left": each_reading(result, as_left),
        "left_zero": zero_words(as_left, result.fit),
        "method": method(as_left),
        "conditions": conditions(as_left, job.trigger),
        "done": _done(result, shown),
        "risk": _risk(document),
        "found": None if as_found is None else by_speed(as_found),
        "notes": [breakable(shown.words(n)) for n in result.notes],
        "found_zero": "" if before is None or as_found is None else zero_words(as_found, before.evidence.fit),
    }


def _risk(document: VerifyDocument) -> str:
    """The risk in words; of readings that are not trusted there is none to tell."""
    if not document.trust.ok:
        return "not known before that is settled"
    return "under 0.1 %" if document.risk < 1e-3 else f"{100 * document.risk:.1f} %"


def _item(job: Job) -> list[Facts]:
    points = f"{job.breakers} set{'s' if job.breakers > 1 else ''} of points"
    about = f"{job.lobes} lobes, {points if job.trigger == 'points' else 'electronic trigger'}"
    rows = [
        ("item", breakable(shortened(job.unit, 90)) or breakable(shortened(job.title, 90))),
        ("kind", f"ignition distributor with mechanical advance, {about}"),
        ("rotation", f"{job.rotation}, seen from the rotor end"),
        ("speeds and angles", f"of the distributor; the crank turns {job.speed_ratio:g} times as fast and as far"),
    ]
    return [{"label": label, "value": value} for label, value in rows]


def _springs(job: Job, shown: Shown) -> list[Facts]:
    """The stop and springs the unit was left with, as the sweep shows them."""
    rows = [{"label": "stop, by the sweep", **shown.angle(deg(job.stop.advance))}]
    for name, place in zip(PLACES, job.places, strict=False):
        if place.found is None:
            continue
        rows.append({"label": f"{name} spring, by the sweep", **shown.rate(place.found.rate / 1e3)})
    return rows


def _results(document: VerifyDocument, before: Before | None) -> list[Facts]:
    """A row for each band in the order of speed: its limits, as found and as left, each ± two standard uncertainties."""
    places = max(decimals(document.targets), 2)
    as_found = [] if before is None else [JudgedBand.of(b) for b in before.bands]
    earlier = {(b.band, b.speed_rpm): b for b in as_found}
    return [
        {
            "what": {"point": "", "idle": "idle", "maximum": "maximum"}[b.band],
            "speed": "stop" if b.speed_rpm is None else f"{b.speed_rpm:.0f}",
            "min": "–" if b.from_zero else signless(b.min_deg, places),
            "max": signless(b.max_deg, places),
            "found": _sides(earlier.get((b.band, b.speed_rpm)), places),
            "left": _sides(b, places),
            "verdict": b.verdict,
        }
        for b in in_order(document.targets)
    ]


def _sides(one: JudgedBand | None, places: int) -> list[str]:
    """Rising and falling, each with its uncertainty; empty where it was not swept."""
    if one is None:
        return ["", ""]
    return [f"{signless(value, places)} ± {signless(2 * by, places)}" for value, by in one.sides]


def _uncertainty(document: VerifyDocument, sweep: Sweep) -> str:
    """What the ± covers."""
    more = document.fit.scatter
    scatter = f"; the readings scatter {more:.1f} times as much" if more > 1 else ""
    used = "the readings that were not left out" if document.fit.outlier_rows else "all readings"
    return (
        f"± is two standard uncertainties (a coverage of about 95 %) of the curve that was fitted to {used}. A single "
        f"reading is taken to be off by no more than ± {math.degrees(sweep.reading):.2f}° (distributor) and "
        f"± {sweep.speed_reading * RPM:.0f} rpm (distributor), the error of bench or light included{scatter}."
    )


def _done(result: Verification, shown: Shown) -> list[Facts]:
    """What was measured of the work done; nothing that was only planned."""
    told, rows = result.told, []
    for name, length, spring in zip(PLACES, told.lengths, told.springs, strict=True):
        if spring is not None:
            rows.append({"label": f"{name} spring fitted", **cell(printable(spring))})
        if length is not None:
            rows.append({"label": f"over the {name}'s posts, measured", **shown.length(length.value * 1e3)})
    if told.stop is not None:
        rows.append({"label": "stop, by degree wheel", **shown.angle(deg(told.stop.value))})
    if told.trim is not None:
        rows.append({"label": "stop, built up (+) or filed (-)", **shown.length(told.trim.value * 1e3)})
    return rows
