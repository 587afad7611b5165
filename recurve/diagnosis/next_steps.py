"""What a job that is not whole yet still lacks, as things to do at the bench, and what each would bring."""

from __future__ import annotations

from recurve.diagnosis.first_look import NextStep
from recurve.errors import Key
from recurve.job.model import BareJob, Job
from recurve.job.questions import figure_of

PLAN = "recurve plan can then name springs, posts and stop trim"
# What a missing key means at the bench, the quickest first: where it stands in the job, and what to do.
_WORK: tuple[tuple[Key, str], ...] = (
    (("stop",), "turn the cam to its stop by hand against a degree wheel, and write it into [stop]"),
    (("weights", "mass"), "weigh one flyweight, and write it into [weights]"),
    (("springs", "primary"), "measure where the primary's two posts stand, into [springs.primary.posts]"),
    (("springs", "secondary"), "measure where the secondary's two posts stand, into [springs.secondary.posts]"),
    (("springs",), "measure where the posts of the springs stand, into [springs]"),
    (
        ("weights", "motion"),
        "measure how the flyweights move, into [weights.motion], or sweep it with springs that were weighed",
    ),
    (
        ("weights",),
        "weigh a flyweight and measure how the weights move, into [weights], or sweep it with springs that were weighed",
    ),
)


# What no plan needs, and what is worth judging all the same.
_WHERE_WANTED = tuple(
    NextStep(f"where you want it: {words} (figure {figure} of the measuring guide)", gain)
    for words, figure, gain in (
        (
            "side play, dwell, breaker plate and weight pins, into [condition]",
            12,
            "recurve check tells wear that no spring cures",
        ),
        ("the vacuum unit, its book and readings, into [vacuum]", 14, "recurve check judges it by its book"),
        (
            "the engine's static or total and its idle, into [timing]",
            15,
            "recurve timing says where to set it, once there is a sweep",
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
                "write the book's curve into [target], even two or three points of it", "the unit can be judged by it"
            )
        )
    if job.sweep is None:
        steps.append(
            NextStep(
                "sweep it on the bench, up and down (recurve sweep)",
                "shows onset, largest advance, and what stays in at idle, with no part measured",
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
        there[there.index("springs")] = "springs but for the primary's rate"
    told = ", ".join(there)
    return (f"Not used before all parts are measured: {told}. They are kept for the plan.",)


def _rate_known(job: BareJob) -> bool:
    springs = job.model.springs
    primary = None if springs is None else springs.primary
    return primary is not None and (primary.rate is not None or bool(primary.weighings))
