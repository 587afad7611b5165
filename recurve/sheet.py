"""The build sheet: one or two pages for the bench, in the order of the work.

`sheet_facts` turns a plan into words and numbers with their units, as one JSON document;
`data/sheet.typ` lays it out. Text from a job travels as strings and is never read as markup.
"""

from __future__ import annotations

import json
import math
from dataclasses import replace
from typing import Any, Literal

import numpy as np

from recurve import __version__
from recurve.build import CHECK_ADVANCE, Build, Fitted
from recurve.checkreport import rounded
from recurve.curve import trace
from recurve.datafiles import data_file
from recurve.evidence import SURE, Doubtful, Evidence
from recurve.fit import Fit
from recurve.job import SpringPlace
from recurve.plan import Plan
from recurve.plots import found_place
from recurve.posts import BodyPoint, PointPosts
from recurve.springs import Spring
from recurve.style import angle, breakable, cell, in_mm, plain, shortened, signless, speed_of
from recurve.target import Band, BandResult

Facts = dict[str, Any]

RPM = 30 / np.pi
PLACES = (("primary", "light", "P"), ("secondary", "heavy", "S"))
OPPOSITE = {"clockwise": "anticlockwise", "anticlockwise": "clockwise"}
HEADROOM, ROUND_TO = 1.1, 50.0  # the bench goes a little past the work's last speed [rpm], and no further
STEP = 0.1e-3  # bend [m] whose effect on the setting speed is told
STILL = 0.005e-3  # a bend or trim [m] that no calliper shows
LEAST_COST = 0.01  # of the chance of passing; what costs less is not named


def sheet_pdf(plan: Plan, figure_svg: bytes, paper: Literal["a4", "letter"] = "a4") -> bytes:
    """The build sheet as PDF, the same bytes for the same plan, figure and paper; no network, no fonts of
    the machine's own."""
    import typst

    pdf: bytes = typst.compile(
        data_file("sheet.typ").read_bytes(),
        format="pdf",
        ignore_system_fonts=True,
        sys_inputs=sheet_inputs(plan, figure_svg, paper),
    )
    return pdf


def sheet_inputs(plan: Plan, figure_svg: bytes, paper: str) -> dict[str, str]:
    """What the template is given: the facts as JSON, the figure, the paper's name."""
    names = {"a4": "a4", "letter": "us-letter"}
    facts = json.dumps(sheet_facts(plan), ensure_ascii=True, allow_nan=False)
    return {"facts": facts, "figure": figure_svg.decode("utf-8"), "paper": names[paper]}


def sheet_facts(plan: Plan) -> Facts:
    """Everything the sheet says about this plan. Numbers are text with their unit, except in `bench`,
    whose columns name theirs."""
    job, build = plan.job, plan.build
    go = build is not None and plan.verdict != "out of reach"
    return {
        "title": breakable(shortened(job.title, 100)),
        "footer": shortened(job.title, 60),
        "unit": breakable(shortened(job.unit, 90)),
        "date": plain(job.date),
        "fingerprint": job.fingerprint,
        "version": __version__,
        "verdict": plan.verdict,
        "go": go,
        "margin": "" if build is None else f"{build.margin:.2f}",
        "chance": _chance(plan) if go else None,
        "basis": _basis(plan),
        "found": None if plan.fit is None else _found(plan.fit, job.speed_ratio),
        "shaded": _shaded(plan),
        "reasons": [breakable(r) for r in plan.reasons],
        "notes": [breakable(n) for n in plan.notes],
        "nearest": "" if go or build is None else _names(plan, build),
        "points": job.trigger == "points",
        "rotation": {"rotor_end": job.rotation, "drive_end": OPPOSITE.get(job.rotation, "")},
        "highest": None if build is None else speed_of(_highest(plan, build) / RPM, job.speed_ratio),
        "stop": _stop(plan, build) if build is not None and go else None,
        "springs": _springs(plan, build) if build is not None and go else None,
        "settings": _settings(plan, build) if build is not None and go else [],
        "bench": _bench(plan, build) if build is not None else [],
    }


# --- how sure it is, and the unit as found ---------------------------------------------------------------


def _chance(plan: Plan) -> dict[str, str] | None:
    """The yield, and what costs most of it."""
    if plan.built is None:
        return None
    share = plan.built.share
    worst = [f"{name} ({_percent(gain)})" for name, gain in plan.built.costs if gain >= LEAST_COST][:2]
    costs = f"what costs most: {' and '.join(worst)}" if worst else "no single doubt costs as much as 1 %"
    return cell("over 99 %" if share >= 0.995 else _percent(share), costs)


