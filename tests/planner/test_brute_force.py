"""The planner against brute force on the forward curve, on random mechanisms and small catalogues.

Every expected margin is that of `brute`: a grid, differential evolution and a simplex on the curve, with
the same rules. All jobs are invented, by `random_jobs`.
"""

from __future__ import annotations

from dataclasses import replace
from functools import cache

import numpy as np
import pytest
from brute import Best, brute_pair, brute_plan, exact_curve, exact_margin
from longer import some
from random_jobs import random_job

from recurve.physics.posts import PointPosts, TablePosts
from recurve.physics.target import Band, Target
from recurve.planner import plan as planning
from recurve.planner.choose import by_margin, choose_build
from recurve.planner.plan import Plan, make_plan
from recurve.planner.problem import problem_of
from recurve.planner.springset import SpringSet

Case = tuple[int, bool]
# The seed, and whether the job is a wild one: posts that bend far, springs with much initial tension.
CASES: list[Case] = [(seed, False) for seed in (0, 1, 4, 8, 9, 11, 13, 18, 21, 27, 33, 35, 211, 224)]
CASES += [(seed, True) for seed in (9, 16, 116, 220, 326, 344)]
STUDY: list[Case] = [(60, False)] + [(seed, wild) for seed in range(100, 150) for wild in (False, True)]
# How much the brute margin may be better (it is what the planner must not fall behind), and from which margin on an
# "out of reach" would be wrong.
WORSE = 0.005


@pytest.fixture(autouse=True)
def quickly(monkeypatch: pytest.MonkeyPatch) -> None:
    """What is not looked at here takes no time: what would settle a miss, and the yield of many builds."""
    monkeypatch.setattr(planning, "suggestions", lambda *_: ())
    monkeypatch.setattr(planning, "MANY_BUILDS", 256)


@cache
def planned(case: Case) -> Plan:
    """The planner's answer for the largest margin."""
    return make_plan(random_job(*case), "margin")


@cache
def brute(case: Case) -> Best | None:
    """The brute answer."""
    return brute_plan(random_job(*case), pairs=3)


def check_margin(case: Case) -> None:
    """Nothing that brute force finds is better by more than 0.005, and what it can pass is not refused."""
    plan, best = planned(case), brute(case)
    if best is None:
        return
    assert plan.build is not None
    assert plan.build.margin >= best.margin - WORSE
    assert (plan.verdict == "out of reach") == (plan.build.margin < 0)


def test_a_snap_between_the_advances_looked_at_is_no_reason_to_give_up() -> None:
    """A pair of which every setting snaps that the coarse grid calls good; the slow search says that others do not."""
    job = random_job(51)
    assert job.catalogue is not None
    named = {s.id: s for s in job.catalogue.springs}
    primary, secondary = replace(named["S4"], quantity=1), replace(named["S0"], quantity=1)
    job = replace(job, catalogue=replace(job.catalogue, springs=(primary, secondary)))
    springs = SpringSet.of([primary, secondary]).limited(np.eye(2, dtype=bool))
    outcome = choose_build(problem_of(job), springs, job, by_margin, False)
    best = brute_pair(job, (primary, secondary))
    assert outcome.build is not None and best is not None and best.margin < 0
    assert not outcome.build.curve.snaps
    # Far out of reach the nearest miss is not the very nearest.
    assert best.margin - 0.5 <= outcome.build.margin <= best.margin + 0.005


@pytest.mark.parametrize("case", some(CASES, 8))
def test_never_worse_than_brute_force(case: Case) -> None:
    """On the cases of every run."""
    check_margin(case)


@pytest.mark.study
@pytest.mark.parametrize("case", STUDY)
def test_never_worse_than_brute_force_on_many(case: Case) -> None:
    """On a hundred more."""
    check_margin(case)
    check_rules(case)


