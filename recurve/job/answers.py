"""What a person types at a question, read through the very types of the job file.

A bare number takes the unit of the person's own system; any other unit may stand behind it.
"""

from __future__ import annotations

import datetime
import re
from collections.abc import Iterator
from functools import cache
from itertools import pairwise
from typing import Annotated, Any, get_args

from pydantic import TypeAdapter, ValidationError
from pydantic.fields import FieldInfo

from recurve.data import ranges
from recurve.job import schema as m
from recurve.job.messages import field_of
from recurve.job.quantity import WEIGHING_EXAMPLE, HalfWidthField, QuantityField, Sign, read_weighing
from recurve.job.questions import Answers, Question
from recurve.units import Quantity, factor, parse

# What a bare number means to a person who measures in mm, or in inches.
UNITS = {
    "mm": {"length": "mm", "mass": "g", "force": "N", "rate": "N/mm", "moment": "mN*m", "pressure": "mbar"},
    "inch": {"length": "in", "mass": "oz", "force": "lbf", "rate": "lbf/in", "moment": "ozf*in", "pressure": "inHg"},
}
ALIKE = {"angle": "deg", "speed": "rpm", "number": "", "time": "s"}
TYPED_SWEEP, TYPED_SPRINGS = "as-found.csv", "springs.csv"


def system_of(answers: Answers) -> str:
    """ "mm" or "inch"."""
    return "inch" if answers.get("~units") == "inch" else "mm"


def unit_of(dimension: str, system: str) -> str:
    """The unit that a bare number of this dimension has."""
    return ALIKE[dimension] if dimension in ALIKE else UNITS[system][dimension]


def unit_of_key(question: Question, system: str) -> str:
    """The unit that a bare number has as an answer to a question; "" where it has none, or several."""
    if question.kind in ("quantity", "band", "pair"):
        return unit_of("length" if question.kind == "pair" else dimension_of(question.key), system)
    return ""


# --- one answer ---------------------------------------------------------------------------------------------


def read_answer(question: Question, text: str, system: str) -> Any:
    """What is stored of a typed answer, as the job file has it; raises ValueError saying what was expected."""
    given = text.strip()
    read = {
        "choice": _choice,
        "text": _text,
        "date": _date,
        "whole": _whole,
        "number": _number,
        "quantity": _quantity,
        "pair": _pair,
        "band": _band,
        "weighings": _weighing,
        "row": read_row,
    }[question.kind]
    return read(question, given, system)


def _choice(question: Question, text: str, system: str) -> str:
    if text.isdigit() and 1 <= int(text) <= len(question.choices):
        return question.choices[int(text) - 1]
    if text.lower() in question.choices:
        return text.lower()
    near = [c for c in question.choices if text and c.startswith(text.lower())]
    if len(near) == 1:
        return near[0]
    raise ValueError(f"expected one of {', '.join(question.choices)}, or its number")


def _text(question: Question, text: str, system: str) -> str:
    if not all(c.isprintable() for c in text):
        raise ValueError("got a character that cannot be printed, expected plain text")
    if len(text) > 200:
        raise ValueError(f"got {len(text)} characters, expected 200 at most")
    return text


def _date(question: Question, text: str, system: str) -> str:
    try:
        return datetime.date.fromisoformat(text).isoformat()
    except ValueError:
        raise ValueError("expected year-month-day, such as 2026-03-14") from None


def _whole(question: Question, text: str, system: str) -> int:
    if not re.fullmatch(r"\d{1,4}", text):
        raise ValueError("expected a whole number")
    check_field(question.key, int(text))
    return int(text)


def _number(question: Question, text: str, system: str) -> float:
    try:
        value = float(text)
    except ValueError:
        raise ValueError("expected a number, with a decimal point") from None
    check_field(question.key, value)
    return value


def _quantity(question: Question, text: str, system: str) -> str:
    given = with_unit(text, dimension_of(question.key), system)
    check_field(question.key, given)
    return given


def _pair(question: Question, text: str, system: str) -> list[str]:
    cells = cells_of(text)
    if len(cells) != 2:
        raise ValueError(f"got {len(cells)} numbers, expected two, such as {question.example}")
    pair = [with_unit(c, "length", system) for c in cells]
    check_field(question.key, pair)
    if question.key.endswith("post_travel"):
        into, out = (parse(p, "length").value for p in pair)
        if out < 0:
            raise ValueError("expected how far in, then how far out, such as 0.5 1.0")
        pair[0] = f"-{pair[0].lstrip('+')}" if into > 0 else pair[0]  # bent in, whichever sign it was given
    return pair


