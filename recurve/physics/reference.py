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
from recurve.units import SQRT3


@dataclass(frozen=True)
class Readings:
    """A sweep as written: `speed` [rad/s], `advance` [rad], `rising` (bool), `row` line numbers; all (n,)."""

    speed: Array
    advance: Array
    rising: np.ndarray
    row: np.ndarray


# Three-point Gauss–Hermite rule over the uncertainty of speed, so that a steep flank is known to scatter.
NODES = np.array([-SQRT3, 0.0, SQRT3])
NODE_WEIGHTS = np.array([1.0, 4.0, 1.0]) / 6.0
# Prior standard uncertainties of the Legendre coefficients of log I′ over the travel: the level is free, the
# others are two to three times the root mean square of random slot and link mechanisms, so that those fit with ease.
SHAPE = np.array([3.0, 0.4, 0.1, 0.03, 0.01])
GRID = 121  # advances of a trial curve: it then errs by 0.001° or so
OUTLIER = 4.0  # standardised residual beyond which a reading is left out
MOST_OUTLIERS = 0.2  # share of the readings
UNCERTAIN = 0.10  # relative standard uncertainty that is told, with what would help
DOUBTED = 2.0  # prior standard uncertainties by which the sweep contradicts a given number
LEAST_SPAN = 0.25  # of the travel that readings on the way must span
_RESISTANCES = (
    ("drag", "rubbing_block", 0.1),
    ("friction", "friction", 0.05),
    ("friction share", "friction_share", 0.4),
)
_WORDS = {"drag": "drag of the rubbing block", "stop": "advance at its stop", "zero": "shift of the zero"}
Priors = tuple[tuple[str, float, float, float, float], ...]


@dataclass(frozen=True)
class KnownSpring:
    """A spring that was in while it was swept, its anchor where it then stood; standard uncertainties of its
    rate [1, relative], `free_length` [m] and `initial_tension` [N]. `name` is its place."""

    name: str
    installed: Installed
    rate: float
    free_length: float
    initial_tension: float


@dataclass(frozen=True)
class Reference:
    """A reference sweep: `readings` in distributor terms, `reading` [rad] and `speed_reading` [rad/s] their ±
    limits, `zeroed_at` [rad/s] or None; the springs; `drag` and `stop` [rad] while it was swept, with standard
    uncertainties `drag_spread`, `stop_spread` and, of the bench's zero, `zero_spread` [rad]."""

    readings: Readings
    reading: float
    speed_reading: float
    zeroed_at: float | None
    springs: tuple[KnownSpring, ...]
    drag: Drag
    drag_spread: Drag
    stop: float
    stop_spread: float
    zero_spread: float

    def moving(self) -> np.ndarray:
        """Which readings (n,) are clearly neither at rest nor at the stop."""
        advance = self.readings.advance
        top = self.stop - SQRT3 * self.stop_spread
        if self.zeroed_at is not None:  # what was in at the zero is missing at the stop as well
            top = min(top, float(advance.max()))
        return np.asarray((advance > self.reading) & (advance < top - self.reading))


@dataclass(frozen=True)
class ReferenceFit:
    """What the sweep says: `slope`, and the best `state` (p,) [1] with its covariance, `names` and priors alike;
    `chi2` of the readings kept (`kept`), `inflation` how much more than stated they scatter."""

    given: Reference
    slope: ReferenceSlope
    priors: Priors
    state: Array
    covariance: Array
    kept: np.ndarray
    chi2: float
    inflation: float
    converged: bool


def reference_faults(given: Reference) -> list[str]:
    """Why these readings cannot give I′, each `got …, expected …`; empty where they can."""
    advance = np.degrees(given.readings.advance)
    moving = given.moving()
    wanted = (
        f"expected at least 3 on the way between rest and the stop of {np.degrees(given.stop):.2f} deg, spread over a quarter "
        "of the travel or more"
    )
    if not moving.any():
        where = "at the stop" if advance.min() > np.degrees(given.reading) else "at rest or at the stop"
        return [f"got readings {where} only ({advance.min():.2f} to {advance.max():.2f} deg, distributor); {wanted}"]
    least, most = advance[moving].min(), advance[moving].max()
    if moving.sum() < 3 or most - least < LEAST_SPAN * np.degrees(given.stop):
        many = "1 reading" if moving.sum() == 1 else f"{moving.sum()} readings"
        return [f"got {many} on the way, from {least:.2f} to {most:.2f} deg (distributor); {wanted}"]
    if not (_pointwise(given, 0.0)[1] > 0).any():
        return [
            "got springs that pull at none of its readings, expected those that were in it: look at their rate and free "
            "length, and at the posts"
        ]
    return []