@pytest.mark.parametrize("seed", [1, 18])
@pytest.mark.parametrize("share", [0.25, 0.6])
def test_idle_above_a_bands_speed(seed: int, share: float) -> None:
    """Idle speed between the bands' speeds: a rising curve begins at what stays in there, and that must lie inside
    the bands below it too. As brute force has it, whose margin is that of the exact curve."""
    job = random_job(seed)
    assert job.target is not None
    points = [b for b in job.target.timed if b.kind == "point"]
    speeds = sorted(b.speed or 0.0 for b in points)
    speed = (1 - share) * speeds[0] + share * speeds[1]
    idle = Band("idle", speed, 0.0, max(b.high for b in points if (b.speed or 0.0) <= speeds[1]))
    rough = replace(job.drag, friction=max(job.drag.friction, 1e-3))
    changed = replace(job, drag=rough, target=Target((*points, idle)))
    plan, best = make_plan(changed, "margin"), brute_plan(changed, pairs=3)
    assert best is not None and plan.build is not None
    assert plan.build.margin >= best.margin - WORSE
    assert plan.build.margin == pytest.approx(min(r.margin for r in plan.build.results), abs=1e-12)


def check_rules(case: Case) -> None:
    """The build that is reported is one that the rules allow, with the margin and stop that the curve gives."""
    job, build = random_job(*case), planned(case).build
    if build is None:
        return
    springs = tuple(s.spring for s in build.springs)
    bends = tuple(s.bend for s in build.springs)
    curve = exact_curve(job, springs, bends, build.stop, 2001)
    assert build.margin == pytest.approx(exact_margin(job.target, curve), abs=1e-6)
    assert not curve.snaps
    assert curve.takeups[0] == 0.0
    for bend, place in zip(bends, job.places, strict=True):
        assert place.travel[0] - 1e-9 <= bend <= place.travel[1] + 1e-9
    assert job.stop.limits[0] - 1e-12 <= build.stop <= job.stop.limits[1] + 1e-12
    assert build.stop == pytest.approx(job.stop.advance - build.trim * job.stop.per_mm, abs=1e-12)
    assert all(s.quantity is None or s.quantity > 0 for s in springs)
    assert len(springs) == 1 or springs[0] is not springs[1] or springs[0].quantity != 1


@pytest.mark.parametrize("case", some(CASES, 8))
def test_what_is_reported_keeps_the_rules(case: Case) -> None:
    """Margin by the forward curve within 1e-6, posts within travel, stop within trim, no snap, nothing used twice."""
    check_rules(case)


@pytest.mark.parametrize("case", some(CASES, 8))
def test_every_band_is_reported(case: Case) -> None:
    """The bands come in the job's order; the worst of their margins is the plan's, and each follows from its advances:
    1 in the middle of a band, 0 on an edge, of a band from zero only the upper edge (by hand)."""
    job, build = random_job(*case), planned(case).build
    assert job.target is not None
    if build is None:
        return
    assert [r.band for r in build.results] == list(job.target.bands)
    assert build.margin == min(r.margin for r in build.results)
    for result in build.results:
        low, high = result.band.low, result.band.high
        middle, half = ((low + high) / 2, (high - low) / 2) if low > 0 else (0.0, high)
        by_hand = [1 - abs(a - middle) / half for a in (result.rising, result.falling)]
        assert result.margin == pytest.approx(min(by_hand), abs=1e-12)
        assert result.falling >= result.rising - 1e-12


@pytest.mark.study
def test_the_cases_hold_every_kind() -> None:
    """Posts by table and by points, one and two springs, friction, initial tension, all verdicts, springs as found."""
    jobs = [random_job(*case) for case in CASES]
    kinds = {tuple(type(p.posts) for p in j.places) for j in jobs}
    assert {(PointPosts,), (PointPosts, PointPosts), (TablePosts, TablePosts)} <= kinds
    assert {(PointPosts, TablePosts), (TablePosts, PointPosts)} & kinds
    assert {j.drag.friction > 0 for j in jobs} == {j.stop.per_mm > 0 for j in jobs} == {True, False}
    plans = [planned(case) for case in CASES]
    assert {p.verdict for p in plans} == {"passes", "passes with stop trim", "may not pass", "out of reach"}
    chosen = [s.spring for p in plans if p.build is not None for s in p.build.springs]
    assert {s.initial_tension > 0 for s in chosen} == {s.id.startswith("as found") for s in chosen} == {True, False}
    late = [s.takeup for p in plans if p.build is not None for s in p.build.springs[1:]]
    assert sum(t is not None and t > 0 for t in late) > 5
    bests = [brute(case) for case in CASES]
    assert np.median([b.margin for b in bests if b is not None]) > 0
