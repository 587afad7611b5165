"""Turns what pydantic found wrong in a job file into faults that a person can act on, each with its key and its line."""

from __future__ import annotations

import difflib
import re
from collections.abc import Iterable
from dataclasses import replace
from typing import Any, get_args

from pydantic import BaseModel, ValidationError
from pydantic.fields import FieldInfo
from pydantic_core import ErrorDetails

from recurve.errors import Fault, Key
from recurve.job.quantity import QuantityField
from recurve.job.questions import figure_of
from recurve.text import printable
from recurve.units import UnreadableError


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
        return Fault((*key, "kind"), f"got {_shown(got)}, expected {expected}")
    if kind == "value_error":
        return Fault(key, _value_message(given, error.get("ctx", {}).get("error") or error["msg"]))
    if kind == "literal_error":
        return Fault(key, f"got {_shown(given)}, expected {error['ctx']['expected']}")
    if kind in ("too_short", "too_long"):
        bound = {"too_short": "at least {min_length}", "too_long": "at most {max_length}"}[kind].format(**error["ctx"])
        return Fault(key, f"got {error['ctx']['actual_length']} of them, expected {bound}")
    return Fault(key, f"got {_shown(given)}, expected {error['msg'].lower().removeprefix('input should be ')}")


def _value_message(given: Any, error: object) -> str:
    """What a check of our own says of a value; of a whole table it says all that is to be said."""
    if isinstance(given, dict):
        return str(error)
    # A text that cannot be read: what is wrong with it stands before what was expected.
    return f"got {_shown(given)}{': ' if isinstance(error, UnreadableError) else ', '}{error}"


def _shown(value: Any) -> str:
    text = f'"{value}"' if isinstance(value, str) else "nothing" if value is None else str(value)
    text = printable(text)
    return text if len(text) <= 60 else text[:57] + "…"


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
                return f'a {extra.dimension}, such as "{extra.example}"'
        inside = _known(model, key)
        return f"a table with {', '.join(inside)}" if inside else "a value"
    return "a value"


def _figure(key: Key) -> str:
    """Where the measuring guide shows how a missing quantity is measured; empty where it needs none."""
    number = figure_of(".".join(str(p) for p in key))
    return f"; recurve guide {number} shows how it is measured" if number else ""


def line_of(text: str, key: Key) -> int | None:
    """The line (from 1) on which a key, or the nearest table above it, stands; None where not found."""
    parts = [str(p) for p in key if not isinstance(p, int)]
    best: tuple[int, int] | None = None
    table: list[str] = []
    for number, line in enumerate(text.splitlines(), 1):
        header = re.match(r"\s*\[+\s*([^\]]+?)\s*\]+", line)
        if header:
            table = [p.strip().strip("\"'") for p in header[1].split(".")]
            depth = len(table) if parts[: len(table)] == table else 0
        else:
            named = re.match(r"\s*([A-Za-z0-9_.\"'-]+)\s*=", line)
            path = table + ([p.strip("\"'") for p in named[1].split(".")] if named else [])
            depth = len(path) if named and parts[: len(path)] == path else 0
        if depth and (best is None or depth > best[0]):
            best = (depth, number)
    if best is None:
        return None
    return best[1] + _rows_down(text, best[1], key)


def _rows_down(text: str, line: int, key: Key) -> int:
    """Lines from the beginning of an array to the row of inline tables that the key names."""
    rows = [p for p in key if isinstance(p, int)]
    if not rows:
        return 0
    count = -1
    for down, content in enumerate(text.splitlines()[line - 1 :]):
        count += content.split("#")[0].count("{")
        if count >= rows[0]:
            return down
    return 0
