"""Random planning jobs with small catalogues for the tests, all invented and seeded.

A mechanism of `mechanisms`, with the springs it was sized for, gives a curve; the bands are drawn about
that curve, wider or narrower, moved a little or so far that nothing reaches them; the catalogue is drawn
about those springs. So some jobs are easy, some tight and some out of reach.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cache
from pathlib import Path
from tempfile import TemporaryDirectory

import numpy as np
from mechanisms import job_text, mechanism
from modelunits import unit_of

from recurve.job.model import Job, SpringPlace
from recurve.job.read import load_job
from recurve.physics.curve import Drag, Installed, Stop, Trace, Unit, trace
from recurve.physics.mechanism import Motion, RadiusTable, Weights
from recurve.physics.posts import Posts, TablePosts
from recurve.physics.target import Band, Target
from recurve.springs.spring import Catalogue, Spring

RPM = np.pi / 30
MM = 1e-3
DEG = np.pi / 180


def make_job(
    weights: Weights,
    drag: Drag,
    stop: Stop,
    places: tuple[SpringPlace, ...],
    target: Target | None,
    springs: tuple[Spring, ...] | None,
) -> Job:
    """A job around what the planner looks at; the rest is filled in."""
    return replace(
        _template(),
        weights=weights,
        drag=drag,
        stop=stop,
        places=places,
        target=target,
        catalogue=None if springs is None else Catalogue(springs),
    )


@cache
def _template() -> Job:
    """Some job as read from a file, for all that the planner does not look at."""
    with TemporaryDirectory() as folder:
        file = Path(folder) / "invented.toml"
        file.write_text(job_text(mechanism(0)), encoding="utf-8")
        return load_job(file)


@dataclass(frozen=True)
class Hidden:
    """What a job is drawn around: the mechanism's parts, the springs it was sized for, and its curve."""

    weights: Weights
    drag: Drag
    posts: tuple[Posts, ...]
    springs: tuple[Spring, ...]
    curve: Trace

    @property
    def stop(self) -> float:
        """The stop [rad] of the curve."""
        return self.curve.stop


def hidden(
    seed: int, *, places: int = 2, tables: tuple[bool, ...] = (False, False), radius_table: bool = False
) -> Hidden:
    """The mechanism of this seed as the package's types; `tables` says which posts are given by table."""
    one = unit_of(mechanism(seed))
    random = np.random.default_rng([seed, 1])
    posts = tuple(
        _table(s.posts, one.stop) if by_table else s.posts
        for s, by_table in zip(one.springs[:places], tables, strict=False)
    )
    weights = one.weights
    assert isinstance(weights, Weights)
    if radius_table:
        weights = replace(weights, motion=_radius_table(weights.motion, one.stop))
    springs = tuple(s.spring for s in one.springs[:places])
    if places == 1:
        springs = (replace(springs[0], rate=springs[0].rate * random.uniform(1.5, 3.0)),)
    friction = random.choice([0.0, random.uniform(0.2, 1.5)])
    drag = Drag(one.drag.rubbing_block, friction * MM, float(random.choice([0.0, 0.0, 0.05])))
    installed = tuple(Installed(s, p) for s, p in zip(springs, posts, strict=True))
    return Hidden(weights, drag, posts, springs, trace(Unit(weights, installed, drag, one.stop), 401))


def _table(posts: Posts, stop: float) -> TablePosts:
    """Three lengths, as one would measure them to 0.02 mm."""
    advance = np.array([0.0, 0.5, 1.0]) * stop
    length = np.round(posts.length(advance)[0] / MM, 2) * MM
    return TablePosts(tuple(advance.tolist()), tuple(length.tolist()))


def _radius_table(motion: Motion, stop: float) -> RadiusTable:
    advance = np.array([0.0, 0.35, 0.7, 1.0]) * stop
    return RadiusTable(tuple(advance.tolist()), tuple(motion.radius(advance)[0].tolist()), (0.05 * MM,) * 4)


def random_job(seed: int, wild: bool = False) -> Job:
    """The job of this seed. One in five has one place for a spring; one in six asks for what is far off. A wild
    one has posts that bend far and springs with much initial tension."""
    random = np.random.default_rng([seed, 2 + wild])
    places = 1 if seed % 5 == 4 else 2
    tables = tuple(bool(x) for x in random.random(2) < 0.5)
    around = hidden(seed, places=places, tables=tables, radius_table=all(tables) and seed % 2 == 0)
    target = random_target(around, random, shift=4.0 if seed % 6 == 5 else 0.4)
    springs = random_springs(around, random, tense=4.0 if wild else 1.0)
    found = [_found(s, i) if random.random() < 0.4 else None for i, s in enumerate(springs[:places])]
    slots = tuple(
        SpringPlace(p, _travel(random, 2.5 if wild else 1.0), f) for p, f in zip(around.posts, found, strict=True)
    )
    return make_job(around.weights, around.drag, _stop(around, random), slots, target, springs)


def _found(spring: Spring, index: int) -> Spring:
    name = ("primary", "secondary")[index]
    return replace(spring, id=f"as found {name}", rate=0.8 * spring.rate, quantity=1)


def _travel(random: np.random.Generator, scale: float) -> tuple[float, float]:
    if random.random() < 0.1:
        return 0.0, 0.0
    return -random.uniform(0.0, 0.8) * scale * MM, random.uniform(0.1, 1.0) * scale * MM


