"""The posterior of a state: its modes, by least squares from many starts, then weighted samples of it.

A normal distribution about the best state is too simple, since take-ups and stops bend the likelihood. Each mode
therefore gives a Student t component. Samples of the mixture of components are weighted by the posterior, and the mixture
is fitted to them, round by round. All random numbers are seeded: the same input gives the same results.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from recurve.arrays import Array
from recurve.fit.descent import Residuals, descend

FREEDOM = 6.0  # degrees of freedom of the components: tails heavier than those of the posterior
ROUND, ROUNDS = 1024, 24  # states drawn in a round, and the most rounds
EXPLORE = 10  # the most rounds for each of several modes alone
ENOUGH_SAMPLES = 1000.0  # equal samples that the weighted ones must be worth
WIDER = 1.5  # covariance of a component relative to the samples it is fitted to, for tails not sampled yet
LEAST_SAMPLES = 80.0  # equal samples that a mixture is fitted to at least
FIRST_STEPS, PROMISE = 8, 3.0  # evaluations of a first descent; how far behind it may be and still go on, in `within`
GUESS = 0.1  # variance of a direction where there are too few states to tell
NARROWEST = 1e-6  # least variance of a direction against the largest, where rounding left none
FITTED = 4  # steps of expectation–maximisation by which a mixture is fitted to a cloud
COMPONENTS = 5  # the most that a mixture may grow to
Density = Callable[[Array], Array]
Sorter = Callable[[Array], Array]


@dataclass(frozen=True)
class Mode:
    """A best state (p,) [1], its log density, covariance (p, p), and whether the least squares converged."""

    state: Array
    height: float
    covariance: Array
    converged: bool

    def apart(self, other: Mode, width: np.ufunc) -> bool:
        """Whether two modes lie 3 standard deviations apart in some parameter: those of the narrower mode with
        `np.minimum`, those of the broader with `np.maximum`, which makes them different answers."""
        variances = width(np.diag(self.covariance), np.diag(other.covariance))
        sigma = np.sqrt(np.maximum(variances, 1e-12))
        return bool((np.abs(self.state - other.state) > 3.0 * sigma + 0.05).any())


@dataclass(frozen=True)
class Samples:
    """States (n, p) [1] with weights (n,) [1] that sum to 1."""

    states: Array
    weights: Array

    @property
    def effective(self) -> float:
        """How many samples of equal weight they are worth, 1/Σw² [1]."""
        return float(1.0 / (self.weights**2).sum())

    def mean(self, values: Array) -> Array:
        """Weighted mean over the first axis, in the unit of `values` [any]."""
        return np.asarray(self.weights @ values)

    def deviation(self, values: Array) -> Array:
        """Weighted standard deviation over the first axis, in the unit of `values` [any]."""
        return np.asarray(np.sqrt(np.maximum(self.weights @ (values - self.mean(values)) ** 2, 0.0)))

    @property
    def halves_apart(self) -> float:
        """How far the means of two halves of the samples lie apart at most, in standard deviations of a parameter [1]: of
        samples that do not yet show the whole, much."""
        means = []
        for half in (slice(0, None, 2), slice(1, None, 2)):
            weights = self.weights[half]
            if weights.sum() <= 0.0:
                return np.inf
            means.append(weights @ self.states[half] / weights.sum())
        spread = np.maximum(self.deviation(self.states), 1e-9)
        return float((np.abs(means[0] - means[1]) / spread).max())

    def equal(self, count: int) -> Array:
        """`count` states of equal weight (count, p) [1], by systematic resampling."""
        edges = np.cumsum(self.weights)
        picks = np.searchsorted(edges / edges[-1], (np.arange(count) + 0.5) / count)
        return np.asarray(self.states[np.minimum(picks, len(self.states) - 1)])


def spread_states(low: Array, high: Array, screened: int = 4096, seed: int = 1) -> Array:
    """States (screened, p) [1] drawn from a widened prior within the bounds (p,)."""
    return np.clip(1.3 * np.random.default_rng(seed).standard_normal((screened, len(low))), low, high)


def spread_starts(
    density: Density, low: Array, high: Array, more: int, kind: Sorter | None = None, screened: int = 4096
) -> Array:
    """States to start from (starts, p) [1]: the prior's middle, and of states drawn from the prior the best of each kind
    and `more` of the best.

    `kind` maps states (n, p) to numbers (n,) that tell which kind of answer each one is.
    """
    states = spread_states(low, high, screened)
    return best_of(states, density(states), np.clip(np.zeros(len(low)), low, high), more, kind)


def best_of(states: Array, heights: Array, first: Array, more: int, kind: Sorter | None = None) -> Array:
    """Of states (n, p) [1] with log densities `heights` (n,) [1] the best of each kind and `more` of the best, none near
    another; before them the state `first` (p,) [1]."""
    screened = len(states)
    order = np.argsort(-heights, kind="stable")
    kinds = np.zeros(screened, int) if kind is None else kind(states[order])
    firsts = np.sort(np.unique(kinds, return_index=True)[1])
    chosen = [first]
    for index in [*order[firsts], *order[: screened // 8]]:
        if len(chosen) == 1 + len(firsts) + more:
            break
        if min(float(np.abs(states[index] - c).max()) for c in chosen) > 1.0:
            chosen.append(states[index])
    return np.stack(chosen)


def find_modes(
    residuals: Residuals, density: Density, starts: Array, low: Array, high: Array, most: int = 5, within: float = 8.0
) -> tuple[Mode, ...]:
    """Distinct best states from the starts (s, p) [1], the highest first, those within e^−`within` of it.

    `residuals` maps states (n, p) to (n, r), prior included; half the sum of their squares is minimised.
    """
    found = _descents(residuals, density, starts, low, high, within)
    found = sorted((m for m in found if np.isfinite(m.height)), key=lambda m: -m.height)
    if not found:
        best = starts[int(np.argmax(density(starts)))]
        return (Mode(best, float(density(best[None])[0]), np.eye(len(best)), False),)
    kept: list[Mode] = []
    for mode in found:
        if mode.height < found[0].height - within or len(kept) == most:
            break
        if all(mode.apart(other, np.minimum) for other in kept):
            kept.append(mode)
    return tuple(kept)


def _descents(
    residuals: Residuals, density: Density, starts: Array, low: Array, high: Array, within: float
) -> list[Mode]:
    """The ends of descents from the starts (s, p). Each begins with a few steps. The most promising one then goes on to its
    end, and after it those others that have not come to a known end and may still come near the best."""
    begun = sorted(_ends(residuals, density, starts, low, high, FIRST_STEPS), key=lambda m: -m.height)
    found = [begun[0] if begun[0].converged else _ends(residuals, density, begun[0].state[None], low, high)[0]]
    near = [m for m in begun[1:] if m.height >= found[0].height - PROMISE * within and m.apart(found[0], np.minimum)]
    found += [m for m in near if m.converged]
    going = [m.state for m in near if not m.converged]
    return found + (_ends(residuals, density, np.stack(going), low, high) if going else [])


def _ends(
    residuals: Residuals, density: Density, starts: Array, low: Array, high: Array, evaluations: int = 60
) -> list[Mode]:
    # At a kink, as where a take-up meets a reading, no state is flat.
    ends = descend(residuals, starts, low, high, evaluations=evaluations, flat=0.5)
    heights = density(np.stack([end.state for end in ends]))
    return [Mode(e.state, float(h), e.covariance, e.converged) for e, h in zip(ends, heights, strict=True)]


def sample(
    density: Density,
    modes: tuple[Mode, ...],
    count: int = 4096,
    seed: int = 2,
    enough: float = ENOUGH_SAMPLES,
) -> Samples:
    """Weighted samples of the density, at most `count`, from mixtures that begin about the modes; `enough` [1] is below.

    Adaptive multiple importance sampling (Cornuet, Marin, Mira and Robert, Scandinavian Journal of Statistics 39,
    2012; from memory): each round draws from the last mixture, weighs all states so far by the mean of all
    mixtures so far, and fits the next mixture to them, until they are worth `enough` equal samples [1].
    """
    mixture, drawn = _start(density, modes, seed, enough), Drawn.none(len(modes[0].state))
    for turn in range(ROUNDS):
        drawn = drawn.with_round(mixture, density, seed + turn)
        weights = weights_of(drawn.logs)
        if 1.0 / (weights**2).sum() >= enough:
            break
        mixture = mixture.with_component(
            drawn.states, drawn.states[int(weights.argmax())], tempered(drawn.logs), COMPONENTS
        )
    return thinned(Samples(drawn.states, weights), count)


def _start(density: Density, modes: tuple[Mode, ...], seed: int, enough: float) -> Mixture:
    """A mixture about the modes. Several modes are first explored one by one, so that a narrow one is not lost beside a
    wide one, and are then weighted by the evidence that each was found to hold."""
    if len(modes) == 1:
        return Mixture.about(modes[0])
    mixtures, held = [], []
    for number, mode in enumerate(modes, start=1):
        mixture, drawn = Mixture.about(mode), Drawn.none(len(mode.state))
        for turn in range(EXPLORE):
            drawn = drawn.with_round(mixture, density, seed + 100 * number + turn)
            weights = weights_of(drawn.logs)
            mixture = mixture.with_component(drawn.states, drawn.states[int(weights.argmax())], tempered(drawn.logs), 3)
            if 1.0 / (weights**2).sum() >= enough / 2:
                break
        mixtures.append(mixture)
        held.append(drawn.evidence)
    fractions = np.maximum(weights_of(np.array(held)), 0.2)
    return Mixture.joined(mixtures, fractions / fractions.sum())


def weights_of(logs: Array) -> Array:
    """Weights (n,) [1] that sum to 1, from their logarithms; all on the first state if every weight is 0."""
    top = float(logs.max())
    weights = np.exp(logs - top) if np.isfinite(top) else np.eye(1, len(logs))[0]
    return np.asarray(weights / weights.sum())


def tempered(logs: Array) -> Array:
    """The weights (n,) [1] to a power, at most 1, that leaves LEAST_SAMPLES equal samples, so that a few do not decide alone."""
    low, high = 0.0, 1.0
    finite = np.where(np.isfinite(logs), logs, -1e300)
    for _ in range(20):
        weights = weights_of((low + high) / 2 * finite)
        enough = 1.0 / (weights**2).sum() >= LEAST_SAMPLES
        low, high = ((low + high) / 2, high) if enough else (low, (low + high) / 2)
    return weights_of(low * finite)


def thinned(samples: Samples, count: int) -> Samples:
    """At most `count` states [1]: drawn by their weights (systematic resampling), each kept once, weighted by its draws."""
    if len(samples.weights) <= count:
        return samples
    edges = np.cumsum(samples.weights)
    picks = np.searchsorted(edges / edges[-1], (np.arange(count) + 0.5) / count)
    kept, times = np.unique(np.minimum(picks, len(edges) - 1), return_counts=True)
    return Samples(samples.states[kept], times / count)


@dataclass(frozen=True)
class Drawn:
    """All states so far (n, p) [1], their log densities (n,) [1], the mixtures they were drawn from, and the log density of
    each mixture at every state (rounds, n) [1]."""

    states: Array
    heights: Array
    mixtures: tuple[Mixture, ...]
    proposed: Array

    @classmethod
    def none(cls, size: int) -> Drawn:
        """Before the first round of states with `size` numbers [1]."""
        return cls(np.zeros((0, size)), np.zeros(0), (), np.zeros((0, 0)))

    def with_round(self, mixture: Mixture, density: Density, seed: int, many: int = ROUND) -> Drawn:
        """One more round of `many` states [1] from this mixture."""
        fresh = mixture.draw(many, seed)
        states = np.concatenate([self.states, fresh])
        before = [m.log_density(fresh) for m in self.mixtures]
        old = np.concatenate([self.proposed, np.stack(before)], axis=1) if before else np.zeros((0, many))
        proposed = np.concatenate([old, mixture.log_density(states)[None]])
        return Drawn(states, np.concatenate([self.heights, density(fresh)]), (*self.mixtures, mixture), proposed)

    @property
    def logs(self) -> Array:
        """Log weights (n,) [1]: density over the mean of the mixtures."""
        top = self.proposed.max(axis=0)
        return np.asarray(self.heights - top - np.log(np.exp(self.proposed - top).mean(axis=0)))

    @property
    def evidence(self) -> float:
        """Log of the probability mass that was found [1], up to a constant."""
        top = float(self.logs.max())
        return top + float(np.log(np.exp(self.logs - top).mean())) if np.isfinite(top) else -np.inf


@dataclass(frozen=True)
class Mixture:
    """Student t components: their `fractions` (c,) [1] of the mixture, centres (p,) and scale matrices (p, p) [1]."""

    fractions: Array
    centres: list[Array]
    scales: list[Array]

    @classmethod
    def about(cls, mode: Mode) -> Mixture:
        """A component [1] a little wider than the mode, and one as wide as the prior, in case the mode looks too narrow."""
        size = len(mode.state)
        return cls(np.array([0.8, 0.2]), [mode.state, np.zeros(size)], [1.3 * mode.covariance, np.eye(size)])

    @classmethod
    def over(cls, groups: list[Array], modes: tuple[Mode, ...]) -> Mixture:
        """A component for each group of states (n, p) [1], and one for each mode; all fitted to the states together."""
        states = np.concatenate(groups)
        # Few states may all be the same; the next samples correct what is then only a guess.
        wide = np.diag(np.maximum(np.var(states, axis=0), GUESS if len(states) < 2 * states.shape[1] else NARROWEST))
        centres, scales = [m.state for m in modes], [1.3 * m.covariance for m in modes]
        for group in groups:
            centres.append(group.mean(axis=0))
            scales.append(1.3 * _covariance(group) + 0.03 * wide)
        mixture = cls(np.full(len(centres), 1.0 / len(centres)), centres, scales)
        even = np.full(len(states), 1.0 / len(states))
        for _ in range(FITTED):
            mixture = mixture.fitted(states, even)
        broad = cls(np.ones(1), [states.mean(axis=0)], [2.0 * _covariance(states) + 0.1 * wide])
        return cls.joined([mixture, broad], np.array([0.85, 0.15]))

    @classmethod
    def joined(cls, mixtures: list[Mixture], fractions: Array) -> Mixture:
        """One mixture of several, with these fractions [1]."""
        return cls(
            np.concatenate([f * m.fractions for f, m in zip(fractions, mixtures, strict=True)]),
            [c for m in mixtures for c in m.centres],
            [c for m in mixtures for c in m.scales],
        )

    def with_component(self, states: Array, there: Array, tempered: Array, most: int) -> Mixture:
        """Fitted to the weighted states (n, p) [1], with one more component, up to `most`, at the state `there` (p,) [1]."""
        mixture = self
        if len(self.fractions) < most:
            off = states - tempered @ states
            wide = (off * tempered[:, None]).T @ off + 0.01 * self.scales[0]
            mixture = Mixture(np.append(0.8 * self.fractions, 0.2), [*self.centres, there], [*self.scales, wide])
        return mixture.fitted(states, tempered)

    def draw(self, count: int, seed: int) -> Array:
        """Random states (count, p) [1]."""
        random, dimensions = np.random.default_rng(seed), len(self.centres[0])
        # Each component gets its fraction of the draws: less random than drawing the component too.
        edges = np.cumsum(self.fractions) / self.fractions.sum()
        component = np.minimum(np.searchsorted(edges, (np.arange(count) + 0.5) / count), len(edges) - 1)
        normal = random.standard_normal((count, dimensions))
        normal *= np.sqrt(FREEDOM / random.chisquare(FREEDOM, count))[:, None]
        states = np.empty((count, dimensions))
        for c, (centre, scale) in enumerate(zip(self.centres, self.scales, strict=True)):
            pick = component == c
            states[pick] = centre + normal[pick] @ _root(scale).T
        return states

    def log_density(self, states: Array) -> Array:
        """Log density (n,) [1] of the mixture, up to a constant."""
        parts = np.stack([self._log_component(c, states) for c in range(len(self.fractions))])
        top = parts.max(axis=0)
        return np.asarray(top + np.log(np.exp(parts - top).sum(axis=0)))

    def _log_component(self, c: int, states: Array) -> Array:
        root = _root(self.scales[c])
        scaled = (states - self.centres[c]) @ np.linalg.inv(root).T
        p = states.shape[1]
        log_root = np.log(np.diag(root)).sum()
        return np.asarray(
            np.log(self.fractions[c]) - log_root - 0.5 * (FREEDOM + p) * np.log1p((scaled**2).sum(axis=1) / FREEDOM)
        )

    def fitted(self, states: Array, weights: Array) -> Mixture:
        """One step of expectation–maximisation towards the weighted states (n, p) [1]."""
        parts = np.stack([self._log_component(c, states) for c in range(len(self.fractions))])
        belongs = np.exp(parts - parts.max(axis=0))
        belongs *= weights / belongs.sum(axis=0)
        fractions, centres, scales = [], [], []
        for c in range(len(self.fractions)):
            fraction = float(belongs[c].sum())
            if fraction < 0.005:
                continue
            centre = belongs[c] @ states / fraction
            off = states - centre
            spread = (off * belongs[c][:, None]).T @ off / fraction
            # Never narrower than a tenth of what it was, so that a few samples do not close a direction.
            spread = spread + 0.01 * self.scales[c]
            fractions.append(fraction)
            centres.append(centre)
            scales.append(WIDER * spread)
        return Mixture(np.array(fractions) / sum(fractions), centres, scales)


def _covariance(states: Array) -> Array:
    """Covariance (p, p) [1] of the states (n, p); of a single one it is 0."""
    off = states - states.mean(axis=0)
    return np.asarray(off.T @ off / len(states))


def _root(scale: Array) -> Array:
    """Lower triangular root (p, p) [1] of a scale matrix.

    Where a reading stands on a jump of its curve, a mode looks far too narrow in one direction, and rounding may leave its
    covariance without a root. Such a direction is given a width that the samples can then correct.
    """
    try:
        return np.asarray(np.linalg.cholesky(scale))
    except np.linalg.LinAlgError:
        sizes, directions = np.linalg.eigh((scale + scale.T) / 2)
        sizes = np.maximum(sizes, NARROWEST * max(float(sizes[-1]), NARROWEST))
        return np.asarray(np.linalg.cholesky((directions * sizes) @ directions.T))
