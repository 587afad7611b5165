"""A job file read back into answers, so that an interview goes on with a file that was changed by hand."""

from __future__ import annotations

import datetime
import re
from typing import Any

from recurve.job.made import TABLES
from recurve.job.questions import Answers, questions

ENDS = ("anchor", "far")


def answers_of(document: dict[str, Any], kept: Answers) -> dict[str, Any]:
    """The answers that make a job's `document`, for a file that was changed by hand: those `kept` steer what is asked, and
    what the file says counts. Questions that the file leaves out count as left out."""
    answers = {key: value for key, value in kept.items() if key.startswith("~")} | _steering(document, kept)
    for question in questions():
        if not question.key.startswith("~"):
            found = _value_at(document, question.key)
            answers[question.key] = "" if found is None else found
    return answers


def _steering(document: dict[str, Any], kept: Answers) -> dict[str, Any]:
    """What a file tells of the ways in which its values were given."""
    springs, drag, stop = (document.get(name, {}) for name in ("springs", "drag", "stop"))
    primary = springs.get("primary", {})
    posts = primary.get("posts", {})
    told: dict[str, Any] = {}
    if "file" in document.get("sweep", {}) and kept.get("~sweep") != "now":
        told["~sweep"] = "file"
    if "rubbing_block" in drag or "breaker_spring" in drag:
        told["~drag"] = "moment" if "rubbing_block" in drag else "scale"
    if primary:
        given = {key for spring in springs.values() if isinstance(spring, dict) for key in spring}
        if given & {"takeup", "free_length"}:
            told["~takeups"] = "turned" if "takeup" in given else kept.get("~takeups") or "lengths"
        told["~second"] = "yes" if "secondary" in springs else "no"
    if posts:
        told["~places"] = "lengths" if posts.get("kind") == "table" else _way_of(springs, kept)
    if stop.keys() & {"radius", "per_mm"}:
        told["~trim"] = "radius" if "radius" in stop else "feeler"
    if "file" in document.get("catalogue", {}) and kept.get("~shelf") != "now":
        told["~shelf"] = "file"
    for name, table in (("~wear", "condition"), ("~vacuum", "vacuum"), ("~timing", "timing")):
        if table in document:
            told[name] = "yes"
    return told


def _way_of(springs: dict[str, Any], kept: Answers) -> str:
    """How the places of posts are given; as it was answered while none has been given yet."""
    ends = [s["posts"].get(end, {}) for s in springs.values() if isinstance(s, dict) and "posts" in s for end in ENDS]
    if any("xy" in end for end in ends):
        return "xy"
    chosen = kept.get("~places")
    return str(chosen) if chosen == "xy" and not any({"radius", "angle"} & end.keys() for end in ends) else "angles"


def _value_at(document: dict[str, Any], key: str) -> Any:
    """What stands at a key, as an answer is kept; None where nothing does."""
    *path, last = key.split(".")
    table: Any = document
    for part in path:
        table = table.get(part) if isinstance(table, dict) else None
    if not isinstance(table, dict) or last not in table:
        return None
    value = table[last]
    if last in ("length", "cg_radius") and isinstance(value, list):
        return [{"advance": a, last: x} for a, x in zip(table.get("advance", ()), value, strict=False)]
    return str(value) if isinstance(value, datetime.date) else value


def tables_besides(text: str) -> str:
    """The tables of a job file that no question asks for, as they stand, comments and all."""
    blocks = re.split(r"(?m)^(?=\[)", text)
    return "".join(b for b in blocks if (name := re.match(r"\[+\s*([\w.\"-]+)", b)) and name[1] not in TABLES)
