"""The figure of the ordering window: which rates go together, and what the catalogue has of them."""

from __future__ import annotations

import io
from typing import TYPE_CHECKING, Any

import numpy as np

from recurve import __version__, captions, style
from recurve.build import Build
from recurve.mechanism import Array
from recurve.plan import Plan

if TYPE_CHECKING:
    from matplotlib.axes import Axes

SIZE_MM = (130.0, 110.0)
REGION = "#CCE1EE"  # a pale blue: the parts of the region overlap, so it is not see-through
ROOM = 1.25  # shown beyond the region


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
    ends = ROOM * corners.max(axis=0)
    axes.set(xlim=(0.0, ends[0]), ylim=(min(0.0, float(corners[:, 1].min())), ends[1]))
    _shelf(plan, axes, two)
    others = np.array([_point(b, two) for b in plan.others]).reshape(-1, 2)
    axes.plot(
        *others.T, "o", color=style.INK, markersize=3, zorder=4, linestyle="none", label=captions.COMPARED, clip_on=True
    )
    if plan.build is not None:
        axes.plot(
            *_point(plan.build, two),
            "*",
            color=style.VERMILION,
            markersize=11,
            zorder=6,
            linestyle="none",
            label=captions.CHOSEN,
        )
    axes.set_xlabel(captions.PRIMARY_RATE)
    axes.set_ylabel(captions.SECONDARY_RATE if two else captions.PULL_AT_REST)
    axes.set_title(f"{style.shortened(plan.job.title, 60)}\n{captions.WINDOW}", loc="left", parse_math=False)
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
        rates, np.full(len(rates), 0.015), "|", transform=axes.get_xaxis_transform(), label=captions.CATALOGUE, **look
    )
    if two:
        axes.plot(np.full(len(rates), 0.012), rates, "_", transform=axes.get_yaxis_transform(), **look)


def _point(build: Build, two: bool) -> Array:
    first = build.springs[0]
    return np.array([first.spring.rate * 1e-3, build.springs[1].spring.rate * 1e-3 if two else first.pull])
