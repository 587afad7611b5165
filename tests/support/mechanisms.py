"""Random advance mechanisms for the tests, all invented, in the units of a job file.

Nothing here comes from the package. A mechanism is drawn, its loop of pivot, pin and cam is closed by
a secant search of its own, and it is kept only if its weights fly outward and its springs lengthen.
Its springs are then sized so that a plausible curve results, so that no draw is all slack or all snap.

Lengths [mm], masses [g], angles [deg] positive in the direction of rotation, rates [N/mm], pulls [N],
moments [mN·m], speeds [rpm].
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from functools import cache

import numpy as np
from numpy.typing import NDArray
from scipy.interpolate import CubicSpline

PLACES = (
    ("base", "cam"),
    ("cam", "base"),
    ("base", "weight"),
    ("weight", "cam"),
    ("weight", "weight 2"),
    ("weight 2", "base"),
    ("cam", "weight 2"),
)
RPM = np.pi / 30


class Unsound(Exception):
    """A draw that no distributor could be built from."""


@dataclass(frozen=True)
class Post:
    """A spring post: what it sits on, and its place at rest from the shaft."""

    on: str
    radius: float
    angle: float

    @property
    def place(self) -> complex:
        """Its place at rest [mm], the first weight's pivot on the real axis."""
        return self.radius * np.exp(1j * np.radians(self.angle))


@dataclass(frozen=True)
class Pull:
    """A spring on its two posts."""

    anchor: Post
    far: Post
    diameter: float
    rate: float = 0.0
    free_length: float = 0.0
    tension: float = 0.0


@dataclass(frozen=True)
class Mechanism:
    """One advance mechanism; `cg` and `pin` are (distance, angle) from the pivot, `cam` from the shaft.

    `speeds` [rpm] lie from just above its onset to just past its stop; `friction` is Coulomb's, at the cam.
    """

    kind: str
    rotation: str
    count: int
    mass: float
    pivot: float
    cg: tuple[float, float]
    pin: tuple[float, float]
    cam: tuple[float, float] | None
    springs: tuple[Pull, ...]
    stop: float
    drag: float
    speeds: tuple[float, ...] = ()
    friction: float = 0.0

    def from_pivot(self, arm: tuple[float, float]) -> complex:
        """A point of the first weight [mm] by its arm."""
        return self.pivot + arm[0] * complex(np.exp(1j * np.radians(arm[1])))

    @property
    def cam_point(self) -> complex:
        """The link's end on the cam [mm]; a slot has none."""
        assert self.cam is not None
        return self.cam[0] * complex(np.exp(1j * np.radians(self.cam[1])))


def closed_swing(one: Mechanism, advance: NDArray[np.float64]) -> NDArray[np.float64]:
    """The weights' turn [rad] at rising advances (n,) [rad], by closing the loop step after step."""
    pin = one.from_pivot(one.pin)
    swings, now, drift = [], 0.0, 0.0
    for alpha in advance:
        found = _secant(_loop(one, pin, float(alpha)), now + drift)
        drift, now = found - now, found
        swings.append(found)
    if one.kind == "slot":
        reach = one.pivot + (pin - one.pivot) * np.exp(1j * np.array(swings))
        if (np.real(reach * np.exp(-1j * (np.angle(pin) + advance))) <= 0).any():
            raise Unsound("the pin has left the slot's end")
    return np.array(swings)


def _loop(one: Mechanism, pin: complex, alpha: float) -> Callable[[float], float]:
    if one.kind == "slot":
        back = np.exp(-1j * (np.angle(pin) + alpha))
        return lambda psi: float(np.imag((one.pivot + (pin - one.pivot) * np.exp(1j * psi)) * back))
    cam = one.cam_point * np.exp(1j * alpha)
    rest = abs(pin - one.cam_point)
    return lambda psi: float(abs(one.pivot + (pin - one.pivot) * np.exp(1j * psi) - cam) - rest)


def _secant(loop: Callable[[float], float], start: float) -> float:
    a, b = start, start + 1e-4
    left, right = loop(a), loop(b)
    for _ in range(30):
        if abs(right) < 1e-13 or right == left:
            break
        a, b, left = b, b - right * (b - a) / (right - left), right
        right = loop(b)
    if abs(right) > 1e-9 or abs(b - start) > 0.3:
        raise Unsound("the loop does not close")
    return b


def place_of(
    one: Mechanism, post: Post, advance: NDArray[np.float64], swing: NDArray[np.float64]
) -> NDArray[np.complex128]:
    """Where a post is [mm] at the advances and swings (n,) [rad]."""
    if post.on == "base":
        return post.place + 0j * advance
    if post.on == "cam":
        return post.place * np.exp(1j * advance)
    centre = one.pivot * np.exp(2j * np.pi * (_weight(post.on) - 1) / one.count)
    return centre + (post.place - centre) * np.exp(1j * swing)


def _weight(on: str) -> int:
    return int(on.removeprefix("weight").strip() or 1)


