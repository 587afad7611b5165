"""What the interview asks: `data/questions.toml` as frozen types, and which questions the answers so far lead to."""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from typing import Any

from recurve.data import data_file
from recurve.units import PLACES

Answers = Mapping[str, Any]  # by key; "" where a question was left out


@dataclass(frozen=True)
class Question:
    """One question; its fields are told at the top of `data/questions.toml`. `part` is its part's number from 0."""

    part: int
    key: str
    kind: str
    ask: str
    how: str
    skip: str
    example: Any
    note: str = ""
    choices: tuple[str, ...] = ()
    when: tuple[tuple[str, tuple[str, ...]], ...] = ()
    unless: str = ""
    group: str = ""
    needs: str = ""
    range: str = ""
    figure: int = 0

    def asked(self, answers: Answers) -> bool:
        """Whether the answers so far lead to this question."""
        if self.unless and answers.get(self.unless, ""):
            return False
        return all(str(answers.get(key, "")) in wanted for key, wanted in self.when)


@dataclass(frozen=True)
class Part:
    """A part of the unit as it is taken apart: its title, words, a caution ("" where nothing is dangerous), a drawing in plain
    characters, a figure's number."""

    title: str
    words: str
    caution: str
    drawing: str
    figure: int
    questions: tuple[Question, ...]


@cache
def parts() -> tuple[Part, ...]:
    """All parts in the order in which a unit is taken apart."""
    table = tomllib.loads(data_file("questions.toml").read_text(encoding="utf-8"))
    return tuple(_part(number, entry) for number, entry in enumerate(table["part"]))


def _part(number: int, entry: dict[str, Any]) -> Part:
    if entry.get("each"):
        asked = [_for_spring(q, s) for s in PLACES for q in entry["ask"] if q.get("only", s) == s]
    else:
        asked = entry["ask"]
    questions = tuple(_question(number, {**q, "when": {**entry.get("when", {}), **q.get("when", {})}}) for q in asked)
    words, caution = (" ".join(entry.get(name, "").split()) for name in ("words", "caution"))
    return Part(entry["title"], words, caution, entry.get("drawing", ""), entry.get("figure", 0), questions)


def _for_spring(entry: dict[str, Any], spring: str) -> dict[str, Any]:
    """A question about one of the two springs; those about the second are asked only if there is one."""
    own = {k: v.replace("{spring}", spring) if isinstance(v, str) else v for k, v in entry.items() if k != "only"}
    if isinstance(own["example"], dict):
        own["example"] = own["example"][spring]
    if spring == "secondary" and own["key"] != "~second":
        own["when"] = {**entry.get("when", {}), "~second": ["yes", ""]}
    return own


def _question(part: int, entry: dict[str, Any]) -> Question:
    when = tuple((key, tuple(wanted)) for key, wanted in entry.get("when", {}).items())
    return Question(part, **{**entry, "when": when, "choices": tuple(entry.get("choices", ()))})


def questions() -> tuple[Question, ...]:
    """All questions, whatever the answers."""
    return tuple(q for part in parts() for q in part.questions)


def asked(answers: Answers) -> list[Question]:
    """The questions that these answers lead to, in order, answered or not."""
    return [q for q in questions() if q.asked(answers)]


def figure_of(key: str) -> int:
    """The figure of the measuring guide that shows what a key, or what is in its table, is; 0 where none does."""
    found = [q for q in questions() if q.key == key or q.key.startswith(f"{key}.")]
    return next((q.figure or parts()[q.part].figure for q in found if q.kind in ("quantity", "pair", "rows")), 0)
