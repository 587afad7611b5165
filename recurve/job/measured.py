"""What a job tells with a ±: quantities as measured, from which the unit is made, and made again with one of them moved.

The fit takes its priors from these. Points are complex numbers [m] in the frame of `recurve.physics.mechanism`.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np

from recurve.data import default
from recurve.errors import InputError
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
from recurve.physics.posts import Posts
from recurve.physics.reference import Reference
from recurve.springs.spring import Spring
from recurve.springs.weighing import Hung, Weighed, weigh
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
    motion: MeasuredDrive | RadiusTable | Reference | ReferenceSlope
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
        if isinstance(self.motion, Reference | ReferenceSlope):
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
    """A spring as found: `rate` [N/m], `free_length` [m] inside the hooks, `takeup` [rad], `initial_tension` [N] and
    `pull_at_rest` [N]; weights `hung` on it; whether it hangs `slack` at rest, None where that was not looked at; and
    `over_posts` [m], the calliper over its posts at rest. None what was not measured."""

    rate: Quantity | None = None
    free_length: Quantity | None = None
    takeup: Quantity | None = None
    initial_tension: Quantity | None = None
    pull_at_rest: Quantity | None = None
    hung: Hung | None = None
    slack: bool | None = None
    over_posts: Quantity | None = None

    @property
    def weighed(self) -> Weighed | None:
        """Rate and initial tension by the weights hung on it; None without two that draw it to different lengths."""
        if self.hung is None or len(self.hung.pull) < 2:
            return None
        free = self.free_length
        closed = (
            None
            if free is None
            else replace(free, half_width=free.half_width or default("weighing", "length", "length"))
        )
        try:
            return weigh(self.hung, closed)
        except InputError:
            return None

    def spring(self, identity: str, posts: Posts) -> Spring | None:
        """The spring on its `posts`, as far as it is known without a sweep: by its rate, or the weights hung on it, and by the
        most direct of what tells where it begins to pull. None where one of the two is not known."""
        weighed = self.weighed
        rate = self.rate.value if self.rate is not None else None if weighed is None else weighed.rate
        if rate is None:
            return None
        tension = 0.0
        if self.initial_tension is not None:
            tension = self.initial_tension.value
        elif weighed is not None and weighed.initial_tension is not None:
            tension = weighed.initial_tension
        free = self._free_length(posts, rate, tension)
        return None if free is None else Spring(identity, rate, free, tension, quantity=1)

    def _free_length(self, posts: Posts, rate: float, tension: float) -> float | None:
        """Length [m] inside the hooks at which it begins to pull."""
        if self.free_length is not None:
            return self.free_length.value
        if self.takeup is not None:
            return float(posts.length(self.takeup.value)[0])
        weighed = self.weighed
        if weighed is not None:
            return weighed.zero_length + tension / rate
        if self.pull_at_rest is not None and self.pull_at_rest.value > tension:
            return float(posts.length(0.0)[0]) - (self.pull_at_rest.value - tension) / rate
        return None


@dataclass(frozen=True)
class MeasuredPosts:
    """The posts of a spring where they are told by their places: `anchor` and `far`, in this `frame`, and their `diameter`
    [m], None where it is not told."""

    anchor: MeasuredPoint
    far: MeasuredPoint
    frame: Frame
    diameter: Quantity | None


@dataclass(frozen=True)
class Measured:
    """The unit as measured: its weights, the `stop` [rad], the drag, and its springs, primary first. `reaches` [1]: by how
    much, as a standard uncertainty, each pair of `posts` may part faster or slower with advance than their places say."""

    weights: MeasuredWeights
    stop: Quantity
    drag: MeasuredDrag
    springs: tuple[MeasuredSpring, ...]
    reaches: tuple[float, ...] = ()
    posts: tuple[MeasuredPosts | None, ...] = ()
