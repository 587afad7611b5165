"""Worn units with a known fault, as a bench sees them before anybody strips them: a book, a sweep, nothing else; all invented.

A sound mechanism of `mechanisms` is the unit as it left the works. Its own curve, by `integrator`, gives the book: points
read off it and rounded, each with its tolerance, the idle speed at which nothing may be in, and the stop. Then one thing
is spoilt, and the worn unit is swept, from a standstill up and down again, with speeds and readings a little off; or it
is simulated as bodies on hinges (`multibody`). Nothing here uses the package's curves or its outlines.

Degrees, rpm, mm, N, N/mm and mN·m; distributor terms, but for a sweep that was written in the crank's.
`worn(seed, fault)` always makes the same.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cache
from pathlib import Path

import numpy as np
from integrator import Bench, bench
from mechanisms import Mechanism, Pull, Unsound, mechanism
from numpy.typing import NDArray
from synthetic import all_in, as_csv, onset, passed, plausible

from recurve.job.model import BareJob
from recurve.job.read import load_any

Array = NDArray[np.float64]
WEAR = (
    "sound", "weak primary", "slack primary", "weak secondary", "late secondary", "strong", "stop worn", "stop short",
    "sluggish",
)  # fmt: skip
# What the speeds and the advances of a sweep were multiplied by, where it was written in the crank's.
SLIPS = {"crank": (2.0, 2.0), "crank speeds": (2.0, 1.0), "crank advances": (1.0, 2.0)}
# A spring that is broken or out, and the two in each other's place.
WRONG_SPRINGS = ("broken primary", "broken secondary", "springs changed over")
FAULTS = (*WEAR, *SLIPS, *WRONG_SPRINGS)  # their order is part of the seed
TRIES = 3000  # units drawn for a seed
PATIENCE = 6  # those among them that did not come to rest in MuJoCo, each of which takes a minute
STEP = 0.005  # [deg] of the integrator
FASTEST, NARROWEST = 2600.0, 350.0  # rpm: all-in at the most, and how far past the onset at the least
MISTYPED = 5.0  # [deg]


class Restless(Unsound):
    """Bodies that do not come to rest in MuJoCo."""


@dataclass(frozen=True)
class Way:
    """How a unit was swept: `count` readings up, None for 8 to 13; `both` ways or with speed rising only; `zeroed` at its
    lowest speed instead of with the weights held home; `short` of all-in; with a reading `mistyped`; `simulated` by
    MuJoCo."""

    count: int | None = None
    both: bool = True
    zeroed: bool = False
    short: bool = False
    mistyped: bool = False
    simulated: bool = False


PLAIN = Way()


@dataclass(frozen=True)
class Book:
    """Points (speed [rpm], least, most advance [deg]), the idle speed [rpm], the stop from `low` to `high` [deg]."""

    points: tuple[tuple[float, float, float], ...]
    idle: float
    low: float
    high: float


@dataclass(frozen=True)
class Truth:
    """The worn unit itself: `onset` [rpm] with speed rising; what stays in at `idle`, its `stop`, the `largest` advance of
    the sweep, how far rising and falling stand `apart` where it climbs [deg]; `rising` and `falling` advances [deg] at the
    book's points; `spoilt`, the row of the mistyped reading."""

    onset: float
    idle: float
    stop: float
    largest: float
    apart: float
    rising: Array
    falling: Array
    spoilt: int | None


