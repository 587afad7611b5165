"""The figure of a first look: the readings as dots on the bands, and the outline's 90 % band through them."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

import numpy as np

from recurve.diagnosis.first_look import FirstLook
from recurve.diagnosis.strength import Strength
from recurve.job.model import JobHead
from recurve.output.figures import style
from recurve.output.figures.curves import draw_bands, draw_readings, frame, last_speed, shade
from recurve.output.figures.labels import Key, key_below
from recurve.text import shortened
from recurve.units import RPM

if TYPE_CHECKING:
    from matplotlib.figure import Figure

SPEEDS = 150
NINETY = (0.05, 0.95)


def look_figure_bytes(job: JobHead, look: FirstLook) -> dict[str, bytes]:
    """The readings on the bands as "look.svg" and "look.png", the same bytes for the same look."""
    with style.figure_settings():
        made = style.figure_bytes(look_figure(job, look), "look")
        if any(s.ratio is not None for s in look.strength):
            made |= style.figure_bytes(strength_figure(job, look.strength), "strength")
        return made


def strength_figure(job: JobHead, rows: Sequence[Strength]) -> Figure:
    """How many times stronger springs and drag must pull at each advance: the middle of the bands as a line, what bands and
    readings leave open as a band; 1 is by the book."""
    told = [(s.advance, s.ratio, s.low, s.high) for s in rows if s.ratio is not None and s.low is not None]
    advance, ratio, low = (np.array([row[i] for row in told], float) for i in range(3))
    top = max(2.0, 1.25 * float(ratio.max()))
    high = np.array([top if row[3] is None else row[3] for row in told], float)
    figure = style.figure_of(style.SMALL_MM)
    axes = style.panel(figure, *style.MARGINS_MM[1::2])
    axes.fill_between(
        np.degrees(advance), low, np.minimum(high, top), color=style.BEFORE.colour, alpha=style.SHADE, linewidth=0,
        label=style.MEETS_BANDS,
    )  # fmt: skip
    look = style.BEFORE
    axes.plot(
        np.degrees(advance),
        ratio,
        "-",
        color=look.colour,
        linewidth=1.4,
        marker="o",
        markersize=3.0,
        label=style.MIDDLE,
    )
    axes.axhline(1.0, color=style.INK, linewidth=1.0, linestyle="--", label=style.BY_THE_BOOK)
    axes.set(
        xlim=(0.0, 1.05 * float(np.degrees(advance.max()))),
        ylim=(0.0, top),
        xlabel=style.ADVANCE,
        ylabel=style.STRONGER,
    )
    axes.set_title(f"{shortened(job.title, 60)}\n{style.STRENGTH}", loc="left", parse_math=False)
    axes.grid(True, color=style.PALE, linewidth=0.5)
    axes.set_axisbelow(True)
    axes.legend(loc="upper right", frameon=False)
    return figure


def look_figure(job: JobHead, look: FirstLook) -> Figure:
    """The figure itself; the readings are moved by what the zero hides, as the outline has it."""
    _, below, _, above = style.MARGINS_MM
    figure = style.figure_of(style.FIGURE_MM)
    axes = style.panel(figure, below, above)
    last = last_speed(job, None)
    outline, model = look.outline, look.outline.model
    speed = np.linspace(0.0, float(look.sweep.speed.max()), SPEEDS)
    draw_bands(axes, look.target.bands, last)
    sides = (model.rising(outline.pieces, speed), model.falling(outline.pieces, speed))
    low_high = [np.quantile(side, NINETY, axis=0) for side in sides]
    shade(axes, speed, low_high[0], low_high[1], style.BEFORE)
    draw_readings(axes, look.sweep, float(model.hidden(outline.pieces).mean()), style.BEFORE)
    frame(axes, job, f"first look: {look.verdict}", last)
    top = max([np.degrees(b.high) for b in look.target.bands] + [float(np.degrees(look.sweep.advance.max()))])
    axes.set_ylim(0.0, 1.12 * top)
    axes.set_xlim(0.0, max(last, RPM * float(look.sweep.speed.max())))
    key_below(axes, Key(style.BEFORE, read=True, bands=bool(look.target.bands), shaded=True))
    return figure
