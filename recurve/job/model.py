"""What a job is once it has been read: the frozen types that everything above works with."""

from __future__ import annotations

from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from recurve.arrays import Array
from recurve.inspection.model import Inspection
from recurve.physics.curve import Drag, Installed, Stop, Unit
from recurve.physics.mechanism import Weights
from recurve.physics.posts import Posts
from recurve.physics.target import Target
from recurve.springs.spring import Catalogue, Spring


@dataclass(frozen=True)
class SpringPlace:
    """One of the two places for a spring: its posts, how far [m] the anchor may be bent in (≤ 0) and out
    (≥ 0), and the spring found there, None where it is not described."""

    posts: Posts
    travel: tuple[float, float]
    found: Spring | None


@dataclass(frozen=True)
class Sweep:
    """Readings of the unit as found, in distributor terms: `speed` [rad/s], `advance` [rad], `rising`
    (bool), `row` in the file, all (n,); `reading` [rad] and `speed_reading` [rad/s] their ± limits;
    `zeroed_at` [rad/s] where zero was taken, None if the weights were held home; `static_known` is false for
    readings at the crank whose static timing was not given."""

    file: str
    speed: Array
    advance: Array
    rising: Array
    row: Array
    reading: float
    speed_reading: float
    zeroed_at: float | None
    static_known: bool = True


@dataclass(frozen=True)
class Tolerances:
    """How far a finished build may be off the plan, as limits: `rate` [1] of a new spring's rate,
    `initial_tension` [N], `post` [m] of the length over the posts, `stop` [m] of the trim, `reading` [rad]."""

    rate: float
    initial_tension: float
    post: float
    stop: float
    reading: float


@dataclass(frozen=True, kw_only=True)
class JobHead:
    """What every job has, with or without weights. `trigger` is what was found, `trigger_fitted` what will be there;
    `speed_ratio` [1] crank revolutions per distributor revolution; `notes` what must be said aloud; `document` the
    TOML as read."""

    path: Path
    title: str
    unit: str
    date: str
    lobes: int
    breakers: int
    rotation: str
    speed_ratio: float
    trigger: str
    trigger_fitted: str = "points"
    target: Target | None
    sweep: Sweep | None
    inspection: Inspection = field(default_factory=Inspection)
    notes: tuple[str, ...]
    fingerprint: str
    document: dict[str, Any]

    @property
    def name(self) -> str:
        """The job's name: its file's, without the ending."""
        return self.path.stem


@dataclass(frozen=True, kw_only=True)
class Job(JobHead):
    """A job as read. `places`: primary, then the secondary if there is one. `limits` holds the ± [SI] of every
    quantity that has one, by its key; `points_drag` [N·m] is the rubbing block's drag with points, whether they were
    found or will be fitted."""

    weights: Weights
    stop: Stop
    drag: Drag
    places: tuple[SpringPlace, ...]
    catalogue: Catalogue | None
    limits: dict[str, float]
    build: Tolerances = Tolerances(0.0, 0.0, 0.0, 0.0, 0.0)
    points_drag: float = 0.0

    def as_found(self) -> Unit | None:
        """The unit with the springs found in it, None where not all of them are described."""
        springs = [p.found for p in self.places]
        if any(s is None for s in springs):
            return None
        installed = tuple(Installed(s, p.posts) for s, p in zip(springs, self.places, strict=True) if s is not None)
        return Unit(self.weights, installed, self.drag, self.stop.advance)


@dataclass(frozen=True, kw_only=True)
class BareJob(JobHead):
    """A job without weights, stop and springs: there is no curve to compute, all else is as in `Job`; `speed_ratio` [1]."""
