"""A unit as it will be: chosen springs on bent posts, a stop, and the exact curve that follows.

What the customer wishes of the springs: which may go in which place.
"""

from __future__ import annotations

import difflib
from dataclasses import dataclass

import numpy as np

from recurve.arrays import Array
from recurve.data import ranges
from recurve.errors import InputError
from recurve.job.model import Job
from recurve.physics.curve import Installed, Trace, Unit, trace_and_residual
from recurve.physics.energy import AGREE, HAIR, SPEEDS, fallen, settled
from recurve.physics.posts import Posts
from recurve.physics.target import BandResult, judge, worst
from recurve.planner.ideal import Limits
from recurve.planner.linear import Problem
from recurve.planner.search import SpringSet
from recurve.springs.spring import Spring
from recurve.units import PLACES, factor

CHECK_ADVANCE = np.radians(1.0)  # the bench's setting points, 1° in and 1° below maximum; common practice


@dataclass(frozen=True)
class Fitted:
    """A chosen spring: `bend` [m] of its anchor post from where it was found, `length` [m] over the posts at
    rest, `takeup` [rad] (None if it never pulls), `pull` [N] at rest."""

    spring: Spring
    posts: Posts
    bend: float
    length: float
    takeup: float | None
    pull: float


@dataclass(frozen=True)
class Build:
    """The unit as it will be: springs in their places, stop [rad] and its trim [m], the curve from the exact
    model, every band's result, the worst margin [1], and the rising speeds [rad/s] at which 1° must be in
    and 1° is missing from the maximum (None where there is none, or no second spring)."""

    springs: tuple[Fitted, ...]
    stop: float
    trim: float
    unit: Unit
    curve: Trace
    results: tuple[BandResult, ...]
    margin: float
    settings: tuple[float | None, float | None]
    residual: tuple[float, float]


def make_build(
    job: Job, springs: tuple[Spring, ...], bends: tuple[float, ...], stop: float, points: int = 2001
) -> Build:
    """The unit with these springs, bends [m] of the anchors and stop [rad], judged by the exact model."""
    assert job.target is not None  # problem_of has asked for it
    installed = tuple(Installed(s, p.posts, b) for s, p, b in zip(springs, job.places, bends, strict=True))
    unit = Unit(job.weights, installed, job.drag, stop)
    idle = job.target.idle_speed or min(b.speed or np.inf for b in job.target.timed)
    curve, residual = trace_and_residual(unit, idle, points)
    results = judge(job.target, curve)
    second = curve.rising_speed(stop - CHECK_ADVANCE) if len(installed) > 1 and stop > CHECK_ADVANCE else None
    trim = job.stop.trim(stop)
    return Build(
        springs=tuple(_fitted(i, t) for i, t in zip(installed, curve.takeups, strict=True)),
        stop=stop,
        trim=0.0 if abs(trim) < 1e-9 else trim,
        unit=unit,
        curve=curve,
        results=results,
        margin=worst(results),
        settings=(curve.rising_speed(CHECK_ADVANCE), second),
        residual=residual,
    )


def _fitted(installed: Installed, takeup: float | None) -> Fitted:
    length = float(installed.length(0.0)[0])
    s = installed.spring
    pull = s.initial_tension + s.rate * (length - s.free_length) if length >= s.free_length else 0.0
    return Fitted(s, installed.posts, installed.bend, length, takeup, pull)


def with_stop(build: Build, job: Job, stop: float) -> Build:
    """The same springs and posts with another stop [rad]."""
    return make_build(job, tuple(s.spring for s in build.springs), tuple(s.bend for s in build.springs), stop)


# --- what a plan starts from --------------------------------------------------------------------------------


def problem_of(job: Job) -> Problem:
    """The planning problem of a job, with every stop that trim can give."""
    if job.target is None or not job.target.timed:
        raise InputError(f"{job.path}: target: missing, expected bands to plan for, at least one of them at a speed")
    places = job.places
    return Problem(
        job.weights,
        job.drag,
        tuple(p.posts for p in places),
        tuple(p.travel for p in places),
        job.target,
        job.stop.limits,
    )


def springs_of(job: Job) -> tuple[Spring, ...]:
    """The catalogue's springs by id, so that no tie hangs on the order of rows, then those found in the unit: they are
    candidates too."""
    bought = () if job.catalogue is None else sorted(job.catalogue.springs, key=lambda s: s.id)
    found = tuple(p.found for p in job.places if p.found is not None)
    if not bought and not found:
        raise InputError(
            f"{job.path}: catalogue: missing, expected a catalogue of springs, or the springs as found with rate and "
            "free_length or takeup"
        )
    return (*bought, *found)


def longest_length(spring: Spring) -> float:
    """The longest [m] a spring may be over its posts at full advance without being stressed too high, under a static
    load; infinite where its wire, diameter or material is not known."""
    return spring.most_length


