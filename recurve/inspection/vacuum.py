"""A vacuum unit as a sprung capsule: nothing up to its start, then a rate, then its stop. SI; angles the distributor's.

    a(p) = min(max(rate · (p − start ∓ stiction), 0), stop)        − vacuum rising, + falling

Advance and retard count positive alike; `Vacuum.sign` says which it is.

A vacuum unit against its book: start, full and maximum by a fit of its readings, points, leaks, stiction.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from recurve.arrays import Array
from recurve.data import MANUAL, Limit, limit_of
from recurve.inspection.bench import Judged, Kind, combined
from recurve.inspection.model import Vacuum
from recurve.units import Quantity

MOST = np.radians(60.0)  # no capsule turns a breaker plate farther
FEW = 3


@dataclass(frozen=True)
class Number:
    """A fitted number [SI] and its standard uncertainty; None where the readings do not determine it."""

    value: float
    standard_uncertainty: float | None


@dataclass(frozen=True)
class Capsule:
    """A fitted capsule: `start` [Pa], `rate` [rad/Pa], `stop` [rad] (None where no reading reached it), `full` [Pa]
    where it gets there, `stiction` [Pa] half the gap between vacuum rising and falling (None without both), and
    `residual` [rad] root mean square of the readings about it."""

    start: Number
    rate: Number
    stop: Number | None
    full: Number | None
    stiction: Number | None
    residual: float

    def advance(self, vacuum: ArrayLike, rising: ArrayLike = True) -> Array:
        """Advance [rad] at a vacuum [Pa], rising or falling; any shape, broadcast."""
        return capsule_advance(
            vacuum,
            rising,
            (
                self.start.value,
                self.rate.value,
                MOST if self.stop is None else self.stop.value,
                0.0 if self.stiction is None else self.stiction.value,
            ),
        )

    @property
    def apart(self) -> Number | None:
        """How far rising and falling lie apart [rad] where it moves."""
        if self.stiction is None:
            return None
        gap = 2 * self.rate.value
        by = self.stiction.standard_uncertainty
        return Number(gap * self.stiction.value, None if by is None else gap * by)


def capsule_advance(vacuum: ArrayLike, rising: ArrayLike, numbers: tuple[float, float, float, float]) -> Array:
    """The formula above for (start [Pa], rate [rad/Pa], stop [rad], stiction [Pa]); any shape, broadcast."""
    start, rate, stop, stiction = numbers
    late = np.where(np.asarray(rising, bool), stiction, -stiction)
    return np.asarray(np.clip(rate * (np.asarray(vacuum, float) - start - late), 0.0, stop))


def fit_capsule(given: Vacuum) -> Capsule | None:
    """Start, rate, stop and stiction by least squares; None where fewer than three readings move.

    Readings are weighted by ± reading and ± gauge, both as limits (GUM 4.3.7). Uncertainties come from the curvature
    at the best fit, enlarged where the readings scatter more than stated.
    """
    vacuum, advance, rising = _arrays(given)
    moving = advance > given.reading
    if moving.sum() < FEW or np.ptp(vacuum[moving]) <= 0:
        return None
    free = np.array([True, True, _has_flat(vacuum, advance, given), bool(rising.any() and not rising.all())])
    scale = np.array([1e4, 1e-5, 0.1, 1e3])
    sigma = _sigma(given, vacuum[moving], advance[moving])

    def misfit(x: Array) -> Array:
        numbers = _numbers(x * scale[free], free)
        return np.asarray((capsule_advance(vacuum, rising, numbers) - advance) / sigma)

    best = min((_solve(misfit, start[free] / scale[free]) for start in _starts(given)), key=lambda s: s.cost)
    return _capsule(best, free, scale[free], sigma)


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
    return float(np.hypot(given.reading, slope * given.gauge) / np.sqrt(3.0))


def _has_flat(vacuum: Array, advance: Array, given: Vacuum) -> bool:
    """Whether two readings at clearly different vacuums share the top, so that there is a stop to see."""
    top = advance >= advance.max() - 1.5 * given.reading
    return bool(np.ptp(vacuum[top]) > max(2 * given.gauge, 0.08 * np.ptp(vacuum)))


def _numbers(x: Array, free: np.ndarray) -> tuple[float, float, float, float]:
    full = np.array([0.0, 0.0, MOST, 0.0])
    full[free] = x
    return float(full[0]), float(full[1]), float(full[2]), float(full[3])


def _starts(given: Vacuum) -> list[Array]:
    """Where to begin the descent: several starts of the capsule, slopes to the top from each."""
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
    """Half the sum of squares, the scaled numbers (k,), and the derivative of the misfits by them (readings, k)."""

    cost: float
    x: Array
    jacobian: Array


def _solve(misfit: Callable[[Array], Array], start: Array) -> _Solution:
    from scipy.optimize import least_squares

    found = least_squares(misfit, np.maximum(start, 1e-6), bounds=(0.0, np.inf))
    return _Solution(float(found.cost), np.asarray(found.x), np.asarray(found.jac))


def _capsule(best: _Solution, free: np.ndarray, scale: Array, sigma: float) -> Capsule:
    """Numbers with uncertainties from the curvature at the best fit."""
    x, scaled = best.x * scale, best.jacobian
    readings = len(scaled)
    worse = max(1.0, 2 * best.cost / max(readings - len(x), 1))
    covariance = np.linalg.pinv(scaled.T @ scaled) * worse * np.outer(scale, scale)
    seen = np.abs(scaled).max(axis=0) > 1e-6
    named = {name: i for i, name in enumerate(np.array(["start", "rate", "stop", "stiction"])[free])}

    def number(name: str) -> Number | None:
        i = named.get(name)
        return None if i is None else Number(float(x[i]), float(np.sqrt(covariance[i, i])) if seen[i] else None)

    start, rate, stop = number("start"), number("rate"), number("stop")
    assert start is not None and rate is not None  # always free
    full = None
    if stop is not None:
        at = start.value + stop.value / rate.value
        gradient = np.zeros(len(x))
        gradient[[0, 1, named["stop"]]] = (1.0, -stop.value / rate.value**2, 1 / rate.value)
        full = Number(at, float(np.sqrt(max(float(gradient @ covariance @ gradient), 0.0))))
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
    """What the book asks, from start, full and maximum, or from its points; None where it does not say."""
    if given.points:
        rows = sorted(given.points, key=lambda p: p.vacuum)
        at = [0.0, *(p.vacuum for p in rows)]
        return BookCapsule(np.array(at), np.array([0.0, *((p.low + p.high) / 2 for p in rows)]))
    if given.start is None or given.full is None or given.maximum is None:
        return None
    start, full, most = (sum(band) / 2 for band in (given.start, given.full, given.maximum))
    return BookCapsule(np.array([0.0, start, full]), np.array([0.0, 0.0, most]))


def vacuum_advance(given: Vacuum | None, vacuum: float) -> tuple[float, str] | None:
    """Advance [rad, distributor, negative for retard] at a vacuum [Pa] and where it comes from: "as measured" before
    "by the book"; None where neither tells."""
    if given is None:
        return None
    fitted = fit_capsule(given)
    if fitted is not None:
        return given.sign * float(fitted.advance(vacuum)), "as measured"
    book = book_capsule(given)
    return None if book is None else (given.sign * float(book.advance(vacuum)), "by the book")


def vacuum_range(given: Vacuum | None) -> float:
    """The largest advance [rad] of a vacuum unit, negative for retard; 0 without one."""
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
    """The unit's checks, and the capsule fitted to its readings (None where they do not tell)."""

    judged: tuple[Judged, ...]
    capsule: Capsule | None


