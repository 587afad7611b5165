"""The figure of the ordering window: which rates go together, and which of them the catalogue has, by their ids."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np

from recurve.arrays import Array
from recurve.output.figures import style
from recurve.output.figures.labels import spread
from recurve.output.figures.plan import found_place
from recurve.planner.build import Build
from recurve.planner.plan import Plan
from recurve.springs.spring import Spring
from recurve.text import plain, shortened

if TYPE_CHECKING:
    from matplotlib.axes import Axes

SIZE_MM = (160.0, 140.0)
PANEL = (0.11, 0.17, 0.86, 0.72)  # of the figure: left, bottom, width, height
REGION = "#CCE1EE"  # a pale blue, opaque because the regions overlap
ROOM, STRIP = 0.06, 0.16  # round what is shown, and beside it for the ids, as fractions of its width or height
ID_PT, ID_LETTERS = 5.5, 12  # type size of an id; as much of it as is shown
GAP, DENSE = 1.2, 0.8  # from an id to the next, in type sizes; from a tick with an id to the next such, in gaps
NEXT = (0.008, 0.03, 0.04)  # of the panel: a tick's length, where the line to its id ends, where the id begins


def window_svg(plan: Plan) -> bytes:
    """The figure as SVG, the same bytes for the same plan; empty if the plan has no window."""
    if plan.window is None or not plan.window.regions:
        return b""
    with style.figure_settings():
        figure = style.figure_of(SIZE_MM)
        draw_window(plan, figure.add_axes(PANEL))
        style.footer(figure, [], plan.job.fingerprint)
        return style.figure_svg(figure)


def draw_window(plan: Plan, axes: Axes) -> Axes:
    """Draw the region, the catalogue's springs along the axes, the pairs compared and the chosen one. Returns the axes."""
    window = plan.window
    assert window is not None  # the caller has checked
    two = len(plan.job.places) == 2
    scale = np.array([1e-3, 1e-3 if two else 1.0])
    for index, region in enumerate(window.regions):
        label = f"rates that keep a margin of {window.floor:.2f}" if index == 0 else None
        axes.fill(*(region * scale).T, color=REGION, linewidth=0, zorder=1, label=label)
    compared = (*([] if plan.build is None else [plan.build]), *plan.others)
    points = np.array([_point(b, two) for b in compared]).reshape(-1, 2)
    corners = np.concatenate([*window.regions]) * scale
    _limits(axes, np.concatenate([corners, points]), two)
    _catalogue(plan, axes, 0, _ids(plan, compared, 0))
    if two:
        _catalogue(plan, axes, 1, _ids(plan, compared, 1))
    look: dict[str, Any] = {"linestyle": "none", "clip_on": True}
    others = points[len(points) - len(plan.others) :]
    axes.plot(*others.T, "o", color=style.INK, markersize=3, zorder=4, label=style.COMPARED, **look)
    if plan.build is not None:
        axes.plot(*points[0], "*", color=style.VERMILION, markersize=11, zorder=6, label=style.CHOSEN, **look)
        for across, way in ((axes.axvline, points[0, 0]), (axes.axhline, points[0, 1])):
            across(way, color=style.VERMILION, linewidth=0.6, linestyle=":", zorder=2)
    axes.set_xlabel(style.PRIMARY_RATE)
    axes.set_ylabel(style.SECONDARY_RATE if two else style.PULL_AT_REST)
    axes.set_title(
        f"{shortened(plan.job.title, 70)}\n{style.WINDOW}{_named(plan, compared)}", loc="left", parse_math=False
    )
    axes.grid(True, color=style.PALE, linewidth=0.5, zorder=0)
    axes.legend(loc="upper center", bbox_to_anchor=(0.5, -0.1), ncols=4, frameon=False, handlelength=1.2)
    return axes


def _named(plan: Plan, compared: tuple[Build, ...]) -> str:
    """The ids of the chosen springs, the first build; nothing where none was chosen."""
    return f"; chosen: {' + '.join(_name(plan, s.spring) for s in compared[0].springs)}" if compared else ""


