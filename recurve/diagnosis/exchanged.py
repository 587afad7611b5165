"""Whether the two springs hang in each other's place: the primary pulls after the secondary, or the two exchanged would put
the unit right.

Of a unit that misses its bands each state is turned into the one with its two springs hung on each other's posts. Where that
alone brings the bands back, it is the cheapest thing to look at, and speaks against every other cause: no spring that is
worn, and no crank figure, makes the springs that are there the right ones for each other's place.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import ClassVar

import numpy as np

from recurve.diagnosis.flat import BARELY
from recurve.fit.state import SURE, Evidence
from recurve.inspection.findings import Cause, Finding, Words
from recurve.job.model import Job
from recurve.physics.ensemble import Units, curves
from recurve.physics.sweep import Sweep
from recurve.physics.target import passes
from recurve.uncertainty import Uncertain, chance_words

LATER = np.radians(0.5)  # a primary that takes up so much after the second spring is no primary
CURED = 0.5  # fraction of the states that the exchange must bring into every band
AS_IT_IS = 0.05  # and at most so many may be in them as they are
MAY_HOLD = 0.05  # probability from which springs are looked at before anything is stripped
POINTS = 48  # advances of a curve on either side of the second take-up


@dataclass(frozen=True)
class Exchanged(Finding):
    """The primary begins to pull at `first` [rad], after the secondary does, at `second` [rad]."""

    first: Uncertain
    second: Uncertain
    units: ClassVar[dict[str, str]] = {"first": "deg", "second": "deg"}
    cause = Cause.SPRINGS

    def words(self) -> Words:
        """The finding in words."""
        return Words(
            "primary and secondary exchanged?",
            f"by job and sweep, the secondary begins to pull at {self.second.degrees()} of advance, before the "
            f"primary, at {self.first.degrees()} (distributor)",
            "what is said of one spring holds for the other",
            "check which spring hangs on which posts; the primary pulls first. Exchange them, in the unit or in "
            "the job. If each hangs where the job says, the primary is slack: reset its post, or fit another, and sweep "
            "the unit again",
        )


@dataclass(frozen=True)
class CuredByExchange(Finding):
    """The two springs, each on the other's posts, would bring the unit into every band with the probability `chance` [1]."""

    chance: float
    units: ClassVar[dict[str, str]] = {"chance": "1"}
    cause = Cause.SPRINGS

    def words(self) -> Words:
        """The finding in words."""
        return Words(
            "primary and secondary exchanged?",
            f"with the two springs exchanged and nothing else touched, the unit meets every band with a probability of "
            f"{chance_words(self.chance)}",
            "if so, no new springs are needed",
            "check which spring hangs on which posts; exchange the two and sweep the unit again. If they hang as they should, "
            "see that the job describes each in its own place",
        )


def exchanged(evidence: Evidence) -> Exchanged | CuredByExchange | None:
    """The two springs seem to be in each other's place, in the unit or in the job; None if not, or with one spring."""
    if len(evidence.job.places) < 2:
        return None
    first, second = evidence.takeup(0), evidence.takeup(1)
    if float((first.sample > second.sample + LATER).mean()) >= SURE:
        return Exchanged("check first", first.summary, second.summary)
    target = evidence.job.target
    if target is None or not target.timed or float(passes(target, evidence.curves).mean()) > AS_IT_IS:
        return None
    model = evidence.model
    rest = np.array([float(p.posts.length(0.0)[0]) for p in evidence.job.places])
    units = _changed_over(model.units(evidence.ensemble.states), rest)
    cured = float(passes(target, curves(model.shapes, units, POINTS)).mean())
    return CuredByExchange("check first", cured) if cured >= CURED else None


def springs_may_hold(job: Job, sweep: Sweep) -> bool:
    """Whether springs, and nothing that binds, may hold the weights home over a whole sweep: they are not known, or as the job
    describes them they would, as they hang or on each other's posts, with a probability of at least MAY_HOLD."""
    evidence = Evidence.of(replace(job, sweep=None), None)
    if not evidence.model.springs_known:
        return True
    hung = [evidence.model.units(evidence.ensemble.states)]
    if len(job.places) == 2:
        hung.append(_changed_over(hung[0], np.array([float(p.posts.length(0.0)[0]) for p in job.places])))
    top, still = np.array([float(sweep.speed.max())]), max(BARELY, 2 * sweep.reading)
    highest = [curves(evidence.model.shapes, units, POINTS).rising_advance(top)[:, 0] for units in hung]
    return max(float((advance < still).mean()) for advance in highest) >= MAY_HOLD


def _changed_over(units: Units, rest: np.ndarray) -> Units:
    """The units with their two springs on each other's posts, which are `rest` (2,) [m] apart at rest."""
    free = rest - units.stretch
    return replace(units, rate=units.rate[:, ::-1], tension=units.tension[:, ::-1], stretch=rest - free[:, ::-1])
