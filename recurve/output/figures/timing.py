"""Figures for the engine: crank timing over engine speed, and the coil's energy. A plot takes an axis and returns it."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np

from recurve.inspection.points import Charge
from recurve.inspection.timing import Card, crank_timing
from recurve.output.figures import style
from recurve.units import RPM

if TYPE_CHECKING:
    from matplotlib.axes import Axes

COIL_MM = (120.0, 60.0)  # size of the coil's figure
NAME: dict[str, Any] = {"fontsize": style.SMALL_PT, "color": style.INK, "zorder": 6}  # of a line that bears its name
MARKS = 12  # along a curve
# Colour, width [pt], line and mark: no two are alike in a grey print.
LOOKS: dict[str, tuple[str, float, str, str]] = {
    "as found": (style.VERMILION, 1.0, "-", "^"),
    "book": (style.INK, 1.2, ":", ""),
    "planned": (style.BLUE, 2.4, "-", ""),
    "as left": (style.GREEN, 1.6, "--", "s"),
}


def timing_figure_bytes(card: Card, fingerprint: str) -> dict[str, bytes]:
    """The figure of a timing card as "timing.svg" and "timing.png", the same bytes for the same card."""
    with style.figure_settings():
        figure = style.figure_of(style.FIGURE_MM)
        plot_timing(card, style.panel(figure, style.MARGINS_MM[1] - 6.0, 8.0))
        style.footer(figure, [], fingerprint)
        return style.figure_bytes(figure, "timing")


def plot_timing(card: Card, axes: Axes) -> Axes:
    """Plot every curve without vacuum, the last also with cruise vacuum, and lines for total, limit, idle and setting, which bear
    their names."""
    speeds = np.linspace(0.0, 1.05 * float(card.speed.max()), 600)
    for name, curve, static in card.curves:
        colour, width, line, mark = LOOKS[name]
        at = np.degrees(crank_timing(curve, static, card.ratio, speeds))
        axes.plot(
            speeds * RPM, at, line, color=colour, linewidth=width, label=name, marker=mark, markersize=style.READING_PT,
            markevery=len(speeds) // MARKS,
        )  # fmt: skip
    if card.cruise is not None and card.curves:
        name, curve, static = card.curves[-1]
        at = np.degrees(crank_timing(curve, static, card.ratio, speeds, card.cruise[0]))
        axes.plot(speeds * RPM, at, "-.", color=LOOKS[name][0], linewidth=0.9, label=f"{name}, {style.CRUISE}")
    for level, word, dashes in ((card.total, "book's total", (0, (6, 3))), (card.timing.limit, "limit", "-")):
        if level is not None:
            height = float(np.degrees(level))
            axes.axhline(height, color=style.GREY, linewidth=0.8, linestyle=dashes, zorder=1)
            across = axes.get_yaxis_transform()
            axes.text(0.01, height, f"{word} {height:.1f}°", transform=across, va="bottom", **NAME)
    if card.timing.idle is not None:
        axes.axvline(card.timing.idle * RPM, color=style.GREY, linewidth=0.8, linestyle=(0, (1, 3)), zorder=1)
        up = axes.get_xaxis_transform()
        axes.text(card.timing.idle * RPM, 0.99, f" {style.IDLE}", transform=up, va="top", **NAME)
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
        title=style.ON_THE_ENGINE,
    )
    axes.grid(True, color=style.PALE, linewidth=0.5)
    axes.set_axisbelow(True)
    axes.legend(loc="lower right", frameon=False)
    return axes


def coil_figure_bytes(charges: tuple[Charge, ...], ratio: float, fingerprint: str) -> dict[str, bytes]:
    """The coil's energy over engine speed as "coil.svg" and "coil.png"; empty without a coil. `ratio` [1] crank turns for
    one distributor turn."""
    if not charges:
        return {}
    with style.figure_settings():
        figure = style.figure_of(COIL_MM)
        plot_coil(charges, ratio, style.panel(figure, 14.0, 8.0))
        style.footer(figure, [], fingerprint)
        return style.figure_bytes(figure, "coil")


def plot_coil(charges: tuple[Charge, ...], ratio: float, axes: Axes) -> Axes:
    """Plot the energy stored when the points open, solid for the longer dwell and dashed for the shorter; `ratio` [1]."""
    for one, line, width, colour in zip(charges, ("-", "--"), (2.6, 1.0), (style.BLUE, style.INK), strict=False):
        label = f"dwell {np.degrees(one.dwell):.1f}° (distributor)"
        axes.plot(one.speed * RPM * ratio, one.energy * 1e3, line, color=colour, linewidth=width, label=label)
    axes.set(xlabel=style.ENGINE_SPEED, ylabel=style.ENERGY, title=style.COIL)
    axes.set_ylim(bottom=0.0)
    axes.grid(True, color=style.PALE, linewidth=0.5)
    axes.legend(frameon=False)
    return axes
