"""What a drawing needs: the points of a unit at rest and at full advance, as seen from the rotor end.

A picture is made from a job, also from one that the model rejects as long as its points can be read, since that is when
a drawing helps most. Places are complex numbers [m], x to the right and y up.
"""

from __future__ import annotations

import hashlib
import re
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Literal

import numpy as np

from recurve.errors import InputError
from recurve.job import schema_unit as u
from recurve.job.build import build_motion, build_places, build_stop, mounting_of
from recurve.job.inputs import fingerprint_of
from recurve.job.measured import described
from recurve.job.model import Job, SpringPlace
from recurve.job.parts import UnitPart, read_unit_part
from recurve.job.read import build_parts, read_files
from recurve.job.schema import JobModel
from recurve.physics.curve import Stop
from recurve.physics.mechanism import Link, Motion, RadiusTable, ReferenceSlope, Slot, UntoldMotion
from recurve.physics.posts import Body, BodyPoint, PointPosts, takeup_advance
from recurve.physics.reference import Reference
from recurve.springs.spring import tension
from recurve.units import PLACES

Pair = tuple[complex, complex]
Role = Literal["pivot", "cg", "pin", "cam", "anchor", "far"]
NAMES: dict[Role, str] = {"pivot": "pivot", "cg": "centre of gravity", "pin": "pin", "cam": "cam point"}


@dataclass(frozen=True)
class Mark:
    """A point of the unit: its `key` in the job, its `role`, the `body` that carries it, its name and given figures as the
    drawing shows them, and its places at rest and at full advance [m]."""

    key: str
    role: Role
    body: Body
    name: str
    given: str
    at: Pair


@dataclass(frozen=True)
class DrawnSpring:
    """A spring: the marks of its two posts, None if only a table of lengths is given; `length` [m] over the posts at rest
    and at full advance; `free` length [m], `pull` [N] at both and `takeup` [rad], None if not described."""

    name: str
    anchor: Mark | None
    far: Mark | None
    diameter: float
    length: tuple[float, float]
    free: float | None
    pull: tuple[float, float] | None
    takeup: float | None

    @property
    def shortens(self) -> bool:
        """Whether it is shorter at full advance than at rest, so that it would drive the advance instead of resisting it."""
        return self.length[1] < self.length[0]


@dataclass(frozen=True)
class Picture:
    """A unit to be drawn.

    `weight`: the marks of the first weight; the others are spaced evenly round the shaft. `radius` [m]: of the centre of
    gravity at rest and at full advance. `advance` [rad]: that of the stop, or less if the drive binds before. `faults`:
    why the model rejects the unit; the paths in them begin with `folder`.
    """

    title: str
    unit: str
    fingerprint: str
    clockwise: bool
    count: int
    kind: str
    weight: tuple[Mark, ...]
    radius: tuple[float, float] | None
    stop: Stop
    stop_radius: float | None
    advance: float
    binds: bool
    springs: tuple[DrawnSpring, ...]
    faults: tuple[str, ...] = ()
    folder: str = ""

    @property
    def posts(self) -> tuple[Mark, ...]:
        """The posts whose places are given."""
        return tuple(p for s in self.springs for p in (s.anchor, s.far) if p is not None)

    @property
    def marks(self) -> tuple[Mark, ...]:
        """All points whose places are given."""
        return (*self.weight, *self.posts)


def picture_of(job: Job) -> Picture:
    """The picture of a job."""
    return _picture(job.model, job.weights.motion, job.places, job.stop, job.fingerprint)


def read_picture(path: str | Path) -> Picture:
    """The picture of a job file, with the faults for which the model rejects the unit, if any.

    A reference sweep is not fitted for it. Raises InputError if the file, or the points in it, cannot be read.
    """
    try:
        files = read_files(path)
        parts = build_parts(files)
        moving = parts.measured.weights.motion
        motion = UntoldMotion() if isinstance(moving, Reference | ReferenceSlope) else described(moving)
        return _picture(files.model, motion, parts.places, parts.stop, fingerprint_of(files.path, files.model))
    except InputError as refused:
        found = _readable(Path(path), refused)
        if found is None:
            raise
        return found


def _readable(path: Path, refused: InputError) -> Picture | None:
    """The picture of a job with faults; None if they are in what must be drawn."""
    try:
        content = path.read_bytes()
    except OSError:
        return None
    part = read_unit_part(path, content)
    if part is None:
        return None
    given, rotation = part.weights.motion, part.distributor.rotation
    moving = (
        None
        if isinstance(given, u.ReferenceMotion | u.SlopeMotion)
        else build_motion(given, rotation, part.stop.advance, [])
    )
    on, stop = mounting_of(part.weights, rotation, moving), build_stop(part.stop, [])
    places = build_places(part.springs, on, stop.advance, [], [])
    fingerprint = hashlib.sha256(content).hexdigest()[:12]
    return _picture(part, on.motion, places, stop, fingerprint, (refused.faults, f"{path.parent}/"))


def _picture(
    given: UnitPart | JobModel,
    motion: Motion,
    places: tuple[SpringPlace, ...],
    stop: Stop,
    fingerprint: str,
    refused: tuple[tuple[str, ...], str] = ((), ""),
) -> Picture:
    view = _View(given, motion)
    advance = view.last(stop.advance)
    radius = None
    if isinstance(motion, Slot | Link | RadiusTable):
        radius = _two(motion.radius(np.array([0.0, advance]))[0])
    return Picture(
        title=given.title,
        unit=given.unit or "",
        fingerprint=fingerprint,
        clockwise=view.clockwise,
        count=given.weights.count,
        kind=given.weights.motion.kind,
        weight=view.weight(advance),
        radius=radius,
        stop=stop,
        stop_radius=1.0 / stop.per_mm if given.stop.radius is not None else None,
        advance=advance,
        binds=advance < stop.advance,
        springs=tuple(view.spring(n, p, advance) for n, p in zip(PLACES, places, strict=False)),
        faults=refused[0],
        folder=refused[1],
    )


