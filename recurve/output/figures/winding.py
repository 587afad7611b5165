"""The drawing for the spring winder: the spring in side view with its dimensions, and what is required of it."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np

from recurve.arrays import Array
from recurve.output.figures.style import (
    FONT,
    GREY,
    INK,
    SMALL_PT,
    TEXT_PT,
    figure_bytes,
    figure_of,
    figure_settings,
    footer,
)
from recurve.springs.winding import Envelope, Wanted, Wound, check_lengths, coils_wound, hooks_stand
from recurve.springs.wire import materials
from recurve.text import shortened
from recurve.units import INCH, POUND_FORCE

if TYPE_CHECKING:
    from matplotlib.axes import Axes

SIZE_MM = (180.0, 128.0)
VIEW_MM = (10.0, 56.0, 160.0, 58.0)  # left, below, width, height of the view
SCALES = (10.0, 8.0, 5.0, 4.0, 3.0, 2.0, 1.0, 0.5, 0.2)
ROOM_MM = (110.0, 34.0)  # of the view, for the spring itself
POINTS_PER_MM = 72 / (1e3 * INCH)
EDGE_PT = 0.6
STEPS = 24  # points of a half turn


def drawing_svg(wanted: Wanted, wound: Wound, envelope: Envelope, title: str, fingerprint: str) -> bytes:
    """The drawing as SVG, the same bytes for the same spring. Text is drawn as outlines, so that it looks the same
    everywhere."""
    with figure_settings():
        figure = figure_of(SIZE_MM)
        left, below, width, height = VIEW_MM
        axes = figure.add_axes((left / SIZE_MM[0], below / SIZE_MM[1], width / SIZE_MM[0], height / SIZE_MM[1]))
        draw_spring(axes, wound)
        head = f"{wanted.place.capitalize()} spring: {shortened(title, 70)}"
        figure.text(left / SIZE_MM[0], 1 - 7 / SIZE_MM[1], head, fontsize=TEXT_PT + 2, weight="bold", parse_math=False)
        for at, column in zip((left, 94.0), _requirements(wanted, wound, envelope), strict=True):
            for row, line in enumerate(column):
                place = (at / SIZE_MM[0], (48.0 - 4.6 * row) / SIZE_MM[1])
                figure.text(*place, line, fontsize=SMALL_PT, family=FONT, parse_math=False)
        footer(figure, ["static load only; fatigue is not judged"], fingerprint)
        return figure_bytes(figure, "spring")["spring.svg"]


def _requirements(wanted: Wanted, w: Wound, envelope: Envelope) -> tuple[list[str], list[str]]:
    """What the order asks, in two columns: how the spring is made, and what it must do."""
    one, two = check_lengths(wanted, w)
    hooks = f"{1e3 * w.hook:.2f} mm inside, {hooks_stand(w)}"
    made = [
        f"Wire: {w.material}, {materials()[w.material].standard}",
        f"Size: {w.label}" + ("" if w.label.endswith("mm") else f" ({1e3 * w.wire:.3f} mm)"),
        f"Outer diameter {1e3 * w.outer:.2f} mm ({w.outer / INCH:.3f} in)",
        f"Inner diameter {1e3 * (w.outer - 2 * w.wire):.2f} mm ({(w.outer - 2 * w.wire) / INCH:.3f} in)",
        f"Coils of the body {w.coils:g}, {coils_wound(w)}",
        f"Full hooks, {hooks}",
        "Wound to either hand; stress relieved after coiling",
    ]
    must = [
        f"Free length inside the hooks {1e3 * w.free_length:.2f} mm ({w.free_length / INCH:.3f} in)",
        f"Rate {w.rate / 1e3:.3f} N/mm ({w.rate * INCH / POUND_FORCE:.2f} lbf/in) within ± {100 * envelope.tolerance:g} %",
        f"Initial tension {w.initial_tension:.2f} N ({w.initial_tension / POUND_FORCE:.3f} lbf)",
        f"Pull {one[1]:.2f} N at {1e3 * one[0]:.2f} mm inside the hooks",
        f"Pull {two[1]:.2f} N at {1e3 * two[0]:.2f} mm, the longest in use",
        f"Index {w.index:.1f}; stress {100 * max(w.stress_fractions):.0f} % of what is allowed, static",
        "Rate and pulls count; trim the turns to meet them",
    ]
    return made, must


# --- the view ----------------------------------------------------------------------------------------------


def draw_spring(axes: Axes, w: Wound) -> None:
    """The spring lying along x, in mm at a preferred scale, with its dimensions."""
    scale = _scale(w)
    width, height = VIEW_MM[2] / scale, VIEW_MM[3] / scale
    middle, overall = 1e3 * w.body / 2, 1e3 * w.overall
    axes.set_xlim(middle - width / 2, middle + width / 2)
    axes.set_ylim(-height * 0.58, height * 0.42)
    axes.set_axis_off()
    _hook(axes, w, scale, at_start=True)
    _hook(axes, w, scale, at_start=False)
    _body(axes, w, scale)
    axes.plot(
        [middle - 0.55 * overall, middle + 0.55 * overall],
        [0, 0],
        color=GREY,
        linewidth=0.4,
        linestyle=(0, (12, 2, 2, 2)),
    )
    _dimensions(axes, w, scale)


def _scale(w: Wound) -> float:
    """The largest preferred scale at which the spring fits the view."""
    return next(
        (s for s in SCALES if s * 1e3 * w.overall <= ROOM_MM[0] and s * 1e3 * w.outer <= ROOM_MM[1]), SCALES[-1]
    )


def _stroke(axes: Axes, x: Array, y: Array, w: Wound, scale: float, order: float) -> None:
    """A piece of wire: edges in ink, white between them, round ends, as coils look from the side."""
    thick = 1e3 * w.wire * scale * POINTS_PER_MM
    for colour, width in ((INK, thick), ("white", max(thick - 2 * EDGE_PT, 0.1))):
        axes.plot(x, y, color=colour, linewidth=width, zorder=order, solid_capstyle="round", solid_joinstyle="round")


def _body(axes: Axes, w: Wound, scale: float) -> None:
    """The coils as half turns, those behind first. The coil starts at the top and comes to the front."""
    pitch, wire = 1e3 * (w.wire + w.gap), 1e3 * w.wire
    for front in (False, True):
        for half in range(math.ceil(2 * w.coils)):
            if (half % 2 == 0) is front:
                t = np.linspace(half / 2, min((half + 1) / 2, w.coils), STEPS)
                x, y = wire / 2 + pitch * t, 1e3 * w.mean / 2 * np.cos(2 * np.pi * t)
                _stroke(axes, x, y, w, scale, 4.0 if front else 2.0)


def _hook(axes: Axes, w: Wound, scale: float, at_start: bool) -> None:
    """A full hook: from the end of the coil round in an open loop that stops short of the body, or seen edge-on if it
    stands at right angles."""
    reach, half = 1e3 * (w.hook + w.wire / 2), 1e3 * w.mean / 2
    side = math.cos(2 * math.pi * (0.0 if at_start else w.coils))
    if abs(side) < 0.5:
        x, y = np.array([0.5e3 * w.wire, -reach]), np.zeros(2)
    else:
        t = np.radians(np.linspace(90.0, 325.0, 4 * STEPS))
        x = np.concatenate([[0.5e3 * w.wire], reach / 2 * (np.cos(t) - 1)])
        y = np.concatenate([[half], half * np.sin(t)]) * side
    _stroke(axes, x if at_start else 1e3 * w.body - x, y, w, scale, 3.0)


# --- dimensions --------------------------------------------------------------------------------------------


def _dimensions(axes: Axes, w: Wound, scale: float) -> None:
    """Free length, body and hooks below; outer diameter on the right; wire above."""
    body, hook, outer = 1e3 * w.body, 1e3 * w.hook, 1e3 * w.outer
    near, far = -outer / 2 - 5.0 / scale, -outer / 2 - 11.0 / scale
    _along(axes, (0.0, body), near, f"{body:.2f} body", outer / 2, scale)
    _along(axes, (-hook, 0.0), near, f"{hook:.2f}", 0.0, scale)
    _along(axes, (body, body + hook), near, f"{hook:.2f}", 0.0, scale)
    _along(axes, (-hook, body + hook), far, f"{1e3 * w.free_length:.2f} inside the hooks, free", 0.0, scale)
    _across(axes, outer, body + hook + 1e3 * w.wire + 7.0 / scale, scale)
    axes.annotate(
        f"wire ø {1e3 * w.wire:.3f}",
        (body / 2, outer / 2 - 0.2e3 * w.wire),
        (body / 2 + 8.0 / scale, outer / 2 + 4.0 / scale),
        fontsize=SMALL_PT,
        color=INK,
        arrowprops={"arrowstyle": "-|>", "linewidth": 0.5, "color": INK, "mutation_scale": 6},
        zorder=8,
        parse_math=False,
    )
    axes.text(
        0.0,
        0.0,
        f"scale {scale:g}:1, lengths in mm",
        transform=axes.transAxes,
        fontsize=SMALL_PT,
        color=GREY,
        parse_math=False,
    )


def _arrow(axes: Axes, start: tuple[float, float], end: tuple[float, float]) -> None:
    arrow = {"arrowstyle": "<|-|>", "linewidth": 0.5, "color": INK, "mutation_scale": 6, "shrinkA": 0, "shrinkB": 0}
    axes.annotate("", end, start, arrowprops=arrow, zorder=6)


def _along(axes: Axes, span: tuple[float, float], y: float, text: str, begin: float, scale: float) -> None:
    """A length below the spring, with extension lines that start at `begin` below the axis."""
    for x in span:
        axes.plot([x, x], [-begin, y - 1.0 / scale], color=INK, linewidth=0.3, zorder=6)
    _arrow(axes, (span[0], y), (span[1], y))
    axes.text(
        sum(span) / 2, y + 0.7 / scale, text, ha="center", va="bottom", fontsize=SMALL_PT, zorder=7, parse_math=False,
        bbox={"facecolor": "white", "edgecolor": "none", "pad": 0.3},
    )  # fmt: skip


def _across(axes: Axes, outer: float, x: float, scale: float) -> None:
    """The outer diameter, to the right of the spring."""
    for y in (-outer / 2, outer / 2):
        axes.plot([x - 5.0 / scale, x + 1.0 / scale], [y, y], color=INK, linewidth=0.3, zorder=6)
    _arrow(axes, (x, -outer / 2), (x, outer / 2))
    axes.text(x + 1.5 / scale, 0.0, f"ø {outer:.2f}", va="center", fontsize=SMALL_PT, parse_math=False)
