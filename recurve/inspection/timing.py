"""Timing on the engine: what the light shows for an advance curve, where to set it, and what setting it wrongly does.

Crank timing = static + ratio · mechanical(engine speed / ratio) + ratio · vacuum, all before top dead centre [rad];
`ratio` is crank revolutions per distributor revolution. Speeds and timing here are the CRANK's, advances the
distributor's.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike

from recurve.arrays import Array
from recurve.data import usual
from recurve.inspection.model import Timing
from recurve.inspection.timing_curves import Advance, ReadCurve, at_standstill, stays_in, was_read
from recurve.units import RPM

SETTING_STEP = 50.0 / RPM  # a setting speed is a round number of crank rpm
SEEN = np.radians(0.1)  # least advance that a light shows
ABOUT_IDLE = 50.0 / RPM  # of the crank; an engine's idle wanders by so much
HELD = np.radians(0.5)  # what stays in at idle beyond this, distributor, shows at the light

TimingVerdict = Literal["set it so", "do not run it so", "total not known"]


def static_of(reading: float, advance: float, ratio: float) -> float:
    """Static timing [rad crank] of a unit that shows `reading` [rad crank] at an advance [rad distributor]."""
    return reading - ratio * advance


def reading_of(static: float, advance: float, ratio: float) -> float:
    """What the light shows [rad crank]: the inverse of `static_of`."""
    return static + ratio * advance


def crank_timing(curve: Advance, static: float, ratio: float, speed: ArrayLike, vacuum: float = 0.0) -> Array:
    """Timing [rad crank] at crank speeds [rad/s], speed rising from a standstill; `vacuum` [rad distributor] is added. NaN
    where the curve was not read."""
    at = np.asarray(speed, float) / ratio
    advance = curve.rising_advance(at, at_standstill(curve))
    return np.where(was_read(curve, at), static + ratio * (advance + vacuum), np.nan)


@dataclass(frozen=True)
class IdleTrap:
    """One way of setting a unit by timing light: `where` it is set to which `reading`, and the `static`, the `idle` reading
    (None without an idle speed) and the `total` that follow, all [rad crank]. `known`: whether the readings reach the stop;
    if not, the total is the least that it can be."""

    where: str
    reading: float
    static: float
    idle: float | None
    total: float
    known: bool = True


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
    `total` by the book [rad crank], or None; `setting` of the curve named `set_for`, both None without one; `traps` of the unit
    as found; `cruise`, the vacuum advance [rad distributor] with its source."""

    timing: Timing
    ratio: float
    curves: tuple[tuple[str, Advance, float], ...]
    speed: Array
    static: float
    total: float | None
    set_for: str | None
    setting: Setting | None
    traps: tuple[IdleTrap, ...]
    cruise: tuple[float, str] | None
    warnings: tuple[str, ...]
    verdict: TimingVerdict

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
    set_for = next((name for name in ("as left", "planned", "as found") if name in curves), None)
    final = None if set_for is None else curves[set_for]
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
        timing, ratio, tuple(placed), _speeds(timing, curves, ratio), given, total, set_for, setting, traps, cruise,
        tuple(warnings), _verdict(timing, ratio, setting, full_load),
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
    if not flat and isinstance(curve, ReadCurve):
        # Nothing tells where all is in: the highest speed that was read.
        speed = float(curve.shown.speed[-1]) * ratio
    elif not flat and reached == 0.0:
        speed = timing.top_speed or timing.idle or 0.0
    if timing.top_speed is not None and speed > timing.top_speed:
        speed, flat = timing.top_speed, flat and timing.top_speed >= (curve.all_in or 0.0) * ratio
    set_static = static if total is None else static_of(total, curve.stop, ratio)
    within = float(curve.rising_advance(speed / ratio, at_standstill(curve)))
    reading = reading_of(set_static, within, ratio)
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
    reached = found.all_in is not None
    within = None if timing.idle is None else stays_in(found, timing.idle / ratio)
    if timing.idle is not None and within is not None:
        wanted = timing.idle_setting
        if wanted is None:
            wanted = reading_of(static, 0.0 if book is None else float(book.rising_advance(timing.idle / ratio)), ratio)
        by_idle = static_of(wanted, within, ratio)
        made.append(IdleTrap("at idle", wanted, by_idle, wanted, reading_of(by_idle, found.stop, ratio), reached))
    if total is not None and reached:
        by_total = static_of(total, found.stop, ratio)
        made.append(IdleTrap("all in", total, by_total, _idle_reading(timing, found, by_total, ratio), total))
    if known is not None:
        idle = _idle_reading(timing, found, known, ratio)
        made.append(IdleTrap("static", known, known, idle, reading_of(known, found.stop, ratio), reached))
    return made


