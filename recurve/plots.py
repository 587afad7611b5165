"""Figures. A plot takes an axis and gives it back; matplotlib is imported only where it draws.

Shown in rpm and degrees of the distributor, with the crank's along the top and the right.
"""

from __future__ import annotations

import io
import warnings
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from recurve import __version__, style
from recurve.curve import Trace
from recurve.job import Sweep
from recurve.mechanism import Array
from recurve.plan import Plan
from recurve.target import Band

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

RPM = 30 / np.pi
ROOM = 1.15  # speeds shown, of the last one that matters
BAND_WIDTH = 0.007  # half a band's width, of the speeds shown
PLATEAU = 0.9  # where the maximum's band begins, of the speeds shown
ROW_PT = 11.0  # height of a row of labels below the curve

# Nothing of a reader's own settings may change a figure, and the same input must give the same bytes.
SETTINGS: Any = {
    "font.family": [style.FONT],
    "font.size": style.TEXT_PT,
    "axes.titlesize": style.TEXT_PT + 1,
    "axes.linewidth": 0.7,
    "axes.edgecolor": style.INK,
    "axes.unicode_minus": True,
    "xtick.labelsize": style.TEXT_PT,
    "ytick.labelsize": style.TEXT_PT,
    "legend.fontsize": style.SMALL_PT,
    "svg.fonttype": "path",
    "svg.hashsalt": "recurve",
    "text.usetex": False,
    "path.simplify": True,
}


def plan_figure_bytes(plan: Plan) -> dict[str, bytes]:
    """The plan's figure as "curve.svg" and "curve.png", the same bytes for the same plan."""
    with figure_settings():
        figure = _figure(plan)
        svg, png = io.BytesIO(), io.BytesIO()
        made_by = f"recurve {__version__}"
        figure.savefig(svg, format="svg", metadata={"Date": None, "Creator": made_by})
        figure.savefig(png, format="png", dpi=200, metadata={"Software": None})
    return {"curve.svg": svg.getvalue(), "curve.png": png.getvalue()}


def plot_plan(plan: Plan, axes: Axes | None = None) -> Axes:
    """The target's bands, the readings and the curve as found, and the planned curve, on one axis.

    Without an axis it makes a figure of its own. Returns the axis drawn on.
    """
    with figure_settings():
        return _draw(plan, axes) if axes is not None else _figure(plan).axes[0]


@contextmanager
def figure_settings() -> Iterator[None]:
    """A figure's own settings, for the time of drawing only."""
    from matplotlib import rc_context, rcdefaults, rcParams

    with rc_context(), warnings.catch_warnings():
        rcdefaults()
        rcParams.update(SETTINGS)
        # A title in a script that the font lacks is drawn as boxes; that is no reason to fail.
        warnings.filterwarnings("ignore", message="Glyph .* missing from")
        yield


def _figure(plan: Plan) -> Figure:
    from matplotlib.backends.backend_agg import FigureCanvasAgg
    from matplotlib.figure import Figure

    width, height = style.FIGURE_MM
    figure = Figure(figsize=(width / 25.4, height / 25.4))
    FigureCanvasAgg(figure)
    left, bottom, right, top = style.MARGINS_MM
    axes = figure.add_axes((left / width, bottom / height, 1 - (left + right) / width, 1 - (bottom + top) / height))
    _draw(plan, axes)
    figure.text(
        1 - right / width,
        1.0 / height,
        _footer(plan),
        ha="right",
        va="bottom",
        fontsize=style.TINY_PT,
        color=style.GREY,
        parse_math=False,
    )
    return figure


def _footer(plan: Plan) -> str:
    sweep, hidden = plan.job.sweep, np.degrees(hidden_advance(plan))
    told = [] if plan.built is None else ["shaded: 90 %"]
    if sweep is not None and sweep.zeroed_at is not None:
        zero = f"zeroed at {RPM * sweep.zeroed_at:.0f} rpm"
        told.append(f"readings {zero}" + (f", shifted by the {hidden:.1f}° that hides" if plan.fit is not None else ""))
    return " · ".join([*told, f"inputs {plan.job.fingerprint}", f"recurve {__version__}"])


