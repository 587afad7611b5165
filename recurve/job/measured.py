"""What a job tells with a ±: quantities as measured, from which the unit is made, and made again with one of them moved.

The fit takes its priors from these. Points are complex numbers [m] in the frame of `recurve.physics.mechanism`.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np

from recurve.physics.curve import Drag
from recurve.physics.mechanism import (
    CorrectedWeights,
    Link,
    RadialMotion,
    RadiusTable,
    ReferenceSlope,
    Slot,
    Weights,
)
from recurve.physics.reference import Reference
from recurve.units import Quantity


@dataclass(frozen=True)
class Frame:
    """How points lie in the working frame, which counts angles in the direction of rotation. The job's angles count from
    the first weight's `pivot` [m]; None where the motion does not tell it."""

    clockwise: bool
    pivot: complex | None

    @property
    def zero(self) -> float:
        """Where the job's angles begin [rad]."""
        return 0.0 if self.pivot is None else float(np.angle(self.pivot))


@dataclass(frozen=True)
class MeasuredPoint:
    """A point at rest. `flat`: x to the right and y up [m] from the shaft, seen from the rotor end; otherwise its distance
    [m] from the shaft or the pivot, and its angle [rad]."""

    coordinates: tuple[Quantity, Quantity]
    flat: bool

    def at(self, frame: Frame, centre: complex = 0j) -> complex:
        """The point in the working frame [m]; a distance counts from `centre` [m]."""
        first, second = (c.value for c in self.coordinates)
        if self.flat:
            return complex(first, -second if frame.clockwise else second)
        return centre + first * complex(np.exp(1j * (second + frame.zero)))

    def moved(self) -> Iterator[MeasuredPoint]:
        """The point with each coordinate that has a ± moved in turn, by its standard uncertainty."""
        first, second = self.coordinates
        for one in _moved(first):
            yield replace(self, coordinates=(one, second))
        for one in _moved(second):
            yield replace(self, coordinates=(first, one))


@dataclass(frozen=True)
class MeasuredDrive:
    """A weight that drives the cam by a pin in a slot, or by a link: its pivot, centre of gravity and pin, and, of a link,
    the cam's point."""

    points: tuple[MeasuredPoint, ...]
    clockwise: bool

    @property
    def frame(self) -> Frame:
        """The frame in which its points, and the posts, are given."""
        return Frame(self.clockwise, self.points[0].at(Frame(self.clockwise, None)))

    @property
    def motion(self) -> Slot | Link:
        """How the weight moves."""
        frame = self.frame
        assert frame.pivot is not None  # the first point
        cg, pin = (p.at(frame, frame.pivot) for p in self.points[1:3])
        if len(self.points) == 3:
            return Slot(frame.pivot, cg, pin)
        return Link(frame.pivot, cg, pin, self.points[3].at(frame))

    def moved(self) -> Iterator[MeasuredDrive]:
        """The drive with each coordinate that has a ± moved in turn, by its standard uncertainty."""
        for i, point in enumerate(self.points):
            for one in point.moved():
                yield replace(self, points=(*self.points[:i], one, *self.points[i + 1 :]))


@dataclass(frozen=True)
class MeasuredWeights:
    """`count` weights of `mass` [kg], None where it is not told, and how they move: by the points of their drive, by radii,
    or by a sweep with known springs, which is yet to be fitted. `correction`: a factor [1] on I′ at advances [rad], as an
    earlier sweep has shown it."""

    count: int
    mass: Quantity | None
    motion: MeasuredDrive | RadiusTable | Reference
    correction: tuple[tuple[float, ...], tuple[float, ...]] | None = None

    def weights(self, motion: RadialMotion | ReferenceSlope) -> Weights:
        """The weights, moving as the `motion` that was described or fitted."""
        mass = None if self.mass is None else self.mass.value
        if self.correction is None:
            return Weights(self.count, mass, motion)
        return CorrectedWeights(self.count, mass, motion, *self.correction)

    def moved(self) -> Iterator[Weights]:
        """The weights with each quantity that has a ± moved in turn, by its standard uncertainty; the rows of a table and
        a sweep bring uncertainties of their own and stay."""
        if isinstance(self.motion, Reference):
            return
        if self.mass is not None:
            for mass in _moved(self.mass):
                yield replace(self, mass=mass).weights(described(self.motion))
        if isinstance(self.motion, MeasuredDrive):
            for drive in self.motion.moved():
                yield self.weights(drive.motion)


def described(motion: MeasuredDrive | RadiusTable) -> Slot | Link | RadiusTable:
    """The motion as measured."""
    return motion.motion if isinstance(motion, MeasuredDrive) else motion


def _moved(given: Quantity) -> Iterator[Quantity]:
    """A quantity that has a ±, larger by its standard uncertainty."""
    if given.standard_uncertainty is not None:
        yield replace(given, value=given.value + given.standard_uncertainty)


@dataclass(frozen=True)
class MeasuredDrag:
    """What resists besides the springs: `rubbing_block` [N·m], None where it was not measured as a moment; `points` [N·m],
    the same with points, found or to be fitted, by whichever way the job tells it; `friction` [N·m] and `friction_share`
    [1]. What was not measured is assumed."""

    rubbing_block: Quantity | None
    points: Quantity
    friction: Quantity
    friction_share: Quantity

    def drag(self, trigger: str) -> Drag:
        """The drag with this trigger; an electronic one does not rub."""
        block = 0.0 if trigger == "electronic" else self.points.value
        return Drag(block, self.friction.value, self.friction_share.value)


@dataclass(frozen=True)
class MeasuredSpring:
    """A spring as found: `rate` [N/m], and `free_length` [m] or `takeup` [rad]; None what was not measured."""

    rate: Quantity | None
    free_length: Quantity | None
    takeup: Quantity | None


@dataclass(frozen=True)
class Measured:
    """The unit as measured: its weights, the `stop` [rad], the drag, and its springs, primary first."""

    weights: MeasuredWeights
    stop: Quantity
    drag: MeasuredDrag
    springs: tuple[MeasuredSpring, ...]
