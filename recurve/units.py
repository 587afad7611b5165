"""Units: quantities as people write them, such as "31.5 ± 0.3 g", read to SI; and what is needed to show them again.

Only the boundary (files, options, reports) uses this. Inside, everything is SI and radians.
"""

from __future__ import annotations

import math
import re
from dataclasses import dataclass, field
from functools import cache
from typing import TYPE_CHECKING, Literal

if TYPE_CHECKING:
    import pint

RPM = 30 / math.pi  # rpm in 1 rad/s
INCH = 0.0254  # m, exact
POUND_FORCE = 4.4482216152605  # N, exact
SQRT3 = math.sqrt(3.0)  # half-width to standard uncertainty, if every value between the limits is equally likely
PLACES = ("primary", "secondary")  # of the springs

LengthUnits = Literal["metric", "inch", "both"]  # in which a report shows lengths and forces
Paper = Literal["a4", "letter"]

# Dimension: its SI unit, and a unit to suggest in messages.
DIMENSIONS: dict[str, tuple[str, str]] = {
    "length": ("m", "mm"),
    "mass": ("kg", "g"),
    "angle": ("rad", "deg"),
    "speed": ("rad/s", "rpm"),
    "force": ("N", "N"),
    "rate": ("N/m", "N/mm"),
    "moment": ("N*m", "mN*m"),
    "pressure": ("Pa", "inHg"),
    "time": ("s", "s"),
    "voltage": ("V", "V"),
    "resistance": ("ohm", "ohm"),
    "inductance": ("H", "mH"),
    "number": ("", ""),
}

# Larger than in any distributor [SI]. Beyond these, a slip of the pen would only exhaust memory or overflow.
LARGEST: dict[str, float] = {"length": 10.0, "mass": 100.0, "angle": 1e4, "speed": 1e4, "force": 1e6, "rate": 1e9}
LARGEST_OF_ALL, SMALLEST = 1e9, 1e-15  # for all other dimensions; and for anything but 0
MAY_BE_TINY = ("number", "moment")  # a fitted friction can be 4e-20 ± 0.01
# No bench, scale or calliper of the trade is surer than this [SI]; common practice, no source. A smaller ± is a slip of the
# pen, and a fit that believed it would blame the other parts.
FINEST: dict[str, float] = {
    "length": 1e-6, "mass": 1e-7, "angle": math.radians(1e-3), "speed": 0.01 * math.pi / 30, "force": 1e-4, "rate": 1e-2,
    "pressure": 1.0,
}  # fmt: skip

# The commonest units, so that most jobs need not wait for pint to load. A test compares them with pint's.
COMMON: dict[tuple[str, str], float] = {
    ("mm", "length"): 0.001,
    ("m", "length"): 1.0,
    ("in", "length"): INCH,
    ("g", "mass"): 0.001,
    ("kg", "mass"): 1.0,
    ("deg", "angle"): 0.017453292519943295,
    ("°", "angle"): 0.017453292519943295,
    ("rad", "angle"): 1.0,
    ("rpm", "speed"): 0.10471975511965977,
    ("N", "force"): 1.0,
    ("N/mm", "rate"): 1000.0,
    ("N/m", "rate"): 1.0,
    ("mN*m", "moment"): 0.001,
    ("N*mm", "moment"): 0.001,
}

_NUMBER = r"[+-]?(?:\d+\.?\d*|\.\d+)(?:[eE][+-]?\d+)?"
_QUANTITY = re.compile(
    rf"\s*(?P<value>{_NUMBER})?\s*(?:(?:±|\+/-|\+-)\s*(?P<half_width>{_NUMBER}))?\s*(?P<unit>.*?)\s*"
)
_LIMIT_AFTER_UNIT = re.compile(
    rf"(?P<value>{_NUMBER})\s*(?![eE][+-]?\d)(?P<unit>[^\W\d][^±+]*?|°)\s*(?:±|\+/-|\+-)\s*(?P<rest>.+)"
)
# A product or quotient of names with integer powers: enough for any unit, and nothing that could be evaluated.
_NAME = r"[^\W\d_]+(?:\s*(?:\^|\*\*)\s*-?\d)?"
_UNIT = re.compile(rf"{_NAME}(?:\s*[*/ ]\s*{_NAME})*")
_ANGLES = {"radian", "degree", "turn", "revolution", "arcminute", "arcsecond", "grade", "revolutions_per_minute", "rev"}