def spring_limits(job: Job) -> Limits:
    """The trade's ranges, within which ideal springs are sought."""
    table = ranges()["range"]
    rates = []
    for name in ("primary_rate", "secondary_rate")[: len(job.places)]:
        unit = factor(table[name]["unit"], "rate")
        rates.append((table[name]["low"] * unit, table[name]["high"] * unit))
    pull, slack = table["preload"], table["slack"]["high"] * factor(table["slack"]["unit"], "length")
    return Limits(tuple(rates), (pull["low"], pull["high"]), slack)


@dataclass(frozen=True)
class Constraints:
    """Limits on the choice: springs that are there (`only_in_stock`), one id for a place, or the spring that is in
    it (`keep`, places by name)."""

    only_in_stock: bool = False
    primary: str | None = None
    secondary: str | None = None
    keep: frozenset[str] = frozenset()


def shelf_of(job: Job, wishes: Constraints) -> SpringSet:
    """The springs to choose from. Raises InputError where a wish names what is not there."""
    springs = springs_of(job)
    if wishes.only_in_stock:
        springs = tuple(s for s in springs if s.quantity is not None)
    shelf = SpringSet.of(springs, longest_length)
    fits = np.ones((2, len(shelf.springs)), bool)
    for place in range(2):
        wanted = _wanted(job, wishes, springs_of(job), place)
        if wanted is not None:
            fits[place] = [any(s is w for w in wanted) for s in shelf.springs]
    return shelf.limited(fits)


def _wanted(job: Job, wishes: Constraints, springs: tuple[Spring, ...], place: int) -> list[Spring] | None:
    """The springs that a place may have, None for any."""
    name, identity = PLACES[place], (wishes.primary, wishes.secondary)[place]
    kept = name in wishes.keep
    if identity is None and not kept:
        return None
    if place >= len(job.places):
        raise InputError(f"{job.path}: got a wish for the {name}, expected none: the unit has one spring")
    if identity is not None and kept:
        raise InputError(f"{job.path}: got both --{name} and --keep {name}, expected one of them")
    if kept:
        found = job.places[place].found
        if found is None:
            raise InputError(
                f"{job.path}: springs.{name}: got no spring as found to keep, expected its rate and free_length or takeup"
            )
        return [found]
    named = [s for s in springs if s.id == identity]
    if not named:
        near = difflib.get_close_matches(str(identity), [s.id for s in springs], 1)
        hint = f"; did you mean {near[0]}?" if near else ""
        raise InputError(f"{job.path}: --{name}: got {identity!r}, expected an id of the catalogue{hint}")
    return named


@dataclass(frozen=True)
class Checked:
    """How a planned curve stands against the least energy: at how many `speeds` it was looked at, rising and
    falling, and the `largest` difference [rad]."""

    speeds: int
    largest: float

    @property
    def agrees(self) -> bool:
        """Whether both say the same, within a hundredth of a degree (distributor)."""
        return bool(self.largest <= AGREE)


def check_build(build: Build) -> Checked:
    """All that is told of a build (bands, setting speeds, the curve between) against the least energy of its unit."""
    start = _start(build)
    top = 1.1 * max([build.curve.all_in or 0.0, *(r.band.speed or 0.0 for r in build.results)])
    between = np.linspace(0.0, top, SPEEDS + 1)[1:]
    bands = [(r.band.speed, r.rising, r.falling) for r in build.results if r.band.speed is not None]
    speeds, up, down = (np.array(x) for x in zip(*bands, strict=True))
    speeds = np.concatenate([speeds, between])
    up = np.concatenate([up, build.curve.rising_advance(between, start)])
    down = np.concatenate([down, build.curve.falling_advance(between)])
    points = zip((CHECK_ADVANCE, build.stop - CHECK_ADVANCE), build.settings, strict=True)
    set_at, set_speed = np.array([(a, s) for a, s in points if s is not None]).reshape(-1, 2).T
    starts = np.concatenate([np.full(len(speeds), start), np.zeros(len(set_at))])
    rising = _settled_about(build.unit, np.concatenate([speeds, set_speed]), starts)
    apart = [_apart(np.concatenate([up, set_at]), *rising), _apart(down, *_fallen_about(build.unit, speeds))]
    return Checked(len(speeds), float(np.concatenate(apart).max()))


def _start(build: Build) -> float:
    """Where the rising curve of the bands begins [rad]: at what stays in at idle."""
    return next((r.falling for r in build.results if r.band.kind == "idle"), 0.0)


def _apart(told: Array, low: Array, high: Array) -> Array:
    """How far [rad] each advance lies outside its two ends."""
    return np.maximum(np.maximum(low - told, told - high), 0.0)


def _settled_about(unit: Unit, speed: Array, start: Array) -> Array:
    """`settled` a hair below and above each speed, (2, m) [rad]."""
    about = np.concatenate([speed * (1 - HAIR), speed * (1 + HAIR)])
    return settled(unit, about, np.concatenate([start, start])).reshape(2, -1)


def _fallen_about(unit: Unit, speed: Array) -> Array:
    """`fallen` a hair below and above each speed, (2, m) [rad]."""
    return fallen(unit, np.concatenate([speed * (1 - HAIR), speed * (1 + HAIR)])).reshape(2, -1)