def fit_reference(given: Reference) -> ReferenceFit:
    """I′ and its uncertainty from a reference sweep that has no faults."""
    priors = _priors(given)
    kept = np.ones(len(given.readings.speed), bool)
    fit = _solve(given, priors, kept, 1.0)
    while (~kept).sum() + 1 <= MOST_OUTLIERS * len(kept):
        residual = np.where(kept, np.abs(_standardised(fit)), 0.0)
        if residual.max() < OUTLIER:
            break
        kept = kept.copy()
        kept[int(residual.argmax())] = False
        fit = _solve(given, priors, kept, 1.0)
    inflation = _inflation(fit)
    return fit if inflation == 1.0 else _solve(given, priors, kept, inflation)


def _inflation(fit: ReferenceFit) -> float:
    """Scatter against what was stated: only an excess that chance makes once in a hundred sweeps counts."""
    from scipy.stats import chi2

    learnt = float(np.clip(1.0 - np.diag(fit.covariance), 0.0, 1.0).sum())
    dof = max(float(fit.kept.sum()) - learnt, 1.0)
    return float(np.sqrt(fit.chi2 / dof)) if chi2.sf(fit.chi2, dof) < 0.01 else 1.0


# --- the state and what it should read --------------------------------------------------------------------


def _priors(given: Reference) -> Priors:
    """Every parameter: name, middle, standard uncertainty, least and most it may physically be."""
    points = _pointwise(given, 0.0)
    level = float(np.median(np.log(points[1][points[1] > 0])))
    far = np.inf
    made = [(f"shape {i}", level if i == 0 else 0.0, float(s), -far, far) for i, s in enumerate(SHAPE)]
    for known in given.springs:
        spring = known.installed.spring
        made.append((f"{known.name} rate", float(np.log(spring.rate)), known.rate, -far, far))
        made.append((f"{known.name} free length", spring.free_length, known.free_length, 0.0, far))
        made.append((f"{known.name} initial tension", spring.initial_tension, known.initial_tension, 0.0, far))
    for name, key, most in _RESISTANCES:
        made.append((name, getattr(given.drag, key), getattr(given.drag_spread, key), 0.0, most))
    made.append(("stop", given.stop, given.stop_spread, 0.3 * given.stop, 2.0 * given.stop))
    made.append(("zero", 0.0, given.zero_spread, -far, far))
    return tuple(p for p in made if p[2] > 0)


def _unit(given: Reference, values: dict[str, float]) -> Unit:
    """The unit as these parameters have it; what is not among them is as given."""
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


def _values(priors: Priors, state: Array) -> dict[str, float]:
    return {p[0]: float(np.clip(p[1] + p[2] * z, p[3], p[4])) for p, z in zip(priors, state, strict=True)}


def _predict(given: Reference, priors: Priors, state: Array, speed: Array, rising: np.ndarray) -> tuple[Array, Array]:
    """Readings expected (n,) [rad] at these speeds [rad/s] and directions, and their variances [rad²] by the
    uncertainty of speed."""
    values = _values(priors, state)
    made = trace(_unit(given, values), GRID)
    start = float(made.falling_advance(0.0))
    top = float(made.rising_advance(float(given.readings.speed.max()), start))
    asked = np.maximum(speed[:, None] + NODES * given.speed_reading / SQRT3, 1e-3)
    at = np.where(rising[:, None], made.rising_advance(asked, start), made.falling_advance(asked, top))
    mean = at @ NODE_WEIGHTS
    hidden = 0.0 if given.zeroed_at is None else float(made.rising_advance(given.zeroed_at, start))
    return mean - hidden - values.get("zero", 0.0), ((at - mean[:, None]) ** 2) @ NODE_WEIGHTS


def _pointwise(given: Reference, hidden: float) -> tuple[Array, Array]:
    """Advances [rad] of the readings on the way, `hidden` [rad] added, and equation 3 for I′ [kg·m²/rad] at each."""
    r, d = given.readings, given.drag
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


