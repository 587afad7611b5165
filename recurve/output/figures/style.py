"""How things look on paper: one place for colours, marks, line styles, sizes, figures, and text from outside.

Rising and falling, before and after differ in line style, width and mark too, so that a print in grey
and a colour-blind reader lose nothing.

The words on figures that do not change with the job: axes with their units, and names in the key.

An axis says its unit, and whether it is the distributor's or the crank's.

Words on a figure: the curves' names beside them, speeds in rows below, and a key of what is left to tell.
"""

from __future__ import annotations

import io
import warnings
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from recurve import __version__
from recurve.arrays import Array

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure
    from matplotlib.lines import Line2D

# Colours that stay apart for colour-blind readers: M. Okabe and K. Ito, "Color Universal Design", 2008.
BLUE, VERMILION, GREEN = "#0072B2", "#D55E00", "#009E73"
INK, GREY, PALE = "#1A1A1A", "#6E6E6E", "#DCDCDC"

FIGURE_MM = (180.0, 122.0)  # printed at this size on the sheet, so point sizes hold there
NARROW_MM = (100.0, 112.0)  # for a phone, whose width it fills
TALL_MM = (180.0, 154.0)  # with a panel of residuals below the curve
FONT = "DejaVu Sans"  # ships with matplotlib
MARGINS_MM = (14.0, 21.0, 14.0, 20.0)  # round the axes: left, below, right, above
RESIDUALS_MM = (26.0, 6.0)  # height of the residuals' panel, and of the gap above it
TEXT_PT, SMALL_PT, TINY_PT = 8.5, 7.5, 6.5


@dataclass(frozen=True)
class Mark:
    """A reading's mark: its shape and whether it is filled."""

    shape: str
    filled: bool


@dataclass(frozen=True)
class Curve:
    """A pair of curves: colour and widths [pt]; rising is drawn solid, falling dashed; `marks` of its readings, rising
    and falling, in its colour."""

    colour: str
    rising: float
    falling: float
    order: float
    marks: tuple[Mark, Mark]


# As found is thin with triangles, planned is thick without readings, as left between them with squares: told apart
# without colour too.
BEFORE = Curve(VERMILION, 1.0, 0.9, 4.0, (Mark("^", True), Mark("v", False)))
AFTER = Curve(BLUE, 2.4, 1.6, 5.0, (Mark("D", True), Mark("D", False)))
LEFT = Curve(GREEN, 1.7, 1.3, 5.0, (Mark("s", True), Mark("s", False)))
RISING, FALLING = "-", (0, (4.0, 1.6))
SHADE = 0.18  # opacity of a 90 % band, which prints as a pale grey

READING_PT = 4.5
RING_PT = 10.0  # round a reading that was left out

# The mechanism to scale: what is fixed is white, what swings is darker than what turns with the cam. Lengths in mm on paper.
BASE_FILL, CAM_FILL, WEIGHT_FILL = "#FFFFFF", "#E9E9E9", "#C4C4C4"
MOVED = BLUE  # how far a point goes from rest to full advance
WRONG = VERMILION  # what the model refuses
OUTLINE_PT, LEADER_PT = 0.8, 0.5
SPRING_PT = {"primary": 0.9, "secondary": 1.7}  # the heavy spring in the heavier line

# Nothing of a reader's own settings may change a figure, and the same input must give the same bytes.
SETTINGS: Any = {
    "font.family": [FONT],
    "font.size": TEXT_PT,
    "axes.titlesize": TEXT_PT + 1,
    "axes.linewidth": 0.7,
    "axes.edgecolor": INK,
    "axes.unicode_minus": True,
    "xtick.labelsize": TEXT_PT,
    "ytick.labelsize": TEXT_PT,
    "legend.fontsize": SMALL_PT,
    "svg.fonttype": "path",
    "svg.hashsalt": "recurve",
    "text.usetex": False,
    "path.simplify": True,
}


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


def figure_of(size_mm: tuple[float, float]) -> Figure:
    """An empty figure of this width and height [mm], which no window ever shows."""
    from matplotlib.backends.backend_agg import FigureCanvasAgg
    from matplotlib.figure import Figure

    figure = Figure(figsize=(size_mm[0] / 25.4, size_mm[1] / 25.4))
    FigureCanvasAgg(figure)
    return figure


