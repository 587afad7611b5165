"""The bench inspection worked out: wear against its limits, and what it does to dwell, gap, timing, rotor and spark.

SI; angles are the distributor's. The spark is at the opening, so timing comes from the opening angles where they are
known. Otherwise half the change of dwell is taken, which holds for symmetric lobes; results say that it is an assumption.

A measured quantity is judged by its limit with its uncertainty: pass, suspect, fail, or too close to call.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum
from itertools import groupby
from typing import Literal

import numpy as np

from recurve.arrays import Array
from recurve.data import Limit, limit_of
from recurve.inspection.model import Condition, PointsAngles
from recurve.inspection.points import (
    Charge,
    RotorSweep,
    charge,
    dwell_change,
    fraction_of_pitch,
    gap_change,
    rotor_sweep,
)
from recurve.inspection.wheel import Misread, SparkRow, combined, dwell_of, free_rows, moved_opening, spark_rows
from recurve.units import INCH, POUND_FORCE, Quantity

LimitVerdict = Literal["pass", "suspect", "fail", "too close to call", "no limit"]
Dimension = Literal["length", "angle", "force", "pressure"]
INHG = 3386.389  # Pa
OZF = POUND_FORCE / 16  # N


class Item(StrEnum):
    """What is judged by a limit; the value begins its name in reports."""

    SIDE_PLAY = "side play"
    DWELL_CHANGE = "dwell change"
    SPARK_SPACING = "spark spacing"
    END_FLOAT = "end float"
    DWELL = "dwell"
    GAP = "gap"
    ARM_SPRING = "breaker-arm spring"
    VACUUM_START = "vacuum unit begins at"
    VACUUM_FULL = "vacuum unit full at"
    VACUUM_MAXIMUM = "vacuum unit's maximum"
    VACUUM_POINT = "vacuum unit at"
    VACUUM_STICTION = "vacuum unit, rising against falling"
    VACUUM_HOLD = "vacuum unit drawn to"
    VACUUM_LOSS = "vacuum lost in"


ITEM_DIMENSIONS: dict[Item, Dimension] = {
    Item.SIDE_PLAY: "length",
    Item.DWELL_CHANGE: "angle",
    Item.SPARK_SPACING: "angle",
    Item.END_FLOAT: "length",
    Item.DWELL: "angle",
    Item.GAP: "length",
    Item.ARM_SPRING: "force",
    Item.VACUUM_START: "pressure",
    Item.VACUUM_FULL: "pressure",
    Item.VACUUM_MAXIMUM: "angle",
    Item.VACUUM_POINT: "angle",
    Item.VACUUM_STICTION: "angle",
    Item.VACUUM_HOLD: "pressure",
    Item.VACUUM_LOSS: "pressure",
}


@dataclass(frozen=True)
class Judged:
    """One check: the `item`, `detail` that completes its name, the quantity `measured` [SI], its limit, and the verdict."""

    item: Item
    detail: str
    measured: Quantity
    limit: Limit | None
    verdict: LimitVerdict

    @classmethod
    def of(cls, item: Item, measured: Quantity, limit: Limit | None, detail: str = "") -> Judged:
        """Judge a measured quantity, its ± taken as a bound."""
        return cls(item, detail, measured, limit, verdict_of(measured.value, measured.half_width or 0.0, limit))

    @property
    def what(self) -> str:
        """Name of the check in reports."""
        return f"{self.item}{self.detail}"

    @property
    def seen(self) -> str:
        """The measured quantity in the units of the bench."""
        return self.in_units(self.measured.value, self.measured.half_width or 0.0)

    @property
    def allowed(self) -> str:
        """The limit in the units of the bench."""
        if self.limit is None:
            return "the manual's, not given"
        low, high = self.limit.low, self.limit.high
        if low is not None and high is not None:
            return f"{self.in_units(low)} to {self.in_units(high)}"
        return f"at most {self.in_units(high)}" if high is not None else f"at least {self.in_units(low or 0.0)}"

    def in_units(self, value: float, half_width: float = 0.0) -> str:
        """A value ± half-width [SI] of this item in the units of the bench."""
        return in_bench_units(value, ITEM_DIMENSIONS[self.item], half_width)


def by_limit(j: Judged) -> str:
    """A check, what was seen, and its limit with the limit's source."""
    source = "" if j.limit is None else f", {j.limit.source}"
    return f"{j.what} {j.seen}, the limit is {j.allowed}{source}"


def verdict_of(value: float, half_width: float, limit: Limit | None) -> LimitVerdict:
    """The verdict on `value` ± `half_width` [SI]: pass or fail only if all of the ± lies on one side of the limit."""
    if limit is None:
        return "no limit"
    low = -np.inf if limit.low is None else limit.low
    high = np.inf if limit.high is None else limit.high
    if value - half_width > high or value + half_width < low:
        return "fail"
    small = 1e-9 * (abs(value) + 1e-9)
    if value + half_width > high + small or value - half_width < low - small:
        return "too close to call"
    return "suspect" if limit.suspect is not None and value > limit.suspect else "pass"


