"""Least squares from many starts at once, within bounds.

Each start descends by the method of Levenberg and Marquardt with a trusted radius Δ (Moré, Lecture Notes in Mathematics 630,
1978; from memory): with the Jacobian J of the residuals f, the step δ solves

    (JᵀJ + λ D²) δ = −Jᵀf,    λ ≥ 0 the least for which ‖D δ‖ ≤ Δ                                      (1)

where D holds the largest norms of J's columns so far. Δ grows and shrinks with the ratio of gained to expected squares. A
parameter at a bound that the squares push outward keeps still; steps end at the bounds. All descents take their steps
together, so that the residuals of all of them, and those for the differences of J, come from one call: a call with many
states takes hardly longer than one with few.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from recurve.arrays import Array, Indices, Mask

Residuals = Callable[[Array], Array]
STEP, RELATIVE_STEP, LEAST_SIZE = 1e-4, 1e-5, 1e-3  # of differences, without and with a scale
WORTHWHILE = 1e-4  # least gain of a step, in what was expected of it
POOR, GOOD = 0.4, 0.75  # ratios below which the radius shrinks, to as much of the step, and above which it doubles
LEAST_FELT = 1e-15  # eigenvalue against the largest below which a direction is not felt
ROUNDS, NEAR = 12, 0.1  # of the search for λ, and how near to the radius it must come


@dataclass(frozen=True)
class Descent:
    """The end of one least-squares descent: state (p,) [1], covariance (p, p) for residuals of unit variance, the
    sum of squares, and whether it converged."""

    state: Array
    covariance: Array
    squares: float
    converged: bool


def descend(
    residuals: Residuals,
    starts: Array,
    low: Array,
    high: Array,
    scale: Array | None = None,
    evaluations: int = 60,
    flat: float = 0.02,
) -> list[Descent]:
    """Least squares from each of the starts (s, p) [1] within the bounds (p,): Σ residual² is minimised.

    `residuals` maps states (n, p) to (n, r). `scale` (p,) is the typical size of each parameter, for the
    differences of the Jacobian; 1 by default. Converged means that the step or the gain fell below the tolerance, and
    that the gradient is small: no more than the fraction `flat` [1] of what residuals of this size could give.
    """
    size = np.ones(starts.shape[1]) if scale is None else scale
    ends = (low / size, high / size)
    relative = scale is not None

    def at(x: Array) -> tuple[Array, Array]:
        """Residuals (s, r) and Jacobians (s, r, p) of scaled states (s, p)."""
        n, p = x.shape
        steps = RELATIVE_STEP * np.maximum(np.abs(x), LEAST_SIZE) if relative else np.full((n, p), STEP)
        each = steps[:, None, :] * np.eye(p)
        states = np.concatenate([x[:, None], x[:, None] + each, x[:, None] - each], axis=1)
        values = residuals(states.reshape(-1, p) * size).reshape(n, 2 * p + 1, -1)
        jacobian = (values[:, 1 : p + 1] - values[:, p + 1 :]) / (2 * steps[:, :, None])
        # A difference that leads to the impossible tells nothing.
        return values[:, 0], np.where(np.isfinite(jacobian), jacobian, 0.0).swapaxes(1, 2)

    tolerance = 1e-14 if relative else 1e-8
    run = _Run.begun(at, np.clip(starts / size, *ends), ends)
    for _ in range(evaluations - 1):
        if not run.going.any():
            break
        run.step(at, tolerance)
    return [run.end(i, size, relative, flat) for i in range(len(starts))]


@dataclass
class _Run:
    """Descents under way: scaled states `x` (s, p), residuals `f` (s, r) and Jacobians `j` (s, r, p) there, the half sum of
    squares `cost` (s,), `norms` (s, p) of the Jacobians' columns, the largest so far, the trusted `radius` (s,), which are
    still `going` and which are `settled` (s,)."""

    x: Array
    f: Array
    j: Array
    cost: Array
    norms: Array
    radius: Array
    going: Mask
    settled: Mask
    ends: tuple[Array, Array]

    @classmethod
    def begun(cls, at: Callable[[Array], tuple[Array, Array]], x: Array, ends: tuple[Array, Array]) -> _Run:
        """At the starts `x` (s, p) [1]."""
        f, j = at(x)
        cost, norms = _half_squares(f), np.linalg.norm(j, axis=1)
        far = np.linalg.norm(np.where(norms > 0, norms, 1.0) * x, axis=1)
        radius = np.where(far > 0, far, 1.0)
        return cls(x, f, j, cost, norms, radius, np.isfinite(cost), np.zeros(len(x), bool), ends)

    def step(self, at: Callable[[Array], tuple[Array, Array]], tolerance: float) -> None:
        """One step of each descent that is still going, or, where it would not gain, a shorter one next time."""
        rows = np.flatnonzero(self.going)
        x, j, old = self.x[rows], self.j[rows], self.cost[rows]
        weight = np.where(self.norms[rows] > 0, self.norms[rows], 1.0)
        gradient = np.einsum("srp,sr->sp", j, self.f[rows])
        free = ~(((x <= self.ends[0]) & (gradient > 0)) | ((x >= self.ends[1]) & (gradient < 0)))
        normal = np.swapaxes(j, 1, 2) @ j
        step = self._inside(normal, gradient, free, weight, self.radius[rows], x)
        tried = np.clip(x + step, *self.ends)
        f, new_j = at(tried)
        cost = _half_squares(f)
        expected = -(gradient * step).sum(axis=1) - 0.5 * np.einsum("sp,spq,sq->s", step, normal, step)
        gain = np.where(np.isfinite(cost), old - cost, -np.inf)
        ratio = np.where(expected > 0, gain / np.where(expected > 0, expected, 1.0), -np.inf)
        better = ratio > WORTHWHILE
        self._take(rows[better], tried[better], f[better], new_j[better], cost[better])
        length = np.linalg.norm(weight * step, axis=1)
        at_edge = length > (1 - 2 * NEAR) * self.radius[rows]
        self.radius[rows] = np.where(
            ratio < POOR, POOR * length, np.where((ratio > GOOD) & at_edge, 2.0, 1.0) * self.radius[rows]
        )
        short = np.linalg.norm(step, axis=1) < tolerance * (tolerance + np.linalg.norm(x, axis=1))
        level = (gain < tolerance * old) & (ratio > POOR)
        self.settled[rows] = short | level
        self.going[rows] = ~self.settled[rows]

    def _inside(self, normal: Array, gradient: Array, free: Mask, weight: Array, radius: Array, x: Array) -> Array:
        """The steps (s, p) of equation (1) that end within the bounds: a parameter that would leave them goes as far as it may,
        and the others make the best of that."""
        low, high = self.ends[0] - x, self.ends[1] - x
        held = np.zeros_like(x)
        for _ in range(x.shape[1]):
            left = gradient + np.einsum("spq,sq->sp", normal, held)
            step = np.where(free, _within(normal, left, free, weight, radius), held)
            out = free & ((step < low) | (step > high))
            if not out.any():
                break
            held = np.where(out, np.clip(step, low, high), held)
            free = free & ~out
        return np.clip(step, low, high)

    def _take(self, rows: Indices, x: Array, f: Array, j: Array, cost: Array) -> None:
        self.x[rows], self.f[rows], self.j[rows], self.cost[rows] = x, f, j, cost
        self.norms[rows] = np.maximum(self.norms[rows], np.linalg.norm(j, axis=1))

    def end(self, i: int, size: Array, relative: bool, flat: float) -> Descent:
        """The end of one descent [1]."""
        jacobian, x = self.j[i], self.x[i]
        information = jacobian.T @ jacobian
        trace = 1e-14 if relative else 1e-9
        covariance = np.linalg.pinv(information + trace * np.diag(np.diag(information) + (not relative)))
        converged = bool(self.settled[i] and _flat(jacobian, self.f[i], x, self.ends, flat))
        return Descent(x * size, covariance * np.outer(size, size), float(2 * self.cost[i]), converged)


def _half_squares(f: Array) -> Array:
    return np.asarray(0.5 * (f**2).sum(axis=1))


def _within(normal: Array, gradient: Array, free: Mask, weight: Array, radius: Array) -> Array:
    """The steps (s, p) of equation (1), 0 where a parameter is not free."""
    unit = np.where(free, 1.0 / weight, 0.0)
    sizes, directions = np.linalg.eigh(normal * unit[:, :, None] * unit[:, None, :])
    # What rounding leaves of a direction that nothing feels must not lead anywhere.
    sizes = np.maximum(sizes, LEAST_FELT * sizes[:, -1:])
    sizes = np.where(sizes > 0, sizes, 1.0)
    pull = np.einsum("spq,sp->sq", directions, -gradient * unit)
    damping = np.zeros(len(radius))
    for _ in range(ROUNDS):
        part = pull / (sizes + damping[:, None])
        length = np.linalg.norm(part, axis=1)
        too_long = length > (1 + NEAR) * radius
        if not too_long.any():
            break
        bend = (part**2 / (sizes + damping[:, None])).sum(axis=1)
        more = length**2 / np.where(bend > 0, bend, 1.0) * (length - radius) / radius
        damping = np.where(too_long, damping + more, damping)
    part = pull / (sizes + damping[:, None])
    return np.asarray(np.einsum("spq,sq->sp", directions, part) * unit)


def _flat(jacobian: Array, residual: Array, x: Array, ends: tuple[Array, Array], flat: float) -> bool:
    """Whether no free parameter still lowers the squares, by the cosine between the residuals and its column of the
    Jacobian. A parameter on which no residual depends has not been determined, however flat the squares are."""
    felt = np.linalg.norm(jacobian, axis=0)
    length = felt * max(float(np.linalg.norm(residual)), 1e-12)
    cosine = np.abs(jacobian.T @ residual) / np.maximum(length, 1e-300)
    free = (x > ends[0] + 1e-6) & (x < ends[1] - 1e-6)
    return bool((cosine[free] < flat).all() and (felt > 0).all())
