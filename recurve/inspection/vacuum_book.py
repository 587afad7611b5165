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
        near = [r for r in given.readings if r.rising and _at(given, r.vacuum, point.vacuum)]
        if near:
            slope = _slope_about(given, point.vacuum)
            worst = max(near, key=lambda r: max(r.advance - point.high, point.low - r.advance))
            made.append(_judged(given, worst, Allowed(point.low, point.high, slope)))
    return made


def between_points(given: Vacuum) -> list[Judged]:
    """Each rising reading, but those at the book's own points, against what the book allows at its vacuum."""
    return [
        _judged(given, r, allowed)
        for r in given.readings
        if r.rising
        and not any(_at(given, r.vacuum, p.vacuum) for p in given.points)
        and (allowed := allowed_at(given, r.vacuum)) is not None
    ]


def allowed_at(given: Vacuum, vacuum: float) -> Allowed | None:
    """What the book allows at a vacuum [Pa] that is none of its points; None where that is anything.

    More vacuum never gives less: the points below give the least, those above the most. Of start, full and maximum each
    bounds what it can by itself; the straight lines between them need all three.
    """
    low, high, slope = 0.0, np.inf, 0.0
    for point in given.points:
        low = max(low, point.low) if point.vacuum <= vacuum else low
        high = min(high, point.high) if point.vacuum >= vacuum else high
    if given.maximum is not None:
        high = min(high, given.maximum[1])
    if given.maximum is not None and given.full is not None and vacuum >= given.full[1]:
        low = max(low, given.maximum[0])
    if given.start is not None and vacuum <= given.start[0]:
        high = 0.0
    if given.start is not None and given.full is not None and given.maximum is not None and not given.points:
        (early, late), (soon, last), (least, most) = given.start, given.full, given.maximum
        high = min(high, float(np.interp(vacuum, [early, max(soon, early + 1.0)], [0.0, most])))
        low = max(low, float(np.interp(vacuum, [late, max(last, late + 1.0)], [0.0, least])))
        steep = max(most / max(soon - early, 1.0), least / max(last - late, 1.0))
        slope = steep if min(early, late) < vacuum < max(soon, last) else 0.0
    if low <= 0.0 and not np.isfinite(high):
        return None
    # Below what a reading can be off by, no advance can be told from none.
    return Allowed(low, max(high, 2 * given.reading), slope)


def by_a_factor(given: Vacuum) -> float | None:
    """2 or 1/2 [1] where the readings are off the book, and every one of at least two that move lies in its band once divided
    by that: crank degrees for the distributor's, or the other way round. None otherwise."""
    judged = [*at_points(given), *between_points(given)]
    moved = [j for j in judged if j.measured.value > given.reading]
    if len(moved) < 2 or sum(j.verdict == "fail" for j in moved) < 2:
        return None
    for factor in (2.0, 0.5):
        within = [
            (j.limit.low or 0.0) <= j.measured.value / factor <= (np.inf if j.limit.high is None else j.limit.high)
            for j in judged
            if j.limit is not None
        ]
        if all(within):
            return factor
    return None


def _at(given: Vacuum, one: float, other: float) -> bool:
    """Whether the gauge cannot tell two vacuums [Pa] apart."""
    return abs(one - other) <= given.gauge * (1 + 1e-9)


def apart_as_read(given: Vacuum) -> Quantity | None:
    """The largest distance [rad] of a falling reading from the rising one at its vacuum; None if no two share a vacuum."""
    apart = [
        (fall.advance - rise.advance)
        for fall in given.readings
        for rise in given.readings
        if rise.rising and not fall.rising and _at(given, fall.vacuum, rise.vacuum)
    ]
    return None if not apart else Quantity(float(max(apart)), 2.0 * float(np.sqrt(2.0)) * given.reading / SQRT3)


def unjudged(given: Vacuum, fitted_to: float | None) -> tuple[str, ...]:
    """What of the book no reading tells: words for each. `fitted_to` [Pa] is the highest vacuum that a fitted capsule
    reaches, None without one."""
    if not given.readings:
        asked = given.points or given.start is not None or given.full is not None or given.maximum is not None
        return ("no readings were taken",) if asked else ()
    rising = [r for r in given.readings if r.rising]
    if not rising:
        return ("no reading was taken with vacuum rising, which the book's figures are for",)
    if not given.points and given.start is None and given.full is None and given.maximum is None:
        return ("the job gives none of the book's figures: start, full and maximum, or points",)
    top = max(r.vacuum for r in rising)
    missing = [
        f"no reading at {p.vacuum / KPA:.0f} kPa"
        for p in given.points
        if not any(_at(given, r.vacuum, p.vacuum) for r in rising) and (fitted_to is None or p.vacuum > fitted_to)
    ]
    missing += _unbounded(given, top)
    return tuple(missing)


def _unbounded(given: Vacuum, top: float) -> list[str]:
    """What start, full and maximum leave open for readings up to `top` [Pa], in words; nothing where the book gives points."""
    figures = {"start": given.start, "full": given.full, "maximum": given.maximum}
    lacking = [name for name, band in figures.items() if band is None]
    if given.points:
        return []
    if lacking:
        return [
            f"the job gives no {' and no '.join(lacking)} from the book, so the readings are judged by its other "
            "figures alone"
        ]
    last = given.full[1] if given.full is not None else 0.0
    if top < last - given.gauge:
        return [
            f"no reading at {last / KPA:.0f} kPa or more, where the book has all the vacuum advance in, so its "
            "maximum is not known"
        ]
    return []


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
    most = allowed.high if np.isfinite(allowed.high) else None
    band = Limit(allowed.low if allowed.low > 0.0 else None, most, None, MANUAL)
    return Judged.of(Item.VACUUM_POINT, Quantity(reading.advance, by), band, f" {reading.vacuum / KPA:.0f} kPa")


def _slope_about(given: Vacuum, vacuum: float) -> float:
    """How steeply [rad/Pa] the middle of the book's points climbs about a vacuum [Pa], at the most."""
    rows = sorted(given.points, key=lambda p: p.vacuum)
    at = np.array([0.0, *(p.vacuum for p in rows)])
    middle = np.array([0.0, *((p.low + p.high) / 2 for p in rows)])
    slopes = np.abs(np.diff(middle) / np.maximum(np.diff(at), 1.0))
    touching = (at[:-1] <= vacuum) & (at[1:] >= vacuum)
    return float(slopes[touching].max(initial=0.0))
