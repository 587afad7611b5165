"""A job file with its comments: the answers of an interview, and what could be added to them, or a blank template."""

from __future__ import annotations

import json
from typing import Any

from recurve.answers import document_of, examples
from recurve.questions import Answers, questions

# In the order of the job file (design §5); what stands in a table of these is written in one line.
TABLES = (
    "", "distributor", "weights", "weights.motion", "stop", "drag", "springs.primary", "springs.primary.posts",
    "springs.secondary", "springs.secondary.posts", "target", "sweep", "catalogue",
)  # fmt: skip
HEAD = """\
# {what}
# Every quantity is a text with its unit, and a ± where it is known: "not off by more than". Any unit of the right kind
# will do. A line that begins with # and no blank is a setting that is left out: take the # away to make it count.
# What each is and how it is measured, with figures: examples/measuring.md.
"""
NOTE_COLUMN = 46


def job_text(answers: Answers, title: str) -> str:
    """The job that the answers make, with a comment for each key and examples of what was left out."""
    head = HEAD.format(what="Written by recurve start; recurve start on this folder goes on with it.")
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
        out += _noted(line if key in here else "\n".join(f"#{row}" for row in line.split("\n")), _note(inner))
    return out


def _noted(line: str, note: str) -> str:
    """A setting with its comment behind it, or above it where the line is long."""
    if not note:
        return f"{line}\n"
    if "\n" in line or len(line) >= NOTE_COLUMN:
        return f"# {note}\n{line}\n"
    return f"{line:<{NOTE_COLUMN}}# {note}\n"


def _note(key: str) -> str:
    found = [q for q in questions() if q.key == key or q.key.startswith(f"{key}.")]
    return next((q.note for q in found if q.note), "")


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
