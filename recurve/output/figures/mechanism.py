"""The parts of a mechanism as they are drawn: base, cam plate, weights, posts, springs, stop, marks of points.

`Parts` draws one state of a picture round a centre on the paper [mm]; outlines are sketched round the measured points,
the points themselves are to scale.

The mechanism to scale, at rest and at full advance, so that a wrong angle is seen before it is computed.

A figure is one axis in millimetres of paper, so that what is drawn 1 : 1 can be laid beside the part.
matplotlib is imported only where it draws.
"""

from __future__ import annotations

import textwrap
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from recurve import __version__
from recurve.job.model import Job
from recurve.output.figures import style
from recurve.output.figures.picture import DrawnSpring, Picture, picture_of

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

PT_PER_MM = 72 / 25.4
FLESH_MM = 2.6  # of a plate or weight round its points, on the unit
SHAFT_MM = 4.0  # radius of the shaft, on the unit; sketched
COIL_MM = 1.3  # at most, half the width of a spring's coils, on paper
COILS = 9
HOOK_SHARE = 0.18  # of a spring's length, at either end
STOP_MM = 2.6  # length of the stop's faces, on paper


@dataclass(frozen=True)
class Parts:
    """One state (0 at rest, 1 at full advance) of a picture, at `scale` mm of paper for each of the unit [1]; `centre` [m]."""

    axes: Axes
    picture: Picture
    state: int
    centre: complex
    scale: float

    def on_paper(self, place: complex) -> complex:
        """A place on the unit [m] as one on the paper [mm]."""
        return self.centre + 1e3 * self.scale * place

    def draw(self) -> None:
        """Everything, from the base upwards."""
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
        on_base = [abs(m.at[0]) for m in self.picture.marks if abs(m.at[0] - m.at[1]) < 1e-9]
        reach = max([*on_base, 1.1 * self.stop_radius]) + FLESH_MM * 1e-3
        radius = 1e3 * self.scale * reach
        self._disc(self.centre, radius, facecolor=style.BASE_FILL, edgecolor=style.GREY, zorder=0)
        # The sense of rotation, outside the plate by the stop, where most room is.
        around = self._stop_angle + self._sense * np.linspace(-0.25, 0.25, 20)
        turns = self.centre + (radius + 1.8) * np.exp(1j * around)
        self._line(turns, style.GREY, style.OUTLINE_PT, 0.1)
        way = turns[-1] - turns[-2]
        for side in (2.5, -2.5):
            self._line(
                [turns[-1], turns[-1] + 2.0 * way / abs(way) * np.exp(1j * side)], style.GREY, style.OUTLINE_PT, 0.1
            )

    def _weights(self) -> None:
        picture = self.picture
        for turn in np.exp(2j * np.pi * np.arange(picture.count) / picture.count):
            here = [self.on_paper(m.at[self.state] * turn) for m in picture.weight if m.name != "cam point"]
            if here:
                self._plate(here, 1.0, facecolor=style.WEIGHT_FILL)
        if not picture.weight and picture.radius is not None:
            radius = 1e3 * self.scale * picture.radius[self.state]
            self._disc(self.centre, radius, fill=False, edgecolor=style.MOVED, linestyle=(0, (4, 2)), zorder=1)

    def _cam(self) -> None:
        """The cam plate, a slot or link for each weight, and the shaft."""
        picture, s = self.picture, self.state
        turns = np.exp(2j * np.pi * np.arange(picture.count) / picture.count)
        far = [p.far for p in picture.springs if p.far is not None and p.far.given.endswith("on cam")]
        near = [p.anchor for p in picture.springs if p.anchor is not None and p.anchor.given.endswith("on cam")]
        carried = [self.on_paper(m.at[s]) for m in (*far, *near)]
        driven = [m for m in picture.weight if m.name in (("cam point",) if picture.kind == "link" else ("pin",))]
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
        """The slot that a pin works, or the link to the cam."""
        marks = {m.key.rsplit(".", 1)[1]: m.at[self.state] * turn for m in self.picture.weight}
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
    def stop_radius(self) -> float:
        """Where the stop is drawn [m]: at its radius, else a little inside what the base carries."""
        if self.picture.stop_radius is not None:
            return self.picture.stop_radius
        return 0.6 * max((abs(p) for m in self.picture.marks for p in m.at), default=20e-3)

    @property
    def _stop_angle(self) -> float:
        """Where on the base the stop is drawn: where most room is. The job does not tell where it really is."""
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
        """Where the full stop's face is, on the paper [mm]."""
        return self._at_stop(self.picture.stop.advance)

    def _at_stop(self, advance: float, beyond: float = 0.0) -> complex:
        """A place on the stop's radius at this advance, `beyond` [mm on paper] it."""
        angle = self._stop_angle + self._sense * (advance - self.picture.stop.advance / 2)
        reach = 1e3 * self.scale * self.stop_radius + beyond
        return self.centre + reach * complex(np.exp(1j * angle))

    def _stop(self) -> None:
        """Two faces on the base, the way between them, and the cam's arm that goes from one to the other."""
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
        self._line(coil(a, f, min(COIL_MM, 1.3 * self.scale)), colour, style.SPRING_PT[spring.name], 4.0)
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
                if mark.key.endswith(".cg"):
                    self._gravity(at, size * 1.25)
                else:
                    self._disc(at, size, zorder=6)
                    self._disc(at, size * 0.3, facecolor=style.INK, zorder=6.1)

    def _gravity(self, at: complex, radius: float) -> None:
        """A centre of gravity: a disc with two of its quarters black, as drawings have it."""
        from matplotlib.patches import Wedge

        self._disc(at, radius, zorder=6)
        for begin in (0, 180):
            quarter = Wedge((at.real, at.imag), radius, begin, begin + 90, facecolor=style.INK, zorder=6.1)
            self.axes.add_patch(quarter)

    def _moves(self) -> None:
        """Where the first weight was at rest, and the way each point went."""
        rest = [self.on_paper(m.at[0]) for m in self.picture.weight if m.name != "cam point"]
        if rest:
            look = {"edgecolor": style.MOVED, "linewidth": 0.6, "linestyle": (0, (4, 2)), "fill": False}
            self._plate(rest, 3.5, **look)
        for mark in self.picture.marks:
            was, now = (self.on_paper(p) for p in mark.at)
            if abs(now - was) > 0.3:
                self._line([was, now], style.MOVED, 1.6 if mark.key.endswith(".cg") else 0.9, 6.5)
                self._disc(was, 0.5, facecolor="white", edgecolor=style.MOVED, zorder=6.6, linewidth=0.7)

    def name_springs(self) -> None:
        """The springs' names beside them, on the side away from the shaft."""
        from matplotlib.patheffects import withStroke

        for spring in self.picture.springs:
            if spring.anchor is None or spring.far is None:
                continue
            a, f = (self.on_paper(m.at[self.state]) for m in (spring.anchor, spring.far))
            across = 1j * (a - f) / abs(a - f)
            middle = (a + f) / 2
            away = across if ((middle - self.centre).conjugate() * across).real > 0 else -across
            sideways = abs(away.real) > 0.7
            at = middle + (2.2 if sideways else 3.2) * away
            align = ("left" if away.real > 0 else "right") if sideways else "center"
            look: dict[str, Any] = {"fontsize": style.TINY_PT, "color": style.INK, "ha": align, "va": "center"}
            halo = [withStroke(linewidth=1.8, foreground="white")]
            self.axes.text(at.real, at.imag, spring.name, zorder=8, path_effects=halo, **look)

    def _line(self, places: Any, colour: str, width: float, order: float, **look: Any) -> None:
        path = np.asarray(places)
        self.axes.plot(path.real, path.imag, color=colour, linewidth=width, zorder=order, **look)


