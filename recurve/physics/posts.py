"""The posts: the length of a spring inside its hooks as the cam advances.

Lengths are measured outside to outside over the two posts, which is inside the hooks. `bend` is how far the anchor post
was bent, + away from the other post, so that the spring is longer at rest by as much.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Literal, Protocol

import numpy as np
from numpy.typing import ArrayLike

from recurve.arrays import Array, Points
from recurve.errors import Fault, Key, PhysicsError
from recurve.physics.mechanism import Motion, dot

Body = Literal["base", "cam"] | int


class Posts(Protocol):
    """A description of two posts; advance [rad] and bend [m] broadcast."""

    def length(self, advance: ArrayLike, bend: ArrayLike = 0.0) -> tuple[Array, Array]:
        """L [m] and dL/dα [m/rad] of a spring over the posts."""

    def bent(self, bend: float) -> Posts:
        """The same posts with the anchor bent by `bend` [m]."""


@dataclass(frozen=True)
class BodyPoint:
    """A point: its position at rest [m] and the body that carries it, "base", "cam" or a weight by number, from 1."""

    body: Body
    position: complex


@dataclass(frozen=True)
class PointPosts:
    """Two posts given by their positions (theory, equation 15); `motion` and `count` move those on weights.

    `diameter` [m] is the mean diameter of the two. The anchor is bent along the line through both posts at rest.
    """

    anchor: BodyPoint
    far: BodyPoint
    diameter: float
    motion: Motion
    count: int

    def length(self, advance: ArrayLike, bend: ArrayLike = 0.0) -> tuple[Array, Array]:
        """L [m] and dL/dα [m/rad]; advance [rad] and bend [m] broadcast."""
        alpha, moved = np.asarray(advance, float), np.asarray(bend, float)
        line = self.anchor.position - self.far.position
        anchor = self.anchor.position + moved * (line / abs(line))
        a, va = self.place(self.anchor.body, anchor, alpha)
        f, vf = self.place(self.far.body, self.far.position, alpha)
        span = np.abs(a - f)
        return span + self.diameter, dot(a - f, va - vf) / span

    def bent(self, bend: float) -> PointPosts:
        """The same posts with the anchor bent by `bend` [m] from where it stands."""
        line = self.anchor.position - self.far.position
        anchor = BodyPoint(self.anchor.body, self.anchor.position + bend * line / abs(line))
        return PointPosts(anchor, self.far, self.diameter, self.motion, self.count)

    def place(self, body: Body, rest: complex | Points, alpha: Array) -> tuple[Points, Points]:
        """Position [m] of a point carried by `body`, and its velocity per radian of advance [m/rad]."""
        if body == "base":
            return np.asarray(rest) + 0j * alpha, np.zeros(np.broadcast(rest, alpha).shape, complex)
        if body == "cam":
            cam = rest * np.exp(1j * alpha)
            return cam, 1j * cam
        swing, pivot = self.motion.swing(alpha), self.motion.pivot
        if swing is None or pivot is None:
            message = (
                "got a post on a weight, expected weights.motion to be a slot or a link: this motion does not show "
                "how the weight turns"
            )
            raise PhysicsError(Fault(("springs",), message))
        psi, rate = swing
        centre = pivot * np.exp(2j * np.pi * (int(body) - 1) / self.count)
        arm = (rest - centre) * np.exp(1j * psi)
        return centre + arm, 1j * rate * arm


@dataclass(frozen=True)
class TablePosts:
    """Lengths [m] measured at two or more advances [rad]; a polynomial of degree ≤ 2 (theory, section 7)."""

    advance: tuple[float, ...]
    measured: tuple[float, ...]
    _coefficients: Array = field(init=False, repr=False, compare=False)

    def __post_init__(self) -> None:
        degree = min(len(self.advance) - 1, 2)
        fitted = np.polyfit(np.asarray(self.advance), np.asarray(self.measured), degree)
        object.__setattr__(self, "_coefficients", fitted)

    def length(self, advance: ArrayLike, bend: ArrayLike = 0.0) -> tuple[Array, Array]:
        """L [m] and dL/dα [m/rad]; advance [rad] and bend [m] broadcast."""
        alpha, moved = np.broadcast_arrays(np.asarray(advance, float), np.asarray(bend, float))
        slope = np.polyval(np.polyder(self._coefficients), alpha)
        return np.polyval(self._coefficients, alpha) + moved, np.broadcast_to(slope, alpha.shape)

    def bent(self, bend: float) -> TablePosts:
        """The same posts with the anchor bent by `bend` [m] from where it stands."""
        return TablePosts(self.advance, tuple(x + bend for x in self.measured))


def post_faults(posts: Posts, reach: float, travel: tuple[float, float], key: Key) -> list[Fault]:
    """Why these posts cannot work from 0 to `reach` [rad] over the bend `travel` [m]; empty if they can. `key` is that of
    their spring in the job."""
    at = (*key, "posts")
    if isinstance(posts, PointPosts):
        gap = abs(posts.anchor.position - posts.far.position)
        if gap < 1e-6:
            return [Fault(at, "both posts stand in the same place; look at radius and angle of anchor and far")]
        if gap + travel[0] <= 0.0:
            message = (
                f"the post cannot be bent {-1e3 * travel[0]:.2f} mm inward, since the two posts are only "
                f"{1e3 * gap:.2f} mm apart; look at post_travel, anchor and far"
            )
            return [Fault((*key, "post_travel"), message)]
    grid = np.linspace(0.0, reach, 121)
    length, slope = posts.length(grid[:, None], np.asarray(travel)[None, :])
    if (length <= 0).any():
        return [Fault(at, f"got a length of {1e3 * length.min():.2f} mm over the posts, expected more than 0")]
    if (slope < -1e-9 * length.max()).any():
        first = np.degrees(grid[np.argmax((slope < -1e-9 * length.max()).any(axis=1))])
        where = "from rest" if first == 0 else f"from {first:.2f}° of advance (distributor)"
        message = (
            f"the spring shortens {where} on, so it would advance the cam instead of pulling it back; look at the "
            "angles of anchor and far, and at rotation"
        )
        return [Fault(at, message)]
    return []


def takeup_advance(posts: Posts, free_length: float, reach: float, bend: float = 0.0) -> float | None:
    """The advance [rad] at which the posts are `free_length` [m] apart: 0 if the spring pulls from rest, None if it
    does not pull before `reach` [rad] (theory, equation 8). The posts are bent by `bend` [m]."""
    grid = np.linspace(0.0, reach, 257)
    length = posts.length(grid, bend)[0]
    if length[0] >= free_length:
        return 0.0
    if length[-1] < free_length:
        return None
    alpha = float(np.interp(free_length, length, grid))
    for _ in range(4):  # Newton from an interpolation that is already within a thousandth of a degree
        now, slope = posts.length(alpha, bend)
        if slope <= 0:
            break
        alpha = min(max(alpha - (float(now) - free_length) / float(slope), 0.0), reach)
    return alpha
