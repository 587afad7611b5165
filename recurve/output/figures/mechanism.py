"""The drawing of the mechanism to scale, at rest and at full advance, on which a wrong angle shows before it is computed.

A figure is one axis in millimetres of paper, so that what is drawn 1 : 1 can be laid beside the part. matplotlib is
imported only where it draws.
"""

from __future__ import annotations

import textwrap
from typing import TYPE_CHECKING, Any

import numpy as np

from recurve import __version__
from recurve.job.model import Job
from recurve.output.figures import style
from recurve.output.figures.labels import spread
from recurve.output.figures.parts import ARROW_MM, COIL_HALF_MM, FLESH_MM, Parts, base_radius, coil
from recurve.output.figures.picture import DrawnSpring, Picture, picture_of
from recurve.text import plain, shortened

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

WIDTH_MM = 270.0  # fits across a sheet of A4 or letter
CENTRES_MM = (86.0, 215.0)  # of the mechanism at rest, with its labels, and at full advance
REACH_MM = 44.0  # the farthest that anything is drawn from the shaft
COLUMN_MM = 47.0  # from the centre to the columns of labels
ROW_MM, LINE_MM = 9.6, 2.8  # between labels; between the lines of one
LABEL_LETTERS = 24  # of a line of a label, so that it fits beside the mechanism
HEAD_MM, SPRING_MM, FOOT_MM = 17.0, 15.0, 10.0
CAPTION_MM = 14.0  # below the mechanisms
BAR_MM = (38.0, 84.0)  # where the bar of a spring's length begins, and its greatest length
SMALL_MM, SMALL_REACH_MM = (84.0, 52.0), 20.0  # of the small drawing for the sheet: its size, and the reach as above
CORNER_MM, NAMED_MM = (19.8, 21.4), 3.0  # from the shaft to a spring's name; from its edge to where its line begins
SCALES = (5.0, 4.0, 3.0, 2.5, 2.0, 1.5, 1.25, 1.0, 0.75, 0.5, 0.25, 0.1)
LEAST_REACH_M = 5e-3


def unit_figure_bytes(picture: Picture) -> dict[str, bytes]:
    """The unit as "unit.svg" and "unit.png", the same bytes for the same picture."""
    with style.figure_settings():
        return style.figure_bytes(_figure(picture), "unit")


def small_unit_svg(job: Job) -> bytes:
    """The unit at rest and at full advance without numbers, as SVG of the size `SMALL_MM`, to be set into a page."""
    with style.figure_settings():
        return style.figure_svg(_small(picture_of(job)))


def _canvas(width: float, height: float) -> tuple[Figure, Axes]:
    """A figure with one axis, in millimetres of paper from the lower left."""
    figure = style.figure_of((width, height))
    axes = figure.add_axes((0.0, 0.0, 1.0, 1.0))
    axes.set(xlim=(0, width), ylim=(0, height))
    axes.set_axis_off()
    return figure, axes


def _say(axes: Axes, x: float, y: float, words: str, **look: Any) -> None:
    """Text at a place [mm on paper]."""
    usual: dict[str, Any] = {"fontsize": style.SMALL_PT, "color": style.INK, "va": "center", "parse_math": False}
    axes.text(x, y, words, **(usual | look))


def scale_of(picture: Picture, room: float) -> float:
    """The largest round scale [1], paper to unit, at which the unit reaches no farther than `room` [mm] from the shaft."""
    largest = largest_scale(picture, room)
    return next((s for s in SCALES if s <= largest), SCALES[-1])


def largest_scale(picture: Picture, room: float) -> float:
    """The scale [1] at which the farthest part, or the arrow round the base plate, is `room` [mm on paper] from the shaft."""
    return min(1e-3 * room / reach_of(picture), 1e-3 * (room - ARROW_MM) / base_radius(picture))


def reach_of(picture: Picture) -> float:
    """Distance from the shaft to the farthest part [m]."""
    reach = max((abs(p) for mark in picture.marks for p in mark.at), default=0.0) + FLESH_MM * 1e-3
    return max(reach, *(picture.radius or (0.0,)), base_radius(picture), LEAST_REACH_M)


def springs_scale(picture: Picture) -> float:
    """The scale [1], paper to unit, of the bars that show the springs' lengths; the same for all springs."""
    longest = max(max(*s.length, s.free or 0.0) for s in picture.springs)
    return next((s for s in SCALES if 1e3 * s * longest <= BAR_MM[1]), SCALES[-1])


def _figure(picture: Picture) -> Figure:
    faults = ["This unit cannot be computed:"] if picture.faults else []
    faults += [line for f in picture.faults for line in textwrap.wrap(plain(f.removeprefix(picture.folder)), 150)]
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
    """Title, name of the unit, and from which side it is seen."""
    _say(
        axes,
        6,
        height - 6,
        shortened(picture.title, 92),
        fontsize=style.TEXT_PT + 1,
        fontweight="bold",
        ha="left",
    )
    turns = "clockwise" if picture.clockwise else "anticlockwise"
    _say(axes, 6, height - 11, f"Seen from the rotor end; the shaft turns {turns}.", ha="left", color=style.GREY)
    _say(axes, WIDTH_MM - 6, height - 11, shortened(picture.unit, 76), ha="right", color=style.GREY)


def _trouble(axes: Axes, lines: list[str], top: float) -> None:
    axes.plot([6, 6], [top + 1.5, top - 3.4 * len(lines) + 0.5], color=style.WRONG, linewidth=2.0)
    for row, line in enumerate(lines):
        _say(axes, 8, top - 3.4 * row, line, ha="left")


