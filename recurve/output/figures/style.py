"""How figures look: colours, markers, line styles, sizes, the fixed words on them, and their bytes.

Rising and falling, before and after also differ in line style, width and marker, so that nothing is lost in a grey print
or to a colour-blind reader. The name of an axis gives its unit, and says whether it is the distributor's or the crank's.
"""

from __future__ import annotations

import io
import warnings
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from recurve import __version__
from recurve.units import INCH

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

# Colours that stay apart for colour-blind readers: M. Okabe and K. Ito, "Color Universal Design", 2008.
BLUE, VERMILION, GREEN = "#0072B2", "#D55E00", "#009E73"
INK, GREY, PALE = "#1A1A1A", "#6E6E6E", "#DCDCDC"

MM_PER_INCH = 1e3 * INCH
FIGURE_MM = (180.0, 122.0)  # printed at this size on the sheet, so point sizes hold there
SMALL_MM = (120.0, 80.0)  # a plot beside another
NARROW_MM = (100.0, 112.0)  # for a phone, whose width it fills
TALL_MM = (180.0, 154.0)  # with a panel of residuals below the curve
FONT = "DejaVu Sans"  # ships with matplotlib
MARGINS_MM = (14.0, 21.0, 14.0, 20.0)  # round the axes: left, below, right, above
RESIDUALS_MM = (26.0, 6.0)  # height of the residuals' panel, and of the gap above it
TEXT_PT, SMALL_PT, TINY_PT = 8.5, 7.5, 6.5


@dataclass(frozen=True)
class Marker:
    """The marker of a reading: its shape in matplotlib's code, and whether it is filled."""

    shape: str
    filled: bool


@dataclass(frozen=True)
class Curve:
    """The look of a unit's two curves: colour, line widths [pt] of the rising (solid) and the falling one (dashed), drawing
    order, and the markers of rising and falling readings."""

    colour: str
    rising: float
    falling: float
    order: float
    marks: tuple[Marker, Marker]


# As found is thin with triangles, planned is thick without readings, as left lies between with squares: they can be told
# apart without colour.
BEFORE = Curve(VERMILION, 1.0, 0.9, 4.0, (Marker("^", True), Marker("v", False)))
AFTER = Curve(BLUE, 2.4, 1.6, 5.0, (Marker("D", True), Marker("D", False)))
LEFT = Curve(GREEN, 1.7, 1.3, 5.0, (Marker("s", True), Marker("s", False)))
RISING, FALLING = "-", (0, (4.0, 1.6))
SHADE = 0.18  # opacity of a 90 % band, which prints as a pale grey

READING_PT = 4.5
RING_PT = 10.0  # round an outlier

# The drawing of the mechanism: fixed parts are white, the weights are darker than what turns with the cam.
BASE_FILL, CAM_FILL, WEIGHT_FILL = "#FFFFFF", "#E9E9E9", "#C4C4C4"
MOVED = BLUE  # the way of a point from rest to full advance
WRONG = VERMILION  # what the model rejects
OUTLINE_PT, LEADER_PT = 0.8, 0.5
SPRING_PT = {"primary": 0.9, "secondary": 1.7}  # the secondary in the heavier line

# A user's own matplotlib settings must not change a figure, and the same input must give the same bytes.
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
    """Apply `SETTINGS` while a figure is drawn, and restore the caller's afterwards."""
    from matplotlib import rc_context, rcdefaults, rcParams

    with rc_context(), warnings.catch_warnings():
        rcdefaults()
        rcParams.update(SETTINGS)
        # A title in a script that the font lacks is drawn as boxes, which is no reason to fail.
        warnings.filterwarnings("ignore", message="Glyph .* missing from")
        yield


def figure_of(size_mm: tuple[float, float]) -> Figure:
    """An empty figure of this width and height [mm], drawn off screen."""
    from matplotlib.backends.backend_agg import FigureCanvasAgg
    from matplotlib.figure import Figure

    figure = Figure(figsize=(size_mm[0] / MM_PER_INCH, size_mm[1] / MM_PER_INCH))
    FigureCanvasAgg(figure)
    return figure


def panel(figure: Figure, below: float, above: float, shared: Axes | None = None) -> Axes:
    """Axes between the side margins, with `below` and `above` [mm] of the figure left free; `shared`: axes whose x axis
    they share."""
    width, height = (MM_PER_INCH * float(x) for x in figure.get_size_inches())
    left, right = MARGINS_MM[0], MARGINS_MM[2]
    box = (left / width, below / height, 1 - (left + right) / width, 1 - (below + above) / height)
    return figure.add_axes(box, sharex=shared)


def footer(figure: Figure, words: list[str], fingerprint: str) -> None:
    """Small print at the lower right: `words`, the fingerprint of the inputs, and the version."""
    width, height = (MM_PER_INCH * float(x) for x in figure.get_size_inches())
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
    """The figure as SVG. It carries no date, so that its bytes are the same each time."""
    svg = io.BytesIO()
    figure.savefig(svg, format="svg", metadata={"Date": None, "Creator": f"recurve {__version__}"})
    return svg.getvalue()


def figure_bytes(figure: Figure, name: str) -> dict[str, bytes]:
    """The figure as `name`.svg and `name`.png. They carry no date, so that their bytes are the same each time."""
    png = io.BytesIO()
    figure.savefig(png, format="png", dpi=160, metadata={"Software": None})
    return {f"{name}.svg": figure_svg(figure), f"{name}.png": png.getvalue()}


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
SAID, CAME = "chance of passing that was said [%]", "passed at first setting [%]"
OFF_PREDICTED = "measured less predicted [standard deviations]"
STRONGER = "springs and drag must pull, times"

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
MEETS_BANDS, MIDDLE, BY_THE_BOOK = "meets the bands", "middle of the bands", "by the book"

# --- titles -----------------------------------------------------------------------------------------------

ON_THE_ENGINE = "timing on the engine, vacuum off unless said"
COIL = "coil charge when the points open"
WINDOW = "which springs to order"
MEAN_AND_SIZE = "mean ± size; ▲ rising, ▼ falling; dashed: as was said\nspeeds of the distributor"
NOTHING_YET = "nothing can be told yet:\n{few} units are needed"
HONESTY = "what was said, and what came"
STRENGTH = "how strong springs and drag pull against the book"
