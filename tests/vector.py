"""A small SVG writer for the measuring guide: the same bytes wherever it runs, text left as text, y upwards.

Places are complex numbers in units of the drawing, x right and y up.
"""

from __future__ import annotations

import cmath
import math
from xml.sax.saxutils import escape

INK, GREY, PALE, BLUE = "#1A1A1A", "#6E6E6E", "#DCDCDC", "#0072B2"  # as recurve/output/figures/style.py
FONT = "DejaVu Sans, Verdana, Arial, sans-serif"
TEXT = 13.0


class Drawing:
    """A drawing of this size; (0, 0) is `origin`, counted from its lower left."""

    def __init__(self, width: float, height: float, origin: complex, title: str) -> None:
        self.width, self.height, self.origin = width, height, origin
        self.parts = [
            f"<title>{escape(title)}</title>",
            f'<rect width="{width:g}" height="{height:g}" fill="#FFFFFF"/>',
        ]

    def svg(self) -> bytes:
        head = (
            f'<svg xmlns="http://www.w3.org/2000/svg" width="{self.width:g}" height="{self.height:g}" '
            f'viewBox="0 0 {self.width:g} {self.height:g}" font-family="{FONT}" font-size="{TEXT:g}">'
        )
        return "\n".join([head, *self.parts, "</svg>\n"]).encode("utf-8")

    def _at(self, place: complex) -> tuple[str, str]:
        here = place + self.origin
        return f"{round(here.real, 2):g}", f"{round(self.height - here.imag, 2):g}"

    def path(
        self, places: list[complex], *, close: bool = False, fill: str = "none", line: str = INK, width: float = 1.4,
        dash: str = "",
    ) -> None:  # fmt: skip
        steps = " L".join(",".join(self._at(p)) for p in places)
        dashed = f' stroke-dasharray="{dash}"' if dash else ""
        self.parts.append(
            f'<path d="M{steps}{" Z" if close else ""}" fill="{fill}" stroke="{line}" stroke-width="{width:g}" '
            f'stroke-linejoin="round" stroke-linecap="round"{dashed}/>'
        )

    def disc(self, place: complex, radius: float, fill: str = "#FFFFFF", line: str = INK, width: float = 1.4) -> None:
        x, y = self._at(place)
        self.parts.append(
            f'<circle cx="{x}" cy="{y}" r="{radius:g}" fill="{fill}" stroke="{line}" stroke-width="{width:g}"/>'
        )

    def text(
        self,
        place: complex,
        words: str,
        anchor: str = "start",
        *,
        colour: str = INK,
        bold: bool = False,
        size: float = TEXT,
    ) -> None:
        x, y = self._at(place)
        look = ' font-weight="bold"' if bold else ""
        look += "" if size == TEXT else f' font-size="{size:g}"'
        self.parts.append(f'<text x="{x}" y="{y}" text-anchor="{anchor}" fill="{colour}"{look}>{escape(words)}</text>')

    def arc(self, centre: complex, radius: float, begin: float, end: float, line: str = INK, dash: str = "") -> None:
        """Part of a circle, angles in degrees, anticlockwise positive."""
        steps = [begin + (end - begin) * k / 36 for k in range(37)]
        self.path([centre + cmath.rect(radius, math.radians(a)) for a in steps], line=line, width=1.1, dash=dash)

    def head(self, tip: complex, way: complex, line: str = BLUE) -> None:
        """An arrow's head at `tip`, pointing `way`."""
        along = way / abs(way)
        self.path(
            [tip, tip - 8 * along + 3j * along, tip - 8 * along - 3j * along],
            close=True,
            fill=line,
            line=line,
            width=0.5,
        )

    def length(
        self, a: complex, b: complex, words: str, off: complex = 0, at: complex = 0, anchor: str = "middle"
    ) -> None:
        """A measured length from a to b, drawn `off` from them, its name `at` from its middle."""
        p, q = a + off, b + off
        if off:
            for end, here in ((a, p), (b, q)):
                self.path([end, here], line=BLUE, width=0.7)
        self.path([p, q], line=BLUE, width=1.1)
        self.head(q, q - p)
        self.head(p, p - q)
        self.text((p + q) / 2 + at, words, anchor, colour=BLUE)

    def angle(
        self, centre: complex, radius: float, begin: float, end: float, words: str, at: complex, anchor: str = "start"
    ) -> None:
        """A measured angle, its arrow towards `end` [deg], its name at a place."""
        self.arc(centre, radius, begin, end, line=BLUE)
        tip = centre + cmath.rect(radius, math.radians(end))
        self.head(tip, (1j if end > begin else -1j) * (tip - centre))
        self.text(at, words, anchor, colour=BLUE)

    def pivot(self, place: complex, radius: float = 6.0) -> None:
        self.disc(place, radius)
        self.disc(place, 1.6, fill=INK)

    def gravity(self, place: complex, radius: float = 8.0) -> None:
        """A centre of gravity: a disc with two quarters black."""
        self.disc(place, radius)
        for turn in (1, -1):
            quarter = [place] + [place + turn * cmath.rect(radius, math.radians(a)) for a in range(0, 91, 6)]
            self.path(quarter, close=True, fill=INK, width=0.3)

    def plate(self, places: list[complex], flesh: float, fill: str) -> None:
        """A rounded outline round places that lie in convex order."""
        self.path(places, close=True, fill=INK, line=INK, width=2 * flesh + 2.8)
        self.path(places, close=True, fill=fill, line=fill, width=2 * flesh)

    def spring(self, a: complex, b: complex, half: float = 8.0, coils: int = 9, line: float = 1.4) -> None:
        along, across = b - a, 1j * (b - a) / abs(b - a) * half
        body = [a + along * (0.18 + 0.64 * k / (2 * coils)) + across * ((k % 2) * 2 - 1) for k in range(1, 2 * coils)]
        self.path([a, a + 0.18 * along, *body, a + 0.82 * along, b], width=line)

    def leader(self, place: complex, to: complex, words: str, anchor: str = "start") -> None:
        """A name away from a point, with a thin line to it."""
        self.path([place, to], line=GREY, width=0.8)
        shift = {"start": 4 - 4j, "end": -4 - 4j, "middle": 5j}[anchor]
        self.text(to + shift, words, anchor)
