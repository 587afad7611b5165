"""Words on a figure of curves: the curves' names beside them, speeds in rows below, and a key to the rest."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from recurve.arrays import Array
from recurve.output.figures import style

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.lines import Line2D

ROW_PT = 11.0  # height of a row of labels below the curve
KEY_PT = 25.0  # from the axes down to the key: room for the numbers and the name of the axis
ROW_NEEDS_PT = 380.0  # width that a key in one row needs
CLEAR_PT = 4.0  # between a curve and its name
ASIDE_PT, STEPS = 7.0, 9  # from a point to its name; how many heights of a name it may go up or down
ANCHORS, DENSE = 40, 300  # places tried along a curve; points that stand for a line when looking for free space


@dataclass(frozen=True)
class Event:
    """A label at a speed [rpm], where the curve is at `advance` [deg]; `ringed`: whether a ring marks the curve there."""

    text: str
    speed: float
    advance: float
    ringed: bool = True


@dataclass(frozen=True)
class Key:
    """What the key explains besides solid and dashed lines: whether readings (with the marks of `look`), target bands and
    90 % bands are drawn."""

    look: style.Curve
    read: bool
    bands: bool
    shaded: bool


SIDES = (0.0, -1.0, 1.0)  # a label centred at its speed, to the left of it, or to the right
MOST_ARRANGED = 7  # labels; more are put into rows one by one


def arranged(speeds: list[float], widths: list[float], last: float, apart: float) -> list[tuple[int, float]]:
    """The row of each label, counted from the top, and on which of the `SIDES` of its speed it stands.

    Labels belong to `speeds` [rpm], in rising order, with `widths` [rpm]; they stay within 0 and `last` [rpm], at least `apart`
    [rpm] from each other, and none lies on the line that goes down to a label in a row below. As few rows as that needs, and as
    many labels as can be are centred; where there are too many to try, or it cannot be, labels are centred in as many rows as
    they need.
    """
    rows = 1 if len(speeds) <= MOST_ARRANGED else 0
    while 0 < rows <= len(speeds):
        found = _arranged(speeds, widths, (last, apart), rows, [])
        if found is not None:
            return found
        rows += 1
    return [(row, 0.0) for row in _rows_of(speeds, [w + apart for w in widths])]


def _arranged(
    speeds: list[float], widths: list[float], room: tuple[float, float], rows: int, placed: list[tuple[int, float]]
) -> list[tuple[int, float]] | None:
    """The labels `placed` so far and the rest within so many `rows`, the first way that is found; None if there is none."""
    here = len(placed)
    if here == len(speeds):
        return placed
    last, apart = room
    for side in SIDES:
        for row in range(rows):
            ends = _ends(speeds[here], widths[here], side, apart)
            if ends[0] < 0 or ends[1] > last:
                continue
            for before, (other_row, other_side) in enumerate(placed):
                other = _ends(speeds[before], widths[before], other_side, apart)
                if other_row == row and ends[0] < other[1] + apart and other[0] < ends[1] + apart:
                    break
                if other_row > row and ends[0] - apart / 2 < speeds[before] < ends[1] + apart / 2:
                    break
                if other_row < row and other[0] - apart / 2 < speeds[here] < other[1] + apart / 2:
                    break
            else:
                found = _arranged(speeds, widths, room, rows, [*placed, (row, side)])
                if found is not None:
                    return found
    return None


def _ends(speed: float, width: float, side: float, apart: float) -> tuple[float, float]:
    """Where a label begins and ends [rpm]; beside its line it keeps a little off it."""
    middle = speed + side * (width / 2 + apart / 2)
    return middle - width / 2, middle + width / 2


def _rows_of(speeds: list[float], widths: list[float]) -> list[int]:
    """The row of each label, counted from the top, so that none overlap. Labels are centred at `speeds` [rpm], in rising
    order, with `widths` [rpm]."""
    ends: list[float] = []
    rows = []
    for speed, width in zip(speeds, widths, strict=True):
        row = next((i for i, end in enumerate(ends) if end < speed - width / 2), len(ends))
        ends[row : row + 1] = [speed + width / 2]
        rows.append(row)
    return rows


def spread(wanted: list[float], gap: float, low: float, high: float) -> list[float]:
    """Places near the `wanted` ones, which fall, each at least `gap` below the one before, and all between `low` and `high`; all
    in one unit, such as [mm of paper]."""
    rows: list[float] = []
    for y in wanted:
        rows.append(min(y, rows[-1] - gap if rows else high))
    floor = low
    for i in reversed(range(len(rows))):
        rows[i] = max(rows[i], floor)
        floor = rows[i] + gap
    return rows


def _size_pt(axes: Axes) -> tuple[float, float]:
    """Width and height of axes [pt]."""
    inch = 72.0 / axes.figure.dpi
    return inch * axes.bbox.width, inch * axes.bbox.height


def label_rows(axes: Axes, right: Any, marks: list[Event], last: float, ratio: float) -> None:
    """Labels in rows below zero, each with a thin line up to its place on the curve; `marks` in order of speed; `last`
    [rpm] the last speed shown, `ratio` [1] crank turns for one distributor turn."""
    width_pt, height_pt = _size_pt(axes)
    # A letter is taken as 0.62 of the type size wide, a little more than the average of this font.
    widths = [0.62 * style.SMALL_PT * len(e.text) * last / width_pt for e in marks]
    apart = 0.5 * style.SMALL_PT * last / width_pt
    at_rows = arranged([e.speed for e in marks], widths, last, apart)
    rows = [row for row, _ in at_rows]
    low, top = _reach(axes)
    deep = max(rows, default=-1) + 1.5  # rows that the labels take, and a margin
    row = (top - low) * ROW_PT / max(height_pt - ROW_PT * deep, 0.3 * height_pt)
    axes.set_ylim(low - row * deep, top)
    axes.axhline(0.0, color=style.INK, linewidth=0.7, zorder=3)
    _degree_ticks(axes, right, top, ratio)
    for event, (at, side) in zip(marks, at_rows, strict=True):
        y = low - row * (at + 0.85)
        line = [y + 0.35 * row, event.advance]
        axes.plot([event.speed] * 2, line, color=style.INK, linewidth=0.6, linestyle=":", zorder=3)
        if event.ringed:
            axes.plot(event.speed, event.advance, "o", color="white", markeredgecolor=style.INK, markersize=4, zorder=8)
        axes.text(
            event.speed + side * apart / 2,
            y,
            event.text,
            ha={0.0: "center", -1.0: "right", 1.0: "left"}[side],
            va="center",
            fontsize=style.SMALL_PT,
            zorder=7,
            bbox={"facecolor": "white", "edgecolor": "none", "pad": 0.6},
        )


def _degree_ticks(axes: Axes, right: Any, top: float, ratio: float) -> None:
    """Ticks in round degrees from zero up, on both sides; none beside the labels below the curve."""
    from matplotlib.ticker import MaxNLocator

    for one, end in ((axes, top), (right, top * ratio)):
        ticks = MaxNLocator(nbins=9, steps=[1, 2, 5, 10]).tick_values(0.0, end)
        one.set_yticks([t for t in ticks if 0 <= t <= end])


def _reach(axes: Axes) -> tuple[float, float]:
    """Bottom and top of the axis [deg]: a little beyond everything drawn, zero included."""
    drawn = [np.asarray(line.get_ydata(), float) for line in axes.lines]
    top = 1.09 * max((float(y.max()) for y in drawn), default=1.0)
    low = min((float(y.min()) for y in drawn), default=0.0)
    return (low - 0.02 * top if low < 0 else 0.0), top


# --- names of the curves, beside them ----------------------------------------------------------------------


def label_curves(axes: Axes, rising: dict[str, Line2D]) -> None:
    """The name of each curve beside its rising branch, where it covers least. To be called when all else is drawn."""
    taken = _covered(axes) if rising else np.zeros((0, 2))
    for name, line in rising.items():
        taken = np.concatenate([taken, _name_beside(axes, line, name, taken)])


def _covered(axes: Axes) -> Array:
    """Points (n, 2) [display] on everything drawn: lines, marks, bands and texts."""
    places = [_along(axes, line) for line in axes.lines]
    for patch in axes.collections:
        for path in patch.get_paths():
            places.append(_filled(axes.transData.transform(path.vertices)))
    for text in axes.texts:
        box = text.get_window_extent()
        places.append(_filled(np.array([[box.x0, box.y0], [box.x1, box.y1]])))
    return np.concatenate(places) if places else np.zeros((0, 2))


def _along(axes: Axes, line: Line2D) -> Array:
    """Closely spaced points (n, 2) on a line; for marks, points over the area they cover."""
    points = line.get_transform().transform(np.asarray(line.get_xydata(), float))
    if line.get_linestyle() in ("None", "none", "") or len(points) < 2:
        half = 0.6 * float(line.get_markersize()) * axes.figure.dpi / 72.0
        around = np.array([[x, y] for x in (-half, 0.0, half) for y in (-half, 0.0, half)])
        return np.asarray((points[:, None] + around).reshape(-1, 2), float)
    steps = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(points, axis=0).T))])
    at = np.linspace(0.0, steps[-1], DENSE)
    return np.column_stack([np.interp(at, steps, points[:, 0]), np.interp(at, steps, points[:, 1])])


def _filled(corners: Array) -> Array:
    """A grid of points (n, 2) over the bounding box of `corners` (n, 2)."""
    (x0, y0), (x1, y1) = corners.min(axis=0), corners.max(axis=0)
    grid = np.meshgrid(np.linspace(x0, x1, 12), np.linspace(y0, y1, 6))
    return np.column_stack([grid[0].ravel(), grid[1].ravel()])


def _name_beside(axes: Axes, line: Line2D, name: str, taken: Array) -> Array:
    """Write the name above or below its curve, clear of everything if possible. Returns points (n, 2) on what it covers."""
    pixel = axes.figure.dpi / 72.0
    width, height = 0.72 * style.TEXT_PT * len(name) * pixel, 1.25 * style.TEXT_PT * pixel
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
            # beside a steep stretch a name ends up far from its curve and says less
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
        fontsize=style.TEXT_PT,
        color=line.get_color(),
        zorder=11,
        weight="bold",
    )
    half = np.array([0.8 * width, height])  # with a margin: two names side by side read as one
    return _filled(np.array([best[1:] - half, best[1:] + half]))


def _beside(near: Array, clear: float, height: float) -> list[float]:
    """Heights at which to centre a text above and below a stretch of curve: close to it, then a little farther away."""
    gaps = (clear + height / 2, 2.5 * clear + height / 2)
    return [y for gap in gaps for y in (float(near.max()) + gap, float(near.min()) - gap)]


def _covers(taken: Array, middle: tuple[float, float], size: tuple[float, float]) -> int:
    """How many of the points `taken` a text there would cover."""
    return int((np.abs(taken - middle) < 0.5 * np.asarray(size) + 1.0).all(axis=1).sum())


# --- names of points ----------------------------------------------------------------------------------------


def label_points(axes: Axes, places: list[tuple[float, float]], names: list[str]) -> None:
    """A name beside each of the `places` (x, y) [any, as the axes count], clear of the other names and inside the axes where
    there is room, with a thin line where it had to go farther away. To be called when the limits stand."""
    inch = 72.0 / axes.figure.dpi
    box, taken = axes.bbox, _marks(axes)
    for place, name in zip(places, names, strict=True):
        x, y = (inch * float(v) for v in axes.transData.transform(place))
        # A letter is taken as 0.62 of the type size wide, a little more than the average of this font.
        width, height = 0.62 * style.SMALL_PT * len(name), 1.3 * style.SMALL_PT
        right = x < inch * (box.x0 + 0.5 * box.width)
        best: tuple[float, float, float] | None = None
        for steps, side in ((n, s) for n in range(STEPS) for s in ((1, -1) if right else (-1, 1))):
            for dy in {height * steps, -height * steps}:
                left = x + ASIDE_PT if side > 0 else x - ASIDE_PT - width
                at = (left, y + dy - height / 2, left + width, y + dy + height / 2)
                shared = sum(_shared(at, other) for other in taken)
                out = _shared(at, at) - _shared(at, tuple(inch * v for v in (box.x0, box.y0, box.x1, box.y1)))
                cost = shared + out + 0.02 * steps * height
                if best is None or cost < best[0] - 1e-9:
                    best = (cost, left, y + dy)
        assert best is not None  # there are steps
        _, left, middle = best
        taken.append((left, middle - height / 2, left + width, middle + height / 2))
        after = left > x
        axes.annotate(
            name, place, xytext=((left if after else left + width) - x, middle - y), textcoords="offset points",
            ha="left" if after else "right", va="center", fontsize=style.SMALL_PT, zorder=10, annotation_clip=False,
            arrowprops=None if middle == y else {"arrowstyle": "-", "linewidth": style.LEADER_PT, "color": style.INK},
        )  # fmt: skip


def _marks(axes: Axes) -> list[tuple[float, float, float, float]]:
    """The boxes (left, bottom, right, top) [pt] of all marks on the axes."""
    inch = 72.0 / axes.figure.dpi
    boxes = []
    for line in axes.lines:
        if line.get_marker() in ("None", "none", "", None):
            continue
        half = 0.5 * float(line.get_markersize())
        for x, y in inch * line.get_transform().transform(np.asarray(line.get_xydata(), float)):
            boxes.append((float(x) - half, float(y) - half, float(x) + half, float(y) + half))
    return boxes


def _shared(one: tuple[float, ...], other: tuple[float, ...]) -> float:
    """The area that two boxes (left, bottom, right, top) share."""
    across = min(one[2], other[2]) - max(one[0], other[0])
    return max(across, 0.0) * max(min(one[3], other[3]) - max(one[1], other[1]), 0.0)


# --- the key -----------------------------------------------------------------------------------------------


def key_below(lowest: Axes, key: Key) -> None:
    """The meaning of solid and dashed lines, marks and shading, in one row below the `lowest` axes of the figure."""
    from matplotlib.lines import Line2D
    from matplotlib.patches import Patch

    handles: list[Any] = []
    lines: tuple[Any, ...] = (style.RISING, style.FALLING)
    for way, line, mark in zip(("rising", "falling"), lines, key.look.marks, strict=True):
        handles.append(
            Line2D(
                [], [], color=style.INK, linestyle=line, linewidth=1.2, label=f"{way}, and as read" if key.read else way,
                marker=mark.shape if key.read else None, markersize=style.READING_PT,
                markerfacecolor=style.INK if mark.filled else "white",
            )
        )  # fmt: skip
    if key.bands:
        handles.append(Patch(facecolor=style.PALE, edgecolor=style.INK, linewidth=0.8, label=style.TARGET_BAND))
    if key.shaded:
        handles.append(Patch(facecolor=style.GREY, alpha=2 * style.SHADE, label=style.SHADED))
    lowest.legend(
        handles=handles,
        loc="upper center",
        bbox_to_anchor=(0.5, -KEY_PT / _size_pt(lowest)[1]),
        ncols=len(handles) if _size_pt(lowest)[0] > ROW_NEEDS_PT else 2,
        frameon=False,
        handlelength=3.0,
        columnspacing=2.2,
    )