def _solve(given: Reference, priors: Priors, kept: np.ndarray, inflation: float) -> ReferenceFit:
    """The better of two descents from the likeliest starts, gone on with."""
    noise = given.reading / SQRT3 * inflation

    def squares(state: Array) -> float:
        mean, variance = _predict(given, priors, state, given.readings.speed[kept], given.readings.rising[kept])
        return float(((given.readings.advance[kept] - mean) ** 2 / (noise**2 + variance)).sum() + (state**2).sum())

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


def _starts(given: Reference, priors: Priors) -> list[list[Array]]:
    """States that follow the pointwise I′: a take-up that is misplaced, or a zero taken with advance in, bends it
    in ways from which no descent finds back. Both are tried over what they may be; one list for each zero."""
    hidden = {0.0}
    if given.zeroed_at is not None:
        hidden.add(max(given.stop - float(given.readings.advance.max()), 0.0))
    moves = list(product((-2.0, -1.0, 0.0, 1.0, 2.0), repeat=len(given.springs)))
    return [[_start(given, priors, h, move) for move in moves] for h in sorted(hidden)]


def _start(given: Reference, priors: Priors, hidden: float, moves: tuple[float, ...]) -> Array:
    """The state that follows the pointwise I′, each taken to ± 20 %, free lengths moved by so many standard
    uncertainties, all else as given."""
    state = np.zeros(len(priors))
    names, springs = [p[0] for p in priors], []
    for known, move in zip(given.springs, moves, strict=True):
        state[names.index(f"{known.name} free length")] = move
        spring = known.installed.spring
        moved = replace(spring, free_length=spring.free_length + move * known.free_length)
        springs.append(replace(known, installed=replace(known.installed, spring=moved)))
    at, slope = _pointwise(replace(given, springs=tuple(springs)), hidden)
    at, logs = at[slope > 0], np.log(slope[slope > 0]) - priors[0][1]
    basis = np.polynomial.legendre.legvander(2 * at / given.stop - 1, len(SHAPE) - 1) * SHAPE
    state[: len(SHAPE)] = np.linalg.solve(basis.T @ basis + 0.04 * np.eye(len(SHAPE)), basis.T @ logs)
    return state


def _descend(
    given: Reference, priors: Priors, kept: np.ndarray, inflation: float, start: Array, tolerance: float = 1e-4
) -> tuple[Array, Array, float, bool]:
    """Least squares from `start`: the state, the Jacobian and the sum of squares there, and whether it converged.

    The readings' own uncertainties hang on the slope of the curve; they are held during a descent and
    taken anew for the next.
    """
    from scipy.optimize import least_squares

    speed, rising = given.readings.speed[kept], given.readings.rising[kept]
    read = given.readings.advance[kept]
    low = np.array([(p[3] - p[1]) / p[2] for p in priors])
    high = np.array([(p[4] - p[1]) / p[2] for p in priors])
    sigma = np.sqrt(given.reading**2 / 3 + _predict(given, priors, start, speed, rising)[1]) * inflation

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
    """Residuals (n,) [1] of all readings, those left out too."""
    r = fit.given.readings
    mean, variance = _predict(fit.given, fit.priors, fit.state, r.speed, r.rising)
    return np.asarray((r.advance - mean) / (fit.inflation * np.sqrt(fit.given.reading**2 / 3 + variance)))


# --- what must be said ------------------------------------------------------------------------------------


def reference_notes(fit: ReferenceFit, reach: float) -> list[str]:
    """What must be said of I′ from 0 to the largest stop `reach` [rad], and which reading would help."""
    notes = []
    if not fit.converged:
        notes.append("The reference sweep could not be explained to the end: take I′ from it with doubt.")
    if not fit.kept.all():
        rows = ", ".join(str(r) for r in fit.given.readings.row[~fit.kept])
        notes.append(f"Readings of the reference sweep that no smooth I′ explains are left out: line {rows}.")
    if fit.inflation > 1.0:
        notes.append(
            f"The reference sweep scatters {fit.inflation:.1f} times more than its ± says: I′ is taken as so much less certain."
        )
    notes += [_doubt(fit, i) for i, z in enumerate(fit.state) if i >= len(SHAPE) and abs(z) > DOUBTED]
    grid = np.linspace(0.0, reach, 401)
    over = fit.slope.uncertainty(grid) > UNCERTAIN
    edges = np.flatnonzero(np.diff(np.concatenate([[False], over, [False]]).astype(int))).reshape(-1, 2)
    return notes + [_uncertain(fit, grid[first:last]) for first, last in edges]


