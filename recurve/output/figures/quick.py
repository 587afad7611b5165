"""Pictures that are made in a millisecond, for a page on which they follow the hand: a curve against its bands, a unit.

Plain SVG in the page's own classes, so that its style sheet colours them, light or dark. No meaning stands in a colour alone:
curves differ in their dashes and are named at their end, readings in their marks.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from html import escape

import numpy as np

from recurve.arrays import Array
from recurve.output.figures.parts import coil
from recurve.output.figures.picture import DrawnSpring, Mark, Picture
from recurve.physics.curve import Trace
from recurve.physics.sweep import Sweep
from recurve.physics.target import Band
from recurve.units import RPM

WIDTH, HEIGHT = 720.0, 400.0
LEFT, RIGHT, TOP, BOTTOM = 52.0, 16.0, 18.0, 46.0
POINTS = 160
SMALL_MARK = 3.4


@dataclass(frozen=True)
class Line:
    """A curve to draw: its `name`, its class `look` in the style sheet, speeds (n,) [rpm] and advances (n,) [deg]."""

    name: str
    look: str
    speed: Array
    advance: Array


@dataclass(frozen=True)
class Dot:
    """A reading to draw, distributor: speed [rpm], advance [deg], rising or falling, and whether it is doubted."""

    speed: float
    advance: float
    rising: bool
    doubted: bool = False


def traced(name: str, look: str, curve: Trace, last: float, idle: float) -> tuple[Line, Line]:
    """The rising and the falling branch of a curve up to `last` [rpm]; `idle` [rad/s] is where rising begins from what stays
    in."""
    speed = np.linspace(0.0, last / RPM, POINTS)
    start = float(curve.falling_advance(np.array([idle]))[0])
    rising, falling = curve.rising_advance(speed, start), curve.falling_advance(speed)
    return (
        Line(name, look, speed * RPM, np.degrees(rising)),
        Line(f"{name}, falling", f"{look} falling", speed * RPM, np.degrees(falling)),
    )


def dots_of(sweep: Sweep | None) -> tuple[Dot, ...]:
    """The readings of a sweep, the distributor's."""
    if sweep is None:
        return ()
    rows = zip(sweep.speed * RPM, np.degrees(sweep.advance), sweep.rising, strict=True)
    return tuple(Dot(float(s), float(a), bool(r)) for s, a, r in rows)


def last_rpm(bands: Sequence[Band], dots: Sequence[Dot], lines: Sequence[Line] = ()) -> float:
    """The speed [rpm] up to which to draw: a tenth beyond all there is."""
    seen = [b.speed * RPM for b in bands if b.speed is not None] + [d.speed for d in dots]
    seen += [float(line.speed[-1]) for line in lines]
    return 1.1 * max(seen, default=1000.0)


def curve_svg(
    bands: Sequence[Band], lines: Sequence[Line], dots: Sequence[Dot], last: float, label: str, at: float | None = None
) -> str:
    """Bands, curves and readings over distributor speed up to `last` [rpm]; `label` says to a reader who does not see it what
    is shown. `at` [rpm]: a speed to be marked."""
    top = max(
        [np.degrees(b.high) for b in bands] + [d.advance for d in dots] + [float(x.advance.max()) for x in lines],
        default=10.0,
    )
    view = _View(last, max(2.0, 1.12 * float(top)))
    parts = [
        *view.frame(),
        *(view.band(b) for b in bands),
        *(view.line(x) for x in lines),
        *(view.dot(d) for d in dots),
    ]
    if at is not None:
        x = view.x(at)
        parts.append(f'<line class="at" x1="{x:.1f}" y1="{TOP}" x2="{x:.1f}" y2="{HEIGHT - BOTTOM}"/>')
    parts += view.names([line for line in lines if "falling" not in line.look])
    return (
        f'<svg class="curve" viewBox="0 0 {WIDTH:.0f} {HEIGHT:.0f}" role="img" aria-label="{escape(label, quote=True)}">'
        f"{''.join(parts)}</svg>"
    )


