"""What a person types at a question, read through the very types of the job file, and the job that the answers make.

A bare number takes the unit of the person's own system; any other unit may stand behind it.

A job file with its comments: the answers of an interview, and what could be added to them, or a blank template.
"""

from __future__ import annotations

import datetime
import json
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
from recurve.job.questions import Answers, Question, asked, questions
from recurve.units import PLACES, Quantity, factor, parse

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
    """The numbers of a line: parted by commas or semicolons, or by blanks where all are bare."""
    given = text.replace("−", "-").strip()
    if ";" in given:
        return [c.strip() for c in given.split(";")]
    if "," in given:
        return [c.strip() for c in given.split(",")]
    words = given.split()
    if all(re.fullmatch(_NUMBER, w) for w in words):
        return words
    found = re.findall(rf"{_NUMBER}(?:\s*(?:±|\+/-|\+-)\s*{_NUMBER})?\s*[^\W\d][^\s\d±+]*", given)
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


# --- the job that answers make ------------------------------------------------------------------------------


def document_of(answers: Answers, title: str) -> dict[str, Any]:
    """The job file as nested tables, of the answers that count. `title` where none was given."""
    given = {q.key: answers[q.key] for q in _counting(answers)}
    document: dict[str, Any] = {"title": title}
    for key, value in given.items():
        _put(document, key, value)
    for name in PLACES:
        spring = document.get("springs", {}).get(name)
        _posts(spring)
        if answers.get("~whose") == "others":
            _without_facts(spring)
    _motion(document)
    _tables(document, answers)
    return document


def _counting(answers: Answers) -> list[Question]:
    """Answered questions that go into the file: groups only whole, trims only where the stop's radius is known."""
    here = [q for q in asked(answers) if not q.key.startswith("~") and answers.get(q.key, "") != ""]
    keys = {q.key for q in here}
    whole = {g for g in {q.group for q in asked(answers)} if {q.key for q in asked(answers) if q.group == g} <= keys}
    trim = bool(keys & {"stop.radius", "stop.per_mm"})
    return [q for q in here if (not q.group or q.group in whole) and (q.needs != "trim" or trim)]


def _put(document: dict[str, Any], key: str, value: Any) -> None:
    *path, last = key.split(".")
    table = document
    for part in path:
        table = table.setdefault(part, {})
    table[last] = value


def _posts(spring: dict[str, Any] | None) -> None:
    """Whether posts are given by points or by a table."""
    if spring is None or "posts" not in spring:
        return
    posts = spring["posts"]
    rows = posts.pop("length", None)
    kind = {"kind": "points"} if rows is None else {"kind": "table", **_columns(rows)}
    spring["posts"] = {**kind, **posts}


FACTS = ("rate", "free_length", "initial_tension", "takeup", "pull_at_rest", "at_rest", "weighings")


def _without_facts(spring: dict[str, Any] | None) -> None:
    """Takes away what is told of a spring that was not in the unit while it was swept: the sweep belongs to another."""
    if spring is not None:
        for key in FACTS:
            spring.pop(key, None)


def _columns(rows: list[dict[str, str]]) -> dict[str, list[str]]:
    return {name: [row[name] for row in rows] for name in rows[0]}


def _motion(document: dict[str, Any]) -> None:
    motion = document.get("weights", {}).get("motion", {})
    rows = motion.pop("cg_radius", None)
    if rows is not None:
        motion |= _columns(rows)
    if motion.get("kind") == "reference":
        given = document.get("sweep", {})
        motion |= {k: given[k] for k in ("basis", "static", "reading", "speed_reading", "zeroed_at") if k in given}


def _tables(document: dict[str, Any], answers: Answers) -> None:
    """The sweep and the catalogue that were typed; tables that say nothing are left out."""
    for name, typed, file in (("sweep", "~readings", TYPED_SWEEP), ("catalogue", "~springs", TYPED_SPRINGS)):
        if answers.get(typed):
            document[name] = {"file": file, **document.get(name, {})}
        if "file" not in document.get(name, {}):
            document.pop(name, None)
    if not document.get("target", {}).keys() & {"points", "idle", "maximum"}:
        document.pop("target", None)


