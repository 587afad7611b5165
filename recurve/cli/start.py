"""`recurve start`: an interview at the bench, from nothing to a job file."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated, Any

import typer

from recurve.console import ANSWER_IS_NO
from recurve.errors import InputError
from recurve.safetext import printable

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
    from recurve.dialogue import Stopped, say
    from recurve.interview import interview, load_answers, revise

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
    from recurve.jobtext import blank_text

    if (folder / JOB).exists():
        raise InputError(f"{folder / JOB}: is there already, expected a folder without one; nothing was written")
    written = write_folder(folder, {JOB: blank_text().encode("utf-8")})
    typer.echo(f"Written\n  {printable(written[0])}")


def _text(folder: Path, answers: dict[str, Any]) -> str:
    from recurve.jobtext import job_text

    return job_text(answers, folder.resolve().name or "job")


def _added(folder: Path, answers: dict[str, Any]) -> str | None:
    """What recurve sweep has added to the job file, None where there is no file yet. One that somebody has worked on
    since is theirs: it is not written over."""
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
    """The job file, once it loads; until then what is wrong is told and asked again."""
    from recurve.dialogue import say, show
    from recurve.files import write_folder
    from recurve.jobfile import load_job

    path = folder / JOB
    while True:
        text = _text(folder, answers)
        text += added if "\n[sweep]" not in text else ""  # a sweep that was answered takes the place of one added
        write_folder(folder, {DRAFT: text.encode("utf-8")})
        try:
            job = load_job(folder / DRAFT)
            break
        except InputError as refused:
            if not _again(folder, answers, refused.faults):
                raise typer.Exit(ANSWER_IS_NO) from None
    write_folder(folder, {JOB: (folder / DRAFT).read_bytes()}, stale=(DRAFT,))
    for note in job.notes:
        say(note)
    say(f"\nWritten: {path}")
    say("Next:")
    show(f"  recurve draw {path}     see whether it is the unit on the bench")
    if job.sweep is None:
        show(f"  recurve sweep {path}    take the readings")
    show(f"  recurve check {path}    what is wrong with it")
    if job.target is not None:
        show(f"  recurve plan {path}     what to do, and the sheet")


def _again(folder: Path, answers: dict[str, Any], faults: tuple[str, ...]) -> bool:
    """Ask again what the faults are about; whether anything was changed."""
    from recurve.dialogue import say
    from recurve.interview import again, interview

    say()
    say("The job file cannot be written yet:")
    keys = []
    for fault in faults:
        told = printable(fault).split(f"{DRAFT}:")[-1].lstrip("0123456789: ")
        say(f"- {told}")
        keys.append(told)
    say(
        f"What it is about is asked again; Enter keeps an answer. recurve draw {folder / DRAFT} draws what can be read."
    )
    before = dict(answers)
    for question in about(keys, answers):
        again(question, answers, folder)
    interview(folder, answers)
    if answers == before:
        say(f"Nothing was changed, so there is no job file yet. Go on with: recurve start {folder}")
    return answers != before


def about(faults: list[str], answers: dict[str, Any]) -> list[Any]:
    """The questions whose key a fault names, or is below; of the weights' motion and of posts, all their places."""
    from recurve.questions import asked

    named = [f.split(":")[0].split(" ")[0] for f in faults]
    found = [
        q
        for q in asked(answers)
        if any(
            n and (q.key == n or q.key.startswith(f"{n}.") or (n.startswith(f"{q.key}.") and "." in q.key))
            for n in named
        )
    ]
    if any(f.split(":")[0] == "weights.motion" for f in faults):
        found = [q for q in asked(answers) if q.key == "distributor.rotation"] + found
    return found
