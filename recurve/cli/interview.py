"""The interview: questions in the order in which a unit is taken apart; every answer is saved at once."""

from __future__ import annotations

import tomllib
from contextlib import suppress
from dataclasses import replace
from functools import lru_cache
from pathlib import Path
from typing import Any

from recurve.cli.dialogue import Back, ask, heading, say, say_verbatim
from recurve.errors import InputError
from recurve.files import write_folder
from recurve.job.answers import (
    TYPED_SPRINGS,
    TYPED_SWEEP,
    both_systems,
    check_rows,
    implausible,
    read_answer,
    read_row,
    shaft_of,
    system_of,
)
from recurve.job.made import document_of
from recurve.job.of_type import Given, given_by, must_be_type, types_near
from recurve.job.questions import Answers, Question, asked, parts
from recurve.job.shelf import read_spring, springs_csv
from recurve.job.tables import read_catalogue, read_sweep
from recurve.job.unit_type import with_type
from recurve.output.unitfiles import types_in
from recurve.text import path_text, printable

KEPT, DRAFT = "answers.toml", "unit.draft.toml"
LOOK = "~strip"  # the question before which a first look is shown


def load_answers(folder: Path) -> dict[str, Any]:
    """The answers saved in the folder, {} if there are none. Raises InputError."""
    path = folder / KEPT
    if not path.exists():
        return {}
    try:
        return dict(tomllib.loads(path.read_text(encoding="utf-8"))["answers"])
    except (tomllib.TOMLDecodeError, UnicodeDecodeError, KeyError, TypeError, OSError) as fault:
        raise InputError(f"{path}: got a file that keeps no answers ({fault}), expected one, or none") from None


def keep_answers(folder: Path, answers: Answers) -> None:
    """Save every answer so far; they are on disk when this returns."""
    import tomli_w

    head = (
        "# The answers of an interview that recurve start made; it goes on from here. The job file is made of them.\n"
    )
    write_folder(folder, {KEPT: (head + tomli_w.dumps({"answers": dict(answers)})).encode("utf-8")})


def interview(folder: Path, answers: dict[str, Any]) -> None:
    """Ask whatever has not been answered yet, and save each answer. Raises Stopped."""
    part = -1
    while True:
        here = led_to(folder, answers)
        at = next((i for i, q in enumerate(here) if q.key not in answers), None)
        if at is None:
            return
        if here[at].part != part:
            part = here[at].part
            if here[at].key == LOOK:
                first_look(folder, answers)
            _introduce(part)
        try:
            answers[here[at].key] = ask_question(here[at], answers, folder)
        except Back:
            for one in here[max(at - 1, 0) : at]:
                answers.pop(one.key, None)
        keep_answers(folder, answers)


def given_to(folder: Path, answers: Answers) -> Given:
    """What the type gives that the answers name."""
    return given_by(folder / KEPT, answers)


@lru_cache(maxsize=1)
def types_of(folder: Path) -> tuple[tuple[str, str], ...]:
    """The types of unit in the folder of the job and in those beside it, as they were when first asked for."""
    return types_near(folder / KEPT, types_in(folder.resolve().parent))


def led_to(folder: Path, answers: Answers) -> list[Question]:
    """The questions that the answers and the unit's type lead to. No type is asked for where none is near."""
    known = {**given_to(folder, answers).answers, **{key: value for key, value in answers.items() if value != ""}}
    here = asked({**dict.fromkeys(answers, ""), **known})
    return here if answers.get("type") or types_of(folder) else [q for q in here if q.key != "type"]


def first_look(folder: Path, answers: Answers) -> None:
    """Show what book and sweep tell so far; nothing where there is no sweep yet."""
    from recurve.diagnosis.check import check_bare
    from recurve.job.made import job_text
    from recurve.job.read import load_any
    from recurve.output.documents.check import CheckDocument
    from recurve.output.text.check import bare_text

    write_folder(
        folder,
        {DRAFT: job_text(answers, folder.resolve().name or "job", given_to(folder, answers).answers).encode("utf-8")},
    )
    try:
        job = load_any(folder / DRAFT)
    except InputError as refused:
        say()
        say("No first look is possible yet:")
        for fault in refused.found:
            say(f"- {printable(str(replace(fault, file='', line=None)))}")
        return
    if job.sweep is None:
        return
    say()
    say("Looking at the sweep ...")
    look = check_bare(job)
    say_verbatim(bare_text(look, CheckDocument.of(look)))