def distance(
    one: Mechanism, pull: Pull, advance: NDArray[np.float64], swing: NDArray[np.float64]
) -> NDArray[np.float64]:
    """Length over the posts [mm] at the advances and swings (n,) [rad]."""
    return np.abs(place_of(one, pull.anchor, advance, swing) - place_of(one, pull.far, advance, swing)) + pull.diameter


def inertia(one: Mechanism, swing: NDArray[np.float64]) -> NDArray[np.float64]:
    """count · mass · r² [kg·m²] at the swings (n,) [rad]."""
    cg = one.pivot + (one.from_pivot(one.cg) - one.pivot) * np.exp(1j * swing)
    return one.count * one.mass * 1e-9 * np.abs(cg) ** 2


@cache
def mechanism(seed: int) -> Mechanism:
    """The sound mechanism of this seed. Motion, rotation, sense of the weights, posts, drag and initial
    tension go round with the seed, so that a few dozen in a row hold every kind."""
    random = np.random.default_rng(seed)
    for _ in range(20000):
        try:
            return _sized(_with_posts(_weights(seed, random), seed, random), seed, random)
        except Unsound:
            continue
    raise AssertionError(f"seed {seed} gives no sound mechanism")


def _weights(seed: int, random: np.random.Generator) -> Mechanism:
    kind = ("slot", "link")[seed % 2]
    sense = (1.0, -1.0)[seed // 4 % 2]
    # A weight ahead of its pivot turns back to fly out, which takes a pin on the shaft's side to advance the cam.
    inside = sense > 0 if kind == "slot" else random.random() < 0.5
    pin_angle = random.uniform(140, 220) if inside else random.uniform(-60, 60)
    one = Mechanism(
        kind,
        ("anticlockwise", "clockwise")[seed // 2 % 2],
        int(random.integers(2, 4)),
        random.uniform(18, 60),
        random.uniform(16, 25),
        (random.uniform(8, 16), sense * random.uniform(40, 120)),
        (random.uniform(6, 14), pin_angle),
        (random.uniform(6, 18), random.uniform(-90, 90)) if kind == "link" else None,
        (),
        random.uniform(8, 16),
        0.0 if seed % 5 == 0 else random.uniform(2, 8),
    )
    _require_outward(one)
    return one


def _grid(one: Mechanism) -> NDArray[np.float64]:
    return np.linspace(0.0, np.radians(one.stop), 25)


def _require_outward(one: Mechanism) -> None:
    alpha = _grid(one)
    swing = closed_swing(one, alpha)
    slope = CubicSpline(alpha, inertia(one, swing))(alpha, 1)
    turn = np.abs(CubicSpline(alpha, swing)(alpha, 1))
    if slope.min() < 0.3 * slope.max() or slope.max() < 8e-6 or not 0.3 < turn.min() <= turn.max() < 4:
        raise Unsound("the weights hardly move outward, or too wildly")


def _with_posts(one: Mechanism, seed: int, random: np.random.Generator) -> Mechanism:
    places = PLACES[seed % 7], PLACES[seed // 7 % 7]
    return replace(one, springs=tuple(_posts(one, place, random) for place in places))


def _posts(one: Mechanism, places: tuple[str, str], random: np.random.Generator) -> Pull:
    alpha = _grid(one)
    swing = closed_swing(one, alpha)
    for _ in range(200):
        anchor, far = (_post(one, on, random) for on in places)
        pull = Pull(anchor, far, random.uniform(0, 3))
        length = distance(one, pull, alpha, swing)
        slope = CubicSpline(alpha, length)(alpha, 1)
        if 10 < length[0] < 32 and slope.min() > 4 and slope.min() > 0.4 * slope.max():
            return pull
    raise Unsound("no posts between which a spring lengthens")


def _post(one: Mechanism, on: str, random: np.random.Generator) -> Post:
    place = random.uniform(8, 26) * np.exp(1j * random.uniform(-np.pi, np.pi))
    if on.startswith("weight"):
        centre = one.pivot * np.exp(2j * np.pi * (_weight(on) - 1) / one.count)
        place = centre + place / 2
    return Post(on, float(abs(place)), float(np.degrees(np.angle(place))))


def _sized(one: Mechanism, seed: int, random: np.random.Generator) -> Mechanism:
    """Springs that put the onset, the knee and the stop at plausible speeds, by the balance of moments there."""
    alpha = _grid(one)
    swing = closed_swing(one, alpha)
    drive = CubicSpline(alpha, inertia(one, swing))(alpha, 1) / 2
    lengths = [distance(one, p, alpha, swing) for p in one.springs]
    arms = [CubicSpline(alpha, x)(alpha, 1) * 1e-3 for x in lengths]
    knee = int(random.integers(8, 17))
    onset, full = (random.uniform(*r) * RPM for r in ((220, 480), (900, 2200)))
    middle = onset**2 + random.uniform(0.3, 0.8) * knee / 24 * (full**2 - onset**2)
    need = drive * np.array([onset**2, middle, full**2])[:, None] - one.drag * 1e-3
    first = need[0, 0] / arms[0][0]
    rate = (need[1, knee] / arms[0][knee] - first) / (lengths[0][knee] - lengths[0][0])
    tense = 0.0 if seed % 3 == 0 else random.uniform(0.1, 0.5)
    light = _sprung(one.springs[0], lengths[0][0], first, rate, tense * first)
    carried = (first + rate * (lengths[0] - lengths[0][0])) * arms[0]
    last = (need[2, -1] - carried[-1]) / arms[1][-1]
    jump = 0.0 if seed % 3 == 0 else random.uniform(0.05, 0.2) * last
    stiff = (last - jump) / (lengths[1][-1] - lengths[1][knee])
    heavy = _sprung(one.springs[1], lengths[1][knee], jump, stiff, jump)
    total = carried + np.where(alpha >= alpha[knee], jump + stiff * (lengths[1] - lengths[1][knee]), 0.0) * arms[1]
    _require_rising((total + one.drag * 1e-3) / drive, alpha)
    speeds = tuple(float(np.round((onset + share * (full - onset)) / RPM, 1)) for share in (0.1, 0.3, 0.6, 0.9, 1.1))
    return replace(one, springs=(light, heavy), speeds=speeds)


def _sprung(pull: Pull, length: float, force: float, rate: float, tension: float) -> Pull:
    """The spring that pulls `force` at this length over the posts, `tension` of it initial."""
    if force < 0 or not 0.1 < rate < 60:
        raise Unsound("no extension spring does this")
    return replace(pull, rate=float(rate), free_length=float(length - (force - tension) / rate), tension=float(tension))


def _require_rising(squared: NDArray[np.float64], alpha: NDArray[np.float64]) -> None:
    if squared[0] <= 0 or np.diff(squared).min() < 0.2 * (squared[-1] - squared[0]) / (len(alpha) - 1):
        raise Unsound("it snaps, or nearly")


def job_text(one: Mechanism, flat: float | None = None) -> str:
    """The job file of a mechanism: points by radius and angle or, with `flat` [deg], as xy seen from the
    rotor end in a picture that lies turned by that much."""
    head = f'''title = "Invented mechanism"
[distributor]
lobes = 6
rotation = "{one.rotation}"
[weights]
count = {one.count}
mass = "{one.mass!r} g"
[stop]
advance = "{one.stop!r} deg"
[drag]
rubbing_block = "{one.drag!r} mN*m"
friction = "{one.friction!r} mN*m"
'''
    return head + _motion_text(one, flat) + "".join(_spring_text(one, i, flat) for i in range(len(one.springs)))


def _motion_text(one: Mechanism, flat: float | None) -> str:
    lines = ["[weights.motion]", f'kind = "{one.kind}"']
    if flat is None:
        lines.append(f'pivot = {{ radius = "{one.pivot!r} mm" }}')
        for name, arm in (("cg", one.cg), ("pin", one.pin)):
            lines.append(f'{name} = {{ distance = "{arm[0]!r} mm", angle = "{arm[1]!r} deg" }}')
        if one.cam is not None:
            lines.append(f'cam = {{ radius = "{one.cam[0]!r} mm", angle = "{one.cam[1]!r} deg" }}')
    else:
        points = {"pivot": complex(one.pivot), "cg": one.from_pivot(one.cg), "pin": one.from_pivot(one.pin)}
        if one.cam is not None:
            points["cam"] = one.cam_point
        lines += [f"{name} = {{ {_xy(one, point, flat)} }}" for name, point in points.items()]
    return "\n".join(lines) + "\n"


def _xy(one: Mechanism, point: complex, flat: float) -> str:
    """The point in a picture: a clockwise unit's angles run the other way there."""
    seen = drawn(one, point) * np.exp(1j * np.radians(flat))
    return f'xy = ["{float(np.real(seen))!r} mm", "{float(np.imag(seen))!r} mm"]'


def drawn(one: Mechanism, point: complex) -> complex:
    """A point as seen from the rotor end, x right and y up."""
    return point.conjugate() if one.rotation == "clockwise" else point


def _spring_text(one: Mechanism, index: int, flat: float | None) -> str:
    pull, name = one.springs[index], ("primary", "secondary")[index]
    ends = ""
    for which, post in (("anchor", pull.anchor), ("far", pull.far)):
        polar = f'radius = "{post.radius!r} mm", angle = "{post.angle!r} deg"'
        ends += f'{which} = {{ on = "{post.on}", {polar if flat is None else _xy(one, post.place, flat)} }}\n'
    return f'''[springs.{name}]
rate = "{pull.rate!r} N/mm"
free_length = "{pull.free_length!r} mm"
initial_tension = "{pull.tension!r} N"
post_diameter = "{pull.diameter!r} mm"
[springs.{name}.posts]
kind = "points"
{ends}'''
