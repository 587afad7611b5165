"""The shape of [condition], [vacuum] and [timing] in the job file. All of it is optional.

[condition] and [vacuum] speak of the distributor, [timing] of the crank.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Annotated, Any, Literal

from pydantic import Field, model_validator
from pydantic_core import CoreSchema, core_schema

from recurve.job.quantity import (
    Angle,
    AngleHalfWidth,
    AngleOrZero,
    Force,
    Inductance,
    Length,
    LengthOrZero,
    PositiveAngle,
    Pressure,
    PressureHalfWidth,
    PressureOrZero,
    QuantityField,
    Resistance,
    ResistanceOrZero,
    Speed,
    Time,
    Voltage,
)
from recurve.job.schema_unit import Basis, Table
from recurve.units import DIMENSIONS, Quantity, parse


@dataclass(frozen=True)
class FractionOfPitch(Quantity):
    """A dwell as the meter's percent: a fraction of the lobe pitch [1]."""


@dataclass(frozen=True)
class DwellQuantity(QuantityField):
    """Dwell in degrees or, as many meters show it, in percent of the lobe pitch."""

    dimension: str = "angle"

    def read(self, given: Any) -> Quantity:
        """Angle [rad], or a `FractionOfPitch`."""
        if isinstance(given, str) and given.rstrip().endswith("%"):
            fraction = parse(given, "number")
            if not 0 < fraction.value < 1:
                raise ValueError('expected a dwell between 0 and 100 %, such as "61 %"')
            return FractionOfPitch(fraction.value, fraction.half_width)
        return super().read(given)


@dataclass(frozen=True)
class PerSet(DwellQuantity):
    """One quantity, or a list of one for each breaker set."""

    def read(self, given: Any) -> Any:
        """A tuple of quantities [SI]."""
        one = DwellQuantity("angle") if self.dimension == "angle" else QuantityField(self.dimension, self.sign)
        return tuple(one.read(g) for g in (given if isinstance(given, list) and given else [given]))

    def __get_pydantic_json_schema__(self, schema: CoreSchema, handler: Any) -> dict[str, Any]:
        one = super().__get_pydantic_json_schema__(schema, handler)
        return {"anyOf": [one, {"type": "array", "items": one, "minItems": 1}]}


@dataclass(frozen=True)
class Range(QuantityField):
    """A band: ["3 mm", "4 mm"], or "3.5 ± 0.5 mm"."""

    def read(self, given: Any) -> Any:
        """(low, high) [SI]; raises ValueError saying what was expected."""
        unit = DIMENSIONS[self.dimension][1]
        if isinstance(given, list) and len(given) == 2:
            low, high = (super(Range, self).read(g).value for g in given)
        else:
            middle = super().read(given)
            if middle.half_width is None:
                raise ValueError(f'expected a band, such as ["1 {unit}", "2 {unit}"] or "1.5 ± 0.5 {unit}"')
            low, high = middle.value - middle.half_width, middle.value + middle.half_width
        if not low < high:
            raise ValueError("expected the smaller figure first, and the larger one above it")
        return low, high

    def __get_pydantic_core_schema__(self, source: Any, handler: Any) -> CoreSchema:
        return core_schema.no_info_plain_validator_function(self.read)

    def __get_pydantic_json_schema__(self, schema: CoreSchema, handler: Any) -> dict[str, Any]:
        one = super().__get_pydantic_json_schema__(schema, handler)
        return {"anyOf": [one, {"type": "array", "items": one, "minItems": 2, "maxItems": 2}]}


Interval = tuple[float, float]
Dwell = Annotated[Quantity, DwellQuantity()]


# --- condition ----------------------------------------------------------------------------------------------


class AnglesRow(Table):
    """Closing and opening of one breaker set on one lobe, by the degree wheel."""

    lobe: Annotated[int, Field(ge=1, le=16, strict=True)] = 1
    set: Annotated[int, Field(ge=1, le=4, strict=True)] = 1
    pushed: Literal["free", "one way", "other way"] = "free"
    closes: Angle
    opens: Angle


class RotorTable(Table):
    offset: Angle
    tip: PositiveAngle | None = None
    segment: PositiveAngle | None = None


class CoilTable(Table):
    resistance: Resistance
    inductance: Inductance
    supply: Voltage
    ballast: ResistanceOrZero | None = None


class ConditionLimits(Table):
    """The manual's figures, which overrule the trade's."""

    side_play: Length | None = None
    dwell_change: PositiveAngle | None = None
    spark_spacing: PositiveAngle | None = None
    end_float: Annotated[Interval, Range("length", "not negative")] | None = None
    dwell: Annotated[Interval, Range("angle")] | None = None
    gap: Annotated[Interval, Range("length")] | None = None
    arm_spring: Annotated[Interval, Range("force")] | None = None


