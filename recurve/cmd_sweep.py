"""`recurve sweep`: readings taken one by one while the bench runs."""

from __future__ import annotations

from pathlib import Path
from shlex import quote
from typing import TYPE_CHECKING, Annotated

import typer

from recurve.console import ANSWER_IS_NO, JobFile

if TYPE_CHECKING:
    from recurve.sweeping import Bench


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
    from recurve.dialogue import Stopped, say, show
    from recurve.readings import SweepFile
    from recurve.safetext import beside
    from recurve.sweeping import CAUTION, read_bench, take_readings

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
    show(f"Next: {follows}")


def _name_sweep(job: Path, text: str) -> tuple[Bench, str]:
    """Ask how the readings will be taken, and write that and the file's name at the end of the job."""
    from recurve.answers import TYPED_SWEEP
    from recurve.files import rewrite
    from recurve.interview import ask_question
    from recurve.jobtext import table_text
    from recurve.questions import questions
    from recurve.sweeping import read_bench

    answers: dict[str, object] = {"~sweep": "now"}
    for question in questions():
        if question.key.startswith("sweep.") and question.key != "sweep.file" and question.asked(answers):
            answers[question.key] = ask_question(question, answers)
    given = {k.split(".")[1]: v for k, v in answers.items() if not k.startswith("~") and v != ""}
    added = table_text("sweep", {"file": TYPED_SWEEP, **given})
    content = text if text.endswith("\n") else text + "\n"
    rewrite(job, (content + added).encode("utf-8"))
    return read_bench(job)[0], TYPED_SWEEP
