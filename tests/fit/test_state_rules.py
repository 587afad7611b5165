"""What the states of a unit say of it, each by hand on curves and states that are made up."""

from __future__ import annotations

from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest

from recurve.fit.state import Evidence, ensemble_of
from recurve.physics.ensemble import Curves

COUNT = 1024


def made_up(**worked_out: Any) -> Evidence:
    """Evidence of which these properties are already worked out."""
    nothing: Any = SimpleNamespace(idle_speed=np.sqrt(1500.0), target=None)
    found = Evidence(nothing, None, nothing)
    vars(found).update(worked_out)
    return found


def test_the_curve_rises_from_what_stays_in_at_idle() -> None:
    """ω² is 2000 + 10000 α rising and 1000 + 10000 α falling: at the idle ω² of 1500, 0.05 rad is still in. Rising, it stays in
    up to ω² = 2500, and 0.1 rad is reached at 3000."""
    advance = np.linspace(0.0, 0.2, 201)[None]
    unit = made_up(curves=Curves(advance, 2000 + 10000 * advance, 1000 + 10000 * advance))
    assert unit.residual.sample == pytest.approx([0.05])
    assert unit.rising(np.sqrt([1500.0, 2400.0, 3000.0]))[0] == pytest.approx([0.05, 0.05, 0.1])


def test_how_far_apart_rising_and_falling_lie_is_told_at_one_speed() -> None:
    """Means of 1.5 and 2 in two states: at the second speed, where one state has 3 and the other 1, though that one has 2 at
    the first."""
    unit = made_up(_gap=(np.array([30.0, 60.0]), np.array([[1.0, 3.0], [2.0, 1.0]])))
    assert unit.apart_at == 60.0 and unit.apart.sample.tolist() == [3.0, 1.0]


def test_what_was_measured_is_anywhere_within_its_limits_and_the_rest_is_normal() -> None:
    """One standard deviation is 1 in each: a rectangular one ends at √3 and has a fourth moment of 9/5, a normal one of 3
    (textbook), and a normal one cut at 0 has a mean of √(2/π)."""
    model: Any = SimpleNamespace(
        facts=(),
        size=3,
        parameters=[SimpleNamespace(measured=m) for m in (True, False, False)],
        bounds=lambda: (np.array([-9.0, -9.0, 0.0]), np.full(3, 9.0)),
    )
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr("recurve.fit.state.unswept_model", lambda job: model)
        job: Any = None
        states = ensemble_of(job, None, COUNT).states
    assert states.shape == (COUNT, 3)
    assert states[:, :2].std(axis=0) == pytest.approx([1.0, 1.0], abs=0.01)
    assert (states[:, :2] ** 4).mean(axis=0) == pytest.approx([1.8, 3.0], abs=0.05)
    assert np.abs(states[:, 0]).max() <= np.sqrt(3) and states[:, 2].min() >= 0.0
    assert states[:, 2].mean() == pytest.approx(np.sqrt(2 / np.pi), abs=0.01)