def _band(question: Question, text: str, system: str) -> list[str]:
    cells = cells_of(text)
    if len(cells) != 2:
        raise ValueError(f"got {len(cells)} numbers, expected least and most, such as {question.example}")
    pair = [with_unit(c, dimension_of(question.key), system) for c in cells]
    check_field(question.key, pair)
    return pair


def _weighing(question: Question, text: str, system: str) -> str:
    """One weight and the length with it; bare numbers are in the person's own units."""
    parts = re.split(r"\s+at\s+|\s*@\s*", text)
    cells = parts if len(parts) == 2 else cells_of(text)
    if len(cells) != 2:
        raise ValueError(f"expected a weight and a length, such as {WEIGHING_EXAMPLE}")
    given = f"{with_unit(cells[0], 'mass', system)} at {with_unit(cells[1], 'length', system)}"
    read_weighing(given)
    return given


# What the cells of a row are, by the last part of its key and their number.
ROWS: dict[str, dict[int, tuple[tuple[str, str], ...]]] = {
    "points": {
        2: (("speed", "speed"), ("advance", "angle")),
        3: (("speed", "speed"), ("min", "angle"), ("max", "angle")),
    },
    "idle": {2: (("speed", "speed"), ("max", "angle"))},
    "maximum": {1: (("advance", "angle"),), 2: (("min", "angle"), ("max", "angle"))},
    "length": {2: (("advance", "angle"), ("length", "length"))},
    "cg_radius": {2: (("advance", "angle"), ("cg_radius", "length"))},
    "measured": {2: (("vacuum", "pressure"), ("advance", "angle"))},
}
SIGNS: dict[str, Sign] = {"angle": "any", "pressure": "not negative"}
LEAST_ROWS = {"points": 1, "length": 2, "cg_radius": 3, "measured": 1}


def read_row(question: Question, text: str, system: str) -> dict[str, str]:
    """One line of numbers by the names that the job file has for them; raises ValueError."""
    name = question.key.rsplit(".", 1)[1]
    ways, cells = ROWS[name], cells_of(text)
    example = question.example[-1] if isinstance(question.example, list) else question.example
    if len(cells) not in ways:
        many = " or ".join(str(n) for n in ways)
        raise ValueError(f"got {len(cells)} of them, expected {many} in a line, such as {example}")
    row = {}
    for (part, dimension), cell in zip(ways[len(cells)], cells, strict=True):
        row[part] = with_unit(cell, dimension, system)
        QuantityField(dimension, SIGNS.get(dimension, "positive")).read(row[part])
    if name in ("points", "idle", "maximum"):
        model = {"points": m.TargetPoint, "idle": m.Idle, "maximum": m.Maximum}[name]
        _validate(TypeAdapter(model), row)
    if "min" in row:
        low, high = (QuantityField("angle", "any").read(row[k]).value for k in ("min", "max"))
        if high <= low:
            raise ValueError("expected the least advance first, then the most")
    return row


def check_rows(question: Question, rows: list[dict[str, str]]) -> None:
    """Raise ValueError where lines together are not a table yet: too few, or advances that do not rise from 0."""
    name = question.key.rsplit(".", 1)[1]
    if len(rows) < LEAST_ROWS[name]:
        raise ValueError(f"got {len(rows)} lines, expected {LEAST_ROWS[name]} or more")
    if name not in ("points", "measured"):
        advance = [QuantityField("angle", "any").read(r["advance"]).value for r in rows]
        if advance[0] != 0 or any(b <= a for a, b in pairwise(advance)):
            raise ValueError("expected advance to begin at 0 and to rise from line to line")


_NUMBER = r"[+-]?(?:\d+\.?\d*|\.\d+)(?:[eE][+-]?\d+)?"
_BARE = re.compile(rf"{_NUMBER}(?:\s*(?:±|\+/-|\+-)\s*{_NUMBER})?|(?:±|\+/-|\+-)\s*{_NUMBER}")


def with_unit(text: str, dimension: str, system: str) -> str:
    """The quantity with its unit: a bare number, ± or not, takes the person's own. A true minus is read too."""
    given = " ".join(text.replace("−", "-").split())
    if _BARE.fullmatch(given):
        given = f"{given} {unit_of(dimension, system)}".strip()
    return given


