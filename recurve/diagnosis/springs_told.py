"""What the sweep of a finished unit says of the springs fitted: their rates, and free lengths where the posts were measured.

By the readings alone, what the catalogue said taken out again (`as_built`, equation 1), and only where they tell more than it.
A rate by a sweep is as good as the mass geometry: its ± is in that of the rate. A length needs the length over the posts, and
a spring with initial tension tells none, since more tension and more stretch pull alike.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from recurve.diagnosis.as_built import Told, told_of
from recurve.diagnosis.verify import Verification
from recurve.springs.noted import Noted
from recurve.units import PLACES, SQRT3, Quantity

MUCH = 0.6  # times as uncertain as the catalogue's figure, by the readings alone, at most [1]


@dataclass(frozen=True)
class SpringTold:
    """A spring of the drawer as fitted at a `place`, its `id`, and what the sweep tells of it; where that is nothing, `why`."""

    place: str
    id: str
    noted: Noted
    why: str = ""


def springs_told(result: Verification, from_: str) -> tuple[SpringTold, ...]:
    """The springs of the drawer that were fitted, each with what the sweep tells of it; `from_` says where that comes from."""
    planned = result.job.model.planned
    new = {} if planned is None else {s.place: s.id for s in planned.springs if s.new}
    found = []
    for place, other in zip(PLACES, result.told.springs, strict=True):
        identity = other or new.get(place)
        if identity:
            found.append(_told(result, place, identity, from_))
    return tuple(found)


def _told(result: Verification, place: str, identity: str, from_: str) -> SpringTold:
    if result.verdict in ("read again", "not converged") or not result.trust.ok:
        return SpringTold(place, identity, Noted(), "the readings cannot be trusted yet")
    rate = told_of(result.fit, f"{place}.rate")
    noted = Noted(_rate(rate), _free_length(result, place), None, f"{from_} {place}")
    return SpringTold(place, identity, noted, "the sweep tells nothing of this spring" if noted.empty else "")


def _rate(told: Told | None) -> Quantity | None:
    if told is None or told.uncertainty > MUCH * told.before:
        return None
    value = float(np.exp(told.value))
    return Quantity(value, SQRT3 * told.uncertainty * value)


def _free_length(result: Verification, place: str) -> Quantity | None:
    """What is over the posts less what the spring is stretched at rest."""
    index = PLACES.index(place)
    over, spring, told = (
        result.told.lengths[index],
        result.job.places[index].found,
        told_of(result.fit, f"{place}.stretch"),
    )
    if over is None or over.half_width is None or told is None or told.uncertainty > MUCH * told.before:
        return None
    if spring is None or spring.initial_tension > 0.0:
        return None
    by = float(np.hypot(told.uncertainty, over.standard_uncertainty or 0.0))
    return Quantity(over.value - told.value, SQRT3 * by)
