"""Every result as plain facts: the JSON documents of the commands (design §6).

All speeds are distributor rpm and all angles distributor degrees, whatever the job's basis. What is not
known, or is not there, is None and never NaN.
"""

from __future__ import annotations

import math
from typing import Any

import numpy as np
from numpy.typing import ArrayLike

from recurve.build import Build, Fitted
from recurve.buying import Purchase
from recurve.curve import Trace, Unit, residual_advance
from recurve.energy import Checked
from recurve.ideal import Ideal
from recurve.job import Job
from recurve.mechanism import Array
from recurve.plan import Alternative, Plan
from recurve.suggest import Suggestion
from recurve.window import Window

RPM = 30 / math.pi
PLACES = ("primary", "secondary")


def rpm(speed: float | None) -> float | None:
    """[rad/s] as [rpm]."""
    return None if speed is None else round(float(speed) * RPM, 6)


def deg(angle: float | None) -> float | None:
    """[rad] as [deg]."""
    return None if angle is None else round(float(np.degrees(angle)), 6)


def mm(length: float | None) -> float | None:
    """[m] as [mm]."""
    return None if length is None else round(float(length) * 1e3, 6)


def curve_facts(job: Job, unit: Unit, curve: Trace, speeds: Array) -> dict[str, Any]:
    """The `curve` document: both branches at the speeds (n,) [rad/s], and the curve's marks."""
    idle = idle_speed(job, speeds)
    residual, undragged = residual_advance(unit, idle)
    takeups: list[float | None] = [deg(t) for t in curve.takeups]
    return {
        "speed_rpm": _rounded(speeds * RPM),
        "rising_deg": _rounded(np.degrees(curve.rising_advance(speeds, residual))),
        "falling_deg": _rounded(np.degrees(curve.falling_advance(speeds))),
        "onset_rpm": rpm(curve.onset),
        "return_rpm": rpm(curve.home),
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


def _rounded(values: ArrayLike) -> list[float]:
    return [float(x) for x in np.round(np.asarray(values, float), 6)]
