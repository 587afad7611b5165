"""The vacuum unit: a sprung capsule fitted to its readings, and judged by its book. SI; angles are the distributor's.

The capsule gives no advance up to its start, then advance at a rate, up to its stop:

    a(p) = min(max(rate · (p − start ∓ stiction), 0), stop)        − vacuum rising, + falling

Advance and retard both count positive; `Vacuum.sign` tells which it is.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from recurve.arrays import Array
from recurve.data import MANUAL, Limit, limit_of
from recurve.inspection.bench import ITEM_DIMENSIONS, Item, Judged
from recurve.inspection.model import Vacuum
from recurve.inspection.vacuum_book import apart_as_read, at_points, between_points, by_a_factor, is_dead, unjudged
from recurve.inspection.wheel import combined
from recurve.uncertainty import Uncertain, inflation
from recurve.units import SQRT3, Quantity

LARGEST_ADVANCE = np.radians(60.0)  # no capsule turns a breaker plate farther
FEWEST_READINGS = 3  # that move, for a fit


@dataclass(frozen=True)
class Capsule:
    """A fitted capsule: `start` [Pa], `rate` [rad/Pa], `stop` [rad] (None if no reading reached it) and the vacuum `full`
    [Pa] at which it is reached; `stiction` [Pa], half the gap between vacuum rising and falling (None unless both were
    read); `residual` [rad], root mean square of the readings about the fit. A standard uncertainty is None where the
    readings do not determine the number."""

    start: Uncertain
    rate: Uncertain
    stop: Uncertain | None
    full: Uncertain | None
    stiction: Uncertain | None
    residual: float

    def advance(self, vacuum: ArrayLike, rising: ArrayLike = True) -> Array:
        """Advance [rad] at a vacuum [Pa], rising or falling; any shape, broadcast."""
        return capsule_advance(
            vacuum,
            rising,
            (
                self.start.value,
                self.rate.value,
                LARGEST_ADVANCE if self.stop is None else self.stop.value,
                0.0 if self.stiction is None else self.stiction.value,
            ),
        )

    def begins(self, rising: bool) -> Uncertain:
        """The vacuum [Pa] at which it begins to move with vacuum rising, or has gone home with vacuum falling."""
        return self._late(self.start, rising)

    def full_at(self, rising: bool) -> Uncertain | None:
        """The vacuum [Pa] at which it reaches its stop with vacuum rising, or leaves it with vacuum falling."""
        return None if self.full is None else self._late(self.full, rising)

    def _late(self, at: Uncertain, rising: bool) -> Uncertain:
        if self.stiction is None:
            return at
        by = (at.standard_uncertainty, self.stiction.standard_uncertainty)
        both = None if by[0] is None or by[1] is None else float(np.hypot(by[0], by[1]))
        return Uncertain(at.value + self.stiction.value * (1.0 if rising else -1.0), both)

    @property
    def apart(self) -> Uncertain | None:
        """Distance between rising and falling advance [rad] where the capsule moves."""
        if self.stiction is None:
            return None
        gap = 2 * self.rate.value
        by = self.stiction.standard_uncertainty
        return Uncertain(gap * self.stiction.value, None if by is None else gap * by)


def capsule_advance(vacuum: ArrayLike, rising: ArrayLike, numbers: tuple[float, float, float, float]) -> Array:
    """Advance [rad] by the equation of the module for `numbers`, (start [Pa], rate [rad/Pa], stop [rad], stiction [Pa]);
    vacuum [Pa], rising or falling; any shape, broadcast."""
    start, rate, stop, stiction = numbers
    late = np.where(np.asarray(rising, bool), stiction, -stiction)
    return np.asarray(np.clip(rate * (np.asarray(vacuum, float) - start - late), 0.0, stop))


def fit_capsule(given: Vacuum) -> Capsule | None:
    """Start, rate, stop and stiction by least squares; None if fewer than three readings show movement.

    Readings are weighted by the ± of reading and gauge, both half-widths (GUM 4.3.7). Uncertainties come from the curvature
    at the best fit, and are enlarged if the readings scatter more than stated.
    """
    vacuum, advance, rising = _arrays(given)
    moving = advance > given.reading
    if moving.sum() < FEWEST_READINGS or np.ptp(vacuum[moving]) <= 0:
        return None
    free = np.array([True, True, _has_flat(vacuum, advance, given), bool(rising.any() and not rising.all())])
    scale = np.array([1e4, 1e-5, 0.1, 1e3])
    sigma = _sigma(given, vacuum[moving], advance[moving])

    def misfit(x: Array) -> Array:
        numbers = _numbers(x * scale[free], free)
        return np.asarray((capsule_advance(vacuum, rising, numbers) - advance) / sigma)

    best = min((_solve(misfit, start[free] / scale[free]) for start in _starts(given)), key=lambda s: s.cost)
    return _capsule(best, free, scale[free], sigma, (float(vacuum.max()), float(advance.max())))


def _arrays(given: Vacuum) -> tuple[Array, Array, np.ndarray]:
    rows = given.readings
    return (
        np.array([r.vacuum for r in rows]),
        np.array([r.advance for r in rows]),
        np.array([r.rising for r in rows], bool),
    )


def _sigma(given: Vacuum, vacuum: Array, advance: Array) -> float:
    """Standard uncertainty [rad] of a reading: the dial's, and the gauge's times the slope."""
    slope = float(np.ptp(advance) / np.ptp(vacuum))
    return float(np.hypot(given.reading, slope * given.gauge) / SQRT3)


def _has_flat(vacuum: Array, advance: Array, given: Vacuum) -> bool:
    """Whether two readings at clearly different vacuums share the top, so that a stop shows."""
    top = advance >= advance.max() - 1.5 * given.reading
    return bool(np.ptp(vacuum[top]) > max(2 * given.gauge, 0.08 * np.ptp(vacuum)))


def _numbers(x: Array, free: np.ndarray) -> tuple[float, float, float, float]:
    """The `numbers` of `capsule_advance` from those that are free."""
    full = np.array([0.0, 0.0, LARGEST_ADVANCE, 0.0])
    full[free] = x
    return float(full[0]), float(full[1]), float(full[2]), float(full[3])


def _starts(given: Vacuum) -> list[Array]:
    """States from which the descents begin: several vacuums at which the capsule starts, and slopes from each."""
    vacuum, advance, _ = _arrays(given)
    top = float(advance.max())
    made = []
    for begin in np.linspace(0.0, 0.8, 5) * vacuum.max():
        for end in (0.6, 0.8, 1.0):
            full = begin + (vacuum.max() - begin) * end
            made.append(np.array([begin, top / (full - begin), top, 0.02 * vacuum.max()]))
    return made


@dataclass(frozen=True)
class _Solution:
    """The end of a descent: half the sum of squares, the scaled numbers (k,), and the derivatives of the misfits by them
    (readings, k)."""

    cost: float
    x: Array
    jacobian: Array


def _solve(misfit: Callable[[Array], Array], start: Array) -> _Solution:
    from scipy.optimize import least_squares

    found = least_squares(misfit, np.maximum(start, 1e-6), bounds=(0.0, np.inf))
    return _Solution(float(found.cost), np.asarray(found.x), np.asarray(found.jac))


def _capsule(best: _Solution, free: np.ndarray, scale: Array, sigma: float, reach: tuple[float, float]) -> Capsule:
    """The numbers with uncertainties from the curvature at the best fit; `reach`, the highest vacuum [Pa] and advance [rad] that
    were read."""
    x, scaled = best.x * scale, best.jacobian
    readings = len(scaled)
    # With so few readings any excess of scatter counts.
    scatter = inflation(2 * best.cost, max(readings - len(x), 1), rare=1.0)
    covariance = np.linalg.pinv(scaled.T @ scaled) * scatter**2 * np.outer(scale, scale)
    # A number that could be anywhere in the range that was read is not told by the readings.
    ranges = np.array([reach[0], np.inf, reach[1], reach[0]])[free]
    seen = (np.abs(scaled).max(axis=0) > 1e-6) & (2 * np.sqrt(np.diag(covariance)) < ranges)
    named = {name: i for i, name in enumerate(np.array(["start", "rate", "stop", "stiction"])[free])}

    def number(name: str) -> Uncertain | None:
        i = named.get(name)
        return None if i is None else Uncertain(float(x[i]), float(np.sqrt(covariance[i, i])) if seen[i] else None)

    start, rate, stop = number("start"), number("rate"), number("stop")
    assert start is not None and rate is not None  # always free
    full = None
    if stop is not None:
        at = start.value + stop.value / rate.value
        gradient = np.zeros(len(x))
        gradient[[0, 1, named["stop"]]] = (1.0, -stop.value / rate.value**2, 1 / rate.value)
        by = float(np.sqrt(max(float(gradient @ covariance @ gradient), 0.0)))
        full = Uncertain(at, by if 2 * by < reach[0] else None)
    return Capsule(start, rate, stop, full, number("stiction"), float(np.sqrt(2 * best.cost / readings) * sigma))


@dataclass(frozen=True)
class BookCapsule:
    """The middle of what the book asks of a vacuum unit, as points (n,) of vacuum [Pa] and advance [rad]."""

    vacuum: Array
    middle: Array

    def advance(self, vacuum: ArrayLike) -> Array:
        """Advance [rad] at a vacuum [Pa] by straight lines, any shape."""
        return np.asarray(np.interp(np.asarray(vacuum, float), self.vacuum, self.middle))


def book_capsule(given: Vacuum) -> BookCapsule | None:
    """What the book asks, from its points, or from start, full and maximum; None if it does not say."""
    if given.points:
        rows = sorted(given.points, key=lambda p: p.vacuum)
        at = [0.0, *(p.vacuum for p in rows)]
        return BookCapsule(np.array(at), np.array([0.0, *((p.low + p.high) / 2 for p in rows)]))
    if given.start is None or given.full is None or given.maximum is None:
        return None
    start, full, most = (sum(band) / 2 for band in (given.start, given.full, given.maximum))
    return BookCapsule(np.array([0.0, start, full]), np.array([0.0, 0.0, most]))


def vacuum_advance(given: Vacuum | None, vacuum: float) -> tuple[float, str] | None:
    """Advance [rad, distributor, negative for retard] at a vacuum [Pa] and its source: "as measured" by the fit, or "as read"
    between readings that determine none, as far up as the unit was read; past that "by the book"; None if nothing tells it."""
    if given is None:
        return None
    rising = sorted((r for r in given.readings if r.rising), key=lambda r: r.vacuum)
    fitted = fit_capsule(given)
    reached = max((r.vacuum for r in given.readings), default=-np.inf) + given.gauge
    if fitted is not None and (vacuum <= reached or fitted.stop is not None):
        return given.sign * float(fitted.advance(vacuum)), "as measured"
    if rising and fitted is None and rising[0].vacuum - given.gauge <= vacuum <= rising[-1].vacuum + given.gauge:
        at = np.interp(vacuum, [r.vacuum for r in rising], [r.advance for r in rising])
        return given.sign * float(at), "as read"
    book = book_capsule(given)
    if book is None:
        return None
    source = "by the book" if not given.readings else "by the book; no reading was taken there"
    return given.sign * float(book.advance(vacuum)), source


def vacuum_range(given: Vacuum | None) -> float:
    """The largest advance [rad] of a vacuum unit, negative for retard; 0 if there is no unit."""
    if given is None:
        return 0.0
    fitted = fit_capsule(given)
    if fitted is not None and fitted.stop is not None:
        return given.sign * fitted.stop.value
    tops = [r.advance for r in given.readings] + [p.high for p in given.points]
    if given.maximum is not None:
        tops.append(given.maximum[1])
    return given.sign * max(tops, default=0.0)


@dataclass(frozen=True)
class VacuumCheck:
    """The unit's checks, and the capsule fitted to its readings, None if they do not determine one. `dead`: no reading shows
    it to move, though it should have; `unjudged`: what of the book no reading tells, in words; `factor` [1]: 2 or 1/2 where
    the readings are that many times what the book asks."""

    judged: tuple[Judged, ...]
    capsule: Capsule | None
    dead: bool = False
    unjudged: tuple[str, ...] = ()
    factor: float | None = None


def check_vacuum(given: Vacuum) -> VacuumCheck:
    """Judge the readings at the book's own points; between them, and where the book tells start, full and maximum, the fitted
    capsule, ± two standard uncertainties of the fit, or without one each reading; and the leak test."""
    capsule = fit_capsule(given)
    read, each = at_points(given), between_points(given)
    told = {j.detail for j in read}
    if capsule is None:
        judged = [*read, *each, *_stiction(given, apart_as_read(given))]
    else:
        fitted = [j for j in _judged_points(given, capsule) if j.detail not in told]
        outside = [j for j in each if j.verdict == "fail"]
        apart = None if capsule.apart is None else _two(capsule.apart)
        judged = [*_judged_capsule(given, capsule), *read, *fitted, *outside, *_stiction(given, apart)]
    reach = None if capsule is None else max(r.vacuum for r in given.readings)
    lacking = (*unjudged(given, reach), *_undetermined(given, capsule))
    return VacuumCheck((*judged, *_hold(given)), capsule, is_dead(given), lacking, by_a_factor(given))


def _capsule_rows(
    given: Vacuum, capsule: Capsule
) -> list[tuple[Item, Uncertain | None, tuple[float, float] | None, str]]:
    return [
        (Item.VACUUM_START, capsule.begins(rising=True), given.start, "where it begins"),
        (Item.VACUUM_FULL, capsule.full_at(rising=True), given.full, "where it is full"),
        (Item.VACUUM_MAXIMUM, capsule.stop, given.maximum, "its maximum"),
    ]


def _undetermined(given: Vacuum, capsule: Capsule | None) -> tuple[str, ...]:
    """What the book asks and the readings do not determine, in words."""
    rows = [] if capsule is None else _capsule_rows(given, capsule)
    return tuple(
        f"the readings do not show {what}"
        for _, number, band, what in rows
        if band is not None and number is not None and number.standard_uncertainty is None
    )


def _two(number: Uncertain) -> Quantity:
    """The number ± two standard uncertainties."""
    return Quantity(number.value, 2 * (number.standard_uncertainty or 0.0))


def _band(band: tuple[float, float] | None) -> Limit | None:
    return None if band is None else Limit(band[0], band[1], None, MANUAL)


def _judged_capsule(given: Vacuum, capsule: Capsule) -> list[Judged]:
    return [
        Judged.of(item, _two(number), _band(band))
        for item, number, band, _ in _capsule_rows(given, capsule)
        if number is not None and number.standard_uncertainty is not None
    ]


def _judged_points(given: Vacuum, capsule: Capsule) -> list[Judged]:
    """The fitted curve, vacuum rising, at those of the book's points that the readings reach, within the ± of a reading."""
    top = max(r.vacuum for r in given.readings)
    return [
        Judged.of(
            Item.VACUUM_POINT,
            Quantity(float(capsule.advance(point.vacuum)), given.reading),
            _band((point.low, point.high)),
            f" {point.vacuum / 1e3:.0f} kPa",
        )
        for point in given.points
        if point.vacuum <= top
    ]


def _stiction(given: Vacuum, apart: Quantity | None) -> list[Judged]:
    if apart is None:
        return []
    return [Judged.of(Item.VACUUM_STICTION, apart, _limit(given, Item.VACUUM_STICTION, "stiction"))]


def _hold(given: Vacuum) -> list[Judged]:
    if given.hold is None:
        return []
    hold = given.hold
    # The same gauge twice: its offset drops out, and half its ± is left to each reading.
    lost = Quantity(hold.vacuum.value - hold.left.value, combined((hold.vacuum, hold.left)) / 2)
    drawn, loss = (_limit(given, *of) for of in ((Item.VACUUM_HOLD, "hold"), (Item.VACUUM_LOSS, "loss")))
    return [
        Judged.of(Item.VACUUM_HOLD, Quantity(hold.vacuum.value), drawn),
        Judged.of(Item.VACUUM_LOSS, lost, loss, f" {hold.time:.0f} s"),
    ]


def _limit(given: Vacuum, item: Item, key: str) -> Limit | None:
    return limit_of("vacuum", key, ITEM_DIMENSIONS[item], given.limits.get(key))