def _limits(axes: Axes, shown: Array, two: bool) -> None:
    """Just what is shown, places (n, 2) in the axes' units, with room for the ids of the catalogue below and on the left."""
    low, high = shown.min(axis=0), shown.max(axis=0)
    size = np.where(high - low > 0, high - low, np.maximum(high, 1.0))
    strip = np.array([STRIP if two else ROOM, STRIP])
    axes.set(
        xlim=(low[0] - strip[0] * size[0], high[0] + ROOM * size[0]),
        ylim=(low[1] - strip[1] * size[1], high[1] + ROOM * size[1]),
    )


def _name(plan: Plan, spring: Spring) -> str:
    """A spring's id, or that it is the one in the unit."""
    return "as found" if found_place(plan.job.places, spring) is not None else plain(spring.id)


def _ids(plan: Plan, compared: tuple[Build, ...], place: int) -> dict[str, float]:
    """The names of the springs that the builds have in a place, and their rates [N/mm]."""
    return {_name(plan, b.springs[place].spring): b.springs[place].spring.rate * 1e-3 for b in compared}


def _catalogue(plan: Plan, axes: Axes, place: int, used: dict[str, float]) -> None:
    """The catalogue's rates as ticks along the axis on which they are read, with the ids of those in the window, as far as there
    is room for them; always those in `used`, the pairs compared."""
    low, high = (axes.get_xlim, axes.get_ylim)[place]()
    sold = [] if plan.job.catalogue is None else [s for s in plan.job.catalogue.springs if s.quantity != 0]
    rate_of = {s.id: s.rate * 1e-3 for s in sold} | used
    there = [(rate, name) for name, rate in rate_of.items() if low < rate < high]
    rates = [rate for rate, _ in there]
    transform = axes.get_xaxis_transform() if place == 0 else axes.get_yaxis_transform()
    look: dict[str, Any] = {"color": style.GREY, "linewidth": 0.6, "zorder": 3, "transform": transform}
    for rate in rates:
        axes.plot(*_along(place, [rate, rate], [0.0, NEXT[0]]), **look)
    axes.plot(
        [], [], "|", color=style.GREY, linestyle="none", markersize=5, label=style.CATALOGUE if place == 0 else None
    )
    millimetres = PANEL[2 + place] * SIZE_MM[place]
    gap = GAP * ID_PT * 25.4 / 72 * (high - low) / millimetres
    inside = [float(edge) * 1e-3 for region in plan.window.regions for edge in region[:, place]] if plan.window else []
    named: list[tuple[float, str]] = []
    for rate, name in sorted(there, key=lambda one: (one[1] not in used, one)):
        free = all(abs(rate - other) >= DENSE * gap for other, _ in named)
        if name in used or (free and min(inside) <= rate <= max(inside)):
            named.append((rate, name))
    named.sort(reverse=True)
    clear = {"facecolor": "white", "edgecolor": "none", "pad": 0.4}
    rows = spread([rate for rate, _ in named], gap, low + gap, high - gap)
    for (rate, name), at in zip(named, rows, strict=True):
        axes.plot(*_along(place, [rate, at], [NEXT[0], NEXT[1]]), **look)
        x, y = _along(place, [at], [NEXT[2]])
        axes.text(
            x[0], y[0], shortened(name, ID_LETTERS), transform=transform, fontsize=ID_PT, parse_math=False, zorder=5,
            ha="center" if place == 0 else "left", va="bottom" if place == 0 else "center",
            rotation=90 if place == 0 else 0, bbox=clear, fontweight="bold" if name in used else "normal",
        )  # fmt: skip


def _along(place: int, rates: list[float], across: list[float]) -> tuple[list[float], list[float]]:
    """Places along the first or the second axis, as x and y."""
    return (rates, across) if place == 0 else (across, rates)


def _point(build: Build, two: bool) -> Array:
    first = build.springs[0]
    return np.array([first.spring.rate * 1e-3, build.springs[1].spring.rate * 1e-3 if two else first.pull])
