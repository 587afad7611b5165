"""The plan's figure, and the parts that other figures share. A plot takes an axis and gives it back.

Shown in rpm and degrees of the distributor, with the crank's along the top and the right. matplotlib is imported
only where it draws.

The figure of the ordering window: which rates go together, and what the catalogue has of them.

Figures for the engine: crank timing over engine speed, and the coil's charge. A plot takes an axis and gives it back.
"""

from __future__ import annotations

import io
from typing import TYPE_CHECKING, Any

import numpy as np

from recurve import __version__
from recurve.arrays import Array
from recurve.fit.fit import Fit
from recurve.inspection.points import Charge
from recurve.inspection.timing import Card, crank_timing
from recurve.job.model import Job, SpringPlace, Sweep
from recurve.output.figures import style
from recurve.output.figures.style import Event, key_below, label_curves, label_rows
from recurve.physics.curve import Trace
from recurve.physics.target import Band
from recurve.planner.build import Build
from recurve.planner.plan import Plan
from recurve.springs.spring import Spring
from recurve.units import PLACES, RPM

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure
ROOM = 1.15  # speeds shown, of the last one that matters
BAND_WIDTH = 0.007  # half a band's width, of the speeds shown
PLATEAU = 0.9  # where the maximum's band begins, of the speeds shown
UNSEEN = np.radians(0.05)  # a shift of readings that nobody could see


def plan_figure_bytes(plan: Plan) -> dict[str, bytes]:
    """The plan's figure as "curve.svg" and "curve.png", the same bytes for the same plan."""
    with style.figure_settings():
        return style.figure_bytes(_figure(plan), "curve")


def narrow_figure_svg(plan: Plan) -> bytes:
    """The same for a narrow screen, as SVG: without its title, which the page has."""
    with style.figure_settings():
        return style.figure_svg(_figure(plan, style.NARROW_MM))


