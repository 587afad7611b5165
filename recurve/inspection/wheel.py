"""What the degree wheel shows: dwell of a set of points, the spacing of all sparks, and figures that can only be slips. SI;
angles are the distributor's, on a wheel whose figures rise as the shaft turns.

A lobe is out of its place by a degree or two where a shaft is bent. A figure that is out by nearly a whole lobe pitch belongs
to another lobe: it was read or written wrongly.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from itertools import combinations
from typing import Literal

import numpy as np

from recurve.inspection.model import Condition, PointsAngles
from recurve.inspection.points import TURN, dwell_between, wrapped
from recurve.units import Quantity

MisreadKind = Literal["order", "backwards", "whole pitch", "differences", "other lobe"]
SETTLED: tuple[MisreadKind, ...] = ("order", "backwards", "other lobe")  # slips that leave the figures usable
CLOSE = 0.25  # of a pitch; sparks that all lie so near each other are no places on a wheel


@dataclass(frozen=True)
class Misread:
    """A slip in figures of the wheel, of a kind: `where` they were read, the `pitch` [rad] from one lobe to the next, and which
    `sparks` [1], counted as listed: those that share a place, or all in the order of rotation."""

    kind: MisreadKind
    where: str
    pitch: float
    sparks: tuple[int, ...] = ()


@dataclass(frozen=True)
class SparkRow:
    """The sparks of one revolution: `where` they were read; the error of `spacing` [rad] between the two sparks that decide,
    and which `pair` of them, counted as listed; their `scatter` about even places [rad], both None where a slip hides them; the
    spread of dwell over the lobes [rad], None where only sparks were read; and the slip in their figures, if there is one."""

    where: str
    spacing: Quantity | None
    pair: tuple[int, int] | None
    scatter: float | None
    dwell_spread: float | None
    misread: Misread | None


def combined(parts: Iterable[Quantity]) -> float:
    """Half-width [SI] of a sum or difference: two standard uncertainties (half-width/√3 each, GUM 4.3.7), and never more
    than all half-widths together."""
    half_widths = np.array([p.half_width or 0.0 for p in parts])
    return float(min(2.0 * np.sqrt((half_widths**2 / 3.0).sum()), half_widths.sum()))


def dwell_of(row: PointsAngles) -> Quantity:
    """Dwell [rad] of one row of wheel angles."""
    return Quantity(float(dwell_between(row.closes.value, row.opens.value)), combined((row.closes, row.opens)))


def free_rows(rows: tuple[PointsAngles, ...], breaker: int) -> list[PointsAngles]:
    """The rows of one breaker set that were read with the shaft free, by lobe."""
    return sorted((r for r in rows if r.breaker == breaker and r.pushed == "free"), key=lambda r: r.lobe)


def spark_rows(given: Condition, lobes: int, limit: float | None) -> tuple[SparkRow, ...]:
    """Spacing of the sparks: by the openings of each set that was read on all its lobes, and as read on a tester. `limit`
    [rad] is what an error of spacing is judged by, None without one."""
    made = []
    for breaker in sorted({r.breaker for r in given.angles}):
        rows = free_rows(given.angles, breaker)
        if len(rows) == lobes and lobes > 1:
            spread = float(np.ptp([dwell_of(r).value for r in rows]))
            where = f"openings of set {breaker}" if breaker > 1 else "openings"
            made.append(spark_row(where, tuple(r.opens for r in rows), spread, limit))
    if given.sparks:
        made.append(spark_row("sparks as read", given.sparks, None, limit))
    return tuple(made)


def spark_row(where: str, at: tuple[Quantity, ...], dwell_spread: float | None, limit: float | None) -> SparkRow:
    """The spacing of sparks at these figures of the wheel, in the order listed; `limit` [rad] of its error or None.

    Every two sparks are compared, so that small errors that add up from lobe to lobe count, each with the ± of the two. The pair
    that decides is the one surest over the limit, else the one that could be farthest over it.
    """
    sparks, n = np.array([a.value for a in at]), len(at)
    pitch = TURN / n
    if float(np.abs(wrapped(sparks - sparks[0])).max()) < CLOSE * pitch:
        return SparkRow(where, None, None, None, dwell_spread, Misread("differences", where, pitch))
    # The phase that suits all of them: figures a whole pitch apart point the same way once multiplied by n.
    phase = float(np.angle(np.exp(1j * n * sparks).sum())) / n
    place = np.round((sparks - phase) / pitch).astype(int)
    off = sparks - phase - place * pitch
    place %= n
    if len(set(place.tolist())) < n:
        doubled = tuple(i + 1 for i in range(n) if (place == place[i]).sum() > 1)
        return SparkRow(where, None, None, None, dwell_spread, Misread("whole pitch", where, pitch, doubled))
    pair, spacing = _deciding(off, at, limit)
    scatter = float(np.ptp(off))
    return SparkRow(where, spacing, pair, scatter, dwell_spread, _out_of_order(where, place, pitch))


def _deciding(off: np.ndarray, at: tuple[Quantity, ...], limit: float | None) -> tuple[tuple[int, int], Quantity]:
    errors = {
        (i + 1, j + 1): Quantity(abs(float(off[j] - off[i])), combined((at[i], at[j])))
        for i, j in combinations(range(len(at)), 2)
    }
    surest = max(errors, key=lambda p: errors[p].value - (errors[p].half_width or 0.0))
    if limit is not None and errors[surest].value - (errors[surest].half_width or 0.0) > limit:
        return surest, errors[surest]
    widest = max(errors, key=lambda p: errors[p].value + (errors[p].half_width or 0.0))
    return widest, errors[widest]


def _out_of_order(where: str, place: np.ndarray, pitch: float) -> Misread | None:
    """The slip of sparks that are not listed as they pass: `place` (n,) of each in the order of rotation."""
    steps = np.diff(place) % len(place)
    if (steps == 1).all():
        return None
    kind: MisreadKind = "backwards" if (steps == len(place) - 1).all() else "order"
    order = np.argsort((place - place[0]) % len(place)) + 1
    return Misread(kind, where, pitch, tuple(int(i) for i in order))


def moved_opening(one: PointsAngles, other: PointsAngles, lobes: int) -> tuple[Quantity, Misread | None]:
    """How far the opening moved [rad] between two readings of one lobe. Readings about a whole pitch or more apart are of two
    lobes: what they differ by beyond whole pitches counts, and the slip is told."""
    pitch = TURN / lobes
    moved = float(wrapped(one.opens.value - other.opens.value))
    pitches = round(moved / pitch)
    misread = None
    if pitches != 0:
        where = f"lobe {one.lobe}, set {one.breaker}, pushed each way"
        misread = Misread("other lobe", where, pitch)
    return Quantity(abs(moved - pitches * pitch), combined((one.opens, other.opens))), misread