@dataclass(frozen=True)
class _View:
    """The scales of a picture: up to `last` [rpm] and `top` [deg]."""

    last: float
    top: float

    def x(self, rpm: float) -> float:
        return LEFT + (WIDTH - LEFT - RIGHT) * min(max(rpm, 0.0), self.last) / self.last

    def y(self, degrees: float) -> float:
        return TOP + (HEIGHT - TOP - BOTTOM) * (1.0 - min(max(degrees, -1.0), self.top) / self.top)

    def frame(self) -> list[str]:
        """Axes with their ticks, units and the shaft they are of."""
        floor = HEIGHT - BOTTOM
        made = [f'<rect class="frame" x="{LEFT}" y="{TOP}" width="{WIDTH - LEFT - RIGHT}" height="{floor - TOP}"/>']
        for rpm in _ticks(self.last):
            x = self.x(rpm)
            made.append(f'<line class="grid" x1="{x:.1f}" y1="{TOP}" x2="{x:.1f}" y2="{floor}"/>')
            made.append(f'<text class="tick" x="{x:.1f}" y="{floor + 17}" text-anchor="middle">{rpm:g}</text>')
        for degrees in _ticks(self.top):
            y = self.y(degrees)
            made.append(f'<line class="grid" x1="{LEFT}" y1="{y:.1f}" x2="{WIDTH - RIGHT}" y2="{y:.1f}"/>')
            made.append(f'<text class="tick" x="{LEFT - 7}" y="{y + 4.5:.1f}" text-anchor="end">{degrees:g}</text>')
        middle = (LEFT + WIDTH - RIGHT) / 2
        made.append(f'<text class="axis" x="{middle}" y="{HEIGHT - 8}" text-anchor="middle">distributor rpm</text>')
        y = (TOP + floor) / 2
        made.append(
            f'<text class="axis" transform="translate(15 {y}) rotate(-90)" text-anchor="middle">'
            "advance, distributor degrees</text>"
        )
        return made

    def band(self, band: Band) -> str:
        """A point's band as a bar, idle's and the stop's over the speeds they hold for."""
        low, high = np.degrees(band.low), np.degrees(band.high)
        y, tall = self.y(float(high)), self.y(float(low)) - self.y(float(high))
        if band.kind == "maximum" or band.speed is None:
            begin, wide = self.x(0.72 * self.last), WIDTH - RIGHT - self.x(0.72 * self.last)
        elif band.kind == "idle":
            begin, wide = LEFT, self.x(band.speed * RPM) - LEFT
        else:
            begin, wide = self.x(band.speed * RPM) - 5, 10.0
        told = "the stop" if band.speed is None else f"{band.speed * RPM:.0f} rpm"
        title = f"<title>band at {told}: {low:.1f}° to {high:.1f}°</title>"
        return (
            f'<rect class="band {band.kind}" x="{begin:.1f}" y="{y:.1f}" width="{wide:.1f}" height="{max(tall, 1.5):.1f}">'
            f"{title}</rect>"
        )

    def line(self, line: Line) -> str:
        """A curve."""
        places = " ".join(f"{self.x(s):.1f},{self.y(a):.1f}" for s, a in zip(line.speed, line.advance, strict=True))
        return f'<polyline class="line {line.look}" points="{places}"><title>{escape(line.name)}</title></polyline>'

    def dot(self, dot: Dot) -> str:
        """A reading: a disc rising, a ring falling; one that is doubted has a cross through it."""
        x, y = self.x(dot.speed), self.y(dot.advance)
        way = "rising" if dot.rising else "falling"
        told = f"<title>{way}: {dot.advance:.1f}° at {dot.speed:.0f} rpm</title>"
        mark = f'<circle class="dot {way}" cx="{x:.1f}" cy="{y:.1f}" r="{SMALL_MARK}">{told}</circle>'
        if not dot.doubted:
            return mark
        r = 2.2 * SMALL_MARK
        return mark + f'<path class="doubt" d="M{x - r:.1f},{y - r:.1f}l{2 * r},{2 * r}m0,{-2 * r}l{-2 * r},{2 * r}"/>'

    def names(self, lines: Sequence[Line]) -> list[str]:
        """Each curve's name in a corner, with a piece of its line."""
        made = []
        for row, line in enumerate(lines):
            y = TOP + 16 + 17 * row
            made.append(f'<polyline class="line {line.look}" points="{LEFT + 10},{y - 4} {LEFT + 38},{y - 4}"/>')
            made.append(f'<text class="name" x="{LEFT + 44}" y="{y}">{escape(line.name)}</text>')
        return made


def _ticks(top: float) -> list[float]:
    """Round numbers from 0 up to `top`, five to eight of them [any]."""
    step = 10.0 ** np.floor(np.log10(top / 4))
    step = next(float(step * k) for k in (1, 2, 5, 10) if top / (step * k) <= 8)
    return [float(x) for x in np.arange(0.0, top + 1e-9, step)]


# --- the unit -------------------------------------------------------------------------------------------------


