"""The rules of a plan: which stop, which springs, which setting among equals, and what is
said when nothing passes.

The jobs are drawn about a hidden curve, so that what must come out is known: springs that are the hidden ones, on
posts as they stand, give a curve in the middle of every band. What is expected beyond that is by hand or by `brute`.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from brute import exact_curve, exact_margin
from longer import some
from random_jobs import (
    DEG,
    MM,
    RPM,
    Hidden,
    hidden,
    hidden_springs,
    job_about,
    known,
    maximum,
    point,
    random_job,
    three_points,
    trimmable,
)

from recurve.errors import InputError
from recurve.job.model import Job
from recurve.physics.curve import Stop
from recurve.physics.target import Band
from recurve.planner import plan as planning
from recurve.planner.build import Build
from recurve.planner.plan import Plan, make_plan
from recurve.springs.spring import Spring


@pytest.fixture(autouse=True)
def quickly(monkeypatch: pytest.MonkeyPatch) -> None:
    """What is not looked at here takes no time: what would settle a miss, and the yield of many builds."""
    monkeypatch.setattr(planning, "suggestions", lambda *_: ())
    monkeypatch.setattr(planning, "MANY_BUILDS", 256)


def built(plan: Plan) -> Build:
    """The plan's build, which there must be."""
    assert plan.build is not None
    return plan.build


def ids(plan: Plan) -> list[str]:
    """Ids of the springs chosen."""
    return [s.spring.id for s in built(plan).springs]


def margin_with(job: Job, build: Build, stop: float) -> float:
    """Margin of the same springs and posts with another stop, by the forward curve."""
    bends = tuple(s.bend for s in build.springs)
    curve = exact_curve(job, tuple(s.spring for s in build.springs), bends, stop, 2001)
    return exact_margin(job.target, curve)


# --- the stop ------------------------------------------------------------------------------------------


def test_a_stop_that_allows_half_is_left_alone() -> None:
    """Found 0.3° low in a band of ± 0.7°: a margin of 1 − 0.3/0.7 = 0.571 by hand, more than 0.5."""
    around = known()
    job = job_about(around, (*three_points(around), maximum(around)), hidden_springs(around), trimmable(around, -0.3))
    plan = make_plan(job)
    assert (plan.verdict, built(plan).trim, built(plan).stop) == ("passes", 0.0, job.stop.advance)
    assert built(plan).margin == pytest.approx(1 - 0.3 / 0.7, abs=1e-6)
    best = make_plan(job, "margin")
    assert best.verdict == "passes with stop trim"
    assert built(best).margin > built(plan).margin + 0.1
    assert built(best).trim < 0  # filed, to more advance


def test_otherwise_the_least_trim_within_a_hair_of_the_best() -> None:
    """Found 0.6° low: 1 − 0.6/0.7 = 0.143. Trimmed as little as keeps the best margin less 0.005; a hundredth of
    that trim less falls short of it."""
    around = known()
    job = job_about(around, (*three_points(around), maximum(around)), hidden_springs(around), trimmable(around, -0.6))
    plan, best = make_plan(job), make_plan(job, "margin")
    assert plan.verdict == best.verdict == "passes with stop trim"
    least = built(best).margin - 0.005
    assert least - 1e-6 <= built(plan).margin <= built(best).margin + 1e-9
    assert built(plan).trim < 0
    nearer = built(plan).stop - 0.01 * (built(plan).stop - job.stop.advance)
    assert margin_with(job, built(plan), nearer) < least


def test_a_stop_that_is_no_better_trimmed_is_left_alone() -> None:
    """Found in the middle of its band, and a narrow band elsewhere decides: less than 0.5 but nothing to gain."""
    around = known()
    low = point(around, 0.5, half=0.5)
    bands = (low, replace(low, low=low.low + 0.6 * DEG, high=low.high + 0.6 * DEG), maximum(around))
    plan = make_plan(job_about(around, bands, hidden_springs(around), trimmable(around, 0.0)))
    # Two bands of ± 0.5°, 0.6° apart: half-way between the two is 0.3° from either centre, 1 − 0.3/0.5 less what
    # friction parts.
    assert 0.0 < built(plan).margin < 0.41
    assert (plan.verdict, built(plan).trim) == ("passes", 0.0)


