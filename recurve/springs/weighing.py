"""A spring measured with weights: rate and initial tension from the weights hung on it and the lengths read (GUM).

A ± is a half-width, with a standard uncertainty of ±/√3 (GUM 4.3.7). Readings are taken as independent.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from recurve.arrays import Array, Indices, Mask
from recurve.errors import InputError
from recurve.springs.spring import Spring, checked, rate_from_wire
from recurve.springs.stress import FATIGUE, hook_uncertainty
from recurve.springs.wire import materials
from recurve.units import Quantity

STANDARD_GRAVITY = 9.80665  # m/s², exact by convention (CGPM 1901); at sea level g is within 0.3 % of it everywhere
# Two standard uncertainties of the rate, as a fraction of it, above which it is of no use; common practice, no source.
TOO_UNCERTAIN = 0.2
APART = 0.15  # fraction by which the measured rate may differ from that of wire and coils; common practice, no source
ROUNDS = 20  # of the effective variance


@dataclass(frozen=True)
class Hung:
    """Readings (n,), n ≥ 2: `pull` [N] and `length` inside the hooks [m], with their standard uncertainties."""

    pull: Array
    length: Array
    pull_uncertainty: Array
    length_uncertainty: Array

    def take(self, rows: Indices) -> Hung:
        """Only these readings."""
        return Hung(self.pull[rows], self.length[rows], self.pull_uncertainty[rows], self.length_uncertainty[rows])


@dataclass(frozen=True)
class Weighed:
    """The result of the readings: `rate` [N/m] and `initial_tension` [N], with their standard uncertainties and
    `correlation`. The tension is never negative, and None without a free length.

    `zero_length` [m] is where the line reaches zero pull; `residuals` (n,) [N] are those of the pulls; `left_out` are
    the indices of readings at which the coils had not opened; `scatter` [1] is how much more the readings scatter than
    their ± says, 1 or more; `slack` says whether the spring does not pull at its free length.
    """

    rate: float
    rate_uncertainty: float
    initial_tension: float | None
    initial_tension_uncertainty: float | None
    correlation: float | None
    zero_length: float
    residuals: Array
    left_out: tuple[int, ...]
    scatter: float
    slack: bool

    @property
    def of_use(self) -> bool:
        """Whether the rate is known accurately enough to plan with."""
        return 2 * self.rate_uncertainty <= TOO_UNCERTAIN * self.rate


@dataclass(frozen=True)
class WeighedSpring:
    """A measured spring: the readings `hung`, their result `weighed`, its `free_length` [m] if it was read, and the
    spring as `described` for a catalogue. `assumed`: remarks on values that were not given."""

    hung: Hung
    weighed: Weighed
    free_length: Quantity | None
    described: Spring
    assumed: tuple[str, ...]

    @property
    def wire_rate(self) -> tuple[float, float] | None:
        """The rate [N/m] from wire and coils, and how much softer [1] it is by the other count of the hooks."""
        s = self.described
        if s.wire is None or s.outer is None or s.coils is None or s.material not in materials():
            return None
        young, shear = materials()[s.material].moduli(s.wire)
        rate = float(rate_from_wire(s.wire, s.outer - s.wire, s.coils, young, shear))
        return rate, float(hook_uncertainty(s.coils, young, shear))


def weigh(hung: Hung, free_length: Quantity | None = None) -> Weighed:
    """Rate and initial tension of a spring from `hung` readings and its `free_length` [m] with its ±, read inside the
    hooks with the coils closed.

    A line through two readings, or the least-squares line through more, with errors in both directions by their
    effective variance. Raises InputError if no line can be drawn or it falls.
    """
    # A reading that cannot be told from the closed length: the weight had not opened the coils.
    closed = np.zeros(len(hung.pull), bool)
    if free_length is not None:
        apart = 2 * np.hypot(hung.length_uncertainty, free_length.standard_uncertainty or 0.0)
        closed = hung.length <= free_length.value + apart
    rows = np.flatnonzero(~closed)
    if len(rows) < 2 or np.ptp(hung.length[rows]) == 0.0:
        raise InputError(_too_few(hung, closed))
    used = hung.take(rows)
    rate, middle, level, covariance, residuals = _line(used)
    if rate <= 0:
        raise InputError(
            "readings: got a smaller pull at a greater length, expected the pull to grow with the length; check "
            "which weight went with which length"
        )
    scatter = _scatter(used, rate, residuals)
    covariance = covariance * scatter**2
    tension, spread, correlation = _at_rest(rate, middle, level, covariance, free_length)
    slack = tension is not None and spread is not None and tension < -2 * spread
    return Weighed(
        rate=rate,
        rate_uncertainty=float(np.sqrt(covariance[1, 1])),
        initial_tension=None if tension is None else max(tension, 0.0),
        initial_tension_uncertainty=spread,
        correlation=correlation,
        zero_length=middle - level / rate,
        residuals=residuals,
        left_out=tuple(int(i) for i in np.flatnonzero(closed)),
        scatter=scatter,
        slack=slack,
    )


def measured_notes(m: WeighedSpring) -> tuple[str, ...]:
    """What the report must state of the readings."""
    w, notes = m.weighed, list(m.assumed)
    if w.left_out:
        which = ", ".join(str(i + 1) for i in w.left_out)
        notes.append(f"Left out, since the coils were still closed: reading {which}.")
    if w.scatter > 1.5:
        notes.append(
            f"The readings scatter {w.scatter:.1f} times as much as their ± says: look for a hook that rubs, a "
            "weight that touches something, or a wrong reading. Every ± below is enlarged to match."
        )
    if w.slack:
        notes.append(
            f"The spring does not pull until it is {1e3 * w.zero_length:.2f} mm long, which is more than the free "
            "length you read: the spring is stretched, or its coils stand apart. That length is taken as its free "
            "length."
        )
    if m.free_length is None:
        notes.append("To know the initial tension, give --free-length, read with the coils closed.")
    if not w.of_use:
        notes.append("TOO UNCERTAIN to plan with: hang weights further apart, or read the lengths more closely.")
    return (*notes, *_wire_notes(m))


def _too_few(hung: Hung, closed: Mask) -> str:
    if closed.any():
        return (
            f"readings: got {int((~closed).sum())} in which the coils are surely open, expected 2; hang heavier "
            "weights on it, or check --free-length"
        )
    return (
        f"readings: got {len(hung.pull)} at one length, expected two weights that stretch the spring to different "
        "lengths"
    )


def _line(hung: Hung) -> tuple[float, float, float, Array, Array]:
    """Slope [N/m], the length [m] at which the line is centred, the pull there [N], the covariance (2, 2) of pull and
    slope, and the residuals (n,) [N]."""
    rate = float(np.polyfit(hung.length - hung.length.mean(), hung.pull, 1)[0])
    middle, level = 0.0, 0.0
    weight = np.ones_like(hung.pull)
    for _ in range(ROUNDS):
        variance = hung.pull_uncertainty**2 + (rate * hung.length_uncertainty) ** 2
        weight = 1 / np.maximum(variance, 1e-24)
        middle, level = (float(np.average(x, weights=weight)) for x in (hung.length, hung.pull))
        off = hung.length - middle
        before, rate = rate, float((weight * off * hung.pull).sum() / (weight * off**2).sum())
        if abs(rate - before) <= 1e-13 * abs(rate):
            break
    off = hung.length - middle
    # Centred on the weighted mean, level and slope are uncorrelated.
    covariance = np.diag([1 / weight.sum(), 1 / (weight * off**2).sum()])
    return rate, middle, level, covariance, hung.pull - level - rate * off


def _scatter(hung: Hung, rate: float, residuals: Array) -> float:
    """√(χ²/degrees of freedom), at least 1: the factor that enlarges the uncertainties if the readings agree worse than
    their ± says."""
    free = len(residuals) - 2
    if free < 1:
        return 1.0
    variance = hung.pull_uncertainty**2 + (rate * hung.length_uncertainty) ** 2
    return max(1.0, float(np.sqrt((residuals**2 / np.maximum(variance, 1e-24)).sum() / free)))


def _at_rest(
    rate: float, middle: float, level: float, covariance: Array, free_length: Quantity | None
) -> tuple[float | None, float | None, float | None]:
    """The line's pull at the free length [N], its standard uncertainty and its correlation with the rate."""
    if free_length is None:
        return None, None, None
    off, uncertainty = free_length.value - middle, free_length.standard_uncertainty or 0.0
    variance = covariance[0, 0] + off**2 * covariance[1, 1] + (rate * uncertainty) ** 2
    shared = off * covariance[1, 1]
    spread = float(np.sqrt(variance))
    correlation = shared / (spread * np.sqrt(covariance[1, 1])) if spread > 0 and covariance[1, 1] > 0 else 0.0
    return level + rate * off, spread, float(correlation)


def _wire_notes(m: WeighedSpring) -> list[str]:
    """Whether wire and coils agree with the readings, and how far the spring may be drawn."""
    notes, made = [], m.wire_rate
    if made is not None and abs(m.weighed.rate / made[0] - 1) > APART:
        notes.append(
            f"By its wire and coils its rate is {made[0] / 1e3:.3g} N/mm, or {100 * made[1]:.0f}% less if the hooks "
            "flex more: measure the wire again, to a hundredth of a millimetre."
        )
    if m.free_length is None:
        return notes
    (spring,), contradictions = checked([m.described], "this spring")
    notes += contradictions
    if np.isfinite(spring.most_extension):
        notes.append(
            f"It may be stretched to {1e3 * spring.most_length:.2f} mm inside the hooks, "
            f"{1e3 * spring.most_extension:.2f} mm past its free length. {FATIGUE}"
        )
    return notes