def examples(answers: Answers) -> dict[str, Any]:
    """The answers with every question that was left out answered by its example, in the metric system."""
    out: dict[str, Any] = {k: v for k, v in answers.items() if v != ""}
    while True:
        missing = next((q for q in asked(out) if q.key not in out), None)
        if missing is None:
            return out
        out[missing.key] = _example(missing)


def _example(question: Question) -> Any:
    if question.kind == "rows":
        return [read_row(question, line, "mm") for line in question.example]
    if question.kind == "weighings":
        return [read_answer(question, line, "mm") for line in question.example]
    if question.kind in ("file", "readings", "springs"):
        return question.example
    return read_answer(question, question.example, "mm")


# In the order of the job file; what stands in a table of these is written in one line.
TABLES = (
    "", "distributor", "weights", "weights.motion", "stop", "drag", "springs.primary", "springs.primary.posts",
    "springs.secondary", "springs.secondary.posts", "target", "sweep", "catalogue", "condition", "vacuum", "timing",
)  # fmt: skip
HEAD = """\
# {what}
# Every quantity is a text with its unit, and a ± where it is known: "not off by more than". Any unit of the right kind
# will do. A line that begins with # and no blank is a setting that is left out: take the # away to make it count.
# What each is and how it is measured, with figures: recurve guide.
"""
NOTE_COLUMN = 46


def job_text(answers: Answers, title: str) -> str:
    """The job that the answers make, with a comment for each key and examples of what was left out."""
    head = HEAD.format(what="Written by recurve start. To go on, run recurve start on this folder again.")
    return head + _body(document_of(answers, title), document_of(examples(answers), title))


def blank_text() -> str:
    """The whole template, every setting left out, its examples INVENTED: without the # they make a job that loads."""
    body = _body({}, document_of(examples({}), "title"))
    return HEAD.format(what="A blank job file, made by recurve start --blank; its examples are invented.") + body


def table_text(name: str, given: dict[str, Any]) -> str:
    """One table of the job file with its comments, to be added at its end."""
    return _table(name, given, None)


def _body(document: dict[str, Any], example: dict[str, Any]) -> str:
    return "".join(_table(name, _at(document, name), _at(example, name)) for name in TABLES)


def _at(document: dict[str, Any], name: str) -> dict[str, Any] | None:
    for part in name.split(".") if name else ():
        found = document.get(part)
        if not isinstance(found, dict):
            return None
        document = found
    return document


def _table(name: str, given: dict[str, Any] | None, example: dict[str, Any] | None) -> str:
    """One table: what was given, and, left out, what could be."""
    if given is None and example is None:
        return ""
    here, could = given or {}, example or {}
    out = f"\n{'' if here else '#'}[{name}]\n" if name else ""
    for key in dict.fromkeys([*here, *could]):
        inner = f"{name}.{key}" if name else key
        if inner in TABLES or any(t.startswith(f"{inner}.") for t in TABLES):
            continue
        line = f"{key} = {_toml(key, here[key] if key in here else could[key])}"
        found = [q for q in questions() if q.key == inner or q.key.startswith(f"{inner}.")]
        note = next((q.note for q in found if q.note), "")
        out += _noted(line if key in here else "\n".join(f"#{row}" for row in line.split("\n")), note)
    return out


def _noted(line: str, note: str) -> str:
    """A setting with its comment behind it, or above it where the line is long."""
    if not note:
        return f"{line}\n"
    if "\n" in line or len(line) >= NOTE_COLUMN:
        return f"# {note}\n{line}\n"
    return f"{line:<{NOTE_COLUMN}}# {note}\n"


def _toml(key: str, value: Any) -> str:
    """A value in TOML: dates bare, rows one a line, tables inline."""
    if key == "date":
        return str(value)
    if isinstance(value, dict):
        return "{ " + ", ".join(f"{k} = {_toml(k, v)}" for k, v in value.items()) + " }"
    if isinstance(value, list) and value and isinstance(value[0], dict):
        return "[\n" + "".join(f"  {_toml('', row)},\n" for row in value) + "]"
    if isinstance(value, list):
        return "[" + ", ".join(_toml("", v) for v in value) + "]"
    return json.dumps(value, ensure_ascii=False)
