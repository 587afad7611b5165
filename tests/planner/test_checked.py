"""The planned curve a second time by the least energy, held against hand calculation, SciPy and the curve itself."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from random_jobs import hidden
from scipy.integrate import quad
from scipy.optimize import minimize_scalar
from sheetplans import launch

from recurve.fit.fit import corrected
from recurve.output import results
from recurve.output.sheet.sheet import sheet_facts
from recurve.output.text.plan import plan_text
from recurve.physics.curve import Drag, Installed, Unit, trace
from recurve.physics.energy import fallen, settled
from recurve.physics.mechanism import CorrectedWeights, ReferenceSlope, Weights
from recurve.physics.posts import TablePosts
from recurve.planner import plan as planning
from recurve.planner.build import Build, check_build
from recurve.planner.plan import Plan, make_plan
from recurve.planner.springset import Constraints
from recurve.springs.spring import Spring


def straight(free: float, tension: float = 0.0, drag: Drag | None = None) -> Unit:
    """I′ = 2e-5 kg·m²/rad everywhere, one spring of 1000 N/m on a lever of 10 mm, 20 mm long at rest, stop 0.3 rad."""
    weights = Weights(2, None, ReferenceSlope(0.3, (float(np.log(2e-5)),), ((0.0,),)))
    posts = TablePosts((0.0, 0.3), (0.020, 0.023))
    return Unit(weights, (Installed(Spring("one", 1000.0, free, tension), posts),), drag or Drag(), 0.3)


@pytest.fixture(scope="module")
def plan() -> Plan:
    return launch()


def build_of(plan: Plan) -> Build:
    assert plan.build is not None
    return plan.build


# --- the least energy ---------------------------------------------------------------------------------------


def test_by_hand() -> None:
    """Hand calculation: a pull of (1 N + 10 N/rad α) on 10 mm against ½ω²I′: at ω = 40 rad/s, 16 mN·m of the weights
    leave α = (16 − 10 − 2 ± 1)/100 rad rising and falling."""
    unit = straight(0.019, drag=Drag(0.002, 0.001))
    assert settled(unit, np.array([40.0]), 0.0) == pytest.approx([0.03], abs=1e-7)
    assert fallen(unit, np.array([40.0])) == pytest.approx([0.05], abs=1e-7)


def test_a_share_of_friction_by_hand() -> None:
    """Hand calculation: of 16 mN·m a tenth is lost rising, and added falling: (14.4 − 10)/100, (17.6 − 10)/100."""
    unit = straight(0.019, drag=Drag(0.0, 0.0, 0.1))
    assert settled(unit, np.array([40.0]), 0.0) == pytest.approx([0.044], abs=1e-7)
    assert fallen(unit, np.array([40.0])) == pytest.approx([0.076], abs=1e-7)


def test_it_waits_at_a_take_up_with_initial_tension() -> None:
    """Hand calculation: slack up to 0.1 rad, from there 1 N at once on 10 mm: at 4 mN·m of the weights, less than the
    10 mN·m of the tension and more than the drag of 2, the advance stands at the take-up."""
    unit = straight(0.021, 1.0, Drag(0.002))
    assert settled(unit, np.array([20.0]), 0.0) == pytest.approx([0.1], abs=1e-7)
    assert fallen(unit, np.array([20.0])) == pytest.approx([0.1], abs=1e-7)


def test_ends() -> None:
    """At a standstill it is home, or where it was left; far past all-in it is at the stop."""
    unit = straight(0.019, drag=Drag(0.002))
    assert settled(unit, np.array([1.0, 500.0]), 0.0) == pytest.approx([0.0, 0.3], abs=1e-6)
    assert settled(unit, np.array([1.0, 500.0]), 0.05) == pytest.approx([0.05, 0.3], abs=1e-6)
    assert fallen(unit, np.array([1.0, 500.0])) == pytest.approx([0.0, 0.3], abs=1e-6)


@pytest.mark.parametrize("seed", range(4))
def test_against_a_general_minimiser(seed: int) -> None:
    """SciPy's bounded minimisation of the energy, its springs by numerical quadrature of T over L."""
    around = hidden(seed)
    assert isinstance(around.weights, Weights)
    unit = Unit(
        around.weights,
        tuple(Installed(s, p) for s, p in zip(around.springs, around.posts, strict=True)),
        around.drag,
        around.stop,
    )
    speed = 0.5 * ((around.curve.onset or 0.0) + (around.curve.all_in or 0.0))

    def energy(alpha: float) -> float:
        total = (unit.drag.rubbing_block + unit.drag.friction) * alpha
        for one in unit.springs:
            spring, end = one.spring, float(one.length(alpha)[0])
            start = max(spring.free_length, float(one.length(0.0)[0]))
            if end > start:
                total += quad(lambda x, s=spring: s.initial_tension + s.rate * (x - s.free_length), start, end)[0]
        r0, r = (float(around.weights.motion.radius(a)[0]) for a in (0.0, alpha))
        lost = 1 - unit.drag.friction_share
        return float(total - 0.5 * speed**2 * lost * unit.weights.count * unit.weights.mass * (r**2 - r0**2))

    found = minimize_scalar(energy, bounds=(0.0, unit.stop), method="bounded", options={"xatol": 1e-9})
    assert settled(unit, np.array([speed]), 0.0) == pytest.approx([found.x], abs=2e-6)


