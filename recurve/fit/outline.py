"""The curve that the readings of a sweep draw by themselves, with no mechanism assumed.

At the rising speed ω₊ the balance of moments (recurve.physics) makes ω₊² of an advance α proportional to the moment of
springs and drag over I′(α), which is close to straight between take-ups. The outline is therefore drawn as speed squared
over advance: straight between free knees, never falling, with a plateau where a second spring takes up with a tension,
up to a largest advance:

    x(α) = x₀ + d₁ [α/a] + d₂ [(α − a)/(b − a)] + J (α > b) + d₃ [(α − b)/(m − b)],   x = ω₊², [·] cut to 0 … 1      (1)
    falling:  ω₋²(α) = (1 − q) x(α) − p                                                                              (2)

p and q ≥ 0 are what a constant friction and one in proportion to the load would make of it. x₀ < 0 is a unit that does not
come back. The priors are broad and only keep what the readings do not tell within what a distributor can do. A wild reading
is left out where it stands out, or where without it the others scatter no more than stated and it lies far off them.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np

from recurve.arrays import Array
from recurve.fit.posterior import ENOUGH_SAMPLES, Mode, Samples, find_modes, sample, spread_starts
from recurve.physics.sweep import Sweep
from recurve.uncertainty import (
    OUTLIER,
    Sampled,
    degrees_of_freedom,
    inflation,
    over_nodes,
    robust_scatter,
    without_outliers,
)
from recurve.units import Quantity

# Each number of a state, as its prior standard deviation has it: least and most it may be.
BOUNDS = {
    "start": (-4.0, 5.0),
    "first": (-4.0, 5.0),
    "second": (-4.0, 5.0),
    "third": (-4.0, 5.0),
    "lower knee": (-3.5, 3.5),
    "upper knee": (-3.5, 3.5),
    "plateau": (0.0, 6.0),
    "largest": (-4.0, 4.0),
    "friction": (0.0, 6.0),
    "friction in proportion": (0.0, 5.0),
    "zero": (-6.0, 6.0),
}
# Prior middles and standard deviations. Speeds squared are told as parts of the highest one swept.
START, STRETCH, PLATEAU, FRICTION = (0.15, 0.25), (0.2, 1.2), 0.05, 0.04
FRICTION_IN_PROPORTION, LARGEST = 0.06, 0.25
LEAST_REACH = np.radians(3.0)  # a distributor advances at least so far; common practice, no source
ZERO = np.radians(0.1)  # of a bench zero, as data/ranges.toml [fit] has it
UNKNOWN_ZERO = np.radians(10.0)  # readings at the crank whose static timing was not given
SHAPE = np.radians(0.05)  # how far three straight pieces may lie from a true curve; derived, held by a study
WHEEL = np.radians(0.3)  # standard uncertainty of a stop measured without a ±; common practice, no source
MORE_STARTS = 5
BELOW, ABOVE = 0.85, 1.05  # of the slowest and fastest reading of a direction: so far an outline is trusted
COMPLETE = 0.97  # of the highest speed: an advance complete only past it may still have been climbing


@dataclass(frozen=True)
class Pieces:
    """Outlines of many states (n,), equation (1): `start` x₀, `steps` (n, 3) d₁ to d₃, `plateau` J and `constant` p
    [rad²/s²]; `largest` m and `zero` [rad]; knees `lower` a/m and `upper` b/m and `proportion` q [1]."""

    start: Array
    steps: Array
    plateau: Array
    largest: Array
    lower: Array
    upper: Array
    constant: Array
    proportion: Array
    zero: Array

    @property
    def end(self) -> Array:
        """x(m), the rising speed squared at which the advance is complete (n,) [rad²/s²]."""
        return np.asarray(self.start + self.steps.sum(axis=1) + self.plateau)

    def advance(self, speed: Array, falling: bool) -> Array:
        """Advance (n, k) [rad] at speeds (k,) or (n, k) [rad/s], by (1) or (2) alone: where a sweep begins or turns is
        not looked at."""
        x = np.broadcast_to(np.square(speed), (len(self.start), np.shape(speed)[-1]))
        stretch = np.ones((len(x), 1))
        if falling:
            x, stretch = x + self.constant[:, None], (1.0 - self.proportion)[:, None]
        ends = self.start, self.start + self.steps[:, 0], self.start + self.steps[:, :2].sum(axis=1) + self.plateau
        shares = self.lower, self.upper - self.lower, 1.0 - self.upper
        parts = [
            share[:, None] * np.clip((x - begin[:, None] * stretch) / (step[:, None] * stretch), 0.0, 1.0)
            for begin, step, share in zip(ends, self.steps.T, shares, strict=True)
        ]
        return np.asarray(self.largest[:, None] * np.sum(parts, axis=0))

    def speed_squared(self, advance: Array) -> Array:
        """Mean of rising and falling speed squared (n, k) [rad²/s²] at advances (k,) [rad], nan past the largest:
        what springs and drag alone make of it, friction taken out."""
        part = np.asarray(advance)[None, :] / self.largest[:, None]
        edges = np.zeros_like(self.lower), self.lower, self.upper
        widths = self.lower, self.upper - self.lower, 1.0 - self.upper
        x = self.start[:, None] + self.plateau[:, None] * (part > self.upper[:, None])
        for edge, width, step in zip(edges, widths, self.steps.T, strict=True):
            x = x + step[:, None] * np.clip((part - edge[:, None]) / width[:, None], 0.0, 1.0)
        middle = (1.0 - self.proportion[:, None] / 2) * x - self.constant[:, None] / 2
        return np.asarray(np.where(part <= 1.0, middle, np.nan))


@dataclass(frozen=True)
class OutlineModel:
    """The outline of a sweep as a model of its readings, and of the largest advance by a degree wheel, `stop` [rad], where
    it was measured. A state is a vector of numbers of order 1, in the order of BOUNDS: prior middle 0, prior standard
    deviation 1."""

    sweep: Sweep
    stop: Quantity | None = None

    @cached_property
    def _top(self) -> tuple[float, float]:
        """The highest speed squared [rad²/s²] and, about, the largest advance read [rad]."""
        return float(self.sweep.speed.max()) ** 2, max(float(self.sweep.advance.max()), LEAST_REACH)

    def bounds(self) -> tuple[Array, Array]:
        """Least and most of each number of a state, (size,) [1]."""
        low, high = np.array(list(BOUNDS.values())).T
        return low, high

    def pieces(self, states: Array) -> Pieces:
        """The states (n, size) [1] as outlines."""
        from scipy.special import ndtr

        square, reach = self._top
        z = dict(zip(BOUNDS, states.T, strict=True))
        lower = ndtr(z["lower knee"])
        steps = np.stack([z[name] for name in ("first", "second", "third")], axis=1)
        return Pieces(
            start=square * (START[0] + START[1] * z["start"]),
            steps=square * STRETCH[0] * np.exp(STRETCH[1] * steps),
            plateau=square * PLATEAU * z["plateau"],
            largest=reach * np.exp(LARGEST * z["largest"]),
            lower=lower,
            upper=lower + (1.0 - lower) * ndtr(z["upper knee"]),
            constant=square * FRICTION * z["friction"],
            proportion=FRICTION_IN_PROPORTION * z["friction in proportion"],
            zero=(ZERO if self.sweep.static_known else UNKNOWN_ZERO) * z["zero"],
        )

    def ends(self, pieces: Pieces) -> tuple[Array, Array]:
        """What stays in at a standstill, where a rising sweep begins, and the highest advance reached, where a falling
        one begins, (n, 1) [rad] each."""
        start = pieces.advance(np.zeros(1), falling=True)
        return start, np.maximum(pieces.advance(np.array([self.sweep.speed.max()]), falling=False), start)

    def rising(self, pieces: Pieces, speed: Array) -> Array:
        """Advance (n, k) [rad] at rising speeds [rad/s]."""
        return np.maximum(pieces.advance(speed, falling=False), self.ends(pieces)[0])

    def falling(self, pieces: Pieces, speed: Array) -> Array:
        """Advance (n, k) [rad] at falling speeds [rad/s]."""
        return np.minimum(pieces.advance(speed, falling=True), self.ends(pieces)[1])

    def misfit(self, states: Array) -> tuple[Array, Array]:
        """Standardised residuals (n, readings) [1] and their standard uncertainties [rad], the wheel's last if it was read."""
        pieces, sweep = self.pieces(states), self.sweep
        speeds = sweep.nodes()
        up = np.asarray(sweep.rising, bool)
        at = np.empty((len(states), *speeds.shape))
        at[:, up] = self.rising(pieces, speeds[up].ravel()).reshape(len(states), -1, 3)
        at[:, ~up] = self.falling(pieces, speeds[~up].ravel()).reshape(len(states), -1, 3)
        mean, variance = over_nodes(at)
        sigma = np.sqrt(sweep.variance(variance) + SHAPE**2)
        residual = (sweep.advance + self.hidden(pieces)[:, None] - mean) / sigma
        if self.stop is None:
            return residual, sigma
        wheel = self.stop.standard_uncertainty or WHEEL
        off = (self.stop.value - pieces.largest) / wheel
        return np.column_stack([residual, off]), np.column_stack([sigma, np.full(len(off), wheel)])

    def hidden(self, pieces: Pieces) -> Array:
        """What a reading lacks of the true advance (n,) [rad]: the zero's error, and what was in where it was taken."""
        if self.sweep.zeroed_at is None:
            return pieces.zero
        return np.asarray(pieces.zero + self.rising(pieces, np.array([self.sweep.zeroed_at]))[:, 0])

    def log_density(self, states: Array) -> Array:
        """Log of the posterior density (n,) [1], up to a constant; −inf outside the bounds."""
        low, high = self.bounds()
        inside = ((states >= low) & (states <= high)).all(axis=1)
        result = np.full(len(states), -np.inf)
        if inside.any():
            kept = states[inside]
            residual, sigma = self.misfit(kept)
            result[inside] = -0.5 * (residual**2).sum(axis=1) - np.log(sigma).sum(axis=1) - 0.5 * (kept**2).sum(axis=1)
        return result

    def modes(self) -> tuple[Mode, ...]:
        """The best states, the highest first."""
        low, high = self.bounds()

        def residuals(states: Array) -> Array:
            return np.concatenate([self.misfit(states)[0], states], axis=1)

        starts = spread_starts(self.log_density, low, high, MORE_STARTS)
        return find_modes(residuals, self.log_density, starts, low, high)

    def samples(self, modes: tuple[Mode, ...], enough: float = ENOUGH_SAMPLES) -> Samples:
        """Weighted samples of the posterior, worth `enough` equal ones [1]."""
        return sample(self.log_density, modes, enough=enough)


