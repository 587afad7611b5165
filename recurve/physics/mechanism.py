"""The flyweights: the distance of their centres of gravity from the shaft as the cam advances, and their inertia.

Points are complex numbers x + iy in metres, in the frame that turns with the shaft: the shaft axis at 0, positive
angles in the direction of rotation. A turn by the angle a is then a multiplication by exp(ia), and a velocity per
radian a multiplication by i. All angles are distributor angles in radians.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from functools import cache
from typing import Protocol

import numpy as np
from numpy.typing import ArrayLike

from recurve.arrays import Array
from recurve.errors import Fault, PhysicsError
from recurve.units import SQRT3

MOTION = ("weights", "motion")  # the key of how the weights move


def dot(a: ArrayLike, b: ArrayLike) -> Array:
    """Scalar product of plane vectors given as complex numbers [m], their product [m²]; shapes broadcast."""
    return np.real(np.conj(a) * np.asarray(b))


class Motion(Protocol):
    """A description of how the weights move, for any shape of advance [rad]."""

    def swing(self, advance: ArrayLike) -> tuple[Array, Array] | None:
        """The weight's turn ψ [rad], signed in the direction of rotation, and dψ/dα [1]; None if unknown."""

    @property
    def pivot(self) -> complex | None:
        """The first weight's pivot [m]; None if unknown."""


@dataclass(frozen=True)
class UntoldMotion:
    """A motion that does not tell how a weight turns, such as one given by a table or by a sweep."""

    @property
    def pivot(self) -> complex | None:
        """Unknown: where the pivot [m] is."""
        return None

    def swing(self, advance: ArrayLike) -> None:
        """Unknown: the turn [rad] of the weight."""
        return


class RadialMotion(Motion, Protocol):
    """A motion that gives the places of the centres of gravity."""

    def radius(self, advance: ArrayLike) -> tuple[Array, Array]:
        """r [m] and dr/dα [m/rad] of one weight's centre of gravity; NaN where it binds."""


def _radius_by_swing(pivot: complex, cg: complex, swing: tuple[Array, Array]) -> tuple[Array, Array]:
    """r [m] and dr/dα [m/rad] of a centre of gravity carried by the swing (ψ [rad], dψ/dα [1])."""
    psi, rate = swing
    now = pivot + (cg - pivot) * np.exp(1j * psi)
    r = np.abs(now)
    return r, dot(now, 1j * (now - pivot)) * rate / r


@dataclass(frozen=True)
class Slot:
    """A drive pin on the weight works in a radial slot of the cam plate (theory, equation 12).

    Three points [m] of the first weight at rest: `pivot` on the base plate, `cg` its centre of gravity, `pin` its drive
    pin.
    """

    pivot: complex
    cg: complex
    pin: complex

    def swing(self, advance: ArrayLike) -> tuple[Array, Array]:
        """ψ [rad] and dψ/dα [1] at the advance [rad], same shape; NaN where the pin binds.

        The pin is on the ray of the slot and on its circle about the pivot. Of the two crossings the one that continues
        the position at rest is taken.
        """
        arm = self.pin - self.pivot
        ray = np.exp(1j * (np.angle(self.pin) + np.asarray(advance, float)))
        along = dot(ray, self.pivot)
        branch = 1.0 if abs(self.pin) >= np.real(np.conj(self.pin) * self.pivot) / abs(self.pin) else -1.0
        under = along**2 - abs(self.pivot) ** 2 + abs(arm) ** 2
        with np.errstate(invalid="ignore"):
            reach = along + branch * np.sqrt(np.where(under > 0, under, np.nan))
        pin = np.where(reach > 0, reach, np.nan) * ray
        with np.errstate(divide="ignore", invalid="ignore"):
            return np.angle((pin - self.pivot) / arm), np.abs(pin) ** 2 / dot(pin, pin - self.pivot)

    def radius(self, advance: ArrayLike) -> tuple[Array, Array]:
        """r [m] and dr/dα [m/rad] at the advance [rad], same shape."""
        return _radius_by_swing(self.pivot, self.cg, self.swing(advance))