def test_where_the_weights_fly_out() -> None:
    """Where ω² falls with the advance both agree too: the rising curve goes out at the top of the hill, the falling
    one comes home at its foot."""
    snapping = replace(straight(0.019), springs=(replace(straight(0.019).springs[0], posts=_bowed()),))
    curve = trace(snapping)
    assert curve.snaps
    speeds = np.linspace(10, 60, 26)
    assert settled(snapping, speeds, 0.0) == pytest.approx(curve.rising_advance(speeds), abs=2e-5)
    assert fallen(snapping, speeds) == pytest.approx(curve.falling_advance(speeds), abs=2e-5)


def _bowed() -> TablePosts:
    """Posts whose lever shrinks so fast that the moment falls as the spring is drawn out."""
    return TablePosts((0.0, 0.15, 0.3), (0.020, 0.0230, 0.0245))


def test_the_integral_of_a_corrected_slope(plan: Plan) -> None:
    """∫ I′ dα by SciPy's quadrature, of weights that a sweep has corrected."""
    assert plan.fit is not None
    weights = corrected(plan.fit)
    assert isinstance(weights, CorrectedWeights) and len(set(weights.factor)) > 1
    for end in (0.05, 0.2):
        whole = quad(lambda a: float(weights.inertia_slope(a)), 0.0, end, epsabs=1e-16)[0]
        assert float(weights.inertia_change(end)) == pytest.approx(whole, rel=1e-9)


# --- the check --------------------------------------------------------------------------------------------


def test_a_plan_is_checked(plan: Plan) -> None:
    assert plan.checked is not None and plan.checked.agrees
    assert plan.checked.speeds >= 40
    assert "checked by energy minimisation" in " ".join(plan_text(plan).split())
    assert sheet_facts(plan)["parts"][0]["facts"]["checked"].startswith(
        "computed a second way (energy minimisation) at "
    )


def test_a_curve_of_other_springs_is_found_out(plan: Plan) -> None:
    """A curve two per cent too fast, as a primary four per cent too stiff would give."""
    build = build_of(plan)
    wrong = replace(build.curve, rising=1.04 * build.curve.rising)
    assert not check_build(replace(build, curve=wrong)).agrees


@pytest.mark.parametrize("index", [0, 1])
def test_a_number_told_falsely_is_found_out(plan: Plan, index: int) -> None:
    build = build_of(plan)
    told = list(build.results)
    told[index] = replace(told[index], falling=told[index].falling + np.radians(0.05))
    assert not check_build(replace(build, results=tuple(told))).agrees
    settings = list(build.settings)
    settings[index] = 1.01 * (settings[index] or 0.0)
    assert not check_build(replace(build, settings=(settings[0], settings[1]))).agrees


def test_what_is_found_out_is_said(plan: Plan, monkeypatch: pytest.MonkeyPatch) -> None:
    """The first remark, the report, the sheet and the exit status."""
    build = build_of(plan)
    false = check_build(replace(build, curve=replace(build.curve, rising=1.1 * build.curve.rising)))
    monkeypatch.setattr(planning, "check_build", lambda build: false)
    again = make_plan(replace(plan.job, sweep=None))
    assert again.notes[0].startswith("Do not build from this plan")
    assert "NOT in agreement" in plan_text(again)
    assert sheet_facts(again)["parts"][0]["facts"]["checked"].startswith("NO: ")
    monkeypatch.setattr(results, "write_results", lambda made, document, asked: ())
    monkeypatch.setattr(results, "make_plan", lambda *a, **k: again)
    asked = results.Asked("yield", Constraints(), 0, "a4")
    assert results.plan_job(plan.job.path, asked, lambda text: None).status == 3


def test_without_a_build_there_is_nothing_to_check(plan: Plan) -> None:
    assert "checked" not in plan_text(replace(plan, build=None, built=None, checked=None, verdict="out of reach"))