STATES = 2048
SUSPECTS = 4  # readings, the farthest off first, that are tried as the one that makes all others scatter
LEAST_EFFECTIVE = 100.0  # equal samples below which the outline has not settled


@dataclass(frozen=True)
class Outline:
    """A fitted outline: equally likely `pieces`, the `model` they belong to, with the readings that were kept and their
    ± as enlarged by `inflation` [1]; `outliers` are rows of the CSV, `expected` (readings,) [rad] what each reading of the
    whole sweep should show; `settled` tells whether the sampling reached an answer."""

    model: OutlineModel
    pieces: Pieces
    outliers: tuple[int, ...]
    expected: Array
    inflation: float
    chi2: float
    dof: float
    settled: bool

    @cached_property
    def counts_from(self) -> float | None:
        """The speed [rad/s] at which zero was set with the shaft turning: all advances below count from what was in there, which
        no reading shows. None where they count from the weights held home, or where the wheel tells the largest advance."""
        return None if self.model.stop is not None else self.model.sweep.zeroed_at

    @cached_property
    def _not_shown(self) -> Array:
        """What was in where zero was set (states,) [rad]."""
        if self.counts_from is None:
            return np.zeros(len(self.pieces.start))
        return np.asarray(self.model.rising(self.pieces, np.array([self.counts_from]))[:, 0])

    def rising(self, speed: float) -> Sampled:
        """Advance [rad] at the speed [rad/s], rising."""
        return Sampled(self.model.rising(self.pieces, np.array([speed]))[:, 0] - self._not_shown)

    def falling(self, speed: float) -> Sampled:
        """Advance [rad] at the speed [rad/s], falling from the highest advance reached."""
        return Sampled(self.model.falling(self.pieces, np.array([speed]))[:, 0] - self._not_shown)

    def was_read(self, speed: float, rising: bool) -> bool:
        """Whether the sweep was read near this speed [rad/s] in a direction, so that the outline tells of it."""
        sweep = self.model.sweep
        at = sweep.speed[np.asarray(sweep.rising, bool) == rising]
        return bool(len(at)) and BELOW * float(at.min()) <= speed <= ABOVE * float(at.max())

    def stays_in(self, idle: float) -> Sampled | None:
        """Advance [rad] at idle speed [rad/s], falling; None if the sweep was not read down to there, or its zero was set with
        the shaft turning, which hides it."""
        return self.falling(idle) if self.counts_from is None and self.was_read(idle, False) else None

    @cached_property
    def onset(self) -> Sampled | None:
        """Rising speed [rad/s] at which advance begins; None where the readings do not tell: it begins below the lowest of
        them, or where the bench was zeroed."""
        begins = Sampled(np.sqrt(np.maximum(self.pieces.start, 0.0)))
        return begins if float(np.median(begins.sample)) > self.lowest else None

    @cached_property
    def lowest(self) -> float:
        """The lowest speed [rad/s] from which rising readings show where advance begins."""
        sweep = self.model.sweep
        up = sweep.speed[np.asarray(sweep.rising, bool)]
        read = float(up.min()) if len(up) else float(sweep.speed.min())
        return max(read, sweep.zeroed_at or 0.0)

    @cached_property
    def largest(self) -> Sampled:
        """The largest advance reached in the sweep [rad]."""
        return Sampled(self.model.ends(self.pieces)[1][:, 0] - self._not_shown)

    @cached_property
    def all_in(self) -> Sampled:
        """Rising speed [rad/s] at which the advance is complete; past the sweep's end where it still climbs there."""
        return Sampled(np.sqrt(np.maximum(self.pieces.end, 0.0)))

    @cached_property
    def complete(self) -> float:
        """Probability [1] that the advance was complete before the sweep's end."""
        return float((self.pieces.end < (COMPLETE * self.model.sweep.speed.max()) ** 2).mean())

    def shown(self, sweep: Sweep) -> Array:
        """What every reading of the sweep (n,) should show, by each state (states, n) [rad]."""
        rising, falling = self.model.rising(self.pieces, sweep.speed), self.model.falling(self.pieces, sweep.speed)
        return np.asarray(np.where(sweep.rising, rising, falling) - self.model.hidden(self.pieces)[:, None])

    def gap(self, speeds: Array) -> Array:
        """Falling less rising advance (states, k) [rad] at the speeds (k,) [rad/s]."""
        return np.asarray(self.model.falling(self.pieces, speeds) - self.model.rising(self.pieces, speeds))

    @cached_property
    def apart(self) -> Sampled:
        """Falling less rising advance [rad], the upper quartile over the speeds where the curve climbs: from where advance
        begins to where it is complete. Below that the two meet, whatever the friction."""
        begin, end = np.maximum(self.pieces.start, 0.0)[:, None], self.pieces.end[:, None]
        speed = np.sqrt(np.maximum(begin + np.linspace(0.0, 1.0, 40) * (end - begin), 1.0))
        gap = self.pieces.advance(speed, falling=True) - self.pieces.advance(speed, falling=False)
        return Sampled(np.quantile(gap, 0.75, axis=1))