def panel(figure: Figure, below: float, above: float, shared: Axes | None = None) -> Axes:
    """Axes between the side margins, with so much [mm] of the figure below and above them; the axis of speed may be
    shared."""
    width, height = (25.4 * float(x) for x in figure.get_size_inches())
    left, right = MARGINS_MM[0], MARGINS_MM[2]
    box = (left / width, below / height, 1 - (left + right) / width, 1 - (below + above) / height)
    return figure.add_axes(box, sharex=shared)


def footer(figure: Figure, words: list[str], fingerprint: str) -> None:
    """A line of small print at the figure's lower right: `words`, the inputs, the version."""
    width, height = (25.4 * float(x) for x in figure.get_size_inches())
    figure.text(
        1 - MARGINS_MM[2] / width,
        1.0 / height,
        " · ".join([*words, f"inputs {fingerprint}", f"recurve {__version__}"]),
        ha="right",
        va="bottom",
        fontsize=TINY_PT,
        color=GREY,
        parse_math=False,
    )


def figure_svg(figure: Figure) -> bytes:
    """The figure as SVG, without a date, so the same bytes each time."""
    svg = io.BytesIO()
    figure.savefig(svg, format="svg", metadata={"Date": None, "Creator": f"recurve {__version__}"})
    return svg.getvalue()


def figure_bytes(figure: Figure, name: str) -> dict[str, bytes]:
    """The figure as `name`.svg and `name`.png, without dates, so the same bytes each time."""
    png = io.BytesIO()
    figure.savefig(png, format="png", dpi=160, metadata={"Software": None})
    return {f"{name}.svg": figure_svg(figure), f"{name}.png": png.getvalue()}


def plain(text: str) -> str:
    """Text from a job as one line without control characters, so that it can only ever be read."""
    return " ".join("".join(c if c.isprintable() else " " for c in text).split())


def shortened(text: str, most: int) -> str:
    """The text, cut to at most `most` characters with an ellipsis."""
    clean = plain(text)
    return clean if len(clean) <= most else clean[: most - 1].rstrip() + "…"


def breakable(text: str, longest: int = 28) -> str:
    """Plain text in which a word longer than `longest` may break, so that it stays on the page."""
    words = plain(text).split(" ")
    return " ".join("\u200b".join(w[i : i + longest] for i in range(0, len(w), longest)) for w in words)


# --- axes -------------------------------------------------------------------------------------------------

SPEED = "speed of the distributor [rpm]"
ADVANCE = "advance [distributor degrees]"
CRANK_SPEED = "crank [rpm]"
CRANK_ADVANCE = "advance [crank degrees]"
RESIDUAL = "residual"  # standardised, without a unit
ENGINE_SPEED = "speed of the engine [rpm, crank]"
TIMING = "timing before top dead centre [°, crank]"
ENERGY = "energy [mJ]"
PRIMARY_RATE = "rate of the primary [N/mm]"
SECONDARY_RATE = "rate of the secondary [N/mm]"
PULL_AT_REST = "pull at rest [N]"

# --- names in the key -------------------------------------------------------------------------------------

TARGET_BAND = "target band"
SHADED = "90 % band"
READ = "read"  # followed by the direction
SET_HERE = "set here"
IDLE = "idle"
CRUISE = "cruise vacuum"
CHOSEN = "chosen"
COMPARED = "pairs compared"
CATALOGUE = "catalogue"

# --- titles -----------------------------------------------------------------------------------------------

COIL = "coil charge when the points open"
WINDOW = "which springs to order"


ROW_PT = 11.0  # height of a row of labels below the curve
KEY_PT = 25.0  # from the axes down to the key: room for the numbers and the name of the axis
ROW_NEEDS_PT = 380.0  # width of a key in one row
CLEAR_PT = 4.0  # between a curve and its name
ANCHORS, DENSE = 40, 300  # places tried along a curve; points into which a line is cut to see what it covers


@dataclass(frozen=True)
class Event:
    """Something to be labelled at a speed [rpm], where the curve is at `advance` [deg]; `ringed` on the curve or not."""

    text: str
    speed: float
    advance: float
    ringed: bool = True


def rows_of(speeds: list[float], widths: list[float]) -> list[int]:
    """The row of each label, from the top, so that none overlap: centred at rising `speeds`, with `widths` [rpm]."""
    ends: list[float] = []
    rows = []
    for speed, width in zip(speeds, widths, strict=True):
        row = next((i for i, end in enumerate(ends) if end < speed - width / 2), len(ends))
        ends[row : row + 1] = [speed + width / 2]
        rows.append(row)
    return rows


