"""What a type of unit gives to a job that names it, as answers to the interview's questions, and the types that lie near."""

from __future__ import annotations

import os
from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from recurve.errors import RecurveError
from recurve.job.questions import Answers
from recurve.job.reread import answers_of
from recurve.job.unit_type import UNIT_KEYS, read_type, with_type
from recurve.text import path_text


@dataclass(frozen=True)
class Given:
    """A type's `title` and what it gives, by the keys of the questions; nothing without a type."""

    title: str = ""
    answers: Mapping[str, Any] = field(default_factory=dict)


def given_by(path: Path, answers: Answers) -> Given:
    """What the type gives that these answers of the job at `path` name; nothing where there is none, or it cannot be read, which
    is told where the job is read. A job that tells any of its book takes nothing of the type's."""
    try:
        document, kind = with_type(path, "", {"type": answers.get("type") or None})
    except RecurveError:
        return Given()
    if kind is None:
        return Given()
    own_book = any(key.startswith("target.") and value != "" for key, value in answers.items())
    tables = tuple(key for key in UNIT_KEYS if not (own_book and key == "target"))
    told = answers_of(document, {})
    return Given(
        kind.title, {k: v for k, v in told.items() if v != "" and k.startswith(("~", *(f"{t}." for t in tables)))}
    )


def types_near(path: Path, files: Mapping[Path, str]) -> tuple[tuple[str, str], ...]:
    """The type `files`, by path with their titles, as a job at `path` names them."""
    folder = path.resolve().parent
    return tuple((path_text(Path(os.path.relpath(one.resolve(), folder))), title) for one, title in files.items())


def title_of_type(path: Path) -> str | None:
    """What a type file calls its type; None for a file that is not that of a type."""
    try:
        return read_type(path, str(path)).title
    except RecurveError:
        return None


def must_be_type(path: Path, named: str) -> None:
    """Raise ValueError where the file, `named` so by a person, is not that of a type."""
    if title_of_type(path) is None:
        raise ValueError(f"got {named}, expected a type file that recurve learn made")