def check_vacuum(given: Vacuum) -> VacuumCheck:
    """Judge the readings by the book's bands, ± being two standard uncertainties of the fit; and the leak test."""
    capsule = fit_capsule(given)
    judged = (
        []
        if capsule is None
        else [*_judged_capsule(given, capsule), *_points(given, capsule), *_stiction(given, capsule)]
    )
    return VacuumCheck((*judged, *_hold(given)), capsule)


def _two(number: Number) -> Quantity:
    return Quantity(number.value, 2 * (number.standard_uncertainty or 0.0))


def _band(band: tuple[float, float] | None) -> Limit | None:
    return None if band is None else Limit(band[0], band[1], None, MANUAL)


def _judged_capsule(given: Vacuum, capsule: Capsule) -> list[Judged]:
    rows: list[tuple[str, Number | None, Kind, tuple[float, float] | None]] = [
        ("vacuum unit begins at", capsule.start, "pressure", given.start),
        ("vacuum unit full at", capsule.full, "pressure", given.full),
        ("vacuum unit's maximum", capsule.stop, "angle", given.maximum),
    ]
    return [Judged.of(what, _two(number), kind, _band(band)) for what, number, kind, band in rows if number is not None]


def _points(given: Vacuum, capsule: Capsule) -> list[Judged]:
    """The fitted curve, vacuum rising and falling, at each of the book's points, to the ± of a reading."""
    made = []
    for point in given.points:
        ends = [float(capsule.advance(point.vacuum, rising)) for rising in (True, False)]
        worst = max(ends, key=lambda a: max(a - point.high, point.low - a))
        what = f"vacuum unit at {point.vacuum / 1e3:.0f} kPa"
        made.append(Judged.of(what, Quantity(worst, given.reading), "angle", _band((point.low, point.high))))
    return made


def _stiction(given: Vacuum, capsule: Capsule) -> list[Judged]:
    if capsule.apart is None:
        return []
    limit = limit_of("vacuum", "stiction", "angle", given.limits.get("stiction"))
    return [Judged.of("vacuum unit, rising against falling", _two(capsule.apart), "angle", limit)]


def _hold(given: Vacuum) -> list[Judged]:
    if given.hold is None:
        return []
    hold, lost = given.hold, given.hold.vacuum.value - given.hold.left.value
    # The same gauge twice: its offset drops out, and half its ± is left to each reading.
    doubt = combined((hold.vacuum, hold.left)) / 2
    return [
        Judged.of(
            "vacuum unit drawn to",
            Quantity(hold.vacuum.value),
            "pressure",
            limit_of("vacuum", "hold", "pressure", given.limits.get("hold")),
        ),
        Judged.of(
            f"vacuum lost in {hold.time:.0f} s",
            Quantity(lost, doubt),
            "pressure",
            limit_of("vacuum", "loss", "pressure", given.limits.get("loss")),
        ),
    ]