def plot_plan(plan: Plan, axes: Axes | None = None) -> Axes:
    """The target's bands, the readings and the curve as found, and the planned curve, on one axis.

    Both curves with their 90 % bands where a sweep was fitted or builds were simulated. Without an axis it
    makes a figure of its own. Returns the axis drawn on.
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
    if plan.before is not None:
        _draw_before(axes, plan, plan.before, last)
    if plan.build is not None:
        band = None if plan.built is None else plan.built.band
        if band is not None:
            shade(axes, band.speed, band.rising, band.falling, style.AFTER)
        name = "nearest" if plan.verdict == "out of reach" else "planned"
        _curve(axes, plan.build.curve, _stays_in(job, plan.build.curve), last, style.AFTER, name)
    if job.target is not None:
        for one in job.target.bands:
            draw_band(axes, one, last)
    right = frame(axes, job, _subtitle(plan), last)
    label_rows(axes, right, events(plan), last, job.speed_ratio)
    label_curves(axes)
    key_below(axes, axes, style.BEFORE)
    return axes


def _draw_before(axes: Axes, plan: Plan, curve: Trace, last: float) -> None:
    """The curve as found. One that was fitted rises from a standstill, as the readings it explains do."""
    if plan.before_band is not None:
        shade(axes, plan.before_band.speed, plan.before_band.rising, plan.before_band.falling, style.BEFORE)
    if plan.fit is None:
        _curve(axes, curve, _stays_in(plan.job, curve), last, style.BEFORE, "as found (computed)")
    else:
        _curve(axes, curve, float(curve.falling_advance(0.0)), last, style.BEFORE, "as found")


def _stays_in(job: Job, curve: Trace) -> float:
    """Advance [rad] that stays in at idle, from which the rising curve starts."""
    idle = None if job.target is None else job.target.idle_speed
    return 0.0 if idle is None else float(curve.falling_advance(idle))


# --- readings that a bench's zero has moved ----------------------------------------------------------------


def hidden_advance(fit: Fit | None) -> float:
    """Advance [rad] that the readings lack of the true one, by the fit; 0 without one."""
    return 0.0 if fit is None else float(fit.model.hidden(fit.best[None])[0])


def shift_words(fit: Fit | None, sweep: Sweep | None) -> list[str]:
    """How far the drawn readings were moved, and why, as no or one phrase."""
    if sweep is None:
        return []
    hidden, zero = hidden_advance(fit), "" if sweep.zeroed_at is None else f"{RPM * sweep.zeroed_at:.0f} rpm"
    if abs(hidden) < UNSEEN:
        return [f"readings zeroed at {zero}"] if zero else []
    moved = f"readings shifted by {np.degrees(hidden):.1f}°".replace("-", "−")
    if zero:
        return [f"{moved}, hidden by the zero taken at {zero}"]
    return [f"{moved}, {'the fitted error of zero' if sweep.static_known else 'the fitted static timing'}"]


# --- what is drawn ---------------------------------------------------------------------------------------


def _last_speed(plan: Plan) -> float:
    """The last speed shown [rpm]."""
    all_in = None if plan.build is None else plan.build.curve.all_in
    last = last_speed(plan.job, all_in)
    if not last and plan.before is not None:
        last = last_speed(plan.job, plan.before.all_in)
    return last or ROOM * 100.0


def last_speed(job: Job, all_in: float | None) -> float:
    """A little past the last band, reading, or the speed [rad/s] where all is in; [rpm], 0 where there is none."""
    speeds = [b.speed for b in job.target.timed if b.speed] if job.target else []
    speeds += [all_in] if all_in else []
    if job.sweep is not None and len(job.sweep.speed):
        speeds.append(float(job.sweep.speed.max()))
    return ROOM * RPM * max(speeds, default=0.0)


def branch(squared: Array, advance: Array) -> tuple[Array, Array]:
    """Speeds [rpm] and advances [deg] of one branch to draw, from its ω² [rad²/s²] (running extreme, never
    falling) over the advance [rad], both (n,). Where advance stays in at rest it starts from that."""
    first = max(int(np.searchsorted(squared, 0.0, side="right")) - 1, 0)
    speed = RPM * np.sqrt(np.maximum(squared[first:], 0.0))
    degrees = np.degrees(advance[first:])
    return np.concatenate([[0.0], speed]), np.concatenate([degrees[:1], degrees])


def _curve(axes: Axes, curve: Trace, start: float, last: float, look: style.Curve, name: str) -> None:
    """Both branches, the rising one from the advance `start` [rad], on to the last speed shown [rpm]."""
    past = curve.advance >= start
    branches = (
        branch(np.maximum.accumulate(curve.rising[past]), curve.advance[past]),
        branch(np.minimum.accumulate(curve.falling[::-1])[::-1], curve.advance),
    )
    rising, falling = ((np.append(x, max(last, x[-1])), np.append(y, y[-1])) for x, y in branches)
    draw_curves(axes, rising, falling, look, name)


def draw_curves(
    axes: Axes, rising: tuple[Array, Array], falling: tuple[Array, Array], look: style.Curve, name: str
) -> None:
    """Two branches, each speeds [rpm] and advances [deg], in the manner of `look`."""
    for (speed, degrees), line, width, way in (
        (rising, style.RISING, look.rising, "rising"),
        (falling, style.FALLING, look.falling, "falling"),
    ):
        axes.plot(
            speed,
            degrees,
            linestyle=line,
            color=look.colour,
            linewidth=width,
            zorder=look.order,
            label=f"{name}, {way}",
            solid_capstyle="butt",
        )


def shade(axes: Axes, speed: Array, rising: Array, falling: Array, look: style.Curve) -> None:
    """A band at speeds (m,) [rad/s]: where the rising or the falling curve lies, low and high (2, m) [rad] of each.

    One patch for both, so that it is no darker where they overlap.
    """
    from matplotlib.patches import PathPatch
    from matplotlib.path import Path

    x = RPM * np.concatenate([speed, speed[::-1], speed[:1]])
    rings = [np.degrees(np.concatenate([low, high[::-1], low[:1]])) for low, high in (rising, falling)]
    path = Path.make_compound_path(*(Path(np.column_stack([x, y]), closed=True) for y in rings))
    patch = PathPatch(path, facecolor=look.colour, alpha=style.SHADE, linewidth=0, zorder=1.5, label=style.SHADED)
    patch.set_gid("shade")
    axes.add_patch(patch)


def draw_readings(axes: Axes, sweep: Sweep, hidden: float, look: style.Curve) -> None:
    """The readings, rising and falling with marks of their own, `hidden` [rad] added to each."""
    rising = np.asarray(sweep.rising, bool)
    for which, mark, way in ((rising, look.marks[0], "rising"), (~rising, look.marks[1], "falling")):
        if which.any():
            axes.plot(
                RPM * sweep.speed[which],
                np.degrees(sweep.advance[which] + hidden),
                linestyle="none",
                marker=mark.shape,
                markersize=style.READING_PT,
                color=look.colour,
                markeredgewidth=0.8,
                zorder=9,
                markerfacecolor=look.colour if mark.filled else "white",
                label=f"{style.READ}, {way}",
            )


def draw_band(axes: Axes, band: Band, last: float) -> None:
    """A band as a pale box with caps on the edges that count; `last` [rpm]."""
    low, high = np.degrees(band.low), np.degrees(band.high)
    left, right = band_sides(band, last)
    fill = style.GREY if band.kind == "idle" else style.PALE
    labelled = style.TARGET_BAND in axes.get_legend_handles_labels()[1]
    axes.fill_between(
        [left, right],
        low,
        high,
        color=fill,
        linewidth=0,
        zorder=1,
        label=None if labelled else style.TARGET_BAND,
    ).set_gid(f"band-{band.kind}")
    for edge in [high] if band.from_zero else [low, high]:
        axes.plot([left, right], [edge, edge], color=style.INK, linewidth=1.3, zorder=2, solid_capstyle="butt")
    if band.kind == "maximum":
        at, size = (right - 0.004 * last, high), style.SMALL_PT
        axes.text(*at, "maximum ", ha="right", va="bottom", fontsize=size, color=style.INK, zorder=7)


def band_sides(band: Band, last: float) -> tuple[float, float]:
    """Where a band's box begins and ends [rpm]."""
    if band.kind == "maximum":
        return PLATEAU * last, last
    half = BAND_WIDTH * last * (0.6 if band.kind == "idle" else 1.0)
    return RPM * (band.speed or 0.0) - half, RPM * (band.speed or 0.0) + half


