"""Timing on the engine: what the light shows for an advance curve, where to set it, and what a wrong way of setting does.

Crank timing = static + ratio · mechanical(engine speed / ratio) + ratio · vacuum, all before top dead centre [rad];
`ratio` is crank turns a distributor turn. Speeds and timing here are the CRANK's, advances the distributor's.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Protocol

import numpy as np
from numpy.typing import ArrayLike

from recurve.arrays import Array
from recurve.data import usual
from recurve.inspection.model import Timing
from recurve.physics.target import Target
from recurve.units import RPM

STEP = 50.0 / RPM  # a setting speed is a round number of crank rpm
LEVEL = np.radians(0.3)  # readings that climb by more from the last but one to the last are not all in
SEEN = np.radians(0.1)  # advance that a light shows


class Advance(Protocol):
    """Any advance curve: distributor rad at distributor rad/s."""

    def rising_advance(self, speed: ArrayLike, start: float = 0.0) -> Array:
        """Speed rising from `start` [rad]."""

    def falling_advance(self, speed: ArrayLike) -> Array:
        """Advance [rad], speed [rad/s] falling from the top."""

    @property
    def stop(self) -> float:
        """The largest advance [rad]."""

    @property
    def all_in(self) -> float | None:
        """The speed at which it is all in [rad/s]."""


@dataclass(frozen=True)
class TableCurve:
    """An advance curve by points [rad/s, rad], straight between them: a book's middle, or readings where no
    model is to be had."""

    speed: Array
    advance: Array
    read: bool = False  # readings, which may end before all advance is in

    def rising_advance(self, speed: ArrayLike, start: float = 0.0) -> Array:
        """Advance [rad] at speeds [rad/s], never less than `start`."""
        return np.asarray(np.maximum(np.interp(np.asarray(speed, float), self.speed, self.advance), start))

    def falling_advance(self, speed: ArrayLike) -> Array:
        """The same points [rad]."""
        return self.rising_advance(speed)

    @property
    def stop(self) -> float:
        """The largest advance [rad]."""
        return float(self.advance.max())

    @property
    def all_in(self) -> float | None:
        """Where the largest advance is first met [rad/s]; None where readings still climb at the last of them."""
        largest = int(np.argmax(self.advance))
        if self.read and self.advance[-1] - self.advance[-2] > LEVEL:
            return None
        return float(self.speed[largest])


def book_curve(target: Target | None) -> TableCurve | None:
    """The middle of a target's bands over speed; None without bands at speeds."""
    points = (
        [] if target is None else sorted((b for b in target.timed if b.kind == "point"), key=lambda b: b.speed or 0)
    )
    if target is None or not points:
        return None
    speed = [b.speed or 0.0 for b in points]
    middle = [0.0 if b.from_zero else (b.low + b.high) / 2 for b in points]
    speed, middle = [_book_onset(speed, middle, target.idle_speed), *speed], [0.0, *middle]
    most = target.maximum
    if most is not None:
        top = (most.low + most.high) / 2
        middle = [min(a, top) for a in middle]
        # The book gives no speed for its maximum: at the last point where that allows it, else a little later.
        last = points[-1]
        if last.low <= top <= last.high:
            middle[-1] = top
        else:
            speed.append(1.1 * speed[-1])
            middle.append(top)
    return TableCurve(np.array(speed), np.array(middle))


def _book_onset(speed: list[float], middle: list[float], idle: float | None) -> float:
    """Where a book's curve leaves zero [rad/s]: its first stretch carried on downwards, but not below idle."""
    if len(speed) < 2 or middle[1] <= middle[0]:
        return min(idle or 0.0, speed[0])
    onset = speed[0] - middle[0] * (speed[1] - speed[0]) / (middle[1] - middle[0])
    return min(max(onset, idle or 0.0, 0.0), speed[0])


def static_of(reading: float, advance: float, ratio: float) -> float:
    """Static timing [rad crank] of a unit that shows `reading` [rad crank] with this advance [rad distributor] in."""
    return reading - ratio * advance


def reading_of(static: float, advance: float, ratio: float) -> float:
    """What the light shows [rad crank]: the inverse of `static_of`."""
    return static + ratio * advance


def crank_timing(curve: Advance, static: float, ratio: float, speed: ArrayLike, vacuum: float = 0.0) -> Array:
    """Timing [rad crank] at crank speeds [rad/s], speed rising from what stays in at a standstill; `vacuum` [rad
    distributor] on top."""
    start = float(curve.falling_advance(0.0))
    advance = curve.rising_advance(np.asarray(speed, float) / ratio, start)
    return np.asarray(static + ratio * (advance + vacuum))


@dataclass(frozen=True)
class IdleTrap:
    """One way of setting a unit by the light: `where`, at which `reading`, and what `static`, `idle` reading (None
    without an idle speed) and `total` follow [rad crank]."""

    where: str
    reading: float
    static: float
    idle: float | None
    total: float


@dataclass(frozen=True)
class Setting:
    """Where to set: crank `speed` [rad/s], `reading` ± `tolerance` there, then `static`, `idle` reading to be expected,
    `total` [rad crank]; `flat` tells whether the advance is all in at that speed."""

    speed: float
    reading: float
    tolerance: float
    static: float
    idle: float | None
    total: float
    flat: bool


@dataclass(frozen=True)
class Card:
    """The card for one engine. `curves`: (name, curve, static [rad crank]); `speed` (n,) crank [rad/s]; `total` the
    book's [rad crank] or None; `setting` of the planned unit, else of the one as found; `traps` of the unit as found;
    `cruise` vacuum advance [rad distributor] with its source; `warnings`; `good` whether no total passes a limit."""

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
        """Crank timing (n,) [rad] of one curve over `speed`; None where there is none of that name."""
        return next((crank_timing(c, s, self.ratio, self.speed, vacuum) for n, c, s in self.curves if n == name), None)


