"""A type of unit: the file that holds what belongs to all units of a type, and how a job takes from it.

A type file has the tables of a job file. In the place of a quantity it may have what was learned of it: its mean over the
units, their spread about it, and how well the mean itself is known. Where a job names a type, each of these becomes a
quantity with a ± in that job, unless the job states it itself; from there on nothing needs to know where it came from.
"""

from __future__ import annotations

import copy
import tomllib
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import replace
from itertools import takewhile
from pathlib import Path
from typing import Annotated, Any

from pydantic import Field, ValidationError
from pydantic_core import ErrorDetails

from recurve.errors import Fault, InputError, Key
from recurve.job import schema as m
from recurve.job.learned import FOUND, LEARNED, Learned, UnitType
from recurve.job.messages import faults_in, is_missing, located
from recurve.job.named import name_fault, read_document
from recurve.job.schema_unit import Table
from recurve.text import beside
from recurve.units import PLACES, parse

UNIT_KEYS = ("distributor", "weights", "stop", "drag", "springs", "target")  # tables that a type shares with a job
POINTS = ("pivot", "cg", "pin", "cam", "anchor", "far")  # tables that are either polar or flat
# Keys that tell no quantity of a unit, by their last part: what all units of a type have alike.
NO_QUANTITY = ("kind", "on", "count", "reach", "post_travel", "file_up_to", "build_up_to", "trigger", "trigger_fitted")
OF_TYPE = {"units", "sources", "found"}  # keys that a type file has and no job
OWN_WAY = ("kind",)  # a table of the job that names its kind stands for itself
DRAG_WAYS = (
    "rubbing_block",
    "breaker_spring",
    "contact_lever",
    "block_lever",
    "cam_radius",
    "friction_coefficient",
    "dwell",
)


class LearnedTable(Table):
    """What was learned of one quantity, as the file has it."""

    mean: str
    spread: str
    uncertain: str
    units: Annotated[int, Field(ge=1, strict=True)]


class SourceTable(Table):
    """A unit that the type was learned from."""

    file: str
    title: str = ""
    date: str = ""
    inputs: str = ""


class HeadTable(Table):
    """What a type file has besides the tables of a job."""

    title: Annotated[str, Field(min_length=1, max_length=200)]
    units: Annotated[int, Field(ge=1, strict=True)]
    sources: tuple[SourceTable, ...] = ()


class WholeFile(HeadTable):
    """All that a type file may have, for what is said of a key that it may not."""

    distributor: Any = None
    weights: Any = None
    stop: Any = None
    drag: Any = None
    springs: Any = None
    target: Any = None
    found: Any = None


def read_type(path: Path, shown: str) -> UnitType:
    """Read a type file; `shown` is how messages call it. A table need not be whole. Raises InputError with a line for each
    fault."""
    text, document = read_document(path)
    if not OF_TYPE & document.keys():
        message = "got a job, not a type file; expected one that recurve learn made, with the number of its units"
        raise InputError(Fault(None, message, shown))
    faults: list[Fault] = []
    head = {k: v for k, v in document.items() if k not in (*UNIT_KEYS, "found")}
    try:
        told: HeadTable | None = HeadTable.model_validate(head)
    except ValidationError as error:
        told = None
        faults += faults_in(error, text, shown, WholeFile)
    learned: dict[Key, Learned] = {}
    found = document.get("found", {})
    tables = {k: copy.deepcopy(document[k]) for k in UNIT_KEYS if k in document}
    for key, leaf in [*_leaves(tables, ()), *_leaves(found, ("found",))]:
        one = _learned(key, leaf, faults)
        if one is not None:
            learned[key] = one
    for key, one in learned.items():
        if key[0] != "found":
            _put(tables, key, one.text(LEARNED[str(key[-1])]))
    faults = [f if f.file else located(f, text, shown) for f in faults]
    faults += [located(f, text, shown) for f in _found_faults(found)]
    if not faults:
        try:
            m.BareModel.model_validate({"title": "-", **tables})
        except ValidationError as error:
            absent = [_is_left_out(one) for one in error.errors(include_url=False)]
            told_of = faults_in(error, text, shown, m.BareModel)
            faults += [fault for fault, left_out in zip(told_of, absent, strict=True) if not left_out]
    if faults or told is None:
        raise InputError(faults)
    return UnitType(path, told.title, told.units, tables, learned)


def _is_type(document: dict[str, Any]) -> bool:
    """Whether a document is that of a type, and no job with a key of such a name by mistake."""
    return isinstance(document.get("units"), int) or isinstance(document.get("sources"), list)


def _may_be_type(path: Path) -> bool:
    """Whether a file has what only type files have."""
    try:
        return _is_type(read_document(path)[1])
    except InputError:
        return False


def _is_left_out(error: ErrorDetails) -> bool:
    """Whether all that is wrong is that a table is not whole: the job may state the rest, and is validated with it."""
    whole_table = isinstance(error["input"], dict) and error["type"] in ("value_error", "union_tag_not_found")
    return is_missing(error) or whole_table


def _leaves(node: Any, key: Key) -> Iterator[tuple[Key, dict[str, Any]]]:
    """The tables of a type file that tell a mean, each with its path."""
    if isinstance(node, dict):
        if "mean" in node:
            yield key, node
            return
        for name, inner in node.items():
            yield from _leaves(inner, (*key, name))