def _draw(plan: Plan, axes: Axes) -> Axes:
    last = _last_speed(plan)
    if plan.job.sweep is not None:
        _readings(axes, plan.job.sweep, hidden_advance(plan))
    if plan.before is not None:
        how = "computed" if plan.fit is None else "fitted"
        _shade(axes, plan.before_band, style.BEFORE)
        _curve(axes, plan.before, plan, last, style.BEFORE, f"before ({how})")
    if plan.build is not None:
        _shade(axes, None if plan.built is None else plan.built.band, style.AFTER)
        name = "nearest" if plan.verdict == "out of reach" else "planned"
        _curve(axes, plan.build.curve, plan, last, style.AFTER, name)
    if plan.job.target is not None:
        for band in plan.job.target.bands:
            draw_band(axes, band, last)
    right = _frame(axes, plan, last)
    _events(axes, right, plan, last)
    handles, labels = axes.get_legend_handles_labels()
    axes.legend(
        handles,
        labels,
        loc="upper center",
        bbox_to_anchor=(0.5, -0.115),
        ncols=max(1, -(-len(labels) // 2)),
        frameon=False,
        handlelength=3.2,
        columnspacing=1.4,
    )
    return axes


# --- what is drawn ---------------------------------------------------------------------------------------


def _last_speed(plan: Plan) -> float:
    """The last speed shown [rpm]."""
    speeds = [b.speed for b in plan.job.target.timed if b.speed] if plan.job.target else []
    if plan.build is not None and plan.build.curve.all_in is not None:
        speeds.append(plan.build.curve.all_in)
    if plan.job.sweep is not None and len(plan.job.sweep.speed):
        speeds.append(float(plan.job.sweep.speed.max()))
    if not speeds and plan.before is not None and plan.before.all_in is not None:
        speeds.append(plan.before.all_in)
    return ROOM * RPM * max(speeds, default=100.0)


def branch(squared: Array, advance: Array) -> tuple[Array, Array]:
    """Speeds [rpm] and advances [deg] of one branch to draw, from its ω² [rad²/s²] (running extreme, never
    falling) over the advance [rad], both (n,). Where advance stays in at rest it starts from that."""
    first = max(int(np.searchsorted(squared, 0.0, side="right")) - 1, 0)
    speed = RPM * np.sqrt(np.maximum(squared[first:], 0.0))
    degrees = np.degrees(advance[first:])
    return np.concatenate([[0.0], speed]), np.concatenate([degrees[:1], degrees])


def _curve(axes: Axes, curve: Trace, plan: Plan, last: float, look: style.Curve, name: str) -> None:
    idle = None if plan.job.target is None else plan.job.target.idle_speed
    start = 0.0 if idle is None else float(curve.falling_advance(idle))
    past = curve.advance >= start
    rising = branch(np.maximum.accumulate(curve.rising[past]), curve.advance[past])
    falling = branch(np.minimum.accumulate(curve.falling[::-1])[::-1], curve.advance)
    for (speed, degrees), line, way in ((rising, style.RISING, "rising"), (falling, style.FALLING, "falling")):
        axes.plot(
            np.append(speed, max(last, speed[-1])),
            np.append(degrees, degrees[-1]),
            linestyle=line,
            color=look.colour,
            linewidth=look.rising if way == "rising" else look.falling,
            zorder=look.order,
            label=f"{name}, {way}",
            solid_capstyle="butt",
        )


def hidden_advance(plan: Plan) -> float:
    """Advance [rad] that the bench's zero hides, by the fit; 0 without one."""
    return 0.0 if plan.fit is None else float(plan.fit.model.hidden(plan.fit.best[None])[0])


def _shade(axes: Axes, band: Any, look: style.Curve) -> None:
    """The 90 % band of a curve, rising and falling together."""
    if band is None:
        return
    low = np.degrees(np.minimum(band.rising[0], band.falling[0]))
    high = np.degrees(np.maximum(band.rising[1], band.falling[1]))
    shade = axes.fill_between(RPM * band.speed, low, high, color=look.colour, alpha=0.15, linewidth=0, zorder=1.5)
    shade.set_gid("band-90")


def _readings(axes: Axes, sweep: Sweep, hidden: float) -> None:
    """The readings as found, rising and falling with marks of their own, `hidden` [rad] added back."""
    rising = np.asarray(sweep.rising, bool)
    for which, mark, way in ((rising, style.READING_RISING, "rising"), (~rising, style.READING_FALLING, "falling")):
        if which.any():
            axes.plot(
                RPM * sweep.speed[which],
                np.degrees(sweep.advance[which] + hidden),
                linestyle="none",
                marker=mark.shape,
                markersize=style.READING_PT,
                color=style.VERMILION,
                markeredgewidth=0.8,
                zorder=9,
                markerfacecolor=style.VERMILION if mark.filled else "white",
                label=f"read, {way}",
            )


def draw_band(axes: Axes, band: Band, last: float) -> None:
    """A band as a pale box with caps on the edges that count."""
    low, high = np.degrees(band.low), np.degrees(band.high)
    if band.kind == "maximum":
        left, right = PLATEAU * last, last
    else:
        half = BAND_WIDTH * last * (0.6 if band.kind == "idle" else 1.0)
        left, right = RPM * (band.speed or 0.0) - half, RPM * (band.speed or 0.0) + half
    fill = style.GREY if band.kind == "idle" else style.PALE
    labelled = "target band" in axes.get_legend_handles_labels()[1]
    axes.fill_between(
        [left, right],
        low,
        high,
        color=fill,
        linewidth=0,
        zorder=1,
        label=None if labelled else "target band",
    ).set_gid(f"band-{band.kind}")
    for edge in [high] if band.from_zero else [low, high]:
        axes.plot([left, right], [edge, edge], color=style.INK, linewidth=1.3, zorder=2, solid_capstyle="butt")
    if band.kind == "maximum":
        axes.text(
            right - 0.004 * last,
            high,
            "maximum ",
            ha="right",
            va="bottom",
            fontsize=style.SMALL_PT,
            color=style.INK,
            zorder=7,
        )


def _frame(axes: Axes, plan: Plan, last: float) -> Any:
    """Title, limits, labels and the crank's axes; the right-hand one is given back."""
    ratio = plan.job.speed_ratio
    title = f"{style.shortened(plan.job.title, 80)}\n{style.shortened(_subtitle(plan), 80)}"
    axes.set_title(title, loc="left", parse_math=False)
    axes.set(xlim=(0.0, last), xlabel="speed of the distributor [rpm]", ylabel="advance [distributor degrees]")
    axes.grid(True, color=style.PALE, linewidth=0.5, zorder=0)
    axes.set_axisbelow(True)
    both = (lambda x: x * ratio, lambda x: x / ratio)
    axes.secondary_xaxis("top", functions=both).set_xlabel("crank [rpm]")
    right = axes.secondary_yaxis("right", functions=both)
    right.set_ylabel("advance [crank degrees]")
    return right


def _subtitle(plan: Plan) -> str:
    if plan.build is None:
        return plan.verdict
    springs = " + ".join(
        f"{s.spring.id} {p}" for s, p in zip(plan.build.springs, ("primary", "secondary"), strict=False)
    )
    if plan.verdict == "out of reach":
        return f"out of reach; the nearest, not to be built: {springs}"
    return f"{plan.verdict}; springs: {springs}"


# --- onset, take-up, all-in and idle, labelled in rows below the curve ------------------------------------


@dataclass(frozen=True)
class Event:
    """Something that happens at a speed [rpm], where the curve is at `advance` [deg]."""

    name: str
    speed: float
    advance: float


def events(plan: Plan) -> list[Event]:
    """What is marked on the plan's figure, in the order of speed."""
    found = []
    target, build = plan.job.target, plan.build
    if target is not None and target.idle_speed:
        found.append(Event("idle", RPM * target.idle_speed, 0.0))
    if build is not None:
        curve = build.curve
        takeup = build.springs[1].takeup if len(build.springs) > 1 else None
        speeds = [("onset", curve.onset, 0.0), ("all-in", curve.all_in, curve.stop)]
        if takeup:
            speeds.append(("secondary takes up", curve.rising_speed(takeup), takeup))
        found += [Event(name, RPM * speed, float(np.degrees(at))) for name, speed, at in speeds if speed is not None]
    return sorted(found, key=lambda e: e.speed)


def rows_of(events: list[Event], width: dict[str, float]) -> list[int]:
    """The row of each label, from the top, so that none overlap; `width` [rpm] of each event's label."""
    ends: list[float] = []
    rows = []
    for event in events:
        left = event.speed - width[event.name] / 2
        row = next((i for i, end in enumerate(ends) if end < left), len(ends))
        ends[row : row + 1] = [event.speed + width[event.name] / 2]
        rows.append(row)
    return rows


def _events(axes: Axes, right: Any, plan: Plan, last: float) -> None:
    """Labels in rows below zero, each with a hair line up to its place on the curve."""
    marks = events(plan)
    width_pt, height_pt = (s * 72 / 25.4 for s in style.axes_mm())
    text = {e.name: f"{e.name} {e.speed:.0f} rpm" for e in marks}
    # 0.62 of the type size a letter is a little more than this font takes on average
    width = {k: 0.62 * style.SMALL_PT * len(t) * last / width_pt for k, t in text.items()}
    rows = rows_of(marks, width)
    top = _highest(axes)
    deep = max(rows, default=-1) + 1.5  # rows that the labels take, and a little air
    row = top * ROW_PT / (height_pt - ROW_PT * deep)
    axes.set_ylim(-row * deep, top)
    axes.axhline(0.0, color=style.INK, linewidth=0.7, zorder=3)
    _degree_ticks(axes, right, top, plan.job.speed_ratio)
    for event, at in zip(marks, rows, strict=True):
        y = -row * (at + 0.85)
        axes.plot(
            [event.speed] * 2, [y + 0.35 * row, event.advance], color=style.INK, linewidth=0.6, linestyle=":", zorder=3
        )
        if event.name != "idle":
            axes.plot(event.speed, event.advance, "o", color="white", markeredgecolor=style.INK, markersize=4, zorder=8)
        axes.text(
            event.speed,
            y,
            text[event.name],
            ha="center",
            va="center",
            fontsize=style.SMALL_PT,
            zorder=7,
            bbox={"facecolor": "white", "edgecolor": "none", "pad": 0.6},
        )


def _degree_ticks(axes: Axes, right: Any, top: float, ratio: float) -> None:
    """Whole steps of degrees from zero up on both sides; none beside the labels below the curve."""
    from matplotlib.ticker import MaxNLocator

    for one, end in ((axes, top), (right, top * ratio)):
        ticks = MaxNLocator(nbins=9, steps=[1, 2, 5, 10]).tick_values(0.0, end)
        one.set_yticks([t for t in ticks if 0 <= t <= end])


def _highest(axes: Axes) -> float:
    """Top of the axis [deg]: a little above whatever is drawn."""
    tops = [float(np.max(np.asarray(line.get_ydata()))) for line in axes.lines]
    return 1.09 * max(tops, default=1.0)
