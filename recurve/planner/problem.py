"""What a plan is given: the planning problem of a job, and the bounds within which ideal springs are sought."""

from __future__ import annotations

from dataclasses import dataclass

from recurve.data import ranges
from recurve.errors import InputError
from recurve.job.model import Job
from recurve.physics.curve import Drag, InertiaSlope
from recurve.physics.posts import Posts
from recurve.physics.target import Target
from recurve.units import PLACES, factor


@dataclass(frozen=True)
class Problem:
    """What is fixed while springs are sought: the mechanism, the posts of each place and how far they may be bent
    (`travel` [m], in ≤ 0 and out ≥ 0), the target, and the smallest and largest stop [rad] that may be used."""

    weights: InertiaSlope
    drag: Drag
    posts: tuple[Posts, ...]
    travel: tuple[tuple[float, float], ...]
    target: Target
    stops: tuple[float, float]


@dataclass(frozen=True)
class SpringBounds:
    """Bounds on ideal springs: rates [N/m] of each place, pull at rest [N], and the most slack [m] of the secondary.

    `tension` [N] is the most initial tension of a secondary that takes up late; None: as much as the pull at rest.
    """

    rates: tuple[tuple[float, float], ...]
    pull: tuple[float, float]
    slack: float
    tension: float | None = None


def problem_of(job: Job) -> Problem:
    """The planning problem of a job, with every stop that trim can give.

    Raises InputError if the job has no target with a band at a speed.
    """
    if job.target is None or not job.target.timed:
        raise InputError(f"{job.path}: target: missing, expected bands to plan for, at least one of them at a speed")
    return Problem(
        weights=job.weights,
        drag=job.drag,
        posts=tuple(p.posts for p in job.places),
        travel=tuple(p.travel for p in job.places),
        target=job.target,
        stops=job.stop.limits,
    )


def spring_bounds(job: Job) -> SpringBounds:
    """The usual ranges of the trade, from `data/ranges.toml`, for the places of this job."""
    table = ranges()["range"]
    rates = []
    for place in PLACES[: len(job.places)]:
        entry = table[f"{place}_rate"]
        unit = factor(entry["unit"], "rate")
        rates.append((entry["low"] * unit, entry["high"] * unit))
    pull, slack = table["preload"], table["slack"]
    return SpringBounds(tuple(rates), (pull["low"], pull["high"]), slack["high"] * factor(slack["unit"], "length"))
