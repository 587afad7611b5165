"""Check a unit as found: what is wrong with it, and whether it is worth saving."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Literal

from recurve.diagnosis.causes import SOUND, Blame, as_blamed
from recurve.diagnosis.findings import curve_findings, one_is_out
from recurve.diagnosis.first_look import FirstLook, NextStep, first_look
from recurve.diagnosis.left_out import conditions, outside_bands
from recurve.diagnosis.next_steps import parts_lacking, steps_of, unused_notes
from recurve.diagnosis.not_read import not_read
from recurve.diagnosis.readings import data_findings
from recurve.diagnosis.stop import other_book, stop_trim
from recurve.diagnosis.trust import FREE_FIRST, Trust, free_first, trust_by
from recurve.diagnosis.worth import worth_measuring
from recurve.errors import InputError
from recurve.fit.fit import Fit, fit_sweep, fitted_job
from recurve.fit.state import SURE, Evidence
from recurve.inspection.findings import Cause, Finding, repairs, worst_first
from recurve.inspection.inspected import Inspected, inspect_unit
from recurve.job.model import BareJob, Job
from recurve.planner.conversion import conversion_notes
from recurve.planner.explain import out_of_reach
from recurve.planner.ideal import Ideal, find_ideal
from recurve.planner.problem import Problem, problem_of, spring_bounds
from recurve.planner.search import search
from recurve.planner.springset import Constraints, SpringSet, spring_set_of
from recurve.uncertainty import chance_words

CheckVerdict = Literal[
    "sound",
    "stop only",
    "springs or posts",
    "springs or posts and stop",
    "reset posts only",
    "reset posts and trim stop",
    "new springs",
    "new springs and stop trim",
    "mechanical repair first",
    "not worth saving by recurve",
    "cannot tell",
    "facts only",
]
GATED: tuple[CheckVerdict, ...] = ("mechanical repair first", "cannot tell", "not worth saving by recurve")
TRIED_STATES = 16  # states of the unit in which ideal springs are looked for before it is given up
MANY_READINGS = 24  # a dozen each way: who took so many is not asked for more of the same
WORTHWHILE = 0.1  # margin at which bending the posts of the springs that are in it is advised


@dataclass(frozen=True)
class Check:
    """The unit as found: `findings`, the worst first; the `verdict` and why; the `evidence` with all numbers; `inspected`,
    the inspection of its condition and vacuum unit; `passing`, the probability [1] that it meets its target as it is,
    None without a target; `blamed`, the parts that keep it out of its bands, None if it is in them or there are none."""

    job: Job
    fit: Fit | None
    evidence: Evidence
    findings: tuple[Finding, ...]
    verdict: CheckVerdict
    why: tuple[str, ...]
    passing: float | None
    blamed: Blame | None
    notes: tuple[str, ...]
    inspected: Inspected
    trust: Trust
    steps: tuple[NextStep, ...]


def check_unit(job: Job) -> Check:
    """Judge a unit by its sweep, or by its springs as described where there is none.

    Raises InputError if there is neither.
    """
    if job.sweep is None and job.as_found() is None:
        raise InputError(
            f"{job.path}: sweep: missing, expected readings of the unit as found, or its springs with rate and free_length or "
            "takeup"
        )
    fit = None if job.sweep is None else fit_sweep(job)
    evidence = Evidence.of(job, fit)
    found = fitted_job(fit) if fit is not None else job
    inspected = inspect_unit(job.inspection, job.lobes, job.speed_ratio)
    ideal = _ideal(found)
    doubts = data_findings(evidence)
    passing, blamed = as_blamed(evidence, ideal)
    curve = curve_findings(evidence, ideal, blamed)
    if any(f.severity == "check first" for f in doubts):
        # While a slip is suspected nothing is said of wear: it may all be the slip's doing. What is open stays open.
        doubts = tuple(f for f in doubts if f.severity == "check first")
        curve = [f for f in curve if f.severity == "open question"]
    findings = worst_first([*curve, *doubts, *inspected.findings])
    verdict, why = _gated(inspected) or _verdict(found, evidence, findings, passing, blamed, ideal)
    if verdict not in GATED and inspected.undecided:
        verdict, why = "cannot tell", inspected.undecided
    if verdict not in ("cannot tell", "mechanical repair first"):
        why = (*why, *other_book(findings))
    notes = (*job.notes, *conversion_notes(found))
    settled = verdict == "sound" or any(f.severity == "check first" for f in doubts)
    steps = () if settled else worth_measuring(evidence, ideal)
    trust = trust_by((*curve, *doubts), fit, blamed)
    return Check(found, fit, evidence, findings, verdict, why, passing, blamed, notes, inspected, trust, steps)


@dataclass(frozen=True)
class BareCheck:
    """A unit without weights and springs, judged by its inspection and, if it was swept, by a first look at the readings."""

    job: Job | BareJob
    inspected: Inspected
    look: FirstLook | None
    verdict: CheckVerdict
    why: tuple[str, ...]

    @property
    def steps(self) -> tuple[NextStep, ...]:
        """What to measure next, the cheapest first."""
        if self.look is None:
            return steps_of(self.job)
        settled = self.verdict == "sound" or any(f.severity == "check first" for f in self.findings)
        return (*self.look.steps, *(() if settled else parts_lacking(self.job)))

    @property
    def trust(self) -> Trust:
        """What must be settled before anything is done by this look."""
        return trust_by((f for f in self.findings if f.severity == "check first"), None)

    @property
    def notes(self) -> tuple[str, ...]:
        """What must be said aloud."""
        return (*self.job.notes, *unused_notes(self.job))

    @property
    def findings(self) -> tuple[Finding, ...]:
        """The findings of readings and inspection, the worst first."""
        return worst_first([*(() if self.look is None else self.look.findings), *self.inspected.findings])


def check_bare(job: Job | BareJob) -> BareCheck:
    """Judge a unit by its inspection and its readings, without a model of its weights."""
    inspected = inspect_unit(job.inspection, job.lobes, job.speed_ratio)
    look = None if job.sweep is None else first_look(job, job.stop if isinstance(job, BareJob) else None)
    if gated := _gated(inspected):
        return BareCheck(job, inspected, look, *gated)
    if inspected.undecided:
        return BareCheck(job, inspected, look, "cannot tell", inspected.undecided)
    if look is not None:
        return BareCheck(job, inspected, look, look.verdict, look.why)
    return BareCheck(
        job,
        inspected,
        None,
        "facts only",
        ("the job gives neither a sweep nor springs, so there is no curve to judge",),
    )


def _gated(inspected: Inspected) -> tuple[CheckVerdict, tuple[str, ...]] | None:
    """Repairs that the inspection asks for come first, whatever the curve and however well it was read."""
    told = tuple(f.what for f in repairs(inspected.findings))
    return ("mechanical repair first", told) if told else None


def without_curve(job: Job | BareJob) -> bool:
    """Whether a job has neither a sweep to fit nor springs to draw a curve from."""
    if isinstance(job, BareJob):
        return True
    return job.sweep is None and job.as_found() is None


def _problem(job: Job) -> Problem | None:
    return None if job.target is None or not job.target.timed else problem_of(job)


def _ideal(job: Job, trim: bool = True) -> Ideal | None:
    problem = _problem(job)
    if problem is None:
        return None
    stops = job.stop.limits if trim else (job.stop.advance, job.stop.advance)
    return find_ideal(replace(problem, stops=stops), spring_bounds(job))


def _to_settle(job: Job) -> str:
    """What would settle an open verdict: readings where there are few, else what readings do not tell."""
    read = 0 if job.sweep is None else len(job.sweep.speed)
    if read < MANY_READINGS:
        return "take more readings, speed rising and falling, to settle it"
    return f"{read} readings do not settle it, and a few more will hardly do so: weigh the springs and measure their take-ups"


def _verdict(
    job: Job,
    evidence: Evidence,
    findings: tuple[Finding, ...],
    passing: float | None,
    blamed: Blame | None,
    ideal: Ideal | None,
) -> tuple[CheckVerdict, tuple[str, ...]]:
    """The verdict and its reasons. Repairs come before springs, whatever the curve."""
    uncertain = tuple(f.what for f in findings if f.severity == "check first")
    if uncertain:
        return "cannot tell", uncertain
    if repairs(findings):
        return "mechanical repair first", tuple(f.what for f in repairs(findings))
    if evidence.fit is not None and not evidence.fit.converged:
        return "cannot tell", (f"the readings do not lead to one clear answer; {_to_settle(job)}",)
    if passing is None:
        return "facts only", ("the job gives no target, so the curve cannot be judged",)
    if undecided := _undecided(job, evidence, findings, passing):
        return undecided
    if free_first(job, blamed):
        return "cannot tell", (FREE_FIRST,)
    return _remedy(job, evidence, blamed, ideal)


def _undecided(
    job: Job, evidence: Evidence, findings: tuple[Finding, ...], passing: float
) -> tuple[CheckVerdict, tuple[str, ...]] | None:
    """The verdict where the unit is sound, or where nothing is known to be wrong with it; None where something is."""
    if passing >= SOUND:
        if evidence.fit is not None and job.sweep is not None:
            unsure = (*(x.words() for x in not_read(job)), *outside_bands(evidence.fit, job.sweep))
            if unsure:
                return "cannot tell", unsure
        told = f"every band is met, rising and falling, with a probability of {chance_words(passing)}"
        return "sound", (told, *conditions(findings))
    if any(f.severity == "high" for f in findings):
        return None
    if passing > 1 - SURE:
        return "cannot tell", (
            f"the unit may meet its bands as it is (probability {chance_words(passing)}); {_to_settle(job)}",
        )
    if not one_is_out(evidence):
        return "cannot tell", (f"the readings do not show which band the unit misses, if any; {_to_settle(job)}",)
    return None


def _remedy(
    job: Job, evidence: Evidence, blamed: Blame | None, ideal: Ideal | None
) -> tuple[CheckVerdict, tuple[str, ...]]:
    """The least work that would bring the unit into its bands; `ideal` are the springs of the best margin, the stop
    free. The unit's own springs come first, by the search that a plan makes too."""
    problem = _problem(job)
    trim = stop_trim(job)
    told = () if blamed is None else blamed.words()
    why = (*told, *(() if trim is None else (trim.words(),)))
    if problem is None:
        return _by_stop_alone(job), why
    if blamed is not None and blamed.causes == (Cause.STOP,) and (trim is None or trim.can):
        return "stop only", why
    own = SpringSet.of([p.found for p in job.places if p.found is not None])
    here = replace(problem, stops=(job.stop.advance, job.stop.advance))
    tries: tuple[tuple[Problem, CheckVerdict, str], ...] = (
        (here, "reset posts only", ""),
        (problem, "reset posts and trim stop", " and the stop trimmed"),
    )
    for asked, verdict, work in tries:
        found = search(asked, own)
        if found is not None and found.margin >= WORTHWHILE:
            return verdict, (
                *told,
                f"with the posts bent{work}, the springs now fitted reach a margin of {found.margin:.2f}",
                "recurve plan may still choose a new spring if that gives a better chance of passing first time",
            )
    kept = _ideal(job, trim=False)
    if kept is not None and kept.margin >= 0:
        return "new springs", (
            *told,
            f"with the stop left as it is, the best springs reach a margin of {kept.margin:.2f}",
        )
    if ideal is not None and ideal.margin >= 0:
        return "new springs and stop trim", why or ("the stop must be trimmed as well",)
    if _catalogue_passes(job, problem):
        return "new springs and stop trim", (
            *why,
            "springs in the catalogue can do it, though their sizes are unusual",
        )
    if evidence.fit is not None and _may_be_saved(evidence.fit, job):
        return "cannot tell", (
            "the readings leave open whether any springs could bring the unit into its bands; before you give it "
            "up, take the next measurement listed below, or sweep the unit again",
        )
    return "not worth saving by recurve", out_of_reach(job, problem, ideal)


def _catalogue_passes(job: Job, problem: Problem) -> bool:
    """Whether a pair of the job's catalogue meets the bands, as a plan would find."""
    if job.catalogue is None:
        return False
    found = search(problem, spring_set_of(job, Constraints()))
    return found is not None and found.margin >= 0.0


def _may_be_saved(fit: Fit, job: Job) -> bool:
    """Whether ideal springs meet the bands in at least one in twenty of the states that the readings allow."""
    states = fit.samples.equal(TRIED_STATES)
    passing = 0
    for state in states:
        ideal = _ideal(fitted_job(replace(fit, best=state)))
        passing += ideal is not None and ideal.margin >= 0.0
    return passing >= (1 - SURE) * TRIED_STATES


def _by_stop_alone(job: Job) -> CheckVerdict:
    """The verdict by a target that asks for nothing but a maximum."""
    low, high = job.stop.limits
    band = None if job.target is None else job.target.maximum
    reachable = band is not None and low <= band.high and high >= band.low
    return "stop only" if reachable else "not worth saving by recurve"