Origin = Literal["given", "assumed"]


@dataclass(frozen=True)
class Quantity:
    """A value [SI] and its half-width, "not off by more than" [SI]; None if none was given. `origin` says whether the
    value was given, or assumed by a default; `written` is the text that it was read from, "" without one."""

    value: float
    half_width: float | None = None
    origin: Origin = "given"
    written: str = field(default="", compare=False, repr=False)

    @property
    def standard_uncertainty(self) -> float | None:
        """half_width/√3 [SI], as if every value between the limits were equally likely (GUM 4.3.7); None without one."""
        return None if self.half_width is None else self.half_width / SQRT3


class UnreadableError(ValueError):
    """A text is no quantity: what is `wrong` with it, and what was `expected`."""

    def __init__(self, wrong: str, expected: str) -> None:
        self.wrong, self.expected = wrong, expected
        super().__init__(f"{wrong}; expected {expected}")


class TooSureError(ValueError):
    """A ± of 0, or one that no measurement has."""


class OtherDimensionError(UnreadableError):
    """A text is a quantity, but its `unit` measures something else."""

    def __init__(self, unit: str, dimension: str, expected: str) -> None:
        self.unit = unit
        super().__init__(f"unit {unit!r} does not measure {with_article(dimension)}", expected)


@cache
def _registry() -> pint.UnitRegistry[float]:
    import pint

    registry: pint.UnitRegistry[float] = pint.UnitRegistry(on_redefinition="ignore")
    registry.define("thou = 0.001 * inch")
    registry.define("rev = 1 * turn")
    return registry


@cache
def factor(unit: str, dimension: str) -> float:
    """How many SI units make one `unit` of the dimension [SI]. Raises ValueError saying what was expected."""
    si, example = DIMENSIONS[dimension]
    if not unit.strip():
        if dimension == "number":
            return 1.0
        raise UnreadableError("no unit", f"{with_article(dimension)} such as {example}")
    if unit.strip() == "%" and dimension == "number":
        return 0.01
    if (unit.strip(), dimension) in COMMON:
        return COMMON[unit.strip(), dimension]
    import pint

    text = unit.replace("·", "*").replace("°", "deg").strip()
    if not _UNIT.fullmatch(text):
        raise UnreadableError(f"unit {unit!r} cannot be read", f"one such as {example}")
    try:
        given = _registry().Quantity(1.0, text)
        # pint counts angles as pure numbers, so a bare number or a frequency would pass for one.
        names = {name for name, _ in given.unit_items()}
        if dimension in ("angle", "speed", "number") and ("rad" in si) != bool(names & _ANGLES):
            raise OtherDimensionError(unit, dimension, f"one such as {example}")
        return float(given.to(si).magnitude)
    except pint.DimensionalityError:
        raise OtherDimensionError(unit, dimension, f"one such as {example}{_hint(text, dimension)}") from None
    except (pint.UndefinedUnitError, pint.OffsetUnitCalculusError, pint.DefinitionSyntaxError):
        raise UnreadableError(f"unit {unit!r} is not known", f"one such as {example}") from None


def with_article(dimension: str) -> str:
    """ "an angle", "a length"."""
    return ("an " if dimension[0] in "aeiou" else "a ") + dimension


def _hint(unit: str, dimension: str) -> str:
    """A remedy for the commonest confusion: ounces or pounds of mass where a force is expected."""
    forces = {"oz": "ozf", "lb": "lbf", "g": "gf", "kg": "kgf", "ounce": "ozf", "pound": "lbf"}
    first = re.split(r"[/*]", unit)[0].strip()
    if dimension in ("force", "rate", "moment") and first in forces:
        return f" (for a pull write {unit.replace(first, forces[first], 1)})"
    return ""


def is_of(text: str, dimension: str) -> bool:
    """Whether a text is a quantity of this dimension."""
    try:
        parse(text, dimension)
    except ValueError:
        return False
    return True


