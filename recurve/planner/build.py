"""A unit as it will be: chosen springs on bent posts, a stop, and the exact curve that follows.

Every reported number of a build is also checked against the minimum-energy solution, which shares no equation with the
curve.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from recurve.arrays import Array
from recurve.job.model import Job
from recurve.physics.curve import Installed, Trace, Unit, trace_and_residual
from recurve.physics.energy import fallen, settled
from recurve.physics.posts import Posts
from recurve.physics.target import BandResult, judge, worst
from recurve.springs.spring import Spring

CHECK_ADVANCE = np.radians(1.0)  # setting points: 1° in, and 1° below maximum; common practice, no source
CHECK_SPEEDS = 40  # speeds at which the energy is minimised, besides those of the bands and the setting points
AGREE = np.radians(0.01)  # a tenth of what a degree wheel shows
# On a plateau the advance jumps at one speed: an advance found this relative distance to either side agrees too.
HAIR = 1e-5


@dataclass(frozen=True)
class Fitted:
    """A chosen spring in its place: `bend` [m] of the anchor post from where it was found, `length` [m] over the posts
    at rest, `takeup` [rad] (None if it never pulls), `pull` [N] at rest."""

    spring: Spring
    posts: Posts
    bend: float
    length: float
    takeup: float | None
    pull: float

    @classmethod
    def of(cls, installed: Installed, takeup: float | None) -> Fitted:
        """An installed spring that takes up at `takeup` [rad]."""
        length, s = float(installed.length(0.0)[0]), installed.spring
        pull = s.initial_tension + s.rate * (length - s.free_length) if length >= s.free_length else 0.0
        return cls(s, installed.posts, installed.bend, length, takeup, pull)


@dataclass(frozen=True)
class Build:
    """The unit as it will be: springs in their places, stop [rad] and its trim [m], the exact curve, the result of
    every band and the worst margin [1].

    `settings` [rad/s] are the rising speeds at which 1° is in, and 1° is missing from the maximum; None if there is no
    such speed, or no second spring. `residual` [rad] is what stays in at idle, with the rubbing block's drag and
    without.
    """

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
    """The unit with these springs, anchor bends [m] and stop [rad], judged by the exact curve on `points` advances.

    The job must have a target with a band at a speed.
    """
    assert job.target is not None  # `problem_of` requires it
    installed = tuple(Installed(s, p.posts, b) for s, p, b in zip(springs, job.places, bends, strict=True))
    unit = Unit(job.weights, installed, job.drag, stop)
    curve, residual = trace_and_residual(unit, job.idle_speed, points)
    results = judge(job.target, curve)
    second = curve.rising_speed(stop - CHECK_ADVANCE) if len(installed) > 1 and stop > CHECK_ADVANCE else None
    trim = job.stop.trim(stop)
    return Build(
        springs=tuple(Fitted.of(i, t) for i, t in zip(installed, curve.takeups, strict=True)),
        stop=stop,
        trim=0.0 if abs(trim) < 1e-9 else trim,
        unit=unit,
        curve=curve,
        results=results,
        margin=worst(results),
        settings=(curve.rising_speed(CHECK_ADVANCE), second),
        residual=residual,
    )


def with_stop(build: Build, job: Job, stop: float) -> Build:
    """The same springs and posts with another stop [rad]."""
    return make_build(job, tuple(s.spring for s in build.springs), tuple(s.bend for s in build.springs), stop)


@dataclass(frozen=True)
class Checked:
    """How a build compares with the minimum-energy solution: the number of `speeds` compared, rising and falling, and
    the `largest` difference [rad]."""

    speeds: int
    largest: float

    @property
    def agrees(self) -> bool:
        """Whether the two agree within 0.01° (distributor)."""
        return bool(self.largest <= AGREE)


def check_build(build: Build) -> Checked:
    """Check every reported number (bands, setting speeds, the curve between) against the minimum-energy solution."""
    # The rising curve of the bands begins at what stays in at idle.
    start = next((r.falling for r in build.results if r.band.kind == "idle"), 0.0)
    top = 1.1 * max([build.curve.all_in or 0.0, *(r.band.speed or 0.0 for r in build.results)])
    between = np.linspace(0.0, top, CHECK_SPEEDS + 1)[1:]
    bands = [(r.band.speed, r.rising, r.falling) for r in build.results if r.band.speed is not None]
    speeds, up, down = (np.array(x) for x in zip(*bands, strict=True))
    speeds = np.concatenate([speeds, between])
    up = np.concatenate([up, build.curve.rising_advance(between, start)])
    down = np.concatenate([down, build.curve.falling_advance(between)])
    points = zip((CHECK_ADVANCE, build.stop - CHECK_ADVANCE), build.settings, strict=True)
    set_at, set_speed = np.array([(a, s) for a, s in points if s is not None]).reshape(-1, 2).T
    starts = np.concatenate([np.full(len(speeds), start), np.zeros(len(set_at))])

    def around(speed: Array) -> Array:
        return np.concatenate([speed * (1 - HAIR), speed * (1 + HAIR)])

    def apart(reported: Array, about: Array) -> Array:
        low, high = about.reshape(2, -1)
        return np.maximum(np.maximum(low - reported, reported - high), 0.0)

    rising = settled(build.unit, around(np.concatenate([speeds, set_speed])), np.tile(starts, 2))
    falling = fallen(build.unit, around(speeds))
    differences = np.concatenate([apart(np.concatenate([up, set_at]), rising), apart(down, falling)])
    return Checked(len(speeds), float(differences.max()))
