"""I′(α) from a sweep made with springs that have been weighed and stretched (theory, equation 14).

At a reading, equation 3 read backwards gives I′(α) = 2 (τ(α) + T_d ± T_f) / ((1 ∓ s) ω²). Both α and ω are
read with error, and springs, drag and friction are the same in all readings, so points of I′ with
errors of their own would not do. Instead log I′ is a polynomial with a prior of smoothness, every known
number is a parameter within its ±, and all readings are explained together, rising and falling: maximum
a posteriori, its covariance from the Jacobian there. A reading at the stop or at rest says that the
moment is larger, or smaller, than what holds the cam, and no more: the curve is flat there.

A state is a vector of numbers of order 1: each a parameter less its prior's middle, in prior standard
uncertainties. Speeds and advances are the distributor's.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from itertools import product

import numpy as np

from recurve.arrays import Array
from recurve.physics.curve import Drag, Installed, Unit, spring_torque, trace
from recurve.physics.mechanism import ReferenceSlope
from recurve.physics.sweep import Sweep
from recurve.uncertainty import (
    MOST_DRAG,
    MOST_FRICTION,
    MOST_FRICTION_SHARE,
    Prior,
    degrees_of_freedom,
    inflation,
    over_nodes,
    speed_nodes,
    without_outliers,
)
from recurve.units import RPM, SQRT3

# Prior standard uncertainties of the Legendre coefficients of log I′ over the travel: the level is free, the
# others are two to three times the root mean square of random slot and link mechanisms, so that those fit with ease.
SHAPE = np.array([3.0, 0.4, 0.1, 0.03, 0.01])
GRID = 121  # advances of a trial curve: it then errs by 0.001° or so
TOLD = 0.10  # relative standard uncertainty of I′ that is reported, with what would help
CONTRADICTED = 2.0  # prior standard uncertainties by which the sweep contradicts a given number
LEAST_SPAN = 0.25  # of the travel that readings on the way must span
_RESISTANCES = (
    ("drag", "rubbing_block", MOST_DRAG),
    ("friction", "friction", MOST_FRICTION),
    ("friction share", "friction_share", MOST_FRICTION_SHARE),
)
_WORDS = {"drag": "drag of the rubbing block", "stop": "advance at its stop", "zero": "shift of the zero"}


@dataclass(frozen=True)
class KnownSpring:
    """A spring that was in the unit while it was swept, its anchor as it then stood, with the standard uncertainties of
    its `rate` [1, relative], `free_length` [m] and `initial_tension` [N]. `name` is its place."""

    name: str
    installed: Installed
    rate: float
    free_length: float
    initial_tension: float


@dataclass(frozen=True)
class Reference:
    """A reference `sweep` and the unit as it was then: the springs, `drag` and `stop` [rad], with the standard uncertainties
    `drag_spread`, `stop_spread` [rad] and, of the bench's zero, `zero_spread` [rad]."""

    sweep: Sweep
    springs: tuple[KnownSpring, ...]
    drag: Drag
    drag_spread: Drag
    stop: float
    stop_spread: float
    zero_spread: float

    def moving(self) -> np.ndarray:
        """Which readings (n,) are clearly neither at rest nor at the stop."""
        advance = self.sweep.advance
        top = self.stop - SQRT3 * self.stop_spread
        if self.sweep.zeroed_at is not None:  # advance that was in at the zero is missing at the stop as well
            top = min(top, float(advance.max()))
        return np.asarray((advance > self.sweep.reading) & (advance < top - self.sweep.reading))


@dataclass(frozen=True)
class ReferenceFit:
    """What the sweep says: the `slope` I′(α), and the best `state` (p,) [1] of the parameters of the `priors`, with its
    covariance; `chi2` of the readings that are `kept`, and how many times more than stated they scatter (`inflation`)."""

    given: Reference
    slope: ReferenceSlope
    priors: tuple[Prior, ...]
    state: Array
    covariance: Array
    kept: np.ndarray
    chi2: float
    inflation: float
    converged: bool


