"""The yield of a plan: its sampler, and the share of builds against one forward curve after another."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from example_plans import planned_by_limits
from yields import one_by_one

from recurve.fit.sobol import rectangular, sobol
from recurve.fit.state import ensemble_of
from recurve.physics.ensemble import Curves
from recurve.physics.target import Band, Target
from recurve.planner.simulate import Built, CurveBand, Forecast, _Draw, simulate


def test_four_rectangulars() -> None:
    """JCGM 101:2008, 9.2.3 (MEMORY; exact): the sum of four rectangulars of standard deviation 1 has a 95 % interval of
    ± 2√3 [2 − (3/5)^¼] = ± 3.8794."""
    total = rectangular(sobol(2**15, 4, 3), np.sqrt(3.0)).sum(axis=1)
    assert np.std(total) == pytest.approx(2.0, abs=0.005)
    half = (np.quantile(total, 0.975) - np.quantile(total, 0.025)) / 2
    assert half == pytest.approx(2 * np.sqrt(3) * (2 - 0.6**0.25), abs=0.01)


def test_rectangular_stays_within_its_limits() -> None:
    off = rectangular(sobol(1024, 1, 1), 0.05)
    assert np.abs(off).max() <= 0.05
    assert off.mean() == pytest.approx(0.0, abs=1e-3)
    assert off.std() == pytest.approx(0.05 / np.sqrt(3), rel=0.01)


@pytest.mark.parametrize("name", ["launch", "genset"])
def test_yield_against_one_curve_after_another(name: str) -> None:
    made = planned_by_limits(name)
    build = made.build
    assert build is not None
    # New springs only, and a mass geometry that is known: what one_by_one draws.
    found = {p.found.id for p in made.job.places if p.found is not None}
    assert not found & {s.spring.id for s in build.springs}
    ensemble = ensemble_of(made.job, None, 8192)
    modes = [i for i, p in enumerate(ensemble.model.parameters) if p.name.startswith("mode ")]
    states = ensemble.states.copy()
    states[:, modes] = 0.0
    ours = simulate(
        made.job, replace(ensemble, states=states), build.unit.springs, build.stop, build.trim != 0.0, 8192
    ).fraction
    theirs = one_by_one(made.job, build, 600, 5)
    # Four standard errors of the 600, and the grid of the curves.
    assert abs(ours - theirs) < 4 * np.sqrt(max(theirs * (1 - theirs), 0.01) / 600) + 0.01


def test_costs_name_the_largest_doubt() -> None:
    """With everything else exact, a drag known to a third is what costs."""
    made = planned_by_limits("pump")
    assert made.built is not None
    assert made.built.costs[0][0] == "drag and friction"
    assert [gain for _, gain in made.built.costs] == sorted((g for _, g in made.built.costs), reverse=True)


def test_exact_builds_all_pass() -> None:
    """No tolerance and a unit known exactly: every build is the plan."""
    made = planned_by_limits("launch")
    build = made.build
    assert build is not None
    exact = replace(made.job, build=replace(made.job.build, rate=0.0, initial_tension=0.0, post=0.0, stop=0.0))
    ensemble = ensemble_of(exact, None, 64)
    same = replace(ensemble, states=np.repeat(ensemble.middle[None], 64, axis=0))
    built = simulate(exact, same, build.unit.springs, build.stop, build.trim != 0.0, 64)
    assert built.fraction == 1.0


def test_band_holds_the_planned_curve() -> None:
    made = planned_by_limits("launch")
    assert made.built is not None and made.built.band is not None and made.build is not None
    band = made.built.band
    curve = made.build.curve.rising_advance(band.speed)
    inside = (curve >= band.rising[0] - 1e-3) & (curve <= band.rising[1] + 1e-3)
    assert inside.mean() > 0.97
    assert (band.rising[1] - band.rising[0] >= 0).all()


def test_a_spring_that_was_measured_has_its_own_doubt() -> None:
    """Springs each measured to ± 2 %, ± 0.03 N scatter as if that were the tolerance of every spring, whatever a maker's is."""
    made = planned_by_limits("launch")
    build = made.build
    assert build is not None
    ensemble = ensemble_of(made.job, None, 256)
    speeds = np.linspace(40.0, 160.0, 5)

    def band(rate: float, tension: float, limit: tuple[float | None, float | None]) -> np.ndarray:
        job = replace(made.job, build=replace(made.job.build, rate=rate, initial_tension=tension))
        springs = tuple(
            replace(s, spring=replace(s.spring, rate_limit=limit[0], tension_limit=limit[1]))
            for s in build.unit.springs
        )
        found = simulate(job, ensemble, springs, build.stop, build.trim != 0.0, 256, speeds).band
        assert found is not None
        return np.stack([found.rising, found.falling])

    as_maker, measured = band(0.02, 0.03, (None, None)), band(0.2, 0.5, (0.02, 0.03))
    assert measured == pytest.approx(as_maker, abs=1e-12)
    assert np.ptp(band(0.2, 0.5, (None, None)), axis=1).max() > 2 * np.ptp(measured, axis=1).max()