def frame(axes: Axes, job: Job, subtitle: str, last: float) -> Any:
    """Title, limits, labels and the crank's axes; the right-hand one is given back; `last` [rpm]."""
    ratio = job.speed_ratio
    title = f"{style.shortened(job.title, 80)}\n{style.shortened(subtitle, 80)}"
    axes.set_title(title, loc="left", parse_math=False)
    axes.set(xlim=(0.0, last), xlabel=style.SPEED, ylabel=style.ADVANCE)
    axes.grid(True, color=style.PALE, linewidth=0.5, zorder=0)
    axes.set_axisbelow(True)
    both = (lambda x: x * ratio, lambda x: x / ratio)
    axes.secondary_xaxis("top", functions=both).set_xlabel(style.CRANK_SPEED)
    right = axes.secondary_yaxis("right", functions=both)
    right.set_ylabel(style.CRANK_ADVANCE)
    return right


def _subtitle(plan: Plan) -> str:
    if plan.build is None:
        return plan.verdict
    springs = " + ".join(_which(plan.job, s.spring, i) for i, s in enumerate(plan.build.springs))
    if plan.verdict == "out of reach":
        return f"out of reach; the nearest, not to be built: {springs}"
    return f"{plan.verdict}; springs: {springs}"


def _which(job: Job, spring: Spring, index: int) -> str:
    """A chosen spring and its place."""
    found = found_place(job.places, spring)
    if found is None:
        return f"{spring.id} {PLACES[index]}"
    if found == index:
        return f"the {PLACES[index]} that is in it"
    return f"the {PLACES[found]} that is in it as {PLACES[index]}"