class ConditionTable(Table):
    """The bench inspection."""

    side_play: LengthOrZero | None = None
    side_play_ways: tuple[LengthOrZero, LengthOrZero] | None = None
    side_play_load: Force | None = None
    end_float: LengthOrZero | None = None
    gap: Annotated[tuple[Quantity, ...], PerSet("length")] | None = None
    arm_spring: Annotated[tuple[Quantity, ...], PerSet("force")] | None = None
    dwell: Annotated[tuple[Quantity, ...], PerSet("angle")] | None = None
    dwell_idle: Dwell | None = None
    dwell_high: Dwell | None = None
    dwell_pushed: tuple[Dwell, Dwell] | None = None
    wheel: Literal["with rotation", "against rotation"] | None = None
    angles: tuple[AnglesRow, ...] = ()
    sparks: tuple[Angle, ...] = ()
    breaker_plate: Literal["free", "stiff", "seized"] | None = None
    weight_pins: Literal["sound", "worn"] | None = None
    condenser: Literal["sound", "loose", "chafed"] | None = None
    vacuum_unit: Literal["none", "holds", "leaks", "missing"] | None = None
    rotor: RotorTable | None = None
    coil: CoilTable | None = None
    limits: ConditionLimits | None = None

    @model_validator(mode="after")
    def _together(self) -> ConditionTable:
        wrong = []
        if self.side_play is not None and self.side_play_ways is not None:
            wrong.append("got side_play beside side_play_ways, expected one of them: both give the play")
        if (self.angles or self.sparks) and self.wheel is None:
            wrong.append(
                'wheel: missing, expected "with rotation" where the wheel\'s figures rise as the shaft turns, or '
                '"against rotation"'
            )
        if (self.dwell_idle is None) != (self.dwell_high is None):
            wrong.append("got one of dwell_idle and dwell_high (at 1500 rpm of the engine), expected both")
        twice = [(r.set, r.lobe, r.pushed) for r in self.angles]
        if len(set(twice)) < len(twice):
            wrong.append("angles: got a lobe of one set twice, expected it once for each way of pushing")
        if wrong:
            raise ValueError("; ".join(wrong))
        return self


# --- vacuum -------------------------------------------------------------------------------------------------


class VacuumPointRow(Table):
    vacuum: Pressure
    min: AngleOrZero | None = None
    max: PositiveAngle | None = None
    advance: AngleOrZero | None = None
    tolerance: PositiveAngle | None = None

    @model_validator(mode="after")
    def _one_way(self) -> VacuumPointRow:
        if (self.advance is None) == (self.max is None) or (self.advance is not None and self.min is not None):
            raise ValueError(f"got {self.told}, expected min and max, or advance (and tolerance)")
        return self


class VacuumReadingRow(Table):
    vacuum: PressureOrZero
    advance: AngleOrZero
    direction: Literal["rising", "falling"] = "rising"


class HoldTable(Table):
    vacuum: Pressure
    left: PressureOrZero
    after: Time


class VacuumLimits(Table):
    hold: Pressure | None = None
    loss: Pressure | None = None
    stiction: PositiveAngle | None = None


class VacuumTable(Table):
    """The vacuum unit: what the book asks of it, and what was measured."""

    kind: Literal["advance", "retard"] = "advance"
    basis: Basis = "distributor"
    start: Annotated[Interval, Range("pressure", "not negative")] | None = None
    full: Annotated[Interval, Range("pressure")] | None = None
    maximum: Annotated[Interval, Range("angle")] | None = None
    points: tuple[VacuumPointRow, ...] = ()
    measured: tuple[VacuumReadingRow, ...] = ()
    reading: AngleHalfWidth | None = None
    gauge: PressureHalfWidth | None = None
    hold: HoldTable | None = None
    limits: VacuumLimits | None = None

    @model_validator(mode="after")
    def _holds(self) -> VacuumTable:
        if self.hold is not None and self.hold.left.value > self.hold.vacuum.value:
            raise ValueError("hold.left: got more vacuum than it was drawn to, expected no more")
        return self


# --- timing -------------------------------------------------------------------------------------------------


class CruiseTable(Table):
    speed: Speed
    vacuum: PressureOrZero


class TimingTable(Table):
    """The engine's figures: crank degrees before top dead centre, crank rpm."""

    static: Angle | None = None
    total: Angle | None = None
    total_limit: Angle | None = None
    tolerance: AngleHalfWidth | None = None
    idle: Speed | None = None
    idle_setting: Angle | None = None
    top_speed: Speed | None = None
    speeds: Annotated[tuple[Speed, ...], Field(max_length=24)] = ()
    cruise: CruiseTable | None = None
    full_load_vacuum: PressureOrZero | None = None

    @model_validator(mode="after")
    def _sense(self) -> TimingTable:
        wrong = []
        if self.static is not None and self.total is not None and self.total.value < self.static.value:
            wrong.append("total: got less than static, expected static and all of the advance together")
        if self.total is not None and self.total_limit is not None and self.total_limit.value < self.total.value:
            wrong.append("total_limit: got less than total, expected what is never to be passed")
        if self.static is not None and self.total_limit is not None and self.total_limit.value < self.static.value:
            wrong.append("total_limit: got less than static, expected static and all of the advance at the most")
        if wrong:
            raise ValueError("; ".join(wrong))
        return self
