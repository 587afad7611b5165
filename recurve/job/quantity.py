"""Field types of the job file: quantities with their unit, as pydantic reads them into SI."""

from __future__ import annotations

import datetime
import re
from dataclasses import dataclass
from typing import Annotated, Any, Literal

from pydantic import BeforeValidator, GetCoreSchemaHandler, GetJsonSchemaHandler
from pydantic_core import CoreSchema, core_schema

from recurve.springs.weighing import STANDARD_GRAVITY
from recurve.units import (
    DIMENSIONS,
    OtherDimensionError,
    Quantity,
    UnreadableError,
    parse,
    parse_half_width,
    sure_fault,
    with_article,
)

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
        if fault := sure_fault(found.half_width, self.dimension):
            raise fault
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
    """A bare ± of one dimension, in a string, as a number in SI; of what is built, not measured, it may be 0."""

    dimension: str
    or_zero: bool = False

    def read(self, given: Any) -> float:
        """The half-width [SI]; raises ValueError saying what was expected."""
        if not isinstance(given, str):
            raise ValueError(
                f'expected a limit with its unit in quotes, such as "± 0.5 {DIMENSIONS[self.dimension][1]}"'
            )
        found = parse_half_width(given, self.dimension)
        if not (self.or_zero and found == 0.0) and (fault := sure_fault(found, self.dimension)):
            raise fault
        return found

    def __get_pydantic_core_schema__(self, source: Any, handler: GetCoreSchemaHandler) -> CoreSchema:
        return core_schema.no_info_plain_validator_function(self.read)

    def __get_pydantic_json_schema__(self, schema: CoreSchema, handler: GetJsonSchemaHandler) -> dict[str, Any]:
        return {
            "type": "string",
            "pattern": _pattern(r"(±|\+/-|\+-)?\s*[+]?", self.dimension),
            "description": f"± of {with_article(self.dimension)}, with its unit",
        }


@dataclass(frozen=True)
class WeighingField:
    """A weight hung on a spring and the length it then has, such as "50 g at 18.3 mm"."""

    def read(self, given: Any) -> tuple[Quantity, Quantity]:
        """Pull [N] and length inside the hooks [m]; raises ValueError saying what was expected."""
        if not isinstance(given, str):
            raise ValueError(f"expected a weight and a length in quotes, such as {WEIGHING_EXAMPLE}")
        return read_weighing(given)

    def __get_pydantic_core_schema__(self, source: Any, handler: GetCoreSchemaHandler) -> CoreSchema:
        return core_schema.no_info_plain_validator_function(self.read)

    def __get_pydantic_json_schema__(self, schema: CoreSchema, handler: GetJsonSchemaHandler) -> dict[str, Any]:
        return {
            "type": "string",
            "pattern": r"^\s*[0-9.]+.*[A-Za-z].*(at|@)\s*[0-9.]+.*[A-Za-z].*$",
            "description": "a weight or a pull, and the length inside the hooks with it",
            "examples": ["50 g at 18.3 mm"],
        }


def read_date(given: Any) -> Any:
    """A date, or a text that says when; raises ValueError for anything else, such as a date with a time."""
    if isinstance(given, str) or (isinstance(given, datetime.date) and not isinstance(given, datetime.datetime)):
        return given
    raise ValueError("expected a day without a time of day, such as 2026-05-04")


Date = Annotated[datetime.date | str, BeforeValidator(read_date)]
WEIGHING_EXAMPLE = '"50 g at 18.3 mm"'


def read_weighing(text: str) -> tuple[Quantity, Quantity]:
    """The pull [N] of a weight, or as given, and the length inside the hooks [m]; raises ValueError saying what is wrong."""
    parts = re.split(r"\s+at\s+|\s*@\s*", text.strip())
    if len(parts) != 2:
        raise ValueError(f"expected a weight and a length, such as {WEIGHING_EXAMPLE}")
    return _above_0(_pull(parts[0])), _above_0(parse(parts[1], "length"))


def _pull(text: str) -> Quantity:
    """A pull [N]; a mass pulls with its weight."""
    try:
        found = parse(text, "mass")
    except ValueError:
        try:
            return parse(text, "force")
        except UnreadableError as fault:
            wrong = f"unit {fault.unit!r} is no weight" if isinstance(fault, OtherDimensionError) else fault.wrong
            wanted = "a weight such as 50 g or 2 oz, or a pull such as 0.5 N or 0.1 lbf"
            raise ValueError(f"expected {wanted}; {wrong}") from None
    half_width = None if found.half_width is None else found.half_width * STANDARD_GRAVITY
    return Quantity(found.value * STANDARD_GRAVITY, half_width, written=found.written)


def _above_0(found: Quantity) -> Quantity:
    if found.value <= 0:
        raise ValueError("expected more than 0, for the weight and for the length")
    return found


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
SignedNumber = Annotated[Quantity, QuantityField("number", "any")]
NumberOrZero = Annotated[Quantity, QuantityField("number", "not negative")]
AngleHalfWidth = Annotated[float, HalfWidthField("angle")]
SpeedHalfWidth = Annotated[float, HalfWidthField("speed")]
LengthTolerance = Annotated[float, HalfWidthField("length", or_zero=True)]
ForceTolerance = Annotated[float, HalfWidthField("force", or_zero=True)]
FractionTolerance = Annotated[float, HalfWidthField("number", or_zero=True)]
AngleTolerance = Annotated[float, HalfWidthField("angle", or_zero=True)]
Pressure = Annotated[Quantity, QuantityField("pressure")]
PressureOrZero = Annotated[Quantity, QuantityField("pressure", "not negative")]
PressureHalfWidth = Annotated[float, HalfWidthField("pressure")]
Time = Annotated[Quantity, QuantityField("time")]
Voltage = Annotated[Quantity, QuantityField("voltage")]
Resistance = Annotated[Quantity, QuantityField("resistance")]
ResistanceOrZero = Annotated[Quantity, QuantityField("resistance", "not negative")]
Inductance = Annotated[Quantity, QuantityField("inductance")]
Weighing = Annotated[tuple[Quantity, Quantity], WeighingField()]