def _learned(key: Key, leaf: dict[str, Any], faults: list[Fault]) -> Learned | None:
    """What a table of the file says was learned; None, with its faults, where it cannot be read."""
    dimension = LEARNED.get(str(key[-1])) if key else None
    if dimension is None:
        faults.append(Fault(key, f"got a mean, expected one only of {', '.join(LEARNED)}"))
        return None
    try:
        told = LearnedTable.model_validate(leaf)
    except ValidationError as error:
        for one in faults_in(error, "", "", LearnedTable):
            missing = one.message.startswith("missing")
            told_of = "missing, expected mean, spread, uncertain and units" if missing else one.message
            faults.append(Fault((*key, *(one.key or ())), told_of))
        return None
    values: list[float] = []
    for name in ("mean", "spread", "uncertain"):
        text = getattr(told, name)
        try:
            value = parse(text, dimension).value
            if name != "mean" and value <= 0.0:
                raise ValueError("expected more than 0")
            values.append(value)
        except ValueError as wrong:
            faults.append(Fault((*key, name), f'got "{text}", {wrong}'))
    return Learned(values[0], values[1], values[2], told.units) if len(values) == 3 else None


def _found_faults(found: Any) -> list[Fault]:
    """What is wrong with the table of the springs found."""
    if not isinstance(found, dict) or any(not isinstance(found[p], dict) for p in found):
        return [Fault(("found",), "got no tables, expected found.primary and found.secondary")]
    wrong = [(p, k) for p, table in found.items() for k in table if p not in PLACES or k not in FOUND]
    told = f"expected {', '.join(FOUND)} of primary and secondary"
    return [Fault(("found", place, key), f"unknown key, {told}") for place, key in wrong]


def _put(tables: dict[str, Any], key: Key, value: Any) -> None:
    for part in key[:-1]:
        tables = tables[str(part)]
    tables[str(key[-1])] = value


# --- what a job takes -------------------------------------------------------------------------------------


def read_typed_document(path: str | Path) -> tuple[str, dict[str, Any], UnitType | None]:
    """The text of a job file, what it holds together with what it takes from the type that it names, and that type.
    Raises InputError, also where the type cannot be read."""
    text, document = read_document(path)
    if _is_type(document):
        message = f'got a type file, not a job; expected a job, such as one that names it: type = "{Path(path).name}"'
        raise InputError(Fault(None, message, str(path)))
    return text, *with_type(Path(path), text, document)


def with_type(path: Path, text: str, document: dict[str, Any]) -> tuple[dict[str, Any], UnitType | None]:
    """A job's document together with what it takes from the type that it names, and that type; None where it names none.
    Raises InputError."""
    name = document.get("type")
    if not isinstance(name, str):
        return document, None  # none, or the model says what is wrong
    if wrong := name_fault(path, name, _may_be_type):
        raise InputError(located(Fault(("type",), wrong), text, str(path)))
    kind = read_type(beside(path, name), str(path.parent / name))
    merged = copy.deepcopy(document)
    for table in UNIT_KEYS:
        if table in kind.document:
            _take(merged, table, copy.deepcopy(kind.document[table]))
    every = {k for k, told in _values(kind.document, ()) if _at(merged, k) == told and _at(document, k) is None}
    taken = frozenset(k for k in every if k[0] != "distributor" and k[-1] not in NO_QUANTITY)
    return merged, replace(kind, taken=taken, shared=frozenset(every - taken))


@contextmanager
def told_where(path: Path, text: str, kind: UnitType | None) -> Iterator[None]:
    """What is raised of the job at `path`, with its `text`, is told of the type's file where the fault stands in that."""
    try:
        yield
    except InputError as error:
        if kind is None:
            raise
        try:
            own, of_type = tomllib.loads(text), read_document(kind.path)[0]
        except (ValueError, InputError):
            raise error from None
        shown = str(path.parent / str(own.get("type")))
        raise type(error)([_where(f, str(path), own, (kind, of_type, shown)) for f in error.found]) from None


def _where(fault: Fault, job: str, own: dict[str, Any], of_type: tuple[UnitType, str, str]) -> Fault:
    """A fault of a job, told of its type where only that has the key."""
    kind, text, shown = of_type
    key = tuple(takewhile(lambda part: isinstance(part, str), fault.key or ()))
    if fault.file != job or not key or _at(own, key) is not None or _at(kind.document, key) is None:
        return fault
    return located(fault, text, shown)


def _values(node: Any, key: Key) -> Iterator[tuple[Key, Any]]:
    """What a type gives, each with its path; its book as a whole."""
    if isinstance(node, dict) and key != ("target",):
        for name, inner in node.items():
            yield from _values(inner, (*key, name))
    else:
        yield key, node


def _at(node: Any, key: Key) -> Any:
    for part in key:
        node = node.get(part) if isinstance(node, dict) else None
    return node


def _take(own: dict[str, Any], name: str, given: Any) -> None:
    """What the job does not state itself comes from the type; the two ways to tell one thing are never mixed."""
    mine = own.get(name)
    if mine is None:
        own[name] = given
        return
    if not isinstance(mine, dict) or not isinstance(given, dict) or name == "target":
        return
    if any(k in mine for k in OWN_WAY) or (name in POINTS and "xy" in mine):
        return
    for key in _other_ways(name, mine):
        given.pop(key, None)
    for key, inner in given.items():
        _take(mine, key, inner)


def _other_ways(name: str, mine: dict[str, Any]) -> tuple[str, ...]:
    """Keys of a type's table that tell what the job tells in its own way."""
    if name == "stop" and "per_mm" in mine:
        return ("radius",)
    if name == "stop" and "radius" in mine:
        return ("per_mm",)
    if name == "drag" and (mine.get("trigger") == "electronic" or any(k in mine for k in DRAG_WAYS)):
        return DRAG_WAYS
    posts = mine.get("posts")
    if name in PLACES and isinstance(posts, dict) and posts.get("kind") == "table":
        return ("post_diameter",)
    return ()