def difference(one: Quantity, other: Quantity) -> Quantity:
    """one − other with its half-width [SI]."""
    return Quantity(one.value - other.value, combined((one, other)))


def in_bench_units(value: float, dimension: Dimension, half_width: float = 0.0) -> str:
    """A value [SI] in the units of the bench; inches, ounces or inHg stand beside the metric ones."""

    def pm(scale: float, digits: int) -> str:
        return f" ± {half_width * scale:.{digits}f}" if half_width > 0 else ""

    if dimension == "angle":
        return f"{np.degrees(value):.1f}{pm(180 / np.pi, 1)}°"
    if dimension == "length":
        return f"{value * 1e3:.2f}{pm(1e3, 2)} mm ({value / INCH:.3f} in)"
    if dimension == "force":
        return f"{value:.1f}{pm(1.0, 1)} N ({value / OZF:.0f} ozf)"
    return f"{value / 1e3:.1f}{pm(1e-3, 1)} kPa ({value / INHG:.1f} inHg)"


BY_OPENING = "from the opening angles"
BY_HALF = "half the change of dwell, an assumption, since no opening angles were read"


@dataclass(frozen=True)
class DwellChange:
    """A change of dwell [rad] and `how` it was brought about; `pushed` if by pushing the shaft. `timing` is how far it
    moves the timing [rad], `timing_how` how that is known; `gap` the change of gap [m] that belongs to it, None if the gap
    is unknown."""

    how: str
    pushed: bool
    change: Quantity
    timing: Quantity
    timing_how: str
    gap: float | None


@dataclass(frozen=True)
class BenchResult:
    """The inspection worked out. `judged`: every check against its limit; `changes` of dwell; `sparks`; `misread`, slips in the
    wheel's figures; `dwell` [rad] of
    each set, and as `fractions` of the lobe pitch [1]; `expected_change` of dwell [rad] by the measured side play;
    `rotor`; `charges` of the coil for good and bad dwell."""

    judged: tuple[Judged, ...]
    changes: tuple[DwellChange, ...]
    sparks: tuple[SparkRow, ...]
    misread: tuple[Misread, ...]
    dwell: tuple[Quantity, ...]
    fractions: tuple[float, ...]
    expected_change: Quantity | None
    rotor: RotorSweep | None
    charges: tuple[Charge, ...]


def inspect_bench(given: Condition, lobes: int, vacuum_range: float, speeds: Array) -> BenchResult:
    """Work an inspection out. `vacuum_range` [rad] is the largest vacuum advance; `speeds` (n,) [rad/s] are the coil's."""
    dwell = given.dwell or _dwell_of_sets(given.angles)
    middle = _middle_dwell(given, dwell)
    gap = given.gap[0].value if given.gap else None
    changes, of_other_lobes = _changes(given, middle, gap, lobes)
    spacing = limit_of("limit", "spark_spacing", "angle", given.limits.get("spark_spacing"))
    sparks = spark_rows(given, lobes, None if spacing is None else spacing.high)
    return BenchResult(
        judged=tuple(_judged(given, dwell, changes, sparks)),
        changes=changes,
        sparks=sparks,
        misread=(*(s.misread for s in sparks if s.misread is not None), *of_other_lobes),
        dwell=dwell,
        fractions=tuple(float(fraction_of_pitch(d.value, lobes)) for d in dwell),
        expected_change=_expected(given, middle, gap, lobes),
        rotor=_rotor(given, vacuum_range),
        charges=_charges(given, dwell, speeds),
    )


# --- dwell --------------------------------------------------------------------------------------------------


def _dwell_of_sets(rows: tuple[PointsAngles, ...]) -> tuple[Quantity, ...]:
    """Mean dwell of each set over its lobes, with the shaft free; by the pushed readings if there are no others."""
    made = []
    for breaker in sorted({r.breaker for r in rows}):
        chosen = [dwell_of(r) for r in (free_rows(rows, breaker) or [r for r in rows if r.breaker == breaker])]
        made.append(Quantity(float(np.mean([d.value for d in chosen])), max(d.half_width or 0.0 for d in chosen)))
    return tuple(made)


def _middle_dwell(given: Condition, dwell: tuple[Quantity, ...]) -> float | None:
    """The dwell [rad] to linearise about."""
    if dwell:
        return dwell[0].value
    pair = given.dwell_pushed or ((given.dwell_idle, given.dwell_high) if given.dwell_idle else None)
    if pair is not None and pair[0] is not None and pair[1] is not None:
        return (pair[0].value + pair[1].value) / 2
    band = given.limits.get("dwell")
    return None if band is None or band[0] is None or band[1] is None else (band[0] + band[1]) / 2


