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
from recurve.curve import trace
from recurve.datafiles import data_file
from recurve.job import SpringPlace
from recurve.plan import Plan
from recurve.posts import BodyPoint, PointPosts
from recurve.springs import Spring
from recurve.style import breakable, plain, shortened
from recurve.target import Band, BandResult

Facts = dict[str, Any]

RPM = 30 / np.pi
PLACES = (("primary", "light", "P"), ("secondary", "heavy", "S"))
OPPOSITE = {"clockwise": "anticlockwise", "anticlockwise": "clockwise"}
HEADROOM, ROUND_TO = 1.1, 50.0  # the bench goes a little past the work's last speed [rpm], and no further
STEP = 0.1e-3  # bend [m] whose effect on the setting speed is told
STILL = 0.005e-3  # a bend or trim [m] that no calliper shows


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
        "reasons": [breakable(r) for r in plan.reasons],
        "notes": [breakable(n) for n in plan.notes],
        "nearest": "" if go or build is None else _names(build),
        "points": job.trigger == "points",
        "rotation": {"rotor_end": job.rotation, "drive_end": OPPOSITE.get(job.rotation, "")},
        "highest": None if build is None else _speed(_highest(plan, build) / RPM, job.speed_ratio),
        "stop": _stop(plan, build) if build is not None and go else None,
        "springs": _springs(plan, build) if build is not None and go else None,
        "settings": _settings(plan, build) if build is not None and go else [],
        "bench": _bench(plan, build) if build is not None else [],
    }


# --- numbers as text -------------------------------------------------------------------------------------


def _mm(length: float) -> dict[str, str]:
    """A length [m] in mm, and in inches for small type."""
    return {"main": f"{_signless(1e3 * length, 2)} mm", "small": f"{_signless(length / 0.0254, 3)} in"}


def _signless(value: float, decimals: int) -> str:
    """The number with a true minus, and without one before a zero."""
    text = f"{value:.{decimals}f}"
    return text.lstrip("-") if not text.strip("-0.") else text.replace("-", "−")


def _angle(advance: float, ratio: float, decimals: int = 1) -> dict[str, str]:
    """An advance [rad] in degrees of the distributor, and of the crank for small type."""
    degrees = math.degrees(advance)
    return {
        "main": f"{_signless(degrees, decimals)}° (distributor)",
        "small": f"{_signless(degrees * ratio, decimals)}° (crank)",
    }


def _speed(speed: float, ratio: float) -> dict[str, str]:
    """A speed [rad/s] in rpm of the distributor, and of the crank for small type."""
    return {"main": f"{speed * RPM:.0f} rpm (distributor)", "small": f"{speed * RPM * ratio:.0f} rpm (crank)"}


def _highest(plan: Plan, build: Build) -> float:
    """Highest bench speed [rpm]: 1.1 times the last that matters, rounded up to 50."""
    speeds = [b.speed for b in (plan.job.target.timed if plan.job.target else ()) if b.speed]
    last = RPM * max([*speeds, build.curve.all_in or 0.0])
    return ROUND_TO * math.ceil(HEADROOM * last / ROUND_TO - 1e-9)


# --- 1 the stop ------------------------------------------------------------------------------------------