@dataclass(frozen=True)
class Worn:
    """A worn unit: its `fault`, book, truth, and its sweep as written: the CSV `readings`, ± `reading` [deg] and
    `speed_reading` [rpm], and where it was `zeroed` [rpm], None if the weights were held home."""

    seed: int
    fault: str
    book: Book
    truth: Truth
    readings: str
    reading: float
    speed_reading: float
    zeroed: float | None

    @property
    def text(self) -> str:
        """The job file: target and sweep, nothing else."""
        points = [
            f'  {{ speed = "{rpm:.0f} rpm", {f"""min = "{low:.2f} deg", """ if low > 0 else ""}max = "{high:.2f} deg" }},'
            for rpm, low, high in self.book.points
        ]
        lines = [
            'title = "Invented worn unit, not stripped"',
            '[distributor]\nlobes = 4\nrotation = "clockwise"',
            "[target]\npoints = [",
            *points,
            "]",
            f'idle = {{ speed = "{self.book.idle:.0f} rpm", max = "0.5 deg" }}',
            f'maximum = {{ min = "{self.book.low:.2f} deg", max = "{self.book.high:.2f} deg" }}',
            f'[sweep]\nfile = "as-found.csv"\nreading = "± {self.reading:.3f} deg"',
            f'speed_reading = "± {self.speed_reading:.2f} rpm"',
        ]
        if self.zeroed is not None:
            lines.append(f'zeroed_at = "{self.zeroed:.0f} rpm"')
        return "\n".join(lines) + "\n"

    def job(self, folder: Path) -> BareJob:
        """The job as read from files in this folder."""
        (folder / "as-found.csv").write_text(self.readings, encoding="utf-8")
        path = folder / "worn.toml"
        path.write_text(self.text, encoding="utf-8")
        read = load_any(path)
        assert isinstance(read, BareJob)
        return read

    def above(self) -> Array:
        """By how much the true advance is above each of the book's points (points,) [deg], rising or falling."""
        return np.maximum(self.truth.rising, self.truth.falling) - np.array([p[2] for p in self.book.points])

    def below(self) -> Array:
        """By how much it is below them (points,) [deg]; a point from 0 has no lower edge."""
        low = np.array([p[1] for p in self.book.points])
        return np.where(low > 0, low - np.minimum(self.truth.rising, self.truth.falling), -np.inf)


def worn(seed: int, fault: str, way: Way = PLAIN) -> Worn:
    """The unit of this seed with this fault, swept this way."""
    return worn_mechanism(seed, fault, way)[0]


@cache
def worn_mechanism(seed: int, fault: str, way: Way = PLAIN) -> tuple[Worn, Mechanism]:
    """The same, and the spoilt mechanism itself. Raises Restless where too many units in a row do not come to rest."""
    restless = 0
    for attempt in range(TRIES):
        random = np.random.default_rng([seed, FAULTS.index(fault), attempt])
        try:
            one = mechanism(seed + 100_000 * attempt)
            one = replace(one, drag=random.uniform(3, 9), friction=random.uniform(0, 1.2))
            share = 0.0 if way.simulated else 0.01 * abs(random.normal())
            sound = bench(one, share, STEP)
            if not plausible(sound) or not onset(sound) + NARROWEST <= all_in(sound) <= FASTEST:
                continue
            book = _book(one, sound, random)
            spoilt = _spoilt(one, fault, random)
            return _swept(Unit(seed, fault, book, spoilt, share, all_in(sound)), way, random), spoilt
        except Restless:
            restless += 1
            if restless == PATIENCE:
                raise
        except Unsound:
            continue
    raise AssertionError(f"seed {seed} gives no unit with {fault}")


# --- the unit ---------------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class Unit:
    """A spoilt mechanism beside its book, and at what speed [rpm] its advance was complete while it was sound."""

    seed: int
    fault: str
    book: Book
    one: Mechanism
    share: float
    full: float


def _book(one: Mechanism, sound: Bench, random: np.random.Generator) -> Book:
    begins, full = onset(sound), all_in(sound)
    ends = begins * random.uniform(1.02, 1.15), full * random.uniform(0.9, 1.0)
    speeds = np.round(np.linspace(*ends, int(random.integers(3, 6))), -1)
    rising, falling = _there(sound, speeds, 1.3 * full)
    tolerance = float(random.choice([0.75, 1.0, 1.25]))
    middle = np.round((rising + falling) / 2 + random.uniform(-0.15, 0.15, len(speeds)), 1)
    low, high = np.maximum(middle - tolerance, 0.0), middle + tolerance
    if (rising < low).any() or (falling > high).any():
        raise Unsound("its own friction takes it out of the book")
    points = tuple((float(s), float(a), float(b)) for s, a, b in zip(speeds, low, high, strict=True))
    stop = round(one.stop, 1)
    return Book(points, round(begins * random.uniform(0.7, 0.92), -1), stop - tolerance, stop + tolerance)


def _spoilt(one: Mechanism, fault: str, random: np.random.Generator) -> Mechanism:
    """The mechanism with its fault; a slip of the pen leaves it as it was."""
    first, second = one.springs
    if fault == "weak primary":
        first = _times(first, random.uniform(0.5, 0.75))
    elif fault == "slack primary":
        first = replace(first, free_length=first.free_length + random.uniform(0.4, 1.2))
    elif fault == "weak secondary":
        second = _times(second, random.uniform(0.4, 0.7))
    elif fault == "late secondary":
        second = replace(second, free_length=second.free_length + random.uniform(0.5, 1.5))
    elif fault == "strong":
        factor = random.uniform(1.3, 1.8)
        first, second = _times(first, factor), _times(second, factor)
    elif fault == "broken primary":
        first = _times(first, 0.0)
    elif fault == "broken secondary":
        second = _times(second, 0.0)
    elif fault == "springs changed over":
        first, second = _hung(second, first), _hung(first, second)
    off = {"stop worn": (1.5, 4.0), "stop short": (-4.0, -2.0)}.get(fault)
    return replace(
        one,
        springs=(first, second),
        stop=one.stop if off is None else one.stop + random.uniform(*off),
        friction=random.uniform(4, 9) if fault == "sluggish" else one.friction,
    )


