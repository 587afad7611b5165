"""The figure of the ordering window: which rates go together, and which of them the catalogue has."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np

from recurve.arrays import Array
from recurve.output.figures import style
from recurve.planner.build import Build
from recurve.planner.plan import Plan
from recurve.text import shortened

if TYPE_CHECKING:
    from matplotlib.axes import Axes

SIZE_MM = (130.0, 110.0)
REGION = "#CCE1EE"  # a pale blue, opaque because the regions overlap
ROOM = 1.25  # range shown, as a multiple of the region's


def window_svg(plan: Plan) -> bytes:
    """The figure as SVG, the same bytes for the same plan; empty if the plan has no window."""
    if plan.window is None or not plan.window.regions:
        return b""
    with style.figure_settings():
        figure = style.figure_of(SIZE_MM)
        draw_window(plan, figure.add_axes((0.13, 0.2, 0.83, 0.66)))
        style.footer(figure, [], plan.job.fingerprint)
        return style.figure_svg(figure)


def draw_window(plan: Plan, axes: Axes) -> Axes:
    """Draw the region, the catalogue's springs along the axes, the pairs compared and the chosen one. Returns the axes."""
    window = plan.window
    assert window is not None  # the caller has checked
    two = len(plan.job.places) == 2
    scale = np.array([1e-3, 1e-3 if two else 1.0])
    for index, region in enumerate(window.regions):
        label = f"keeps a margin of {window.floor:.2f}" if index == 0 else None
        axes.fill(*(region * scale).T, color=REGION, linewidth=0, zorder=1, label=label)
    corners = np.concatenate(window.regions) * scale
    ends = ROOM * corners.max(axis=0)
    axes.set(xlim=(0.0, ends[0]), ylim=(min(0.0, float(corners[:, 1].min())), ends[1]))
    _catalogue_ticks(plan, axes, two)
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
    axes.set_title(f"{shortened(plan.job.title, 60)}\n{style.WINDOW}", loc="left", parse_math=False)
    axes.grid(True, color=style.PALE, linewidth=0.5, zorder=0)
    axes.legend(loc="upper center", bbox_to_anchor=(0.5, -0.14), ncols=4, frameon=False, handlelength=1.2)
    return axes


def _catalogue_ticks(plan: Plan, axes: Axes, two: bool) -> None:
    """The catalogue's rates as ticks along the axes on which they are read."""
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