@dataclass(frozen=True)
class Link:
    """A point of the weight keeps its distance from a point of the cam (theory, equation 13).

    Four points [m] of the first weight at rest: `pivot`, `cg`, `pin` (the weight's point) and `cam`.
    """

    pivot: complex
    cg: complex
    pin: complex
    cam: complex

    def swing(self, advance: ArrayLike) -> tuple[Array, Array]:
        """ψ [rad] and dψ/dα [1] at the advance [rad], same shape; NaN where the link does not reach.

        The weight's point is on its circle about the pivot and on a circle about the cam's point.
        """
        arm = self.pin - self.pivot
        cam = self.cam * np.exp(1j * np.asarray(advance, float))
        span = cam - self.pivot
        reach = np.abs(span)
        cosine = (abs(arm) ** 2 + reach**2 - abs(self.pin - self.cam) ** 2) / (2 * abs(arm) * reach)
        branch = np.sign(np.imag(arm / (self.cam - self.pivot)))
        with np.errstate(invalid="ignore"):
            turn = branch * np.arccos(np.where(np.abs(cosine) < 1, cosine, np.nan))
        direction = span / reach * np.exp(1j * turn)
        pin = self.pivot + abs(arm) * direction
        with np.errstate(divide="ignore", invalid="ignore"):
            rate = dot(pin - cam, 1j * cam) / dot(pin - cam, 1j * (pin - self.pivot))
        return np.angle(abs(arm) * direction / arm), rate

    def radius(self, advance: ArrayLike) -> tuple[Array, Array]:
        """r [m] and dr/dα [m/rad] at the advance [rad], same shape."""
        return _radius_by_swing(self.pivot, self.cg, self.swing(advance))


@dataclass(frozen=True)
class RadiusTable(UntoldMotion):
    """Radii of the centre of gravity measured at several advances (theory, section 6).

    `advance` [rad], `cg_radius` [m] and `half_width` [m], the ± of each row, all of the same length, 3 or more. The radius
    is quadratic in the advance, by least squares with rows weighted by 1/half_width.
    """

    advance: tuple[float, ...]
    cg_radius: tuple[float, ...]
    half_width: tuple[float, ...]
    _coefficients: Array = field(init=False, repr=False, compare=False)

    def __post_init__(self) -> None:
        weights = 1.0 / np.asarray(self.half_width)
        fitted = np.polyfit(np.asarray(self.advance), np.asarray(self.cg_radius), 2, w=weights)
        object.__setattr__(self, "_coefficients", fitted)

    def radius(self, advance: ArrayLike) -> tuple[Array, Array]:
        """r [m] and dr/dα [m/rad] at the advance [rad], same shape."""
        alpha = np.asarray(advance, float)
        return np.polyval(self._coefficients, alpha), np.polyval(np.polyder(self._coefficients), alpha)

    def moved(self, row: int) -> RadiusTable:
        """The table with one row's radius larger by its standard uncertainty, half_width/√3."""
        radii = list(self.cg_radius)
        radii[row] += self.half_width[row] / SQRT3
        return RadiusTable(self.advance, tuple(radii), self.half_width)

    def row_effects(self, advance: ArrayLike) -> Array:
        """Change of d(r²)/dα [m²/rad] at the advances (n,) [rad] if each row is off by its half-width, shape (rows, n)."""
        alpha = np.asarray(advance, float)
        r, dr = self.radius(alpha)
        weights = 1.0 / np.asarray(self.half_width)
        unit_rows = np.eye(len(self.advance)) * np.asarray(self.half_width)
        shifts = np.polyfit(np.asarray(self.advance), unit_rows, 2, w=weights)
        moved = np.stack([np.polyval(column, alpha) for column in shifts.T])
        slopes = np.stack([np.polyval(np.polyder(column), alpha) for column in shifts.T])
        effects: Array = 2 * (moved * dr + r * slopes)
        return effects