def found_place(places: tuple[SpringPlace, ...], spring: Spring) -> int | None:
    """The place in which a spring was found; None of one from the shelf."""
    return next((i for i, p in enumerate(places) if p.found == spring), None)


# --- what is marked ----------------------------------------------------------------------------------------


def events(plan: Plan) -> list[Event]:
    """What is marked on the plan's figure, in the order of speed."""
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


SIZE_MM = (130.0, 110.0)
REGION = "#CCE1EE"  # a pale blue: the parts of the region overlap, so it is not see-through
WINDOW_ROOM = 1.25  # shown beyond the region


def window_svg(plan: Plan) -> bytes:
    """The figure as SVG, the same bytes for the same plan; empty where there is no window."""
    if plan.window is None or not plan.window.regions:
        return b""
    with style.figure_settings():
        figure = style.figure_of(SIZE_MM)
        draw_window(plan, figure.add_axes((0.13, 0.2, 0.83, 0.66)))
        style.footer(figure, [], plan.job.fingerprint)
        out = io.BytesIO()
        figure.savefig(out, format="svg", metadata={"Date": None, "Creator": f"recurve {__version__}"})
    return out.getvalue()


def draw_window(plan: Plan, axes: Axes) -> Axes:
    """The region, the catalogue's springs along its axes, the pairs compared, and the chosen one. Gives back the axes."""
    window = plan.window
    assert window is not None  # asked only where there is one
    two = len(plan.job.places) == 2
    scale = np.array([1e-3, 1e-3 if two else 1.0])
    for index, region in enumerate(window.regions):
        label = f"keeps a margin of {window.floor:.2f}" if index == 0 else None
        axes.fill(*(region * scale).T, color=REGION, linewidth=0, zorder=1, label=label)
    corners = np.concatenate(window.regions) * scale
    ends = WINDOW_ROOM * corners.max(axis=0)
    axes.set(xlim=(0.0, ends[0]), ylim=(min(0.0, float(corners[:, 1].min())), ends[1]))
    _shelf(plan, axes, two)
    others = np.array([_point(b, two) for b in plan.others]).reshape(-1, 2)
    axes.plot(
        *others.T, "o", color=style.INK, markersize=3, zorder=4, linestyle="none", label=style.COMPARED, clip_on=True
    )
    if plan.build is not None:
        axes.plot(
            *_point(plan.build, two),
            "*",
            color=style.VERMILION,
            markersize=11,
            zorder=6,
            linestyle="none",
            label=style.CHOSEN,
        )
    axes.set_xlabel(style.PRIMARY_RATE)
    axes.set_ylabel(style.SECONDARY_RATE if two else style.PULL_AT_REST)
    axes.set_title(f"{style.shortened(plan.job.title, 60)}\n{style.WINDOW}", loc="left", parse_math=False)
    axes.grid(True, color=style.PALE, linewidth=0.5, zorder=0)
    axes.legend(loc="upper center", bbox_to_anchor=(0.5, -0.14), ncols=4, frameon=False, handlelength=1.2)
    return axes


def _shelf(plan: Plan, axes: Axes, two: bool) -> None:
    """The catalogue's rates as ticks inside the axes they can be read on."""
    if plan.job.catalogue is None:
        return
    rates = np.array([s.rate * 1e-3 for s in plan.job.catalogue.springs if s.quantity != 0])
    look: Any = {"color": style.GREY, "linestyle": "none", "markersize": 5, "markeredgewidth": 0.6, "zorder": 3}
    axes.plot(
        rates, np.full(len(rates), 0.015), "|", transform=axes.get_xaxis_transform(), label=style.CATALOGUE, **look
    )
    if two:
        axes.plot(np.full(len(rates), 0.012), rates, "_", transform=axes.get_yaxis_transform(), **look)


def _point(build: Build, two: bool) -> Array:
    first = build.springs[0]
    return np.array([first.spring.rate * 1e-3, build.springs[1].spring.rate * 1e-3 if two else first.pull])


