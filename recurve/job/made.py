"""The job that answers make: its tables, and its text with a comment for each key and examples of what was left out."""

from __future__ import annotations

import json
from typing import Any

from recurve.job.answers import TYPED_SPRINGS, TYPED_SWEEP, read_answer, read_row
from recurve.job.questions import Answers, Question, asked, questions
from recurve.units import PLACES

NOTHING: Answers = {}


def document_of(answers: Answers, title: str, given: Answers = NOTHING) -> dict[str, Any]:
    """The job file as nested tables, of the answers that count. `title` where none was given; `given` are the answers of the
    type that the job names, which lead to questions and complete groups but stand in the type alone."""
    document: dict[str, Any] = {"title": title}
    for question in _counting(answers, given):
        _put(document, question.key, answers[question.key])
    for name in PLACES:
        spring = document.get("springs", {}).get(name)
        _posts(spring, any(key.startswith(f"springs.{name}.posts.") for key in given))
        if answers.get("~whose") == "others":
            _without_facts(spring)
    _motion(document)
    _tables(document, answers)
    return document


def _counting(answers: Answers, given: Answers) -> list[Question]:
    """Answered questions that go into the file: groups only whole, trims only where the stop's radius is known."""
    known = {**given, **{key: value for key, value in answers.items() if value != ""}}
    here = asked(known)
    keys = {q.key for q in here if not q.key.startswith("~") and known.get(q.key, "") != ""}
    whole = {g for g in {q.group for q in here} if {q.key for q in here if q.group == g} <= keys}
    trim = bool(keys & {"stop.radius", "stop.per_mm"})
    counts = [q for q in here if (not q.group or q.group in whole) and (q.needs != "trim" or trim)]
    return [q for q in counts if q.key in keys and answers.get(q.key, "") != ""]


def _put(document: dict[str, Any], key: str, value: Any) -> None:
    *path, last = key.split(".")
    table = document
    for part in path:
        table = table.setdefault(part, {})
    table[last] = value


def _posts(spring: dict[str, Any] | None, of_type: bool) -> None:
    """Whether posts are given by points or by a table; points that complete those of a type do not say so again."""
    if spring is None or "posts" not in spring:
        return
    posts = spring["posts"]
    rows = posts.pop("length", None)
    points = {} if of_type else {"kind": "points"}
    kind = points if rows is None else {"kind": "table", **_columns(rows)}
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


def job_text(answers: Answers, title: str, given: Answers = NOTHING) -> str:
    """The job that the answers make, with a comment for each key and examples of what was left out. `given`: as before."""
    head = HEAD.format(what="Written by recurve start. To go on, run recurve start on this folder again.")
    return head + _body(document_of(answers, title, given), document_of(examples({**given, **answers}), title))


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