def _changes(
    given: Condition, middle: float | None, gap: float | None, lobes: int
) -> tuple[tuple[DwellChange, ...], tuple[Misread, ...]]:
    """Every change of dwell that was read: shaft pushed, by wheel and by meter, and from idle to 1500 rpm; and the slips."""

    def gap_by(change: float) -> float | None:
        if middle is None or gap is None:
            return None
        return abs(float(gap_change(change, middle, gap, lobes)))

    found = []
    by_wheel, misread = _pushed_by_wheel(given.angles, lobes)
    if by_wheel is not None:
        change, timing, where = by_wheel
        found.append(DwellChange(f"pushed each way{where}", True, change, timing, BY_OPENING, gap_by(change.value)))
    pairs = [("pushed each way, by the meter", True, given.dwell_pushed)]
    if given.dwell_idle is not None and given.dwell_high is not None:
        pairs.append(("from idle to 1500 rpm of the engine", False, (given.dwell_idle, given.dwell_high)))
    for how, pushed, pair in pairs:
        if pair is not None:
            signed = difference(*pair)
            change = Quantity(abs(signed.value), signed.half_width)
            half = Quantity(change.value / 2, (change.half_width or 0.0) / 2)
            found.append(DwellChange(how, pushed, change, half, BY_HALF, gap_by(change.value)))
    return tuple(found), misread


def _pushed_by_wheel(
    rows: tuple[PointsAngles, ...], lobes: int
) -> tuple[tuple[Quantity, Quantity, str] | None, tuple[Misread, ...]]:
    """For the lobe whose dwell changes most when the shaft is pushed: change of dwell, move of the opening, and where; and the
    readings of one lobe that must be of two."""
    worst: tuple[Quantity, Quantity, str] | None = None
    slips = []
    keyed = sorted((r for r in rows if r.pushed != "free"), key=lambda r: (r.breaker, r.lobe, r.pushed))
    for (breaker, lobe), group in groupby(keyed, key=lambda r: (r.breaker, r.lobe)):
        pair = list(group)
        if len(pair) != 2:
            continue
        parts = [p for r in pair for p in (r.closes, r.opens)]
        change = Quantity(abs(dwell_of(pair[0]).value - dwell_of(pair[1]).value), combined(parts))
        timing, misread = moved_opening(pair[0], pair[1], lobes)
        slips += [] if misread is None else [misread]
        where = f" (lobe {lobe}, set {breaker})" if len({(r.breaker, r.lobe) for r in keyed}) > 1 else ""
        if worst is None or change.value > worst[0].value:
            worst = (change, timing, where)
    return worst, tuple(slips)


def _expected(given: Condition, middle: float | None, gap: float | None, lobes: int) -> Quantity | None:
    """The change of dwell [rad] that the measured side play would make at the rubbing block."""
    play = given.side_play
    if play is None or middle is None or gap is None:
        return None
    per = abs(float(dwell_change(given.lever_ratio, middle, gap, lobes)))
    return Quantity(per * play.value, per * (play.half_width or 0.0))


# --- judgement ----------------------------------------------------------------------------------------------


def _judged(
    given: Condition, dwell: tuple[Quantity, ...], changes: tuple[DwellChange, ...], sparks: tuple[SparkRow, ...]
) -> list[Judged]:
    """Every check that has a number, wear first."""
    play = () if given.side_play is None else (given.side_play,)
    end_float = () if given.end_float is None else (given.end_float,)
    rows: list[tuple[Item, str, list[tuple[str, Quantity]]]] = [
        (Item.SIDE_PLAY, "side_play", _numbered(play)),
        (Item.DWELL_CHANGE, "dwell_change", [(f", {c.how}", c.change) for c in changes]),
        (Item.SPARK_SPACING, "spark_spacing", [(f", {s.where}", s.spacing) for s in sparks if s.spacing is not None]),
        (Item.END_FLOAT, "end_float", _numbered(end_float)),
        (Item.DWELL, "dwell", _numbered(dwell)),
        (Item.GAP, "gap", _numbered(given.gap)),
        (Item.ARM_SPRING, "arm_spring", _numbered(given.arm_spring)),
    ]
    return [
        Judged.of(item, quantity, limit_of("limit", key, ITEM_DIMENSIONS[item], given.limits.get(key)), detail)
        for item, key, quantities in rows
        for detail, quantity in quantities
    ]


def _numbered(values: tuple[Quantity, ...]) -> list[tuple[str, Quantity]]:
    """Quantities with the number of their breaker set, left out if there is only one."""
    return [(f", set {i}" if len(values) > 1 else "", v) for i, v in enumerate(values, 1)]


# --- rotor and coil -----------------------------------------------------------------------------------------


def _rotor(given: Condition, vacuum_range: float) -> RotorSweep | None:
    rotor = given.rotor
    if rotor is None:
        return None
    widths = None if rotor.tip is None or rotor.segment is None else rotor.tip.value + rotor.segment.value
    return rotor_sweep(rotor.offset.value, vacuum_range, widths)


def _charges(given: Condition, dwell: tuple[Quantity, ...], speeds: Array) -> tuple[Charge, ...]:
    """The coil's charge for the specified dwell and for the worst one read, the longer of the two first."""
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