def _percent(share: float) -> str:
    return f"{100 * share:.0f} %"


def _basis(plan: Plan) -> str:
    """What the plan was made from."""
    if plan.fit is None:
        return "the unit as described; no sweep was fitted"
    return f"the sweep of the unit as found, {_readings(plan.fit)} fitted"


def _shaded(plan: Plan) -> str:
    """What the figure's 90 % bands are."""
    built = plan.built is not None and plan.built.band is not None
    told = ["where nine builds in ten would lie"] if built else []
    if plan.before_band is not None:
        told.append("round the curve as found, what the readings leave open (90 %)")
    return f"Shaded: {'; '.join(told)}." if told else ""


def _readings(fit: Fit) -> str:
    return f"{len(fit.residuals) - len(fit.outliers)} readings"


def _found(fit: Fit, ratio: float) -> Facts:
    """The unit as the sweep shows it: how well the readings agree, and rows of a label and a value."""
    e = Evidence.of(fit.job, fit)
    agree = "no more than stated" if fit.inflation <= 1.0 else f"{fit.inflation:.1f} times as much as stated"
    rows = [
        ("onset", _doubtful_speed(e.onset, ratio)),
        ("back at zero", _doubtful_speed(e.home, ratio)),
        (f"stays in at {RPM * e.idle:.0f} rpm", _doubtful_angle(e.residual, ratio)),
        ("stop", _doubtful_angle(e.stop, ratio)),
        *[
            (f"{name} takes up", _doubtful_takeup(e, i, ratio))
            for i, (name, *_) in enumerate(PLACES[: len(e.job.places)])
        ],
        ("friction", _moment(fit, "friction")),
    ]
    if e.job.trigger == "points":
        rows.append(("rubbing block", _moment(fit, "drag")))
    left_out = f", {len(fit.outliers)} left out" if fit.outliers else ""
    return {
        "readings": f"{_readings(fit)}{left_out}; they scatter {agree} (chi² {fit.chi2:.1f}, {fit.dof:.0f} degrees of freedom)",
        "rows": [{"label": label, **value} for label, value in rows],
    }


def _doubtful_speed(one: Doubtful, ratio: float) -> dict[str, str]:
    """A speed [rad/s] ± two standard uncertainties; some states may have none."""
    if one.below(1e-9) > SURE:
        return cell("none: some is in at rest")
    if one.below(1e-9) > 1 - SURE:
        return cell("perhaps none: the readings do not tell")
    middle, two = one.mean * RPM, 2 * one.deviation * RPM
    return cell(f"{middle:.0f} ± {two:.0f} rpm (distributor)", f"{middle * ratio:.0f} ± {two * ratio:.0f} rpm (crank)")


def _doubtful_angle(one: Doubtful, ratio: float) -> dict[str, str]:
    """An advance [rad] ± two standard uncertainties."""
    middle, two = math.degrees(one.mean), 2 * math.degrees(one.deviation)
    return cell(
        f"{signless(middle, 1)} ± {two:.1f}° (distributor)",
        f"{signless(middle * ratio, 1)} ± {two * ratio:.1f}° (crank)",
    )


def _doubtful_takeup(e: Evidence, place: int, ratio: float) -> dict[str, str]:
    one = e.takeup(place)
    if e.never(place) > SURE:
        return cell("never before the stop")
    if one.above(1e-6) < 1 - SURE:
        return cell("pulls from rest")
    return _doubtful_angle(one, ratio)


def _moment(fit: Fit, name: str) -> dict[str, str]:
    """A drag or friction of the fit."""
    one = fit.estimate(name)
    if one.value is None:
        return cell("the readings do not tell")
    return cell(f"{rounded(one)} mN·m", "as given" if one.source == "as given" else "")


# --- 1 the stop ------------------------------------------------------------------------------------------


def _stop(plan: Plan, build: Build) -> Facts:
    ratio, found = plan.job.speed_ratio, plan.job.stop.advance
    target = plan.job.target
    band = None if target is None else target.maximum
    way = "" if abs(build.trim) < STILL else "build up" if build.trim > 0 else "file"
    return {
        "way": way,
        "trim": in_mm(abs(build.trim)) if way else None,
        "change": angle(abs(build.stop - found), ratio) if way else None,
        "found": angle(found, ratio),
        "planned": angle(build.stop, ratio),
        "check": None if band is None else _band(band, ratio),
    }


