"""The JSON documents of `timing`, `wind` and `spring`: shapes, and the unit of every number."""

from __future__ import annotations

import math
from typing import Annotated, Any, Literal

import numpy as np

from recurve.inspection.timing import CAUTIONS, Card, IdleTrap
from recurve.job.model import BareJob, Job
from recurve.output.documents.base import Document, Files, Fingerprint, Notes, PlaceName, Title, told
from recurve.springs.spring import checked
from recurve.springs.stress import STRESSES
from recurve.springs.weighing import WeighedSpring, measured_notes
from recurve.springs.winding import LIMITS, Wanted, Winding, Wound, check_lengths, shortfall
from recurve.springs.wire import materials
from recurve.units import RPM

Timings = Annotated[list[float] | None, told("Before top dead centre, at each speed; null: no such curve", "crank deg")]

# --- timing -----------------------------------------------------------------------------------------------


class SetHere(Document):
    """Where to set the timing, vacuum line off and plugged, and what the light then shows."""

    speed_rpm: Annotated[float, told("The speed to set it at", "crank rpm")]
    reading_deg: Annotated[float, told("What the light must show, before top dead centre", "crank deg")]
    tolerance_deg: Annotated[float, told("± of it", "crank deg")]
    tolerance_source: Annotated[str, told("Where the ± comes from")]
    static_deg: Annotated[float, told("Static timing that follows", "crank deg")]
    idle_deg: Annotated[float | None, told("What the light shows at idle; null: no idle speed", "crank deg")]
    total_deg: Annotated[float, told("Total that follows", "crank deg")]
    all_in: Annotated[bool, told("Whether all advance is in at that speed")]


class Total(Document):
    """Static and total timing of one curve."""

    static_deg: Annotated[float, told("Static", "crank deg")]
    total_deg: Annotated[float, told("Total", "crank deg")]
    off_book_deg: Annotated[float | None, told("By how much the total is off the book's; null: no book", "crank deg")]


class Trap(Document):
    """What follows when the unit as found is set by the light."""

    set: Annotated[Literal["at idle", "all in"], told("Where it is set by")]
    reading_deg: Annotated[float, told("What the light is made to show", "crank deg")]
    static_deg: Annotated[float, told("Static that follows", "crank deg")]
    idle_deg: Annotated[float | None, told("Timing at idle that follows; null: no idle speed", "crank deg")]
    total_deg: Annotated[float, told("Total that follows", "crank deg")]
    off_book_deg: Annotated[float | None, told("By how much the total is off the book's; null: no book", "crank deg")]


class TimingTable(Document):
    """Timing over engine speed, vacuum off."""

    speed_rpm: Annotated[list[float], told("Speeds of the engine", "crank rpm")]
    as_found_deg: Timings
    book_deg: Timings
    planned_deg: Timings


class CruiseTimings(Document):
    """Timing over engine speed with the vacuum of cruise."""

    speed_rpm: Annotated[float | None, told("Speed of cruise; null: not given", "crank rpm")]
    vacuum_advance_deg: Annotated[float, told("What vacuum adds", "crank deg")]
    source: Annotated[str, told("Where that comes from")]
    as_found_deg: Timings
    book_deg: Timings
    planned_deg: Timings


class TimingDocument(Document):
    """The card for the engine. Unlike all others, speeds and angles are the CRANK's, before top dead centre."""

    verdict: Literal["set it so", "do not run it so"]
    title: Title
    fingerprint: Fingerprint
    basis: Literal["crank"]
    static_deg: Annotated[float, told("Static", "crank deg")]
    idle_rpm: Annotated[float | None, told("Idle speed; null: not given", "crank rpm")]
    book_total_deg: Annotated[float | None, told("The book's total; null: none", "crank deg")]
    total_limit_deg: Annotated[float | None, told("Total never to be passed; null: none given", "crank deg")]
    setting: Annotated[SetHere | None, told("null: there is no curve to say more than static")]
    totals: dict[Literal["as found", "book", "planned"], Total]
    traps: list[Trap]
    table: TimingTable
    cruise: CruiseTimings | None
    warnings: list[str]
    cautions: list[str]
    notes: Notes
    files: Files


# --- wind -------------------------------------------------------------------------------------------------


class WantedSpring(Document):
    """What is wanted of a spring; lengths are inside the hooks."""

    rate_n_per_mm: Annotated[float, told("Rate", "N/mm")]
    installed_length_mm: Annotated[float, told("Length over the posts at rest", "mm")]
    longest_mm: Annotated[float, told("Length at full advance", "mm")]
    pull_at_rest_n: Annotated[float | None, told("Pull at rest; null: it is slack there", "N")]
    free_length_mm: Annotated[float | None, told("Free length; null: free, with the tension", "mm")]
    initial_tension_n: Annotated[float | None, told("Initial tension; null: what winds well", "N")]
    post_mm: Annotated[float, told("Diameter that the hooks must go over; 0: not given", "mm")]


class WindingEnvelope(Document):
    """What a wound spring must keep within."""

    outer_mm: Annotated[float, told("Largest diameter over the coils", "mm")]
    overall_mm: Annotated[float, told("Largest length over the hooks, unloaded", "mm")]
    rate_tolerance: Annotated[float, told("± of the rate", "1")]
    hooks_in_one_plane: bool


