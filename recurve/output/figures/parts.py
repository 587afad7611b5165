"""The parts of a mechanism as they are drawn: base, cam plate, weights, posts, springs, stop, and marks of points.

`Parts` draws one state of a picture round a centre on the paper. The points are to scale; the outlines round them are
sketched.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from recurve.output.figures import style
from recurve.output.figures.picture import DrawnSpring, Picture
from recurve.units import INCH

if TYPE_CHECKING:
    from matplotlib.axes import Axes

PT_PER_MM = 72 / (1e3 * INCH)
FLESH_MM = 2.6  # from a point to the outline round it, on the unit
SHAFT_MM = 4.0  # radius of the shaft, on the unit; sketched
COIL_HALF_MM = 1.3  # half the width of a spring's coils, at most, on paper
COILS = 9
HOOK_FRACTION = 0.18  # of a spring's length, at either end
STOP_MM = 2.6  # length of the stop's faces, on paper
ARROW_MM = 3.2  # from the base plate to the outer edge of the arrow round it, on paper


@dataclass(frozen=True)
class Parts:
    """Draws one state of a picture (0 at rest, 1 at full advance) on `axes`, with the shaft at `centre` [mm on paper], at
    `scale` mm of paper for 1 mm of the unit [1]."""

    axes: Axes
    picture: Picture
    state: int
    centre: complex
    scale: float

    def on_paper(self, place: complex) -> complex:
        """The place on the paper [mm on paper] of a place on the unit [m]."""
        return self.centre + 1e3 * self.scale * place

    def draw(self) -> None:
        """Draw everything, from the base upwards."""
        self._base()
        self._weights()
        self._cam()
        self._stop()
        for spring in self.picture.springs:
            self._spring(spring)
        self._marks()
        if self.state == 1:
            self._moves()

    # --- plates and weights ---------------------------------------------------------------------------------

    def _disc(self, place: complex, radius: float, **look: Any) -> None:
        """A circle of `radius` [mm on paper] round a place on the paper."""
        from matplotlib.patches import Circle

        plain: dict[str, Any] = {"facecolor": "white", "edgecolor": style.INK, "linewidth": style.OUTLINE_PT}
        self.axes.add_patch(Circle((place.real, place.imag), radius, **(plain | look)))

    def _plate(self, places: list[complex], order: float, **look: Any) -> None:
        """A rounded outline round places on the paper."""
        from matplotlib.patches import Polygon

        flesh = FLESH_MM * self.scale * np.exp(2j * np.pi * np.arange(48) / 48)
        points = hull([p + complex(c) for p in places for c in flesh])
        plain: dict[str, Any] = {"edgecolor": style.INK, "linewidth": style.OUTLINE_PT, "joinstyle": "round"}
        self.axes.add_patch(Polygon([(p.real, p.imag) for p in points], zorder=order, **(plain | look)))

    def _base(self) -> None:
        """The base plate: a circle round what it carries."""
        radius = 1e3 * self.scale * base_radius(self.picture)
        self._disc(self.centre, radius, facecolor=style.BASE_FILL, edgecolor=style.GREY, zorder=0)
        # The direction of rotation, outside the plate beside the stop, where there is most room.
        around = self._stop_angle + self._sense * np.linspace(-0.25, 0.25, 20)
        turns = self.centre + (radius + ARROW_MM - 1.4) * np.exp(1j * around)
        self._line(turns, style.GREY, style.OUTLINE_PT, 0.1)
        way = turns[-1] - turns[-2]
        for side in (2.5, -2.5):
            self._line(
                [turns[-1], turns[-1] + 2.0 * way / abs(way) * np.exp(1j * side)], style.GREY, style.OUTLINE_PT, 0.1
            )

    def _weights(self) -> None:
        picture = self.picture
        for turn in np.exp(2j * np.pi * np.arange(picture.count) / picture.count):
            here = [self.on_paper(m.at[self.state] * turn) for m in picture.weight if m.role != "cam"]
            if here:
                self._plate(here, 1.0, facecolor=style.WEIGHT_FILL)
        if not picture.weight and picture.radius is not None:
            radius = 1e3 * self.scale * picture.radius[self.state]
            self._disc(self.centre, radius, fill=False, edgecolor=style.MOVED, linestyle=(0, (4, 2)), zorder=1)

    def _cam(self) -> None:
        """The cam plate, a slot or link for each weight, and the shaft."""
        picture, s = self.picture, self.state
        turns = np.exp(2j * np.pi * np.arange(picture.count) / picture.count)
        carried = [self.on_paper(m.at[s]) for m in picture.posts if m.body == "cam"]
        driven = [m for m in picture.weight if m.role == ("cam" if picture.kind == "link" else "pin")]
        places = carried + [self.on_paper(m.at[s] * t) for m in driven for t in turns]
        if places:
            self._plate([*places, self.centre], 2.0, facecolor=style.CAM_FILL)
        for turn in turns:
            self._drive(turn)
        self._disc(self.centre, SHAFT_MM * self.scale, zorder=2.5)
        for step in (1.0, 1j):
            ends = [self.centre + k * SHAFT_MM * self.scale * 0.6 * step for k in (-1, 1)]
            self._line(ends, style.INK, style.LEADER_PT, 2.6)

    def _drive(self, turn: complex) -> None:
        """The slot in which a pin works, or the link to the cam."""
        marks = {m.role: m.at[self.state] * turn for m in self.picture.weight}
        if self.picture.kind == "slot":
            pin = marks["pin"]
            along = pin / abs(pin) if abs(pin) else 1.0
            ends = [self.on_paper(pin + k * 2.6e-3 * along) for k in (-1, 1)]
        elif self.picture.kind == "link":
            ends = [self.on_paper(marks["pin"]), self.on_paper(marks["cam"])]
        else:
            return
        width = 2.4 * self.scale * PT_PER_MM
        self._line(ends, style.INK, width + 2 * style.LEADER_PT, 2.2, solid_capstyle="round")
        self._line(ends, "white", width, 2.3, solid_capstyle="round")

    # --- stop -----------------------------------------------------------------------------------------------

    @property
    def _stop_angle(self) -> float:
        """The angle at which the stop is drawn [rad]: where there is most room, since the job does not say where it is."""
        angles = [float(np.angle(p)) for m in self.picture.marks for p in m.at if abs(p) > 1e-6]
        angles += [a + 2 * np.pi * k / self.picture.count for m in self.picture.weight for a in
                   [float(np.angle(m.at[0]))] for k in range(1, self.picture.count)]  # fmt: skip
        if not angles:
            return np.pi / 2
        around = np.sort(np.mod(angles, 2 * np.pi))
        gaps = np.diff(np.append(around, around[0] + 2 * np.pi))
        widest = int(np.argmax(np.round(gaps, 6)))
        return float(around[widest] + gaps[widest] / 2)

    @property
    def _sense(self) -> float:
        return -1.0 if self.picture.clockwise else 1.0

    @property
    def stop_face(self) -> complex:
        """The face of the stop at full advance [mm on paper]."""
        return self._at_stop(self.picture.stop.advance)

    def _at_stop(self, advance: float, beyond: float = 0.0) -> complex:
        """The place of the stop's radius at an advance [rad], moved outwards by `beyond` [mm on paper]."""
        angle = self._stop_angle + self._sense * (advance - self.picture.stop.advance / 2)
        reach = 1e3 * self.scale * drawn_stop_radius(self.picture) + beyond
        return self.centre + reach * complex(np.exp(1j * angle))

    def _stop(self) -> None:
        """Two faces on the base, the way between them, and the arm of the cam that moves from one to the other."""
        stop = self.picture.stop
        for advance in (0.0, stop.advance):
            faces = [self._at_stop(advance, k) for k in (-STOP_MM / 2, STOP_MM)]
            self._line(faces, style.INK, 2.0, 3.0)
        way = [self._at_stop(a) for a in np.linspace(0.0, stop.advance, 25)]
        self._line(way, style.GREY, style.LEADER_PT, 2.9)
        low, high = stop.limits
        if high > low:
            trim = [self._at_stop(a, STOP_MM) for a in np.linspace(max(low, 0.0), high, 25)]
            self._line(trim, style.GREY, 1.4, 2.9, linestyle=(0, (1, 1)))
        now = self.picture.advance if self.state else 0.0
        self._line([self.centre, self._at_stop(now)], style.INK, 1.2, 2.1)

    # --- springs --------------------------------------------------------------------------------------------

    def _spring(self, spring: DrawnSpring) -> None:
        if spring.anchor is None or spring.far is None:
            return
        a, f = self.on_paper(spring.anchor.at[self.state]), self.on_paper(spring.far.at[self.state])
        slack = spring.free is not None and spring.length[self.state] < spring.free
        colour = style.WRONG if spring.shortens else style.GREY if slack else style.INK
        self._line(coil(a, f, min(COIL_HALF_MM, 1.3 * self.scale)), colour, style.SPRING_PT[spring.name], 4.0)
        for mark, fill in ((spring.anchor, style.INK), (spring.far, "white")):
            radius = 0.5e3 * self.scale * (spring.diameter or 2e-3)
            self._disc(self.on_paper(mark.at[self.state]), max(radius, 0.6), facecolor=fill, zorder=5)

    # --- marks ----------------------------------------------------------------------------------------------

    def _marks(self) -> None:
        """Pivots, centres of gravity and pins of all weights."""
        picture = self.picture
        size = min(1.1, 1.1 * self.scale)
        for turn in np.exp(2j * np.pi * np.arange(picture.count) / picture.count):
            for mark in picture.weight:
                at = self.on_paper(mark.at[self.state] * turn)
                if mark.role == "cg":
                    self._gravity(at, size * 1.25)
                else:
                    self._disc(at, size, zorder=6)
                    self._disc(at, size * 0.3, facecolor=style.INK, zorder=6.1)

    def _gravity(self, at: complex, radius: float) -> None:
        """A centre of gravity: a disc with two quarters black, the usual symbol on drawings."""
        from matplotlib.patches import Wedge

        self._disc(at, radius, zorder=6)
        for begin in (0, 180):
            quarter = Wedge((at.real, at.imag), radius, begin, begin + 90, facecolor=style.INK, zorder=6.1)
            self.axes.add_patch(quarter)

    def _moves(self) -> None:
        """The outline of the first weight at rest, and how far each point has moved."""
        rest = [self.on_paper(m.at[0]) for m in self.picture.weight if m.role != "cam"]
        if rest:
            look = {"edgecolor": style.MOVED, "linewidth": 0.6, "linestyle": (0, (4, 2)), "fill": False}
            self._plate(rest, 3.5, **look)
        for mark in self.picture.marks:
            was, now = (self.on_paper(p) for p in mark.at)
            if abs(now - was) > 0.3:
                self._line([was, now], style.MOVED, 1.6 if mark.role == "cg" else 0.9, 6.5)
                self._disc(was, 0.5, facecolor="white", edgecolor=style.MOVED, zorder=6.6, linewidth=0.7)

    def _line(self, places: Any, colour: str, width: float, order: float, **look: Any) -> None:
        path = np.asarray(places)
        self.axes.plot(path.real, path.imag, color=colour, linewidth=width, zorder=order, **look)


