"""What a sweep does not show of a unit, without which nobody may call it good."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from recurve.job.model import Job
from recurve.units import RPM

IDLE_NEAR = 1.05  # of the idle speed: a falling reading up to here shows whether the unit comes back


@dataclass(frozen=True)
class NotRead:
    """A part of the curve that the sweep does not show: `rising` or falling, down to the `idle` speed [rad/s] if it is that
    which lacks."""

    rising: bool
    idle: float | None

    def words(self) -> str:
        """In words, for the distributor."""
        if self.idle is not None:
            at = f"{self.idle * RPM:.0f} rpm (distributor)"
            return (
                f"no falling reading was taken at idle, {at}, so nothing shows that the advance comes back to zero; "
                "read it there, speed falling"
            )
        way = "rising" if self.rising else "falling"
        return f"there are no {way} readings, so half of the curve was not seen; read it with speed {way} too"


def not_read(job: Job) -> list[NotRead]:
    """What the sweep must show of a unit that is to be called good, and does not. The job has a sweep and a target."""
    sweep, target = job.sweep, job.target
    assert sweep is not None and target is not None  # the caller has asked
    rising = np.asarray(sweep.rising, bool)
    lacks = [NotRead(way, None) for way, there in ((True, rising.any()), (False, (~rising).any())) if not there]
    idle = target.idle_speed
    if (~rising).any() and idle is not None and float(sweep.speed[~rising].min()) > IDLE_NEAR * idle:
        lacks.append(NotRead(False, idle))
    return lacks
