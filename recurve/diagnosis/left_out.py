"""Readings that a fit has left out: a wild one, or several that agree with one another and so are no slip of reading."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import ClassVar

import numpy as np

from recurve.arrays import Array
from recurve.fit.fit import Fit
from recurve.fit.outline import WHEEL, ZERO, Outline
from recurve.fit.state import Evidence
from recurve.inspection.findings import Cause, Finding, Words
from recurve.physics.sweep import Sweep
from recurve.physics.target import Band, Target
from recurve.uncertainty import COVERAGE
from recurve.units import RPM, SQRT3

STOP_NEAR = np.radians(0.5)  # a reading expected so near the stop is one of the plateau
SPEED_NEAR = 0.01  # relative; a reading at so nearly a band's speed is a reading of that band
PAST = 3.5  # standard uncertainties by which a sweep must end beyond the measured stop to contradict it
NEIGHBOURS = 1  # so many other speeds may lie between two readings that are taken together


@dataclass(frozen=True)
class Outlier:
    """A reading that was left out: its `row` in the file, `speed` [rad/s], the `advance` read and that `expected` [rad]."""

    row: int
    speed: float
    advance: float
    expected: float


@dataclass(frozen=True)
class Outliers(Finding):
    """Readings of the `file` that were left out of the fit."""

    file: str
    readings: tuple[Outlier, ...]
    cause = Cause.READINGS

    def words(self) -> Words:
        """The finding in words."""
        told = [
            f"row {r.row} of {self.file} reads {np.degrees(r.advance):.1f}° at {r.speed * RPM:.0f} rpm where "
            f"{np.degrees(r.expected):.1f}° is expected"
            for r in self.readings
        ]
        return Words(
            "readings that do not fit the curve",
            f"{'; '.join(told)} (distributor)",
            "left out of the fit",
            "take them again, and write the new readings down beside the old: what reads the same twice is no slip",
        )

    @property
    def condition(self) -> str:
        """What a good verdict rests on, in words."""
        rows = " and ".join(str(r.row) for r in self.readings)
        speeds = " and ".join(dict.fromkeys(f"{r.speed * RPM:.0f}" for r in self.readings))
        return (
            f"row{'s' if len(self.readings) > 1 else ''} {rows} of {self.file} left out, as if misread: take a second reading at "
            f"{speeds} rpm (distributor). If it comes out the same, the advance hangs or jumps there, and the unit is not sound"
        )


@dataclass(frozen=True)
class Agreeing(Finding):
    """Readings of the `file` at neighbouring speeds that lie off the curve the same way: they agree with one another, so that
    no slip of reading explains them. `stop` is the advance [rad] at the stop by the job where all of them lie beyond it, else
    None. `measured`: whether the curve is also that of weights, posts and stop that the job gives."""

    file: str
    readings: tuple[Outlier, ...]
    stop: float | None
    measured: bool
    units: ClassVar[dict[str, str]] = {"stop": "deg"}

    @property
    def cause(self) -> Cause:
        """The stop where all lie beyond it, else the readings."""
        return Cause.READINGS if self.stop is None else Cause.STOP

    def words(self) -> Words:
        """The finding in words."""
        rows = f"row{'s' if len(self.readings) > 1 else ''} {', '.join(str(r.row) for r in self.readings)}"
        reads = "read" if len(self.readings) > 1 else "reads"
        read, expected, speed = (
            _range(np.array([getattr(r, name) for r in self.readings]) * by, digits)
            for name, by, digits in (("advance", 180 / np.pi, 1), ("expected", 180 / np.pi, 1), ("speed", RPM, 0))
        )
        told = f"{rows} of {self.file} {reads} {read}° at {speed} rpm where {expected}° is expected (distributor)"
        if self.stop is not None:
            return Words(
                "the readings go beyond the stop that the job gives",
                f"{told}; the job has the stop at {np.degrees(self.stop):.1f}° (distributor)",
                "the unit may advance farther than every result here says, and that breaks pistons",
                "turn the cam to its stop by hand against a degree wheel, three times, and correct stop.advance. If the "
                "wheel agrees with the job, the stop gives way at speed, as a perished bush does, or a vacuum line was "
                "connected",
            )
        return Words(
            "some readings agree with one another, but not with the rest",
            told,
            "so many do not go wrong together by chance, so the curve found here may be wrong",
            "take them again. If they come out the same, "
            + ("the weights, posts or stop that the job gives are not this unit's, or " if self.measured else "")
            + "a part sticks there or jumps: free the weights and the cam, and sweep again",
        )


def _range(values: np.ndarray, digits: int) -> str:
    low, high = (f"{float(x):.{digits}f}" for x in (values.min(), values.max()))
    return low if low == high else f"{low} to {high}"


def left_out(evidence: Evidence, fit: Fit, sweep: Sweep) -> Finding | None:
    """What is to be said of readings beyond the stop that was measured, and of those that the fit has left out; None where there
    are none."""
    if (past := _past_stop(evidence, sweep)) is not None:
        return past
    readings = _of_rows(sweep, fit.outliers, fit.expected)
    together = _together(sweep, readings)
    if not together:
        return Outliers("low", sweep.file, readings) if readings else None
    stop = fit.job.stop.advance
    hidden = float(fit.model.hidden(fit.best[None])[0])
    beyond = all(r.expected + hidden > stop - STOP_NEAR and r.advance > r.expected for r in together)
    return Agreeing("check first", sweep.file, together, stop if beyond else None, True)


def _past_stop(evidence: Evidence, sweep: Sweep) -> Agreeing | None:
    """Where the sweep by itself surely ends beyond the stop that was measured. A fit makes a stop of the two that suits both, and
    takes the plateau for scatter; the more so the fewer readings there are of it."""
    measured, outline = evidence.job.measured, evidence.outline
    if measured is None or measured.stop.origin != "given" or outline is None:
        return None
    if outline.counts_from is not None or not sweep.static_known:
        return None
    stop, largest = measured.stop, outline.largest.summary
    off = np.hypot(stop.standard_uncertainty or WHEEL, np.hypot(largest.standard_uncertainty or 0.0, ZERO))
    if largest.value - stop.value < PAST * off:
        return None
    rows = sweep.row[sweep.advance > stop.value + PAST * off / 2]
    readings = _of_rows(sweep, tuple(int(r) for r in rows), np.full(len(sweep.speed), stop.value))
    return Agreeing("check first", sweep.file, readings, stop.value, True) if readings else None


def left_out_of_outline(outline: Outline, sweep: Sweep) -> Finding | None:
    """What is to be said of the readings that the outline has left out; None where it kept all."""
    readings = _of_rows(sweep, outline.outliers, outline.expected)
    together = _together(sweep, readings)
    if together:
        return Agreeing("check first", sweep.file, together, None, False)
    return Outliers("low", sweep.file, readings) if readings else None


def conditions(findings: Iterable[Finding]) -> tuple[str, ...]:
    """What a good verdict rests on where readings were left out, in words."""
    return tuple(f.condition for f in findings if isinstance(f, Outliers))


def _of_rows(sweep: Sweep, rows: tuple[int, ...], expected: Array) -> tuple[Outlier, ...]:
    """The readings of these `rows`, with the advance (n,) [rad] that was `expected` of each reading of the sweep."""
    return tuple(
        Outlier(int(sweep.row[i]), float(sweep.speed[i]), float(sweep.advance[i]), float(expected[i]))
        for i in np.flatnonzero(np.isin(sweep.row, rows))
    )


def _together(sweep: Sweep, readings: tuple[Outlier, ...]) -> tuple[Outlier, ...]:
    """Those with another one beside them, at the same speed or nearly the next, that lies off the same way."""
    speeds = np.unique(np.round(sweep.speed, 6))

    def place(one: Outlier) -> int:
        return int(np.searchsorted(speeds, np.round(one.speed, 6)))

    def beside(one: Outlier, other: Outlier) -> bool:
        same_way = (one.advance > one.expected) == (other.advance > other.expected)
        return one is not other and same_way and abs(place(one) - place(other)) <= 1 + NEIGHBOURS

    return tuple(one for one in readings if any(beside(one, other) for other in readings))


def outside_bands(fit: Fit, sweep: Sweep) -> tuple[str, ...]:
    """The readings that lie outside a band by more than they may be off, in words: the unit misses it if they are right."""
    hidden = float(fit.model.hidden(fit.best[None])[0])
    return _outside_bands(fit.job.target, sweep, fit.outliers, hidden)


def outside_by_outline(outline: Outline, sweep: Sweep, target: Target) -> tuple[str, ...]:
    """The same by the outline of a sweep."""
    return _outside_bands(target, sweep, outline.outliers, 0.0)


def _outside_bands(target: Target | None, sweep: Sweep, rows: tuple[int, ...], hidden: float) -> tuple[str, ...]:
    if target is None:
        return ()
    told = []
    off = COVERAGE * np.broadcast_to(sweep.reading, sweep.speed.shape) / SQRT3
    for row, speed, advance, rising, much in zip(sweep.row, sweep.speed, sweep.advance, sweep.rising, off, strict=True):
        if any(outside(b, float(speed), bool(rising), float(advance) + hidden, float(much)) for b in target.bands):
            alone = " and does not fit the other readings" if row in rows else ""
            told.append(
                f"row {int(row)} reads {np.degrees(advance):.1f}° at {speed * RPM:.0f} rpm (distributor), which is outside the "
                f"book{alone}: take it again"
            )
    return tuple(told)


def outside(band: Band, speed: float, rising: bool, advance: float, off: float) -> bool:
    """Whether an advance [rad] at a speed [rad/s] surely lies outside a band, if a reading may be `off` so far [rad]."""
    if band.kind == "maximum":
        return advance - off > band.high
    assert band.speed is not None  # all other bands have one
    if band.kind == "idle" and not rising:
        return speed <= band.speed * (1 + SPEED_NEAR) and advance - off > band.high
    if abs(speed - band.speed) > SPEED_NEAR * band.speed:
        return False
    return advance - off > band.high or (not band.from_zero and advance + off < band.low)