def _agreement(sweep: Sweep, stop: Quantity | None, kept: np.ndarray, mode: Mode) -> tuple[float, float, float]:
    """χ² [1] of the readings that are kept (n,) bool, by a mode of theirs; its degrees of freedom [1]; how many times more they
    scatter than stated [1]."""
    model = OutlineModel(sweep.kept(kept), stop)
    chi2 = float((model.misfit(mode.state[None])[0] ** 2).sum())
    dof = degrees_of_freedom(int(kept.sum()), 1.0 - np.diag(mode.covariance))
    return chi2, dof, inflation(chi2, dof)


def scatter_about_outline(sweep: Sweep, stop: Quantity | None) -> tuple[float, float]:
    """How many times more than stated [1] all readings of a sweep, none left out, scatter about the best outline; and χ² for
    each degree of freedom [1]."""
    [best, *_] = OutlineModel(sweep, stop).modes()
    chi2, dof, scatter = _agreement(sweep, stop, np.ones(len(sweep.speed), bool), best)
    return scatter, chi2 / dof


def fit_outline(sweep: Sweep, stop: Quantity | None = None, enough: float = ENOUGH_SAMPLES) -> Outline:
    """The outline of a sweep [rad, rad/s] and, where it was measured, of the `stop` [rad]. Outliers are left out,
    uncertainties enlarged where the readings scatter. The samples are worth `enough` equal ones [1]."""
    whole = OutlineModel(sweep, stop)

    def fitted(kept: np.ndarray) -> tuple[Mode, ...]:
        return OutlineModel(sweep.kept(kept), stop).modes()

    def standardised(modes: tuple[Mode, ...]) -> Array:
        return np.asarray(whole.misfit(modes[0].state[None])[0][0][: len(sweep.speed)] * sweep.single)

    modes, kept = without_outliers(fitted, standardised, len(sweep.speed), robust_scatter)
    chi2, dof, scatter = _agreement(sweep, stop, kept, modes[0])
    if scatter > 1.0 and kept.all():
        # An outline bends, and goes half the way to a wild reading. Others then lie off as well, and none stands out.
        for one in np.argsort(-np.abs(standardised(modes)))[:SUSPECTS]:
            fewer = np.arange(len(kept)) != one
            found = fitted(fewer)
            agreement = _agreement(sweep, stop, fewer, found[0])
            if agreement[2] == 1.0 and abs(standardised(found)[one]) > OUTLIER:
                modes, kept, (chi2, dof, scatter) = found, fewer, agreement
                break
    model = OutlineModel(sweep.kept(kept), stop)
    if scatter > 1.0:
        model = OutlineModel(model.sweep.scattered(scatter), stop)
        modes = model.modes()
    samples = model.samples(modes, enough)
    best = whole.pieces(modes[0].state[None])
    shown = np.where(sweep.rising, whole.rising(best, sweep.speed)[0], whole.falling(best, sweep.speed)[0])
    return Outline(
        model=model,
        pieces=model.pieces(samples.equal(STATES)),
        outliers=tuple(int(r) for r in sweep.row[~kept]),
        expected=shown - whole.hidden(best)[0],
        inflation=scatter,
        chi2=chi2,
        dof=dof,
        settled=samples.effective >= LEAST_EFFECTIVE,
    )
