"""Commands that ask at the bench:

- `recurve start`: an interview in the order of the work, that can end after any part of it with a job file.
- `recurve sweep`: readings taken one by one while the bench runs.
"""

from __future__ import annotations

import hashlib
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path
from shlex import quote
from typing import TYPE_CHECKING, Annotated, Any

import typer

from recurve.cli.console import ANSWER_IS_NO, JobFile
from recurve.errors import Fault, InputError
from recurve.text import printable

if TYPE_CHECKING:
    from recurve.job.live import Bench
    from recurve.job.questions import Question

JOB, BY_HAND = "unit.toml", "unit.by-hand.toml"
WRITTEN = "~written"  # kept beside the answers: what the job file was when they last made it


def start(
    folder: Annotated[
        Path, typer.Argument(metavar="DIR", help="The folder for the job; made if need be.", show_default=False)
    ],
    blank: Annotated[bool, typer.Option("--blank", help="Write a blank commented job file and ask nothing.")] = False,
) -> None:
    """Ask for everything in the order of the work, and write the job file: the book, a sweep, a first look, then the parts.

    Every answer is saved at once in DIR/answers.toml, so you can stop and go on later; every answer can be left
    out. Writes unit.toml, and the sweep and the springs that were typed, into DIR. A unit.toml changed by hand is
    read again, and a copy is kept as unit.by-hand.toml. Exit status 0: the job file is there and loads; 3: not yet; 2: bad input.

    Example: recurve start launch
    """
    if blank:
        _blank(folder)
        return
    from recurve.cli.dialogue import Stopped, say, say_verbatim
    from recurve.cli.interview import interview, led_to, load_answers, revise

    answers = load_answers(folder)
    added = _added(folder, answers)
    say(
        "Type an answer, then Enter. Enter alone leaves a question out, ? explains it, < goes back, stop saves all "
        "for another time."
    )
    if answers:
        say(f"{len(answers)} answers are kept in {folder}; going on.")
    through = all(q.key in answers for q in led_to(folder, answers))
    try:
        interview(folder, answers)
        if added is not None and through and not revise(folder, answers):
            return
        _finish(folder, answers, added or "")
    except Stopped:
        say(f"Stopped. {len(answers)} answers are kept; go on with: recurve start {folder}")
        if _as_far_as_known(folder, answers, added or ""):
            say_verbatim(f"What is known so far: recurve check {folder / JOB}")
        raise typer.Exit(ANSWER_IS_NO) from None


def _as_far_as_known(folder: Path, answers: dict[str, Any], added: str) -> bool:
    """Write the job file if what is known so far makes one that can be read. Returns whether it was written."""
    from recurve.cli.interview import DRAFT
    from recurve.errors import RecurveError
    from recurve.files import write_folder
    from recurve.job.read import load_any

    write_folder(folder, {DRAFT: (_text(folder, answers) + added).encode("utf-8")})
    try:
        load_any(folder / DRAFT)
    except RecurveError:
        (folder / DRAFT).unlink()
        return False
    _write(folder, answers, added)
    return True


def _write(folder: Path, answers: dict[str, Any], added: str) -> None:
    """Write the draft as the job file, and keep by what it can be told from one that was changed by hand."""
    from recurve.cli.interview import DRAFT, keep_answers
    from recurve.files import write_folder

    text = (folder / DRAFT).read_text(encoding="utf-8")
    write_folder(folder, {JOB: text.encode("utf-8")}, stale=(DRAFT,))
    answers[WRITTEN] = _mark_of(text[: len(text) - len(added)])
    keep_answers(folder, answers)


def _mark_of(text: str) -> str:
    """Size and fingerprint of what the answers made."""
    return f"{len(text)}:{hashlib.sha256(text.encode('utf-8')).hexdigest()[:16]}"


def _blank(folder: Path) -> None:
    from recurve.files import write_folder
    from recurve.job.made import blank_text

    if (folder / JOB).exists():
        raise InputError(f"{folder / JOB}: is there already, expected a folder without one; nothing was written")
    written = write_folder(folder, {JOB: blank_text().encode("utf-8")})
    typer.echo(f"Written\n  {printable(written[0])}")


def _text(folder: Path, answers: dict[str, Any]) -> str:
    from recurve.cli.interview import given_to
    from recurve.job.made import job_text

    return job_text(answers, folder.resolve().name or "job", given_to(folder, answers).answers)


def _added(folder: Path, answers: dict[str, Any]) -> str | None:
    """What stands in the job file besides the answers; None if there is no file yet. A file that was changed by hand is read
    again: `answers` are then those that it makes, and the file as it was is kept beside. Raises InputError if it cannot be
    read."""
    import tomllib

    from recurve.cli.dialogue import say
    from recurve.cli.interview import keep_answers
    from recurve.files import write_folder
    from recurve.job.read import load_any
    from recurve.job.reread import answers_of, tables_besides

    path = folder / JOB
    if not path.exists():
        return None
    text = path.read_text(encoding="utf-8")
    size = int(str(answers.get(WRITTEN, "0:")).partition(":")[0])
    if size and _mark_of(text[:size]) == answers[WRITTEN]:
        return text[size:]
    load_any(path)  # what cannot be read is told as it stands
    answers |= answers_of(tomllib.loads(text), answers)
    answers.pop(WRITTEN, None)
    write_folder(folder, {BY_HAND: text.encode("utf-8")})
    keep_answers(folder, answers)
    say(f"{path} was changed by hand: it was read again, and a copy is kept in {folder / BY_HAND}.")
    return tables_besides(text)