@dataclass(frozen=True)
class ReferenceSlope(UntoldMotion):
    """I′(α) itself, from a sweep with known springs (theory, equation 14); the places of the weights remain unknown.

    log I′ [kg·m²/rad] is Σ `coefficients` · Legendre polynomials of 2α/`reach` − 1, with `reach` [rad] the stop of that
    sweep; `covariance` (c, c) is that of the coefficients (c,). Past `reach` the polynomial is continued, and its
    uncertainty grows.
    """

    reach: float
    coefficients: tuple[float, ...]
    covariance: tuple[tuple[float, ...], ...]

    def inertia_slope(self, advance: ArrayLike) -> Array:
        """I′(α) [kg·m²/rad] of all weights at the advance [rad], same shape; always positive."""
        x = 2 * np.asarray(advance, float) / self.reach - 1
        return np.asarray(np.exp(np.polynomial.legendre.legval(x, self.coefficients)))

    def changes(self, advance: ArrayLike) -> Array:
        """Independent changes of log I′ at the advances (n,) [rad], each of one standard uncertainty, (c, n) [1]."""
        x = 2 * np.asarray(advance, float) / self.reach - 1
        basis = np.polynomial.legendre.legvander(x, len(self.coefficients) - 1)
        sizes, turned = np.linalg.eigh(np.asarray(self.covariance))
        return np.asarray((basis @ turned * np.sqrt(np.maximum(sizes, 0.0))).T)

    def uncertainty(self, advance: ArrayLike) -> Array:
        """Relative standard uncertainty [1] of I′ at the advances (n,) [rad]."""
        return np.asarray(np.sqrt((self.changes(advance) ** 2).sum(axis=0)))


@dataclass(frozen=True)
class Weights:
    """`count` equal flyweights of `mass` [kg] each that move as `motion` describes; the mass may be None if the motion
    is I′ itself."""

    count: int
    mass: float | None
    motion: RadialMotion | ReferenceSlope

    def inertia(self, advance: ArrayLike) -> Array:
        """I(α) = count · mass · r² [kg·m²] at the advance [rad], same shape (theory, section 1)."""
        total, motion = self._radial()
        return total * motion.radius(advance)[0] ** 2

    def inertia_change(self, advance: ArrayLike) -> Array:
        """I(α) − I(0) [kg·m²] at the advance [rad], same shape; the integral of I′ if only that is known."""
        if isinstance(self.motion, ReferenceSlope):
            return _integral(self.inertia_slope, advance)
        return self.inertia(advance) - self.inertia(0.0)

    def inertia_slope(self, advance: ArrayLike) -> Array:
        """I′(α) [kg·m²/rad] at the advance [rad], same shape (theory, equation 11)."""
        if isinstance(self.motion, ReferenceSlope):
            return self.motion.inertia_slope(advance)
        total, motion = self._radial()
        r, dr = motion.radius(advance)
        return total * 2 * r * dr

    def _radial(self) -> tuple[float, RadialMotion]:
        """The total mass [kg] of the weights, and how they move."""
        if self.mass is None or isinstance(self.motion, ReferenceSlope):
            raise PhysicsError(
                "weights: got a sweep with known springs, which does not show where the mass is, expected a "
                "measured motion"
            )
        return self.count * self.mass, self.motion

    def check(self, reach: float) -> None:
        """Raise PhysicsError if the weights cannot work from rest to the advance `reach` [rad]."""
        faults = weight_faults(self.motion, reach)
        if faults:
            raise PhysicsError(faults)


@dataclass(frozen=True)
class CorrectedWeights(Weights):
    """Weights whose I′ was corrected by a sweep: multiplied by the polynomial of degree ≤ 3 through `factor` [1] at
    `advance` [rad]."""

    advance: tuple[float, ...] = ()
    factor: tuple[float, ...] = ()
    _coefficients: Array = field(init=False, repr=False, compare=False)

    def __post_init__(self) -> None:
        degree = min(len(self.advance) - 1, 3)
        fitted = np.polyfit(np.asarray(self.advance), np.asarray(self.factor), degree)
        object.__setattr__(self, "_coefficients", fitted)

    def inertia_change(self, advance: ArrayLike) -> Array:
        """∫ factor dI [kg·m²] from rest to the advance [rad], same shape; by parts, so that dr/dα is not
        needed."""
        if isinstance(self.motion, ReferenceSlope):
            return super().inertia_change(advance)
        correction, alpha = self._coefficients, np.asarray(advance, float)
        bent = np.polyder(correction)
        inner = _integral(lambda x: np.polyval(bent, x) * super(CorrectedWeights, self).inertia_change(x), alpha)
        return np.polyval(correction, alpha) * super().inertia_change(alpha) - inner

    def inertia_slope(self, advance: ArrayLike) -> Array:
        """I′(α) [kg·m²/rad] at the advance [rad], same shape, corrected."""
        return super().inertia_slope(advance) * np.polyval(self._coefficients, np.asarray(advance, float))


