"""Whether the readings of a finished unit put a post, or a take-up, farther from the plan than anyone sets it wrong: then a
spring is out, broken, or another one, and no post is to be bent for it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from recurve.diagnosis.as_set import AsSet
from recurve.diagnosis.correction import Correction, Move
from recurve.fit.state import SURE, Evidence
from recurve.job.model import Job
from recurve.physics.posts import takeup_advance
from recurve.uncertainty import Uncertain
from recurve.units import PLACES

FAR = 0.7e-3  # no post is set so far wrong by calliper [m]; common practice, no source
LATE = np.radians(2.0)  # what such a post does to a take-up, about


@dataclass(frozen=True)
class LateSpring:
    """The spring in `place` takes up at `read` [rad] by the readings, where `planned` [rad] was planned."""

    place: str
    read: Uncertain
    planned: float

    def words(self) -> str:
        """In words, for the distributor."""
        planned = f"{np.degrees(self.planned):.1f}°"
        return f"the {self.place} takes up at {self.read.degrees()} (distributor) where {planned} was planned"


@dataclass(frozen=True)
class TooFar:
    """The springs that are too `late`, and the `moves` of posts that nobody would have set so far wrong."""

    late: tuple[LateSpring, ...]
    moves: tuple[Move, ...]

    def words(self) -> str:
        """In words, for the distributor."""
        moved = [f"the {m.what} {abs(m.by) * 1e3:.2f} mm {'out' if m.by > 0 else 'in'}" for m in self.moves]
        bent = (f"to meet the bands, one would have to bend {' and '.join(moved)}",) if moved else ()
        told = "; ".join((*(one.words() for one in self.late), *bent))
        named = {one.place for one in self.late} or {m.what.removesuffix(" post") for m in self.moves}
        places = [p for p in PLACES if p in named]
        which = f"the {' and the '.join(places)} {'is' if len(places) == 1 else 'are'}"
        options = " and ".join(f"--{place}-length" for place in places)
        return (
            f"by the readings, {told}. No post is set so far wrong. Stop the bench. See that {which} hooked in at both ends, "
            f"whole, and as planned. If not, put that right and sweep again. If so, measure the length over both posts and give "
            f"it with {options}"
        )


def too_far(evidence: Evidence, correction: Correction | None, planned: Job, told: AsSet) -> TooFar | None:
    """Whether a unit that was built by its plan, and misses its bands, is off by what no calliper does: by the take-ups of the
    evidence, or by the correction that it asks for. Where somebody has measured over the posts, it is known where they stand."""
    if planned.model.planned is None:
        return None
    free = [i for i in range(len(planned.places)) if told.lengths[i] is None and told.springs[i] is None]
    late = tuple(one for i in free if (one := _late(evidence, planned, i)) is not None)
    names = {f"{PLACES[i]} post" for i in free}
    moves = () if correction is None else correction.moves
    far = tuple(m for m in moves if m.what in names and abs(m.by) > FAR)
    return TooFar(late, far) if late or far else None


def _late(evidence: Evidence, planned: Job, i: int) -> LateSpring | None:
    place = planned.places[i]
    if place.found is None:
        return None
    at = takeup_advance(place.posts, place.found.free_length, planned.stop.advance)
    seen = evidence.takeup(i)
    if at is None or seen.above(at + LATE) < SURE:
        return None
    return LateSpring(PLACES[i], seen.summary, at)