def _finish(folder: Path, answers: dict[str, Any], added: str) -> None:
    """Write the job file once it loads; until then report what is wrong with it, and ask again."""
    from recurve.cli.dialogue import say, say_verbatim
    from recurve.cli.interview import DRAFT
    from recurve.files import write_folder
    from recurve.job.made import document_of
    from recurve.job.model import Job
    from recurve.job.read import load_any

    path = folder / JOB
    while True:
        text = _text(folder, answers)
        # A sweep from the interview replaces one that was added.
        text += "" if "sweep" in document_of(answers, "") else added
        write_folder(folder, {DRAFT: text.encode("utf-8")})
        try:
            job = load_any(folder / DRAFT)
            break
        except InputError as refused:
            if not _again(folder, answers, refused.found):
                raise typer.Exit(ANSWER_IS_NO) from None
    _write(folder, answers, text[len(_text(folder, answers)) :])
    for note in job.notes:
        say(note)
    say(f"\nWritten: {path}")
    say("Next:")
    whole = isinstance(job, Job)
    if whole:
        say_verbatim(f"  recurve draw {path}     compare it with the unit on the bench")
    if job.sweep is None:
        say_verbatim(f"  recurve sweep {path}    take the readings")
    say_verbatim(
        f"  recurve check {path}    {'what is wrong with it' if whole else 'what is known, and what to do next'}"
    )
    if whole and job.target is not None:
        say_verbatim(f"  recurve plan {path}     what to do, and the sheet")
    if job.inspection.timing is not None:
        say_verbatim(f"  recurve timing {path}   the card for the engine")


def _again(folder: Path, answers: dict[str, Any], faults: tuple[Fault, ...]) -> bool:
    """Ask the questions again that the faults are about. Returns whether any answer has changed."""
    from recurve.cli.dialogue import say
    from recurve.cli.interview import DRAFT, again, interview

    say()
    say("The job file cannot be written yet:")
    for fault in faults:
        # The draft is the interview's own: nobody is to look for a line in it.
        told = replace(fault, file="", line=None) if fault.file == str(folder / DRAFT) else fault
        say(f"- {printable(str(told))}")
    say(f"You are asked those questions again; Enter keeps an answer. recurve draw {folder / DRAFT} draws what it can.")
    before = dict(answers)
    for question in about(faults, answers):
        again(question, answers, folder)
    interview(folder, answers)
    if answers == before:
        say(f"Nothing was changed, so there is no job file yet. Go on with: recurve start {folder}")
    return answers != before


def about(faults: Sequence[Fault], answers: dict[str, Any]) -> list[Question]:
    """The questions whose key a fault names, or whose key is above or below one that it names."""
    from recurve.job.questions import asked
    from recurve.physics.mechanism import MOTION

    named = [tuple(p for p in f.key if isinstance(p, str)) for f in faults if f.key]

    def touches(question: Question) -> bool:
        key = tuple(question.key.split("."))
        return any(key[: len(n)] == n or (len(key) > 1 and n[: len(key)] == key) for n in named)

    found = [q for q in asked(answers) if touches(q)]
    if MOTION in named:
        found = [q for q in asked(answers) if q.key == "distributor.rotation"] + found
    return found


def sweep(
    job: JobFile,
    to: Annotated[
        Path | None,
        typer.Option(
            metavar="FILE", help="Another file than the job's, such as for a finished unit.", show_default=False
        ),
    ] = None,
) -> None:
    """Take the readings of a sweep one by one while the bench runs.

    Each reading is compared with its band and with its neighbours, and saved when the prompt returns. The readings go
    into the file that the job names; a job that names none is given as-found.csv. Exit status 0: complete; 3: stopped,
    to go on later; 2: bad input.

    Example: recurve sweep examples/launch.toml --to as-left.csv
    """
    from recurve.cli.dialogue import Stopped, say, say_verbatim
    from recurve.cli.readings import take_readings
    from recurve.job.live import CAUTION, SweepFile, read_bench
    from recurve.text import beside

    bench, named, text = read_bench(job)
    say(CAUTION)
    try:
        if to is None and named is None:
            bench, named = _name_sweep(job, text)
        file = SweepFile(to if to is not None else beside(job, str(named)))
        take_readings(file, bench)
    except Stopped:
        say("Stopped; every reading shown is saved. To go on, give the same command.")
        raise typer.Exit(ANSWER_IS_NO) from None
    follows = (
        f"recurve verify {quote(str(job))} {quote(str(to))}" if to is not None else f"recurve check {quote(str(job))}"
    )
    say_verbatim(f"Next: {follows}")


def _name_sweep(job: Path, text: str) -> tuple[Bench, str]:
    """Ask how the readings will be taken, and add that and the name of the file to the end of the job."""
    from recurve.cli.interview import ask_question
    from recurve.files import rewrite
    from recurve.job.answers import TYPED_SWEEP
    from recurve.job.live import read_bench
    from recurve.job.made import table_text
    from recurve.job.questions import questions

    answers: dict[str, object] = {"~sweep": "now"}
    for question in questions():
        if question.key.startswith("sweep.") and question.key != "sweep.file" and question.asked(answers):
            answers[question.key] = ask_question(question, answers)
    given = {k.split(".")[1]: v for k, v in answers.items() if not k.startswith("~") and v != ""}
    added = table_text("sweep", {"file": TYPED_SWEEP, **given})
    content = text if text.endswith("\n") else text + "\n"
    rewrite(job, (content + added).encode("utf-8"))
    return read_bench(job)[0], TYPED_SWEEP
