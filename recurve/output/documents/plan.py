"""The JSON documents of `curve` and `plan`: shapes, and the unit of every number.

Every result as plain facts: the JSON documents of the commands.

All speeds are distributor rpm and all angles distributor degrees, whatever the job's basis. What is not
known, or is not there, is None and never NaN.
"""

from __future__ import annotations

import math
from typing import Annotated, Any, Literal

import numpy as np
from numpy.typing import ArrayLike
from pydantic import RootModel

from recurve.arrays import Array
from recurve.job.model import Job
from recurve.output.documents.base import (
    BandHigh,
    BandKind,
    BandLow,
    BandSpeed,
    Document,
    Files,
    Fingerprint,
    Margin,
    Notes,
    PlaceName,
    Range,
    TakeUps,
    Title,
    deg,
    mm,
    rounded_list,
    rpm,
    told,
)
from recurve.physics.curve import Trace, Unit, residual_advance
from recurve.planner.build import Build, Checked, Fitted
from recurve.planner.ideal import Ideal, Window
from recurve.planner.plan import Alternative, Plan
from recurve.planner.suggest import Purchase, Suggestion
from recurve.units import PLACES, RPM

# --- curve ------------------------------------------------------------------------------------------------


class Snap(Document):
    """Advance that is jumped over at one speed."""

    from_deg: Annotated[float, told("Where the jump begins", "distributor deg")]
    to_deg: Annotated[float, told("Where it ends", "distributor deg")]
    speed_rpm: Annotated[float, told("The speed of the jump", "distributor rpm")]


class CurveDocument(Document):
    """An advance curve, rising and falling, and its marks. All speeds and angles are the distributor's."""

    speed_rpm: Annotated[list[float], told("Speeds", "distributor rpm")]
    rising_deg: Annotated[list[float], told("Advance at each, the speed rising", "distributor deg")]
    falling_deg: Annotated[list[float], told("Advance at each, the speed falling", "distributor deg")]
    onset_rpm: Annotated[float | None, told("Where advance begins; null: none", "distributor rpm")]
    return_rpm: Annotated[float | None, told("Where it is gone, the speed falling; null: none", "distributor rpm")]
    all_in_rpm: Annotated[float | None, told("Where it is complete; null: none", "distributor rpm")]
    residual_deg: Annotated[float, told("What stays in at idle", "distributor deg")]
    residual_without_drag_deg: Annotated[float, told("The same without the rubbing block's drag", "distributor deg")]
    stop_deg: Annotated[float, told("The largest advance", "distributor deg")]
    takeup_deg: TakeUps
    snap: list[Snap]


# --- plan -------------------------------------------------------------------------------------------------


class PlannedSpring(Document):
    """A spring in its place; lengths are inside the hooks."""

    id: Annotated[str, told("Its name in the catalogue; empty: the spring as found")]
    rate_n_per_mm: Annotated[float, told("Rate", "N/mm")]
    free_length_mm: Annotated[float, told("Free length inside the hooks", "mm")]
    initial_tension_n: Annotated[float, told("Initial tension", "N")]
    installed_length_mm: Annotated[float, told("Length over the posts at rest, once these are set", "mm")]
    bend_mm: Annotated[float, told("How far the anchor post is bent, + out", "mm")]
    takeup_deg: Annotated[float | None, told("Where it begins to pull; null: never", "distributor deg")]
    pull_at_rest_n: Annotated[float, told("Pull at rest", "N")]
    wire_mm: Annotated[float | None, told("Diameter of the wire", "mm")]
    outer_mm: Annotated[float | None, told("Diameter over the coils", "mm")]
    coils: Annotated[float | None, told("Coils of the body", "1")]
    material: Annotated[str, told("Material; empty: not known")]


class PlannedSprings(Document):
    """The springs in their places; null: none there."""

    primary: PlannedSpring | None
    secondary: PlannedSpring | None