def reference_faults(given: Reference) -> list[str]:
    """Why these readings cannot give I′, each as `got …, expected …`; empty if they can."""
    advance = np.degrees(given.sweep.advance)
    moving = given.moving()
    wanted = (
        f"expected at least 3 between rest and the stop of {np.degrees(given.stop):.2f} deg (distributor), spread "
        "over a quarter of the travel or more"
    )
    if not moving.any():
        where = "at the stop" if advance.min() > np.degrees(given.sweep.reading) else "at rest or at the stop"
        return [f"got readings {where} only ({advance.min():.2f} to {advance.max():.2f} deg, distributor); {wanted}"]
    least, most = advance[moving].min(), advance[moving].max()
    if moving.sum() < 3 or most - least < LEAST_SPAN * np.degrees(given.stop):
        many = "1 reading" if moving.sum() == 1 else f"{moving.sum()} readings"
        return [f"got {many} between rest and stop, from {least:.2f} to {most:.2f} deg (distributor); {wanted}"]
    if not (_pointwise(given, 0.0)[1] > 0).any():
        return [
            "got springs that pull at none of its readings, expected those fitted during the sweep; look at their "
            "rate and free length, and at the posts"
        ]
    return []


def fit_reference(given: Reference) -> ReferenceFit:
    """I′ and its uncertainty from a reference sweep that has no faults."""
    priors = _priors(given)
    fit, kept = without_outliers(lambda kept: _solve(given, priors, kept, 1.0), _standardised, len(given.sweep.speed))
    dof = degrees_of_freedom(int(kept.sum()), 1.0 - np.diag(fit.covariance))
    scatter = inflation(fit.chi2, dof)
    return fit if scatter == 1.0 else _solve(given, priors, kept, scatter)


# --- the state and what it should read --------------------------------------------------------------------


def _priors(given: Reference) -> tuple[Prior, ...]:
    """Every parameter of the state; those that are known exactly are left out."""
    points = _pointwise(given, 0.0)
    level = float(np.median(np.log(points[1][points[1] > 0])))
    made = [Prior(f"shape {i}", level if i == 0 else 0.0, float(s)) for i, s in enumerate(SHAPE)]
    for known in given.springs:
        spring = known.installed.spring
        made.append(Prior(f"{known.name} rate", float(np.log(spring.rate)), known.rate))
        made.append(Prior(f"{known.name} free length", spring.free_length, known.free_length, 0.0))
        made.append(Prior(f"{known.name} initial tension", spring.initial_tension, known.initial_tension, 0.0))
    for name, key, most in _RESISTANCES:
        made.append(Prior(name, getattr(given.drag, key), getattr(given.drag_spread, key), 0.0, most))
    made.append(Prior("stop", given.stop, given.stop_spread, 0.3 * given.stop, 2.0 * given.stop))
    made.append(Prior("zero", 0.0, given.zero_spread))
    return tuple(p for p in made if p.spread > 0)


def _unit(given: Reference, values: dict[str, float]) -> Unit:
    """The unit with these parameters; all others are as given."""
    springs = []
    for known in given.springs:
        s, name = known.installed.spring, known.name
        moved = replace(
            s,
            rate=float(np.exp(values.get(f"{name} rate", float(np.log(s.rate))))),
            free_length=values.get(f"{name} free length", s.free_length),
            initial_tension=values.get(f"{name} initial tension", s.initial_tension),
        )
        springs.append(replace(known.installed, spring=moved))
    drag = Drag(*(values.get(name, getattr(given.drag, key)) for name, key, _ in _RESISTANCES))
    shape = tuple(values[f"shape {i}"] for i in range(len(SHAPE)))
    return Unit(ReferenceSlope(given.stop, shape, ()), tuple(springs), drag, values.get("stop", given.stop))


def _values(priors: tuple[Prior, ...], state: Array) -> dict[str, float]:
    return {
        p.name: float(np.clip(p.middle + p.spread * z, p.least, p.most)) for p, z in zip(priors, state, strict=True)
    }


