"""What the figures of an advance curve share: speeds shown, curves, 90 % bands, readings, target bands, axes.

Shown in rpm and degrees of the distributor, with the crank's along the top and at the right. A function that draws takes
the axes and adds to them. matplotlib is imported only where it draws.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

import numpy as np

from recurve.arrays import Array
from recurve.fit.fit import Fit
from recurve.job.model import JobHead
from recurve.output.figures import style
from recurve.physics.sweep import Sweep
from recurve.physics.target import Band
from recurve.text import shortened
from recurve.units import RPM

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.lines import Line2D

ROOM = 1.15  # speeds shown, as a multiple of the last one that matters
BAND_WIDTH = 0.007  # half the width of a band's box, as a fraction of the speeds shown
PLATEAU = 0.9  # where the box of the maximum begins, as a fraction of the speeds shown
UNSEEN = np.radians(0.05)  # a shift of readings too small to see


# --- readings moved by the bench's zero ----------------------------------------------------------------------


def hidden_advance(fit: Fit | None) -> float:
    """Advance [rad] by which the readings fall short of the true one, as fitted; 0 without a fit."""
    return 0.0 if fit is None else float(fit.model.hidden(fit.best[None])[0])


def shift_words(fit: Fit | None, sweep: Sweep | None) -> list[str]:
    """How far the readings are drawn from where they were read, and why, as a list of one phrase or none."""
    if sweep is None:
        return []
    hidden, zero = hidden_advance(fit), "" if sweep.zeroed_at is None else f"{RPM * sweep.zeroed_at:.0f} rpm"
    if abs(hidden) < UNSEEN:
        return [f"readings zeroed at {zero}"] if zero else []
    moved = f"readings shifted by {np.degrees(hidden):.1f}°".replace("-", "−")
    if zero:
        return [f"{moved}, hidden by the zero taken at {zero}"]
    return [f"{moved}, {'the fitted error of zero' if sweep.static_known else 'the fitted static timing'}"]


# --- curves, readings and bands ------------------------------------------------------------------------------


def last_speed(job: JobHead, all_in: float | None) -> float:
    """The last speed to show [rpm]: a little past the last band, the last reading and the all-in speed [rad/s]; 0 if there
    are none."""
    speeds = [b.speed for b in job.target.timed if b.speed] if job.target else []
    speeds += [all_in] if all_in else []
    if job.sweep is not None and len(job.sweep.speed):
        speeds.append(float(job.sweep.speed.max()))
    return ROOM * RPM * max(speeds, default=0.0)


def branch(squared: Array, advance: Array) -> tuple[Array, Array]:
    """Speeds [rpm] and advances [deg] of one branch, from its ω² [rad²/s²] as a running extreme, which never falls, over
    the advance [rad], both (n,). If some advance stays in at rest, the branch starts from that."""
    first = max(int(np.searchsorted(squared, 0.0, side="right")) - 1, 0)
    speed = RPM * np.sqrt(np.maximum(squared[first:], 0.0))
    degrees = np.degrees(advance[first:])
    return np.concatenate([[0.0], speed]), np.concatenate([degrees[:1], degrees])


def draw_curves(
    axes: Axes, rising: tuple[Array, Array], falling: tuple[Array, Array], look: style.Curve, name: str
) -> Line2D:
    """Draw two branches, each as speeds [rpm] and advances [deg], in the style `look`. Returns the line of the rising one."""
    lines = [
        axes.plot(
            speed,
            degrees,
            linestyle=line,
            color=look.colour,
            linewidth=width,
            zorder=look.order,
            label=f"{name}, {way}",
            solid_capstyle="butt",
        )[0]
        for (speed, degrees), line, width, way in (
            (rising, style.RISING, look.rising, "rising"),
            (falling, style.FALLING, look.falling, "falling"),
        )
    ]
    return lines[0]


def shade(axes: Axes, speed: Array, rising: Array, falling: Array, look: style.Curve) -> None:
    """A 90 % band at speeds (m,) [rad/s]: low and high advance (2, m) [rad] of the rising and of the falling curve.

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
    """The readings, with different marks for rising and falling, `hidden` [rad] added to each."""
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


def draw_bands(axes: Axes, bands: Sequence[Band], last: float) -> None:
    """The target's bands as pale boxes, with a line along each edge that counts; `last` [rpm] the last speed shown."""
    for index, band in enumerate(bands):
        _draw_band(axes, band, last, style.TARGET_BAND if index == 0 else None)


def _draw_band(axes: Axes, band: Band, last: float, label: str | None) -> None:
    low, high = np.degrees(band.low), np.degrees(band.high)
    left, right = band_sides(band, last)
    fill = style.GREY if band.kind == "idle" else style.PALE
    box = axes.fill_between([left, right], low, high, color=fill, linewidth=0, zorder=1, label=label)
    box.set_gid(f"band-{band.kind}")
    for edge in [high] if band.from_zero else [low, high]:
        axes.plot([left, right], [edge, edge], color=style.INK, linewidth=1.3, zorder=2, solid_capstyle="butt")
    if band.kind == "maximum":
        at, size = (right - 0.004 * last, high), style.SMALL_PT
        axes.text(*at, "maximum ", ha="right", va="bottom", fontsize=size, color=style.INK, zorder=7)


def band_sides(band: Band, last: float) -> tuple[float, float]:
    """Where a band's box begins and ends [rpm]; `last` [rpm] the last speed shown."""
    if band.kind == "maximum":
        return PLATEAU * last, last
    half = BAND_WIDTH * last * (0.6 if band.kind == "idle" else 1.0)
    return RPM * (band.speed or 0.0) - half, RPM * (band.speed or 0.0) + half


def frame(axes: Axes, job: JobHead, subtitle: str, last: float) -> Any:
    """Title, limits, labels and the crank's axes; `last` [rpm] the last speed shown. Returns the right-hand axis."""
    ratio = job.speed_ratio
    title = f"{shortened(job.title, 80)}\n{shortened(subtitle, 80)}"
    axes.set_title(title, loc="left", parse_math=False)
    axes.set(xlim=(0.0, last), xlabel=style.SPEED, ylabel=style.ADVANCE)
    axes.grid(True, color=style.PALE, linewidth=0.5, zorder=0)
    axes.set_axisbelow(True)
    both = (lambda x: x * ratio, lambda x: x / ratio)
    axes.secondary_xaxis("top", functions=both).set_xlabel(style.CRANK_SPEED)
    right = axes.secondary_yaxis("right", functions=both)
    right.set_ylabel(style.CRANK_ADVANCE)
    return right
