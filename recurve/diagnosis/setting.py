"""A post set by what the bench shows: from one reading, which post to bend, which way and how far, and how surely.

The unit as planned is drawn many times with all that is not known of it. In each drawing the reading tells how far the
spring is stretched, and the planned curve how far it should be: the difference is the bend. When a post was bent and read
again, drawings in which that bend would not have done what was seen count less.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from recurve.arrays import Array
from recurve.data import default
from recurve.errors import InputError
from recurve.fit.sobol import rectangular, sobol
from recurve.fit.state import ensemble_of
from recurve.job.model import Job
from recurve.physics.curve import Trace, trace
from recurve.planner.simulate import stretch_through
from recurve.units import PLACES, RPM, SQRT3

DRAWN = 1024
# A reading says nothing of a spring so near to where the weights rest on their stops, or before it pulls [rad].
CLEAR = np.radians(0.3)


@dataclass(frozen=True)
class Shown:
    """A reading at the bench while posts are set, speed rising: `speed` [rad/s] and `advance` [rad] of the distributor, and how
    far [m] which post was bent after it, out positive, where it is known."""

    speed: float
    advance: float
    bent: float = 0.0


@dataclass(frozen=True)
class PostToBend:
    """What a reading asks: the `place` of the spring, 0 the primary; the `bend` [m] of its post, out positive, with its
    `standard_uncertainty` [m]; the advance `wanted` [rad] at that speed; and whether the post is to be `left` alone, the
    reading being as near as readings are."""

    place: int
    bend: float
    standard_uncertainty: float
    wanted: float
    left: bool

    @property
    def name(self) -> str:
        """ "primary" or "secondary"."""
        return PLACES[self.place]


def post_to_bend(planned: Job, shown: Sequence[Shown], leave: float) -> PostToBend:
    """Which post the last reading asks to bend, the earlier ones being of the same post. `leave` [rad]: a post is left alone
    within it. Raises InputError where the reading cannot tell."""
    unit = planned.as_found()
    assert unit is not None  # a plan names its springs
    curve, last = trace(unit, 801), shown[-1]
    wanted = float(curve.rising_advance(last.speed))
    place = _place_told(curve, wanted, last)
    ensemble = ensemble_of(planned, None, DRAWN)
    units, shapes = ensemble.model.units(ensemble.states), ensemble.model.shapes
    errors = sobol(DRAWN, 2 * len(shown), 17)
    by = default("sweep", "speed_reading", "speed") if planned.sweep is None else planned.sweep.speed_reading
    stretched = []
    for number, one in enumerate(shown):
        off = [rectangular(u, 1.0) for u in errors[:, 2 * number : 2 * number + 2].T]
        at = np.maximum(one.advance + planned.build.reading * off[0], 1e-6)
        stretched.append(stretch_through(shapes, units, place, at, np.maximum(one.speed + by * off[1], 0.0)))
    asked = stretch_through(shapes, units, place, np.full(DRAWN, wanted), np.full(DRAWN, last.speed))
    bend, weight = asked - stretched[-1], _believed(stretched, shown, planned.build.post)
    able = np.isfinite(bend) & (weight > 0)
    if able.mean() < 0.5:
        raise InputError(
            f"{np.degrees(last.advance):.1f}° at {last.speed * RPM:.0f} rpm (distributor): got a reading that no "
            f"bend of the {PLACES[place]} post explains, expected another; read it again, and check which spring is "
            "fitted"
        )
    chance = weight[able] / weight[able].sum()
    mean = float(bend[able] @ chance)
    spread = float(np.sqrt(((bend[able] - mean) ** 2) @ chance))
    return PostToBend(place, mean, spread, wanted, abs(last.advance - wanted) <= leave)


def _place_told(curve: Trace, wanted: float, last: Shown) -> int:
    """Which spring's post a reading tells of: the primary's below where the secondary takes up, else the second's."""
    second = curve.takeups[1] if len(curve.takeups) > 1 else None
    if not CLEAR < wanted < curve.stop - CLEAR or not CLEAR < last.advance < curve.stop - CLEAR:
        raise InputError(
            f"{np.degrees(last.advance):.1f}° at {last.speed * RPM:.0f} rpm (distributor): got a reading at rest or "
            f"on the stop, expected one where the weights are between the two, from {np.degrees(CLEAR):.1f}° to "
            f"{np.degrees(curve.stop - CLEAR):.1f}° both as planned and as read"
        )
    return 1 if second is not None and min(wanted, last.advance) > second else 0


def _believed(stretched: Sequence[Array], shown: Sequence[Shown], post: float) -> Array:
    """How much each drawing counts (n,) [1], by whether what was bent between two readings is what they show."""
    weight = np.ones(DRAWN)
    for before, after, one in zip(stretched[:-1], stretched[1:], shown[:-1], strict=True):
        off = (after - before - one.bent) / (post / SQRT3)
        weight *= np.where(np.isfinite(off), np.exp(-0.5 * np.nan_to_num(off) ** 2), 0.0)
    return weight if weight.sum() > 1e-12 else np.ones(DRAWN)
