"""The bench inspection worked out: wear against its limits, what it does to dwell, gap, timing, rotor and spark.

SI, angles of the distributor. The spark is at the opening: where opening angles are known timing comes from them; else
half the change of dwell is taken, which holds for symmetric lobes and is said to be an assumption.

A measured quantity against its limit, with its doubt: pass, suspect, fail, too close to call.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from itertools import groupby
from typing import Literal

import numpy as np

from recurve.arrays import Array
from recurve.data import Limit, limit_of
from recurve.inspection.model import Condition, PointsAngles
from recurve.inspection.points import (
    Charge,
    RotorSweep,
    as_share,
    charge,
    dwell_between,
    dwell_change,
    gap_change,
    lobe_scatter,
    rotor_sweep,
    spacing_error,
    wrapped,
)
from recurve.units import Quantity

LimitVerdict = Literal["pass", "suspect", "fail", "too close to call", "no limit"]
Kind = Literal["length", "angle", "force", "pressure"]
INHG = 3386.389  # Pa
OZF = 0.27801385  # N


@dataclass(frozen=True)
class Judged:
    """One check: `what`, `value` and `doubt` [SI], "not off by more than"; its limit, and the verdict by it."""

    what: str
    value: float
    doubt: float
    kind: Kind
    limit: Limit | None
    verdict: LimitVerdict

    @classmethod
    def of(cls, what: str, measured: Quantity, kind: Kind, limit: Limit | None) -> Judged:
        """A measured quantity, its ± taken as a bound."""
        doubt = measured.half_width or 0.0
        return cls(what, measured.value, doubt, kind, limit, verdict_of(measured.value, doubt, limit))

    @property
    def seen(self) -> str:
        """What was measured, in the units of the bench."""
        return shown(self.value, self.kind, self.doubt)

    @property
    def allowed(self) -> str:
        """What may be, in the units of the bench."""
        if self.limit is None:
            return "the manual's, not given"
        low, high = self.limit.low, self.limit.high
        if low is not None and high is not None:
            return f"{shown(low, self.kind)} to {shown(high, self.kind)}"
        return f"at most {shown(high, self.kind)}" if high is not None else f"at least {shown(low or 0.0, self.kind)}"


def verdict_of(value: float, doubt: float, limit: Limit | None) -> LimitVerdict:
    """The verdict on `value` ± `doubt` [SI]: a pass or a fail only where all of ± lies on one side of the limit."""
    if limit is None:
        return "no limit"
    low = -np.inf if limit.low is None else limit.low
    high = np.inf if limit.high is None else limit.high
    if value - doubt > high or value + doubt < low:
        return "fail"
    small = 1e-9 * (abs(value) + 1e-9)
    if value + doubt > high + small or value - doubt < low - small:
        return "too close to call"
    return "suspect" if limit.suspect is not None and value > limit.suspect else "pass"


def combined(parts: Iterable[Quantity]) -> float:
    """Doubt [SI] of a sum or difference: two standard uncertainties (±/√3 each, GUM 4.3.7), never more than all ± together."""
    limits = np.array([p.half_width or 0.0 for p in parts])
    return float(min(2.0 * np.sqrt((limits**2 / 3.0).sum()), limits.sum()))


def difference(one: Quantity, other: Quantity) -> Quantity:
    """one − other with its doubt."""
    return Quantity(one.value - other.value, combined((one, other)))


def shown(value: float, kind: Kind, doubt: float = 0.0) -> str:
    """A value [SI] in the units of the bench, the inch, ounce or inHg beside the metric one."""

    def pm(scale: float, digits: int) -> str:
        return f" ± {doubt * scale:.{digits}f}" if doubt > 0 else ""

    if kind == "angle":
        return f"{np.degrees(value):.1f}{pm(180 / np.pi, 1)}°"
    if kind == "length":
        return f"{value * 1e3:.2f}{pm(1e3, 2)} mm ({value / 0.0254:.3f} in)"
    if kind == "force":
        return f"{value:.1f}{pm(1.0, 1)} N ({value / OZF:.0f} ozf)"
    return f"{value / 1e3:.1f}{pm(1e-3, 1)} kPa ({value / INHG:.1f} inHg)"


BY_OPENING = "from the opening angles"
BY_HALF = "half the change of dwell, an assumption: no opening angles"


@dataclass(frozen=True)
class DwellChange:
    """A change of dwell [rad] with its doubt, `how` it was brought about, the `timing` [rad] it moves and how that is
    known, and the change of `gap` [m] that goes with it (None without a gap)."""

    how: str
    change: Quantity
    timing: Quantity
    timing_how: str
    gap: float | None


@dataclass(frozen=True)
class SparkRow:
    """Sparks in a row: of which set, the largest error of spacing [rad] with its doubt, the spread of the sparks about
    even places, and of their dwell (None where only sparks were read) [rad]."""

    where: str
    spacing: Quantity
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
    dwell: tuple[Quantity, ...]
    shares: tuple[float, ...]
    expected_change: Quantity | None
    rotor: RotorSweep | None
    charges: tuple[Charge, ...]


def bench_of(given: Condition, lobes: int, vacuum_range: float, speeds: Array) -> Bench:
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


def dwell_of(row: PointsAngles) -> Quantity:
    """Dwell [rad] of one row of wheel angles, with its doubt."""
    return Quantity(float(dwell_between(row.closes.value, row.opens.value)), combined((row.closes, row.opens)))


def _free(rows: tuple[PointsAngles, ...], breaker: int) -> list[PointsAngles]:
    return sorted((r for r in rows if r.breaker == breaker and r.pushed == "free"), key=lambda r: r.lobe)


def _dwell_of_sets(rows: tuple[PointsAngles, ...]) -> tuple[Quantity, ...]:
    """Mean dwell of each set over its lobes, the shaft left free; of the pushed readings where there are no others."""
    made = []
    for breaker in sorted({r.breaker for r in rows}):
        chosen = [dwell_of(r) for r in (_free(rows, breaker) or [r for r in rows if r.breaker == breaker])]
        made.append(Quantity(float(np.mean([d.value for d in chosen])), max(d.half_width or 0.0 for d in chosen)))
    return tuple(made)


def _middle_dwell(given: Condition, dwell: tuple[Quantity, ...]) -> float | None:
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
            half = Quantity(change.value / 2, (change.half_width or 0.0) / 2)
            found.append(DwellChange(how, change, half, BY_HALF, gap_by(change.value)))
    return found


def _size(signed: Quantity) -> Quantity:
    return Quantity(abs(signed.value), signed.half_width)


def _pushed_by_wheel(rows: tuple[PointsAngles, ...]) -> tuple[Quantity, Quantity, str] | None:
    """The lobe whose dwell changes most when the shaft is pushed: change of dwell, move of the opening, where."""
    worst: tuple[Quantity, Quantity, str] | None = None
    keyed = sorted((r for r in rows if r.pushed != "free"), key=lambda r: (r.breaker, r.lobe, r.pushed))
    for (breaker, lobe), group in groupby(keyed, key=lambda r: (r.breaker, r.lobe)):
        pair = list(group)
        if len(pair) != 2:
            continue
        parts = [p for r in pair for p in (r.closes, r.opens)]
        change = Quantity(abs(dwell_of(pair[0]).value - dwell_of(pair[1]).value), combined(parts))
        moved = float(abs(wrapped(pair[0].opens.value - pair[1].opens.value)))
        timing = Quantity(moved, combined((pair[0].opens, pair[1].opens)))
        where = f" (lobe {lobe}, set {breaker})" if len({(r.breaker, r.lobe) for r in keyed}) > 1 else ""
        if worst is None or change.value > worst[0].value:
            worst = (change, timing, where)
    return worst


def _expected(given: Condition, middle: float | None, gap: float | None, lobes: int) -> Quantity | None:
    """The change of dwell [rad] that the measured side play would make at the block."""
    play = given.side_play
    if play is None or middle is None or gap is None:
        return None
    per = abs(float(dwell_change(given.lever_ratio, middle, gap, lobes)))
    return Quantity(per * play.value, per * (play.half_width or 0.0))


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


def _spark_row(where: str, at: tuple[Quantity, ...], dwell_spread: float | None) -> SparkRow:
    opens = np.array([a.value for a in at])
    worst = float(np.abs(spacing_error(opens)).max())
    return SparkRow(where, Quantity(worst, combined(at[:2])), float(np.ptp(lobe_scatter(opens))), dwell_spread)


# --- judgement ----------------------------------------------------------------------------------------------


def _judged(
    given: Condition, dwell: tuple[Quantity, ...], changes: tuple[DwellChange, ...], sparks: tuple[SparkRow, ...]
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


def _numbered(values: tuple[Quantity, ...]) -> list[tuple[str, Quantity]]:
    """Values with the number of their set, which one alone does not need."""
    return [(f", set {i}" if len(values) > 1 else "", v) for i, v in enumerate(values, 1)]


# --- rotor and coil -----------------------------------------------------------------------------------------


def _rotor(given: Condition, vacuum_range: float) -> RotorSweep | None:
    rotor = given.rotor
    if rotor is None:
        return None
    widths = None if rotor.tip is None or rotor.segment is None else rotor.tip.value + rotor.segment.value
    return rotor_sweep(rotor.offset.value, vacuum_range, widths)


def _charges(given: Condition, dwell: tuple[Quantity, ...], speeds: Array) -> tuple[Charge, ...]:
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
