"""Text and facts of the timing card. Every angle is the crank's before top dead centre, every speed the crank's, unless
it is said to be the distributor's."""

from __future__ import annotations

from typing import Any

import numpy as np

from recurve.job import BareJob, Job
from recurve.report import page, remarks, title_lines, wrap
from recurve.safetext import printable
from recurve.texttable import Column, table
from recurve.timing import RPM, Card, Trap

NAMES = ("as found", "book", "planned")
CAUTIONS = (
    "Engine: brake on, out of gear, the room ventilated; hands, hair, sleeves and leads clear of fan and belts. The timing "
    "light makes the fan look still: it is not.",
    "Ignition voltage can injure: off before you touch a lead. Ignition fields and pacemakers do not mix.",
    "Too much advance breaks pistons before you hear it: creep up on the total, check it at several speeds with the light "
    "before any load, and stop at any knock. Never past the engine maker's speed.",
    "Petrol boats: blower first. Local rules and licensed practice decide.",
)


def timing_facts(card: Card, job: Job | BareJob) -> dict[str, Any]:
    """The `timing` document: plain numbers; crank degrees before top dead centre and crank rpm."""
    return {
        "verdict": "set it so" if card.good else "do not run it so",
        "title": job.title,
        "fingerprint": job.fingerprint,
        "basis": "crank",
        "static_deg": _deg(card.static),
        "idle_rpm": _rpm(card.timing.idle),
        "book_total_deg": _deg(card.total),
        "total_limit_deg": _deg(card.timing.limit),
        "setting": _setting_facts(card),
        "totals": {
            n: {
                "static_deg": _deg(at),
                "total_deg": _deg(at + card.ratio * c.stop),
                "off_book_deg": _off(card, at + card.ratio * c.stop),
            }
            for n, c, at in card.curves
        },
        "traps": [_trap_facts(card, t) for t in card.traps],
        "table": {"speed_rpm": [_rpm(x) for x in card.speed], **{_key(n): _column(card, n) for n in NAMES}},
        "cruise": _cruise_facts(card),
        "warnings": list(card.warnings),
        "cautions": list(CAUTIONS),
        "notes": list(job.notes),
    }


def _setting_facts(card: Card) -> dict[str, Any] | None:
    s = card.setting
    if s is None:
        return None
    return {
        "speed_rpm": _rpm(s.speed),
        "reading_deg": _deg(s.reading),
        "tolerance_deg": _deg(s.tolerance),
        "tolerance_source": card.timing.tolerance_source,
        "static_deg": _deg(s.static),
        "idle_deg": _deg(s.idle),
        "total_deg": _deg(s.total),
        "all_in": s.flat,
    }


def _trap_facts(card: Card, t: Trap) -> dict[str, Any]:
    return {
        "set": t.where,
        "reading_deg": _deg(t.reading),
        "static_deg": _deg(t.static),
        "idle_deg": _deg(t.idle),
        "total_deg": _deg(t.total),
        "off_book_deg": _off(card, t.total),
    }


def _key(name: str) -> str:
    return f"{name.replace(' ', '_')}_deg"


def _column(card: Card, name: str, vacuum: float = 0.0) -> list[float | None] | None:
    column = card.column(name, vacuum)
    return None if column is None else [_deg(x) for x in column]


def _cruise_facts(card: Card) -> dict[str, Any] | None:
    if card.cruise is None:
        return None
    return {
        "speed_rpm": _rpm(card.timing.cruise_speed),
        "vacuum_advance_deg": _deg(card.ratio * card.cruise[0]),
        "source": card.cruise[1],
        **{_key(n): _column(card, n, card.cruise[0]) for n in NAMES},
    }


def _deg(angle: float | None) -> float | None:
    return None if angle is None else round(float(np.degrees(angle)), 6)


def _rpm(speed: float | None) -> float | None:
    return None if speed is None else round(float(speed) * RPM, 6)


def _off(card: Card, total: float) -> float | None:
    return None if card.total is None else _deg(total - card.total)