COIL_MM = (120.0, 60.0)
LOOKS = {"as found": (style.VERMILION, 1.1, "-"), "book": (style.INK, 0.9, ":"), "planned": (style.BLUE, 2.2, "-")}


def timing_figure_bytes(card: Card, fingerprint: str) -> dict[str, bytes]:
    """The card's figure as "timing.svg" and "timing.png", the same bytes for the same card."""
    with style.figure_settings():
        figure = style.figure_of(style.FIGURE_MM)
        plot_timing(card, style.panel(figure, style.MARGINS_MM[1], style.MARGINS_MM[3]))
        style.footer(figure, [], fingerprint)
        return style.figure_bytes(figure, "timing")


def plot_timing(card: Card, axes: Axes) -> Axes:
    """Every curve, vacuum off, the planned (else the last) with cruise vacuum too; total, limit, idle, setting."""
    speeds = np.linspace(0.0, 1.05 * float(card.speed.max()), 600)
    for name, curve, static in card.curves:
        colour, width, line = LOOKS[name]
        at = np.degrees(crank_timing(curve, static, card.ratio, speeds))
        axes.plot(speeds * RPM, at, line, color=colour, linewidth=width, label=name)
    if card.cruise is not None and card.curves:
        name, curve, static = card.curves[-1]
        at = np.degrees(crank_timing(curve, static, card.ratio, speeds, card.cruise[0]))
        axes.plot(speeds * RPM, at, "-.", color=LOOKS[name][0], linewidth=0.9, label=f"{name}, {style.CRUISE}")
    for level, word, line in ((card.total, "book's total", "--"), (card.timing.limit, "limit", "-")):
        if level is not None:
            axes.axhline(float(np.degrees(level)), color=style.GREY, linewidth=0.9, linestyle=line, label=word)
    if card.timing.idle is not None:
        axes.axvline(card.timing.idle * RPM, color=style.GREY, linewidth=0.8, linestyle=":", label=style.IDLE)
    if card.setting is not None:
        s = card.setting
        pm = float(np.degrees(s.tolerance))
        axes.errorbar(
            [s.speed * RPM], [np.degrees(s.reading)], [pm], fmt="s", color=style.INK, capsize=3, label=style.SET_HERE
        )
    axes.set(
        xlim=(0.0, float(speeds[-1]) * RPM),
        xlabel=style.ENGINE_SPEED,
        ylabel=style.TIMING,
        title="timing on the engine",
    )
    axes.grid(True, color=style.PALE, linewidth=0.5)
    axes.set_axisbelow(True)
    axes.legend(loc="lower right", frameon=False)
    return axes


def coil_figure_bytes(charges: tuple[Charge, ...], ratio: float, fingerprint: str) -> dict[str, bytes]:
    """The coil's energy over engine speed as "coil.svg" and "coil.png"; nothing without a coil. `ratio` [1] crank
    turns a distributor turn."""
    if not charges:
        return {}
    with style.figure_settings():
        figure = style.figure_of(COIL_MM)
        plot_coil(charges, ratio, style.panel(figure, 14.0, 8.0))
        style.footer(figure, [], fingerprint)
        return style.figure_bytes(figure, "coil")


def plot_coil(charges: tuple[Charge, ...], ratio: float, axes: Axes) -> Axes:
    """Stored energy when the points open, for the good dwell and the bad; the longer solid, the shorter dashed; `ratio` [1]."""
    for one, line in zip(charges, ("-", "--"), strict=False):
        label = f"dwell {np.degrees(one.dwell):.1f}° (distributor)"
        axes.plot(one.speed * RPM * ratio, one.energy * 1e3, line, color=style.BLUE, label=label)
    axes.set(xlabel=style.ENGINE_SPEED, ylabel=style.ENERGY, title=style.COIL)
    axes.set_ylim(bottom=0.0)
    axes.grid(True, color=style.PALE, linewidth=0.5)
    axes.legend(frameon=False)
    return axes