def _times(pull: Pull, factor: float) -> Pull:
    return replace(pull, rate=factor * pull.rate, tension=factor * pull.tension)


def _hung(spring: Pull, place: Pull) -> Pull:
    """This spring on the posts of that place."""
    return replace(place, rate=spring.rate, tension=spring.tension, free_length=spring.free_length)


# --- the sweep --------------------------------------------------------------------------------------------------


def _swept(unit: Unit, way: Way, random: np.random.Generator) -> Worn:
    curve = bench(unit.one, unit.share, STEP)
    idle, full = unit.book.idle, max(min(max(all_in(curve), 300.0), 2800.0), unit.full)
    low = max(idle - random.uniform(0, 60), 120.0)
    high = full * (random.uniform(0.75, 0.93) if way.short else random.uniform(1.05, 1.2))
    count = int(random.integers(8, 14)) if way.count is None else way.count
    up = np.round(np.linspace(low, high, count), -1)
    down = up[-2::-1] if way.both else up[:0]
    reading, limit = random.uniform(0.3, 0.8), random.uniform(4, 12)
    if way.simulated:
        speeds, advance = np.concatenate([up, down]), _simulated(unit.one, up, down, limit, random)
    else:
        speeds, advance = passed(curve, up, down, limit, random)
    zeroed = float(up[0]) if way.zeroed else None
    if zeroed is not None:
        curve.stand_still()
        advance = advance - curve.settle(zeroed)
    factors = SLIPS.get(unit.fault, (1.0, 1.0))
    read = factors[1] * advance + reading * random.uniform(-1, 1, len(advance))
    spoilt = int(random.integers(1, len(up) - 1)) if way.mistyped else None
    if spoilt is not None:
        read[spoilt] += MISTYPED
    return Worn(
        unit.seed, unit.fault, unit.book, _truth(unit, curve, float(up[-1]), spoilt),
        as_csv(factors[0] * speeds, np.round(read, 1), len(up)), reading, factors[0] * limit, zeroed,
    )  # fmt: skip


def _truth(unit: Unit, curve: Bench, high: float, spoilt: int | None) -> Truth:
    rising, falling = _there(curve, np.array([p[0] for p in unit.book.points]), high)
    curve.stand_still()
    largest = curve.settle(high)
    curve.at = len(curve.advance) - 1
    idle = curve.settle(unit.book.idle)
    climbs = all_in(curve) * np.sqrt(np.linspace(0.05, 1.0, 60))
    curve.stand_still()
    up = curve.go_through(climbs)
    gap = curve.go_through(climbs[::-1])[::-1] - up
    # The first line of the CSV names its columns.
    row = None if spoilt is None else spoilt + 2
    return Truth(onset(curve), idle, unit.one.stop, largest, float(np.quantile(gap, 0.75)), rising, falling, row)


def _there(curve: Bench, speeds: Array, top: float) -> tuple[Array, Array]:
    """Advances [deg] at the speeds (m,) [rpm], from a standstill up, and down again from the `top` speed [rpm]."""
    curve.stand_still()
    rising = curve.go_through(speeds)
    curve.settle(top)
    return rising, curve.go_through(speeds[::-1])[::-1]


def _simulated(one: Mechanism, up: Array, down: Array, limit: float, random: np.random.Generator) -> Array:
    """Advances (n,) [deg] of the mechanism in MuJoCo, at speeds a little off those shown [rpm], never going back on the way."""
    from multibody import Simulation

    simulation, now, seen = Simulation(one, damping=6.0), 0.3 * float(up[0]), []
    for shown, rises in ((up, True), (down, False)):
        real = np.sort(shown + limit / np.sqrt(3) * random.normal(size=len(shown)))
        for speed in real if rises else real[::-1]:
            try:
                seen.append(simulation.creep(now, float(speed)))
            except AssertionError as moving:
                raise Restless(str(moving)) from None  # another unit is drawn
            now = float(speed)
    return np.array(seen)
