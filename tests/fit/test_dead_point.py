"""Weights that come near a dead point not far beyond their stop: the fitted unit keeps to what they do before it.

Truth: the geometry and equation of motion of `mechanisms`, which share nothing with the package. All invented.
"""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from closing import worn
from mechanisms import Mechanism, closed_swing, inertia
from numpy.typing import NDArray

from recurve.fit.fit import corrected, fit_sweep
from recurve.fit.model import sweep_model

FINE = 1e-4


def slope(one: Mechanism, advance: NDArray[np.float64]) -> NDArray[np.float64]:
    """The true dI/dα [kg·m²/rad] at the advances (n,) [rad], by differences."""
    up, down = (inertia(one, closed_swing(one, advance + off)) for off in (FINE, -FINE))
    return (up - down) / (2 * FINE)


@pytest.mark.parametrize("seed", [5336, 5179])
def test_the_fitted_unit_has_the_mass_geometry_of_the_true_one(seed: int, tmp_path: Path) -> None:
    """A few degrees past the stop a hundredth of a millimetre changes I′ several times over. That is no matter of the unit,
    whose parts were measured to 0.1 mm and 1°: within its stop, I′ is known to a few percent."""
    unit = worn(seed)
    fit = fit_sweep(unit.job(tmp_path))
    at = np.radians(np.linspace(0.2, unit.true.stop - 0.2, 40))
    assert np.abs(corrected(fit).inertia_slope(at) / slope(unit.true, at) - 1.0).max() < 0.1


def test_what_is_unsure_past_the_stop_does_not_crowd_out_what_is_unsure_before_it(tmp_path: Path) -> None:
    """The changes of I′ that the model keeps are those of every measured quantity, moved by its standard uncertainty."""
    job = worn(5336).job(tmp_path)
    model = sweep_model(job)
    at = model.shapes.advance
    within = at <= job.stop.limits[1]
    middle = job.weights.inertia_slope(at)
    moved = np.stack([one.inertia_slope(at) / middle - 1.0 for one in job.measured.weights.moved()])[:, within]
    whole, kept = (np.sqrt((x**2).sum(axis=0)) for x in (moved, model.shapes.modes[:, within]))
    assert np.abs(kept / whole - 1.0).max() < 0.05
    assert np.abs(model.shapes.modes).max() < 0.5