def timing_text(card: Card, job: Job | BareJob, files: tuple[str, ...] = ()) -> str:
    """The report of `recurve timing`: where to set, the table, the trap, warnings, cautions."""
    facts = timing_facts(card, job)
    head = title_lines(job)
    lines = [
        *head[:2],
        *wrap(f"{printable(job.path.name)}, inputs {job.fingerprint}; CRANK degrees before top dead centre at"),
    ]
    lines += ["CRANK rpm, unless it says distributor", ""]
    lines += [facts["verdict"].upper(), *(line for w in card.warnings for line in wrap(w, "  - ", "    ")), ""]
    lines += [*_setting_lines(facts), *_table_lines(card), *_trap_lines(facts)]
    lines += ["", "Cautions", *(line for c in CAUTIONS for line in wrap(c, "  - ", "    "))]
    lines += remarks(job.notes)
    if files:
        lines += ["", "Written", *(f"  {name}" for name in files)]
    return page(lines)


def _setting_lines(facts: dict[str, Any]) -> list[str]:
    s = facts["setting"]
    if s is None:
        return [f"Static {facts['static_deg']:.1f}°; there is no advance curve to say more."]
    source = f" ({s['tolerance_source']})"
    lines = ["Set it here, vacuum line off and plugged, the engine warm"]
    where = f"at {s['speed_rpm']:.0f} rpm{', all in' if s['all_in'] else ''}"
    lines += wrap(f"{where}: {s['reading_deg']:.1f} ± {s['tolerance_deg']:.1f}°{source}", "  ", "    ")
    idle = ""
    if s["idle_deg"] is not None:
        idle = f"; at idle, {facts['idle_rpm']:.0f} rpm, the light then shows {s['idle_deg']:.1f}°"
    told = f"that is static {s['static_deg']:.1f}°, cam turned back to rest{idle}; total {s['total_deg']:.1f}°"
    lines += wrap(told, "  ", "    ")
    lines.append("")
    for name, one in facts["totals"].items():
        off = "" if one["off_book_deg"] is None or name == "book" else f", {one['off_book_deg']:+.1f}° off the book"
        lines.append(f"  total {name}, with static {one['static_deg']:.1f}°: {one['total_deg']:.1f}°{off}")
    return lines


def _table_lines(card: Card) -> list[str]:
    names = [n for n in NAMES if card.column(n) is not None]
    if not names:
        return []
    sets = [("vacuum off", 0.0)] + ([] if card.cruise is None else [("cruise vacuum", card.cruise[0])])
    columns = [Column("speed", "rpm"), *(Column(n, "deg") for _ in sets for n in names)]
    cells = [card.column(n, v) for _, v in sets for n in names]
    rows = [
        [f"{x * RPM:.0f}", *(f"{np.degrees(c[i]):.1f}" for c in cells if c is not None)]
        for i, x in enumerate(card.speed)
    ]
    told = "vacuum off" if card.cruise is None else f"first vacuum off, then with cruise vacuum ({card.cruise[1]}: "
    told += "" if card.cruise is None else f"{np.degrees(card.ratio * card.cruise[0]):+.1f}°)"
    return ["", *wrap(f"Timing over engine speed, {told}"), *table(columns, rows)]


def _trap_lines(facts: dict[str, Any]) -> list[str]:
    if not facts["traps"]:
        return []
    lines = ["", "If the unit as found is set by the light"]
    for t in facts["traps"]:
        where = f"at idle to {t['reading_deg']:.1f}°" if t["set"] == "at idle" else f"all in to {t['reading_deg']:.1f}°"
        idle = "" if t["idle_deg"] is None or t["set"] == "at idle" else f", at idle {t['idle_deg']:.1f}°"
        off = "" if t["off_book_deg"] is None else f", {t['off_book_deg']:+.1f}° off the book's"
        lines += wrap(f"{where}: static {t['static_deg']:.1f}°{idle}, total {t['total_deg']:.1f}°{off}", "  ", "    ")
    return lines
