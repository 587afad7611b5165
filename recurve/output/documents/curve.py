"""The JSON document of `curve`, which a plan contains too.

All speeds are distributor rpm and all angles distributor degrees, whatever the job's basis. What is not known, or is
not there, is null and never NaN.
"""

from __future__ import annotations

import math
from typing import Annotated

import numpy as np

from recurve.arrays import Array
from recurve.errors import InputError
from recurve.job.model import Job
from recurve.output.documents.base import Document, by_place, deg, if_known, numbers, rpm, told
from recurve.physics.curve import Trace, Unit, residual_advance, trace
from recurve.units import PLACES, RPM


class TakeUps(Document):
    """The advance at which each spring begins to pull."""

    primary: Annotated[float | None, told("0: pulls from rest; null: never", "distributor deg")]
    secondary: Annotated[float | None, told("0: pulls from rest; null: never, or no such spring", "distributor deg")]


class Snap(Document):
    """Advance that is jumped over at one speed."""

    from_deg: Annotated[float, told("Where the jump begins", "distributor deg")]
    to_deg: Annotated[float, told("Where it ends", "distributor deg")]
    speed_rpm: Annotated[float, told("The speed of the jump", "distributor rpm")]


class CurveDocument(Document):
    """An advance curve, rising and falling, and its marks. All speeds and angles are the distributor's."""

    speed_rpm: Annotated[list[float], told("Speeds", "distributor rpm")]
    rising_deg: Annotated[list[float], told("Advance at each, the speed rising", "distributor deg")]
    falling_deg: Annotated[list[float], told("Advance at each, the speed falling", "distributor deg")]
    onset_rpm: Annotated[float | None, told("Where advance begins; null: none", "distributor rpm")]
    return_rpm: Annotated[float | None, told("Where it is gone, the speed falling; null: none", "distributor rpm")]
    all_in_rpm: Annotated[float | None, told("Where it is complete; null: none", "distributor rpm")]
    residual_deg: Annotated[float, told("What stays in at idle", "distributor deg")]
    residual_without_drag_deg: Annotated[float, told("The same without the rubbing block's drag", "distributor deg")]
    stop_deg: Annotated[float, told("The largest advance", "distributor deg")]
    takeup_deg: TakeUps
    snap: list[Snap]

    @classmethod
    def of(cls, job: Job, unit: Unit, curve: Trace, speeds: Array | None = None) -> CurveDocument:
        """Both branches of a unit's curve at the speeds (n,) [rad/s], every 50 rpm where none are given, and its marks."""
        speeds = default_speeds(job, curve) if speeds is None else speeds
        residual, undragged = residual_advance(unit, job.idle_speed)
        primary, secondary = by_place([if_known(deg, t) for t in curve.takeups])
        return cls(
            speed_rpm=numbers(speeds * RPM),
            rising_deg=numbers(np.degrees(curve.rising_advance(speeds, residual))),
            falling_deg=numbers(np.degrees(curve.falling_advance(speeds))),
            onset_rpm=if_known(rpm, curve.onset),
            return_rpm=if_known(rpm, curve.return_speed),
            all_in_rpm=if_known(rpm, curve.all_in),
            residual_deg=deg(residual),
            residual_without_drag_deg=deg(undragged),
            stop_deg=deg(curve.stop),
            takeup_deg=TakeUps(primary=primary, secondary=secondary),
            snap=[Snap(from_deg=deg(s.start), to_deg=deg(s.end), speed_rpm=rpm(s.speed)) for s in curve.snaps],
        )

    @classmethod
    def of_job(cls, job: Job, speeds: Array | None = None) -> CurveDocument:
        """The curve of the springs that a job describes, at the speeds (n,) [rad/s] or every 50 rpm.

        Raises InputError where not all of them are described.
        """
        unit = job.as_found()
        if unit is None:
            names = [name for name, place in zip(PLACES, job.places, strict=False) if place.found is None]
            raise InputError(
                [
                    f"{job.path}: springs.{name}: got no rate, or neither free_length nor takeup; expected them, since a "
                    "curve needs the springs themselves"
                    for name in names
                ]
            )
        return cls.of(job, unit, trace(unit), speeds)


def default_speeds(job: Job, curve: Trace) -> Array:
    """Speeds (n,) [rad/s] every 50 rpm from 100 rpm to a little past all-in and the last band."""
    last = [curve.all_in or 0.0]
    if job.target is not None:
        last += [b.speed or 0.0 for b in job.target.bands]
    top = max(1000.0, math.ceil(max(last) * RPM * 1.1 / 50) * 50)
    return np.arange(100.0, top + 1.0, 50.0) / RPM