def make_card(
    timing: Timing,
    ratio: float,
    curves: dict[str, Advance],
    static: float | None,
    vacuum: tuple[tuple[float, str] | None, tuple[float, str] | None] = (None, None),
) -> Card | None:
    """The card from the engine's figures and the curves "as found", "book" and "planned", those that there are.

    static [rad crank] where [timing] gives none; vacuum: advance at cruise and at full load. None where neither static
    nor a total with a curve tells what to set.
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
    final = curves.get("planned") or curves.get("as found")
    setting = None if final is None else _setting(timing, final, ratio, given, total, book)
    placed = []
    for name, curve in curves.items():
        at = setting.static if setting is not None and curve is final else given
        placed.append((name, curve, at))
    found = curves.get("as found")
    traps = () if found is None else tuple(_traps(timing, found, book, ratio, given, total))
    cruise, full_load = vacuum
    warnings = _warnings(timing, ratio, setting, final, traps, full_load)
    return Card(
        timing, ratio, tuple(placed), _speeds(timing, curves, ratio), given, total, setting, traps, cruise,
        tuple(warnings), _within_limit(timing, ratio, setting, full_load),
    )  # fmt: skip


def _speeds(timing: Timing, curves: dict[str, Advance], ratio: float) -> Array:
    """Crank speeds of the table: the job's own, else idle and round steps to past all-in."""
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
    """What the light shows at idle, the engine having come down to it."""
    if timing.idle is None:
        return None
    return reading_of(static, float(curve.falling_advance(timing.idle / ratio)), ratio)


def _setting(
    timing: Timing, curve: Advance, ratio: float, static: float, total: float | None, book: Advance | None
) -> Setting:
    """Set by the total, since that is what breaks engines, where everything is in and both curves are flat."""
    reached = max(curve.all_in or 0.0, 0.0 if book is None else book.all_in or 0.0) * ratio
    speed = STEP * np.ceil((1 + usual("timing", "room", "number")[0]) * reached / STEP - 1e-9)
    flat = curve.all_in is not None
    if not flat and reached == 0.0:
        # Nothing tells where all is in: the fastest that is known.
        speed = timing.top_speed or timing.idle or 0.0
    if timing.top_speed is not None and speed > timing.top_speed:
        speed, flat = timing.top_speed, flat and timing.top_speed >= (curve.all_in or 0.0) * ratio
    set_static = static if total is None else static_of(total, curve.stop, ratio)
    start = float(curve.falling_advance(0.0))
    reading = reading_of(set_static, float(curve.rising_advance(speed / ratio, start)), ratio)
    idle = _idle_reading(timing, curve, set_static, ratio)
    whole = reading_of(set_static, curve.stop, ratio)
    return Setting(float(speed), reading, timing.tolerance, set_static, idle, whole, flat)


def _traps(
    timing: Timing, found: Advance, book: Advance | None, ratio: float, static: float, total: float | None
) -> list[IdleTrap]:
    """The unit as found, set by light at idle, and set with everything in."""
    made = []
    if timing.idle is not None:
        at = timing.idle / ratio
        wanted = timing.idle_setting
        if wanted is None:
            wanted = reading_of(static, 0.0 if book is None else float(book.rising_advance(at)), ratio)
        by_idle = static_of(wanted, float(found.falling_advance(at)), ratio)
        made.append(IdleTrap("at idle", wanted, by_idle, wanted, reading_of(by_idle, found.stop, ratio)))
    if total is not None:
        by_total = static_of(total, found.stop, ratio)
        made.append(IdleTrap("all in", total, by_total, _idle_reading(timing, found, by_total, ratio), total))
    return made


def idle_slope(curve: Advance, idle: float, ratio: float) -> float:
    """How fast crank timing climbs at a crank idle speed [rad/s]: rad crank for each rad/s crank."""
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
    """What must be said of the card."""
    told = _past_limit(timing, setting, traps)
    if timing.idle is not None and final is not None:
        told += _hunting(final, timing.idle, ratio)
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
    """Which totals pass the engine's limit: as it is to be set, else at the upper tolerance; the unit as found."""
    if timing.limit is None:
        return []
    most = timing.limit + 1e-9
    totals = [] if setting is None else [("as it is to be set", setting.total)]
    totals += [] if setting is None else [("at the upper tolerance", setting.total + setting.tolerance)]
    past = [(what, at) for what, at in totals if at > most][:1]
    told = [
        f"Total {what} is {_deg(at)} (crank), past the limit of {_deg(timing.limit)}: do not run it so."
        for what, at in past
    ]
    return told + [
        f"The unit as found, set to {_deg(trap.reading)} {trap.where}, ends at {_deg(trap.total)} total (crank), past the limit "
        f"of {_deg(timing.limit)}."
        for trap in traps
        if trap.total > most
    ]


def _within_limit(timing: Timing, ratio: float, setting: Setting | None, full_load: tuple[float, str] | None) -> bool:
    """Whether the engine as set stays within its limit, with what vacuum adds at full load."""
    if setting is None or timing.limit is None:
        return True
    vacuum = ratio * full_load[0] if full_load is not None and full_load[0] > SEEN else 0.0
    return setting.total + vacuum <= timing.limit + 1e-9


def _hunting(curve: Advance, idle: float, ratio: float) -> list[str]:
    start = float(curve.falling_advance(0.0))
    at_idle = float(curve.rising_advance(idle / ratio, start))
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
