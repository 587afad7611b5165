"""Timing on the engine: what the light shows for an advance curve, where to set it, and what setting it wrongly does.

Crank timing = static + ratio · mechanical(engine speed / ratio) + ratio · vacuum, all before top dead centre [rad];
`ratio` is crank revolutions per distributor revolution. Speeds and timing here are the CRANK's, advances the
distributor's.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Protocol

import numpy as np
from numpy.typing import ArrayLike

from recurve.arrays import Array
from recurve.data import usual
from recurve.inspection.model import Timing
from recurve.physics.target import Band, Target
from recurve.units import RPM

SETTING_STEP = 50.0 / RPM  # a setting speed is a round number of crank rpm
LEVEL = np.radians(0.3)  # readings whose last step climbs by more than this are not all in
SPEED_NEAR = 0.05  # relative; so far below the lowest reading a unit still counts as read
SEEN = np.radians(0.1)  # least advance that a light shows


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
    of one direction. `read`: readings, which may end before all advance is in."""

    speed: Array
    advance: Array
    read: bool = False

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
        """Speed at which the largest advance is first reached [rad/s]; None if the readings still climb at the end."""
        largest = int(np.argmax(self.advance))
        if self.read and self.advance[-1] - self.advance[-2] > LEVEL:
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
        """The largest advance [rad]."""
        return self.shown.stop

    @property
    def all_in(self) -> float | None:
        """Speed at which the largest advance is first reached [rad/s]; None if the readings still climb at the end."""
        return self.shown.all_in


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
    most = target.maximum
    if most is not None:
        top = _stated(most)
        middle = [min(a, top) for a in middle]
        # The book gives no speed for its maximum: at the last point if its band allows that, else a little later.
        last = points[-1]
        if last.low <= top <= last.high:
            middle[-1] = top
        else:
            speed.append(1.1 * speed[-1])
            middle.append(top)
    return TableCurve(np.array(speed), np.array(middle))


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


def static_of(reading: float, advance: float, ratio: float) -> float:
    """Static timing [rad crank] of a unit that shows `reading` [rad crank] at an advance [rad distributor]."""
    return reading - ratio * advance


def reading_of(static: float, advance: float, ratio: float) -> float:
    """What the light shows [rad crank]: the inverse of `static_of`."""
    return static + ratio * advance


def crank_timing(curve: Advance, static: float, ratio: float, speed: ArrayLike, vacuum: float = 0.0) -> Array:
    """Timing [rad crank] at crank speeds [rad/s], speed rising from a standstill; `vacuum` [rad distributor] is added."""
    advance = curve.rising_advance(np.asarray(speed, float) / ratio, at_standstill(curve))
    return np.asarray(static + ratio * (advance + vacuum))


@dataclass(frozen=True)
class IdleTrap:
    """One way of setting a unit by timing light: `where` it is set to which `reading`, and the `static`, the `idle` reading
    (None without an idle speed) and the `total` that follow, all [rad crank]."""

    where: str
    reading: float
    static: float
    idle: float | None
    total: float


@dataclass(frozen=True)
class Setting:
    """How to set the unit: to `reading` ± `tolerance` at the crank `speed` [rad/s], which gives `static`, the `idle`
    reading and `total`, all [rad crank]; `flat` tells whether all advance is in at that speed."""

    speed: float
    reading: float
    tolerance: float
    static: float
    idle: float | None
    total: float
    flat: bool


@dataclass(frozen=True)
class Card:
    """The timing card of one engine. `curves`: (name, curve, static [rad crank]); `speed` (n,) of the crank [rad/s];
    `total` by the book [rad crank], or None; `setting` of the planned unit, else of the unit as found; `traps` of the unit
    as found; `cruise`, the vacuum advance [rad distributor] with its source; `good`, whether no total exceeds a limit."""

    timing: Timing
    ratio: float
    curves: tuple[tuple[str, Advance, float], ...]
    speed: Array
    static: float
    total: float | None
    setting: Setting | None
    traps: tuple[IdleTrap, ...]
    cruise: tuple[float, str] | None
    warnings: tuple[str, ...]
    good: bool

    def column(self, name: str, vacuum: float = 0.0) -> Array | None:
        """Crank timing (n,) [rad] of the curve of this name over `speed`; None if there is none."""
        return next((crank_timing(c, s, self.ratio, self.speed, vacuum) for n, c, s in self.curves if n == name), None)