def cells_of(text: str) -> list[str]:
    """The numbers of a line: parted by commas or semicolons, or by blanks where all are bare; two of them also as "4 to 6",
    "4–6" or "4-6"."""
    part = next((f"{mark} " for mark in ";," if mark in text), " ")
    given = re.sub(r"(?<=\d)(?:\s*–\s*|-|\s+to\s+)(?=\d)", part, text).replace("−", "-").strip()
    if ";" in given:
        return [c.strip() for c in given.split(";")]
    if "," in given:
        return [c.strip() for c in given.split(",")]
    words = given.split()
    if all(re.fullmatch(_NUMBER, w) for w in words):
        return words
    found = re.findall(rf"{_NUMBER}(?:\s*(?:±|\+/-|\+-)\s*{_NUMBER})?(?:\s*[^\W\d][^\s\d±+]*)?", given)
    return [c.strip() for c in found] if "".join(found).replace(" ", "") == given.replace(" ", "") else [given]


# --- the job file's own types -------------------------------------------------------------------------------


@cache
def _field(key: str) -> tuple[FieldInfo, TypeAdapter[Any]]:
    field = field_of(m.JobModel, tuple(key.split(".")))
    assert field is not None, key
    annotation: Any = field.annotation
    for extra in field.metadata:
        annotation = Annotated[annotation, extra]
    return field, TypeAdapter(annotation)


def check_field(key: str, value: Any) -> None:
    """Raise ValueError, saying what was expected, where the job file would not take this value at this key."""
    _validate(_field(key)[1], value)


def _validate(adapter: TypeAdapter[Any], value: Any) -> None:
    try:
        adapter.validate_python(value)
    except ValidationError as error:
        first = error.errors(include_url=False)[0]
        raise ValueError(str(first.get("ctx", {}).get("error", "")) or first["msg"].lower()) from None


def dimension_of(key: str) -> str:
    """What the quantity at this key measures."""
    field = _field(key)[0]
    return next(_dimensions([*field.metadata, field.annotation]))


def _dimensions(found: list[Any]) -> Iterator[str]:
    for one in found:
        if isinstance(one, QuantityField | HalfWidthField):
            yield one.dimension
        else:
            yield from _dimensions(list(get_args(one)))


def measured(key: str, given: str) -> Quantity:
    """An answer that is a quantity, in SI."""
    found = _field(key)[1].validate_python(given)
    if isinstance(found, tuple):  # one for each set of points
        found = found[0]
    return found if isinstance(found, Quantity) else Quantity(float(found))


def both_systems(key: str, given: str) -> str:
    """The quantity with its ± in both systems of units: "12.60 ± 0.20 mm = 0.4961 ± 0.0079 in"; only what it is where there is
    but one."""
    dimension, found = dimension_of(key), measured(key, given)
    units = dict.fromkeys(unit_of(dimension, s) for s in UNITS)
    return " = ".join(_told(found, factor(u, dimension), u) for u in units)


def _told(found: Quantity, size: float, unit: str) -> str:
    by = "" if found.half_width is None else f" ± {found.half_width / size:.3g}"
    return f"{found.value / size:.4g}{by} {unit}".strip()


# Keys of [stop], [springs] and [condition] that are the distributor's angles, and not angles of a drawing.
OF_DISTRIBUTOR = ("stop.advance", "stop.per_mm", ".takeup", "condition.dwell", "vacuum.maximum")


def shaft_of(key: str, answers: Answers) -> str:
    """Whose degrees and rpm an answer is: "distributor" or "crank"; empty for what is neither."""
    table = key.split(".")[0]
    if table == "timing" or key == "target.static" or key == "sweep.static":
        return "crank"
    if table in ("target", "sweep"):
        return str(answers.get(f"{table}.basis") or "distributor")
    return "distributor" if key.endswith(OF_DISTRIBUTOR) else ""


def implausible(question: Question, given: str) -> str:
    """What is said of a number outside the trade's usual range; empty within it."""
    entry = ranges()["range"].get(question.range)
    if entry is None:
        return ""
    shown = measured(question.key, given).value / factor(entry["unit"], dimension_of(question.key))
    if entry["low"] <= shown <= entry["high"]:
        return ""
    return f"{shown:.3g} {entry['unit']} is outside the usual {entry['low']:g} to {entry['high']:g} {entry['unit']}"