def _stop(around: Hidden, random: np.random.Generator) -> Stop:
    """Found below or above what the target was drawn with; three in four can be trimmed, within what the weights bear."""
    found = around.stop * random.uniform(0.88, 1.0)
    if random.random() < 0.25:
        return Stop(found)
    per_mm = 1 / random.uniform(10, 20) / MM
    file = min(random.uniform(0.0, 0.6) * MM, (around.stop - found) / per_mm)
    return Stop(found, per_mm, file, random.uniform(0.0, 0.6) * MM)


def random_target(around: Hidden, random: np.random.Generator, shift: float) -> Target:
    """Bands about the curve, moved by up to `shift` [deg]."""
    curve, bands = around.curve, []
    for share in np.sort(random.uniform(0.02, 1.05, size=int(random.integers(3, 6)))):
        speed = curve.rising_speed(min(share, 1.0) * around.stop)
        assert speed is not None  # a primary that pulls from rest
        speed = float(np.round(speed * (1.0 + max(share - 1.0, 0.0)) / RPM, -1)) * RPM
        centre = float(curve.rising_advance(speed)) / DEG + random.uniform(-shift, shift)
        half = random.choice([0.6, 1.0, 1.5])
        low, high = np.round([centre - half, centre + half], 1)
        bands.append(Band("point", speed, max(float(low), 0.0) * DEG, max(float(high), 0.3) * DEG))
    onset = curve.onset
    if onset is not None and random.random() < 0.7:
        bands.append(Band("idle", onset * random.uniform(0.75, 1.02), 0.0, 0.5 * DEG))
    if random.random() < 0.6:
        middle = around.stop / DEG * random.uniform(0.92, 1.02)
        bands.append(Band("maximum", None, (middle - 0.7) * DEG, (middle + 0.7) * DEG))
    random.shuffle(bands)
    return Target(tuple(bands))


def random_springs(
    around: Hidden, random: np.random.Generator, count: int | None = None, tense: float = 1.0
) -> tuple[Spring, ...]:
    """Springs about the hidden ones: as many of the first kind as of the second, one that is out of stock at times."""
    made = []
    for i in range(count or int(random.integers(4, 7))):
        base = around.springs[i % len(around.springs)]
        tension = random.choice([0.0, base.initial_tension, random.uniform(0.0, 0.8) * tense])
        free = base.free_length + random.uniform(-0.5, 0.4) * MM
        quantity = random.choice([-1, -1, 1, 1, 2, 0])
        rate = base.rate * np.exp(random.normal(0.0, 0.25))
        made.append(
            Spring(f"S{i}", float(rate), float(free), float(tension), quantity=None if quantity < 0 else int(quantity))
        )
    return tuple(made)


# --- jobs whose answer is known: drawn about a hidden curve that lies in the middle of every band ---------

TRAVEL = (-0.8 * MM, 0.8 * MM)
SEED = 11


@cache
def known(seed: int = SEED, places: int = 2) -> Hidden:
    """A mechanism whose posts are given by table, with the springs it was sized for."""
    return hidden(seed, places=places, tables=(True, True))


def point(around: Hidden, share: float, half: float = 1.0, shift: float = 0.0) -> Band:
    """A band at the speed at which rising speed brings this share of the travel, about the middle of rising and
    falling there; `half` and `shift` in degrees."""
    speed = around.curve.rising_speed(share * around.stop)
    assert speed is not None
    middle = float(around.curve.rising_advance(speed) + around.curve.falling_advance(speed)) / 2 + shift * DEG
    return Band("point", speed, middle - half * DEG, middle + half * DEG)


def maximum(around: Hidden, half: float = 0.7, shift: float = 0.0) -> Band:
    """A band for the stop about the hidden one, in degrees."""
    return Band("maximum", None, around.stop + (shift - half) * DEG, around.stop + (shift + half) * DEG)


def hidden_springs(around: Hidden, **changes: object) -> tuple[Spring, ...]:
    """The hidden springs as a catalogue, P and S."""
    return tuple(replace(s, id=name, **changes) for name, s in zip("PS", around.springs, strict=False))


def job_about(
    around: Hidden,
    bands: tuple[Band, ...],
    springs: tuple[Spring, ...] | None,
    stop: Stop | None = None,
    found: tuple[Spring | None, ...] = (None, None),
    travel: tuple[float, float] = TRAVEL,
) -> Job:
    """A job on the hidden mechanism; the stop is the hidden one, without trim, if none is given."""
    places = tuple(SpringPlace(p, travel, f) for p, f in zip(around.posts, found, strict=False))
    target = Target(bands) if bands else None
    return make_job(around.weights, around.drag, stop or Stop(around.stop), places, target, springs)


def three_points(around: Hidden) -> tuple[Band, ...]:
    """Bands at a fifth, a half and four fifths of the travel."""
    return tuple(point(around, share, half=1.5) for share in (0.2, 0.5, 0.8))


def trimmable(around: Hidden, off: float, up_to: float = 1.5) -> Stop:
    """A stop found `off` degrees from the hidden one, 4° a millimetre, that trim can move by `up_to` degrees."""
    return Stop(around.stop + off * DEG, 4 * DEG / MM, up_to / 4 * MM, up_to / 4 * MM)
