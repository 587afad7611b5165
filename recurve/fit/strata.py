"""Samples of a posterior with several hills: each kind of answer is sampled by itself, and weighed by what it holds.

One mixture for all hills, fitted to its own samples, gives up those that it has not sampled well yet. Here the states are
parted into strata, one for each kind of answer: where the primary is slack or not, and where the secondary takes up. Every
state is in one stratum, so that the integral over all is the sum of those over each, whatever the parting. Each stratum has
its own adaptive importance sampling (`posterior`), and rounds go where they lessen the error of the whole most.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np

from recurve.arrays import Array
from recurve.fit.posterior import ENOUGH_SAMPLES, Drawn, Mixture, Mode, Samples, tempered, thinned, weights_of

ROUND, FIRST, ROUNDS = 768, 2, 64  # states of a round; rounds of every stratum; the most of all together
COMPONENTS = 9  # of a stratum's mixture
FITTED_TO = 1000  # states, at most, that a mixture is fitted to
GROUP = 12  # states of the cloud that make a component
DOUBTFUL, REACH, TRIED = (
    40.0,
    7.0,
    8,
)  # a stratum worth fewer samples, within e^-7 of the best, gets this many rounds
Density = Callable[[Array], Array]
Sorter = Callable[[Array], Array]


@dataclass(frozen=True)
class Cloud:
    """States (n, p) [1] that lie where the density is high. `kind` maps states (n, p) to the numbers (n,) of their strata,
    `fine` to those of groups within them."""

    states: Array
    kind: Sorter
    fine: Sorter


@dataclass(frozen=True)
class _Stratum:
    """The states of one kind: its mixture, and what was drawn so far, in how many rounds."""

    number: int
    mixture: Mixture
    drawn: Drawn
    highest: float
    rounds: int = 0

    @property
    def top(self) -> float:
        """The highest log density that was met in it [1]."""
        return max(self.highest, float(self.drawn.heights.max(initial=-np.inf)))

    def again(self, density: Density, kind: Sorter, seed: int) -> _Stratum:
        """With one more round."""

        def within(states: Array) -> Array:
            heights, inside = np.full(len(states), -np.inf), kind(states) == self.number
            if inside.any():
                heights[inside] = density(states[inside])
            return heights

        drawn = self.drawn.with_round(self.mixture, within, seed + 1000 * self.number + self.rounds, ROUND)
        mixture = self.mixture
        if np.isfinite(drawn.logs).any():
            weights = weights_of(drawn.logs)
            few = thinned(Samples(drawn.states, tempered(drawn.logs)), FITTED_TO)
            top = drawn.states[int(weights.argmax())]
            mixture = mixture.with_component(few.states, top, few.weights, COMPONENTS)
        return replace(self, mixture=mixture, drawn=drawn, rounds=self.rounds + 1)

    @property
    def effective(self) -> float:
        """How many equal samples its own are worth [1]."""
        return float(1.0 / (weights_of(self.drawn.logs) ** 2).sum())


def sample_strata(
    density: Density,
    modes: tuple[Mode, ...],
    cloud: Cloud,
    count: int = 4096,
    enough: float = ENOUGH_SAMPLES,
    seed: int = 2,
) -> Samples:
    """Weighted samples of the density, at most `count`, worth `enough` equal ones [1] where ROUNDS allow it."""
    strata = _begun(density, modes, cloud)
    for _ in range(FIRST):
        strata = [s.again(density, cloud.kind, seed) for s in strata]
    for _ in range(ROUNDS):
        held = np.array([s.drawn.evidence for s in strata])
        worth = np.array([s.effective for s in strata])
        rounds = np.array([s.rounds for s in strata])
        errors = weights_of(held) ** 2 / worth  # of the whole: variance by each stratum, Σ of them is 1/effective
        tops = np.array([s.top for s in strata])
        may_hold_much = (held > held.max() - REACH) | (tops > tops.max() - REACH)
        unsure = (worth < DOUBTFUL) & may_hold_much & (rounds < TRIED)
        if errors.sum() <= 1.0 / enough and not unsure.any():
            break
        next_one = int(np.flatnonzero(unsure)[0]) if unsure.any() else int((errors / rounds).argmax())
        strata[next_one] = strata[next_one].again(density, cloud.kind, seed)
    share = weights_of(np.array([s.drawn.evidence for s in strata]))
    weights = np.concatenate([x * weights_of(s.drawn.logs) for x, s in zip(share, strata, strict=True)])
    return thinned(Samples(np.concatenate([s.drawn.states for s in strata]), weights), count)


def _begun(density: Density, modes: tuple[Mode, ...], cloud: Cloud) -> list[_Stratum]:
    """A stratum for each kind that the cloud or a mode is of, nothing drawn yet."""
    kinds, fine = cloud.kind(cloud.states), cloud.fine(cloud.states)
    of_modes = cloud.kind(np.stack([m.state for m in modes]))
    heights, strata = density(cloud.states), []
    for number in np.unique(np.concatenate([kinds, of_modes])):
        inside = kinds == number
        groups = [cloud.states[inside & (fine == f)] for f in np.unique(fine[inside])]
        large = [g for g in groups if len(g) >= GROUP][: COMPONENTS - 2]
        rest = [g for g in groups if len(g) < GROUP]
        groups = [*large, np.concatenate(rest)] if rest else large
        own = tuple(m for m, k in zip(modes, of_modes, strict=True) if k == number)
        mixture = Mixture.over(groups, own) if groups else Mixture.about(own[0])
        highest = max([float(heights[inside].max(initial=-np.inf)), *(m.height for m in own)])
        strata.append(_Stratum(int(number), mixture, Drawn.none(cloud.states.shape[1]), highest))
    return strata