def _caption(axes: Axes, picture: Picture, state: int, x: float, y: float) -> None:
    """Below each mechanism: its state, and where the centre of gravity is."""
    name = "At rest"
    if state == 1:
        name = f"At {'full advance' if not picture.binds else 'the last advance before it binds'}, "
        name += f"{np.degrees(picture.advance):.1f}° (distributor)"
    _say(axes, x, y + 1.5, name, ha="center", fontsize=style.TEXT_PT, fontweight="bold")
    if picture.radius is None:
        _say(axes, x, y - 2.5, "the weights are known by a sweep, not by their places", ha="center")
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
        note = "the dashed circle; the job does not say where on it"
    _say(axes, x, y - 6.0, note, ha="center", fontsize=style.TINY_PT, color=style.MOVED)


def _labels(axes: Axes, parts: Parts, half: float) -> None:
    """Names and figures of the points at rest, in two columns with leaders to the points."""
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
            lines = [name, *textwrap.wrap(shortened(given, 2 * LABEL_LETTERS - 4), LABEL_LETTERS)]
            for row, words in enumerate(lines):
                at_row = y + LINE_MM * ((len(lines) - 1) / 2 - row)
                weight = "normal" if row else "bold"
                _say(axes, x, at_row, words, ha=align, fontsize=style.TINY_PT, fontweight=weight)


def _stop_words(picture: Picture) -> str:
    words = f"{np.degrees(picture.stop.advance):.1f}°"
    return words if picture.stop_radius is None else f"{words}, radius {1e3 * picture.stop_radius:.1f} mm"


def _strip(axes: Axes, spring: DrawnSpring, top: float, scale: float) -> None:
    """A spring's length over the posts at rest and at full advance beside its free length, and its pull."""
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
        _length_bar(axes, spring, state, complex(BAR_MM[0], y), scale, colour)
    for row, words in enumerate(spring_words(spring)):
        wrong = spring.shortens and row == 0
        _say(axes, 140, top - 3.5 - 4.0 * row, words, ha="left", color=style.WRONG if wrong else style.INK)


def _length_bar(axes: Axes, spring: DrawnSpring, state: int, begin: complex, scale: float, colour: str) -> None:
    """A spring laid out straight, to scale, from `begin` [mm on paper] to the right."""
    end = begin + 1e3 * scale * spring.length[state]
    path = coil(begin, end, COIL_HALF_MM)
    axes.plot(path.real, path.imag, color=colour, linewidth=style.SPRING_PT[spring.name])
    axes.plot([begin.real, end.real], [begin.imag] * 2, color=colour, linewidth=0, marker="|", markersize=8)


def spring_words(spring: DrawnSpring) -> list[str]:
    """What the drawing says about a spring, in one to three lines."""
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
    """A bar to check the scale of a print, the scales, and the fingerprint of the inputs."""
    axes.plot([6, 6 + 10 * scale], [5.2, 5.2], color=style.INK, linewidth=2.0, solid_capstyle="butt")
    unit, springs = (f"{s:g} : 1" if s >= 1 else f"1 : {1 / s:.3g}" for s in (scale, springs_scale(picture)))
    words = f"10 mm of the unit. Printed {WIDTH_MM:.0f} mm wide: unit {unit}, springs below it {springs}. "
    words += "Points are to scale; the outlines, and the place of the stop on the base, are sketched."
    _say(axes, 8 + 10 * scale, 5.2, words, ha="left", fontsize=style.TINY_PT)
    made = f"inputs {picture.fingerprint} · recurve {__version__}"
    _say(axes, WIDTH_MM - 6, 2.0, made, ha="right", fontsize=style.TINY_PT, color=style.GREY)


def _small(picture: Picture) -> Figure:
    """Both states side by side, springs named, nothing else."""
    figure, axes = _canvas(*SMALL_MM)
    scale = largest_scale(picture, SMALL_REACH_MM)
    for state, name in enumerate(("at rest", f"at {np.degrees(picture.advance):.1f}° (distributor)")):
        centre = complex(SMALL_MM[0] * (0.25 + 0.5 * state), SMALL_MM[1] / 2 + 2.2)
        parts = Parts(axes, picture, state, centre, scale)
        parts.draw()
        if state == 0:
            _name_springs(axes, parts)
        _say(axes, centre.real, 2.5, name, ha="center")
    return figure


def _name_springs(axes: Axes, parts: Parts) -> None:
    """Each spring's name in the corner that is nearest to it, outside all parts, with a line to the spring."""
    corners = [complex(x, y) for y in (1, -1) for x in (-1, 1)]
    for spring in parts.picture.springs:
        if spring.anchor is None or spring.far is None:
            continue
        middle = parts.on_paper((spring.anchor.at[parts.state] + spring.far.at[parts.state]) / 2)
        corner = min(corners, key=lambda c: abs(parts.centre + SMALL_REACH_MM * c - middle))
        corners.remove(corner)
        at = parts.centre + complex(CORNER_MM[0] * corner.real, CORNER_MM[1] * corner.imag)
        left = corner.real < 0
        _say(axes, at.real, at.imag, spring.name, ha="left" if left else "right", fontsize=style.TINY_PT)
        begin = at + complex(NAMED_MM if left else -NAMED_MM, -1.4 * corner.imag)
        line = [begin, middle]
        axes.plot(np.real(line), np.imag(line), color=style.INK, linewidth=style.LEADER_PT, zorder=7)
