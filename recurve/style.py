"""How things look on paper: one place for colours, marks, line styles, sizes, and text from outside.

Rising and falling, before and after differ in line style, width and mark too, so that a print in grey
and a colour-blind reader lose nothing.
"""

from __future__ import annotations

from dataclasses import dataclass

# Colours that stay apart for colour-blind readers: M. Okabe and K. Ito, "Color Universal Design", 2008.
BLUE, VERMILION = "#0072B2", "#D55E00"
INK, GREY, PALE = "#1A1A1A", "#6E6E6E", "#DCDCDC"

FIGURE_MM = (180.0, 122.0)  # printed at this size on the sheet, so point sizes hold there
FONT = "DejaVu Sans"  # ships with matplotlib
MARGINS_MM = (14.0, 25.0, 14.0, 20.0)  # round the axes: left, below, right, above
TEXT_PT, SMALL_PT, TINY_PT = 8.5, 7.5, 6.5


def axes_mm() -> tuple[float, float]:
    """Width and height of a figure's axes [mm]."""
    left, bottom, right, top = MARGINS_MM
    return FIGURE_MM[0] - left - right, FIGURE_MM[1] - bottom - top


@dataclass(frozen=True)
class Curve:
    """A pair of curves: colour and widths [pt]; rising is drawn solid, falling dashed."""

    colour: str
    rising: float
    falling: float
    order: float


BEFORE = Curve(VERMILION, 1.0, 0.9, 4.0)
AFTER = Curve(BLUE, 2.4, 1.6, 5.0)
RISING, FALLING = "-", (0, (4.0, 1.6))


@dataclass(frozen=True)
class Mark:
    """A reading's mark: its shape and whether it is filled."""

    shape: str
    filled: bool


READING_RISING = Mark("^", True)
READING_FALLING = Mark("v", False)
READING_PT = 4.5


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
