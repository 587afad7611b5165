"""The figure of a first look: the readings as dots on the bands, and the outline's 90 % band through them."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from recurve.diagnosis.first_look import FirstLook
from recurve.job.model import JobHead
from recurve.output.figures import style
from recurve.output.figures.curves import draw_bands, draw_readings, frame, last_speed, shade
from recurve.output.figures.labels import Key, key_below
from recurve.units import RPM

if TYPE_CHECKING:
    from matplotlib.figure import Figure

SPEEDS = 150
NINETY = (0.05, 0.95)


def look_figure_bytes(job: JobHead, look: FirstLook) -> dict[str, bytes]:
    """The readings on the bands as "look.svg" and "look.png", the same bytes for the same look."""
    with style.figure_settings():
        return style.figure_bytes(look_figure(job, look), "look")


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
