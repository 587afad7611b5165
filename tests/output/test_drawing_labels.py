"""The drawing of many units: no words leave the paper, lie on each other, or cover a part."""

from __future__ import annotations

from dataclasses import replace
from itertools import combinations
from typing import Any

import numpy as np
import pytest
from checkout import EXAMPLES
from longer import some
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.transforms import Bbox

from recurve.output.figures import mechanism, style
from recurve.output.figures.picture import DrawnSpring, Mark, Picture, read_picture

EXAMPLE = read_picture(EXAMPLES / "pump.toml")
LEADER = 7.0  # the zorder of the lines from a label to its point, which do lie on parts


def mark(random: np.random.Generator, like: Mark, advance: float) -> Mark:
    """The same kind of point anywhere on the unit, 3 to 30 mm from the shaft; on the cam it turns with it."""
    at = 1e-3 * random.uniform(5.0, 30.0) * np.exp(2j * np.pi * random.random())
    if like.role == "cg":
        at *= random.uniform(12.0, 30.0) * 1e-3 / abs(at)
    turned = at * np.exp(1j * advance) if like.body == "cam" or like.role in ("pin", "cam", "cg") else at
    given = "x −12.345 ± 0.015 mm, y −20.125 ± 0.015 mm, on base"
    return replace(like, given=given, at=(complex(at), complex(turned)))


def unit(seed: int) -> Picture:
    """An invented unit with its points, its stop and its springs where chance puts them."""
    random = np.random.default_rng(seed)
    advance = random.uniform(0.07, 0.5)
    springs: list[DrawnSpring] = []
    for one in EXAMPLE.springs[: random.integers(1, 3)]:
        assert one.anchor is not None and one.far is not None
        anchor, far = mark(random, one.anchor, advance), mark(random, one.far, advance)
        lengths = tuple(abs(anchor.at[i] - far.at[i]) for i in (0, 1))
        springs.append(replace(one, anchor=anchor, far=far, length=(lengths[0], lengths[1])))
    radius = (None, *1e-3 * random.uniform(8.0, 25.0, 2))[random.integers(0, 3)]
    weight = tuple(mark(random, m, advance) for m in EXAMPLE.weight)
    stop = replace(EXAMPLE.stop, advance=advance)
    return replace(
        EXAMPLE, count=int(random.integers(1, 4)), weight=weight, stop=stop, stop_radius=radius, advance=advance,
        springs=tuple(springs), clockwise=bool(random.integers(0, 2)),
    )  # fmt: skip


def bare_unit() -> Picture:
    """A unit known by tables only: nothing but the circle of the centre of gravity and the stop."""
    return read_picture(EXAMPLES / "tractor.toml")


UNITS = {**{str(seed): unit(seed) for seed in range(24)}, "tables": bare_unit()}
UNITS |= {name: read_picture(EXAMPLES / f"{name}.toml") for name in ("launch", "pump", "genset", "crane")}


def words(axes: Axes) -> list[tuple[str, Bbox]]:
    """Each text and its box [display], a hair smaller: line boxes are taller than what they hold."""
    boxes = [(t.get_text(), t.get_window_extent()) for t in axes.texts if t.get_text()]
    return [(name, Bbox.from_extents(b.x0, b.y0 + 0.2 * b.height, b.x1, b.y1 - 0.1 * b.height)) for name, b in boxes]


def covered(axes: Axes) -> list[tuple[str, str]]:
    """Texts that lie on a part, and what part; the plate beneath all counts by its edge."""
    wrong = []
    for text, box in words(axes):
        for patch in axes.patches:
            path = patch.get_path().transformed(patch.get_transform())
            whole = bool(patch.get_fill()) and patch.get_zorder() > 0
            if path.intersects_bbox(box, filled=whole):
                wrong.append((text, f"{type(patch).__name__} {patch.get_zorder()}"))
        for line in axes.lines:
            path = line.get_path().transformed(line.get_transform())
            if line.get_zorder() != LEADER and line.get_linewidth() and path.intersects_bbox(box, filled=False):
                wrong.append((text, f"line {line.get_zorder()} {line.get_color()}"))
    return wrong


@pytest.mark.parametrize("draw", [mechanism._figure, mechanism._small], ids=["whole", "small"])
@pytest.mark.parametrize("name", some(UNITS, 10))
def test_labels_cover_no_part_and_stay_on_the_page(name: str, draw: Any) -> None:
    with style.figure_settings():
        figure: Figure = draw(UNITS[name])
        (axes,) = figure.axes
        assert covered(axes) == []
        for text, box in words(axes):
            inside = figure.bbox.padded(-2.0)
            assert inside.x0 <= box.x0 and box.x1 <= inside.x1 and inside.y0 <= box.y0 and box.y1 <= inside.y1, text
        for (a, one), (b, two) in combinations(words(axes), 2):
            assert Bbox.intersection(one, two) is None, (a, b)
        for patch in axes.patches:
            extent = patch.get_window_extent()
            assert (
                extent.x0 >= -1
                and extent.y0 >= -1
                and extent.x1 <= figure.bbox.x1 + 1
                and extent.y1 <= figure.bbox.y1 + 1
            )