def coil(begin: complex, end: complex, half: float) -> np.ndarray:
    """A spring between two places on the paper: straight hooks and a body of `COILS` turns, `half` [mm] wide each way."""
    along = end - begin
    across = 1j * along / abs(along) * half if abs(along) else 0j
    steps = np.linspace(HOOK_SHARE, 1 - HOOK_SHARE, 2 * COILS + 1)
    sides = np.where(np.arange(2 * COILS + 1) % 2 == 1, 1.0, -1.0)
    sides[[0, -1]] = 0.0
    body = begin + steps * along + sides * across
    return np.concatenate([[begin], body, [end]])


def length_bar(axes: Axes, spring: DrawnSpring, state: int, begin: complex, scale: float, colour: str) -> None:
    """A spring laid straight, to scale, from `begin` [mm on paper] to the right."""
    end = begin + 1e3 * scale * spring.length[state]
    path = coil(begin, end, COIL_MM)
    axes.plot(path.real, path.imag, color=colour, linewidth=style.SPRING_PT[spring.name])
    axes.plot([begin.real, end.real], [begin.imag] * 2, color=colour, linewidth=0, marker="|", markersize=8)


def hull(places: list[complex]) -> list[complex]:
    """The convex outline [m] round places, anticlockwise (Andrew's monotone chain)."""
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