def make_card(
    timing: Timing,
    ratio: float,
    curves: dict[str, Advance],
    static: float | None,
    vacuum: tuple[tuple[float, str] | None, tuple[float, str] | None] = (None, None),
) -> Card | None:
    """The card from the engine's figures and from those of the curves "as found", "book" and "planned" that there are.

    `static` [rad crank] is taken where [timing] gives none; `vacuum` is the advance at cruise and at full load, each with
    its source. None if there is no static timing, and no total and curve to find it from.
    """
    book = curves.get("book")
    given = timing.static if timing.static is not None else static
    total = timing.total
    if given is None and total is not None and curves:
        given = static_of(total, (book or next(iter(curves.values()))).stop, ratio)
    if given is None:
        return None
    if total is None and book is not None:
        total = reading_of(given, book.stop, ratio)
    final = curves.get("as left") or curves.get("planned") or curves.get("as found")
    setting = None if final is None else _setting(timing, final, ratio, given, total, book)
    placed = []
    for name, curve in curves.items():
        at = setting.static if setting is not None and curve is final else given
        placed.append((name, curve, at))
    found = curves.get("as found")
    known = timing.static if timing.static is not None else static
    traps = () if found is None else tuple(_traps(timing, found, book, ratio, (given, known), total))
    cruise, full_load = vacuum
    warnings = _warnings(timing, ratio, setting, final, traps, full_load)
    return Card(
        timing, ratio, tuple(placed), _speeds(timing, curves, ratio), given, total, setting, traps, cruise,
        tuple(warnings), _within_limit(timing, ratio, setting, full_load),
    )  # fmt: skip


def _speeds(timing: Timing, curves: dict[str, Advance], ratio: float) -> Array:
    """Crank speeds of the table [rad/s]: the job's own, else idle and round steps to beyond all-in."""
    if timing.speeds:
        return np.array(timing.speeds)
    last = 1.1 * ratio * max([c.all_in or 0.0 for c in curves.values()], default=0.0)
    last = max(last, timing.cruise_speed or 0.0, 2000.0 / RPM)
    if timing.top_speed is not None:
        last = min(last, timing.top_speed)
    step = 200.0 / RPM if last * RPM <= 3200 else 400.0 / RPM
    idle = timing.idle or 0.0
    grid = step * np.arange(1, int(np.ceil(last / step)) + 1)
    kept = grid[grid > idle]
    kept = kept if timing.top_speed is None else kept[kept <= timing.top_speed + 1e-9]
    return np.asarray(np.concatenate([[idle], kept]) if idle > 0 else kept, float)


def _idle_reading(timing: Timing, curve: Advance, static: float, ratio: float) -> float | None:
    """What the light shows at idle [rad crank], the engine having slowed down to it; None where that was not read."""
    within = None if timing.idle is None else stays_in(curve, timing.idle / ratio)
    return None if within is None else reading_of(static, within, ratio)


def _setting(
    timing: Timing, curve: Advance, ratio: float, static: float, total: float | None, book: Advance | None
) -> Setting:
    """Set by the total, since too much of it breaks engines, at a speed where all is in and both curves are flat."""
    reached = max(curve.all_in or 0.0, 0.0 if book is None else book.all_in or 0.0) * ratio
    speed = SETTING_STEP * np.ceil((1 + usual("timing", "room", "number")[0]) * reached / SETTING_STEP - 1e-9)
    flat = curve.all_in is not None
    if not flat and reached == 0.0:
        # Nothing tells where all is in: the highest known speed.
        speed = timing.top_speed or timing.idle or 0.0
    if timing.top_speed is not None and speed > timing.top_speed:
        speed, flat = timing.top_speed, flat and timing.top_speed >= (curve.all_in or 0.0) * ratio
    set_static = static if total is None else static_of(total, curve.stop, ratio)
    reading = reading_of(set_static, float(curve.rising_advance(speed / ratio, at_standstill(curve))), ratio)
    idle = _idle_reading(timing, curve, set_static, ratio)
    whole = reading_of(set_static, curve.stop, ratio)
    return Setting(float(speed), reading, timing.tolerance, set_static, idle, whole, flat)


def _traps(
    timing: Timing,
    found: Advance,
    book: Advance | None,
    ratio: float,
    statics: tuple[float, float | None],
    total: float | None,
) -> list[IdleTrap]:
    """What follows if the unit as found is set by light at idle, with all advance in, or statically; `statics` [rad crank]: the
    one that is used, and the book's or the engine's own, None where it had to be worked out."""
    made = []
    static, known = statics
    within = None if timing.idle is None else stays_in(found, timing.idle / ratio)
    if timing.idle is not None and within is not None:
        wanted = timing.idle_setting
        if wanted is None:
            wanted = reading_of(static, 0.0 if book is None else float(book.rising_advance(timing.idle / ratio)), ratio)
        by_idle = static_of(wanted, within, ratio)
        made.append(IdleTrap("at idle", wanted, by_idle, wanted, reading_of(by_idle, found.stop, ratio)))
    if total is not None:
        by_total = static_of(total, found.stop, ratio)
        made.append(IdleTrap("all in", total, by_total, _idle_reading(timing, found, by_total, ratio), total))
    if known is not None:
        idle = _idle_reading(timing, found, known, ratio)
        made.append(IdleTrap("static", known, known, idle, reading_of(known, found.stop, ratio)))
    return made