class Cost(Document):
    """What an uncertainty costs of the yield."""

    source: Annotated[str, told("Which uncertainty")]
    yield_gained: Annotated[float, told("By how much the yield would be larger were it exact", "1")]


class PlannedStop(Document):
    """The stop."""

    found_deg: Annotated[float, told("As found", "distributor deg")]
    planned_deg: Annotated[float | None, told("As planned", "distributor deg")]
    trim_mm: Annotated[float | None, told("What to do to it: + build up, − file", "mm")]


class PlannedBand(Document):
    """A band of the target against the planned curve."""

    band: BandKind
    speed_rpm: BandSpeed
    min_deg: BandLow
    max_deg: BandHigh
    rising_deg: Annotated[float, told("Advance, the speed rising", "distributor deg")]
    falling_deg: Annotated[float, told("Advance, the speed falling", "distributor deg")]
    margin: Margin


class Settings(Document):
    """Speeds by which the posts are set on the bench; null: the curve has none."""

    primary_rpm: Annotated[float | None, told("Rising speed at which 1 degree must be in", "distributor rpm")]
    secondary_rpm: Annotated[float | None, told("Rising speed at 1 degree below the maximum", "distributor rpm")]


class IdealSpring(Document):
    """The best spring for a place, free of any catalogue, and what may be about it."""

    rate_n_per_mm: Annotated[float, told("Rate", "N/mm")]
    rate_range_n_per_mm: Annotated[Range, told("Least and most rate at range_margin", "N/mm")]
    pull_at_rest_n: Annotated[float, told("Pull at rest, negative where slack", "N")]
    pull_at_rest_range_n: Annotated[Range, told("Least and most of it at range_margin", "N")]
    takeup_deg: Annotated[float | None, told("Where it begins to pull; null: never", "distributor deg")]
    pull_at_takeup_n: Annotated[float, told("Its pull there", "N")]


class WindowRow(Document):
    """What may be at one rate."""

    rate_n_per_mm: Annotated[float, told("The rate", "N/mm")]
    pull_at_rest_n: Annotated[list[Range], told("Stretches of pull at rest that serve, negative where slack", "N")]
    free_length_mm: Annotated[Range, told("Free lengths inside the hooks, without initial tension", "mm")]
    takeup_deg: Annotated[tuple[float | None, float | None], told("Take-ups; null: never", "distributor deg")]


class WindowSpring(Document):
    """What may be ordered for one place."""

    rate_range_n_per_mm: Annotated[Range, told("Least and most rate", "N/mm")]
    at: Annotated[list[WindowRow], told("What goes with rates between")]


class OrderingWindow(Document):
    """Every spring that keeps a margin, the other spring following."""

    margin: Margin
    primary: WindowSpring
    secondary: WindowSpring | None


class IdealPlan(Document):
    """The best springs there could be, free of any catalogue."""

    margin: Margin
    range_margin: Annotated[float, told("The margin that the ranges keep", "1")]
    stop_deg: Annotated[float, told("The stop with them", "distributor deg")]
    primary: IdealSpring
    secondary: IdealSpring | None
    window: OrderingWindow | None


class Searched(Document):
    """How much was tried."""

    pairs: Annotated[int, told("Pairs of springs", "1")]
    feasible: Annotated[int, told("Of these, how many pass", "1")]


class OtherPair(Document):
    """A pair that the plan was chosen from."""

    springs: Annotated[list[str], told("Names in the catalogue, the primary first")]
    margin: Margin


class PairStop(Document):
    """The stop with a pair that was asked for."""

    planned_deg: Annotated[float, told("As planned", "distributor deg")]
    trim_mm: Annotated[float, told("+ build up, − file", "mm")]


class AskedPair(Document):
    """A pair that was asked for by --top."""

    margin: Margin
    yield_: Annotated[float, told("Share of builds that pass at first setting", "1")]
    springs: PlannedSprings
    stop: PairStop