def _band(band: Band, ratio: float) -> dict[str, str]:
    low, high, places = math.degrees(band.low), math.degrees(band.high), _decimals([band])
    return {
        "main": f"{low:.{places}f}° to {high:.{places}f}° (distributor)",
        "small": f"{low * ratio:.{places}f}° to {high * ratio:.{places}f}° (crank)",
    }


# --- 2 the springs ---------------------------------------------------------------------------------------


def _springs(plan: Plan, build: Build) -> Facts:
    """Heads of the columns, and rows with a label and one cell for each spring; rows that say nothing are left out."""
    fitted = list(zip(build.springs, plan.job.places, strict=False))
    columns = [_spring_cells(plan, f, place, index) for index, (f, place) in enumerate(fitted)]
    rows: list[Facts] = [{"label": label, "cells": [c[label] for c in columns]} for label in columns[0]]
    return {
        "heads": [f"{name} ({kind}), post {mark}" for name, kind, mark in PLACES[: len(columns)]],
        "rows": [r for r in rows if any(cell["main"] for cell in r["cells"])],
    }


def _spring_cells(plan: Plan, fitted: Fitted, place: SpringPlace, index: int) -> dict[str, dict[str, str]]:
    """One spring's column, by the rows' labels."""
    s = fitted.spring
    return {
        "spring": _which(plan, s, index),
        "rate": cell(f"{s.rate / 1e3:.2f} N/mm", f"{s.rate / 175.1268:.2f} lbf/in"),
        "free, inside the hooks": in_mm(s.free_length),
        "initial tension": cell(f"{s.initial_tension:.2f} N" if s.initial_tension else ""),
        "wire, outside, coils": _wound(s),
        "wire material": cell(breakable(s.material)),
        "post to bend": _post(fitted, "anchor"),
        "other post": _post(fitted, "far"),
        "over the posts, as found": in_mm(float(fitted.posts.length(0.0)[0])),
        "bend": _bend(fitted),
        "over the posts, set to": in_mm(fitted.length),
        "travel left": _travel(fitted, place),
        "pull at rest": _pull(fitted),
        "takes up": _takeup(fitted, plan.job.speed_ratio),
    }


def _which(plan: Plan, spring: Spring, index: int) -> dict[str, str]:
    """The spring's id, or that it is the one in the unit."""
    found = found_place(plan.job.places, spring)
    if found is None:
        return cell(breakable(spring.id))
    return cell(
        "the spring that is in it", "leave it in" if found == index else f"move it here: it is the {PLACES[found][0]}"
    )


def _wound(spring: Spring) -> dict[str, str]:
    """What it is wound of, as far as it is known."""
    wire = "" if spring.wire is None else f"{1e3 * spring.wire:.2f} mm wire"
    outer = "" if spring.outer is None else f"{1e3 * spring.outer:.2f} mm outside"
    coils = "" if spring.coils is None else f"{spring.coils:g} coils"
    return cell(", ".join(x for x in (wire, outer, coils) if x))


def _post(fitted: Fitted, which: Literal["anchor", "far"]) -> dict[str, str]:
    """Where a post is, so that it can be told from the others; nothing where only lengths were measured."""
    posts = fitted.posts
    if not isinstance(posts, PointPosts):
        return cell("the one that you marked" if which == "anchor" else "")
    point: BodyPoint = getattr(posts, which)
    bodies = {"base": "base plate", "cam": "cam plate"}
    body = bodies.get(str(point.body), f"weight {point.body}")
    pivot = posts.motion.pivot
    if pivot is None:
        return cell(f"{body}, {1e3 * abs(point.position):.1f} mm from the axis")
    # + 0.05 so that an angle a hair below 0 reads 0, not 360
    degrees = (math.degrees(np.angle(point.position / pivot)) + 0.05) % 360 - 0.05
    return cell(f"{body}, {1e3 * abs(point.position):.1f} mm from the axis", f"at {signless(degrees, 0)}°")


def _bend(fitted: Fitted) -> dict[str, str]:
    """Which way the anchor goes, and how far."""
    if abs(fitted.bend) < STILL:
        return cell("leave it as it stands")
    way = "out, away from" if fitted.bend > 0 else "in, towards"
    return cell(f"{1e3 * abs(fitted.bend):.2f} mm {way} the other")


