"""Advance curves to time an engine by: a unit's own, its readings alone, or the book's. Distributor angles and speeds."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Protocol

import numpy as np
from numpy.typing import ArrayLike

from recurve.arrays import Array, Mask
from recurve.physics.target import Band, Target

LEVEL = np.radians(0.3)  # readings that climb by more than this at their end are not all in
END = 0.05  # relative; the end of the readings, for that
SPEED_NEAR = 0.05  # relative; so far below the lowest reading a unit still counts as read


class Advance(Protocol):
    """Any advance curve, in distributor angles [rad] and speeds [rad/s]."""

    def rising_advance(self, speed: ArrayLike, start: float = 0.0) -> Array:
        """Advance [rad] at speeds [rad/s], speed rising and the advance beginning at `start` [rad]."""

    def falling_advance(self, speed: ArrayLike) -> Array:
        """Advance [rad] at speeds [rad/s], speed falling from the top."""

    @property
    def stop(self) -> float:
        """The largest advance [rad]."""

    @property
    def all_in(self) -> float | None:
        """The speed at which all advance is in [rad/s]; None if unknown."""


@dataclass(frozen=True)
class TableCurve:
    """An advance curve by points of `speed` [rad/s] and `advance` [rad], straight between them: a book's figures, or readings
    of one direction. `read`: readings, which may end before all advance is in; `climbs`: it is likely that these do."""

    speed: Array
    advance: Array
    read: bool = False
    climbs: bool = False

    def rising_advance(self, speed: ArrayLike, start: float = 0.0) -> Array:
        """Advance [rad] at speeds [rad/s], never less than `start`."""
        return np.asarray(np.maximum(np.interp(np.asarray(speed, float), self.speed, self.advance), start))

    def falling_advance(self, speed: ArrayLike) -> Array:
        """Advance [rad] at speeds [rad/s]: the same as rising."""
        return self.rising_advance(speed)

    @property
    def stop(self) -> float:
        """The largest advance [rad]."""
        return float(self.advance.max())

    @property
    def all_in(self) -> float | None:
        """Speed at which the largest advance is first reached [rad/s]; None if the readings climb at the end, or may well."""
        largest = int(np.argmax(self.advance))
        before = min(self.advance[-2:][0], np.interp((1 - END) * self.speed[-1], self.speed, self.advance))
        if self.climbs or (self.read and self.advance[-1] - before > LEVEL):
            return None
        return float(self.speed[largest])


@dataclass(frozen=True)
class ReadCurve:
    """A unit by its readings alone, `rising` and `falling`, each None where there are none. At least one is there."""

    rising: TableCurve | None
    falling: TableCurve | None

    @property
    def shown(self) -> TableCurve:
        """The rising readings, or the falling ones where there are no others."""
        table = self.rising or self.falling
        assert table is not None  # one of them is there
        return table

    def rising_advance(self, speed: ArrayLike, start: float = 0.0) -> Array:
        """Advance [rad] at speeds [rad/s]; outside the readings as at the nearest of them."""
        return self.shown.rising_advance(speed, start)

    def falling_advance(self, speed: ArrayLike) -> Array:
        """Advance [rad] at speeds [rad/s], speed falling; outside the readings as at the nearest of them."""
        return (self.falling or self.shown).falling_advance(speed)

    def stays_in(self, speed: float) -> float | None:
        """Advance [rad] that is in at a speed [rad/s] to which it has fallen; None where it was not read down to there."""
        if self.falling is None or speed < float(self.falling.speed[0]) * (1 - SPEED_NEAR):
            return None
        return float(self.falling.falling_advance(speed))

    @property
    def stop(self) -> float:
        """The largest advance [rad] that was read, rising or falling."""
        return max(table.stop for table in (self.rising, self.falling) if table is not None)

    @property
    def all_in(self) -> float | None:
        """Speed at which the largest advance is first reached [rad/s]; None if the readings still climb at the end, or if the
        falling ones reach higher."""
        return None if self.stop - self.shown.stop > LEVEL else self.shown.all_in


def was_read(curve: Advance, speed: ArrayLike) -> Mask:
    """Whether a curve tells its advance at speeds [rad/s], any shape. Readings tell none below their lowest speed, nor, where
    they still climb at their end, above their highest; all other curves tell it everywhere."""
    at = np.asarray(speed, float)
    table = curve.shown if isinstance(curve, ReadCurve) else curve
    if not isinstance(table, TableCurve) or not table.read:
        return np.ones(at.shape, bool)
    highest = np.inf if table.all_in is not None else float(table.speed[-1]) * (1 + SPEED_NEAR)
    return np.asarray((at >= float(table.speed[0]) * (1 - SPEED_NEAR)) & (at <= highest))


def stays_in(curve: Advance, speed: float) -> float | None:
    """Advance [rad] that is in at a speed [rad/s] to which it has fallen; None where that was not read."""
    return curve.stays_in(speed) if isinstance(curve, ReadCurve) else float(curve.falling_advance(speed))


def at_standstill(curve: Advance) -> float:
    """Advance [rad] from which a rising curve begins: what stays in at a standstill. Readings that rise tell it themselves."""
    return 0.0 if isinstance(curve, ReadCurve) else float(curve.falling_advance(0.0))


def book_curve(target: Target | None) -> TableCurve | None:
    """What a book states over speed: its advance where it gives one, else the middle of its band, and 0 for a band from 0; None
    if it has no points."""
    points = (
        [] if target is None else sorted((b for b in target.timed if b.kind == "point"), key=lambda b: b.speed or 0)
    )
    if target is None or not points:
        return None
    speed = [b.speed or 0.0 for b in points]
    middle = [_stated(b) for b in points]
    speed, middle = [_book_onset(speed, middle, target.idle_speed), *speed], [0.0, *middle]
    top = maximum_of(target)
    if top is not None:
        middle = [min(a, top) for a in middle]
        # The book gives no speed for its maximum: at the last point if its band allows that, else a little later.
        last = points[-1]
        if last.low <= top <= last.high:
            middle[-1] = top
        else:
            speed.append(1.1 * speed[-1])
            middle.append(top)
    return TableCurve(np.array(speed), np.array(middle))


def maximum_of(target: Target | None) -> float | None:
    """The largest advance [rad] that a book states; None where it gives none, or its upper edge alone."""
    most = None if target is None else target.maximum
    return None if most is None or (most.stated is None and most.from_zero) else _stated(most)


def _stated(band: Band) -> float:
    """The advance [rad] that the book means by a band."""
    if band.stated is not None:
        return max(band.stated, 0.0)
    return 0.0 if band.from_zero else (band.low + band.high) / 2


def _book_onset(speed: list[float], middle: list[float], idle: float | None) -> float:
    """Speed [rad/s] at which a book's curve leaves zero: its first stretch extrapolated, but not below idle."""
    if len(speed) < 2 or middle[1] <= middle[0]:
        return min(idle or 0.0, speed[0])
    onset = speed[0] - middle[0] * (speed[1] - speed[0]) / (middle[1] - middle[0])
    return min(max(onset, idle or 0.0, 0.0), speed[0])