class OrderedSpring(Document):
    """A spring to take or to order."""

    place: PlaceName
    id: Annotated[str, told("Its name in the catalogue")]
    quantity: Annotated[int, told("How many", "1")]
    alternates: Annotated[list[str], told("Names of springs that pass in its stead, the best first")]
    rate_range_n_per_mm: Annotated[Range, told("Least and most rate that keep range_margin", "N/mm")]
    free_length_range_mm: Annotated[Range, told("Least and most free length that keep range_margin", "mm")]
    range_margin: Annotated[float, told("The margin that the ranges keep", "1")]
    rate_tolerance_assumed: Annotated[float, told("± of the rate that the yield counts on", "1")]


class SuggestedChange(Document):
    """A single change after which a plan passes."""

    kind: Annotated[Literal["band", "stop", "posts", "mass", "springs"], told("What is changed")]
    text: Annotated[str, told("What to do, in words")]
    amount: Annotated[float, told("How much, in `unit`: a widening, a length, a factor or a count", "unit")]
    unit: Annotated[Literal["deg", "mm", "1"], told("Unit of the amount; degrees are the distributor's")]
    margin: Margin
    springs: Annotated[list[str], told("Names of the springs it then takes")]


class CheckedCurve(Document):
    """The planned curve against the same computed another way."""

    method: Literal["energy minimisation"]
    speeds: Annotated[int, told("How many speeds were looked at, rising and falling", "1")]
    largest_difference_deg: Annotated[float, told("The largest difference there", "distributor deg")]
    agrees: Annotated[bool, told("False: do not build from this plan, it is a fault of recurve")]


class PlanDocument(Document):
    """A plan for one job. All speeds and angles are the distributor's, whatever the job's basis."""

    verdict: Literal["passes", "passes with stop trim", "out of reach"]
    title: Title
    fingerprint: Fingerprint
    margin: Annotated[float | None, told("The worst over bands and directions; null: nothing can be built", "1")]
    yield_: Annotated[float | None, told("Share of builds that pass at first setting; null: nothing to build", "1")]
    costs: list[Cost]
    from_: Annotated[Literal["sweep", "description"], told("Whether a sweep was fitted or the job's figures taken")]
    springs: PlannedSprings
    stop: PlannedStop
    checked: CheckedCurve | None
    targets: Annotated[list[PlannedBand], told("In the job's order; empty: nothing can be built")]
    setting: Settings
    curve: CurveDocument | None
    ideal: IdealPlan | None
    searched: Searched
    others: Annotated[list[OtherPair], told("The pairs it was chosen from, the best margin first")]
    alternatives: list[AskedPair]
    order: list[OrderedSpring]
    suggestions: Annotated[list[SuggestedChange], told("Where nothing passes")]
    reasons: Annotated[list[str], told("Why nothing passes, a sentence each")]
    notes: Notes
    files: Files


class JobOfMany(Document):
    """One of several jobs."""

    job: Annotated[str, told("The job's file")]
    status: Annotated[int, told("Exit status it would have had alone", "1")]
    plan: PlanDocument | None
    faults: Annotated[list[str], told("What is wrong with it, where there is no plan")]


class PlansDocument(Document):
    """Plans for several jobs, in the order given."""

    jobs: list[JobOfMany]


class PlanOutput(RootModel[PlanDocument | PlansDocument]):
    """One job: its plan. Several: a list of them."""


