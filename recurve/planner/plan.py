"""The main job: which springs on which posts, what to do to the stop, and the curve that follows."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np

from recurve.arrays import Array
from recurve.data import default
from recurve.fit.fit import Fit, fit_sweep, fitted_job
from recurve.fit.state import Ensemble, ensemble_of
from recurve.inspection.inspected import Inspected, inspect_unit
from recurve.job.model import Job
from recurve.physics.curve import Trace, trace
from recurve.planner.build import CHECK_ADVANCE, Build, Checked, check_build
from recurve.planner.buying import Purchase, purchases
from recurve.planner.choose import Outcome, Pick, by_margin, choose_build
from recurve.planner.conversion import as_fitted, conversion_notes, fitted_ensemble
from recurve.planner.explain import explain, plan_notes, trust_notes, type_share_notes
from recurve.planner.handwork import by_hand, least_trim
from recurve.planner.ideal import Ideal, find_ideal
from recurve.planner.problem import problem_of, spring_bounds
from recurve.planner.search import Report
from recurve.planner.simulate import Built, CurveBand, Setting, as_found_band, simulate
from recurve.planner.springset import Constraints, SpringSet, spring_set_of
from recurve.planner.suggest import Suggestion, suggestions
from recurve.planner.window import Window, find_window

PlanVerdict = Literal["passes", "passes with stop trim", "may not pass", "out of reach"]
Choose = Literal["yield", "margin"]

FEW_BUILDS = 2048  # simulated for each of the best pairs
MANY_BUILDS = 8192  # simulated for the plan
# Yields nearer than this are equal: about two standard errors of FEW_BUILDS.
SAME_YIELD = 0.02
CURVE_POINTS = 90
LIKELY = 0.5  # chance of passing, set on the bench, below which a plan is not said to pass
UNCONSTRAINED = Constraints()


@dataclass(frozen=True)
class AlternativeBuild:
    """Another pair that could be fitted: its build, and the fraction [1] of its builds that pass at first setting."""

    build: Build
    fraction: float


@dataclass(frozen=True)
class Plan:
    """The answer for a job.

    `job`: the unit that was planned for, as the sweep showed it (`fit`) or else as described. `build`: best feasible
    build, or None; `built`: its simulated production. `others`: the builds it was chosen from, in order of falling
    margin; `alternatives`: as many of them as were asked for. `pairs` were judged, of which `feasible` can pass.

    `ideal`: the best springs free of the catalogue; `window`: what may be ordered; `purchases`: what to order.
    `reasons` say why nothing passes, and `suggestions` what would settle it. `notes` must be stated beside the plan.
    `checked`: the build's curve against the minimum-energy solution. `inspected`: the condition of the unit.
    `before`: the curve of the springs as found, if they are known; `before_band`: its 90 % band, if it was fitted.
    """

    job: Job
    verdict: PlanVerdict
    build: Build | None
    built: Built | None
    others: tuple[Build, ...]
    ideal: Ideal | None
    pairs: int
    feasible: int
    reasons: tuple[str, ...]
    notes: tuple[str, ...]
    inspected: Inspected
    fit: Fit | None
    before: Trace | None
    before_band: CurveBand | None
    alternatives: tuple[AlternativeBuild, ...] = ()
    suggestions: tuple[Suggestion, ...] = ()
    window: Window | None = None
    purchases: tuple[Purchase, ...] = ()
    checked: Checked | None = None


def make_plan(
    job: Job,
    choose: Choose = "yield",
    constraints: Constraints = UNCONSTRAINED,
    top: int = 0,
    report: Report | None = None,
) -> Plan:
    """Springs, post settings and stop trim that bring the curve into the job's bands.

    If the job names a sweep it is fitted first, and the plan starts from what it shows. `choose` "yield" takes, of the
    pairs with the best margins, the one of which most builds pass at first setting, and leaves a stop alone that allows
    a margin of 0.5; "margin" takes the largest margin however much the stop must be trimmed. `constraints` limit the
    choice of springs. The `top` pairs are given as alternatives. `report` receives progress messages. Raises InputError
    if the job names no target or no springs to choose from.
    """
    problem_of(job), spring_set_of(job, constraints)  # raises before anything is computed if something is missing
    fit = None if job.sweep is None else fit_sweep(job)
    found = job if fit is None else fitted_job(fit)
    unit = as_fitted(found)
    spring_set, problem, bounds = spring_set_of(unit, constraints), problem_of(unit), spring_bounds(unit)
    ensemble_as_found = ensemble_of(job, fit, FEW_BUILDS)
    ensemble = fitted_ensemble(ensemble_as_found, job)
    pick = _by_yield(unit, ensemble) if choose == "yield" else by_margin
    outcome = choose_build(problem, spring_set, unit, pick, choose == "margin", top, report)
    build = outcome.build
    ideal = find_ideal(problem, bounds)
    passes = build is not None and build.margin >= 0.0
    as_found = found.as_found()
    before = None if as_found is None else trace(as_found)
    speeds = _speeds(unit, build, before)
    checked = None if build is None else check_build(build)
    built = None if build is None else _simulated(unit, ensemble, build, MANY_BUILDS, speeds)
    inspected = inspect_unit(job.inspection, job.lobes, job.speed_ratio)
    return Plan(
        job=unit,
        verdict=_verdict(build, built),
        build=build,
        built=built,
        others=outcome.builds,
        ideal=ideal,
        pairs=outcome.pairs,
        feasible=outcome.feasible,
        reasons=() if passes else explain(unit, problem, spring_set, build, ideal),
        notes=(
            *trust_notes(checked),
            *job.notes,
            *conversion_notes(found),
            *plan_notes(job, unit, fit, inspected, problem, bounds, build),
            *type_share_notes(built),
        ),
        inspected=inspected,
        fit=fit,
        before=before,
        before_band=None if fit is None else as_found_band(ensemble_as_found, speeds),
        alternatives=_alternatives(unit, ensemble, spring_set, outcome, top, choose == "margin"),
        suggestions=() if passes else suggestions(unit, spring_set, ideal),
        # There is something to order only if springs that pass exist at all.
        window=None if ideal is None or ideal.margin <= 0.0 else find_window(problem, bounds, ideal),
        purchases=() if build is None else purchases(unit, build, outcome.builds),
        checked=checked,
    )


def _verdict(build: Build | None, built: Built | None) -> PlanVerdict:
    if build is None or built is None or build.margin < 0.0:
        return "out of reach"
    if max(built.fraction, built.fraction_set or 0.0) < LIKELY:
        return "may not pass"
    return "passes" if build.trim == 0.0 else "passes with stop trim"


def _simulated(job: Job, ensemble: Ensemble, build: Build, count: int, speeds: Array | None = None) -> Built:
    settings = () if speeds is None else _settings(job, build)
    return simulate(job, ensemble, build.unit.springs, build.stop, build.trim != 0.0, count, speeds, settings)


def _settings(job: Job, build: Build) -> tuple[Setting | None, ...]:
    """How the posts are set on the bench, as the sheet asks."""
    by = job.build.reading
    speed_by = default("sweep", "speed_reading", "speed") if job.sweep is None else job.sweep.speed_reading
    advances = (CHECK_ADVANCE, build.stop - CHECK_ADVANCE)
    return tuple(
        None if speed is None else Setting(advance, speed, by, speed_by, by)
        for advance, speed, _ in zip(advances, build.settings, build.springs, strict=False)
    )


def _alternatives(
    job: Job, ensemble: Ensemble, spring_set: SpringSet, outcome: Outcome, top: int, largest: bool
) -> tuple[AlternativeBuild, ...]:
    """The best pairs, their stops trimmed no more than necessary, with the yield of each."""
    chosen = outcome.build
    if chosen is None:
        return ()
    made = []
    for other in outcome.builds[:top]:
        same = all(a.spring is b.spring for a, b in zip(chosen.springs, other.springs, strict=True))
        build = chosen if same else other
        if not same and not largest:
            build = by_hand(build if build.trim == 0.0 else least_trim(build, job, spring_set), job, spring_set)
        made.append(AlternativeBuild(build, _simulated(job, ensemble, build, FEW_BUILDS).fraction))
    return tuple(made)


def _by_yield(job: Job, ensemble: Ensemble) -> Pick:
    """Picks, of builds that pass, the one with the highest yield, of equals the largest margin; if none passes, the
    largest margin."""

    def pick(builds: list[Build]) -> Build:
        passing = [b for b in builds if b.margin >= 0.0]
        if len(passing) < 2:
            return by_margin(builds)
        yields = [_simulated(job, ensemble, b, FEW_BUILDS).fraction for b in passing]
        best = max(yields)
        return by_margin([b for b, one in zip(passing, yields, strict=True) if one >= best - SAME_YIELD])

    return pick


def _speeds(job: Job, build: Build | None, before: Trace | None) -> Array:
    """Speeds (m,) [rad/s] over which bands are drawn: from near standstill to past all-in and the last band."""
    ends = [c.all_in or 0.0 for c in (before, None if build is None else build.curve) if c is not None]
    if job.target is not None:
        ends += [b.speed or 0.0 for b in job.target.bands]
    if job.sweep is not None:
        ends.append(float(job.sweep.speed.max()))
    return np.linspace(5.0, 1.15 * max(ends), CURVE_POINTS)
