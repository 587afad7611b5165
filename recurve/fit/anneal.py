"""A cloud of states that has been cooled: where the posterior has its hills, also those that no descent finds.

Descents from states of the prior stop at the kinks of the density, where a take-up or the stop meets a reading, and end
far below a top that lies along the ridge. A cloud is not stopped there. It begins as states of the prior, and the density
is laid on it step by step, as a power that grows from 0 to 1 (sequential Monte Carlo: P. Del Moral, A. Doucet and A. Jasra,
Journal of the Royal Statistical Society B 68, 2006; from memory). After each step the states move by differences of other
states (C. J. F. ter Braak, Statistics and Computing 16, 2006; from memory), which are as long as the hill is.

Each kind of answer keeps a share of the cloud to the end, so that chance loses none early. So the cloud is no sample of the
posterior. It says where to look; what each place weighs is left to importance sampling (`posterior`).
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from recurve.arrays import Array

STATES = 1280  # states of a cloud
MOVES = 6  # of each state at each power
LEAVES = 0.5  # fraction of the cloud that it is worth after a step
STEPS = 40  # at most
SHARED = 0.5  # fraction of the cloud that the kinds of answer share evenly, whatever they weigh
LENGTHS = (0.3, 1.0)  # of a move, times that which suits a normal density
NUMBERS = 3  # of a state, that every second move changes
Density = Callable[[Array], Array]
Sorter = Callable[[Array], Array]


def anneal(density: Density, kind: Sorter, states: Array, heights: Array, seed: int = 3) -> Array:
    """States (STATES, p) [1] where the density is high, cooled from those of the prior `states` (n, p) with log densities
    `heights` (n,).

    `density` maps states (n, p) to log densities (n,), and `kind` to numbers (n,) that tell which kind of answer each is.
    """
    random = np.random.default_rng(seed)
    inside = np.isfinite(heights)
    states, heights, power = states[inside], heights[inside], 0.0
    if not len(states):
        return states
    for _ in range(STEPS):
        step = _step(heights, 1.0 - power)
        power += step
        picks = _shared_out(step * (heights - heights.max()), kind(states), random)
        states, heights = states[picks], heights[picks]
        for turn in range(MOVES):
            states, heights = _moved(density, kind(states), states, heights, (power, turn, random))
        if power >= 1.0:
            break
    return states


def _step(heights: Array, left: float) -> float:
    """How much the power may grow [1], at most what is `left`, for the cloud to be worth LEAVES of its states."""

    def worth(step: float) -> float:
        weights = np.exp(step * (heights - heights.max()))
        return float(weights.sum() ** 2 / (weights**2).sum())

    least = LEAVES * min(len(heights), STATES)
    if worth(left) >= least:
        return left
    low, high = 0.0, left
    for _ in range(30):
        middle = (low + high) / 2
        low, high = (middle, high) if worth(middle) >= least else (low, middle)
    return max(low, 1e-6)


def _shared_out(logs: Array, kinds: Array, random: np.random.Generator) -> Array:
    """Which states go on (STATES,): by their weights exp(`logs`) (n,), and of each kind at least its share."""
    weights = np.exp(logs)
    _, which = np.unique(kinds, return_inverse=True)
    held = np.bincount(which, weights)
    share = (1.0 - SHARED) * held / held.sum() + SHARED * (held > 0.0) / (held > 0.0).sum()
    weights = weights * (share / np.maximum(held, 1e-300))[which]
    edges = np.cumsum(weights)
    return np.minimum(np.searchsorted(edges / edges[-1], (np.arange(STATES) + random.random()) / STATES), len(logs) - 1)


def _moved(
    density: Density, kinds: Array, states: Array, heights: Array, how: tuple[float, int, np.random.Generator]
) -> tuple[Array, Array]:
    """The states (n, p) and their log densities (n,), each moved once or left where it is (Metropolis); `how`: the power, the
    number of the move, and random numbers. States are moved by the difference of two others of their own kind."""
    power, turn, random = how
    n, size = states.shape
    order = np.argsort(kinds, kind="stable")
    first, many = np.searchsorted(kinds[order], kinds), np.bincount(kinds)[kinds]
    one, two = (order[first + (random.random(n) * many).astype(int)] for _ in range(2))
    length = 2.38 / np.sqrt(2 * size) * random.choice(LENGTHS, size=(n, 1))
    off = states[one] - states[two]
    if turn % 2:
        off, length = off * (random.random((n, size)) * size < NUMBERS), 1.2 * random.random((n, 1))
    proposed = states + length * off + 1e-4 * random.standard_normal((n, size))
    reached = density(proposed)
    yes = np.log(random.random(n)) < power * (reached - heights)
    return np.where(yes[:, None], proposed, states), np.where(yes, reached, heights)