class PullAtLength(Document):
    """A length by which to accept a spring."""

    length_mm: Annotated[float, told("Length inside the hooks", "mm")]
    pull_n: Annotated[float, told("Pull at it", "N")]


class StressUsed(Document):
    """Of the stress that is allowed, at the spring's longest; null: no such stress."""

    body_torsion: Annotated[float | None, told("Torsion of the body", "1")]
    hook_torsion: Annotated[float | None, told("Torsion of the hooks", "1")]
    hook_bending: Annotated[float | None, told("Bending of the hooks", "1")]


class Rooms(Document):
    """What each limit leaves: 0 on it, 1 far from it, negative past it; null: no bound."""

    index: Annotated[float | None, told("Index", "1")]
    rate: Annotated[float | None, told("Rate", "1")]
    hook_count: Annotated[float | None, told("How hooks are counted", "1")]
    initial_tension: Annotated[float | None, told("Initial tension", "1")]
    stress: Annotated[float | None, told("Stress", "1")]
    hooks: Annotated[float | None, told("Shape of the hooks", "1")]
    turns: Annotated[float | None, told("Number of coils", "1")]
    outer_diameter: Annotated[float | None, told("Outer diameter", "1")]
    post: Annotated[float | None, told("Post", "1")]
    overall_length: Annotated[float | None, told("Overall length", "1")]


class WoundSpring(Document):
    """A spring as it would be wound; stresses are for a static load, fatigue is not judged."""

    material: str
    standard: Annotated[str, told("The wire's standard")]
    wire: Annotated[str, told("The wire's size, as one orders it")]
    wire_mm: Annotated[float, told("Diameter of the wire", "mm")]
    outer_mm: Annotated[float, told("Diameter over the coils", "mm")]
    coils: Annotated[float, told("Coils of the body", "1")]
    hook_angle_deg: Annotated[float, told("How far one hook is turned from the other", "deg")]
    hook_inside_mm: Annotated[float, told("Inside length of each hook", "mm")]
    gap_mm: Annotated[float, told("Between the coils; 0: coil on coil", "mm")]
    body_mm: Annotated[float, told("Length of the body", "mm")]
    free_length_mm: Annotated[float, told("Free length inside the hooks", "mm")]
    overall_mm: Annotated[float, told("Length over the hooks, unloaded", "mm")]
    rate_n_per_mm: Annotated[float, told("Rate", "N/mm")]
    rate_by_wire: Annotated[float, told("± of the rate by the wire's tolerance", "1")]
    rate_by_hook_count: Annotated[float, told("How much softer by another count of the hooks", "1")]
    initial_tension_n: Annotated[float, told("Initial tension", "N")]
    pulls: list[PullAtLength]
    index: Annotated[float, told("Mean diameter over the wire's", "1")]
    stress_used: StressUsed
    rooms: Rooms
    robustness: Annotated[float | None, told("The least room", "1")]


class WindingDocument(Document):
    """What can be wound for one place."""

    wanted: WantedSpring
    envelope: WindingEnvelope
    tried: Annotated[int, told("How many candidates", "1")]
    proposals: Annotated[list[WoundSpring], told("The most robust first; empty: it cannot be wound")]
    nearest: Annotated[WoundSpring | None, told("Where nothing can be wound, what comes nearest")]


class WindDocument(Document):
    """Springs to have wound."""

    title: Title
    fingerprint: Fingerprint
    source: Annotated[str, told("Whose figures they are wound to")]
    springs: Annotated[dict[PlaceName, WindingDocument], told("The springs that are asked for")]
    reasons: Annotated[list[str], told("What keeps a spring from being wound")]
    notes: Notes
    files: Files


# --- spring -----------------------------------------------------------------------------------------------


class HungReading(Document):
    """A weight hung on the spring."""

    pull_n: Annotated[float, told("Pull", "N")]
    length_mm: Annotated[float, told("Length inside the hooks", "mm")]
    left_out: Annotated[bool, told("Whether the coils had not opened")]


class SpringDocument(Document):
    """A spring weighed and stretched; `_2u` are two standard uncertainties."""

    rate_n_per_mm: Annotated[float, told("Rate", "N/mm")]
    rate_2u_n_per_mm: Annotated[float, told("Two standard uncertainties of the rate", "N/mm")]
    initial_tension_n: Annotated[float | None, told("Initial tension; null: no free length was read", "N")]
    initial_tension_2u_n: Annotated[float | None, told("Two standard uncertainties of it", "N")]
    correlation: Annotated[float | None, told("Of rate and initial tension", "1")]
    free_length_mm: Annotated[float | None, told("Free length inside the hooks; null: not read", "mm")]
    zero_pull_length_mm: Annotated[float, told("Where the line of the readings meets no pull", "mm")]
    rate_by_wire_n_per_mm: Annotated[float | None, told("By wire and coils; null: not all given", "N/mm")]
    longest_mm: Annotated[float | None, told("So far it may be drawn; null: not known", "mm")]
    readings: list[HungReading]
    scatter: Annotated[float, told("The readings' scatter over what their ± says", "1")]
    of_use: Annotated[bool, told("Whether it is known well enough to plan with")]
    notes: Notes
    file: Annotated[str | None, told("The catalogue that it was added to")]


