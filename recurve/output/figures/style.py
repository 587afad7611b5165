"""How things look on paper: one place for colours, marks, line styles, sizes, figures, and text from outside.

Rising and falling, before and after differ in line style, width and mark too, so that a print in grey
and a colour-blind reader lose nothing.
"""

from __future__ import annotations

import io
import warnings
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from recurve import __version__

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

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