def spread(wanted: list[float], gap: float, low: float, high: float) -> list[float]:
    """Heights [mm of paper] near the wanted ones, which fall, each at least `gap` below the one before and all between
    low and high."""
    rows: list[float] = []
    for y in wanted:
        rows.append(min(y, rows[-1] - gap if rows else high))
    floor = low
    for i in reversed(range(len(rows))):
        rows[i] = max(rows[i], floor)
        floor = rows[i] + gap
    return rows


WIDTH_MM = 270.0  # lies across a sheet of A4 or letter
CENTRES_MM = (86.0, 215.0)  # of the mechanism at rest, with its labels, and at full advance
REACH_MM = 44.0  # farthest that a point may be drawn from the shaft
COLUMN_MM = 47.0  # from the centre to the columns of labels
ROW_MM = 7.6  # between labels
HEAD_MM, SPRING_MM, FOOT_MM = 17.0, 15.0, 10.0
CAPTION_MM = 14.0  # below the mechanisms
BAR_MM = (38.0, 84.0)  # where a spring's length begins, and how long it may be drawn
SMALL_MM, SMALL_REACH_MM = (84.0, 50.0), 20.5  # for the sheet: its size, and the farthest point from the shaft
SCALES = (5.0, 4.0, 3.0, 2.5, 2.0, 1.5, 1.25, 1.0, 0.75, 0.5, 0.25, 0.1)
LEAST_REACH_M = 5e-3


def unit_figure_bytes(picture: Picture) -> dict[str, bytes]:
    """The unit as "unit.svg" and "unit.png", the same bytes for the same picture."""
    with style.figure_settings():
        return style.figure_bytes(_figure(picture), "unit")


def small_unit_svg(job: Job) -> bytes:
    """The unit at rest and at full advance without the numbers, as SVG of `SMALL_MM`, to be set into a page."""
    with style.figure_settings():
        return style.figure_svg(_small(picture_of(job)))


def _canvas(width: float, height: float) -> tuple[Figure, Axes]:
    """A figure whose one axis counts millimetres of paper from its lower left."""
    figure = style.figure_of((width, height))
    axes = figure.add_axes((0.0, 0.0, 1.0, 1.0))
    axes.set(xlim=(0, width), ylim=(0, height))
    axes.set_axis_off()
    return figure, axes


def _say(axes: Axes, x: float, y: float, words: str, **how: Any) -> None:
    """Text at a place on the paper [mm]."""
    plain: dict[str, Any] = {"fontsize": style.SMALL_PT, "color": style.INK, "va": "center", "parse_math": False}
    axes.text(x, y, words, **(plain | how))


def scale_of(picture: Picture, room: float) -> float:
    """Millimetres of paper for each of the unit, the largest round scale at which it fits into `room` [mm]."""
    reach = reach_of(picture)
    return next((s for s in SCALES if 1e3 * s * reach <= room), SCALES[-1])


def reach_of(picture: Picture) -> float:
    """How far from the shaft the farthest thing drawn is [m]."""
    reach = max((abs(p) for mark in picture.marks for p in mark.at), default=0.0) + FLESH_MM * 1e-3
    return max(reach, *(picture.radius or (0.0,)), (picture.stop_radius or 0.0) + 2e-3, LEAST_REACH_M)


def springs_scale(picture: Picture) -> float:
    """Millimetres of paper for each of a spring's [1], alike for all springs."""
    longest = max(max(*s.length, s.free or 0.0) for s in picture.springs)
    return next((s for s in SCALES if 1e3 * s * longest <= BAR_MM[1]), SCALES[-1])


