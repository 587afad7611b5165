"""Building and setting: the numbers to set, what was measured of them, and what a reading asks of which post."""

from __future__ import annotations

import csv
import io
import tomllib
from pathlib import Path
from typing import Any

import numpy as np
from starlette.responses import Response

from recurve.diagnosis.setting import Shown, post_to_bend
from recurve.errors import InputError
from recurve.files import write_folder
from recurve.job.answers import with_unit
from recurve.job.as_left import read_set
from recurve.job.live import CAUTION
from recurve.job.read import load_job
from recurve.output.planfile import current_plan, plan_folder, plan_path
from recurve.output.text.setting import setting_words
from recurve.page.bench import Asked
from recurve.page.work import kept
from recurve.units import RPM, parse

SETTINGS, RECORD = "setting.csv", "as-left.toml"
HEADER = ("speed [rpm]", "advance [deg]", "bent [mm]")
# Keys of [set], what each is, and an example.
WAS_SET = (
    ("primary_length", "Primary, over both posts at rest", "13.41 ± 0.03 mm"),
    ("secondary_length", "Secondary, over both posts at rest", "16.20 ± 0.03 mm"),
    ("stop", "Largest advance by degree wheel, distributor", "11.2 ± 0.2 deg"),
    ("stop_trim", "Or what was built up (filed: with a minus) at the stop", "0.4 mm"),
    ("primary_spring", "Primary fitted, if another than planned", ""),
    ("secondary_spring", "Secondary fitted, if another than planned", ""),
    ("set_by", "How the posts were set: calliper, or bench", "calliper"),
)


def facts(asked: Asked) -> dict[str, Any]:
    """The plan's numbers to set, what was measured of them, and the readings taken while setting."""
    found = kept(asked.path, "plan")
    current = plan_path(asked.path).is_file() and current_plan(load_job(asked.path)) is not None
    return {
        "result": None if found is None or not current else found["document"],
        "was_set": [(key, words, example, _set_so(asked.path).get(key, "")) for key, words, example in WAS_SET],
        "caution": CAUTION,
        **_shown_facts(asked, current),
    }


def _set_so(path: Path) -> dict[str, Any]:
    try:
        table = tomllib.loads((plan_folder(path) / RECORD).read_text(encoding="utf-8")).get("set", {})
        return table if isinstance(table, dict) else {}
    except (OSError, UnicodeDecodeError, tomllib.TOMLDecodeError):
        return {}


def was_set(asked: Asked) -> Response:
    """What was measured of one thing as it was set, saved in [set] of as-left.toml, the rest of the file kept."""
    import tomlkit

    key, value = asked.form.get("key", ""), asked.form.get("value", "").strip()
    row = next((r for r in WAS_SET if r[0] == key), None)
    if row is None:
        raise InputError(f"{key[:40]}: got a key that is not measured, expected one of the form")
    record = plan_folder(asked.path) / RECORD
    value = _with_unit(key, value)
    told, fault = "Saved." if value else "", False
    with asked.bench.writing:
        try:
            if value:
                read_set(Path("nowhere"), {key: value})
            document = tomlkit.parse(record.read_text(encoding="utf-8")) if record.is_file() else tomlkit.document()
            table = document.setdefault("set", tomlkit.table())
            if value:
                table[key] = value
            else:
                table.pop(key, None)
            record.parent.mkdir(exist_ok=True)
            write_folder(record.parent, {RECORD: tomlkit.dumps(document).encode("utf-8")})
        except InputError as refused:
            told, fault = "; ".join(str(f.message) for f in refused.found), True
    return asked.show("was_set.html", row=(*row, value), told=told, fault=fault)


def _with_unit(key: str, value: str) -> str:
    """A bare number in mm, or in degrees for the largest advance; names of springs, and what has its unit, as they are."""
    unit = {"stop": "angle"}.get(key, "length")
    return value if key.endswith("_spring") or not value else with_unit(value, unit, "mm")


def shown(asked: Asked) -> Response:
    """One reading while setting: kept, and what it asks."""
    load_job(plan_path(asked.path))  # refused before anything is kept, not after
    with asked.bench.writing:
        rows = readings(asked.path)
        if asked.form.get("undo"):
            rows = rows[:-1]
        elif asked.form.get("bent") is not None and asked.form.get("speed") is None:
            if rows:
                rows[-1] = Shown(rows[-1].speed, rows[-1].advance, _read(asked.form["bent"], "mm", "length"))
        else:
            speed = _read(asked.form.get("speed", ""), "rpm", "speed")
            rows.append(Shown(speed, _read(asked.form.get("advance", ""), "deg", "angle")))
        out = io.StringIO()
        written = csv.writer(out, lineterminator="\n")
        written.writerow(HEADER)
        for one in rows:
            written.writerow((f"{one.speed * RPM:.6g}", f"{np.degrees(one.advance):.6g}", f"{one.bent * 1e3:.6g}"))
        plan_folder(asked.path).mkdir(exist_ok=True)
        write_folder(plan_folder(asked.path), {SETTINGS: out.getvalue().encode("utf-8")})
    return asked.show("setting.html", **_shown_facts(asked, True))


def readings(path: Path) -> list[Shown]:
    """The readings taken while setting."""
    try:
        rows = list(csv.reader((plan_folder(path) / SETTINGS).read_text(encoding="utf-8").splitlines()))[1:]
        return [Shown(float(s) / RPM, float(np.radians(float(a))), float(b) * 1e-3) for s, a, b in rows]
    except (OSError, ValueError):
        return []


def _read(text: str, unit: str, dimension: str) -> float:
    given = text.replace("−", "-").strip()
    bare = bool(given) and all(c in "0123456789.+-" for c in given)
    try:
        return parse(f"{given} {unit}" if bare else given, dimension).value
    except ValueError as fault:
        raise InputError(f"{given[:40] or 'nothing'}: {fault}") from None


def _shown_facts(asked: Asked, current: bool) -> dict[str, Any]:
    rows = readings(asked.path)
    told, fault = "", ""
    if rows and current:
        planned = load_job(plan_path(asked.path))
        found = kept(asked.path, "plan")
        leave = None if found is None else found["document"]["setting"]["leave_within_deg"]
        try:
            within = planned.build.reading if leave is None else float(np.radians(leave))
            told = setting_words(post_to_bend(planned, _same_post(rows), within))
        except InputError as refused:
            fault = "; ".join(refused.faults)
    seen = [
        (f"{s.speed * RPM:.0f}", f"{np.degrees(s.advance):.1f}", f"{1e3 * s.bent:+.2f}" if s.bent else "") for s in rows
    ]
    return {"shown": seen, "told": told, "fault": fault, "current": current}


def _same_post(rows: list[Shown]) -> list[Shown]:
    """The last readings that are of one post: near in speed to the last, each bent after."""
    last, made = rows[-1], [rows[-1]]
    for one in reversed(rows[:-1]):
        if abs(one.speed - last.speed) > 0.25 * last.speed or one.bent == 0.0:
            break
        made.insert(0, one)
    return made
