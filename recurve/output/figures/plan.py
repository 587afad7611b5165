"""The figure of a plan: the target's bands, the curve as found with its readings, and the planned curve."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from recurve.job.model import Job, SpringPlace
from recurve.output.figures import style
from recurve.output.figures.curves import (
    ROOM,
    branch,
    draw_bands,
    draw_curves,
    draw_readings,
    frame,
    hidden_advance,
    last_speed,
    shade,
    shift_words,
)
from recurve.output.figures.labels import Event, Key, key_below, label_curves, label_rows
from recurve.physics.curve import Trace
from recurve.planner.plan import Plan
from recurve.springs.spring import Spring
from recurve.units import PLACES, RPM

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure
    from matplotlib.lines import Line2D


def plan_figure_bytes(plan: Plan) -> dict[str, bytes]:
    """The figure as "curve.svg" and "curve.png", the same bytes for the same plan."""
    with style.figure_settings():
        return style.figure_bytes(_figure(plan), "curve")


def narrow_figure_svg(plan: Plan) -> bytes:
    """The same for a narrow screen, as SVG, without the title, which the page shows itself."""
    with style.figure_settings():
        return style.figure_svg(_figure(plan, style.NARROW_MM))


def plot_plan(plan: Plan, axes: Axes | None = None) -> Axes:
    """Plot the target's bands, the readings and the curve as found, and the planned curve, on one axis.

    The curves have their 90 % bands where a sweep was fitted or builds were simulated. Makes a figure of its own if no
    axis is given. Returns the axis.
    """
    with style.figure_settings():
        return _draw(plan, axes) if axes is not None else _figure(plan).axes[0]


def _figure(plan: Plan, size: tuple[float, float] = style.FIGURE_MM) -> Figure:
    figure = style.figure_of(size)
    narrow = size[0] < style.FIGURE_MM[0]
    axes = style.panel(figure, style.MARGINS_MM[1], style.MARGINS_MM[3] - (8.0 if narrow else 0.0))
    _draw(plan, axes)
    if narrow:
        axes.set_title("", loc="left")
        return figure
    style.footer(figure, shift_words(plan.fit, plan.job.sweep), plan.job.fingerprint)
    return figure


def _draw(plan: Plan, axes: Axes) -> Axes:
    last, job = _last_speed(plan), plan.job
    if job.sweep is not None:
        draw_readings(axes, job.sweep, hidden_advance(plan.fit), style.BEFORE)
    before_band = None if plan.before is None else plan.before_band
    after_band = None if plan.built is None or plan.build is None else plan.built.band
    for band, look in ((before_band, style.BEFORE), (after_band, style.AFTER)):
        if band is not None:
            shade(axes, band.speed, band.rising, band.falling, look)
    rising = _curves(axes, plan, last)
    bands = () if job.target is None else job.target.bands
    draw_bands(axes, bands, last)
    right = frame(axes, job, _subtitle(plan), last)
    label_rows(axes, right, events(plan), last, job.speed_ratio)
    label_curves(axes, rising)
    read = job.sweep is not None and bool(len(job.sweep.speed))
    key_below(axes, Key(style.BEFORE, read, bool(bands), before_band is not None or after_band is not None))
    return axes


def _curves(axes: Axes, plan: Plan, last: float) -> dict[str, Line2D]:
    """Draw the curves as found and as planned. Returns the lines of their rising branches by their names."""
    drawn = {}
    if plan.before is not None and plan.fit is None:
        name = "as found (computed)"
        drawn[name] = _curve(axes, plan.before, _stays_in(plan.job, plan.before), last, style.BEFORE, name)
    elif plan.before is not None:  # fitted: it rises from a standstill, as the readings do that it explains
        start = float(plan.before.falling_advance(0.0))
        drawn["as found"] = _curve(axes, plan.before, start, last, style.BEFORE, "as found")
    if plan.build is not None:
        name = "nearest" if plan.verdict == "out of reach" else "planned"
        curve = plan.build.curve
        drawn[name] = _curve(axes, curve, _stays_in(plan.job, curve), last, style.AFTER, name)
    return drawn


def _stays_in(job: Job, curve: Trace) -> float:
    """The advance [rad] still in at idle, from which the rising curve starts."""
    idle = None if job.target is None else job.target.idle_speed
    return 0.0 if idle is None else float(curve.falling_advance(idle))


def _last_speed(plan: Plan) -> float:
    """The last speed shown [rpm]."""
    all_in = None if plan.build is None else plan.build.curve.all_in
    last = last_speed(plan.job, all_in)
    if not last and plan.before is not None:
        last = last_speed(plan.job, plan.before.all_in)
    return last or ROOM * 100.0


def _curve(axes: Axes, curve: Trace, start: float, last: float, look: style.Curve, name: str) -> Line2D:
    """Both branches up to the last speed shown [rpm], the rising one from the advance `start` [rad]. Returns its line."""
    past = curve.advance >= start
    branches = (
        branch(np.maximum.accumulate(curve.rising[past]), curve.advance[past]),
        branch(np.minimum.accumulate(curve.falling[::-1])[::-1], curve.advance),
    )
    rising, falling = ((np.append(x, max(last, x[-1])), np.append(y, y[-1])) for x, y in branches)
    return draw_curves(axes, rising, falling, look, name)


def _subtitle(plan: Plan) -> str:
    if plan.build is None:
        return plan.verdict
    springs = " + ".join(_spring_name(plan.job, s.spring, i) for i, s in enumerate(plan.build.springs))
    if plan.verdict == "out of reach":
        return f"out of reach; the nearest, not to be built: {springs}"
    return f"{plan.verdict}; springs: {springs}"


def _spring_name(job: Job, spring: Spring, index: int) -> str:
    """A chosen spring and its place."""
    found = found_place(job.places, spring)
    if found is None:
        return f"{spring.id} {PLACES[index]}"
    if found == index:
        return f"the {PLACES[index]} that is in it"
    return f"the {PLACES[found]} that is in it as {PLACES[index]}"


def found_place(places: tuple[SpringPlace, ...], spring: Spring) -> int | None:
    """The place in which a spring was found; None for a spring that was not in the unit."""
    return next((i for i, p in enumerate(places) if p.found == spring), None)


def events(plan: Plan) -> list[Event]:
    """The labels of the figure, in order of speed."""
    found = []
    target, build = plan.job.target, plan.build
    if target is not None and target.idle_speed:
        found.append(("idle", target.idle_speed, 0.0, False))
    if build is not None:
        curve = build.curve
        takeup = build.springs[1].takeup if len(build.springs) > 1 else None
        speeds = [("onset", curve.onset, 0.0), ("all-in", curve.all_in, curve.stop)]
        if takeup:
            speeds.append(("secondary takes up", curve.rising_speed(takeup), takeup))
        found += [(name, speed, float(np.degrees(at)), True) for name, speed, at in speeds if speed is not None]
    made = [Event(f"{name} {RPM * speed:.0f} rpm", RPM * speed, at, ring) for name, speed, at, ring in found]
    return sorted(made, key=lambda e: e.speed)
