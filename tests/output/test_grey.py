"""Figures without their colours: curves told apart by line, width and mark, and labels that do not pile up."""

from __future__ import annotations

from itertools import combinations

import numpy as np
import pytest
from matplotlib.lines import Line2D
from matplotlib.text import Text
from matplotlib.transforms import Bbox

from recurve.inspection.model import Timing
from recurve.inspection.timing import Card, make_card
from recurve.inspection.timing_curves import TableCurve
from recurve.output.figures import style
from recurve.output.figures.labels import label_points
from recurve.output.figures.timing import plot_coil, plot_timing
from recurve.output.figures.window import SIZE_MM
from recurve.units import RPM

DEG = np.pi / 180


def card() -> Card:
    """An engine with all four curves, a total, a limit, an idle speed and the vacuum of cruise."""
    timing = Timing(
        static=10 * DEG, total=34 * DEG, limit=38 * DEG, idle=700 / RPM, idle_setting=None, top_speed=3500 / RPM,
        cruise_speed=None, cruise_vacuum=8 * DEG, full_load_vacuum=None, tolerance=2 * DEG, tolerance_source="", speeds=(),
    )  # fmt: skip
    speed = np.array([0.0, 300.0, 1200.0]) / RPM
    curves = {
        n: TableCurve(speed, np.array([0.0, 0.0, 12.0 + i]) * DEG)
        for i, n in enumerate(("as found", "book", "planned", "as left"))
    }
    made = make_card(timing, 2.0, dict(curves), None)
    assert made is not None
    return made


def bare(line: Line2D) -> tuple[object, ...]:
    """What is left of a line's look in a grey print: its dashes, its mark, and whether it is thick."""
    marker = "" if line.get_marker() in ("None", "none", None) else str(line.get_marker())
    return line.get_linestyle(), marker, line.get_linewidth() >= 2.0


def test_timing_curves_differ_without_their_colours() -> None:
    with style.figure_settings():
        axes = plot_timing(card(), style.figure_of(style.FIGURE_MM).add_axes((0.1, 0.1, 0.8, 0.8)))
    legend = axes.get_legend()
    assert legend is not None
    named = [line for line in axes.lines if not str(line.get_label()).startswith("_")]
    assert {str(line.get_label()) for line in named} >= {"as found", "book", "planned", "as left"}
    for a, b in combinations(named, 2):
        assert bare(a) != bare(b), (a.get_label(), b.get_label())
    # Total, limit and idle bear their names where they are, with their values, not in the key.
    texts = [t.get_text().strip() for t in axes.texts]
    assert {"limit 38.0°", "book's total 34.0°", "idle"} <= set(texts)
    assert not {t.get_text() for t in legend.get_texts()} & {"limit", "book's total", "idle"}


def test_coil_curves_differ_without_their_colours() -> None:
    from recurve.inspection.points import Charge

    speed = np.linspace(100, 400, 5)
    charges = tuple(
        Charge(dwell, speed, 0 * speed, 0 * speed + 1.0, 0 * speed + 0.05) for dwell in (39 * DEG, 38.8 * DEG)
    )
    with style.figure_settings():
        axes = plot_coil(charges, 2.0, style.figure_of(style.SMALL_MM).add_axes((0.1, 0.1, 0.8, 0.8)))
    first, second = axes.lines
    assert first.get_linestyle() != second.get_linestyle() and first.get_linewidth() > 2 * second.get_linewidth()


@pytest.mark.parametrize("seed", range(8))
def test_names_of_points_that_lie_close_do_not_pile_up(seed: int) -> None:
    """Nine outliers in a heap: no name on another, none on another's mark, all inside the axes."""
    random = np.random.default_rng(seed)
    places = [(float(x), float(y)) for x, y in random.normal((600.0, 5.0), (60.0, 0.5), (9, 2))]
    with style.figure_settings():
        figure = style.figure_of(SIZE_MM)
        axes = figure.add_axes((0.1, 0.1, 0.8, 0.8))
        axes.set(xlim=(0, 1200), ylim=(0, 10))
        for place in places:
            axes.plot(*place, "o", markersize=style.RING_PT)
        label_points(axes, places, [f"row {10 + i}: +{i}.0" for i in range(9)])
        figure.draw_without_rendering()
        boxes = [Bbox.from_bounds(*Text.get_window_extent(t).shrunk(0.9, 0.7).bounds) for t in axes.texts]
    assert len(boxes) == 9
    frame = axes.get_window_extent()
    for box in boxes:
        assert frame.x0 <= box.x0 and box.x1 <= frame.x1 and frame.y0 <= box.y0 and box.y1 <= frame.y1
    for a, b in combinations(boxes, 2):
        assert Bbox.intersection(a, b) is None
