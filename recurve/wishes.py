"""What the customer wishes of the springs: which may go in which place."""

from __future__ import annotations

import difflib
from dataclasses import dataclass

import numpy as np

from recurve.build import longest_length, springs_of
from recurve.errors import InputError
from recurve.job import Job
from recurve.search import Shelf
from recurve.springs import Spring

PLACES = ("primary", "secondary")


@dataclass(frozen=True)
class Wishes:
    """Limits on the choice: springs that are there (`only_in_stock`), one id for a place, or the spring that is in
    it (`keep`, places by name)."""

    only_in_stock: bool = False
    primary: str | None = None
    secondary: str | None = None
    keep: frozenset[str] = frozenset()


def shelf_of(job: Job, wishes: Wishes) -> Shelf:
    """The springs to choose from. Raises InputError where a wish names what is not there."""
    springs = springs_of(job)
    if wishes.only_in_stock:
        springs = tuple(s for s in springs if s.quantity is not None)
    shelf = Shelf.of(springs, longest_length)
    fits = np.ones((2, len(shelf.springs)), bool)
    for place in range(2):
        wanted = _wanted(job, wishes, springs_of(job), place)
        if wanted is not None:
            fits[place] = [any(s is w for w in wanted) for s in shelf.springs]
    return shelf.limited(fits)


def _wanted(job: Job, wishes: Wishes, springs: tuple[Spring, ...], place: int) -> list[Spring] | None:
    """The springs that a place may have, None for any."""
    name, identity = PLACES[place], (wishes.primary, wishes.secondary)[place]
    kept = name in wishes.keep
    if identity is None and not kept:
        return None
    if place >= len(job.places):
        raise InputError(f"{job.path}: got a wish for the {name}, expected none: the unit has one spring")
    if identity is not None and kept:
        raise InputError(f"{job.path}: got both --{name} and --keep {name}, expected one of them")
    if kept:
        found = job.places[place].found
        if found is None:
            raise InputError(
                f"{job.path}: springs.{name}: got no spring as found to keep, expected its rate and free_length or takeup"
            )
        return [found]
    named = [s for s in springs if s.id == identity]
    if not named:
        near = difflib.get_close_matches(str(identity), [s.id for s in springs], 1)
        hint = f"; did you mean {near[0]}?" if near else ""
        raise InputError(f"{job.path}: --{name}: got {identity!r}, expected an id of the catalogue{hint}")
    return named
