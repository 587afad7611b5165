"""Rules of the planner by hand: what may not snap, what a spring must do and bear, and how simulated builds are drawn.

The unit of the first half is one of `hand_units`: the primary pulls 1 N at rest with 1 N/mm, the secondary takes up at 0.1 rad
with 2 N/mm, both on levers of 10 mm, and the stop is at 0.2 rad.
"""

from __future__ import annotations

from itertools import product
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest
from example_plans import example
from hand_units import C, Drive, Lever, steady
from random_jobs import make_job

from recurve.fit.state import ensemble_of
from recurve.job.model import Job, SpringPlace
from recurve.physics.curve import Drag, Installed, Stop
from recurve.physics.target import Band, Target
from recurve.planner import choose, handwork, simulate
from recurve.planner.build import make_build
from recurve.planner.problem import problem_of
from recurve.planner.refine import Candidates, _no_snap
from recurve.planner.springset import SpringSet
from recurve.springs.spring import Spring

MM = 1e-3
LIGHT, HEAVY = Spring("light", 1000.0, 19 * MM), Spring("heavy", 2000.0, 21 * MM)
BANDS = Target((Band("point", float(np.sqrt(1500.0)), 0.03, 0.07), Band("maximum", None, 0.18, 0.22)))


def job_of(*springs: Spring, drag: Drag | None = None, drive: Any = steady) -> Job:
    """The unit with these springs in it."""
    places = tuple(SpringPlace(Lever(), (-2 * MM, 2 * MM), s) for s in springs)
    return make_job(Drive(drive), drag or Drag(), Stop(0.2, 100.0), places, BANDS, None)


@pytest.mark.parametrize(
    ("grows", "friction", "edge", "below"),
    [(8.0, 0.5e-3, 0.1, True), (8.0, 0.0, 0.15, True), (-2.0, 80e-3, 1.9, False), (-2.0, 0.0, -6.1, False)],
)
def test_neither_the_rising_nor_the_falling_curve_may_fall_with_advance(
    grows: float, friction: float, edge: float, below: bool
) -> None:
    """I′ = C (1 + g α), one spring b mm out, a drag of 1 mN·m. (τ + T_d ± T_f)/I′ climbs where τ′ (1 + g α) ≥ g (τ + T_d ± T_f).
    With τ = 10 (1 + b) mN·m + 100 α it is the same at every advance: 100 ≥ g (10 (1 + b) + 1 ± T_f), in mN·m. For g = 8 the
    rising curve decides: b ≤ 0.15 − T_f/10. For g = −2 the falling one: b ≥ T_f/10 − 6.1."""
    problem = problem_of(job_of(LIGHT, drag=Drag(1e-3, friction), drive=lambda a: C * (1 + grows * a)))
    none = np.zeros((1, 4), bool)
    one = Candidates(np.array([0]), np.array([-1]), none, np.array([[0.3 * MM, 0.0]]), np.array([0.0]))
    planes = _no_snap(problem, SpringSet.of([LIGHT]), one, 24)
    assert ((planes.p < 0) == below).all() and not planes.q.any()
    assert planes.r / planes.p == pytest.approx(np.full((1, 24), edge * MM), abs=1e-3 * MM)


@pytest.mark.parametrize(("bend", "serves"), [(0.0, True), (-0.99, True), (-1.01, False)])
def test_a_primary_must_pull_from_rest_whatever_the_margin(bend: float, serves: bool) -> None:
    """It is 1 mm longer over its posts than free."""
    build = make_build(job_of(LIGHT, HEAVY), (LIGHT, HEAVY), (bend * MM, 0.0), 0.2)
    assert not build.curve.snaps
    assert handwork._serves(build, SpringSet.of([LIGHT, HEAVY]), -np.inf) == serves
    assert not handwork._serves(build, SpringSet.of([LIGHT, HEAVY]), build.margin + 1e-6)


