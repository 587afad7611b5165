"""Field types of the job file: quantities with their unit, as pydantic reads them into SI."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Annotated, Any, Literal

from pydantic import GetCoreSchemaHandler, GetJsonSchemaHandler
from pydantic_core import CoreSchema, core_schema

from recurve.units import DIMENSIONS, Quantity, parse, parse_half_width

Sign = Literal["any", "not negative", "positive"]


@dataclass(frozen=True)
class QuantityField:
    """A value of one dimension with its unit in a string, ± allowed; plain numbers only where there is no unit."""

    dimension: str
    sign: Sign = "positive"

    @property
    def example(self) -> str:
        """How one is written."""
        return f"1.5 {DIMENSIONS[self.dimension][1]}".strip()

    def read(self, given: Any) -> Quantity:
        """The quantity in SI; raises ValueError saying what was expected."""
        if self.dimension == "number" and isinstance(given, int | float) and not isinstance(given, bool):
            given = repr(given)
        if not isinstance(given, str):
            raise ValueError(f'expected a quantity with its unit in quotes, such as "{self.example}"')
        found = parse(given, self.dimension)
        if self.sign == "positive" and found.value <= 0:
            raise ValueError("expected more than 0")
        if self.sign == "not negative" and found.value < 0:
            raise ValueError("expected 0 or more")
        return found

    def __get_pydantic_core_schema__(self, source: Any, handler: GetCoreSchemaHandler) -> CoreSchema:
        return core_schema.no_info_plain_validator_function(self.read)

    def __get_pydantic_json_schema__(self, schema: CoreSchema, handler: GetJsonSchemaHandler) -> dict[str, Any]:
        text = {
            "type": "string",
            "pattern": _pattern("[+-]?" if self.sign == "any" else "[+]?", self.dimension),
            "description": f"{self.dimension} with its unit, ± allowed",
            "examples": [self.example],
        }
        return {"anyOf": [text, {"type": "number"}]} if self.dimension == "number" else text


@dataclass(frozen=True)
class HalfWidthField:
    """A bare ± of one dimension, in a string, as a number in SI."""

    dimension: str

    def read(self, given: Any) -> float:
        """The half-width [SI]; raises ValueError saying what was expected."""
        if not isinstance(given, str):
            raise ValueError(
                f'expected a limit with its unit in quotes, such as "± 0.5 {DIMENSIONS[self.dimension][1]}"'
            )
        return parse_half_width(given, self.dimension)

    def __get_pydantic_core_schema__(self, source: Any, handler: GetCoreSchemaHandler) -> CoreSchema:
        return core_schema.no_info_plain_validator_function(self.read)

    def __get_pydantic_json_schema__(self, schema: CoreSchema, handler: GetJsonSchemaHandler) -> dict[str, Any]:
        return {
            "type": "string",
            "pattern": _pattern(r"(±|\+/-|\+-)?\s*[+]?", self.dimension),
            "description": f"± of a {self.dimension}, with its unit",
        }


def _pattern(sign: str, dimension: str) -> str:
    """How one is written, for a JSON Schema (ECMA 262): a number, and a unit somewhere behind it."""
    unit = "" if dimension == "number" else ".*[A-Za-zµ°%].*$"
    return rf"^\s*{sign}([0-9]+\.?[0-9]*|\.[0-9]+)([eE][+-]?[0-9]+)?{unit}"


Length = Annotated[Quantity, QuantityField("length")]
LengthOrZero = Annotated[Quantity, QuantityField("length", "not negative")]
SignedLength = Annotated[Quantity, QuantityField("length", "any")]
Angle = Annotated[Quantity, QuantityField("angle", "any")]
PositiveAngle = Annotated[Quantity, QuantityField("angle")]
AngleOrZero = Annotated[Quantity, QuantityField("angle", "not negative")]
Mass = Annotated[Quantity, QuantityField("mass")]
Speed = Annotated[Quantity, QuantityField("speed")]
Force = Annotated[Quantity, QuantityField("force")]
ForceOrZero = Annotated[Quantity, QuantityField("force", "not negative")]
Rate = Annotated[Quantity, QuantityField("rate")]
Moment = Annotated[Quantity, QuantityField("moment", "not negative")]
Number = Annotated[Quantity, QuantityField("number")]
NumberOrZero = Annotated[Quantity, QuantityField("number", "not negative")]
AngleHalfWidth = Annotated[float, HalfWidthField("angle")]
SpeedHalfWidth = Annotated[float, HalfWidthField("speed")]
LengthHalfWidth = Annotated[float, HalfWidthField("length")]
ForceHalfWidth = Annotated[float, HalfWidthField("force")]
FractionHalfWidth = Annotated[float, HalfWidthField("number")]
Pressure = Annotated[Quantity, QuantityField("pressure")]
PressureOrZero = Annotated[Quantity, QuantityField("pressure", "not negative")]
PressureHalfWidth = Annotated[float, HalfWidthField("pressure")]
Time = Annotated[Quantity, QuantityField("time")]
Voltage = Annotated[Quantity, QuantityField("voltage")]
Resistance = Annotated[Quantity, QuantityField("resistance")]
ResistanceOrZero = Annotated[Quantity, QuantityField("resistance", "not negative")]
Inductance = Annotated[Quantity, QuantityField("inductance")]
