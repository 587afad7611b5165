"""The job file's shape: which keys there are, of which dimension, and what must go together (design §5).

The unit's own tables are in `jobunit`; here are the target, the tables it names, the tolerances, the whole.
"""

from __future__ import annotations

import datetime
from typing import Annotated

from pydantic import Field, model_validator

from recurve.jobunit import Basis, Distributor, Drag, Springs, Stop, SweepReading, Table, Weights
from recurve.quantity import Angle, AngleLimit, ForceLimit, LengthLimit, PositiveAngle, ShareLimit, Speed


class TargetPoint(Table):
    speed: Speed
    min: Angle | None = None
    max: Angle | None = None
    advance: Angle | None = None
    tolerance: PositiveAngle | None = None

    @model_validator(mode="after")
    def _one_way(self) -> TargetPoint:
        _check_band(self)
        return self


class Idle(Table):
    speed: Speed
    max: PositiveAngle


class Maximum(Table):
    min: Angle | None = None
    max: Angle | None = None
    advance: Angle | None = None
    tolerance: PositiveAngle | None = None

    @model_validator(mode="after")
    def _one_way(self) -> Maximum:
        _check_band(self)
        return self


def _check_band(band: TargetPoint | Maximum) -> None:
    if band.advance is not None:
        if band.min is not None or band.max is not None:
            raise ValueError(
                "advance and min or max both give the band; expected advance (and tolerance), or min and max"
            )
    elif band.max is None:
        raise ValueError("expected min and max, max alone, or advance and tolerance")
    elif band.tolerance is not None:
        raise ValueError("tolerance goes with advance, not with min and max")


class Target(Table):
    basis: Basis = "distributor"
    speed_basis: Basis | None = None
    advance_basis: Basis | None = None
    static: Angle | None = None
    points: tuple[TargetPoint, ...] = ()
    idle: Idle | None = None
    maximum: Maximum | None = None

    @model_validator(mode="after")
    def _something(self) -> Target:
        if not self.points and self.idle is None and self.maximum is None:
            raise ValueError("expected at least one of points, idle and maximum")
        if self.static is not None and (self.advance_basis or self.basis) == "distributor":
            raise ValueError('static is taken off crank advances; expected basis = "crank" with it')
        return self


class SweepTable(SweepReading):
    file: str


class CatalogueTable(Table):
    file: str


class BuildTable(Table):
    """How far a finished build may be off what was planned, as limits."""

    rate: ShareLimit | None = None
    initial_tension: ForceLimit | None = None
    post: LengthLimit | None = None
    stop: LengthLimit | None = None
    reading: AngleLimit | None = None


class JobModel(Table):
    """The whole job file."""

    title: Annotated[str, Field(min_length=1, max_length=200)]
    date: datetime.date | str | None = None
    unit: str | None = None
    distributor: Distributor
    weights: Weights
    stop: Stop
    drag: Drag | None = None
    springs: Springs
    target: Target | None = None
    sweep: SweepTable | None = None
    catalogue: CatalogueTable | None = None
    build: BuildTable | None = None
