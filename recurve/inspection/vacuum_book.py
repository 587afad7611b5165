"""The vacuum unit's readings against its book, one by one, no capsule fitted between them. SI; the distributor's angles.

A book gives its bands at points, or says where the unit begins, where it is full, and its maximum. From these three follows
what it allows at any vacuum: at most the straight line of a unit that begins as early and is full as soon as is allowed, at
least that of one that begins as late and is full as late. The bands are for vacuum rising; a falling reading is held against
the rising one at its own vacuum.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from recurve.data import MANUAL, Limit
from recurve.inspection.bench import Item, Judged
from recurve.inspection.model import Vacuum, VacuumReading
from recurve.units import SQRT3, Quantity

KPA = 1e3  # Pa


@dataclass(frozen=True)
class Allowed:
    """What a book allows of the advance at a vacuum: from `low` to `high` [rad], changing by `slope` [rad/Pa] at most."""

    low: float
    high: float
    slope: float


def at_points(given: Vacuum) -> list[Judged]:
    """The reading at each of the book's points, vacuum rising, against the point's band; of several the worst."""
    made = []
    for point in given.points:
        near = [r for r in given.readings if r.rising and abs(r.vacuum - point.vacuum) <= given.gauge * (1 + 1e-9)]
        if near:
            slope = _slope_about(given, point.vacuum)
            worst = max(near, key=lambda r: max(r.advance - point.high, point.low - r.advance))
            made.append(_judged(given, worst, Allowed(point.low, point.high, slope)))
    return made


def between_points(given: Vacuum) -> list[Judged]:
    """Each rising reading against what start, full and maximum allow at its vacuum; none where the book lacks one of them."""
    if given.points or given.start is None or given.full is None or given.maximum is None:
        return []
    return [_judged(given, r, allowed) for r in given.readings if r.rising and (allowed := allowed_at(given, r.vacuum))]


def allowed_at(given: Vacuum, vacuum: float) -> Allowed | None:
    """What start, full and maximum allow at a vacuum [Pa]; None where the book does not give all three."""
    if given.start is None or given.full is None or given.maximum is None:
        return None
    (early, late), (soon, last), (least, most) = given.start, given.full, given.maximum
    high = float(np.interp(vacuum, [early, max(soon, early + 1.0)], [0.0, most]))
    low = float(np.interp(vacuum, [late, max(last, late + 1.0)], [0.0, least]))
    steep = max(most / max(soon - early, 1.0), least / max(last - late, 1.0))
    # Below what a reading can be off by, no advance can be told from none.
    return Allowed(low, max(high, 2 * given.reading), steep if min(early, late) < vacuum < max(soon, last) else 0.0)


def apart_as_read(given: Vacuum) -> Quantity | None:
    """The largest distance [rad] of a falling reading from the rising one at its vacuum; None if no two share a vacuum."""
    apart = [
        (fall.advance - rise.advance)
        for fall in given.readings
        for rise in given.readings
        if rise.rising and not fall.rising and abs(fall.vacuum - rise.vacuum) <= given.gauge * (1 + 1e-9)
    ]
    return None if not apart else Quantity(float(max(apart)), 2.0 * float(np.sqrt(2.0)) * given.reading / SQRT3)


def unjudged(given: Vacuum, fitted_to: float | None) -> tuple[str, ...]:
    """What of the book no reading tells: words for each. `fitted_to` [Pa] is the highest vacuum that a fitted capsule
    reaches, None without one."""
    if not given.readings:
        return ()
    rising = [r for r in given.readings if r.rising]
    if not rising:
        return ("no reading was taken with vacuum rising, and the book's figures are for that",)
    if not given.points and given.start is None and given.full is None and given.maximum is None:
        return ("the job gives nothing of its book: start, full and maximum, or points",)
    top = max(r.vacuum for r in rising)
    missing = [
        f"no reading at {p.vacuum / KPA:.0f} kPa"
        for p in given.points
        if not any(abs(r.vacuum - p.vacuum) <= given.gauge * (1 + 1e-9) for r in rising)
        and (fitted_to is None or p.vacuum > fitted_to)
    ]
    if given.maximum is not None and not given.points:
        last = given.full[1] if given.full is not None else None
        if last is not None and top < last - given.gauge:
            missing.append(
                f"no reading at {last / KPA:.0f} kPa or more, where the book has all of it in, so its maximum is not known"
            )
    return tuple(missing)


def is_dead(given: Vacuum) -> bool:
    """Whether no reading shows the unit to move, though the highest vacuum should have moved it."""
    rising = [r for r in given.readings if r.rising]
    if not rising or any(r.advance > given.reading for r in given.readings):
        return False
    return any(j.verdict == "fail" for j in (*at_points(given), *between_points(given)))


def _judged(given: Vacuum, reading: VacuumReading, allowed: Allowed) -> Judged:
    by = float(
        min(
            2.0 * np.hypot(given.reading, allowed.slope * given.gauge) / SQRT3,
            given.reading + allowed.slope * given.gauge,
        )
    )
    band = Limit(allowed.low if allowed.low > 0.0 else None, allowed.high, None, MANUAL)
    return Judged.of(Item.VACUUM_POINT, Quantity(reading.advance, by), band, f" {reading.vacuum / KPA:.0f} kPa")


def _slope_about(given: Vacuum, vacuum: float) -> float:
    """How steeply [rad/Pa] the middle of the book's points climbs about a vacuum [Pa], at the most."""
    rows = sorted(given.points, key=lambda p: p.vacuum)
    at = np.array([0.0, *(p.vacuum for p in rows)])
    middle = np.array([0.0, *((p.low + p.high) / 2 for p in rows)])
    slopes = np.abs(np.diff(middle) / np.maximum(np.diff(at), 1.0))
    touching = (at[:-1] <= vacuum) & (at[1:] >= vacuum)
    return float(slopes[touching].max(initial=0.0))