def curve_facts(job: Job, unit: Unit, curve: Trace, speeds: Array) -> dict[str, Any]:
    """The `curve` document: both branches at the speeds (n,) [rad/s], and the curve's marks."""
    idle = idle_speed(job, speeds)
    residual, undragged = residual_advance(unit, idle)
    takeups: list[float | None] = [deg(t) for t in curve.takeups]
    return {
        "speed_rpm": rounded_list(speeds * RPM),
        "rising_deg": rounded_list(np.degrees(curve.rising_advance(speeds, residual))),
        "falling_deg": rounded_list(np.degrees(curve.falling_advance(speeds))),
        "onset_rpm": rpm(curve.onset),
        "return_rpm": rpm(curve.return_speed),
        "all_in_rpm": rpm(curve.all_in),
        "residual_deg": deg(residual),
        "residual_without_drag_deg": deg(undragged),
        "stop_deg": deg(curve.stop),
        "takeup_deg": dict(zip(PLACES, [*takeups, None][:2], strict=True)),
        "snap": [{"from_deg": deg(s.start), "to_deg": deg(s.end), "speed_rpm": rpm(s.speed)} for s in curve.snaps],
    }


def idle_speed(job: Job, speeds: ArrayLike) -> float:
    """Idle speed [rad/s] of the target, else the lowest speed swept, else the lowest asked for."""
    if job.target is not None and job.target.idle_speed is not None:
        return job.target.idle_speed
    if job.sweep is not None:
        return float(job.sweep.speed.min())
    return float(np.min(speeds))


def default_speeds(job: Job, curve: Trace) -> Array:
    """Speeds (n,) [rad/s] every 50 rpm from 100 rpm to a little past all-in and the last band."""
    last = [curve.all_in or 0.0]
    if job.target is not None:
        last += [b.speed or 0.0 for b in job.target.bands]
    top = max(1000.0, math.ceil(max(last) * RPM * 1.1 / 50) * 50)
    return np.arange(100.0, top + 1.0, 50.0) / RPM


def plan_facts(plan: Plan, files: tuple[str, ...] = ()) -> dict[str, Any]:
    """The `plan` document."""
    build, job = plan.build, plan.job
    return {
        "verdict": plan.verdict,
        "title": job.title,
        "fingerprint": job.fingerprint,
        "margin": None if build is None else round(build.margin, 6),
        "yield": None if plan.built is None else round(plan.built.share, 4),
        "costs": []
        if plan.built is None
        else [{"source": n, "yield_gained": round(g, 4)} for n, g in plan.built.costs],
        "from": "sweep" if plan.fit is not None else "description",
        "springs": _spring_facts(build),
        "stop": {
            "found_deg": deg(job.stop.advance),
            "planned_deg": None if build is None else deg(build.stop),
            "trim_mm": None if build is None else mm(build.trim),
        },
        "checked": None if plan.checked is None else _checked_facts(plan.checked),
        "targets": [] if build is None else _target_facts(build),
        "setting": dict(
            zip(
                ("primary_rpm", "secondary_rpm"),
                (None, None) if build is None else map(rpm, build.settings),
                strict=True,
            )
        ),
        "curve": None if build is None else curve_facts(job, build.unit, build.curve, default_speeds(job, build.curve)),
        "ideal": None if plan.ideal is None else _ideal_facts(plan.ideal, plan.window),
        "searched": {"pairs": plan.pairs, "feasible": plan.feasible},
        "others": [{"springs": [s.spring.id for s in o.springs], "margin": round(o.margin, 6)} for o in plan.others],
        "alternatives": [_alternative_facts(a) for a in plan.alternatives],
        "order": [_order_facts(p) for p in plan.purchases],
        "suggestions": [_suggestion_facts(s) for s in plan.suggestions],
        "reasons": list(plan.reasons),
        "notes": list(plan.notes),
        "files": list(files),
    }


def _checked_facts(checked: Checked) -> dict[str, Any]:
    return {
        "method": "energy minimisation",
        "speeds": checked.speeds,
        "largest_difference_deg": deg(checked.largest),
        "agrees": checked.agrees,
    }


def _order_facts(one: Purchase) -> dict[str, Any]:
    return {
        "place": one.place,
        "id": one.spring.id,
        "quantity": 1,
        "alternates": list(one.alternates),
        "rate_range_n_per_mm": [round(x / 1e3, 6) for x in one.rates],
        "free_length_range_mm": [mm(x) for x in one.lengths],
        "range_margin": round(one.floor, 6),
        "rate_tolerance_assumed": round(one.assumed, 6),
    }


