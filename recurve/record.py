"""The as-left record: what was found, what was left, and how it was judged, appended to one TOML file."""

from __future__ import annotations

import hashlib
import tomllib
from pathlib import Path
from typing import Any

import numpy as np

from recurve.errors import InputError
from recurve.job import Sweep
from recurve.safetext import printable
from recurve.verify import Verification

DECISION_RULE = "passes where the refitted curve plus or minus 2 standard uncertainties lies inside every band"


def record_toml(path: Path, result: Verification, as_found: Sweep | None, as_left: Sweep, fingerprint: str) -> bytes:
    """The record file with this verification added; a verification of the same readings is not added twice.

    Raises InputError where the file that is there is no record.
    """
    import tomli_w

    earlier = _earlier(path)
    entry = record_entry(result, as_found, as_left, fingerprint)
    if entry not in earlier:
        earlier.append(entry)
    head = "# As-left records of this unit, written by recurve verify. All speeds and angles are the distributor's.\n"
    return (head + tomli_w.dumps({"as_left": earlier})).encode("utf-8")


def _earlier(path: Path) -> list[dict[str, Any]]:
    if not path.exists():
        return []
    try:
        entries = tomllib.loads(path.read_text(encoding="utf-8"))["as_left"]
    except (tomllib.TOMLDecodeError, UnicodeDecodeError, KeyError, OSError) as fault:
        raise InputError(f"{path}: got a file that is no as-left record ({fault}), expected one, or none") from None
    return list(entries)


def record_entry(result: Verification, as_found: Sweep | None, as_left: Sweep, fingerprint: str) -> dict[str, Any]:
    """One verification as the record keeps it, with an `id` of its own that follows from all the rest."""
    import tomli_w

    entry = _content(result, as_found, as_left, fingerprint)
    return {"id": hashlib.sha256(tomli_w.dumps(entry).encode("utf-8")).hexdigest()[:12], **entry}


def _content(result: Verification, as_found: Sweep | None, as_left: Sweep, fingerprint: str) -> dict[str, Any]:
    job = result.job
    entry: dict[str, Any] = {
        "title": job.title,
        "unit": job.unit,
        "date": job.date,
        "inputs": fingerprint,
        "verdict": result.verdict,
        "decision_rule": DECISION_RULE,
        "bands": [_band(b) for b in result.bands],
        "as_left": _readings(as_left),
    }
    if as_found is not None:
        entry["as_found"] = _readings(as_found)
    if result.correction is not None:
        entry["correction"] = [m.words for m in result.correction.moves]
    return entry


def _band(b: Any) -> dict[str, Any]:
    speed = {} if b.band.speed is None else {"speed_rpm": round(b.band.speed * 30 / np.pi, 3)}
    return {
        "band": b.band.kind,
        **speed,
        "min_deg": _deg(b.band.low),
        "max_deg": _deg(b.band.high),
        "rising_deg": _deg(b.rising),
        "rising_standard_uncertainty_deg": _deg(b.rising_deviation),
        "falling_deg": _deg(b.falling),
        "falling_standard_uncertainty_deg": _deg(b.falling_deviation),
        "verdict": b.verdict,
    }


def _deg(angle: float) -> float:
    return round(float(np.degrees(angle)), 3)


def _readings(sweep: Sweep) -> dict[str, Any]:
    return {
        "file": printable(sweep.file),
        "speed_rpm": [round(float(s * 30 / np.pi), 3) for s in sweep.speed],
        "advance_deg": [_deg(a) for a in sweep.advance],
        "direction": ["rising" if r else "falling" for r in sweep.rising],
        "reading_limit_deg": _deg(sweep.reading),
    }
