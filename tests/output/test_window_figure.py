"""The ordering window as it is drawn: the region fills it, and springs stand there by their ids."""

from __future__ import annotations

from itertools import combinations

import numpy as np
import pytest
from example_plans import planned
from longer import some
from matplotlib.axes import Axes
from matplotlib.transforms import Bbox

from recurve.output.figures import style
from recurve.output.figures.window import PANEL, SIZE_MM, draw_window

NAMES = ("launch", "pump", "tractor", "genset")


def drawn(name: str) -> Axes:
    """The figure's axes, laid out."""
    with style.figure_settings():
        figure = style.figure_of(SIZE_MM)
        axes = draw_window(planned(name), figure.add_axes(PANEL))
        figure.draw_without_rendering()
    return axes


def told(identity: str) -> str:
    """A spring's name on the figure: that of the unit itself is not of a catalogue."""
    return "as found" if identity.startswith("as found") else identity


@pytest.mark.parametrize("name", some(NAMES, 2))
def test_the_region_fills_the_figure(name: str) -> None:
    """The window's corners span most of each axis: nothing is squeezed into a corner by empty space."""
    axes, plan = drawn(name), planned(name)
    assert plan.window is not None
    corners = np.concatenate(plan.window.regions) * [1e-3, 1e-3 if len(plan.job.places) == 2 else 1.0]
    for place, (low, high) in enumerate((axes.get_xlim(), axes.get_ylim())):
        assert low <= corners[:, place].min() and corners[:, place].max() <= high
        assert np.ptp(corners[:, place]) > 0.7 * (high - low)


@pytest.mark.parametrize("name", some(NAMES, 2))
def test_springs_stand_by_their_ids_and_none_on_another(name: str) -> None:
    axes, plan = drawn(name), planned(name)
    assert plan.build is not None and plan.job.catalogue is not None and plan.window is not None
    ids = {t.get_text() for t in axes.texts}
    for build in (plan.build, *plan.others):
        assert {told(s.spring.id) for s in build.springs} <= ids
    rates = {s.id: s.rate for s in plan.job.catalogue.springs}
    corners = np.concatenate(plan.window.regions)
    named = ids - {told(s.spring.id) for b in (plan.build, *plan.others) for s in b.springs}
    assert len(named) > 10
    for spring in named:  # of the others only those whose rate lies in the window
        assert any(corners[:, i].min() <= rates[spring] <= corners[:, i].max() for i in range(2))
    boxes = [t.get_window_extent() for t in axes.texts]
    frame = axes.get_window_extent()
    for box in boxes:
        assert frame.x0 <= box.x0 and box.x1 <= frame.x1 and frame.y0 <= box.y0 and box.y1 <= frame.y1
    for a, b in combinations(boxes, 2):
        shared = Bbox.intersection(a, b)
        assert shared is None or shared.width * shared.height < 0.15 * min(a.width * a.height, b.width * b.height)


def test_the_chosen_springs_are_in_the_title() -> None:
    plan = planned("launch")
    assert plan.build is not None
    assert " + ".join(told(s.spring.id) for s in plan.build.springs) in drawn("launch").get_title(loc="left")