def test_the_largest_margin_is_centred_among_equal_stops() -> None:
    """Where a narrow band below decides, many stops give the same margin: the middle one is planned."""
    around = known()
    low = point(around, 0.3, half=0.5)
    bands = (low, replace(low, low=low.low + 0.6 * DEG, high=low.high + 0.6 * DEG), maximum(around, half=1.5))
    job = job_about(around, bands, hidden_springs(around), trimmable(around, -0.5, 2.0))
    build = built(make_plan(job, "margin"))
    stops = np.linspace(*job.stop.limits, 801)
    equal = [s for s in stops if margin_with(job, build, float(s)) > build.margin - 1e-5]
    assert equal[-1] - equal[0] > 0.5 * DEG
    assert build.stop == pytest.approx((equal[0] + equal[-1]) / 2, abs=0.02 * DEG)


def test_filed_and_built_up() -> None:
    """A stop 1.2° high must be built up, + trim, by 0.3 mm at 4° a millimetre to stand in the middle."""
    around = known()
    bands = (*three_points(around), maximum(around))
    high = make_plan(job_about(around, bands, hidden_springs(around), trimmable(around, 1.2)))
    assert high.verdict == "passes with stop trim"
    assert 0.0 < built(high).trim < 0.3 * MM
    assert built(high).stop == pytest.approx(around.stop + 1.2 * DEG - built(high).trim * 4 * DEG / MM, abs=1e-9)


# --- which springs -------------------------------------------------------------------------------------


def slackened(around: Hidden) -> tuple[Spring, ...]:
    """The hidden springs stretched by 0.5 mm: the posts bent out by as much bring the curve back exactly."""
    names = ("as found primary", "as found secondary")
    return tuple(
        replace(s, id=name, free_length=s.free_length + 0.5 * MM, quantity=1)
        for name, s in zip(names, around.springs, strict=True)
    )


@pytest.mark.parametrize("catalogue", [None, "poor"])
def test_resetting_the_posts_may_be_enough(catalogue: str | None) -> None:
    """The springs as found, their posts moved, with no catalogue or with one that has nothing better."""
    around = known()
    poor = tuple(replace(s, id=f"poor {i}", rate=40 * s.rate) for i, s in enumerate(around.springs))
    springs = None if catalogue is None else poor
    job = job_about(around, three_points(around), springs, found=slackened(around))
    plan = make_plan(job)
    assert plan.verdict in ("passes", "may not pass")  # by its chance, which is not what this is about
    assert ids(plan) == ["as found primary", "as found secondary"]
    assert plan.before is not None
    assert built(plan).margin > 0.5 > exact_margin(job.target, plan.before)


def test_a_spring_found_in_the_unit_is_there_once() -> None:
    """It may change places but is not fitted twice: one place for each is all that remains."""
    around = known()
    plan = make_plan(job_about(around, three_points(around), None, found=slackened(around)))
    assert plan.pairs == 2


@pytest.mark.parametrize(("quantity", "pairs"), [(None, 4), (2, 4), (1, 2), (0, 0)])
def test_quantities(quantity: int | None, pairs: int) -> None:
    """Two kinds of spring: as ordered pairs 2 · 2 where there are enough, 2 with one of each, none with none."""
    around = known()
    plan = make_plan(job_about(around, three_points(around), hidden_springs(around, quantity=quantity)))
    assert plan.pairs == pairs
    assert (plan.build is None) == (pairs == 0)


def test_one_of_a_kind_is_not_used_twice() -> None:
    """The same spring in both places is best; with a single one it cannot be, with two it is."""
    around = known()
    springs = hidden_springs(around)
    twin = replace(springs[0], id="twin", quantity=2)
    misfit = replace(springs[1], id="misfit", rate=springs[1].rate * 8, quantity=None)
    both = exact_curve(job_about(around, (), ()), (twin, twin), (0.0, 0.0), around.stop, 2001)
    speeds = [both.rising_speed(x * around.stop) for x in (0.3, 0.7)]
    bands = []
    for speed in speeds:
        assert speed is not None
        at = float(both.falling_advance(speed))
        bands.append(Band("point", speed, at - 1.0 * DEG, at + 1.0 * DEG))
    two = make_plan(job_about(around, tuple(bands), (twin, misfit), travel=(0.0, 0.0)))
    assert ids(two) == ["twin", "twin"]
    one = make_plan(job_about(around, tuple(bands), (replace(twin, quantity=1), misfit), travel=(0.0, 0.0)))
    assert one.build is None or ids(one) != ["twin", "twin"]


