"""The springs to choose from, as arrays, and the customer's constraints on the choice."""

from __future__ import annotations

import difflib
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np

from recurve.arrays import Array, Mask
from recurve.errors import InputError
from recurve.job.model import Job
from recurve.physics.posts import PointPosts, Posts
from recurve.springs.spring import Spring
from recurve.units import PLACES


@dataclass(frozen=True)
class SpringSet:
    """Springs as arrays (n,): rate [N/m], free length [m] and initial tension [N].

    `longest` [m] is the greatest length to which each may be drawn without being overstressed, inf if unknown.
    `fits` (2, n) says which springs may go in which place; None allows all in both.
    """

    springs: tuple[Spring, ...]
    rate: Array
    free: Array
    tension: Array
    longest: Array
    fits: Mask | None = None

    @classmethod
    def of(cls, springs: Sequence[Spring], longest: Callable[[Spring], float] | None = None) -> SpringSet:
        """The springs that are available, in their order. `longest` gives the greatest length [m] of each; without it
        none is limited."""
        kept = tuple(s for s in springs if s.quantity is None or s.quantity > 0)
        return cls(
            springs=kept,
            rate=np.array([s.rate for s in kept], float),
            free=np.array([s.free_length for s in kept], float),
            tension=np.array([s.initial_tension for s in kept], float),
            longest=np.array([np.inf if longest is None else longest(s) for s in kept], float),
        )

    def __len__(self) -> int:
        return len(self.springs)

    def limited(self, fits: Mask) -> SpringSet:
        """The same springs, each allowed only in the places that `fits` (2, n) gives it."""
        return replace(self, fits=fits)

    def pairs(self, places: int) -> Mask:
        """Which ordered pairs may be fitted, (n, n), or (n, 1) with one place. A single spring is not used twice."""
        n = len(self)
        fits: Mask = np.ones((2, n), bool) if self.fits is None else self.fits
        if places == 1:
            return np.array(fits[:1].T)
        allowed: Mask = np.logical_and(fits[0][:, None], fits[1][None, :])
        alone = [i for i, s in enumerate(self.springs) if s.quantity == 1]
        allowed[alone, alone] = False
        return allowed


@dataclass(frozen=True)
class Constraints:
    """The customer's limits on the choice: only springs in stock (`only_in_stock`), one spring for a place (`primary`
    and `secondary`, ids), or the spring as found in a place (`keep`, names of places)."""

    only_in_stock: bool = False
    primary: str | None = None
    secondary: str | None = None
    keep: frozenset[str] = frozenset()


def springs_of(job: Job) -> tuple[Spring, ...]:
    """The catalogue's springs sorted by id, so that ties do not depend on the order of rows, then the springs found in
    the unit, which are candidates too. Raises InputError if there are none."""
    bought = () if job.catalogue is None else sorted(job.catalogue.springs, key=lambda s: s.id)
    found = tuple(p.found for p in job.places if p.found is not None)
    if not bought and not found:
        raise InputError(
            f"{job.path}: catalogue: missing, expected a catalogue of springs, or the springs as found with rate and "
            "free_length or takeup"
        )
    return (*bought, *found)


def spring_set_of(job: Job, constraints: Constraints) -> SpringSet:
    """The springs to choose from. Raises InputError if there are none, or a constraint names one that is not there."""
    springs = springs_of(job)
    available = tuple(s for s in springs if s.quantity is not None) if constraints.only_in_stock else springs
    spring_set = SpringSet.of(available, lambda s: s.most_length)
    fits = np.ones((2, len(spring_set)), bool)
    for place, there in enumerate(job.places):
        fits[place] = [goes_over(s, post_diameter(there.posts)) for s in spring_set.springs]
    for place in range(2):
        wanted = _wanted(job, constraints, springs, place)
        if wanted is not None:
            fits[place] &= [any(s is w for w in wanted) for s in spring_set.springs]
    return spring_set.limited(fits)


def post_diameter(posts: Posts) -> float:
    """Mean diameter [m] of the two posts of a place; 0 where it is not known."""
    return posts.diameter if isinstance(posts, PointPosts) else 0.0


def goes_over(spring: Spring, diameter: float) -> bool:
    """Whether the hooks of a spring go over posts of a `diameter` [m]; true where its wire or outer diameter is not known."""
    return spring.hook_opening is None or spring.hook_opening >= diameter - 1e-9


def too_narrow(job: Job) -> tuple[Spring, ...]:
    """Springs of the catalogue whose hooks go over no posts of the unit."""
    bought = () if job.catalogue is None else job.catalogue.springs
    return tuple(s for s in bought if not any(goes_over(s, post_diameter(p.posts)) for p in job.places))


def _wanted(job: Job, constraints: Constraints, springs: tuple[Spring, ...], place: int) -> list[Spring] | None:
    """The springs allowed in a place, None for any."""
    name, identity = PLACES[place], (constraints.primary, constraints.secondary)[place]
    kept = name in constraints.keep
    if identity is None and not kept:
        return None
    if place >= len(job.places):
        raise InputError(f"{job.path}: got --{name} or --keep {name}, expected neither: the unit has one spring")
    if identity is not None and kept:
        raise InputError(f"{job.path}: got both --{name} and --keep {name}, expected one of them")
    if kept:
        found = job.places[place].found
        if found is None:
            raise InputError(
                f"{job.path}: springs.{name}: got nothing to keep, expected the spring as found, with rate and "
                "free_length or takeup"
            )
        return [found]
    named = [s for s in springs if s.id == identity]
    if not named:
        near = difflib.get_close_matches(str(identity), [s.id for s in springs], 1)
        hint = f"; did you mean {near[0]}?" if near else ""
        raise InputError(f"{job.path}: --{name}: got {identity!r}, expected an id of the catalogue{hint}")
    diameter = post_diameter(job.places[place].posts)
    if not any(goes_over(s, diameter) for s in named):
        opening = 1e3 * (named[0].hook_opening or 0.0)
        raise InputError(
            f"{job.path}: --{name}: got {identity}, whose hooks are {opening:.2f} mm inside (outer diameter less two wires), "
            f"expected hooks that go over posts of {1e3 * diameter:.2f} mm"
        )
    return named
