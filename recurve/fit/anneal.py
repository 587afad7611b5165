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
MOVES = 4  # of each state at each power
HOPELESS = 14.0  # a kind whose best is so far below the best of all cannot matter, in log density
LAST = 40  # moves of each state once the power is 1
LEAVES = 0.6  # fraction of the cloud that it is worth after a step
STEPS = 40  # at most
SHARED = 0.6  # fraction of the cloud that the kinds of answer share evenly, whatever they weigh
LENGTHS = (0.3, 1.0)  # of a move, times that which suits a normal density
NUMBERS = 3  # of a state, that every second move changes
Density = Callable[[Array], Array]
Sorter = Callable[[Array], Array]


def anneal(density: Density, kind: Sorter, coarse: Sorter, states: Array, heights: Array, seed: int = 3) -> Array:
    """States (STATES, p) [1] where the density is high, cooled from those of the prior `states` (n, p) with log densities
    `heights` (n,).

    `density` maps states (n, p) to log densities (n,), and `kind` and `coarse` to numbers (n,) that tell which kind of answer
    each is, finely and coarsely.
    """
    random = np.random.default_rng(seed)
    inside = np.isfinite(heights)
    states, heights, power = states[inside], heights[inside], 0.0
    if not len(states):
        return states
    for _ in range(STEPS):
        kinds = kind(states)
        step = _step(heights, kinds, 1.0 - power)
        power += step
        picks = _shared_out(_shared(step * (heights - heights.max()), kinds), random)
        states, heights = states[picks], heights[picks]
        for turn in range(MOVES):
            states, heights = _moved(density, kind(states), states, heights, (power, turn, random))
        if power >= 1.0:
            break
    return _settled(density, coarse, states, heights, random)


def _settled(density: Density, coarse: Sorter, states: Array, heights: Array, random: np.random.Generator) -> Array:
    """The states (n, p), those of each kind drawn towards its best, and moved until they lie about it as the density does;
    before them a few of each kind as they were, so that nothing is left without states."""
    kinds = coarse(states)
    _, which = np.unique(kinds, return_inverse=True)
    top = np.full(which.max() + 1, -np.inf)
    np.maximum.at(top, which, heights)
    may_matter = top > top.max() - HOPELESS
    weights = np.exp(0.5 * (heights - top[which])) * may_matter[which]
    weights = weights / np.bincount(which, weights)[which].clip(1e-300)
    before = states[random.permutation(len(states))[: len(states) // 8]]
    picks = _shared_out(weights, random)
    states, heights = states[picks], heights[picks]
    for turn in range(LAST):
        states, heights = _moved(density, coarse(states), states, heights, (1.0, turn, random))
    return np.concatenate([before, states])


def _step(heights: Array, kinds: Array, left: float) -> float:
    """How much the power may grow [1], at most what is `left`, for the cloud to be worth LEAVES of its states."""

    def worth(step: float) -> float:
        weights = _shared(step * (heights - heights.max()), kinds)
        return float(weights.sum() ** 2 / (weights**2).sum())

    least = LEAVES * min(len(heights), STATES)
    if worth(left) >= least:
        return left
    low, high = 0.0, left
    for _ in range(20):
        middle = (low + high) / 2
        low, high = (middle, high) if worth(middle) >= least else (low, middle)
    return max(low, 1e-6)


def _shared(logs: Array, kinds: Array) -> Array:
    """Weights (n,) by their logarithms, raised so that each kind has at least its share."""
    _, which = np.unique(kinds, return_inverse=True)
    top = np.full(which.max() + 1, -np.inf)
    np.maximum.at(top, which, logs)
    weights = np.exp(logs - top[which])
    inside = np.bincount(which, weights)
    held = inside * np.exp(top)
    share = (1.0 - SHARED) * held / held.sum() + SHARED / len(held)
    return np.asarray(weights * (share / inside)[which])


def _shared_out(weights: Array, random: np.random.Generator) -> Array:
    """Which states go on (STATES,), by their weights (n,): systematic resampling."""
    edges = np.cumsum(weights)
    places = (np.arange(STATES) + random.random()) / STATES
    return np.asarray(np.minimum(np.searchsorted(edges / edges[-1], places), len(weights) - 1))


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