@dataclass(frozen=True)
class _View:
    """Places of a job's points at rest and at an advance, as seen from the rotor end."""

    given: UnitPart | JobModel
    motion: Motion

    @property
    def clockwise(self) -> bool:
        return self.given.distributor.rotation == "clockwise"

    def seen(self, place: complex) -> complex:
        """A place [m] from the working frame, in which angles count in the direction of rotation."""
        return place.conjugate() if self.clockwise else place

    def last(self, stop: float) -> float:
        """The largest advance [rad], up to that of the stop, that the drive can reach."""
        grid = np.linspace(0.0, stop, 241)
        with np.errstate(all="ignore"):
            swing = self.motion.swing(grid)
        if swing is None:
            return stop
        free = np.isfinite(swing[0])
        return float(grid[max(int(np.argmin(free)) - 1, 0)]) if not free.all() else stop

    def weight(self, advance: float) -> tuple[Mark, ...]:
        """The marks of the first weight: pivot, centre of gravity, and what drives the cam, at rest and at `advance` [rad]."""
        motion, given = self.motion, self.given.weights.motion
        if not isinstance(motion, Slot | Link) or not isinstance(given, u.SlotMotion | u.LinkMotion):
            return ()
        with np.errstate(all="ignore"):
            turn = complex(np.exp(1j * np.nan_to_num(float(motion.swing(advance)[0]))))
        places: dict[Role, Pair] = {
            "pivot": (motion.pivot, motion.pivot),
            "cg": (motion.cg, motion.pivot + (motion.cg - motion.pivot) * turn),
            "pin": (motion.pin, motion.pivot + (motion.pin - motion.pivot) * turn),
        }
        names = NAMES
        points: dict[Role, u.Place] = {"pivot": given.pivot, "cg": given.cg, "pin": given.pin}
        if isinstance(motion, Link) and isinstance(given, u.LinkMotion):
            points["cam"] = given.cam
            places["cam"] = (motion.cam, motion.cam * complex(np.exp(1j * advance)))
            names = NAMES | {"pin": "link on weight"}
        bodies: dict[Role, Body] = {"pivot": "base", "cam": "cam"}
        return tuple(
            Mark(
                f"weights.motion.{role}", role, bodies.get(role, 1), names[role], given_words(points[role]),
                (self.seen(rest), self.seen(full)),
            )
            for role, (rest, full) in places.items()
        )  # fmt: skip

    def spring(self, name: str, place: SpringPlace, advance: float) -> DrawnSpring:
        """A spring on its posts, with its pull if the job describes it; `advance` [rad] the largest."""
        posts, found = place.posts, place.found
        length = _two(posts.length(np.array([0.0, advance]))[0])
        given = self.given.springs.primary if name == "primary" else self.given.springs.secondary
        assert given is not None  # the place is built from it
        anchor = far = None
        if isinstance(posts, PointPosts) and isinstance(given.posts, u.PointPosts):
            anchor = self._end(name, "anchor", given.posts.anchor, (posts, posts.anchor), advance)
            far = self._end(name, "far", given.posts.far, (posts, posts.far), advance)
        takeup = None
        if found is not None and length[0] < found.free_length:
            takeup = takeup_advance(posts, found.free_length, advance)
        pull = None
        if found is not None:
            over = np.asarray(length)
            pull = _two(tension(over, found.rate, found.free_length, found.initial_tension, over > found.free_length))
        told = None if given.free_length is None else given.free_length.value
        free = told if found is None else found.free_length
        diameter = posts.diameter if isinstance(posts, PointPosts) else 0.0
        return DrawnSpring(name, anchor, far, diameter, length, free, pull, takeup)

    def _end(self, name: str, end: Role, given: u.PostEnd, on: tuple[PointPosts, BodyPoint], advance: float) -> Mark:
        posts, point = on
        with np.errstate(all="ignore"):
            at = [complex(posts.place(point.body, point.position, np.asarray(a))[0]) for a in (0.0, advance)]
        rest, full = (self.seen(p if np.isfinite(p) else point.position) for p in at)
        words = f"{given_words(given)}, on {given.on}"
        return Mark(f"springs.{name}.posts.{end}", end, point.body, f"{name} {end} post", words, (rest, full))


def _two(values: Any) -> tuple[float, float]:
    return float(values[0]), float(values[1])


def given_words(given: u.Place) -> str:
    """The figures of a point as the job gives them, without their ±: "12.6 mm, 76°", or "x 18.1, y −20.3 mm"."""
    if given.xy is not None:
        x, y = (bare(one.written) for one in given.xy)
        unit = y.rpartition(" ")[2]
        return f"x {x.removesuffix(f' {unit}')}, y {y}"  # one unit said once
    return ", ".join(bare(one.written) for one in given.polar or () if one.written)


def bare(quantity: str) -> str:
    """A quantity without its ±, with a degree sign and a true minus."""
    text = re.sub(r"\s*(?:±|\+/-|\+-)\s*[\d.]+(?:e[+-]?\d+)?(\s*%)?", "", quantity).strip()
    return re.sub(r"\s*(?:degrees?|deg)$", "°", text).replace("-", "−")