def _figure(picture: Picture) -> Figure:
    faults = ["The model refuses this unit:"] if picture.faults else []
    faults += [line for f in picture.faults for line in textwrap.wrap(style.plain(f.removeprefix(picture.folder)), 150)]
    trouble = 4.0 + 3.4 * len(faults) if faults else 0.0
    scale = scale_of(picture, REACH_MM)
    panel = max(2e3 * scale * reach_of(picture), ROW_MM * (len(picture.marks) + 1)) + 6.0
    height = HEAD_MM + trouble + panel + CAPTION_MM + SPRING_MM * len(picture.springs) + FOOT_MM
    figure, axes = _canvas(WIDTH_MM, height)
    _head(axes, picture, height)
    if faults:
        _trouble(axes, faults, height - HEAD_MM)
    middle = height - HEAD_MM - trouble - panel / 2
    for state, x in enumerate(CENTRES_MM):
        parts = Parts(axes, picture, state, complex(x, middle), scale)
        parts.draw()
        _caption(axes, picture, state, x, middle - panel / 2 - 1.5)
        if state == 0:
            _labels(axes, parts, panel / 2 - 4.0)
    for row, spring in enumerate(picture.springs):
        top = middle - panel / 2 - CAPTION_MM - SPRING_MM * row
        _strip(axes, spring, top, springs_scale(picture))
    _foot(axes, picture, scale)
    return figure


def _head(axes: Axes, picture: Picture, height: float) -> None:
    """What it is, how one looks at it, and what the marks mean."""
    _say(
        axes,
        6,
        height - 6,
        style.shortened(picture.title, 92),
        fontsize=style.TEXT_PT + 1,
        fontweight="bold",
        ha="left",
    )
    turns = "clockwise" if picture.clockwise else "anticlockwise"
    _say(axes, 6, height - 11, f"Seen from the rotor end; the shaft turns {turns}.", ha="left", color=style.GREY)
    _say(axes, WIDTH_MM - 6, height - 11, style.shortened(picture.unit, 76), ha="right", color=style.GREY)


def _trouble(axes: Axes, lines: list[str], top: float) -> None:
    axes.plot([6, 6], [top + 1.5, top - 3.4 * len(lines) + 0.5], color=style.WRONG, linewidth=2.0)
    for row, line in enumerate(lines):
        _say(axes, 8, top - 3.4 * row, line, ha="left")


def _caption(axes: Axes, picture: Picture, state: int, x: float, y: float) -> None:
    """Below each mechanism: the state, and where the centre of gravity is."""
    name = "At rest"
    if state == 1:
        name = f"At {'full advance' if not picture.binds else 'the last advance before it binds'}, "
        name += f"{np.degrees(picture.advance):.1f}° (distributor)"
    _say(axes, x, y + 1.5, name, ha="center", fontsize=style.TEXT_PT, fontweight="bold")
    if picture.radius is None:
        _say(axes, x, y - 2.5, "the weights are told by a sweep, not by their places", ha="center")
        return
    now, rest = 1e3 * picture.radius[state], 1e3 * picture.radius[0]
    words = f"centre of gravity {now:.1f} mm from the shaft"
    wrong = False
    if state == 1:
        wrong = now <= rest
        words += f", {abs(now - rest):.1f} mm {'INWARD' if wrong else 'outward'}"
    _say(axes, x, y - 2.5, words, ha="center", color=style.WRONG if wrong else style.INK)
    note = "dashed, and small rings: where it was at rest" if state == 1 else ""
    if not picture.weight:
        note = "the dashed circle; the job does not tell where on it"
    _say(axes, x, y - 6.0, note, ha="center", fontsize=style.TINY_PT, color=style.MOVED)


def _labels(axes: Axes, parts: Parts, half: float) -> None:
    """Names and numbers of the points at rest, in two columns with leaders to the points."""
    picture, centre = parts.picture, parts.centre
    wanted = [(parts.on_paper(mark.at[0]), mark.name, mark.given) for mark in picture.marks]
    wanted.append((parts.stop_face, "stop", _stop_words(picture)))
    for side in (-1.0, 1.0):
        here = [w for w in wanted if (w[0].real >= centre.real) == (side > 0)]
        here.sort(key=lambda w: -w[0].imag)
        rows = spread([w[0].imag for w in here], ROW_MM, centre.imag - half, centre.imag + half)
        for (at, name, given), y in zip(here, rows, strict=True):
            x = centre.real + side * COLUMN_MM
            align = "left" if side > 0 else "right"
            axes.plot([x - 0.5 * side, at.real], [y, at.imag], color=style.GREY, linewidth=style.LEADER_PT, zorder=7)
            _say(axes, x, y + 1.5, name, ha=align, fontsize=style.TINY_PT, fontweight="bold")
            _say(axes, x, y - 1.5, style.shortened(given, 30), ha=align, fontsize=style.TINY_PT)