def _doubt(fit: ReferenceFit, index: int) -> str:
    name = fit.priors[index][0]
    way = "more" if fit.state[index] > 0 else "less"
    return (
        f"The reference sweep asks for {way} {_WORDS.get(name, name)} than is given, by {abs(fit.state[index]):.1f} standard "
        "uncertainties: check it."
    )


def _uncertain(fit: ReferenceFit, stretch: Array) -> str:
    """One stretch [rad] where I′ is uncertain, and what would help."""
    first, last = np.degrees(stretch[0]), np.degrees(stretch[-1])
    text = (
        f"I′ from the reference sweep is uncertain by more than {100 * UNCERTAIN:.0f} % (standard uncertainty) from "
        f"{first:.1f}° to {last:.1f}° (distributor): "
    )
    if stretch[-1] > fit.given.stop and stretch[0] > 0.9 * fit.given.stop:
        return text + f"its stop was at {np.degrees(fit.given.stop):.1f}°; sweep it again once the stop has been filed."
    basis = np.polynomial.legendre.legvander(2 * stretch / fit.given.stop - 1, len(SHAPE) - 1) * SHAPE
    by_reading, speed, rising = _best_reading(fit, basis, stretch)
    by_number, name = _best_number(fit, basis)
    at = f"at about {speed * 30 / np.pi:.0f} rpm, speed {'rising' if rising else 'falling'}"
    if by_number < by_reading:
        return text + f"know the {_WORDS.get(name, name)} better; more readings, best {at}, help less."
    return text + f"take readings {at}."


def _left(basis: Array, covariance: Array) -> float:
    """Mean variance of log I′ over a stretch, basis (n, shape)."""
    shape = covariance[: basis.shape[1], : basis.shape[1]]
    return float(np.einsum("ni,ij,nj->n", basis, shape, basis).mean())


def _best_reading(fit: ReferenceFit, basis: Array, stretch: Array, more: int = 3) -> tuple[float, float, bool]:
    """What variance so many more readings leave at best, all at one speed at which the advance is in the stretch
    [rad] or next to it; that speed [rad/s] and direction."""
    made = trace(_unit(fit.given, _values(fit.priors, fit.state)), GRID)
    inside = (made.advance >= stretch[0]) & (made.advance <= max(float(stretch[-1]), float(made.advance[4])))
    turning = made.falling > 0
    near = inside & turning if (inside & turning).any() else turning
    rising = np.repeat([True, False], near.sum())
    speeds = np.sqrt(np.concatenate([made.rising[near], made.falling[near]]))
    speeds = np.round(speeds * 3 / np.pi) * np.pi / 3  # whole tens of rpm
    variance = _predict(fit.given, fit.priors, fit.state, speeds, rising)[1]
    noise = fit.inflation**2 * (fit.given.reading**2 / 3 + variance) / more
    slopes = _slopes(lambda z: _predict(fit.given, fit.priors, z, speeds, rising)[0], fit.state)
    left = [_left(basis, _learnt(fit.covariance, j, n)) for j, n in zip(slopes, noise, strict=True)]
    best = int(np.argmin(left))
    return left[best], float(speeds[best]), bool(rising[best])


def _best_number(fit: ReferenceFit, basis: Array) -> tuple[float, str]:
    """What variance is left if one of the given numbers were known exactly, and which."""
    names = [p[0] for p in fit.priors]
    unit = np.eye(len(names))
    left = {n: _left(basis, _learnt(fit.covariance, unit[i], 0.0)) for i, n in enumerate(names) if i >= len(SHAPE)}
    best = min(left, key=lambda n: left[n])
    return left[best], best


def _learnt(covariance: Array, direction: Array, noise: float) -> Array:
    """The covariance once direction · state has been measured with this variance (Bayes, linear)."""
    column = covariance @ direction
    return np.asarray(covariance - np.outer(column, column) / (float(column @ direction) + noise + 1e-30))
