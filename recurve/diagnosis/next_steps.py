"""What a job that is not whole yet still lacks, as things to do at the bench, and what each would bring."""

from __future__ import annotations

from recurve.diagnosis.first_look import NextStep
from recurve.errors import Key
from recurve.job.model import BareJob, Job
from recurve.job.questions import figure_of

PLAN = "recurve plan can then name springs, posts and stop trim"
# What a missing key means at the bench, the quickest first: where it stands in the job, and what to do.
_WORK: tuple[tuple[Key, str], ...] = (
    (("stop",), "turn the cam to its stop by hand against a degree wheel, and write the advance into [stop]"),
    (("weights", "mass"), "weigh one flyweight, and write its mass into [weights]"),
    (("springs", "primary"), "measure where the primary's two posts stand, and write it into [springs.primary.posts]"),
    (
        ("springs", "secondary"),
        "measure where the secondary's two posts stand, and write it into [springs.secondary.posts]",
    ),
    (("springs",), "measure where the spring posts stand, and write it into [springs]"),
    (
        ("weights", "motion"),
        "measure how the flyweights move, and write it into [weights.motion]; or sweep the unit with springs that "
        "you have weighed",
    ),
    (
        ("weights",),
        "weigh a flyweight, measure how the weights move, and write both into [weights]; or sweep the unit with "
        "springs that you have weighed",
    ),
)


# What no plan needs, and what is worth judging all the same.
_WHERE_WANTED = tuple(
    NextStep(f"if you wish: {words} (figure {figure} of the measuring guide)", gain)
    for words, figure, gain in (
        (
            "write side play, dwell, breaker plate and weight pins into [condition]",
            12,
            "recurve check then finds wear that no spring cures",
        ),
        (
            "write the vacuum unit's book figures and readings into [vacuum]",
            14,
            "recurve check then judges it by its book",
        ),
        (
            "write the engine's static or total timing, and its idle speed, into [timing]",
            15,
            "once there is a sweep, recurve timing says where to set the timing",
        ),
    )
)


def steps_of(job: Job | BareJob) -> tuple[NextStep, ...]:
    """What to do next with a job that has no readings yet, or is not whole: the book, the sweep, then the parts; a job of
    nothing but the distributor is told of wear, vacuum unit and timing too."""
    steps = []
    if job.target is None:
        steps.append(
            NextStep(
                "write the book's curve into [target]; two or three points are enough to begin",
                "the unit can then be judged",
            )
        )
    if job.sweep is None:
        steps.append(
            NextStep(
                "sweep the unit on the bench, speed rising and falling (recurve sweep)",
                "shows onset, largest advance and what stays in at idle, before any part is measured",
            )
        )
    bare = job.target is None and job.sweep is None and job.inspection.empty
    return (*steps, *parts_lacking(job), *(_WHERE_WANTED if bare else ()))


def parts_lacking(job: Job | BareJob) -> tuple[NextStep, ...]:
    """The parts that are not measured yet, the quickest first; with the last of them a plan becomes possible."""
    missing = [fault.key for fault in job.lacking if fault.key] if isinstance(job, BareJob) else []
    work = [(at, words) for at, words in _WORK if any(_concerns(at, key) for key in missing)]
    gains = [*["needed for a plan"] * (len(work) - 1), PLAN]
    return tuple(NextStep(f"{words}{_figure(at)}", gain) for (at, words), gain in zip(work, gains, strict=False))


def _concerns(at: Key, missing: Key) -> bool:
    """Whether work on this place of the job gives the missing key; a whole table counts only where all of it is missing."""
    return missing == at if len(at) == 1 and at != ("stop",) else missing[: len(at)] == at


def _figure(at: Key) -> str:
    number = figure_of(".".join(str(p) for p in at))
    return f" (figure {number} of the measuring guide)" if number else ""


def unused_notes(job: Job | BareJob) -> tuple[str, ...]:
    """What stands in a job that is not whole, and changes no number until it is."""
    if not isinstance(job, BareJob):
        return ()
    model = job.model
    there = [name for name in ("weights", "springs", "catalogue", "build") if getattr(model, name) is not None]
    if model.stop is not None and model.stop.model_fields_set - {"advance"}:
        there.append("stop trim")
    if not there:
        return ()
    if "springs" in there and _rate_known(job):
        there[there.index("springs")] = "springs, except the primary's rate"
    told = ", ".join(there)
    return (f"Kept for the plan, and not used until all parts are measured: {told}.",)


def _rate_known(job: BareJob) -> bool:
    springs = job.model.springs
    primary = None if springs is None else springs.primary
    return primary is not None and (primary.rate is not None or bool(primary.weighings))