def drawn_stop_radius(picture: Picture) -> float:
    """Radius at which the stop is drawn [m]: its own if given, else a little inside the points."""
    if picture.stop_radius is not None:
        return picture.stop_radius
    return 0.6 * max((abs(p) for m in picture.marks for p in m.at), default=20e-3)


def base_radius(picture: Picture) -> float:
    """Radius of the base plate [m]: it carries the posts and pivots that do not move, and the stop."""
    on_base = [abs(m.at[0]) for m in picture.marks if abs(m.at[0] - m.at[1]) < 1e-9]
    return max([*on_base, 1.1 * drawn_stop_radius(picture)]) + FLESH_MM * 1e-3


def coil(begin: complex, end: complex, half: float) -> np.ndarray:
    """The path (n,) of a spring between two places [mm on paper]: straight hooks and `COILS` turns, `half` [mm on paper]
    wide to each side."""
    along = end - begin
    across = 1j * along / abs(along) * half if abs(along) else 0j
    steps = np.linspace(HOOK_FRACTION, 1 - HOOK_FRACTION, 2 * COILS + 1)
    sides = np.where(np.arange(2 * COILS + 1) % 2 == 1, 1.0, -1.0)
    sides[[0, -1]] = 0.0
    body = begin + steps * along + sides * across
    return np.concatenate([[begin], body, [end]])


def hull(places: list[complex]) -> list[complex]:
    """The convex hull of places [any], anticlockwise (Andrew's monotone chain)."""
    points = sorted(set(places), key=lambda p: (p.real, p.imag))
    if len(points) < 3:
        return points

    def half(ordered: list[complex]) -> list[complex]:
        out: list[complex] = []
        for p in ordered:
            while len(out) > 1 and ((out[-1] - out[-2]).conjugate() * (p - out[-2])).imag <= 0:
                out.pop()
            out.append(p)
        return out[:-1]

    return half(points) + half(points[::-1])