def idle_slope(curve: Advance, idle: float, ratio: float) -> float:
    """Slope of crank timing at a crank idle speed [rad/s]: rad crank per rad/s of the crank."""
    half = 50.0 / RPM
    ends = crank_timing(curve, 0.0, ratio, np.array([max(idle - half, 0.0), idle + half]))
    return float((ends[1] - ends[0]) / (idle + half - max(idle - half, 0.0)))


def _warnings(
    timing: Timing,
    ratio: float,
    setting: Setting | None,
    final: Advance | None,
    traps: tuple[IdleTrap, ...],
    full_load: tuple[float, str] | None,
) -> list[str]:
    """The warnings of the card."""
    told = _past_limit(timing, setting, traps)
    if timing.idle is not None and final is not None:
        told += [*_unread(final, timing.idle, ratio), *_hunting(final, timing.idle, ratio)]
    if setting is not None and not setting.flat:
        told.append(
            "The advance is not known to be all in where it is set: the reading climbs with speed, and the total may be more "
            "than said. Check it at the highest speed the engine is run at, or sweep further up."
        )
    if full_load is not None and full_load[0] > SEEN:
        total = "" if setting is None else f", {_deg(setting.total + ratio * full_load[0])} in all"
        told.append(
            f"Vacuum adds {_deg(ratio * full_load[0])} (crank) at full load{total}: it should be none. Look where the line is "
            "taken from."
        )
    return told


def _past_limit(timing: Timing, setting: Setting | None, traps: tuple[IdleTrap, ...]) -> list[str]:
    """Warnings of totals that exceed the engine's limit: as it is to be set, else at the upper tolerance; and as found."""
    if timing.limit is None:
        return []
    most = timing.limit + 1e-9
    told = []
    if setting is not None and setting.total + setting.tolerance > most:
        if setting.total > most:
            told.append(
                f"Total as it is to be set is {_deg(setting.total)} (crank), past the limit of {_deg(timing.limit)}: do not run "
                "it so."
            )
        else:
            told.append(
                f"Stay at or below {_deg(setting.reading + timing.limit - setting.total)} (crank) where it is set: at the upper "
                f"tolerance the total would be {_deg(setting.total + setting.tolerance)}, past the limit of {_deg(timing.limit)}."
            )
    for trap in traps:
        if trap.total > most:
            where = "statically" if trap.where == "static" else trap.where
            told.append(
                f"The unit as found, set to {_deg(trap.reading)} {where}, ends at {_deg(trap.total)} total (crank), past the "
                f"limit of {_deg(timing.limit)}."
            )
    return told


def _within_limit(timing: Timing, ratio: float, setting: Setting | None, full_load: tuple[float, str] | None) -> bool:
    """Whether the engine as set stays within its limit, vacuum at full load included."""
    if setting is None or timing.limit is None:
        return True
    vacuum = ratio * full_load[0] if full_load is not None and full_load[0] > SEEN else 0.0
    return setting.total + vacuum <= timing.limit + 1e-9


def _unread(curve: Advance, idle: float, ratio: float) -> list[str]:
    """What the readings of a unit without a model do not tell about idle."""
    if not isinstance(curve, ReadCurve):
        return []
    told = []
    if curve.stays_in(idle / ratio) is None:
        what = "no falling readings" if curve.falling is None else "no falling reading so low"
        told.append(
            f"What stays in at idle, {idle * RPM:.0f} rpm (crank), is not known: there are {what}. Read it coming down to "
            f"{idle / ratio * RPM:.0f} rpm (distributor); until then do not set it by the light at idle."
        )
    lowest = float(curve.shown.speed[0]) * ratio
    if idle < lowest * (1 - SPEED_NEAR):
        told.append(
            f"Below {lowest * RPM:.0f} rpm (crank) it was not read: the timing shown there is that at {lowest * RPM:.0f} rpm."
        )
    return told


def _hunting(curve: Advance, idle: float, ratio: float) -> list[str]:
    """A warning if idle is above the onset of the advance."""
    at_idle = float(curve.rising_advance(idle / ratio, at_standstill(curve)))
    slope = np.degrees(idle_slope(curve, idle, ratio)) * 100 / RPM
    if at_idle < SEEN and slope < 0.1:
        return []
    return [
        f"Idle is above onset: {_deg(ratio * at_idle)} (crank) is in at {idle * RPM:.0f} rpm (crank), and it climbs by "
        f"{slope:.1f}° in 100 rpm (crank): the engine may hunt."
    ]


def _deg(angle: float) -> str:
    return f"{np.degrees(angle):.1f}°"


CAUTIONS = (
    "Engine: brake on, out of gear, the room ventilated; hands, hair, sleeves and leads clear of fan and belts. The timing "
    "light makes the fan look still: it is not.",
    "Ignition voltage can injure: off before you touch a lead. Ignition fields and pacemakers do not mix.",
    "Too much advance breaks pistons before you hear it: creep up on the total, check it at several speeds with the light "
    "before any load, and stop at any knock. Never past the engine maker's speed.",
    "Petrol boats: blower first. Local rules and licensed practice decide.",
)
