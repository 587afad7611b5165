"""A planner by brute force: a grid over posts and stop, then differential evolution, on the forward curve.

It shares with the package only what the curve itself is made of, r(α) and L(α); torque, both branches,
bands, margins, quantities and snaps are written here again, and nothing is linear. What it answers is
judged once more by `recurve.curve.trace`, so that its margin is one of the exact model.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import product

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import differential_evolution, minimize

from recurve.job.model import Job
from recurve.physics.curve import Installed, Trace, Unit, trace
from recurve.physics.target import Target
from recurve.springs.spring import Spring

Array = NDArray[np.float64]
ADVANCES = 121  # of the grid in the forward curve
BENDS = 13  # of each post in the first grid
STOPS = 25  # in the first grid
HOPELESS = -1e3


@dataclass(frozen=True)
class Best:
    """The best that was found: springs, bends [m], stop [rad] and the margin of the exact curve."""

    springs: tuple[Spring, ...]
    bends: tuple[float, ...]
    stop: float
    margin: float


def shelf_of(job: Job) -> list[Spring]:
    """What can be fitted: the catalogue and the springs found in the unit."""
    bought = [] if job.catalogue is None else list(job.catalogue.springs)
    return [s for s in bought + [p.found for p in job.places if p.found] if s.quantity is None or s.quantity >= 1]


def choices(job: Job) -> list[tuple[Spring, ...]]:
    """Every ordered choice of springs, one physical spring never in both places."""
    shelf = shelf_of(job)
    if len(job.places) == 1:
        return [(s,) for s in shelf]
    indices = product(range(len(shelf)), repeat=2)
    return [(shelf[i], shelf[j]) for i, j in indices if i != j or shelf[i].quantity is None or shelf[i].quantity > 1]


def brute_plan(job: Job, pairs: int = 4, seed: int = 1) -> Best | None:
    """The best over all choices of springs; the `pairs` most promising of the grid are looked at closely."""
    seen = [(_grid_best(job, springs), springs) for springs in choices(job)]
    hopeful = sorted((x for x in seen if x[0][0] > HOPELESS), key=lambda x: -x[0][0])[:pairs]
    refined = [_refined(job, springs, start, seed) for (_, start), springs in hopeful]
    found = [x for x in refined if x is not None]
    return max(found, key=lambda x: x.margin) if found else None


def brute_pair(job: Job, springs: tuple[Spring, ...], seed: int = 1) -> Best | None:
    """The best setting of one choice of springs, in the order of the places."""
    margin, start = _grid_best(job, springs)
    return _refined(job, springs, start, seed) if margin > HOPELESS else None


def bounds(job: Job, springs: tuple[Spring, ...]) -> list[tuple[float, float]] | None:
    """Ranges of the bends [m], the primary's such that it pulls from rest; None where it cannot."""
    ranges = [p.travel for p in job.places]
    rest = float(job.places[0].posts.length(0.0)[0])
    least = max(ranges[0][0], springs[0].free_length - rest)
    if least > ranges[0][1]:
        return None
    return [(least, ranges[0][1]), *ranges[1:]]


def _grid_best(job: Job, springs: tuple[Spring, ...]) -> tuple[float, Array]:
    ranges = bounds(job, springs)
    if ranges is None:
        return HOPELESS, np.zeros(0)
    axes = [np.linspace(*r, BENDS) for r in ranges] + [np.linspace(*job.stop.limits, STOPS)]
    points = np.stack([x.ravel() for x in np.meshgrid(*axes, indexing="ij")])
    margin = margins(job, springs, points)
    best = int(np.argmax(margin))
    return float(margin[best]), points[:, best]


def _refined(job: Job, springs: tuple[Spring, ...], start: Array, seed: int) -> Best | None:
    """Differential evolution, then a simplex on the exact curve; every number as a share of its range."""
    ranges = bounds(job, springs)
    assert ranges is not None  # the grid had it
    low, high = np.array([*ranges, job.stop.limits]).T
    width = high - low
    share = np.clip((start - low) / np.where(width > 0, width, 1.0), 0.0, 1.0)
    found = differential_evolution(
        lambda y: -margins(job, springs, low[:, None] + width[:, None] * y.reshape(len(low), -1)),
        [(0.0, 1.0)] * len(low),
        x0=share,
        popsize=12,
        maxiter=45,
        tol=1e-6,
        polish=False,
        vectorized=True,
        updating="deferred",
        rng=seed,
    )

    def judged(y: Array, points: int = 2001) -> Best:
        return _exact(job, springs, low + width * np.clip(y, 0.0, 1.0), points)

    at = max((found.x, share), key=lambda y: judged(y).margin)
    options = {"maxfev": 90, "initial_simplex": _simplex(at)}
    simplex = minimize(lambda y: -judged(y, 201).margin, at, method="Nelder-Mead", options=options)
    best = max((judged(at), judged(simplex.x)), key=lambda b: b.margin)
    return best if best.margin > HOPELESS else None


def _simplex(at: Array) -> Array:
    return np.concatenate([[at], at + 0.02 * np.where(at > 0.5, -1.0, 1.0)[:, None] * np.eye(len(at))])