def spring_facts(m: WeighedSpring, file: str | None) -> dict[str, Any]:
    """The `spring` document; `_2u` are two standard uncertainties."""
    w, made = m.weighed, m.wire_rate
    (spring,), _ = checked([m.described], "this spring")
    return {
        "rate_n_per_mm": _round(w.rate / 1e3),
        "rate_2u_n_per_mm": _round(2 * w.rate_uncertainty / 1e3),
        "initial_tension_n": _round(w.initial_tension),
        "initial_tension_2u_n": _round(_double(w.initial_tension_uncertainty)),
        "correlation": _round(w.correlation),
        "free_length_mm": None if m.free_length is None else _round(1e3 * spring.free_length),
        "zero_pull_length_mm": _round(1e3 * w.zero_length),
        "rate_by_wire_n_per_mm": None if made is None else _round(made[0] / 1e3),
        "longest_mm": _round(1e3 * spring.most_length)
        if m.free_length is not None and np.isfinite(spring.most_extension)
        else None,
        "readings": [
            {"pull_n": _round(float(f)), "length_mm": _round(float(1e3 * x)), "left_out": i in w.left_out}
            for i, (f, x) in enumerate(zip(m.hung.pull, m.hung.length, strict=True))
        ],
        "scatter": _round(w.scatter),
        "of_use": w.of_use,
        "notes": list(measured_notes(m)),
        "file": file,
    }


def _double(value: float | None) -> float | None:
    return None if value is None else 2 * value


def _round(value: float | None) -> float | None:
    return None if value is None else round(value, 6)


# --- facts -------------------------------------------------------------------------------------------------


def wind_facts(
    job: Job, source: str, windings: tuple[Winding, ...], files: tuple[str, ...], notes: tuple[str, ...]
) -> dict[str, Any]:
    """The `wind` document."""
    return {
        "title": job.title,
        "fingerprint": job.fingerprint,
        "source": source,
        "springs": {w.wanted.place: _winding_facts(w) for w in windings},
        "reasons": [text for w in windings for text in shortfall(w)] if windings else [source],
        "notes": list(notes),
        "files": list(files),
    }


def _winding_facts(winding: Winding) -> dict[str, Any]:
    wanted, envelope = winding.wanted, winding.envelope
    return {
        "wanted": {
            "rate_n_per_mm": _short(wanted.rate / 1e3),
            "installed_length_mm": _mm(wanted.rest),
            "longest_mm": _mm(wanted.longest),
            "pull_at_rest_n": _short(wanted.pull),
            "free_length_mm": _mm(wanted.free_length),
            "initial_tension_n": _short(wanted.initial_tension),
            "post_mm": _mm(wanted.post),
        },
        "envelope": {
            "outer_mm": _mm(envelope.outer),
            "overall_mm": _mm(envelope.overall),
            "rate_tolerance": _short(envelope.tolerance),
            "hooks_in_one_plane": envelope.in_plane,
        },
        "tried": winding.tried,
        "proposals": [wound_facts(wanted, p) for p in winding.proposals],
        "nearest": None if winding.nearest is None else wound_facts(wanted, winding.nearest),
    }


def wound_facts(wanted: Wanted, wound: Wound) -> dict[str, Any]:
    """One spring as it would be wound, as plain numbers."""
    return {
        "material": wound.material,
        "standard": materials()[wound.material].standard,
        "wire": wound.label,
        "wire_mm": _mm(wound.wire),
        "outer_mm": _mm(wound.outer),
        "coils": wound.coils,
        "hook_angle_deg": wound.hook_angle,
        "hook_inside_mm": _mm(wound.hook),
        "gap_mm": _mm(wound.gap),
        "body_mm": _mm(wound.body),
        "free_length_mm": _mm(wound.free_length),
        "overall_mm": _mm(wound.overall),
        "rate_n_per_mm": _short(wound.rate / 1e3),
        "rate_by_wire": _short(wound.spread),
        "rate_by_hook_count": _short(wound.hook_uncertainty),
        "initial_tension_n": _short(wound.initial_tension),
        "pulls": [{"length_mm": _mm(x), "pull_n": _short(f)} for x, f in check_lengths(wanted, wound)],
        "index": _short(wound.index),
        "stress_used": {n.replace(" ", "_"): _short(s) for n, s in zip(STRESSES, wound.stress_fractions, strict=True)},
        "rooms": {n.replace(" ", "_"): _short(r) for n, r in zip(LIMITS, wound.rooms, strict=True)},
        "robustness": _short(wound.robustness),
    }


def _mm(length: float | None) -> float | None:
    return None if length is None else round(length * 1e3, 6)


def _short(value: float | None) -> float | None:
    return None if value is None or not math.isfinite(value) else round(value, 6)


NAMES = ("as found", "book", "planned")


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


def _trap_facts(card: Card, t: IdleTrap) -> dict[str, Any]:
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