def _suggestion_facts(one: Suggestion) -> dict[str, Any]:
    return {
        "kind": one.kind,
        "text": one.text,
        "amount": round(one.amount, 6),
        "unit": one.unit,
        "margin": round(one.build.margin, 6),
        "springs": [s.spring.id for s in one.build.springs],
    }


def _alternative_facts(one: Alternative) -> dict[str, Any]:
    """A pair that was asked for: what `springs`, `stop`, `margin` and `yield` say of the plan."""
    return {
        "margin": round(one.build.margin, 6),
        "yield": round(one.share, 4),
        "springs": _spring_facts(one.build),
        "stop": {"planned_deg": deg(one.build.stop), "trim_mm": mm(one.build.trim)},
    }


def _spring_facts(build: Build | None) -> dict[str, Any]:
    fitted = [] if build is None else [_fitted_facts(s) for s in build.springs]
    return dict(zip(PLACES, [*fitted, None, None][:2], strict=True))


def _fitted_facts(fitted: Fitted) -> dict[str, Any]:
    spring = fitted.spring
    return {
        "id": spring.id,
        "rate_n_per_mm": round(spring.rate / 1e3, 9),
        "free_length_mm": mm(spring.free_length),
        "initial_tension_n": round(spring.initial_tension, 6),
        "installed_length_mm": mm(fitted.length),
        "bend_mm": mm(fitted.bend),
        "takeup_deg": deg(fitted.takeup),
        "pull_at_rest_n": round(fitted.pull, 6),
        "wire_mm": mm(spring.wire),
        "outer_mm": mm(spring.outer),
        "coils": spring.coils,
        "material": spring.material,
    }


def _target_facts(build: Build) -> list[dict[str, Any]]:
    return [
        {
            "band": r.band.kind,
            "speed_rpm": rpm(r.band.speed),
            "min_deg": deg(r.band.low),
            "max_deg": deg(r.band.high),
            "rising_deg": deg(r.rising),
            "falling_deg": deg(r.falling),
            "margin": round(r.margin, 6),
        }
        for r in build.results
    ]


def _window_facts(window: Window) -> dict[str, Any]:
    """What may be ordered for each place; lengths are inside the hooks, of springs without initial tension."""
    made = [
        {
            "rate_range_n_per_mm": [round(x / 1e3, 6) for x in spring.rates],
            "at": [
                {
                    "rate_n_per_mm": round(row.rate / 1e3, 6),
                    "pull_at_rest_n": [[round(x, 6) for x in pull] for pull in row.pulls],
                    "free_length_mm": [mm(x) for x in row.lengths],
                    "takeup_deg": [deg(x) for x in row.takeups],
                }
                for row in spring.rows
            ],
        }
        for spring in window.springs
    ]
    return {"margin": round(window.floor, 6), **dict(zip(PLACES, [*made, None][:2], strict=True))}


def _ideal_facts(ideal: Ideal, window: Window | None) -> dict[str, Any]:
    springs = [
        {
            "rate_n_per_mm": round(s.rate / 1e3, 6),
            "rate_range_n_per_mm": [round(x / 1e3, 6) for x in s.rates],
            "pull_at_rest_n": round(s.pull, 6),
            "pull_at_rest_range_n": [round(x, 6) for x in s.pulls],
            "takeup_deg": deg(s.takeup),
            "pull_at_takeup_n": round(s.takeup_pull, 6),
        }
        for s in ideal.springs
    ]
    return {
        "margin": round(ideal.margin, 6),
        "range_margin": round(ideal.floor, 6),
        "stop_deg": deg(ideal.stop),
        **dict(zip(PLACES, [*springs, None][:2], strict=True)),
        "window": None if window is None else _window_facts(window),
    }