@dataclass(frozen=True)
class ScaledWeights(Weights):
    """Weights of the same shape as those `given`, each `factor` [1] times as heavy."""

    given: Weights
    factor: float

    @classmethod
    def of(cls, given: Weights, factor: float) -> ScaledWeights:
        """Those given, `factor` [1] times as heavy."""
        return cls(given.count, given.mass, given.motion, given, factor)

    def inertia(self, advance: ArrayLike) -> Array:
        """I(α) [kg·m²] at the advance [rad], same shape."""
        return self.factor * self.given.inertia(advance)

    def inertia_slope(self, advance: ArrayLike) -> Array:
        """I′(α) [kg·m²/rad] at the advance [rad], same shape."""
        return self.factor * self.given.inertia_slope(advance)


def weight_faults(motion: RadialMotion | ReferenceSlope, reach: float) -> list[Fault]:
    """Why these weights cannot work from 0 to `reach` [rad], each with the number to look at."""
    if isinstance(motion, ReferenceSlope):
        return []  # I′ is always positive; its sweep was judged when it was read
    if isinstance(motion, Slot | Link):
        faults = _rest_faults(motion)
        if faults:
            return faults
    grid = np.linspace(0.0, reach, 241)
    r, dr = motion.radius(grid)
    if not np.isfinite(r).all() or not np.isfinite(dr).all():
        first = np.degrees(grid[np.argmin(np.isfinite(r) & np.isfinite(dr))])
        return [
            Fault(
                MOTION,
                f"the drive binds at {first:.2f}° (distributor), before the largest stop of "
                f"{np.degrees(reach):.2f}°; look at the pin's distance and angle",
            )
        ]
    if dr[0] <= 0:
        return [
            Fault(
                MOTION,
                "the weights move inward as the cam advances, so they would retard the timing; look at the sign of "
                "the angles of cg and pin, and at rotation",
            )
        ]
    if (dr <= 0).any():
        first = np.degrees(grid[np.argmax(dr <= 0)])
        return [
            Fault(
                MOTION,
                f"the centre of gravity moves inward past {first:.2f}° (distributor), before the "
                f"largest stop of {np.degrees(reach):.2f}°; look at the angle of cg",
            )
        ]
    return []


def _integral(function: Callable[[Array], Array], end: ArrayLike) -> Array:
    """∫ from 0 to each end, same shape, of a smooth function of arrays, by the Gauss–Legendre rule of 20 points."""
    nodes, weights = _rule()
    ends = np.asarray(end, float)[..., None]
    return np.asarray((function(0.5 * ends * (1 + nodes)) * weights).sum(axis=-1) * 0.5 * ends[..., 0])


@cache
def _rule() -> tuple[Array, Array]:
    """Nodes and weights of that rule, (20,) each; cached, since they take longer than most integrals."""
    return np.polynomial.legendre.leggauss(20)


def _rest_faults(motion: Slot | Link) -> list[Fault]:
    arm, weight = motion.cg - motion.pivot, motion.pin - motion.pivot
    lengths = {"pivot": abs(motion.pivot), "cg": abs(arm), "pin": abs(weight)}
    short = [name for name, value in lengths.items() if value < 1e-6]
    if short:
        return [Fault((*MOTION, name), "got a distance of 0 mm, expected more") for name in short]
    # Within half a degree of the radius the sense of the swing depends on the error of measurement.
    if abs(np.imag(np.conj(motion.pivot) * arm)) < np.sin(np.radians(0.5)) * abs(motion.pivot) * abs(arm):
        return [
            Fault(
                (*MOTION, "cg"),
                "the centre of gravity lies on the radius through the pivot (angle 0 or 180°), so which way it "
                "swings is not known; measure its angle again",
            )
        ]
    if isinstance(motion, Link):
        if abs(motion.cam) < 1e-6:
            return [Fault((*MOTION, "cam"), "got a distance of 0 mm from the shaft, expected more")]
        if abs(np.imag(weight / (motion.cam - motion.pivot))) < 1e-9:
            return [
                Fault(
                    (*MOTION, "cam"),
                    "pivot, pin and cam point stand in one line, so the link cannot drive; look at the "
                    "angles of pin and cam",
                )
            ]
    return []