def parse(text: str, dimension: str) -> Quantity:
    """Read a quantity such as "31.5 ± 0.3 g", "1.24 in" or "0.8 N/mm +/- 10 %" [SI].

    Raises ValueError saying what was expected.
    """
    example, written = DIMENSIONS[dimension][1], text
    if re.search(r"\d,\d", text):
        raise UnreadableError("a comma in the number", "a decimal point")
    after = _LIMIT_AFTER_UNIT.fullmatch(text.strip())
    if after:
        text = _half_width_before_unit(after)
    match = _QUANTITY.fullmatch(text)
    if match is None or match["value"] is None:
        raise UnreadableError("no number", f"{with_article(dimension)} such as 1.5 {example}".rstrip())
    scale = factor(match["unit"], dimension)
    value = float(match["value"]) * scale
    half_width = None if match["half_width"] is None else float(match["half_width"]) * scale
    for one in (value, 0.0 if half_width is None else half_width):
        fault = size_fault(one, dimension)
        if fault:
            raise fault
    if half_width is not None and half_width < 0:
        raise UnreadableError("a negative ±", "how far it may be off, 0 or more")
    return Quantity(value, half_width, written=written)


def size_fault(value: float, dimension: str) -> UnreadableError | None:
    """What is wrong with the size of a value [SI], None if nothing. It must be finite, and no larger or smaller than in any
    real distributor, spring or bench."""
    if not math.isfinite(value):
        return UnreadableError("not a finite number", "one such as 1.5")
    si, _ = DIMENSIONS[dimension]
    most = LARGEST.get(dimension, LARGEST_OF_ALL)
    if abs(value) > most:
        return UnreadableError("too large", f"at most {most:g} {si}".rstrip())
    if 0 < abs(value) < SMALLEST and dimension not in MAY_BE_TINY:
        return UnreadableError("too small", f"0, or at least {SMALLEST:g} {si}".rstrip())
    return None


def sure_fault(half_width: float | None, dimension: str) -> TooSureError | None:
    """What is wrong with a ± [SI] that is 0, or smaller than any instrument's; None if nothing, or if there is none."""
    least = FINEST.get(dimension, 0.0)
    if half_width is None or (half_width > 0.0 and half_width >= least * (1.0 - 1e-9)):
        return None
    _, example = DIMENSIONS[dimension]
    finest = "more than 0" if not least else f"at least {least / factor(example, dimension):.2g} {example}"
    return TooSureError(
        f"expected a ± of {finest}: nothing is measured more closely; leave the ± out if it is not known"
    )


def parse_half_width(text: str, dimension: str) -> float:
    """Read a half-width given alone, such as "± 0.8 deg" (the sign is optional) [SI]. Raises ValueError."""
    bare = re.sub(r"^\s*(?:±|\+/-|\+-)", "", text)
    found = parse(bare, dimension)
    if found.value < 0:
        raise UnreadableError("a negative ±", "how far it may be off, 0 or more")
    return found.value


def _half_width_before_unit(match: re.Match[str]) -> str:
    """ "0.8 N/mm ± 10 %" and "31.5 g ± 0.3 g" as "0.8 ± 0.08 N/mm" and "31.5 ± 0.3 g"."""
    unit, rest = match["unit"].strip(), match["rest"].strip()
    if rest.endswith("%") and re.fullmatch(_NUMBER, rest[:-1].strip()):
        return f"{match['value']} ± {abs(float(match['value'])) * float(rest[:-1]) / 100!r} {unit}"
    if rest.endswith(unit):
        rest = rest[: -len(unit)]
    return f"{match['value']} ± {rest.strip()} {unit}"


def column_header(text: str) -> tuple[str, str]:
    """The name and the unit of a CSV header such as "rate [N/mm]"; the unit is "" if there is none."""
    match = re.fullmatch(r"\s*(.*?)\s*(?:\[\s*(.*?)\s*\])?\s*", text, re.S)
    assert match is not None  # every part of the pattern may be empty
    return match[1].lower().replace(" ", "_"), match[2] or ""