def revise(folder: Path, answers: dict[str, Any]) -> bool:
    """Offer to go through a part again, and ask its questions anew. Returns whether a part was chosen. Raises Stopped."""
    for number, part in enumerate(parts(), 1):
        say_verbatim(f"  {number:2}  {part.title}")
    say("Type the number of a part to go through it again; Enter leaves all as it is.")
    text = ask("part > ")
    if not text.isdigit() or not 1 <= int(text) <= len(parts()):
        return False
    _introduce(int(text) - 1)
    done: set[str] = set()
    while True:
        left = [q for q in led_to(folder, answers) if q.part == int(text) - 1 and q.key not in done]
        if not left:
            break
        done.add(left[0].key)
        again(left[0], answers, folder)
    interview(folder, answers)
    return True


def again(question: Question, answers: dict[str, Any], folder: Path) -> None:
    """Ask a question again; Enter keeps its answer. Raises Stopped."""
    was = answers.get(question.key, "")
    with suppress(Back):
        answers[question.key] = ask_question(question, answers, folder, None if was == "" else was)
    keep_answers(folder, answers)


def _introduce(number: int) -> None:
    part = parts()[number]
    heading(f"{number + 1} of {len(parts())}: {part.title}")
    say(part.words)
    if part.caution:
        say(part.caution)
    if part.drawing:
        say_verbatim(part.drawing)
    if part.figure:
        say(f"Figure {part.figure} of the measuring guide: recurve guide {part.figure}")


def ask_question(question: Question, answers: Answers, folder: Path | None = None, was: Any = None) -> Any:
    """Ask a question until the answer can be read; "" if it is left out. `was` is its earlier answer. Raises Back and
    Stopped."""
    say()
    say(question.ask)
    question = _with_types(question, folder)
    _explain(question, answers, was)
    _of_type(question, answers, folder)
    if question.kind == "readings" and folder is not None:
        return _readings(folder, answers)
    if question.kind in ("rows", "springs", "weighings"):
        return _lines(question, answers, folder, was)
    while True:
        text = ask("> ")
        if text == "<":
            raise Back
        if text == "":
            return "" if was is None else was
        if text == "-" and was is not None:
            return ""
        if text == "?":
            _help(question)
            continue
        try:
            return _accepted(question, text, answers, folder)
        except ValueError as fault:
            _refuse(question, text, fault)


def _help(question: Question) -> None:
    """In other words than the hint: what the part is about, its drawing, where the guide shows it, and an example."""
    part = parts()[question.part]
    say(part.words, "  ")
    if part.drawing:
        say_verbatim(part.drawing)
    figure = question.figure or part.figure
    if figure:
        say(f"Figure {figure} of the measuring guide shows it: recurve guide {figure}", "  ")
    if question.note:
        say(f"In the job file: {question.key}, {question.note}.", "  ")
    example = question.example[0] if isinstance(question.example, list) and question.example else question.example
    if example:
        say(f"An answer looks like this: {example}", "  ")


def _explain(question: Question, answers: Answers, was: Any = None) -> None:
    """How to measure it, the choices, and the consequence of leaving it out."""
    say(question.how, "  ")
    if question.kind in ("rows", "springs", "weighings"):
        say("one to a line; an empty line ends them", "  ")
    for number, choice in enumerate(question.choices, 1):
        say_verbatim(f"    {number}  {choice}")
    if question.figure:
        say(f"figure {question.figure} of the measuring guide: recurve guide {question.figure}", "  ")
    if was is not None:
        shown = f"{len(was)} lines" if question.kind in ("rows", "springs", "weighings") else _shown(was)
        say(f"Enter keeps {shown}; - leaves it out: {question.skip}", "  ")
    else:
        say(f"Enter leaves it out: {question.skip}", "  ")


def _with_types(question: Question, folder: Path | None) -> Question:
    """The question of the type with the types that are near, to choose from; any other as it is."""
    if question.key != "type" or folder is None:
        return question
    return replace(question, choices=tuple(name for name, _ in types_of(folder)))


def _of_type(question: Question, answers: Answers, folder: Path | None) -> None:
    """What the unit's type says, if it says anything."""
    given = Given() if folder is None else given_to(folder, answers)
    value = given.answers.get(question.key)
    if value is not None:
        words = both_systems(question.key, value) if question.kind == "quantity" else _shown(value)
        say(f'From the type "{given.title}": {words}. Enter takes that; what you type counts instead.', "  ")


