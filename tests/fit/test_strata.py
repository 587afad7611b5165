"""Hills of a posterior that one mixture loses: a density whose integrals are known, and a sweep with two answers."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from recurve.fit.anneal import anneal
from recurve.fit.posterior import Mode, spread_states
from recurve.fit.strata import Cloud, sample_strata

Array = NDArray[np.float64]
SIZE, NARROW, BROAD, AWAY = 8, 0.35, 0.8, 1.6


def hills(states: Array) -> Array:
    """Log density of two normal hills, equal in height: the one at −1.6 narrow, the other at +1.6 broad, in the first number
    of a state; but the narrow one is raised so that it holds three times as much."""
    off = states.copy()
    off[:, 0] -= AWAY
    broad = -0.5 * (off**2).sum(axis=1) / BROAD**2 - SIZE * np.log(BROAD)
    off[:, 0] += 2 * AWAY
    narrow = -0.5 * (off**2).sum(axis=1) / NARROW**2 - SIZE * np.log(NARROW) + np.log(3.0)
    return np.logaddexp(broad, narrow)


def side(states: Array) -> Array:
    """The kind of answer (n,): which hill."""
    return np.asarray((states[:, 0] > 0.0).astype(int))


def test_a_narrow_hill_beside_a_broad_one_keeps_its_weight() -> None:
    """By hand: 3 of 4 parts of the mass are the narrow hill's, but for the broad one's tail of 2.3 % (of a normal beyond 2
    standard deviations) that lies on its side. No descent is told of the narrow hill."""
    low, high = np.full(SIZE, -8.0), np.full(SIZE, 8.0)
    states = spread_states(low, high)
    cooled = anneal(hills, side, side, states, hills(states))
    top = np.zeros(SIZE)
    top[0] = AWAY
    mode = Mode(top, float(hills(top[None])[0]), BROAD**2 * np.eye(SIZE), True)
    samples = sample_strata(hills, (mode,), Cloud(cooled, side, side))
    assert samples.effective >= 900
    narrow = float(samples.weights @ (samples.states[:, 0] < 0.0))
    assert abs(narrow - (0.75 + 0.25 * 0.0228)) < 0.05
    weights = samples.weights * (samples.states[:, 0] < -1.0)
    assert np.abs(weights @ samples.states / weights.sum() - np.r_[-AWAY, np.zeros(SIZE - 1)]).max() < 0.1


def test_the_same_input_gives_the_same_cloud() -> None:
    low, high = np.full(SIZE, -8.0), np.full(SIZE, 8.0)
    states = spread_states(low, high, 1024)
    once, again = (anneal(hills, side, side, states, hills(states)) for _ in range(2))
    assert (once == again).all()
    assert set(side(once)) == {0, 1}