def _size_pt(axes: Axes) -> tuple[float, float]:
    """Width and height of axes [pt]."""
    inch = 72.0 / axes.figure.dpi
    return inch * axes.bbox.width, inch * axes.bbox.height


def label_rows(axes: Axes, right: Any, marks: list[Event], last: float, ratio: float) -> None:
    """Labels in rows below zero, each with a hair line up to its place on the curve; `marks` in the
    order of speed; `last` [rpm], `ratio` [1]."""
    width_pt, height_pt = _size_pt(axes)
    # 0.62 of the type size a letter is a little more than this font takes on average
    widths = [0.62 * SMALL_PT * len(e.text) * last / width_pt for e in marks]
    rows = rows_of([e.speed for e in marks], widths)
    low, top = _reach(axes)
    deep = max(rows, default=-1) + 1.5  # rows that the labels take, and a little air
    row = (top - low) * ROW_PT / max(height_pt - ROW_PT * deep, 0.3 * height_pt)
    axes.set_ylim(low - row * deep, top)
    axes.axhline(0.0, color=INK, linewidth=0.7, zorder=3)
    _degree_ticks(axes, right, top, ratio)
    for event, at in zip(marks, rows, strict=True):
        y = low - row * (at + 0.85)
        line = [y + 0.35 * row, event.advance]
        axes.plot([event.speed] * 2, line, color=INK, linewidth=0.6, linestyle=":", zorder=3)
        if event.ringed:
            axes.plot(event.speed, event.advance, "o", color="white", markeredgecolor=INK, markersize=4, zorder=8)
        axes.text(
            event.speed,
            y,
            event.text,
            ha="center",
            va="center",
            fontsize=SMALL_PT,
            zorder=7,
            bbox={"facecolor": "white", "edgecolor": "none", "pad": 0.6},
        )


def _degree_ticks(axes: Axes, right: Any, top: float, ratio: float) -> None:
    """Whole steps of degrees from zero up on both sides; none beside the labels below the curve."""
    from matplotlib.ticker import MaxNLocator

    for one, end in ((axes, top), (right, top * ratio)):
        ticks = MaxNLocator(nbins=9, steps=[1, 2, 5, 10]).tick_values(0.0, end)
        one.set_yticks([t for t in ticks if 0 <= t <= end])


def _reach(axes: Axes) -> tuple[float, float]:
    """Bottom and top of the axis [deg]: a little beyond whatever is drawn, and zero."""
    drawn = [np.asarray(line.get_ydata(), float) for line in axes.lines]
    top = 1.09 * max((float(y.max()) for y in drawn), default=1.0)
    low = min((float(y.min()) for y in drawn), default=0.0)
    return (low - 0.02 * top if low < 0 else 0.0), top


# --- the curves' names, beside them ------------------------------------------------------------------------


def label_curves(axes: Axes) -> None:
    """The name of each curve beside its rising branch, where it covers the least of what is drawn; once all is."""
    ends = ", rising"
    curves = [x for x in axes.lines if str(x.get_label()).endswith(ends) and x.get_linestyle() == RISING]
    taken = _covered(axes) if curves else np.zeros((0, 2))
    for line in curves:
        box = _name_beside(axes, line, str(line.get_label()).removesuffix(ends), taken)
        taken = np.concatenate([taken, box])


def _covered(axes: Axes) -> Array:
    """Points (n, 2) [display] on all that is drawn: lines, marks, bands and texts."""
    places = [_along(axes, line) for line in axes.lines]
    for patch in axes.collections:
        for path in patch.get_paths():
            places.append(_filled(axes.transData.transform(path.vertices)))
    for text in axes.texts:
        box = text.get_window_extent()
        places.append(_filled(np.array([[box.x0, box.y0], [box.x1, box.y1]])))
    return np.concatenate(places) if places else np.zeros((0, 2))


def _along(axes: Axes, line: Line2D) -> Array:
    """Points on a line, close together; of marks what they cover."""
    points = line.get_transform().transform(np.asarray(line.get_xydata(), float))
    if line.get_linestyle() in ("None", "none", "") or len(points) < 2:
        half = 0.6 * float(line.get_markersize()) * axes.figure.dpi / 72.0
        around = np.array([[x, y] for x in (-half, 0.0, half) for y in (-half, 0.0, half)])
        return np.asarray((points[:, None] + around).reshape(-1, 2), float)
    steps = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(points, axis=0).T))])
    at = np.linspace(0.0, steps[-1], DENSE)
    return np.column_stack([np.interp(at, steps, points[:, 0]), np.interp(at, steps, points[:, 1])])