def idle_slope(curve: Advance, idle: float, ratio: float) -> float:
    """Slope of crank timing at a crank idle speed [rad/s]: rad crank per rad/s of the crank."""
    ends = np.array([max(idle - ABOUT_IDLE, 0.0), idle + ABOUT_IDLE])
    advance = curve.rising_advance(ends / ratio, at_standstill(curve))
    return float(ratio * (advance[1] - advance[0]) / (ends[1] - ends[0]))


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
        told += [*_unread(final, timing.idle, ratio), *_held(final, timing.idle, ratio, setting)]
        told += _hunting(final, timing.idle, ratio)
    if setting is not None and not setting.flat:
        told.append(
            "At the speed where you set the timing, the advance may not be all in, so the total may be more than "
            "shown. Check the total at the highest speed the engine runs at, or sweep further up."
        )
    if full_load is not None and full_load[0] > SEEN:
        total = "" if setting is None else f", {_deg(setting.total + ratio * full_load[0])} in all"
        told.append(
            f"Vacuum adds {_deg(ratio * full_load[0])} (crank) at full load{total}, and should add none. Check "
            "where the vacuum line is taken from."
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
                f"Set like this, the total is {_deg(setting.total)} (crank), above the limit of "
                f"{_deg(timing.limit)} (crank): do not run the engine so."
            )
        else:
            told.append(
                f"When you set the timing, stay at or below {_deg(setting.reading + timing.limit - setting.total)} "
                f"(crank). At the upper tolerance the total would be {_deg(setting.total + setting.tolerance)} "
                f"(crank), above the limit of {_deg(timing.limit)} (crank)."
            )
    for trap in traps:
        if trap.total > most:
            where = "statically" if trap.where == "static" else trap.where
            least = "" if trap.known else "at least "
            told.append(
                f"The unit as found, timed to {_deg(trap.reading)} (crank) {where}, reaches a total of "
                f"{least}{_deg(trap.total)} (crank), above the limit of {_deg(timing.limit)} (crank)."
            )
    return told


def _verdict(
    timing: Timing, ratio: float, setting: Setting | None, full_load: tuple[float, str] | None
) -> TimingVerdict:
    """Whether the engine as set stays within its limit, vacuum at full load included; and whether its total is known."""
    if setting is None:
        return "set it so"
    vacuum = ratio * full_load[0] if full_load is not None and full_load[0] > SEEN else 0.0
    if timing.limit is not None and setting.total + vacuum > timing.limit + 1e-9:
        return "do not run it so"
    as_fast_as_it_runs = timing.top_speed is not None and setting.speed >= timing.top_speed
    return "set it so" if setting.flat or as_fast_as_it_runs else "total not known"


def _unread(curve: Advance, idle: float, ratio: float) -> list[str]:
    """What the readings of a unit without a model do not tell about idle."""
    if not isinstance(curve, ReadCurve):
        return []
    told = []
    if curve.stays_in(idle / ratio) is None:
        what = "no falling readings" if curve.falling is None else "no falling readings so low"
        told.append(
            f"How much advance stays in at idle, {idle * RPM:.0f} rpm (crank), is not known: there are {what}. Read "
            f"it with speed falling to {idle / ratio * RPM:.0f} rpm (distributor). Until then do not set the timing "
            "at idle."
        )
    if not was_read(curve, idle / ratio):
        told.append(
            f"The readings begin at {curve.shown.speed[0] * ratio * RPM:.0f} rpm (crank), above idle. No timing is "
            "shown below that, and the advance may already begin at idle."
        )
    if curve.rising is None:
        told.append("There are only falling readings: the timing shown is that of an engine slowing down.")
    return told


def _held(curve: Advance, idle: float, ratio: float, setting: Setting | None) -> list[str]:
    """A warning where the light shows more at idle after a rev than before it."""
    falling = stays_in(curve, idle / ratio)
    if setting is None or setting.idle is None or falling is None or not was_read(curve, idle / ratio):
        return []
    before = float(curve.rising_advance(idle / ratio, at_standstill(curve)))
    if falling - before <= HELD:
        return []
    return [
        f"At idle the light shows {_deg(reading_of(setting.static, before, ratio))} (crank) before the engine is "
        f"revved and {_deg(setting.idle)} (crank) after: {_deg(ratio * (falling - before))} (crank) stays in. Do "
        "not set the timing at idle, and find what holds the advance."
    ]


def _hunting(curve: Advance, idle: float, ratio: float) -> list[str]:
    """A warning if advance is in at idle with speed rising, or begins within reach of it. Between readings the onset is not
    known, so readings without a model tell only what is in."""
    if not was_read(curve, idle / ratio):
        return []
    at_idle = float(curve.rising_advance(idle / ratio, at_standstill(curve)))
    slope = np.degrees(idle_slope(curve, idle, ratio)) * 100 / RPM
    if at_idle >= SEEN:
        return [
            f"Idle is above onset: {_deg(ratio * at_idle)} (crank) of advance is in at {idle * RPM:.0f} rpm "
            f"(crank), and climbs by {slope:.1f}° (crank) in 100 rpm (crank). The engine may hunt."
        ]
    if slope < 0.1 or isinstance(curve, ReadCurve):
        return []
    return [
        f"The advance begins less than {ABOUT_IDLE * RPM:.0f} rpm (crank) above idle, {idle * RPM:.0f} rpm (crank). "
        "The engine may hunt."
    ]


def _deg(angle: float) -> str:
    return f"{np.degrees(angle):.1f}°"


CAUTIONS = (
    "Engine: brake on, out of gear, room ventilated; keep hands, hair, sleeves and leads clear of fan and belts. "
    "The timing light makes the fan look still: it is not.",
    "Ignition voltage can injure: switch off before you touch a lead. Keep pacemakers away from a running ignition.",
    "Too much advance breaks pistons before you hear it: creep up on the total, check it with the light at several "
    "speeds before any load, and stop at any knock. Never exceed the engine maker's speed.",
    "Petrol boats: blower first. Local rules and licensed practice decide.",
)
