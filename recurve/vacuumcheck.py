"""A vacuum unit against its book: start, full and maximum by a fit of its readings, points, leaks, stiction."""

from __future__ import annotations

from dataclasses import dataclass

from recurve.inspection import Vacuum
from recurve.judged import Judged, Kind, combined
from recurve.limits import MANUAL, Limit, limit_of
from recurve.units import Measured
from recurve.vacuum import Capsule, Number, fit_capsule


@dataclass(frozen=True)
class VacuumCheck:
    """The unit's checks, and the capsule fitted to its readings (None where they do not tell)."""

    judged: tuple[Judged, ...]
    capsule: Capsule | None


def check_vacuum(given: Vacuum) -> VacuumCheck:
    """Judge the readings by the book's bands, ± being two standard uncertainties of the fit; and the leak test."""
    capsule = fit_capsule(given)
    judged = (
        [] if capsule is None else [*_capsule(given, capsule), *_points(given, capsule), *_stiction(given, capsule)]
    )
    return VacuumCheck((*judged, *_hold(given)), capsule)


def _two(number: Number) -> Measured:
    return Measured(number.value, 2 * (number.standard_uncertainty or 0.0))


def _band(band: tuple[float, float] | None) -> Limit | None:
    return None if band is None else Limit(band[0], band[1], None, MANUAL)


def _capsule(given: Vacuum, capsule: Capsule) -> list[Judged]:
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
        made.append(Judged.of(what, Measured(worst, given.reading), "angle", _band((point.low, point.high))))
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
            Measured(hold.vacuum.value),
            "pressure",
            limit_of("vacuum", "hold", "pressure", given.limits.get("hold")),
        ),
        Judged.of(
            f"vacuum lost in {hold.time:.0f} s",
            Measured(lost, doubt),
            "pressure",
            limit_of("vacuum", "loss", "pressure", given.limits.get("loss")),
        ),
    ]
