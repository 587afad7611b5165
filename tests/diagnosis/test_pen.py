"""What a slip of the pen is given for odds."""

from __future__ import annotations

from pathlib import Path
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest
from whole_units import whole
from worn import Way

from recurve.arrays import Array
from recurve.diagnosis import pen
from recurve.diagnosis.slips import Slip, SlipOdds, slip_odds
from recurve.fit.fit import fit_sweep
from recurve.fit.state import Evidence
from recurve.inspection.findings import Cause
from recurve.job.model import Job


def model(height: float) -> Any:
    """A model of two numbers whose density is the same wherever they are."""
    return SimpleNamespace(
        bounds=lambda: (np.full(2, -1.0), np.full(2, 1.0)),
        log_density=lambda states: np.full(len(states), height),
        kind=lambda states: np.zeros(len(states), int),
        residuals=lambda states: states,
    )


def test_what_cannot_be_has_no_evidence() -> None:
    """Undoing a slip may leave no state that is possible: a likelihood of 0, whose logarithm is −∞, without a warning."""
    assert pen._fitted(model(-np.inf), np.zeros(2))[1] == -np.inf
    assert np.isfinite(pen._fitted(model(-3.0), np.zeros(2))[1])


class Line:
    """A bench of one number: readings of one advance, normally scattered, whose state is that advance itself."""

    def __init__(self, sweep: Any, spread: float) -> None:
        self.sweep, self.spread, self.facts = sweep, spread, ()

    def bounds(self) -> tuple[Array, Array]:
        """Twenty standard uncertainties of the prior either way."""
        return np.full(1, -20.0), np.full(1, 20.0)

    def residuals(self, states: Array) -> Array:
        """Of readings, then the prior."""
        return np.concatenate([(self.sweep.advance - self.spread * states) / self.sweep.reading, states], axis=1)

    def log_density(self, states: Array) -> Array:
        """Up to what every such bench shares."""
        lost = len(self.sweep.advance) * np.log(self.sweep.reading)
        return np.asarray(-0.5 * (self.residuals(states) ** 2).sum(axis=1) - lost)

    kind = None


@pytest.mark.parametrize(("count", "factor"), [(4, 0.5), (30, 0.5), (30, 2.0)])
def test_readings_turned_back_are_weighed_as_they_were_written(count: int, factor: float) -> None:
    """Against `scipy.stats.multivariate_normal`: the odds of readings y under the model that they are 1/factor times normal
    with a common mean. Without the change of variables thirty readings would favour halved figures by a thousand million."""
    from scipy.stats import multivariate_normal

    reading, spread = 0.3, 4.0
    y = 2.0 + reading * np.random.default_rng([8, count]).normal(size=count)

    def told(by: float) -> float:
        sweep = SimpleNamespace(advance=by * y, reading=by * reading, speed=y)
        changed: Any = Line(sweep, spread)
        plain: Any = Line(SimpleNamespace(advance=y, reading=reading, speed=y), spread)
        return pen._fitted(changed, np.zeros(1))[1] + pen._turned_back(changed, plain)

    def true(by: float) -> float:
        cover = (reading**2 * np.eye(count)) + spread**2 / by**2
        return float(multivariate_normal(np.zeros(count), cover).logpdf(y))

    assert told(factor) - told(1.0) == pytest.approx(true(factor) - true(1.0), abs=1e-4)


def crank_odds(job: Job) -> tuple[SlipOdds, SlipOdds]:
    """By the book alone, and once the parts are heard."""
    fit = fit_sweep(job)
    evidence = Evidence.of(job, fit)
    assert job.target is not None and job.sweep is not None and evidence.outline is not None
    odds = slip_odds(job.target, evidence.outline.pieces, job.sweep.as_read, job.speed_ratio, job.measured.stop)
    return odds, pen.heard(odds, fit)


def test_weighed_springs_that_agree_with_the_sweep_deny_crank_speeds(tmp_path: Path) -> None:
    """The springs are changed over, and each is described where it hangs: by the book the speeds may well be doubled; by the
    springs they are right."""
    odds, heard = crank_odds(whole(117, "springs changed over", "known", Way(count=30)).job(tmp_path))
    assert odds.chance[Slip.crank_speeds] > 0.4
    assert heard.chance[Slip.none] > 0.99


def test_parts_that_do_not_tell_leave_crank_speeds_suspected(tmp_path: Path) -> None:
    """The speeds are doubled indeed, and of the springs nothing is known."""
    odds, heard = crank_odds(whole(42, "crank speeds", "unknown").job(tmp_path))
    assert odds.suspected and heard.suspected and heard.likeliest is Slip.crank_speeds
    assert sum(heard.chance.values()) == pytest.approx(1.0)


def test_springs_that_hang_in_each_others_place_are_told(tmp_path: Path) -> None:
    """Their rates are known, their lengths are not: no primary that pulls first explains the sweep."""
    job = whole(106, "springs changed over", "half", Way(count=6, both=False)).job(tmp_path)
    written = pen.pen_slip(fit_sweep(job))
    assert written is not None and written.cause is Cause.SPRINGS
    assert "in each other's place" in written.words().evidence
    assert "exchanged" in written.what


def test_rates_written_for_the_other_spring_are_told_where_no_length_is_known(tmp_path: Path) -> None:
    """The springs hang as they should; what was not measured of them is not exchanged with their rates."""
    written = pen.pen_slip(fit_sweep(whole(41, "weak primary", "half", slip="springs exchanged").job(tmp_path)))
    assert written is not None and written.cause is Cause.SPRINGS
    assert "exchanged, in the job" in written.slips[0].words