def _stop_words(picture: Picture) -> str:
    words = f"{np.degrees(picture.stop.advance):.1f}°"
    return words if picture.stop_radius is None else f"{words}, radius {1e3 * picture.stop_radius:.1f} mm"


def _strip(axes: Axes, spring: DrawnSpring, top: float, scale: float) -> None:
    """A spring's length over the posts at rest and at full advance, beside its free length, and what it pulls."""
    _say(axes, 6, top - 3.5, spring.name, ha="left", fontweight="bold")
    if spring.free is not None:
        x = BAR_MM[0] + 1e3 * scale * spring.free
        axes.plot([x, x], [top - 10.5, top - 0.5], color=style.GREY, linewidth=style.LEADER_PT, linestyle=(0, (4, 2)))
        _say(axes, x, top - 12.0, "free length", ha="center", fontsize=style.TINY_PT, color=style.GREY)
    for state, name in enumerate(("at rest", "full")):
        y = top - 3.5 - 4.5 * state
        slack = spring.free is not None and spring.length[state] < spring.free
        _say(axes, BAR_MM[0] - 3, y, name, ha="right", fontsize=style.TINY_PT)
        colour = style.WRONG if spring.shortens else style.GREY if slack else style.INK
        length_bar(axes, spring, state, complex(BAR_MM[0], y), scale, colour)
    for row, words in enumerate(spring_words(spring)):
        wrong = spring.shortens and row == 0
        _say(axes, 140, top - 3.5 - 4.0 * row, words, ha="left", color=style.WRONG if wrong else style.INK)


def spring_words(spring: DrawnSpring) -> list[str]:
    """What the drawing says of a spring, in one to three lines."""
    rest, full = (1e3 * x for x in spring.length)
    lines = [f"over the posts {rest:.1f} mm at rest, {full:.1f} mm at full advance"]
    if spring.shortens:
        lines[0] += ": it SHORTENS"
    if spring.free is None:
        lines.append("the spring itself is not described")
        return lines
    slack = 1e3 * spring.free - rest
    state = f"slack by {slack:.1f} mm at rest" if slack > 0 else f"stretched by {-slack:.1f} mm at rest"
    lines.append(f"free length {1e3 * spring.free:.1f} mm: {state}")
    if spring.pull is not None:
        words = f"pulls {spring.pull[0]:.2f} N at rest, {spring.pull[1]:.2f} N at full advance"
        if slack > 0 and spring.takeup is not None:
            words = f"pulls from {np.degrees(spring.takeup):.1f}° on, {spring.pull[1]:.2f} N at full advance"
        lines.append(words if slack <= 0 or spring.takeup is not None else "never takes up before the stop")
    return lines


def _foot(axes: Axes, picture: Picture, scale: float) -> None:
    """A bar to check the print by, the scale, and what the figure was made from."""
    axes.plot([6, 6 + 10 * scale], [5.2, 5.2], color=style.INK, linewidth=2.0, solid_capstyle="butt")
    unit, springs = (f"{s:g} : 1" if s >= 1 else f"1 : {1 / s:.3g}" for s in (scale, springs_scale(picture)))
    words = f"10 mm of the unit. Printed {WIDTH_MM:.0f} mm wide: unit {unit}, springs below it {springs}. "
    words += "Points are to scale; the outlines round them, and where on the base the stop is, are sketched."
    _say(axes, 8 + 10 * scale, 5.2, words, ha="left", fontsize=style.TINY_PT)
    made = f"inputs {picture.fingerprint} · recurve {__version__}"
    _say(axes, WIDTH_MM - 6, 2.0, made, ha="right", fontsize=style.TINY_PT, color=style.GREY)


def _small(picture: Picture) -> Figure:
    """Both states side by side, springs named, nothing else."""
    figure, axes = _canvas(*SMALL_MM)
    scale = SMALL_REACH_MM / (1e3 * reach_of(picture))
    for state, name in enumerate(("at rest", f"at {np.degrees(picture.advance):.1f}° (distributor)")):
        centre = complex(SMALL_MM[0] * (0.25 + 0.5 * state), SMALL_MM[1] / 2 + 2.5)
        parts = Parts(axes, picture, state, centre, scale)
        parts.draw()
        if state == 0:
            parts.name_springs()
        _say(axes, centre.real, 2.5, name, ha="center")
    return figure
