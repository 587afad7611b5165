"""The main job: which springs on which posts, what to do to the stop, and the curve that follows."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Literal

import numpy as np

from recurve.arrays import Array
from recurve.fit.fit import Fit, fit_sweep, fitted_job
from recurve.fit.state import Ensemble, ensemble_of
from recurve.inspection.findings import inspect_unit
from recurve.job.model import Job
from recurve.physics.curve import Trace, trace
from recurve.planner.build import Build, Checked, Constraints, check_build, problem_of, shelf_of, spring_limits
from recurve.planner.choose import Outcome, Pick, by_margin, choose_build, least_trim
from recurve.planner.explain import explain, limit_notes, second_spring_note, table_note
from recurve.planner.ideal import Ideal, Window, find_ideal, find_window
from recurve.planner.linear import Problem
from recurve.planner.search import Report, SpringSet
from recurve.planner.simulate import (
    Built,
    CurveBand,
    as_fitted,
    as_found_band,
    conversion_notes,
    fitted_plant,
    simulate,
)
from recurve.planner.suggest import Purchase, Suggestion, purchases, suggestions

PlanVerdict = Literal["passes", "passes with stop trim", "out of reach"]
Choose = Literal["yield", "margin"]

FEW_BUILDS = 2048  # of each of the best pairs
MANY_BUILDS = 8192  # of the plan
# Yields nearer than this are the same: some two standard errors of FEW_BUILDS.
SAME_YIELD = 0.02
CURVE_POINTS = 90
NO_WISHES = Constraints()


@dataclass(frozen=True)
class Alternative:
    """Another pair that could be had: its build, and the share [1] of builds that pass at first setting."""

    build: Build
    share: float


@dataclass(frozen=True)
class Plan:
    """The answer for a job. `job` is the unit it was planned for: as the sweep showed it where there is one (`fit`),
    else as described. `build` is the best that can be had, None where not even a bad one can be built; `built`
    what becomes of it in building; `others` the pairs it was chosen from, the best margin first, of which the
    `alternatives` were asked for; `suggestions` what would
    settle it where nothing passes; `window` what may be ordered; `purchases` what is to be; `checked` how the
    build's curve stands against the least energy; `before` the curve of the springs as found, where they are known,
    `before_band` its 90 % band where it was fitted."""

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
    fit: Fit | None
    before: Trace | None
    before_band: CurveBand | None
    alternatives: tuple[Alternative, ...] = ()
    suggestions: tuple[Suggestion, ...] = ()
    window: Window | None = None
    purchases: tuple[Purchase, ...] = ()
    checked: Checked | None = None


def make_plan(
    job: Job, choose: Choose = "yield", wishes: Constraints = NO_WISHES, top: int = 0, report: Report | None = None
) -> Plan:
    """Springs, post settings and stop trim that bring the curve into the job's bands.

    A sweep that the job names is fitted first, and the plan starts from what it shows. `choose` "yield" takes, of
    the pairs of the best margins, the one that most builds of pass at first setting, and leaves a stop alone that
    allows a margin of 0.5; "margin" takes the largest margin whatever the work. Raises InputError where the
    job names no target or no springs to choose from. `wishes` limit the choice of springs; the `top` pairs are
    given as alternatives; `report` is told how far it is.
    """
    problem_of(job), shelf_of(job, wishes)  # what is missing is said before anything is computed
    fit = None if job.sweep is None else fit_sweep(job)
    found = job if fit is None else fitted_job(fit)
    unit = as_fitted(found)
    shelf, problem = shelf_of(unit, wishes), problem_of(unit)
    as_found_plant = ensemble_of(job, fit, FEW_BUILDS)
    plant = fitted_plant(as_found_plant, job)
    pick = _by_yield(unit, plant) if choose == "yield" else by_margin
    outcome = choose_build(problem, shelf, unit, pick, choose == "margin", top, report)
    build = outcome.build
    ideal = find_ideal(replace(problem, stops=unit.stop.limits), spring_limits(unit))
    passes = build is not None and build.margin >= 0.0
    as_found = found.as_found()
    before = None if as_found is None else trace(as_found)
    speeds = _speeds(unit, build, before)
    checked = None if build is None else check_build(build)
    return Plan(
        job=unit,
        verdict=_verdict(build),
        build=build,
        built=None if build is None else _simulated(unit, plant, build, MANY_BUILDS, speeds),
        others=outcome.builds,
        ideal=ideal,
        pairs=0 if outcome.found is None else outcome.found.pairs,
        feasible=0 if outcome.found is None else outcome.found.feasible,
        reasons=() if passes else _reasons(unit, problem, shelf, build, ideal),
        notes=(
            *_trust(checked),
            *job.notes,
            *conversion_notes(found, _idle(job)),
            *_notes(job, fit, unit, problem, build),
        ),
        fit=fit,
        before=before,
        before_band=None if fit is None else as_found_band(as_found_plant, speeds),
        purchases=() if build is None else purchases(unit, build, outcome.builds),
        checked=checked,
        window=_window(unit, problem, ideal),
        suggestions=() if passes else suggestions(unit, shelf, ideal),
        alternatives=_alternatives(unit, plant, shelf, outcome, top, choose == "margin"),
    )


def _window(job: Job, problem: Problem, ideal: Ideal | None) -> Window | None:
    """What may be ordered, where springs that pass exist at all."""
    if ideal is None or ideal.margin <= 0.0:
        return None
    return find_window(replace(problem, stops=job.stop.limits), spring_limits(job), ideal)


def _trust(checked: Checked | None) -> list[str]:
    """What must be said first where the curve is not where the energy is least."""
    if checked is None or checked.agrees:
        return []
    return [
        "Do not build from this plan: its curve and the least energy of the same unit are up to "
        f"{np.degrees(checked.largest):.2f}° (distributor) apart, where they must be one. That is a fault of recurve; "
        "report it together with the job."
    ]


def _idle(job: Job) -> float:
    """Idle speed [rad/s] of the target, else the lowest at which it asks something."""
    assert job.target is not None  # problem_of has asked for it
    return job.target.idle_speed or min(b.speed or np.inf for b in job.target.timed)


def _verdict(build: Build | None) -> PlanVerdict:
    if build is None or build.margin < 0.0:
        return "out of reach"
    return "passes" if build.trim == 0.0 else "passes with stop trim"


def _simulated(job: Job, plant: Ensemble, build: Build, count: int, speeds: Array | None = None) -> Built:
    return simulate(job, plant, build.unit.springs, build.stop, build.trim != 0.0, count, speeds)


def _alternatives(
    job: Job, plant: Ensemble, shelf: SpringSet, outcome: Outcome, top: int, largest: bool
) -> tuple[Alternative, ...]:
    """The best pairs, their stops trimmed no more than need be, with the yield of each."""
    if outcome.build is None:
        return ()
    builds = [_pair(outcome.build, b) for b in outcome.builds[:top]]
    builds = [b if largest or b.trim == 0.0 else least_trim(b, job, shelf) for b in builds]
    return tuple(Alternative(b, _simulated(job, plant, b, FEW_BUILDS).share) for b in builds)


def _pair(chosen: Build, other: Build) -> Build:
    """The chosen build itself where it is of the same pair."""
    same = all(a.spring is b.spring for a, b in zip(chosen.springs, other.springs, strict=True))
    return chosen if same else other


def _by_yield(job: Job, plant: Ensemble) -> Pick:
    """Of builds that pass the one with the highest yield, of equals the largest margin; where none passes, the
    largest margin."""

    def pick(builds: list[Build]) -> Build:
        passing = [b for b in builds if b.margin >= 0.0]
        if len(passing) < 2:
            return by_margin(builds)
        shares = [_simulated(job, plant, b, FEW_BUILDS).share for b in passing]
        best = max(shares)
        return by_margin([b for b, share in zip(passing, shares, strict=True) if share >= best - SAME_YIELD])

    return pick


def _speeds(job: Job, build: Build | None, before: Trace | None) -> Array:
    """Speeds (m,) [rad/s] over which bands are drawn: from near standstill to past all-in and the last band."""
    ends = [c.all_in or 0.0 for c in (before, None if build is None else build.curve) if c is not None]
    if job.target is not None:
        ends += [b.speed or 0.0 for b in job.target.bands]
    if job.sweep is not None:
        ends.append(float(job.sweep.speed.max()))
    return np.linspace(5.0, 1.15 * max(ends), CURVE_POINTS)


def _notes(job: Job, fit: Fit | None, unit: Job, problem: Problem, build: Build | None) -> list[str]:
    worn = [
        f.what
        for f in inspect_unit(job.inspection, job.lobes, job.speed_ratio).findings
        if f.severity == "repair first"
    ]
    notes = [f"Before anything of this plan, {what}." for what in worn]
    if fit is None:
        notes.append("Planned from the unit as described: there is no sweep to fit.")
        if unit.as_found() is None:
            notes.append("The springs as found are not described: there is no curve before.")
    elif not fit.converged:
        notes.append("The fit of the sweep did not settle on one answer; take more readings before you order.")
    if fit is not None and fit.outliers:
        rows = ", ".join(str(r) for r in fit.outliers)
        notes.append(f"Readings left out of the fit, since they do not belong: rows {rows} of the sweep.")
    if build is not None:
        notes += [*table_note(job, build), *limit_notes(job, build)]
    return [*notes, *second_spring_note(problem, spring_limits(unit), build.margin if build else None, unit)]


def _reasons(job: Job, problem: Problem, shelf: SpringSet, build: Build | None, ideal: Ideal | None) -> tuple[str, ...]:
    names = [] if build is None else [s.spring.id for s in build.springs]
    return explain(job, problem, shelf, names, None if build is None else build.results, ideal)
