"""The interview's questions as fields: which belong to a step of the work, what stands in them, and what is read of them."""

from __future__ import annotations

import json
from collections.abc import Sequence
from contextlib import suppress
from dataclasses import dataclass
from typing import Any, Literal

from recurve.errors import InputError
from recurve.job.answers import (
    both_systems,
    check_rows,
    implausible,
    read_answer,
    read_row,
    shaft_of,
    system_of,
    unit_of_key,
)
from recurve.job.edit import Edited, reaching
from recurve.job.questions import Answers, Part, Question, asked, parts
from recurve.job.shelf import read_spring

StepName = Literal["book", "sweep", "look", "parts", "springs", "plan", "set", "left", "papers"]


@dataclass(frozen=True)
class Step:
    """A step of the work: its `name` in addresses, its title, and the titles of the interview's parts that belong to it."""

    name: StepName
    title: str
    parts: tuple[str, ...] = ()


STEPS: tuple[Step, ...] = (
    Step("book", "Book", ("The unit on the bench", "What the book asks", "What the papers say")),
    Step("sweep", "Sweep as found", ("On the bench, before anything is undone", "The stop, by degree wheel")),
    Step("look", "First look"),
    Step(
        "parts",
        "Parts",
        (
            "Cap and rotor off", "Turned by hand, springs still on", "The places of the posts", "The weights", "The stop",
            "Wear, if it was inspected", "The vacuum unit, if there is one", "The engine's timing, if you time it",
        ),
    ),
    Step("springs", "Springs", ("The springs", "Springs you can get")),
    Step("plan", "Plan"),
    Step("set", "Build and set"),
    Step("left", "Sweep as left"),
    Step("papers", "Papers"),
)  # fmt: skip
# What the page does in its own way: a sweep has its table, and whoever looks at parts strips the unit.
OWN_WAY = {"~sweep", "~readings", "sweep.file", "~strip"}
Types = tuple[tuple[str, str], ...]
LINES = ("rows", "weighings", "springs")


@dataclass(frozen=True)
class Field:
    """A question as a field: what stands in it (`value`), what is said of it (`told`), and whether that is a `fault`; `shown`
    is the answer as it was when the field was made, `theirs` what the file has now where both were changed; `given` what the
    unit's type says, and `types`, for the question of the type, those to choose from."""

    question: Question
    value: str
    shown: str
    told: str = ""
    fault: bool = False
    saved: bool = False
    theirs: str | None = None
    unit: str = ""
    given: str = ""
    types: tuple[tuple[str, str], ...] = ()

    @property
    def id(self) -> str:
        """Its name in the page."""
        return self.question.key.replace(".", "-").replace("~", "way-")

    @property
    def example(self) -> str:
        """An answer, as one might be typed."""
        given = self.question.example
        return str(given[-1]) if isinstance(given, list) and given else "" if isinstance(given, list) else str(given)

    @property
    def figure(self) -> int:
        """The figure of the measuring guide that shows it; 0 where none does."""
        return self.question.figure or parts()[self.question.part].figure


@dataclass(frozen=True)
class Group:
    """A part of the interview with its fields."""

    part: Part
    fields: tuple[Field, ...]


def step_of(name: str) -> Step | None:
    """A step by its name in addresses."""
    return next((s for s in STEPS if s.name == name), None)


def groups(step: Step, edited: Edited, types: Types = ()) -> list[Group]:
    """The fields of a step, by part, that the job's answers and its type lead to. `types` are those that could be named."""
    made, own = [], {key: value for key, value in edited.answers.items() if value != ""}
    here = [q for q in asked(reaching({**edited.given.answers, **own})) if q.key not in OWN_WAY]
    if not types and "type" not in own:
        here = [q for q in here if q.key != "type"]
    for title in step.parts:
        part = next(p for p in parts() if p.title == title)
        fields = tuple(field_of(q, edited, types=types) for q in here if q in part.questions)
        if fields:
            made.append(Group(part, fields))
    return made


def question_of(key: str) -> Question:
    """The question of a key. Raises InputError for what nobody asks."""
    found = next((q for p in parts() for q in p.questions if q.key == key and key not in OWN_WAY), None)
    if found is None:
        raise InputError(f"{key[:60]}: got a key that no question asks for, expected one of the form")
    return found


def field_of(question: Question, edited: Edited, saved: bool = False, types: Types = ()) -> Field:
    """A field with the answer that stands in the job, or what the job's type gives for it."""
    answers, key = edited.answers, question.key
    value, given = answers.get(key, ""), edited.given.answers.get(key, "")
    return Field(
        question, shown_as(value), as_shown(value), told_of(question, value, answers), saved=saved,
        unit=unit_of_key(question, system_of(answers)), types=types if key == "type" else (),
        given="" if given == "" else f'From the type "{edited.given.title}": {given_words(question, given)}.',
    )  # fmt: skip


def given_words(question: Question, value: Any) -> str:
    """What a type gives for a question: a quantity rounded to its ±, in both systems of units."""
    if question.kind == "quantity":
        with suppress(ValueError, AssertionError):
            return both_systems(question.key, str(value))
    return "; ".join(shown_as(value).splitlines())


def told_of(question: Question, value: Any, answers: Answers) -> str:
    """How an answer was understood: in both systems of units, whose degrees and rpm, and whether it is unusual."""
    if value == "":
        return ""
    shaft = shaft_of(question.key, answers)
    if question.kind != "quantity" or not isinstance(value, str):
        return f"{shaft} figures" if shaft and question.kind in ("rows", "row", "pair", "band") else ""
    try:
        told = "" if value.startswith(("±", "+")) else both_systems(question.key, value)
        odd = implausible(question, value)
    except (ValueError, AssertionError):
        return ""
    told = f"{told} ({shaft})" if shaft and told else told or (f"{shaft} figures" if shaft else "")
    return f"{told}. Look again: {odd}" if odd else told


def as_shown(value: Any) -> str:
    """An answer as the page carries it along, to see whether the file has changed meanwhile."""
    return json.dumps(value, ensure_ascii=False, sort_keys=True)


def shown_as(value: Any) -> str:
    """An answer as it might have been typed."""
    if isinstance(value, list) and value and isinstance(value[0], dict):
        return "\n".join(", ".join(str(c) for c in row.values()) for row in value)
    if isinstance(value, list):
        alone = all(isinstance(v, str) for v in value) and len(value) != 2
        return ("\n" if alone else ", ").join(str(v) for v in value)
    if isinstance(value, dict):
        return ", ".join(str(v) for v in value.values())
    return str(value)


def read_field(question: Question, text: str, answers: Answers) -> Any:
    """The answer that was typed, as the job has it; "" for nothing. Raises ValueError saying what was expected."""
    given = text.strip()
    if not given:
        return ""
    system = system_of(answers)
    if question.kind not in LINES:
        if question.kind == "file":
            return given
        return read_answer(question, given, system)
    lines = [line.strip() for line in given.splitlines() if line.strip()]
    return _lines(question, lines, system)


def _lines(question: Question, lines: Sequence[str], system: str) -> Any:
    """One row for each line; a fault names its line."""
    made: list[Any] = []
    for number, line in enumerate(lines, 1):
        try:
            if question.kind == "springs":
                made.append(read_spring(line, system))
            elif question.kind == "weighings":
                made.append(read_answer(question, line, system))
            else:
                made.append(read_row(question, line, system))
        except ValueError as fault:
            raise ValueError(f"line {number}: {fault}") from None
    if question.kind == "rows":
        check_rows(question, made)
    return made