def _predict(
    given: Reference, priors: tuple[Prior, ...], state: Array, speed: Array, rising: np.ndarray
) -> tuple[Array, Array]:
    """The readings (n,) [rad] to expect at these speeds [rad/s] and directions, and their variances [rad²] by the
    uncertainty of speed."""
    values = _values(priors, state)
    made = trace(_unit(given, values), GRID)
    start = float(made.falling_advance(0.0))
    top = float(made.rising_advance(float(given.sweep.speed.max()), start))
    asked = speed_nodes(speed, given.sweep.speed_reading)
    at = np.where(rising[:, None], made.rising_advance(asked, start), made.falling_advance(asked, top))
    mean, variance = over_nodes(at)
    hidden = 0.0 if given.sweep.zeroed_at is None else float(made.rising_advance(given.sweep.zeroed_at, start))
    return mean - hidden - values.get("zero", 0.0), variance


def _pointwise(given: Reference, hidden: float) -> tuple[Array, Array]:
    """Advances [rad] of the readings between rest and stop, `hidden` [rad] added, and I′ [kg·m²/rad] by equation 3 at each."""
    r, d = given.sweep, given.drag
    moving = given.moving()
    at = np.minimum(r.advance[moving] + hidden, given.stop)
    springs = tuple(s.installed for s in given.springs)
    order = np.argsort(at, kind="stable")
    torque = np.empty_like(at)
    torque[order] = spring_torque(springs, tuple(s.takeup(given.stop) for s in springs), at[order])
    sign = np.where(r.rising[moving], 1.0, -1.0)
    moment = np.where(torque > 0, torque + d.rubbing_block + sign * d.friction, 0.0)
    return at, 2 * moment / ((1 - sign * d.friction_share) * r.speed[moving] ** 2)


# --- the fit ----------------------------------------------------------------------------------------------


def _solve(given: Reference, priors: tuple[Prior, ...], kept: np.ndarray, inflation: float) -> ReferenceFit:
    """The best of rough descents from the likeliest starts, descended to its end."""
    noise = given.sweep.reading / SQRT3 * inflation

    def squares(state: Array) -> float:
        mean, variance = _predict(given, priors, state, given.sweep.speed[kept], given.sweep.rising[kept])
        return float(((given.sweep.advance[kept] - mean) ** 2 / (noise**2 + variance)).sum() + (state**2).sum())

    groups = _starts(given, priors)
    starts = [s for group in groups for s in sorted(group, key=squares)[: 3 - len(groups)]]
    first = min((_descend(given, priors, kept, inflation, start, 1e-2) for start in starts), key=lambda end: end[2])
    state, jacobian, least, converged = _descend(given, priors, kept, inflation, first[0])
    covariance = np.asarray(np.linalg.inv(jacobian.T @ jacobian), float)
    shape = slice(0, len(SHAPE))
    scaled = covariance[shape, shape] * np.outer(SHAPE, SHAPE)
    values = _values(priors, state)
    slope = ReferenceSlope(
        given.stop,
        tuple(values[f"shape {i}"] for i in range(len(SHAPE))),
        tuple(tuple(float(x) for x in row) for row in (scaled + scaled.T) / 2),
    )
    chi2 = least - float((state**2).sum())
    return ReferenceFit(given, slope, priors, state, covariance, kept, chi2, inflation, converged)


def _starts(given: Reference, priors: tuple[Prior, ...]) -> list[list[Array]]:
    """States that follow the pointwise I′. A misplaced take-up, or a zero taken with advance in, bends it so that no
    descent finds the way back; both are therefore tried over their ranges, with one list for each zero."""
    hidden = {0.0}
    if given.sweep.zeroed_at is not None:
        hidden.add(max(given.stop - float(given.sweep.advance.max()), 0.0))
    moves = list(product((-2.0, -1.0, 0.0, 1.0, 2.0), repeat=len(given.springs)))
    return [[_start(given, priors, h, move) for move in moves] for h in sorted(hidden)]