def half_sticking() -> Curves:
    """Four units on ω² of 0, 10000, 20000 rising and half of it falling, scaled 1 to 4 times, at 0, 0.1, 0.2 rad and between."""
    advance = np.tile(np.linspace(0.0, 0.2, 201), (4, 1))
    rising = np.array([[1.0], [2.0], [3.0], [4.0]]) * 1e5 * advance
    return Curves(advance, rising, rising / 2)


def test_a_band_tells_rising_from_falling() -> None:
    """At 100 rad/s unit k has 0.1/k rad with speed rising, and twice that, up to the stop, with speed falling."""
    made = CurveBand.of(half_sticking(), np.array([100.0]), None)
    rising = 0.1 / np.arange(1.0, 5.0)
    for seen, of in ((made.rising, rising), (made.falling, np.minimum(2 * rising, 0.2))):
        assert seen[:, 0] == pytest.approx(np.percentile(of, (5, 95)))


def test_a_forecast_tells_rising_from_falling_and_the_stop() -> None:
    """The same units, with a point at 100 rad/s and the maximum, 0.2 rad in all of them."""
    target = Target((Band("point", 100.0, 0.0, 0.2), Band("maximum", None, 0.1, 0.3)))
    told = Forecast.of(target, half_sticking())
    rising = 0.1 / np.arange(1.0, 5.0)
    for side, of in ((told.rising, rising), (told.falling, np.minimum(2 * rising, 0.2))):
        assert side == pytest.approx(np.array([[of.mean(), 0.2], [of.std(), 0.0]]), abs=1e-12)


def test_the_chance_once_set_counts_what_passes_then() -> None:
    """Of four builds two pass at first, and one of them no more once they are set: one in four."""
    built = Built(np.array([True, True, False, False]), set_right=np.array([True, False, False, False]))
    assert (built.fraction, built.fraction_set) == (0.5, 0.25)
    assert Built(built.passed).fraction_set is None


@pytest.mark.parametrize("trimmed", [False, True])
def test_a_stop_is_as_found_unless_it_is_trimmed(trimmed: bool) -> None:
    """As found it is off by what is not known of the unit; trimmed to 0.2 rad, by the ± of the trim alone, rectangular: its
    half-width over √3."""
    made = planned_by_limits("launch")
    job, build = made.job, made.build
    assert build is not None and job.target is not None
    ensemble = ensemble_of(job, None, 64)
    built = simulate(job, ensemble, build.unit.springs, 0.2, trimmed, 64, np.array([100.0]))
    assert built.forecast is not None
    (most,) = [i for i, b in enumerate(job.target.bands) if b.kind == "maximum"]
    found = ensemble.model.units(ensemble.states).stop
    half = job.build.stop * job.stop.per_mm
    mean, by = (0.2, half / np.sqrt(3)) if trimmed else (found.mean(), found.std())
    assert abs(found.mean() - 0.2) > 0.005
    for side in (built.forecast.rising, built.forecast.falling):
        assert side[0, most] == pytest.approx(mean, abs=1e-4)
        assert side[1, most] == pytest.approx(by, rel=0.05)


def test_a_build_is_off_by_what_the_job_allows() -> None:
    """Rectangular (GUM 4.3.7): a post by no more than its ±, with ±/√3 for a standard deviation, and so the rate by its
    fraction; none of it where the source is exact."""
    made = planned_by_limits("launch")
    build = made.build
    assert build is not None
    ensemble = ensemble_of(made.job, None, 1024)
    job = replace(made.job, build=replace(made.job.build, rate=0.04, post=0.1e-3))
    errors = sobol(1024, 2 * 3 + 1, 7)
    states = np.repeat(ensemble.middle[None], 1024, axis=0)
    draw = _Draw(job, ensemble, build.unit.springs, build.stop, True, states, errors)
    units = draw.units(frozenset())
    for seen, half in ((units.stretch, 0.1e-3), (units.rate / units.rate.mean(axis=0), 0.04)):
        off = seen - seen.mean(axis=0)
        assert off.std(axis=0) == pytest.approx(half / np.sqrt(3), rel=0.01)
        assert abs(off).max(axis=0) == pytest.approx(half, rel=0.01)
    exact = draw.units(frozenset({"post setting", "spring rates"}))
    assert np.ptp(exact.stretch, axis=0) == pytest.approx(0.0) and np.ptp(exact.rate, axis=0) == pytest.approx(0.0)
