"""Turns what pydantic found wrong in a job file into faults that a person can act on, each with its key and its line."""

from __future__ import annotations

import difflib
import re
from collections.abc import Iterable
from dataclasses import replace
from functools import lru_cache
from typing import Any, get_args

from pydantic import BaseModel, ValidationError
from pydantic.fields import FieldInfo
from pydantic_core import ErrorDetails

from recurve.errors import Fault, Key
from recurve.job.quantity import QuantityField
from recurve.job.questions import figure_of
from recurve.text import printable
from recurve.units import UnreadableError, with_article


def faults_in(error: ValidationError, text: str, shown: str, model: type[BaseModel]) -> list[Fault]:
    """What pydantic found wrong, each with its key and its line in the `text` of the file `shown`."""
    return [located(_fault(one, model), text, shown) for one in error.errors(include_url=False)]


def located(fault: Fault, text: str, shown: str) -> Fault:
    """A fault of a job file with its place: the file as `shown`, and the line in its `text` where that can be known."""
    return replace(fault, file=shown, line=None if fault.key is None else line_of(text, fault.key))


def is_missing(error: ErrorDetails) -> bool:
    """Whether all that is wrong is that a key is not there."""
    return error["type"] == "missing" or (error["type"] == "value_error" and error["input"] is None)


def _fault(error: ErrorDetails, model: type[BaseModel]) -> Fault:
    key = _without_tags(error["loc"], model)
    kind, given = error["type"], error["input"]
    if is_missing(error):
        return Fault(key, f"missing, expected {_what(model, key)}{_figure(key)}")
    if kind == "extra_forbidden":
        near = difflib.get_close_matches(str(key[-1]), _known(model, key[:-1]), 1, 0.55)
        hint = f'; did you mean "{near[0]}"?' if near else ""
        return Fault(key, f"unknown key, expected one of {', '.join(_known(model, key[:-1]))}{hint}")
    if kind in ("union_tag_invalid", "union_tag_not_found"):
        got = given.get("kind") if isinstance(given, dict) else given
        expected = error.get("ctx", {}).get("expected_tags") or ", ".join(t for m in _at(model, key) if (t := _tag(m)))
        if not isinstance(given, dict):
            return Fault(key, f"got {_shown(given)}, expected a table, with kind one of {_quoted(expected)}")
        return Fault((*key, "kind"), f"got {_shown(got)}, expected {_quoted(expected)}")
    if kind == "value_error":
        return Fault(key, _value_message(given, error.get("ctx", {}).get("error") or error["msg"]))
    if kind == "literal_error":
        return Fault(key, f"got {_shown(given)}, expected {str(error['ctx']['expected']).replace(chr(39), chr(34))}")
    if kind in ("too_short", "too_long"):
        bound = {"too_short": "at least {min_length}", "too_long": "at most {max_length}"}[kind].format(**error["ctx"])
        return Fault(key, f"got {error['ctx']['actual_length']} of them, expected {bound}")
    return Fault(key, f"got {_shown(given)}, expected {_expected(error, model, key)}")


# What each of the checker's own types of error expects, in plain words; {ge} and so on are limits.
EXPECTED = {
    "int_type": "a whole number",
    "int_from_float": "a whole number",
    "int_parsing": "a whole number",
    "int_parsing_size": "a whole number",
    "float_type": "a number",
    "float_parsing": "a number",
    "finite_number": "a number that is not infinite",
    "string_type": "a text in quotes",
    "string_unicode": "a text in quotes",
    "string_too_short": "a text, not an empty one",
    "string_too_long": "a text of at most {max_length} characters",
    "bool_type": "true or false",
    "bool_parsing": "true or false",
    "tuple_type": "a list in square brackets",
    "list_type": "a list in square brackets",
    "greater_than": "more than {gt}",
    "greater_than_equal": "{ge} or more",
    "less_than": "less than {lt}",
    "less_than_equal": "{le} or less",
}
NO_TABLE = ("model_type", "model_attributes_type", "dict_type")


def _expected(error: ErrorDetails, model: type[BaseModel], key: Key) -> str:
    """What was expected where a value is of the wrong kind or size."""
    if error["type"] in NO_TABLE:
        inside = _known(model, key)
        example = ", ".join(inside[:3]) + (" and so on" if len(inside) > 3 else "")
        return "a table" + (f" of {example}" if example else "")
    known = EXPECTED.get(error["type"])
    if known is None:
        return error["msg"].lower().removeprefix("input should be ")
    return known.format(**{k: f"{v:g}" if isinstance(v, float) else v for k, v in error.get("ctx", {}).items()})


def _value_message(given: Any, error: object) -> str:
    """What a check of our own says of a value; of a whole table it says all that is to be said."""
    if isinstance(given, dict):
        return str(error)
    # A text that cannot be read: what is wrong with it stands before what was expected.
    return f"got {_shown(given)}{': ' if isinstance(error, UnreadableError) else ', '}{error}"