def unit_svg(picture: Picture, part: float, label: str) -> str:
    """The unit to scale from the rotor end, its weights and springs at `part` [1] of the way to full advance."""
    marks = picture.marks
    if not marks:
        return ""
    size = 1.18 * max(abs(z) for m in marks for z in m.at) + 3e-3
    drawing = _Unit(picture, part, 150.0 / size)
    tall = 150.0 / size * max(abs(z.imag) for m in marks for z in m.at) + 28.0  # room for the posts' numbers
    return (
        f'<svg class="unit" viewBox="-160 {-tall:.0f} 320 {2 * tall:.0f}" role="img" aria-label="{escape(label, quote=True)}">'
        f"{''.join(drawing.parts())}</svg>"
    )


@dataclass(frozen=True)
class _Unit:
    """A picture at a part of its travel, `scale` [1/m] units of the drawing for a metre."""

    picture: Picture
    part: float
    scale: float

    def place(self, mark: Mark) -> complex:
        """Where a mark stands now: between its two places along the arc about the point it turns on."""
        rest, full = mark.at
        if rest == full:
            return rest
        about = self._axis(mark)
        one, other = rest - about, full - about
        if abs(one) < 1e-9 or abs(other) < 1e-9:
            return rest + self.part * (full - rest)
        turn = np.angle(other / one) * self.part
        return complex(about + one * np.exp(1j * turn) * (abs(other) / abs(one)) ** self.part)

    def _axis(self, mark: Mark) -> complex:
        """What carries a mark turns about the shaft, or, on the first weight, about its pivot."""
        pivots = [m.at[0] for m in self.picture.weight if m.role == "pivot"]
        if mark.body == "cam" or not pivots:
            return 0j
        if mark.body == 2 and self.picture.count == 2:
            return -pivots[0]
        return pivots[0]

    def xy(self, z: complex) -> tuple[float, float]:
        return z.real * self.scale, -z.imag * self.scale

    def parts(self) -> list[str]:
        """The shaft, weights, springs and posts."""
        made = ['<circle class="shaft" r="7"/>']
        weight = {m.role: self.place(m) for m in self.picture.weight}
        for number in range(self.picture.count if weight else 0):
            turn = complex(np.exp(2j * np.pi * number / self.picture.count))
            made += self._weight({role: z * turn for role, z in weight.items()})
        for index, spring in enumerate(self.picture.springs):
            made += self._spring(spring, index)
        return made

    def _weight(self, at: dict[str, complex]) -> list[str]:
        (px, py), (cx, cy) = self.xy(at["pivot"]), self.xy(at["cg"])
        made = [
            f'<line class="weight" x1="{px:.1f}" y1="{py:.1f}" x2="{cx:.1f}" y2="{cy:.1f}"/>',
            f'<circle class="weight-cg" cx="{cx:.1f}" cy="{cy:.1f}" r="9"/>',
        ]
        if "pin" in at:
            x, y = self.xy(at["pin"])
            made.append(f'<line class="arm" x1="{px:.1f}" y1="{py:.1f}" x2="{x:.1f}" y2="{y:.1f}"/>')
            made.append(f'<circle class="pin" cx="{x:.1f}" cy="{y:.1f}" r="3.5"/>')
            if "cam" in at:
                u, v = self.xy(at["cam"])
                made.append(f'<line class="arm" x1="{x:.1f}" y1="{y:.1f}" x2="{u:.1f}" y2="{v:.1f}"/>')
        made.append(f'<circle class="pivot" cx="{px:.1f}" cy="{py:.1f}" r="5"/>')
        return made

    def _spring(self, spring: DrawnSpring, index: int) -> list[str]:
        if spring.anchor is None or spring.far is None:
            return []
        begin, end = self.place(spring.anchor), self.place(spring.far)
        zigzag = coil(begin * self.scale, end * self.scale, 4.0 + 1.5 * index)
        places = " ".join(f"{z.real:.1f},{-z.imag:.1f}" for z in zigzag)
        (ax, ay), (bx, by) = self.xy(begin), self.xy(end)
        name = ("1", "2")[index]
        return [
            f'<polyline class="spring {spring.name}" points="{places}"><title>{spring.name} spring</title></polyline>',
            f'<circle class="post anchor" cx="{ax:.1f}" cy="{ay:.1f}" r="4.5"/>',
            f'<circle class="post" cx="{bx:.1f}" cy="{by:.1f}" r="3.5"/>',
            f'<text class="post-name" x="{ax + 7:.1f}" y="{ay - 6:.1f}">{name}</text>',
        ]
