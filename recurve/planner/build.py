"""A unit as it will be: chosen springs on bent posts, a stop, and the exact curve that follows."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from recurve.curve import Installed, Trace, Unit, trace_and_residual
from recurve.errors import InputError
from recurve.ideal import Limits
from recurve.job import Job
from recurve.jobbuild import ranges
from recurve.linear import Problem
from recurve.posts import Posts
from recurve.springs import Spring
from recurve.target import BandResult, judge, worst
from recurve.units import factor

CHECK_ADVANCE = np.radians(1.0)  # the bench's setting points, 1° in and 1° below maximum (trade)


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
