"""The figure of how far what was said came true: chances against shares that passed, and errors of the predicted curves."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

from recurve.errors import InputError
from recurve.files import rewrite
from recurve.output.documents.honesty import ChancesHeld, CurvesHeld, HonestyDocument
from recurve.output.figures import style

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

BEGINS = {".png": (b"\x89PNG",), ".svg": (b"<?xml", b"<svg")}
BELOW, ABOVE, LEFT, GAP, RIGHT = 20.0, 14.0, 15.0, 16.0, 6.0  # mm
RISING_AT = -0.12  # of a place, beside its falling one


def write_honesty(path: Path, document: HonestyDocument) -> None:
    """Write the figure, as PNG or SVG by the ending; a file that is there must be one. Raises InputError and OutputError."""
    begins = BEGINS.get(path.suffix.lower())
    if begins is None:
        raise InputError(f'--figure: got "{path.name}", expected a name that ends with .png or .svg')
    if path.exists() and not path.read_bytes().startswith(begins):
        raise InputError(
            f"{path}: got a file that is no {path.suffix[1:].upper()} figure, expected a new name, or a figure"
        )
    rewrite(path, honesty_figure_bytes(document)[f"honesty{path.suffix.lower()}"])


def honesty_figure_bytes(document: HonestyDocument) -> dict[str, bytes]:
    """The figure as "honesty.svg" and "honesty.png", the same bytes for the same document."""
    with style.figure_settings():
        return style.figure_bytes(honesty_figure(document), "honesty")


def honesty_figure(document: HonestyDocument) -> Figure:
    """The figure itself: at the left the shares by bins of the chance said, at the right the errors by speed."""
    width, height = style.FIGURE_MM
    figure = style.figure_of(style.FIGURE_MM)
    each, tall = (width - LEFT - GAP - RIGHT) / 2, (height - BELOW - ABOVE) / height
    left = figure.add_axes((LEFT / width, BELOW / height, each / width, tall))
    right = figure.add_axes(((LEFT + GAP + each) / width, BELOW / height, each / width, tall))
    _chances(left, document.chances, document.few)
    _curves(right, document.curves, document.few)
    left.set_title(f"{style.HONESTY}: {document.units} {'unit' if document.units == 1 else 'units'}", loc="left")
    return figure


def _chances(axes: Axes, held: ChancesHeld, few: int) -> None:
    axes.plot([0, 100], [0, 100], "--", color=style.GREY, linewidth=1.0)
    for one in held.bins:
        said, share = 100 * one.said, 100 * one.share
        axes.errorbar(
            [said], [share], yerr=[[share - 100 * one.low], [100 * one.high - share]], fmt="o", color=style.BLUE,
            capsize=3.0, markersize=style.READING_PT,
        )  # fmt: skip
        axes.annotate(
            f"{one.passed}/{one.units}", (said, share), (5, -10), textcoords="offset points", fontsize=style.SMALL_PT
        )
    axes.set(xlim=(0, 104), ylim=(0, 104), xlabel=style.SAID, ylabel=style.CAME)
    _finish(axes, held.verdict == "too few", few)


def _curves(axes: Axes, held: CurvesHeld, few: int) -> None:
    places = list(dict.fromkeys((s.band, s.speed_rpm) for s in held.speeds))
    for one in held.speeds:
        rising = one.direction == "rising"
        at = places.index((one.band, one.speed_rpm)) + (RISING_AT if rising else -RISING_AT)
        axes.errorbar(
            [at], [one.mean], yerr=[[one.size], [one.size]], fmt="^" if rising else "v", capsize=3.0,
            color=style.BLUE if rising else style.VERMILION, markersize=style.READING_PT + 1,
        )  # fmt: skip
    for limit in (-1.0, 0.0, 1.0):
        axes.axhline(
            limit, color=style.GREY, linewidth=1.0 if limit == 0.0 else 0.7, linestyle="-" if limit == 0.0 else "--"
        )
    names = [f"{band}\n{'stop' if speed is None else f'{speed:.0f} rpm'}" for band, speed in places]
    axes.set_xticks(range(len(places)), names, fontsize=style.SMALL_PT, rotation=90 if len(places) > 6 else 0)
    axes.set(xlim=(-0.6, max(len(places), 1) - 0.4), ylabel=style.OFF_PREDICTED)
    axes.set_title(style.MEAN_AND_SIZE, loc="left", fontsize=style.SMALL_PT)
    _finish(axes, held.whole is None or held.whole.verdict == "too few", few)


def _finish(axes: Axes, nothing: bool, few: int) -> None:
    axes.grid(True, color=style.PALE, linewidth=0.5)
    axes.set_axisbelow(True)
    if nothing:
        axes.text(
            0.5, 0.5, style.NOTHING_YET.format(few=few), ha="center", va="center", transform=axes.transAxes, color=style.INK,
            backgroundcolor="white",
        )  # fmt: skip
