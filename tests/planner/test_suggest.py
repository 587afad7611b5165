"""What would settle a job that is out of reach: every suggestion judged by the forward curve, and none missed.

The jobs are invented, by `random_jobs`. Whether a change settles a job is asked of the planner with much of it.
"""

from __future__ import annotations

from dataclasses import replace
from functools import cache

import numpy as np
import pytest
from brute import exact_curve, exact_margin
from random_jobs import hidden_springs, job_about, known, maximum, point, random_job, three_points, trimmable

from recurve.job.model import Job
from recurve.physics.target import Target
from recurve.planner.changes import changes_of
from recurve.planner.choose import by_margin, choose_build
from recurve.planner.ideal import find_ideal
from recurve.planner.problem import problem_of, spring_bounds
from recurve.planner.springset import Constraints, spring_set_of
from recurve.planner.suggest import Suggestion, _weighted, suggestions

CASES = (3, 5, 19)
STUDY = tuple(range(200, 330))


@cache
def infeasible(seed: int) -> tuple[Job, tuple[Suggestion, ...]] | None:
    """The job and what is suggested, None where something passes."""
    job = random_job(seed)
    spring_set = spring_set_of(job, Constraints())
    build = choose_build(problem_of(job), spring_set, job, by_margin, True).build
    if build is not None and build.margin >= 0:
        return None
    return job, suggestions(job, spring_set, find_ideal(problem_of(job), spring_bounds(job)))


def check(seed: int) -> bool:
    """Each suggestion passes on the forward curve, inside what the changed job allows; False if the job passes."""
    answer = infeasible(seed)
    if answer is None:
        return False
    all_pass(answer[1])
    return True


def all_pass(found: tuple[Suggestion, ...]) -> None:
    """Each passes on the forward curve, with posts bent no more than its job allows."""
    for one in found:
        bends = tuple(s.bend for s in one.build.springs)
        curve = exact_curve(one.job, tuple(s.spring for s in one.build.springs), bends, one.build.stop, 2001)
        assert not curve.snaps
        assert exact_margin(one.job.target, curve) >= 0.0
        for bend, place in zip(bends, one.job.places, strict=True):
            assert place.travel[0] - 1e-9 <= bend <= place.travel[1] + 1e-9
        assert f"{one.amount:.2f}" in one.text or one.kind != "band"


def any_single_change(job: Job) -> bool:
    """Whether the most of any change settles it, asked of the planner."""
    spring_set = spring_set_of(job, Constraints())
    asked = [c.make(c.most)[0] for c in changes_of(job, spring_set)]
    asked += [_weighted(job, float(f)) for f in np.geomspace(0.5, 2.0, 9)]
    for problem in asked:
        changed = replace(job, weights=problem.weights, target=problem.target)
        build = choose_build(problem, spring_set, changed, by_margin, True).build
        if build is not None and build.margin >= 0.0:
            return True
    return False


@pytest.mark.parametrize("seed", CASES)
def test_suggestions_pass(seed: int) -> None:
    """On the cases of every run: there is one, and each passes."""
    assert check(seed)
    answer = infeasible(seed)
    assert answer is not None and answer[1]


def test_the_least_widening() -> None:
    """A stop that stays, 0.42° past a band of ± 0.3° for it: by hand the band must be 0.12° wider, no less."""
    around = known()
    bands = (*three_points(around), maximum(around, half=0.3, shift=0.42))
    job = job_about(around, bands, hidden_springs(around))
    found = suggestions(job, spring_set_of(job, Constraints()), None)
    (band,) = [s for s in found if s.kind == "band"]
    assert band.amount == pytest.approx(0.12, abs=0.0101)
    assert "of the stop" in band.text
    target = band.job.target
    assert target is not None
    assert target != Target(bands)


def test_the_trim_that_is_missing() -> None:
    """A stop found 3° low that trim can move by 1.5°, in a band of ± 0.7°: 0.8° more, by hand."""
    around = known()
    job = job_about(around, (*three_points(around), maximum(around)), hidden_springs(around), trimmable(around, -3.0))
    found = suggestions(job, spring_set_of(job, Constraints()), None)
    (stop,) = [s for s in found if s.kind == "stop"]
    assert stop.amount == pytest.approx(0.8, abs=0.0101)
    assert "filed" in stop.text


def test_two_changes_where_no_single_one_is_enough() -> None:
    """A stop that stays, 0.12° past its band by hand, and a band at half the travel that these springs miss by far: either
    change alone leaves the other fault, so two are told, one of them the stop's 0.12°."""
    around = known()
    bands = (*three_points(around), point(around, 0.5, half=0.5, shift=3.0), maximum(around, half=0.3, shift=0.42))
    job = job_about(around, bands, hidden_springs(around), travel=(0.0, 0.0))
    assert not any_single_change(job)
    found = suggestions(job, spring_set_of(job, Constraints()), None)
    assert found and {s.kind for s in found} == {"two"}
    all_pass(found)
    for one in found:
        assert (
            "of the stop by 0.12°" in one.text or "of the stop by 0.13°" in one.text or "Bring the stop to" in one.text
        )


@pytest.mark.study
def test_thirty_jobs() -> None:
    """Of thirty jobs out of reach each that a single change can settle has a suggestion, and all suggestions pass."""
    seen = 0
    for seed in STUDY:
        if not check(seed):
            continue
        answer = infeasible(seed)
        assert answer is not None
        assert answer[1] or not any_single_change(answer[0]), seed
        seen += 1
        if seen == 30:
            break
    assert seen == 30
