"""The bench inspection worked out: wear against its limits, what it does to dwell, gap, timing, rotor and spark.

SI, angles of the distributor. The spark is at the opening: where opening angles are known timing comes from them; else
half the change of dwell is taken, which holds for symmetric lobes and is said to be an assumption.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import groupby

import numpy as np

from recurve.coil import Charge, charge
from recurve.dwell import (
    RotorSweep,
    as_share,
    dwell_between,
    dwell_change,
    gap_change,
    lobe_scatter,
    rotor_sweep,
    spacing_error,
    wrapped,
)
from recurve.inspection import Condition, PointsAngles
from recurve.judged import Judged, combined, difference
from recurve.limits import Limit, limit_of
from recurve.mechanism import Array
from recurve.units import Measured

BY_OPENING = "from the opening angles"
BY_HALF = "half the change of dwell, an assumption: no opening angles"


@dataclass(frozen=True)
class DwellChange:
    """A change of dwell [rad] with its doubt, `how` it was brought about, the `timing` [rad] it moves and how that is
    known, and the change of `gap` [m] that goes with it (None without a gap)."""

    how: str
    change: Measured
    timing: Measured
    timing_how: str
    gap: float | None


@dataclass(frozen=True)
class SparkRow:
    """Sparks in a row: of which set, the largest error of spacing [rad] with its doubt, the spread of the sparks about
    even places, and of their dwell (None where only sparks were read) [rad]."""

    where: str
    spacing: Measured
    scatter: float
    dwell_spread: float | None


@dataclass(frozen=True)
class Bench:
    """The inspection worked out. `judged`: every check against its limit; `changes` of dwell; `sparks`; `dwell` [rad]
    and `shares` of the lobe pitch [1] of each set; `expected_change` [rad] of dwell by the measured play; `rotor`;
    `charges` for good and bad dwell."""

    judged: tuple[Judged, ...]
    changes: tuple[DwellChange, ...]
    sparks: tuple[SparkRow, ...]
    dwell: tuple[Measured, ...]
    shares: tuple[float, ...]
    expected_change: Measured | None
    rotor: RotorSweep | None
    charges: tuple[Charge, ...]


def inspect(given: Condition, lobes: int, vacuum_range: float, speeds: Array) -> Bench:
    """Work an inspection out; `vacuum_range` [rad] the largest vacuum advance, `speeds` (n,) [rad/s] for the coil."""
    dwell = given.dwell or _dwell_of_sets(given.angles)
    middle = _middle_dwell(given, dwell)
    gap = given.gap[0].value if given.gap else None
    changes = tuple(_changes(given, middle, gap, lobes))
    sparks = tuple(_sparks(given, lobes))
    return Bench(
        judged=tuple(_judged(given, dwell, changes, sparks)),
        changes=changes,
        sparks=sparks,
        dwell=dwell,
        shares=tuple(float(as_share(d.value, lobes)) for d in dwell),
        expected_change=_expected(given, middle, gap, lobes),
        rotor=_rotor(given, vacuum_range),
        charges=_charges(given, dwell, speeds),
    )


# --- dwell --------------------------------------------------------------------------------------------------


def dwell_of(row: PointsAngles) -> Measured:
    """Dwell [rad] of one row of wheel angles, with its doubt."""
    return Measured(float(dwell_between(row.closes.value, row.opens.value)), combined((row.closes, row.opens)))


def _free(rows: tuple[PointsAngles, ...], breaker: int) -> list[PointsAngles]:
    return sorted((r for r in rows if r.breaker == breaker and r.pushed == "free"), key=lambda r: r.lobe)


def _dwell_of_sets(rows: tuple[PointsAngles, ...]) -> tuple[Measured, ...]:
    """Mean dwell of each set over its lobes, the shaft left free; of the pushed readings where there are no others."""
    made = []
    for breaker in sorted({r.breaker for r in rows}):
        chosen = [dwell_of(r) for r in (_free(rows, breaker) or [r for r in rows if r.breaker == breaker])]
        made.append(Measured(float(np.mean([d.value for d in chosen])), max(d.limit or 0.0 for d in chosen)))
    return tuple(made)


def _middle_dwell(given: Condition, dwell: tuple[Measured, ...]) -> float | None:
    """A dwell [rad] to linearise about."""
    if dwell:
        return dwell[0].value
    pair = given.dwell_pushed or ((given.dwell_idle, given.dwell_high) if given.dwell_idle else None)
    if pair is not None and pair[0] is not None and pair[1] is not None:
        return (pair[0].value + pair[1].value) / 2
    band = given.limits.get("dwell")
    return None if band is None or band[0] is None or band[1] is None else (band[0] + band[1]) / 2


def _changes(given: Condition, middle: float | None, gap: float | None, lobes: int) -> list[DwellChange]:
    """Every way in which dwell was seen to change: pushed by the wheel, pushed by the meter, idle to 1500 rpm."""

    def gap_by(change: float) -> float | None:
        if middle is None or gap is None:
            return None
        return abs(float(gap_change(change, middle, gap, lobes)))

    found = []
    by_wheel = _pushed_by_wheel(given.angles)
    if by_wheel is not None:
        change, timing, where = by_wheel
        found.append(DwellChange(f"pushed each way{where}", change, timing, BY_OPENING, gap_by(change.value)))
    pairs = [("pushed each way, by the meter", given.dwell_pushed)]
    if given.dwell_idle is not None and given.dwell_high is not None:
        pairs.append(("from idle to 1500 rpm of the engine", (given.dwell_idle, given.dwell_high)))
    for how, pair in pairs:
        if pair is not None:
            change = _size(difference(*pair))
            half = Measured(change.value / 2, (change.limit or 0.0) / 2)
            found.append(DwellChange(how, change, half, BY_HALF, gap_by(change.value)))
    return found


def _size(signed: Measured) -> Measured:
    return Measured(abs(signed.value), signed.limit)


def _pushed_by_wheel(rows: tuple[PointsAngles, ...]) -> tuple[Measured, Measured, str] | None:
    """The lobe whose dwell changes most when the shaft is pushed: change of dwell, move of the opening, where."""
    worst: tuple[Measured, Measured, str] | None = None
    keyed = sorted((r for r in rows if r.pushed != "free"), key=lambda r: (r.breaker, r.lobe, r.pushed))
    for (breaker, lobe), group in groupby(keyed, key=lambda r: (r.breaker, r.lobe)):
        pair = list(group)
        if len(pair) != 2:
            continue
        parts = [p for r in pair for p in (r.closes, r.opens)]
        change = Measured(abs(dwell_of(pair[0]).value - dwell_of(pair[1]).value), combined(parts))
        moved = float(abs(wrapped(pair[0].opens.value - pair[1].opens.value)))
        timing = Measured(moved, combined((pair[0].opens, pair[1].opens)))
        where = f" (lobe {lobe}, set {breaker})" if len({(r.breaker, r.lobe) for r in keyed}) > 1 else ""
        if worst is None or change.value > worst[0].value:
            worst = (change, timing, where)
    return worst


def _expected(given: Condition, middle: float | None, gap: float | None, lobes: int) -> Measured | None:
    """The change of dwell [rad] that the measured side play would make at the block."""
    play = given.side_play
    if play is None or middle is None or gap is None:
        return None
    per = abs(float(dwell_change(given.lever_ratio, middle, gap, lobes)))
    return Measured(per * play.value, per * (play.limit or 0.0))


# --- sparks -------------------------------------------------------------------------------------------------


def _sparks(given: Condition, lobes: int) -> list[SparkRow]:
    """Spacing of the sparks: by the openings of each set that was read on all its lobes, and by the tester."""
    made = []
    for breaker in sorted({r.breaker for r in given.angles}):
        rows = _free(given.angles, breaker)
        if len(rows) == lobes and lobes > 1:
            spread = float(np.ptp([dwell_of(r).value for r in rows]))
            where = f"openings of set {breaker}" if breaker > 1 else "openings"
            made.append(_spark_row(where, tuple(r.opens for r in rows), spread))
    if given.sparks:
        made.append(_spark_row("sparks as read", given.sparks, None))
    return made


def _spark_row(where: str, at: tuple[Measured, ...], dwell_spread: float | None) -> SparkRow:
    opens = np.array([a.value for a in at])
    worst = float(np.abs(spacing_error(opens)).max())
    return SparkRow(where, Measured(worst, combined(at[:2])), float(np.ptp(lobe_scatter(opens))), dwell_spread)


# --- judgement ----------------------------------------------------------------------------------------------


def _judged(
    given: Condition, dwell: tuple[Measured, ...], changes: tuple[DwellChange, ...], sparks: tuple[SparkRow, ...]
) -> list[Judged]:
    """Every check with a number, the wear first."""

    def limit(name: str, dimension: str) -> Limit | None:
        return limit_of("limit", name, dimension, given.limits.get(name))

    made = []
    if given.side_play is not None:
        made.append(Judged.of("side play", given.side_play, "length", limit("side_play", "length")))
    made += [Judged.of(f"dwell change, {c.how}", c.change, "angle", limit("dwell_change", "angle")) for c in changes]
    made += [
        Judged.of(f"spark spacing, {s.where}", s.spacing, "angle", limit("spark_spacing", "angle")) for s in sparks
    ]
    if given.end_float is not None:
        made.append(Judged.of("end float", given.end_float, "length", limit("end_float", "length")))
    made += [Judged.of(f"dwell{n}", d, "angle", limit("dwell", "angle")) for n, d in _numbered(dwell)]
    made += [Judged.of(f"gap{n}", g, "length", limit("gap", "length")) for n, g in _numbered(given.gap)]
    made += [
        Judged.of(f"breaker-arm spring{n}", f, "force", limit("arm_spring", "force"))
        for n, f in _numbered(given.arm_spring)
    ]
    return made


def _numbered(values: tuple[Measured, ...]) -> list[tuple[str, Measured]]:
    """Values with the number of their set, which one alone does not need."""
    return [(f", set {i}" if len(values) > 1 else "", v) for i, v in enumerate(values, 1)]


# --- rotor and coil -----------------------------------------------------------------------------------------


def _rotor(given: Condition, vacuum_range: float) -> RotorSweep | None:
    rotor = given.rotor
    if rotor is None:
        return None
    widths = None if rotor.tip is None or rotor.segment is None else rotor.tip.value + rotor.segment.value
    return rotor_sweep(rotor.offset.value, vacuum_range, widths)


def _charges(given: Condition, dwell: tuple[Measured, ...], speeds: Array) -> tuple[Charge, ...]:
    """The coil's charge for the good dwell and for the worst one seen, the longer of the two first."""
    if given.coil is None:
        return ()
    seen = [d.value for d in (*dwell, *(given.dwell_pushed or ()), *(dwell_of(r) for r in given.angles))]
    seen += [d.value for d in (given.dwell_idle, given.dwell_high) if d is not None]
    band = given.limits.get("dwell")
    good = max(seen, default=None)
    if band is not None and band[0] is not None and band[1] is not None:
        good = (band[0] + band[1]) / 2
    if good is None:
        return ()
    bad = min(seen, default=good)
    if bad >= good:  # all too long
        bad = max(seen, default=good)
    pair = (max(good, bad), min(good, bad)) if abs(bad - good) > 1e-6 else (good,)
    return tuple(charge(given.coil, d, speeds) for d in pair)
