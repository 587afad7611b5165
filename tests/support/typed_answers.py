"""Answers to the questions of the interview, without a terminal."""

from __future__ import annotations

from typing import Any

from recurve.job.answers import read_answer, read_row, system_of
from recurve.job.questions import asked


def typed(given: dict[str, str | list[str]]) -> dict[str, Any]:
    """The answers as the interview keeps them, without a terminal."""
    answers: dict[str, Any] = {}
    while (one := next((q for q in asked(answers) if q.key not in answers), None)) is not None:
        text = given.get(one.key, "")
        if isinstance(text, list):
            read = read_answer if one.kind == "weighings" else read_row
            answers[one.key] = [read(one, line, system_of(answers)) for line in text]
        elif one.kind == "file" or not text:
            answers[one.key] = text
        else:
            answers[one.key] = read_answer(one, text, system_of(answers))
    return answers
