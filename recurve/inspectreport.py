"""Text and facts of the bench inspection and the vacuum unit; nothing at all where a job has neither."""

from __future__ import annotations

import textwrap
from typing import Any

import numpy as np

from recurve.coil import Charge
from recurve.condition import Bench, DwellChange, SparkRow
from recurve.facts import RPM
from recurve.inspected import Inspected
from recurve.judged import Judged
from recurve.mechanism import Array
from recurve.texttable import Column, table
from recurve.vacuumcheck import VacuumCheck
from recurve.vacuumreport import capsule_facts, capsule_words

WIDTH = 80


def inspected_lines(found: Inspected | None, ratio: float) -> list[str]:
    """The inspection's part of a report: every check against its limit, dwell and timing, rotor, coil, vacuum; `ratio`
    [1] crank turns a distributor turn."""
    if found is None:
        return []
    lines = [] if not found.judged else ["", "Condition, as inspected; angles are the distributor's"]
    for one in found.judged:
        lines += _wrap(f"{one.verdict.upper()}  {one.what} {one.seen}; {_limit(one)}", "  ", "      ")
    if found.bench is not None:
        lines += _bench_lines(found.bench, ratio)
    if found.vacuum is not None:
        lines += _capsule_lines(found.vacuum)
    if found.bench is not None:
        lines += _coil_lines(found.bench.charges, ratio)
    return lines


def _wrap(text: str, first: str, rest: str) -> list[str]:
    return textwrap.wrap(text, WIDTH, initial_indent=first, subsequent_indent=rest, break_on_hyphens=False)


def _limit(one: Judged) -> str:
    return "no limit given" if one.limit is None else f"limit: {one.allowed} ({one.limit.source})"


def _bench_lines(bench: Bench, ratio: float) -> list[str]:
    lines: list[str] = []
    for dwell, share in zip(bench.dwell, bench.shares, strict=True):
        lines.append(f"  dwell {np.degrees(dwell.value):.1f}° (distributor), {share:.0%} of the lobe pitch")
    for change in bench.changes:
        at = np.degrees(change.timing.value)
        gap = (
            ""
            if change.gap is None
            else f"; about {change.gap * 1e3:.2f} mm of gap, the lobe's tip taken as a parabola"
        )
        told = (
            f"{change.how}: timing moves {at:.1f}° (distributor), {at * ratio:.1f}° (crank), {change.timing_how}{gap}"
        )
        lines += _wrap(told, "  ", "      ")
    for row in bench.sparks:
        at = np.degrees(row.scatter)
        lines += _wrap(
            f"{row.where}: the sparks scatter over {at:.1f}° (distributor), {at * ratio:.1f}° (crank)", "  ", "      "
        )
    if bench.rotor is not None:
        low, high = np.degrees((bench.rotor.low, bench.rotor.high))
        room = "" if bench.rotor.room is None else f"; {np.degrees(bench.rotor.room):.1f}° of their overlap is left"
        told = f"rotor at the spark: {low:+.1f} to {high:+.1f}° past its segment's middle over the vacuum's range{room}"
        lines += _wrap(told, "  ", "      ")
    return lines


def _coil_lines(charges: tuple[Charge, ...], ratio: float) -> list[str]:
    """Dwell time, current and energy over speed, for the good and the bad dwell."""
    if not charges:
        return []
    columns = [Column("speed", "crank rpm")]
    for one in charges:
        dwell = f"{np.degrees(one.dwell):.1f}° dwell"
        columns += [Column(dwell, "ms"), Column("current", "A"), Column("energy", "mJ")]
    rows = [
        [
            f"{charges[0].speed[i] * RPM * ratio:.0f}",
            *(
                t
                for c in charges
                for t in (f"{c.time[i] * 1e3:.2f}", f"{c.current[i]:.2f}", f"{c.energy[i] * 1e3:.1f}")
            ),
        ]
        for i in range(len(charges[0].speed))
    ]
    return ["", "Coil charge when the points open; dwell is the distributor's", *table(columns, rows)]


def _capsule_lines(check: VacuumCheck) -> list[str]:
    capsule = check.capsule
    if capsule is None:
        return []
    return _wrap(capsule_words(capsule), "  ", "      ")


# --- facts ------------------------------------------------------------------------------------------------


def inspected_facts(found: Inspected | None) -> dict[str, Any]:
    """`condition`: every check, changes of dwell, coil; SI units are in the keys. Empty lists where nothing is given."""
    if found is None:
        return {
            "condition": {
                "checks": [],
                "dwell": [],
                "dwell_changes": [],
                "sparks": [],
                "coil": [],
                "rotor": None,
                "capsule": None,
            }
        }
    bench = found.bench
    return {
        "condition": {
            "checks": [_judged_facts(j) for j in found.judged],
            "dwell": []
            if bench is None
            else [
                {"dwell_deg": _deg(d.value), "share_percent": round(100 * s, 6)}
                for d, s in zip(bench.dwell, bench.shares, strict=True)
            ],
            "dwell_changes": [] if bench is None else [_change_facts(c) for c in bench.changes],
            "sparks": [] if bench is None else [_spark_facts(s) for s in bench.sparks],
            "coil": [] if bench is None else [_charge_facts(c) for c in bench.charges],
            "capsule": None
            if found.vacuum is None or found.vacuum.capsule is None
            else capsule_facts(found.vacuum.capsule),
            "rotor": None
            if bench is None or bench.rotor is None
            else {
                "low_deg": _deg(bench.rotor.low),
                "high_deg": _deg(bench.rotor.high),
                "room_deg": _deg(bench.rotor.room),
            },
        }
    }


def _deg(angle: float | None) -> float | None:
    return None if angle is None else round(float(np.degrees(angle)), 6)


def _judged_facts(j: Judged) -> dict[str, Any]:
    return {
        "what": j.what,
        "measured": j.seen,
        "limit": None if j.limit is None else j.allowed,
        "source": None if j.limit is None else j.limit.source,
        "verdict": j.verdict,
    }


def _change_facts(change: DwellChange) -> dict[str, Any]:
    return {
        "how": change.how,
        "dwell_change_deg": _deg(change.change.value),
        "timing_deg": _deg(change.timing.value),
        "timing_from": change.timing_how,
        "gap_change_mm": None if change.gap is None else round(change.gap * 1e3, 6),
    }


def _spark_facts(row: SparkRow) -> dict[str, Any]:
    return {
        "where": row.where,
        "scatter_deg": _deg(row.scatter),
        "spacing_error_deg": _deg(row.spacing.value),
        "dwell_spread_deg": _deg(row.dwell_spread),
    }


def _charge_facts(one: Charge) -> dict[str, Any]:
    def rounded(values: Array) -> list[float]:
        return [round(float(v), 6) for v in values]

    return {
        "dwell_deg": _deg(one.dwell),
        "speed_rpm": rounded(one.speed * RPM),
        "time_ms": rounded(one.time * 1e3),
        "current_a": rounded(one.current),
        "energy_mj": rounded(one.energy * 1e3),
    }