def _shown(value: Any) -> str:
    """An answer as it might have been typed."""
    cells = value.values() if isinstance(value, dict) else value if isinstance(value, list) else [value]
    return ", ".join(str(c) for c in cells)


def _refuse(question: Question, text: str, fault: ValueError) -> None:
    shown = printable(text[:60])
    say(f"{shown!r}: {fault}.", "  ")
    example = question.example[-1] if isinstance(question.example, list) else question.example
    such = f"Such as {example}; " if example else ""
    say(f"{such}{question.how}. (? explains, < goes back, stop keeps all for another time)", "  ")


def _accepted(question: Question, text: str, answers: Answers, folder: Path | None) -> Any:
    """The answer as it is stored, repeated to the user as it was understood. Raises ValueError."""
    if question.kind == "file":
        return _file(question, text, folder or Path())
    value = read_answer(question, text, system_of(answers))
    if question.kind == "quantity":
        shaft = shaft_of(question.key, answers)
        told = value if value.startswith(("±", "+")) else both_systems(question.key, value)
        say(f"= {told}{f' ({shaft})' if shaft else ''}", "  ")
        remark = implausible(question, value)
        if remark:
            say(f"LOOK AGAIN: {remark}. The answer is kept; type < at the next question to go back to it.", "  ")
    elif question.kind in ("pair", "row", "band"):
        shaft = shaft_of(question.key, answers)
        say(f"= {_shown(value)}{f' ({shaft})' if shaft else ''}", "  ")
    elif question.kind == "choice":
        say(f"= {value}", "  ")
    return value


def _file(question: Question, text: str, folder: Path) -> str:
    """The path of a table relative to the folder. Raises ValueError unless the table exists and can be read."""
    import os

    if text.isdigit() and 1 <= int(text) <= len(question.choices):
        text = question.choices[int(text) - 1]
    path = Path(text).expanduser()
    faults: list[str] = []
    if not path.is_file() and (folder / path).is_file():
        path = folder / path
    if question.key == "type":
        must_be_type(path, text)
    else:
        (read_catalogue if question.key == "catalogue.file" else read_sweep)(path, str(path), faults)
    if faults:
        raise ValueError("; ".join(faults[:3]))
    try:
        return path_text(Path(os.path.relpath(path.resolve(), folder.resolve())))
    except ValueError:  # on another drive there is no way from here
        return path_text(path.resolve())


def _readings(folder: Path, answers: Answers) -> str:
    """The name of the sweep typed reading by reading; "" if no reading was typed."""
    from recurve.cli.readings import take_readings
    from recurve.job.live import SweepFile, bench_of
    from recurve.job.parts import swept_part

    document = with_type(folder / KEPT, "", document_of(answers, "", given_to(folder, answers).answers))[0]
    # Later parts of the interview are not answered yet: bands on the crank's basis take a four-stroke's ratio.
    document["distributor"] = {"lobes": 1, "rotation": "clockwise"} | document.get("distributor", {})
    given = {k.split(".")[1]: v for k, v in answers.items() if k.startswith("sweep.") and v != ""}
    document["sweep"] = {"file": TYPED_SWEEP, **given}
    file = SweepFile(folder / TYPED_SWEEP)
    take_readings(file, bench_of(swept_part(document, "", KEPT)))
    return TYPED_SWEEP if file.readings else ""


def _lines(question: Question, answers: Answers, folder: Path | None, was: Any = None) -> Any:
    """Ask for lines until an empty one. Without any, the earlier answer `was`, or ""."""
    read = {"springs": _spring, "weighings": read_answer}.get(question.kind, read_row)
    lines: list[Any] = []
    while True:
        text = ask(f"{len(lines) + 1} > ")
        if text == "-" and not lines:
            return ""
        if text == "?":
            _help(question)
            continue
        if text == "<":
            if not lines:
                raise Back
            say(f"line {len(lines)} is off again", "  ")
            lines.pop()
            continue
        try:
            if text == "":
                if lines and question.kind == "rows":
                    check_rows(question, lines)
                break
            lines.append(read(question, text, system_of(answers)))
            shaft = shaft_of(question.key, answers)
            say(f"= {_shown(lines[-1])}{f' ({shaft})' if shaft else ''}", "  ")
        except ValueError as fault:
            _refuse(question, text, fault)
    if question.kind == "springs" and lines and folder is not None:
        write_folder(folder, {TYPED_SPRINGS: springs_csv(lines, system_of(answers))})
    return lines or ("" if was is None else was)


def _spring(question: Question, text: str, system: str) -> dict[str, str]:
    return read_spring(text, system)