@pytest.mark.parametrize(("longest", "bend", "built"), [(22.1, 0.0, True), (21.9, 0.0, False), (22.1, 0.2, False)])
def test_no_build_draws_a_spring_beyond_what_it_bears(
    longest: float, bend: float, built: bool, monkeypatch: pytest.MonkeyPatch
) -> None:
    """22 mm over its posts at the stop of 0.2 rad, and as much more as the post is bent out."""
    monkeypatch.setattr(choose, "least_moves", lambda problem, springs, one, *given: one.bend)
    job = job_of(LIGHT, HEAVY)
    springs = SpringSet.of([LIGHT, HEAVY], lambda s: longest * MM if s is LIGHT else np.inf)
    found: Any = SimpleNamespace(problem=problem_of(job), springs=springs)
    bends = np.array([[bend * MM, 0.0]])
    one = Candidates(np.array([0]), np.array([1]), np.zeros((1, 4), bool), bends, np.array([0.5]))
    assert (choose._built(found, one, job, 24) is not None) == built


# --- simulated builds ---------------------------------------------------------------------------------------


def test_a_spring_that_stays_in_the_unit_is_the_one_that_was_swept() -> None:
    """Its rate and its stretch are those of each state, and more by the bend of its post; another spring of the same
    figures has a maker's ± about them."""
    job = example("launch")
    ensemble = ensemble_of(job, None, 256)
    states = ensemble.model.units(ensemble.states)
    place = job.places[0]
    assert place.found is not None
    one = Spring("another", place.found.rate, place.found.free_length, place.found.initial_tension)
    errors = np.full((256, 4), 0.5)
    errors[:, 0] = np.linspace(0.0, 1.0, 256)  # of the rate; nothing else is off
    kept, bought = (
        simulate._Draw(job, ensemble, (Installed(s, place.posts, 0.2 * MM),), 0.2, False, ensemble.states, errors)
        for s in (place.found, one)
    )
    made, other = kept.units(frozenset()), bought.units(frozenset())
    longer = place.posts.length(0.0, 0.2 * MM)[0] - place.posts.length(0.0)[0]
    assert longer > 0.1 * MM
    assert made.rate[:, 0] == pytest.approx(states.rate[:, 0])
    assert made.stretch[:, 0] == pytest.approx(states.stretch[:, 0] + longer)
    ends = one.rate * (1 - job.build.rate), one.rate * (1 + job.build.rate)
    assert other.rate[[0, -1], 0] == pytest.approx(ends)


def test_errors_of_building_do_not_keep_step_with_the_states(monkeypatch: pytest.MonkeyPatch) -> None:
    """Of two numbers that know nothing of each other, 1024 pairs fall evenly into 8 by 8 fields: χ² of 49 degrees of freedom,
    above 120 once in ten million (table). Two sequences in step fill a few fields only, a χ² of thousands."""
    drawn: list[Any] = []

    class Drawn(Exception):
        pass

    def draw(job: Job, ensemble: object, springs: object, stop: float, trimmed: bool, *numbers: Any) -> None:
        drawn.extend(numbers)
        raise Drawn

    monkeypatch.setattr(simulate, "_Draw", draw)
    job = example("launch")
    springs = tuple(Installed(p.found, p.posts) for p in job.places if p.found is not None)
    ensemble = ensemble_of(job, None, 1024)
    with pytest.raises(Drawn):
        simulate.simulate(job, ensemble, springs, 0.2, False, 1024)
    states, errors = drawn
    assert np.sort(states, axis=0) == pytest.approx(np.sort(ensemble.states, axis=0))
    rank = [np.argsort(np.argsort(x, axis=0), axis=0) // 128 for x in (states, errors)]
    for a, b in product(rank[0].T, rank[1].T):
        fields = np.bincount(8 * a + b, minlength=64)
        assert ((fields - 16) ** 2 / 16).sum() < 120