def _exact(job: Job, springs: tuple[Spring, ...], x: Array, points: int = 2001) -> Best:
    """Bends and stop judged by the exact curve."""
    bends = tuple(float(b) for b in x[:-1])
    curve = exact_curve(job, springs, bends, float(x[-1]), points)
    margin = HOPELESS if curve.snaps else exact_margin(job.target, curve)
    return Best(springs, bends, float(x[-1]), margin)


def exact_curve(job: Job, springs: tuple[Spring, ...], bends: tuple[float, ...], stop: float, points: int) -> Trace:
    """The forward curve of springs on the job's posts."""
    installed = tuple(Installed(s, p.posts, b) for s, p, b in zip(springs, job.places, bends, strict=True))
    return trace(Unit(job.weights, installed, job.drag, stop), points)


def exact_margin(target: Target | None, curve: Trace) -> float:
    """The worst margin over bands and directions of a curve, the rising one starting at what stays in at idle."""
    assert target is not None
    timed = [b for b in target.bands if b.speed is not None]
    speeds = np.array([b.speed for b in timed], float)
    idle = [b.speed for b in timed if b.kind == "idle"]
    residual = float(curve.falling_advance(idle[0])) if idle else 0.0
    worst = np.inf
    for got in (curve.rising_advance(speeds, residual), curve.falling_advance(speeds)):
        for band, advance in zip(timed, got, strict=True):
            worst = min(worst, float(band_margin(band.low, band.high, advance)))
    for band in target.bands:
        if band.speed is None:
            worst = min(worst, float(band_margin(band.low, band.high, curve.stop)))
    return worst


def band_margin(low: float, high: float, advance: Array | float) -> Array:
    """1 in the middle of a band, 0 on its edges, straight between and outside; from zero 1 at 0 and 0 at the top."""
    if low <= 0:
        return (high - np.asarray(advance)) / high
    half = (high - low) / 2
    return np.minimum(np.asarray(advance) - low, high - np.asarray(advance)) / half


def margins(job: Job, springs: tuple[Spring, ...], points: Array) -> Array:
    """Margin of each (bends…, stop) in the columns of `points` (d, n) on a coarse curve; hopeless where it snaps."""
    assert job.target is not None
    alpha = np.linspace(0.0, job.stop.limits[1], ADVANCES)
    bends, which = np.unique(points[:-1], axis=1, return_inverse=True)
    rising, falling = _branches(job, springs, alpha, bends)
    smooth = np.maximum.accumulate(rising, axis=1) <= rising + 1e-9 * rising.max(axis=1, keepdims=True)
    snap = np.where(smooth.all(axis=1), np.inf, alpha[np.argmin(smooth, axis=1)])
    stop, which = points[-1], which.ravel()
    worst = np.where(snap[which] < stop, HOPELESS, np.inf)
    speeds = [b.speed for b in job.target.bands if b.kind == "idle"]
    residual = _advance_at(falling, alpha, speeds[0], low=True)[which] if speeds else np.zeros(len(stop))
    for band in job.target.bands:
        if band.speed is None:
            worst = np.minimum(worst, band_margin(band.low, band.high, stop))
            continue
        up = np.maximum(_advance_at(rising, alpha, band.speed)[which], residual)
        down = _advance_at(falling, alpha, band.speed, low=True)[which]
        for got in (up, down):
            worst = np.minimum(worst, band_margin(band.low, band.high, np.minimum(got, stop)))
    return worst


def _branches(job: Job, springs: tuple[Spring, ...], alpha: Array, bends: Array) -> tuple[Array, Array]:
    """ω² rising and falling [rad²/s²], (n, advances), for bends (places, n) [m]."""
    torque = np.zeros((bends.shape[1], len(alpha)))
    for spring, place, bend in zip(springs, job.places, bends, strict=True):
        length, slope = place.posts.length(alpha[None, :], bend[:, None])
        stretch = length - spring.free_length
        pull = np.where(stretch >= -1e-12, spring.initial_tension + spring.rate * np.maximum(stretch, 0.0), 0.0)
        torque += pull * slope
    half = 0.5 * job.weights.inertia_slope(alpha)
    d = job.drag
    up = (torque + d.rubbing_block + d.friction) / ((1 - d.friction_share) * half)
    down = (torque + d.rubbing_block - d.friction) / ((1 + d.friction_share) * half)
    return up, down


def _advance_at(squared: Array, alpha: Array, speed: float, low: bool = False) -> Array:
    """Where each row of ω² passes speed², (n,): the running maximum, or with `low` the running minimum from the right."""
    onward = np.minimum.accumulate(squared[:, ::-1], axis=1)[:, ::-1] if low else None
    monotone = np.maximum.accumulate(squared, axis=1) if onward is None else onward
    level = speed**2
    count = (monotone <= level).sum(axis=1)
    left, right = np.clip(count - 1, 0, len(alpha) - 1), np.clip(count, 0, len(alpha) - 1)
    rows = np.arange(len(squared))
    a, b = monotone[rows, left], monotone[rows, right]
    share = np.where(b > a, (level - a) / np.where(b > a, b - a, 1.0), 0.0)
    at = alpha[left] + np.clip(share, 0.0, 1.0) * (alpha[right] - alpha[left])
    return np.where(count == 0, 0.0, at)
