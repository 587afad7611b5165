"""Whether a finished unit misses its bands because its spindle or its weights bind: then nothing else is to be moved yet."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np

from recurve.data import default
from recurve.diagnosis.causes import SLUGGISH, repaired
from recurve.fit.state import SURE, Evidence
from recurve.inspection.findings import Cause
from recurve.uncertainty import Uncertain
from recurve.units import RPM

APART = SLUGGISH / 2  # so far apart [rad] no freed and oiled unit stands; common practice, no source


@dataclass(frozen=True)
class Binds:
    """Rising and falling lie `apart` [rad], most of all at the `speed` [rad/s], by this `friction` [N·m]."""

    apart: Uncertain
    speed: float
    friction: Uncertain

    def words(self) -> str:
        """In words, for the distributor."""
        friction, by = self.friction.value, self.friction.standard_uncertainty or 0.0
        clean = default("clean", "friction", "moment")
        return (
            f"the falling curve lies {self.apart.degrees()} above the rising one at {self.speed * RPM:.0f} rpm "
            f"(distributor); by the readings friction is {1e3 * friction:.1f} ± {2e3 * by:.1f} mN·m, where a clean unit "
            f"has at most {1e3 * clean:.1f} mN·m: the spindle or the weights bind or are dry; free, clean and oil them, "
            "and sweep again before you bend a post"
        )


def binds(evidence: Evidence, ranks: Callable[[Evidence], Sequence[int]]) -> Binds | None:
    """Whether a unit that misses its bands surely binds, so that a band would be judged better if it were free. `ranks`: how each
    band is judged by the evidence given, the better the higher."""
    e = evidence
    if e.apart.above(APART) < SURE:
        return None
    free = repaired(e, (Cause.FRICTION,))
    if not any(after > now for now, after in zip(ranks(e), ranks(free), strict=True)):
        return None
    return Binds(e.apart.summary, e.apart_at, e.value("friction").summary)


def apart_remark(evidence: Evidence) -> tuple[str, ...]:
    """A word where rising and falling surely stand farther apart than they should, though every band is met."""
    e = evidence
    if e.apart.above(SLUGGISH) < SURE:
        return ()
    return (
        f"The falling curve lies {e.apart.summary.degrees()} above the rising one at {e.apart_at * RPM:.0f} rpm; the limit "
        f"is {np.degrees(SLUGGISH):.0f}° (distributor). The bands allow it, but the spindle or the weights may bind or be dry: "
        "turn them by hand.",
    )