def _travel(fitted: Fitted, place: SpringPlace) -> dict[str, str]:
    """What the post may still be bent, both ways."""
    low, high = place.travel
    inward, outward = (max(x, 0.0) for x in (fitted.bend - low, high - fitted.bend))
    return cell(f"in {1e3 * inward:.2f} mm, out {1e3 * outward:.2f} mm" if high > low else "")


def _pull(fitted: Fitted) -> dict[str, str]:
    slack = fitted.spring.free_length - fitted.length
    if fitted.takeup == 0.0:
        return cell(f"{fitted.pull:.2f} N")
    return cell("none", f"slack {1e3 * slack:.2f} mm")


def _takeup(fitted: Fitted, ratio: float) -> dict[str, str]:
    if fitted.takeup is None:
        return cell("never before the stop")
    if fitted.takeup == 0.0:
        return cell("pulls from rest")
    return angle(float(fitted.takeup), ratio)


# --- 3 the bench setting ---------------------------------------------------------------------------------


def _settings(plan: Plan, build: Build) -> list[Facts]:
    """The rising speed at which each post is set, and what bending it does."""
    advances = (CHECK_ADVANCE, build.stop - CHECK_ADVANCE)
    found = []
    for index, (advance, speed) in enumerate(zip(advances, build.settings, strict=True)):
        if speed is None or index >= len(build.springs):
            continue
        name, _, mark = PLACES[index]
        found.append(
            {
                "spring": name,
                "mark": mark,
                "advance": angle(advance, plan.job.speed_ratio),
                "speed": speed_of(speed, plan.job.speed_ratio),
                "effect": _effect(build, index, advance, speed),
            }
        )
    return found


def _effect(build: Build, index: int, advance: float, speed: float) -> str:
    """How far the setting speed moves for a little more bend, from the exact model."""
    springs = list(build.unit.springs)
    springs[index] = replace(springs[index], bend=springs[index].bend + STEP)
    moved = trace(replace(build.unit, springs=tuple(springs)), 501).rising_speed(advance)
    if moved is None or abs(moved - speed) * RPM < 0.5:
        return ""
    return f"{1e3 * STEP:.2f} mm of bend moves it about {abs(moved - speed) * RPM:.0f} rpm (distributor)"


# --- 4 the bench check -----------------------------------------------------------------------------------


def _bench(plan: Plan, build: Build) -> list[Facts]:
    """Rows in the order of speed, the maximum last, at the highest bench speed; speeds rpm, angles
    distributor degrees, all with the same decimals."""
    decimals = _decimals([r.band for r in build.results])
    last = _highest(plan, build)
    ordered = sorted(build.results, key=lambda r: math.inf if r.band.speed is None else r.band.speed)
    return [_bench_row(r, last, plan.job.speed_ratio, decimals) for r in ordered]


def _highest(plan: Plan, build: Build) -> float:
    """Highest bench speed [rpm]: 1.1 times the last that matters, rounded up to 50."""
    speeds = [b.speed for b in (plan.job.target.timed if plan.job.target else ()) if b.speed]
    last = RPM * max([*speeds, build.curve.all_in or 0.0])
    return ROUND_TO * math.ceil(HEADROOM * last / ROUND_TO - 1e-9)


def _bench_row(result: BandResult, last: float, ratio: float, decimals: int) -> Facts:
    band = result.band
    speed = last if band.speed is None else RPM * band.speed
    angles = {"min": band.low, "rising": result.rising, "falling": result.falling, "max": band.high}
    return {
        "what": {"point": "", "idle": "idle", "maximum": "maximum"}[band.kind],
        "speed": f"{speed:.0f}",
        "crank": f"{speed * ratio:.0f}",
        **{name: signless(math.degrees(a), decimals) for name, a in angles.items()},
        "inside": result.margin >= 0.0,
    }


def _decimals(bands: list[Band]) -> int:
    """One decimal of a degree, two where a band would be rounded wider or narrower."""
    edges = np.degrees([e for b in bands for e in (b.low, b.high)])
    return 1 if np.allclose(edges, np.round(edges, 1), atol=1e-6) else 2


def _names(plan: Plan, build: Build) -> str:
    told = []
    for index, one in enumerate(build.springs):
        which = _which(plan, one.spring, index)["main"]
        told.append(f"{which} ({PLACES[index][0]})")
    return " and ".join(told)