def _filled(corners: Array) -> Array:
    """A grid of points over the box round `corners` (n, 2)."""
    (x0, y0), (x1, y1) = corners.min(axis=0), corners.max(axis=0)
    grid = np.meshgrid(np.linspace(x0, x1, 12), np.linspace(y0, y1, 6))
    return np.column_stack([grid[0].ravel(), grid[1].ravel()])


def _name_beside(axes: Axes, line: Line2D, name: str, taken: Array) -> Array:
    """The name above or below its curve, clear of everything if it can be; points (n, 2) on what it covers."""
    pixel = axes.figure.dpi / 72.0
    width, height = 0.72 * TEXT_PT * len(name) * pixel, 1.25 * TEXT_PT * pixel
    box = axes.bbox
    curve = _along(axes, line)
    inside = (curve[:, 0] > box.x0) & (curve[:, 0] < box.x1)
    floor = axes.transData.transform((0.0, 0.0))[1]
    best: tuple[float, float, float] | None = None
    order = np.argsort(np.abs(np.linspace(-0.7, 0.3, ANCHORS)), kind="stable")
    for x in np.linspace(box.x0 + width, box.x1 - width, ANCHORS)[order]:
        near = curve[inside & (np.abs(curve[:, 0] - x) <= width / 2), 1]
        if not len(near) or near.max() < floor + 2 * height:
            continue
        for y in _beside(near, CLEAR_PT * pixel, height):
            covers = _covers(taken, (x, y), (width, height)) + 1e3 * (
                abs(y - box.y0 - box.height / 2) > box.height / 2 - height
            )
            # a name that stands far from its curve where this is steep says less
            cost = covers + 0.02 * float(np.ptp(near)) / pixel
            if best is None or cost < best[0] - 1e-9:
                best = (cost, float(x), float(y))
    if best is None:
        return np.zeros((0, 2))
    x, y = axes.transData.inverted().transform(best[1:])
    axes.text(
        x,
        y,
        name,
        ha="center",
        va="center",
        fontsize=TEXT_PT,
        color=line.get_color(),
        zorder=11,
        weight="bold",
    )
    half = np.array([0.8 * width, height])  # with room round it: two names side by side would be taken for one
    return _filled(np.array([best[1:] - half, best[1:] + half]))


def _beside(near: Array, clear: float, height: float) -> list[float]:
    """Middles of a text close to a stretch of a curve, then a little farther: above and below."""
    gaps = (clear + height / 2, 2.5 * clear + height / 2)
    return [y for gap in gaps for y in (float(near.max()) + gap, float(near.min()) - gap)]


def _covers(taken: Array, middle: tuple[float, float], size: tuple[float, float]) -> int:
    """How many of the points a text there would cover."""
    return int((np.abs(taken - middle) < 0.5 * np.asarray(size) + 1.0).all(axis=1).sum())


# --- the key -----------------------------------------------------------------------------------------------


def key_below(axes: Axes, lowest: Axes, look: Curve) -> None:
    """What solid and dashed, marks and shades mean, in one row below the `lowest` axes."""
    from matplotlib.lines import Line2D
    from matplotlib.patches import Patch

    labels = axes.get_legend_handles_labels()[1]
    read = any(name.startswith(f"{READ}, ") for name in labels)
    handles: list[Any] = []
    lines: tuple[Any, ...] = (RISING, FALLING)
    for way, line, mark in zip(("rising", "falling"), lines, look.marks, strict=True):
        handles.append(
            Line2D(
                [], [], color=INK, linestyle=line, linewidth=1.2, label=f"{way}, and as read" if read else way,
                marker=mark.shape if read else None, markersize=READING_PT,
                markerfacecolor=INK if mark.filled else "white",
            )
        )  # fmt: skip
    if TARGET_BAND in labels:
        handles.append(Patch(facecolor=PALE, edgecolor=INK, linewidth=0.8, label=TARGET_BAND))
    shades = [p.get_facecolor() for p in axes.patches if p.get_gid() == "shade"]
    if shades:
        handles.append(Patch(facecolor=GREY, alpha=2 * SHADE, label=SHADED))
    lowest.legend(
        handles=handles,
        loc="upper center",
        bbox_to_anchor=(0.5, -KEY_PT / _size_pt(lowest)[1]),
        ncols=len(handles) if _size_pt(lowest)[0] > ROW_NEEDS_PT else 2,
        frameon=False,
        handlelength=3.0,
        columnspacing=2.2,
    )
