"""A job file changed answer by answer, its comments and its order kept.

The answers are those of the interview's questions. What a file cannot hold of them, such as which of two ways a measurement
was taken, or half of a group that counts only whole, stands in a small file beside it, so that no answer is lost.
"""

from __future__ import annotations

import datetime
import hashlib
import tomllib
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from recurve.errors import Fault, InputError
from recurve.files import write_folder
from recurve.job.made import document_of
from recurve.job.of_type import Given, given_by
from recurve.job.questions import Answers
from recurve.job.reread import answers_of
from recurve.text import plain

NEW = "# {title}\n# Written by recurve; change it by hand whenever you like, it is read again.\n"


@dataclass(frozen=True)
class Edited:
    """A job file as it stands: its `text`, the `answers` that it and the file beside it hold, a `mark` that changes with every
    byte of it, and what is `given` by the type that it names."""

    path: Path
    text: str
    answers: dict[str, Any]
    mark: str
    given: Given

    @property
    def title(self) -> str:
        """What the job is called; its file's name where it has no title."""
        return str(self.answers.get("title") or self.path.stem)


@dataclass(frozen=True)
class Clash:
    """An answer that was changed both in the file, to `there`, and by hand, to `typed`, since it was shown."""

    there: Any
    typed: Any


def beside_file(path: Path) -> Path:
    """Where the answers stand that the job file cannot hold."""
    return path.with_name(f"{path.stem}.answers.toml")


def read_edited(path: Path) -> Edited:
    """The job file and its answers. Raises InputError where it is not TOML."""
    try:
        text = path.read_text(encoding="utf-8-sig")
        document = tomllib.loads(text)
    except (UnicodeDecodeError, OSError, tomllib.TOMLDecodeError) as fault:
        raise InputError(Fault(None, f"not TOML: {fault}; expected a job file in TOML", str(path))) from None
    kept = _kept(beside_file(path))
    answers = _told(document, kept)
    # What the file does not tell is as it was answered; what it tells counts.
    answers = {key: value for key, value in answers.items() if value != ""} | {
        key: value for key, value in kept.items() if answers.get(key, "") == ""
    }
    mark = hashlib.sha256(text.encode()).hexdigest()[:16]
    return Edited(path, text, answers, mark, given_by(path, answers))


def _told(document: dict[str, Any], kept: Answers) -> dict[str, Any]:
    """What a file tells. That there is no secondary it cannot: answer by answer, the primary comes first."""
    answers = dict(answers_of(document, kept))
    if "secondary" not in document.get("springs", {}):
        answers["~second"] = ""
    return answers


def save_answer(path: Path, key: str, value: Any, shown: Any) -> Edited | Clash:
    """Put an answer into the job file, "" to take it out; it is on the disk when this returns. `shown` is what the file held
    when the person saw it: where the file has become something else meanwhile, nothing is written. Raises InputError and
    OutputError."""
    before = read_edited(path)
    there = before.answers.get(key, "")
    if there not in (shown, value):
        return Clash(there, value)
    answers = dict(before.answers)
    if value == "":
        answers.pop(key, None)
    else:
        answers[key] = value
    return _written(before, answers)


def name_table(path: Path, key: str, file: str) -> None:
    """Let a job file name another table of its own at a dotted key that it has; all else of it stays. Raises OutputError."""
    import tomlkit

    document = tomlkit.parse(path.read_text(encoding="utf-8-sig"))
    *tables, last = key.split(".")
    table: Any = document
    for name in tables:
        table = table[name]
    table[last] = file
    write_folder(path.parent, {path.name: tomlkit.dumps(document).encode("utf-8")})


def begin(path: Path, answers: Answers) -> Edited:
    """A new job file with these answers; it must not be there yet. Raises InputError and OutputError."""
    if path.exists():
        raise InputError(f"{path}: got a file that is there already, expected another name")
    path.parent.mkdir(parents=True, exist_ok=True)
    text = NEW.format(title=plain(str(answers.get("title", path.stem))))
    write_folder(path.parent, {path.name: text.encode()})
    return _written(read_edited(path), dict(answers))


def reaching(answers: Answers) -> dict[str, Any]:
    """Answers that lead to every question: the unit is stripped if a person answers so far, and a sweep is in a file."""
    swept = answers if answers.get("~sweep") in ("now", "file") else {**answers, "~sweep": "file"}
    return {**swept, "~strip": "yes"}


def _written(before: Edited, answers: dict[str, Any]) -> Edited:
    """Both files with these answers, whole, and read again."""
    import tomlkit

    given = given_by(before.path, answers)
    was = document_of(reaching(before.answers), "", before.given.answers)
    wanted = document_of(reaching(answers), "", given.answers)
    for document in (was, wanted):
        if not document.get("title"):
            document.pop("title", None)
    changed = tomlkit.parse(before.text)
    _apply(changed, was, wanted)
    text = tomlkit.dumps(changed)
    held = _told(tomllib.loads(text), {})
    besides = {key: value for key, value in answers.items() if value != "" and held.get(key, "") != value}
    beside, had = beside_file(before.path), _kept(beside_file(before.path))
    # An answer on its way from one file to the other stands in both for a moment, so that no kill between two writes loses it.
    both = {key: answers[key] for key in had if answers.get(key, "") != ""} | besides
    if text != before.text:
        if both != had:
            _keep(beside, both)
        write_folder(before.path.parent, {before.path.name: text.encode("utf-8")})
        had = both
    if besides != had:
        _keep(beside, besides)
    return read_edited(before.path)


def _keep(path: Path, answers: Answers) -> None:
    """Write the file beside a job."""
    import tomli_w

    head = f"# What {path.name.removesuffix('.answers.toml')}.toml cannot hold of its answers; recurve page keeps it.\n"
    write_folder(path.parent, {path.name: (head + tomli_w.dumps({"answers": answers})).encode("utf-8")})


def _apply(table: Any, was: dict[str, Any], wanted: dict[str, Any]) -> None:
    """The differences of two documents, put into a table that keeps its comments and its order."""
    import tomlkit

    for key in [k for k in was if k not in wanted]:
        if key in table and not isinstance(was[key], dict):
            del table[key]
        elif key in table:
            _apply(table[key], was[key], {})
            if not len(table[key]):
                del table[key]
    for key, value in wanted.items():
        if isinstance(value, dict):
            if not isinstance(table.get(key), dict):
                table[key] = tomlkit.table()
            _apply(table[key], was.get(key, {}) if isinstance(was.get(key), dict) else {}, value)
        elif was.get(key) != value or key not in table:
            table[key] = datetime.date.fromisoformat(value) if key == "date" else _item(value)


def _item(value: Any) -> Any:
    """A value as a job file writes it: rows one a line, each an inline table."""
    import tomlkit

    if isinstance(value, list) and value and isinstance(value[0], dict):
        rows = tomlkit.array().multiline(True)
        for row in value:
            inline = tomlkit.inline_table()
            inline.update(row)
            rows.append(inline)
        return rows
    return tomlkit.item(value)


def _kept(path: Path) -> dict[str, Any]:
    try:
        return dict(tomllib.loads(path.read_text(encoding="utf-8"))["answers"])
    except (OSError, UnicodeDecodeError, tomllib.TOMLDecodeError, KeyError, TypeError, ValueError):
        return {}
