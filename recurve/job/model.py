"""What a job is once it has been read: the frozen types that everything above works with."""

from __future__ import annotations

from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, Any

from recurve.errors import Fault
from recurve.inspection.model import Inspection
from recurve.job.learned import UnitType
from recurve.job.measured import Measured
from recurve.physics.curve import Drag, Installed, Stop, Unit
from recurve.physics.mechanism import Weights
from recurve.physics.posts import Posts
from recurve.physics.reference_slips import ReferenceDoubt
from recurve.physics.sweep import Sweep
from recurve.physics.target import Target
from recurve.springs.spring import Catalogue, Spring
from recurve.units import RPM, Quantity

if TYPE_CHECKING:
    from recurve.job.schema import BareModel, JobModel

MOST_IDLE = 600 / RPM  # rad/s of the distributor; no engine idles faster; common practice, no source
IDLE = 300 / RPM  # rad/s of the distributor, where nothing tells the idle speed; common practice, no source


@dataclass(frozen=True)
class SpringPlace:
    """One of the two places for a spring: its posts, how far [m] the anchor may be bent in (≤ 0) and out
    (≥ 0), and the spring found there, None where it is not described."""

    posts: Posts
    travel: tuple[float, float]
    found: Spring | None


@dataclass(frozen=True)
class FileBasis:
    """What the figures of a sweep's file count in: crank turns a distributor turn [1] of its speeds and of its advances, and
    the `static` [rad] in them; `reading` [rad] and `speed_reading` [rad/s], their half-widths, in the file's terms."""

    speed_ratio: float
    advance_ratio: float
    static: float
    reading: float
    speed_reading: float

    def advance(self, distributor: float) -> float:
        """A distributor advance [rad] as it is read."""
        return distributor * self.advance_ratio + self.static


@dataclass(frozen=True)
class Tolerances:
    """How far a finished build may be off the plan, as half-widths: `rate` [1] of a new spring's rate,
    `initial_tension` [N], `post` [m] of the length over the posts, `stop` [m] of the trim, `reading` [rad]."""

    rate: float
    initial_tension: float
    post: float
    stop: float
    reading: float


@dataclass(frozen=True, kw_only=True)
class JobHead:
    """What every job has, with or without weights. `trigger` is what was found, `trigger_fitted` what will be there;
    `speed_ratio` [1] crank revolutions per distributor revolution; `notes` what must be said aloud, and of them
    `doubts`, what is probably a slip, above any verdict; `digests` of the files that it is told by, by what they are;
    `model` the file as validated, `document` as read, for the plan file
    alone; `kind` the type of unit that the job takes from, None without one."""

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
    doubts: tuple[str, ...] = ()
    fingerprint: str
    digests: dict[str, str] = field(default_factory=dict)
    model: BareModel
    document: dict[str, Any]
    kind: UnitType | None = None

    @property
    def name(self) -> str:
        """The job's name: its file's, without the ending."""
        return self.path.stem

    @property
    def idle_speed(self) -> float:
        """Idle speed [rad/s]: the target's, else the lowest swept, else the lowest at which the target asks something,
        else 300 rpm. A sweep that begins where no engine idles tells none."""
        if self.target is not None and self.target.idle_speed is not None:
            return self.target.idle_speed
        if self.sweep is not None and self.sweep.speed.min() <= MOST_IDLE:
            return float(self.sweep.speed.min())
        asked = [] if self.target is None else [b.speed for b in self.target.timed if b.speed is not None]
        if self.sweep is not None:
            asked = [s for s in asked if s <= MOST_IDLE]
        return min(asked, default=IDLE)

    @property
    def target_static(self) -> float | None:
        """The static timing [rad crank] that the target's figures include; None where it is not told."""
        target = self.model.target
        return None if target is None or target.static is None else target.static.value

    @property
    def known_static(self) -> float | None:
        """The static timing [rad crank] that [timing] or else the target gives; None where neither does."""
        timing = self.inspection.timing
        return self.target_static if timing is None or timing.static is None else timing.static

    @property
    def target_total(self) -> float | None:
        """The total timing [rad crank] that the target asks, static included; None where it is not told."""
        target = self.model.target
        return None if target is None or target.total is None else target.total.value

    @property
    def engine_target(self) -> bool:
        """Whether the target is told by what the engine wants, static timing included."""
        target = self.model.target
        return target is not None and (target.total is not None or bool(target.timing))


@dataclass(frozen=True, kw_only=True)
class Job(JobHead):
    """A job as read. `places`: primary, then the secondary if there is one. `measured` is the unit as it was measured,
    each quantity with its ±; `weights`, `stop`, `drag` and `places` are computed with, and become what a sweep shows.
    `doubt`: what speaks against the reference sweep that told I′."""

    weights: Weights
    stop: Stop
    drag: Drag
    places: tuple[SpringPlace, ...]
    catalogue: Catalogue | None
    build: Tolerances
    measured: Measured
    model: JobModel
    doubt: ReferenceDoubt | None = None

    def as_found(self) -> Unit | None:
        """The unit with the springs found in it, None where not all of them are described."""
        springs = [p.found for p in self.places]
        if any(s is None for s in springs):
            return None
        installed = tuple(Installed(s, p.posts) for s, p in zip(springs, self.places, strict=True) if s is not None)
        return Unit(self.weights, installed, self.drag, self.stop.advance)


@dataclass(frozen=True, kw_only=True)
class BareJob(JobHead):
    """A job without all of its weights, stop and springs: there is no curve to compute, all else is as in `Job`;
    `speed_ratio` [1]. `stop` [rad] is the largest advance by a degree wheel, None if it was not measured; `lacking` what a
    curve would need besides, each with its key."""

    stop: Quantity | None = None
    lacking: tuple[Fault, ...] = ()
