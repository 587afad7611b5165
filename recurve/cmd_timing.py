"""`recurve timing`: settings on the engine."""

from __future__ import annotations

from typing import TYPE_CHECKING

import typer

from recurve.console import ANSWER_IS_NO, AsJson, JobFile, print_json, progress
from recurve.terminal import show

if TYPE_CHECKING:
    from recurve.job import BareJob, Job
    from recurve.timing import Advance


def timing(job: JobFile, as_json: AsJson = False) -> None:
    """The card for the engine: where to set the timing, and what the light then shows.

    Takes the planned curve from plan.toml in JOB's name followed by -plan where it was made from these inputs, else
    plans. Writes timing.svg and timing.png there. Works without weights too. Exit status 0: set it so; 3: a total
    passes its limit; 2: bad input.

    Example: recurve timing examples/ferry.toml
    """
    from recurve.barefile import load_any
    from recurve.files import write_folder
    from recurve.job import BareJob
    from recurve.jobwrite import plan_folder
    from recurve.timingcard import timing_card
    from recurve.timingplot import timing_figure_bytes
    from recurve.timingreport import timing_facts, timing_text

    read = load_any(job)
    progress("Reading the job and its curves")
    card = timing_card(read, None if isinstance(read, BareJob) or read.inspection.timing is None else _planned(read))
    files = write_folder(plan_folder(job), timing_figure_bytes(card, read.fingerprint))
    if as_json:
        print_json(timing_facts(card, read) | {"files": list(files)})
    else:
        show(timing_text(card, read, files))
    if not card.good:
        raise typer.Exit(ANSWER_IS_NO)


def _planned(job: Job | BareJob) -> Advance | None:
    """The curve of the plan beside the job where it belongs to these inputs, else of one made now."""
    from recurve.curve import trace
    from recurve.job import BareJob
    from recurve.jobfile import load_job
    from recurve.jobwrite import made_from, plan_folder
    from recurve.timingcard import planned_curve

    assert not isinstance(job, BareJob)  # the caller has asked
    path = plan_folder(job.path) / "plan.toml"
    if path.is_file() and made_from(path, job):
        verdict = path.read_text(encoding="utf-8").split("\n", 2)[1]
        unit = None if "OUT OF REACH" in verdict else load_job(path).as_found()
        return None if unit is None else trace(unit)
    return planned_curve(job)