def _stop(plan: Plan, build: Build) -> Facts:
    ratio, found = plan.job.speed_ratio, plan.job.stop.advance
    target = plan.job.target
    band = None if target is None else target.maximum
    way = "" if abs(build.trim) < STILL else "build up" if build.trim > 0 else "file"
    return {
        "way": way,
        "trim": _mm(abs(build.trim)) if way else None,
        "change": _angle(abs(build.stop - found), ratio) if way else None,
        "found": _angle(found, ratio),
        "planned": _angle(build.stop, ratio),
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
    columns = [_spring_cells(f, place, index, plan.job.speed_ratio) for index, (f, place) in enumerate(fitted)]
    rows: list[Facts] = [{"label": label, "cells": [c[label] for c in columns]} for label in columns[0]]
    return {
        "heads": [f"{name} ({kind}), post {mark}" for name, kind, mark in PLACES[: len(columns)]],
        "rows": [r for r in rows if any(cell["main"] for cell in r["cells"])],
    }


def _cell(main: str, small: str = "") -> dict[str, str]:
    return {"main": main, "small": small}


def _spring_cells(fitted: Fitted, place: SpringPlace, index: int, ratio: float) -> dict[str, dict[str, str]]:
    """One spring's column, by the rows' labels."""
    s = fitted.spring
    found = s.id.startswith("as found")
    return {
        "spring": _cell(breakable(s.id), "the spring that was in it" if found else ""),
        "rate": _cell(f"{s.rate / 1e3:.2f} N/mm", f"{s.rate / 175.1268:.2f} lbf/in"),
        "free, inside the hooks": _mm(s.free_length),
        "initial tension": _cell(f"{s.initial_tension:.2f} N" if s.initial_tension else ""),
        "wire, outside, coils": _wound(s),
        "wire material": _cell(breakable(s.material)),
        "post to bend": _post(fitted, "anchor"),
        "other post": _post(fitted, "far"),
        "over the posts, as found": _mm(float(fitted.posts.length(0.0)[0])),
        "bend": _bend(fitted),
        "over the posts, set to": _mm(fitted.length),
        "travel left": _travel(fitted, place),
        "pull at rest": _pull(fitted),
        "takes up": _takeup(fitted, index, ratio),
    }


def _wound(spring: Spring) -> dict[str, str]:
    """What it is wound of, as far as it is known."""
    wire = "" if spring.wire is None else f"{1e3 * spring.wire:.2f} mm wire"
    outer = "" if spring.outer is None else f"{1e3 * spring.outer:.2f} mm outside"
    coils = "" if spring.coils is None else f"{spring.coils:g} coils"
    return _cell(", ".join(x for x in (wire, outer, coils) if x))


def _post(fitted: Fitted, which: Literal["anchor", "far"]) -> dict[str, str]:
    """Where a post is, so that it can be told from the others; nothing where only lengths were measured."""
    posts = fitted.posts
    if not isinstance(posts, PointPosts):
        return _cell("the one that you marked" if which == "anchor" else "")
    point: BodyPoint = getattr(posts, which)
    bodies = {"base": "base plate", "cam": "cam plate"}
    body = bodies.get(str(point.body), f"weight {point.body}")
    pivot = posts.motion.pivot
    if pivot is None:
        return _cell(f"{body}, {1e3 * abs(point.position):.1f} mm from the axis")
    # + 0.05 so that an angle a hair below 0 reads 0, not 360
    angle = (math.degrees(np.angle(point.position / pivot)) + 0.05) % 360 - 0.05
    return _cell(f"{body}, {1e3 * abs(point.position):.1f} mm from the axis", f"at {_signless(angle, 0)}°")


def _bend(fitted: Fitted) -> dict[str, str]:
    """Which way the anchor goes, and how far."""
    if abs(fitted.bend) < STILL:
        return _cell("leave it as it stands")
    way = "out, away from" if fitted.bend > 0 else "in, towards"
    return _cell(f"{1e3 * abs(fitted.bend):.2f} mm {way} the other")


def _travel(fitted: Fitted, place: SpringPlace) -> dict[str, str]:
    """What the post may still be bent, both ways."""
    low, high = place.travel
    inward, outward = (max(x, 0.0) for x in (fitted.bend - low, high - fitted.bend))
    return _cell(f"in {1e3 * inward:.2f} mm, out {1e3 * outward:.2f} mm" if high > low else "")


def _pull(fitted: Fitted) -> dict[str, str]:
    slack = fitted.spring.free_length - fitted.length
    if fitted.takeup == 0.0:
        return _cell(f"{fitted.pull:.2f} N")
    return _cell("none", f"slack {1e3 * slack:.2f} mm")


def _takeup(fitted: Fitted, index: int, ratio: float) -> dict[str, str]:
    if fitted.takeup is None:
        return _cell("never before the stop")
    if fitted.takeup == 0.0:
        return _cell("pulls from rest")
    return _angle(float(fitted.takeup), ratio)


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
                "advance": _angle(advance, plan.job.speed_ratio),
                "speed": _speed(speed, plan.job.speed_ratio),
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


def _bench_row(result: BandResult, last: float, ratio: float, decimals: int) -> Facts:
    band = result.band
    speed = last if band.speed is None else RPM * band.speed
    angles = {"min": band.low, "rising": result.rising, "falling": result.falling, "max": band.high}
    return {
        "what": {"point": "", "idle": "idle", "maximum": "maximum"}[band.kind],
        "speed": f"{speed:.0f}",
        "crank": f"{speed * ratio:.0f}",
        **{name: _signless(math.degrees(a), decimals) for name, a in angles.items()},
        "inside": result.margin >= 0.0,
    }


def _decimals(bands: list[Band]) -> int:
    """One decimal of a degree, two where a band would be rounded wider or narrower."""
    edges = np.degrees([e for b in bands for e in (b.low, b.high)])
    return 1 if np.allclose(edges, np.round(edges, 1), atol=1e-6) else 2


def _names(build: Build) -> str:
    return " and ".join(
        f"{breakable(s.spring.id)} ({name})" for s, (name, *_) in zip(build.springs, PLACES, strict=False)
    )