def _start(given: Reference, priors: tuple[Prior, ...], hidden: float, moves: tuple[float, ...]) -> Array:
    """The state that follows the pointwise I′, each point known to 20 %, with free lengths moved by `moves` standard
    uncertainties and all else as given."""
    state = np.zeros(len(priors))
    names, springs = [p.name for p in priors], []
    for known, move in zip(given.springs, moves, strict=True):
        state[names.index(f"{known.name} free length")] = move
        spring = known.installed.spring
        moved = replace(spring, free_length=spring.free_length + move * known.free_length)
        springs.append(replace(known, installed=replace(known.installed, spring=moved)))
    at, slope = _pointwise(replace(given, springs=tuple(springs)), hidden)
    at, logs = at[slope > 0], np.log(slope[slope > 0]) - priors[0].middle
    basis = np.polynomial.legendre.legvander(2 * at / given.stop - 1, len(SHAPE) - 1) * SHAPE
    state[: len(SHAPE)] = np.linalg.solve(basis.T @ basis + 0.04 * np.eye(len(SHAPE)), basis.T @ logs)
    return state


def _descend(
    given: Reference,
    priors: tuple[Prior, ...],
    kept: np.ndarray,
    inflation: float,
    start: Array,
    tolerance: float = 1e-4,
) -> tuple[Array, Array, float, bool]:
    """Least squares from `start`: the state, the Jacobian and the sum of squares there, and whether it converged.

    The uncertainties of the readings depend on the slope of the curve; they are held during a descent and worked out
    again for the next one.
    """
    from scipy.optimize import least_squares

    speed, rising = given.sweep.speed[kept], given.sweep.rising[kept]
    read = given.sweep.advance[kept]
    low = np.array([(p.least - p.middle) / p.spread for p in priors])
    high = np.array([(p.most - p.middle) / p.spread for p in priors])
    sigma = np.sqrt(given.sweep.reading**2 / 3 + _predict(given, priors, start, speed, rising)[1]) * inflation

    def residuals(z: Array) -> Array:
        return np.concatenate([(read - _predict(given, priors, z, speed, rising)[0]) / sigma, z])

    ended = least_squares(
        residuals, np.clip(start, low + 1e-9, high - 1e-9), jac=lambda z: _slopes(residuals, z), bounds=(low, high),
        xtol=tolerance, ftol=tolerance, max_nfev=40,
    )  # fmt: skip
    return ended.x, np.asarray(ended.jac, float), float(2 * ended.cost), bool(ended.status > 0)


def _slopes(function: Callable[[Array], Array], state: Array, step: float = 2e-3) -> Array:
    """Jacobian (r, p) by one-sided differences."""
    here = function(state)
    return np.stack([(function(state + step * e) - here) / step for e in np.eye(len(state))], axis=1)


def _standardised(fit: ReferenceFit) -> Array:
    """Standardised residuals (n,) [1] of all readings, including those left out."""
    r = fit.given.sweep
    mean, variance = _predict(fit.given, fit.priors, fit.state, r.speed, r.rising)
    return np.asarray((r.advance - mean) / (fit.inflation * np.sqrt(fit.given.sweep.reading**2 / 3 + variance)))


# --- notes ------------------------------------------------------------------------------------


def reference_notes(fit: ReferenceFit, reach: float) -> list[str]:
    """Notes on I′ from 0 to the largest stop `reach` [rad], and on which readings would help."""
    notes = []
    if not fit.converged:
        notes.append("The reference sweep does not lead to one clear answer: what it says of the weights is doubtful.")
    if not fit.kept.all():
        rows = ", ".join(str(r) for r in fit.given.sweep.row[~fit.kept])
        notes.append(f"Readings of the reference sweep that do not fit a smooth curve are left out: line {rows}.")
    if fit.inflation > 1.0:
        notes.append(
            f"The readings of the reference sweep scatter {fit.inflation:.1f} times more than its ± says. What they "
            "say of the weights is taken as less certain to match."
        )
    notes += [_contradiction(fit, i) for i, z in enumerate(fit.state) if i >= len(SHAPE) and abs(z) > CONTRADICTED]
    grid = np.linspace(0.0, reach, 401)
    over = fit.slope.uncertainty(grid) > TOLD
    edges = np.flatnonzero(np.diff(np.concatenate([[False], over, [False]]).astype(int))).reshape(-1, 2)
    return notes + [_uncertain(fit, grid[first:last]) for first, last in edges]