def test_equal_settings_move_the_posts_least() -> None:
    """The stop, which cannot be trimmed, decides the margin: 1 − 0.42/0.7 = 0.4. The hidden springs have more than
    that with no post moved, so none is moved."""
    around = known()
    bands = (*three_points(around), maximum(around, shift=0.42))
    plan = make_plan(job_about(around, bands, hidden_springs(around)))
    assert built(plan).margin == pytest.approx(0.4, abs=1e-6)
    assert [s.bend for s in built(plan).springs] == pytest.approx([0.0, 0.0], abs=1e-9)


def test_among_equal_pairs_the_one_whose_posts_move_least() -> None:
    """As above with twenty pairs that all reach 0.4: those longer or shorter by a tenth of a millimetre and more
    would have to be set, the hidden pair not at all."""
    around = known()
    bands = (*three_points(around), maximum(around, shift=0.42))
    others = [
        replace(s, id=f"{name}{i}", free_length=s.free_length + off * MM)
        for i, off in enumerate((-0.5, -0.4, -0.3, 0.3, 0.4, 0.5))
        for name, s in zip("PS", around.springs, strict=True)
    ]
    # By margin, in which they are equal; by yield they are not.
    plan = make_plan(job_about(around, bands, (*others, *hidden_springs(around))), "margin")
    moved = sum(abs(s.bend) for s in built(plan).springs)
    assert built(plan).margin == pytest.approx(0.4, abs=1e-4)
    assert moved == pytest.approx(0.0, abs=1e-9)


def test_two_identical_springs_are_one_choice() -> None:
    """A second row of the same spring changes nothing but the count."""
    around = known()
    springs = hidden_springs(around)
    once = make_plan(job_about(around, three_points(around), springs))
    again = make_plan(job_about(around, three_points(around), (*springs, replace(springs[0], id="P again"))))
    assert built(again).margin == pytest.approx(built(once).margin, abs=1e-6)
    assert [s.bend for s in built(again).springs] == pytest.approx([s.bend for s in built(once).springs], abs=1e-9)


@pytest.mark.parametrize("seed", some([2, 8], 1))
def test_the_order_of_the_catalogue_does_not_matter(seed: int) -> None:
    """Rows turned round: the same margin, and no more movement of the posts."""
    job = random_job(seed)
    assert job.catalogue is not None
    turned = replace(job, catalogue=replace(job.catalogue, springs=job.catalogue.springs[::-1]))
    one, other = make_plan(job), make_plan(turned)
    assert one.verdict == other.verdict
    assert built(other).margin == pytest.approx(built(one).margin, abs=1e-4)
    assert (one.pairs, one.feasible) == (other.pairs, other.feasible)


# --- both directions, snaps ----------------------------------------------------------------------------


def test_rising_and_falling_are_both_in_band() -> None:
    """With friction the two part; the margin is that of the worse one."""
    around = known()
    rough = replace(around, drag=replace(around.drag, friction=1.5 * MM))
    job = job_about(rough, three_points(around), hidden_springs(around))
    build = built(make_plan(job))
    parted = [r.falling - r.rising for r in build.results]
    assert min(parted) > 0.05 * DEG
    for result in build.results:
        assert result.margin == min(float(result.band.margin(a)) for a in (result.rising, result.falling))
        assert result.band.low < result.rising < result.falling < result.band.high


@pytest.mark.parametrize("seed", some(range(4), 2))
def test_no_snap_is_ever_planned(seed: int) -> None:
    """Primaries under so much initial tension that the best margin would snap: what is planned does not."""
    around = hidden(seed + 40, tables=(True, True))
    random = np.random.default_rng(seed)
    first, second = around.springs
    springs = [replace(second, id="S")]
    for i in range(4):
        tension = random.uniform(0.8, 1.6) * (first.initial_tension + first.rate * 1.0 * MM)
        springs.append(replace(first, id=f"P{i}", rate=random.uniform(0.2, 0.9) * first.rate, initial_tension=tension))
    build = make_plan(job_about(around, three_points(around), tuple(springs))).build
    if build is not None:
        bends = tuple(s.bend for s in build.springs)
        curve = exact_curve(job_about(around, (), ()), tuple(s.spring for s in build.springs), bends, build.stop, 2001)
        assert not curve.snaps
        assert (np.diff(curve.rising) > -1e-9 * curve.rising.max()).all()


# --- one spring ----------------------------------------------------------------------------------------