def _shown(value: Any) -> str:
    text = f'"{value}"' if isinstance(value, str) else "nothing" if value is None else _as_toml(value)
    text = printable(text)
    return text if len(text) <= 60 else text[:57] + "…"


def _as_toml(value: Any) -> str:
    """A value about as it stands in a job file."""
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, str):
        return f'"{value}"'
    if isinstance(value, dict):
        return f"{{ {', '.join(f'{k} = {_as_toml(v)}' for k, v in value.items())} }}" if value else "{}"
    if isinstance(value, list | tuple):
        return f"[{', '.join(_as_toml(v) for v in value)}]"
    return str(value)


def _quoted(names: str) -> str:
    """ "slot, 'link'" as "slot", "link"."""
    return ", ".join(f'"{n.strip(chr(39))}"' for n in names.split(", "))


def _models(annotation: Any) -> Iterable[type[BaseModel]]:
    """The table models inside a field's annotation, unions and tuples opened."""
    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        yield annotation
    for inner in get_args(annotation):
        yield from _models(inner)


def _descend(models: list[type[BaseModel]], part: int | str) -> list[type[BaseModel]]:
    if isinstance(part, int):
        return models
    fields = [m.model_fields[part].annotation for m in models if part in m.model_fields]
    return [m for annotation in fields for m in _models(annotation)]


def _tag(model: type[BaseModel]) -> str | None:
    field = model.model_fields.get("kind")
    return None if field is None else str(get_args(field.annotation)[0])


def _without_tags(loc: Key, model: type[BaseModel]) -> Key:
    """The key path as in the file: pydantic adds the tag of the chosen kind, which is no key."""
    models: list[type[BaseModel]] = [model]
    key: list[int | str] = []
    for part in loc:
        tagged = [m for m in models if _tag(m) == part]
        if tagged and not any(part in m.model_fields for m in models):
            models = tagged
            continue
        key.append(part)
        models = _descend(models, part)
    return tuple(key)


def _at(model: type[BaseModel], key: Key) -> list[type[BaseModel]]:
    models: list[type[BaseModel]] = [model]
    for part in key:
        models = _descend(models, part)
    return models


def field_of(model: type[BaseModel], key: Key) -> FieldInfo | None:
    """The field at a key path, of the first kind of table that has it; None where there is none."""
    fields = (parent.model_fields.get(str(key[-1])) for parent in _at(model, key[:-1]))
    return next((f for f in fields if f is not None), None)


def _known(model: type[BaseModel], key: Key) -> list[str]:
    return list(dict.fromkeys(name for m in _at(model, key) for name in m.model_fields))


def _what(model: type[BaseModel], key: Key) -> str:
    """What a missing key should hold, with an example where its type tells one."""
    for parent in _at(model, key[:-1]):
        field = parent.model_fields.get(str(key[-1]))
        if field is None:
            continue
        for extra in field.metadata:
            if isinstance(extra, QuantityField):
                return f'{with_article(extra.dimension)}, such as "{extra.example}"'
        inside = _known(model, key)
        return f"a table with {', '.join(inside)}" if inside else "a value"
    return "a value"


def _figure(key: Key) -> str:
    """Where the measuring guide shows how a missing quantity is measured; empty where it needs none."""
    number = figure_of(".".join(str(p) for p in key))
    return f"; recurve guide {number} shows how it is measured" if number else ""


def line_of(text: str, key: Key) -> int | None:
    """The line (from 1) on which a key, or the nearest table above it, stands; None where not found."""
    parts = tuple(str(p) for p in key if not isinstance(p, int))
    places = _places(text)
    for depth in range(len(parts), 0, -1):
        if parts[:depth] in places:
            line = places[parts[:depth]]
            return line + _rows_down(_lines(text), line, key)
    return None


@lru_cache(maxsize=4)  # a file with a thousand faults is looked through once
def _lines(text: str) -> tuple[str, ...]:
    return tuple(text.splitlines())


@lru_cache(maxsize=4)
def _places(text: str) -> dict[tuple[str, ...], int]:
    """The first line (from 1) on which each table and each key stands, by its path."""
    found: dict[tuple[str, ...], int] = {}
    table: tuple[str, ...] = ()
    for number, line in enumerate(_lines(text), 1):
        header = re.match(r"\s*\[+\s*([^\]]+?)\s*\]+", line)
        if header:
            table = tuple(p.strip().strip("\"'") for p in header[1].split("."))
            found.setdefault(table, number)
        elif named := re.match(r"\s*([A-Za-z0-9_.\"'-]+)\s*=", line):
            found.setdefault((*table, *(p.strip("\"'") for p in named[1].split("."))), number)
    return found


def _rows_down(lines: tuple[str, ...], line: int, key: Key) -> int:
    """Lines from the beginning of an array to the row of inline tables that the key names."""
    rows = [p for p in key if isinstance(p, int)]
    if not rows:
        return 0
    count = -1
    for down, content in enumerate(lines[line - 1 :]):
        count += content.split("#")[0].count("{")
        if count >= rows[0]:
            return down
    return 0
