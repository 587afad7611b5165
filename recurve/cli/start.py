"""Commands that ask at the bench:

- `recurve start`: an interview that ends with a job file.
- `recurve sweep`: readings taken one by one while the bench runs.
"""

from __future__ import annotations

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
    from recurve.cli.readings import Bench
    from recurve.job.questions import Question

JOB, DRAFT = "unit.toml", "unit.draft.toml"


def start(
    folder: Annotated[
        Path, typer.Argument(metavar="DIR", help="The folder for the job; made if need be.", show_default=False)
    ],
    blank: Annotated[bool, typer.Option("--blank", help="Write a blank commented job file and ask nothing.")] = False,
) -> None:
    """Ask for everything in the order in which a unit is taken apart, and write the job file.

    Every answer is kept at once in DIR/answers.toml, so it can be stopped and gone on with; every answer can be left
    out. Writes unit.toml, and the sweep and the springs that were typed, into DIR. Exit status 0: the job file is there
    and loads; 3: not yet; 2: bad input.

    Example: recurve start launch
    """
    if blank:
        _blank(folder)
        return
    from recurve.cli.dialogue import Stopped, say
    from recurve.cli.interview import interview, load_answers, revise

    answers = load_answers(folder)
    added = _added(folder, answers)
    say("Answer, Enter. Enter alone leaves a question out, ? explains, < goes back, stop keeps all for another time.")
    if answers:
        say(f"{len(answers)} answers are kept in {folder}; going on.")
    try:
        interview(folder, answers)
        if added is not None and not revise(folder, answers):
            return
        _finish(folder, answers, added or "")
    except Stopped:
        say(f"Stopped. {len(answers)} answers are kept; go on with: recurve start {folder}")
        raise typer.Exit(ANSWER_IS_NO) from None


def _blank(folder: Path) -> None:
    from recurve.files import write_folder
    from recurve.job.answers import blank_text

    if (folder / JOB).exists():
        raise InputError(f"{folder / JOB}: is there already, expected a folder without one; nothing was written")
    written = write_folder(folder, {JOB: blank_text().encode("utf-8")})
    typer.echo(f"Written\n  {printable(written[0])}")


def _text(folder: Path, answers: dict[str, Any]) -> str:
    from recurve.job.answers import job_text

    return job_text(answers, folder.resolve().name or "job")


def _added(folder: Path, answers: dict[str, Any]) -> str | None:
    """What `recurve sweep` has added to the job file; None if there is no file yet. Raises InputError if the file was
    edited since, because it would be overwritten."""
    path = folder / JOB
    if not path.exists():
        return None
    text, ours = path.read_text(encoding="utf-8"), _text(folder, answers)
    if not text.startswith(ours):
        raise InputError(
            f"{path}: is not what the answers make (changed since?), expected another folder; nothing was written"
        )
    return text[len(ours) :]


def _finish(folder: Path, answers: dict[str, Any], added: str) -> None:
    """Write the job file once it loads; until then report what is wrong with it, and ask again."""
    from recurve.cli.dialogue import say, say_verbatim
    from recurve.files import write_folder
    from recurve.job.answers import document_of
    from recurve.job.read import load_job

    path = folder / JOB
    while True:
        text = _text(folder, answers)
        # A sweep from the interview replaces one that was added.
        text += "" if "sweep" in document_of(answers, "") else added
        write_folder(folder, {DRAFT: text.encode("utf-8")})
        try:
            job = load_job(folder / DRAFT)
            break
        except InputError as refused:
            if not _again(folder, answers, refused.found):
                raise typer.Exit(ANSWER_IS_NO) from None
    write_folder(folder, {JOB: (folder / DRAFT).read_bytes()}, stale=(DRAFT,))
    for note in job.notes:
        say(note)
    say(f"\nWritten: {path}")
    say("Next:")
    say_verbatim(f"  recurve draw {path}     see whether it is the unit on the bench")
    if job.sweep is None:
        say_verbatim(f"  recurve sweep {path}    take the readings")
    say_verbatim(f"  recurve check {path}    what is wrong with it")
    if job.target is not None:
        say_verbatim(f"  recurve plan {path}     what to do, and the sheet")


def _again(folder: Path, answers: dict[str, Any], faults: tuple[Fault, ...]) -> bool:
    """Ask the questions again that the faults are about. Returns whether any answer has changed."""
    from recurve.cli.dialogue import say
    from recurve.cli.interview import again, interview

    say()
    say("The job file cannot be written yet:")
    for fault in faults:
        # The draft is the interview's own: nobody is to look for a line in it.
        told = replace(fault, file="", line=None) if fault.file == str(folder / DRAFT) else fault
        say(f"- {printable(str(told))}")
    say(
        f"What it is about is asked again; Enter keeps an answer. recurve draw {folder / DRAFT} draws what can be read."
    )
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
        typer.Option(metavar="FILE", help="Another file than the job's, as for a finished unit.", show_default=False),
    ] = None,
) -> None:
    """Take the readings of a sweep one by one while the bench runs.

    Each is shown against its band, and doubted aloud where it does not fit its neighbours; each is on the disk when the
    prompt returns. They are added to the file that the job names; a job that names none is given as-found.csv. Exit
    status 0: through; 3: stopped, to go on later; 2: bad input.

    Example: recurve sweep examples/launch.toml --to as-left.csv
    """
    from recurve.cli.dialogue import Stopped, say, say_verbatim
    from recurve.cli.readings import CAUTION, SweepFile, read_bench, take_readings
    from recurve.text import beside

    bench, named, text = read_bench(job)
    say(CAUTION)
    try:
        if to is None and named is None:
            bench, named = _name_sweep(job, text)
        file = SweepFile(to if to is not None else beside(job, str(named)))
        take_readings(file, bench)
    except Stopped:
        say("Stopped; every reading shown is on the disk. The same command goes on.")
        raise typer.Exit(ANSWER_IS_NO) from None
    follows = (
        f"recurve verify {quote(str(job))} {quote(str(to))}" if to is not None else f"recurve check {quote(str(job))}"
    )
    say_verbatim(f"Next: {follows}")


def _name_sweep(job: Path, text: str) -> tuple[Bench, str]:
    """Ask how the readings will be taken, and add that and the name of the file to the end of the job."""
    from recurve.cli.interview import ask_question
    from recurve.cli.readings import read_bench
    from recurve.files import rewrite
    from recurve.job.answers import TYPED_SWEEP, table_text
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