def knee(around: Hidden) -> tuple[Band, ...]:
    """Steep to half the travel, then flat: what one spring cannot follow."""
    first, middle, last = (around.curve.rising_speed(x * around.stop) for x in (0.1, 0.5, 0.9))
    assert first is not None and middle is not None and last is not None
    at = [0.1 * around.stop, 0.5 * around.stop, 0.9 * around.stop]
    speeds = [first, first * 1.1, first * 2.6]
    return tuple(Band("point", s, max(a - 0.6 * DEG, 0.0), a + 0.6 * DEG) for s, a in zip(speeds, at, strict=True))


def test_one_spring_is_planned_alone() -> None:
    """A job without a secondary has one spring in its plan, and no word of a second where one is enough."""
    around = known(24, 1)
    plan = make_plan(job_about(around, three_points(around), hidden_springs(around)))
    assert ids(plan) == ["P"]
    assert built(plan).settings[1] is None
    assert built(plan).margin > 0.5
    assert not any("A secondary" in note for note in plan.notes)


def test_a_second_spring_is_suggested_where_it_would_help() -> None:
    """A knee in the target that one spring misses."""
    around = known(24, 1)
    plan = make_plan(job_about(around, knee(around), hidden_springs(around)))
    assert plan.build is None or built(plan).margin < 0.5
    (note,) = [n for n in plan.notes if "A secondary" in n]
    assert "  " not in note


# --- out of reach --------------------------------------------------------------------------------------


def test_the_bands_that_fight_are_named() -> None:
    """At 600 rpm at least 9°, at 700 rpm at most 3°: no curve rises downwards, and both speeds are named."""
    around = known()
    bands = (
        Band("point", 600 * RPM, 0.65 * around.stop, 0.75 * around.stop),
        Band("point", 700 * RPM, 0.15 * around.stop, 0.25 * around.stop),
    )
    plan = make_plan(job_about(around, bands, hidden_springs(around)))
    assert plan.verdict == "out of reach"
    text = " ".join(plan.reasons)
    assert "600 rpm" in text
    assert "700 rpm" in text
    assert "contradict each other" in text


def test_a_stop_out_of_reach_says_how_far() -> None:
    """The maximum begins 2.4° above the stop as found, 0.6 mm at 4° a millimetre; 0.25 mm may be filed."""
    around = known()
    stop = Stop(around.stop - 3 * DEG, 4 * DEG / MM, 0.25 * MM, 0.1 * MM)
    plan = make_plan(
        job_about(around, (*three_points(around)[:2], maximum(around, half=0.6)), hidden_springs(around), stop)
    )
    assert plan.verdict == "out of reach"
    text = " ".join(plan.reasons)
    assert "0.60 mm" in text
    assert "allows 0.25 mm" in text
    assert "filed" in text


def test_nothing_pulls_from_rest() -> None:
    """Every spring is longer than the posts can be set apart."""
    around = known()
    springs = tuple(replace(s, free_length=s.free_length + 20 * MM) for s in hidden_springs(around))
    plan = make_plan(job_about(around, three_points(around), springs))
    assert (plan.verdict, plan.build) == ("out of reach", None)
    assert any("No spring pulls from rest" in reason for reason in plan.reasons)


def test_one_spring_for_two_places() -> None:
    """A single spring, one of it: that there are two places for it is the reason, not a snap."""
    around = known()
    (only,) = hidden_springs(around, quantity=1)[:1]
    plan = make_plan(job_about(around, three_points(around), (only,)))
    assert (plan.verdict, plan.pairs, plan.build) == ("out of reach", 0, None)
    assert any("takes two springs" in reason and "“P”" in reason for reason in plan.reasons)


def test_the_nearest_miss_is_named() -> None:
    """Ideal springs pass, the catalogue's are all five times too stiff: it is the catalogue that is to blame."""
    around = known()
    stiff = tuple(replace(s, rate=5 * s.rate) for s in hidden_springs(around))
    plan = make_plan(job_about(around, three_points(around), stiff))
    assert plan.verdict == "out of reach"
    assert plan.ideal is not None and plan.ideal.margin > 0
    assert any("catalogue's nearest is" in r and ids(plan)[0] in r for r in plan.reasons)


def test_what_cannot_be_planned_is_an_input_error() -> None:
    """No target; a target that asks nothing at a speed; no springs at all."""
    around = known()
    with pytest.raises(InputError, match="target"):
        make_plan(job_about(around, (), hidden_springs(around)))
    with pytest.raises(InputError, match="target"):
        make_plan(job_about(around, (maximum(around),), hidden_springs(around)))
    with pytest.raises(InputError, match="catalogue"):
        make_plan(job_about(around, three_points(around), None))