def _contradiction(fit: ReferenceFit, index: int) -> str:
    name = fit.priors[index].name
    way = "more" if fit.state[index] > 0 else "less"
    return (
        f"The reference sweep needs {way} {_WORDS.get(name, name)} than the job gives, by "
        f"{abs(fit.state[index]):.1f} standard uncertainties: check that number."
    )


def _uncertain(fit: ReferenceFit, stretch: Array) -> str:
    """The note on one stretch [rad] in which I′ is uncertain, and what would help."""
    first, last = np.degrees(stretch[0]), np.degrees(stretch[-1])
    text = (
        f"The reference sweep leaves the turning effect of the weights uncertain by more than {100 * TOLD:.0f} % "
        f"(standard uncertainty) from {first:.1f}° to {last:.1f}° (distributor): "
    )
    if stretch[-1] > fit.given.stop and stretch[0] > 0.9 * fit.given.stop:
        return text + (
            f"the stop was at {np.degrees(fit.given.stop):.1f}° then. Sweep the unit again once the stop has been "
            "filed."
        )
    basis = np.polynomial.legendre.legvander(2 * stretch / fit.given.stop - 1, len(SHAPE) - 1) * SHAPE
    by_reading, speed, rising = _best_reading(fit, basis, stretch)
    by_number, name = _best_number(fit, basis)
    at = f"at about {speed * RPM:.0f} rpm (distributor), speed {'rising' if rising else 'falling'}"
    if by_number < by_reading:
        return text + f"measure the {_WORDS.get(name, name)} more closely. More readings help less; the best are {at}."
    return text + f"take readings {at}."


def _variance_left(basis: Array, covariance: Array) -> float:
    """Mean variance of log I′ over a stretch, basis (n, shape)."""
    shape = covariance[: basis.shape[1], : basis.shape[1]]
    return float(np.einsum("ni,ij,nj->n", basis, shape, basis).mean())


def _best_reading(fit: ReferenceFit, basis: Array, stretch: Array, more: int = 3) -> tuple[float, float, bool]:
    """The variance that `more` readings leave at best, all at one speed at which the advance is in the stretch [rad] or
    next to it; and that speed [rad/s] and direction."""
    made = trace(_unit(fit.given, _values(fit.priors, fit.state)), GRID)
    inside = (made.advance >= stretch[0]) & (made.advance <= max(float(stretch[-1]), float(made.advance[4])))
    turning = made.falling > 0
    near = inside & turning if (inside & turning).any() else turning
    rising = np.repeat([True, False], near.sum())
    speeds = np.sqrt(np.concatenate([made.rising[near], made.falling[near]]))
    speeds = np.round(speeds * RPM, -1) / RPM  # whole tens of rpm
    variance = _predict(fit.given, fit.priors, fit.state, speeds, rising)[1]
    noise = fit.inflation**2 * (fit.given.sweep.reading**2 / 3 + variance) / more
    slopes = _slopes(lambda z: _predict(fit.given, fit.priors, z, speeds, rising)[0], fit.state)
    left = [_variance_left(basis, _learnt(fit.covariance, j, n)) for j, n in zip(slopes, noise, strict=True)]
    best = int(np.argmin(left))
    return left[best], float(speeds[best]), bool(rising[best])


def _best_number(fit: ReferenceFit, basis: Array) -> tuple[float, str]:
    """The variance that is left at best if one of the given numbers were known exactly, and its name."""
    names = [p.name for p in fit.priors]
    unit = np.eye(len(names))
    left = {
        n: _variance_left(basis, _learnt(fit.covariance, unit[i], 0.0)) for i, n in enumerate(names) if i >= len(SHAPE)
    }
    best = min(left, key=lambda n: left[n])
    return left[best], best


def _learnt(covariance: Array, direction: Array, noise: float) -> Array:
    """The covariance after direction · state has been measured with variance `noise` (linear Bayesian update)."""
    column = covariance @ direction
    return np.asarray(covariance - np.outer(column, column) / (float(column @ direction) + noise + 1e-30))
