"""What is wrong with a unit as found, in words a customer understands, and whether it is worth saving."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Literal

from recurve.diagnosis.findings import curve_findings, data_findings, stop_words
from recurve.errors import InputError
from recurve.fit.fit import Fit, fit_sweep, fitted_job
from recurve.fit.state import SURE, Evidence
from recurve.inspection.findings import Finding, Inspected, inspect_unit
from recurve.job.model import BareJob, Job
from recurve.planner.conversion import conversion_notes
from recurve.planner.ideal import Ideal, find_ideal
from recurve.planner.problem import Problem, problem_of, spring_bounds
from recurve.planner.search import search
from recurve.planner.simulate import passes
from recurve.planner.springset import SpringSet

CheckVerdict = Literal[
    "sound",
    "reset posts only",
    "new springs",
    "new springs and stop trim",
    "mechanical repair first",
    "not worth saving by recurve",
    "cannot tell",
    "facts only",
]
SOUND = 0.9  # probability of meeting every band that makes a unit sound
GATED = ("mechanical repair first", "cannot tell", "not worth saving by recurve")
SEVERITY = ("check first", "repair first", "high", "medium", "low", "open question")


@dataclass(frozen=True)
class Check:
    """The unit as found: `findings` by consequence, the worst first; `verdict` and why; `evidence` with all
    numbers; `passing` the probability [1] that it meets its target as it is, None without a target."""

    job: Job
    fit: Fit | None
    evidence: Evidence
    findings: tuple[Finding, ...]
    verdict: CheckVerdict
    why: tuple[str, ...]
    passing: float | None
    notes: tuple[str, ...]
    inspected: Inspected | None = None


def check_unit(job: Job) -> Check:
    """Judge a unit by its sweep, or by its springs as described where there is none.

    Raises InputError where there is neither.
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
    findings = [*curve_findings(evidence, ideal), *data_findings(evidence), *inspected.findings]
    findings.sort(key=lambda f: SEVERITY.index(f.severity))
    passing = None if job.target is None else float(passes(job.target, evidence.curves).mean())
    verdict, why = _gated(inspected) or _verdict(found, evidence, findings, passing, ideal)
    if verdict not in GATED and inspected.undecided:
        verdict, why = "cannot tell", inspected.undecided
    notes = (*job.notes, *conversion_notes(found, evidence.idle))
    return Check(found, fit, evidence, tuple(findings), verdict, why, passing, notes, inspected)


@dataclass(frozen=True)
class BareCheck:
    """A unit without weights, stop and springs, by its inspection alone."""

    job: Job | BareJob
    inspected: Inspected
    verdict: CheckVerdict
    why: tuple[str, ...]

    @property
    def findings(self) -> tuple[Finding, ...]:
        """The worst first."""
        return tuple(sorted(self.inspected.findings, key=lambda f: SEVERITY.index(f.severity)))


def check_bare(job: Job | BareJob) -> BareCheck:
    """Judge what can be judged without a curve."""
    inspected = inspect_unit(job.inspection, job.lobes, job.speed_ratio)
    if gated := _gated(inspected):
        return BareCheck(job, inspected, *gated)
    if inspected.undecided:
        return BareCheck(job, inspected, "cannot tell", inspected.undecided)
    return BareCheck(job, inspected, "facts only", ("there is neither a sweep nor springs to judge a curve by",))


def _gated(inspected: Inspected) -> tuple[CheckVerdict, tuple[str, ...]] | None:
    """Wear that the bench showed comes first, whatever the curve and however well it was read."""
    repairs = tuple(f.what for f in inspected.findings if f.severity == "repair first")
    return ("mechanical repair first", repairs) if repairs else None


def without_curve(job: Job | BareJob) -> bool:
    """Whether a job has an inspection to judge, and neither a sweep nor springs to draw a curve from."""
    if isinstance(job, BareJob):
        return True
    return job.sweep is None and job.as_found() is None and not job.inspection.empty


def _problem(job: Job) -> Problem | None:
    return None if job.target is None or not job.target.timed else problem_of(job)


def _ideal(job: Job, trim: bool = True) -> Ideal | None:
    problem = _problem(job)
    if problem is None:
        return None
    stops = job.stop.limits if trim else (job.stop.advance, job.stop.advance)
    return find_ideal(replace(problem, stops=stops), spring_bounds(job))


def _verdict(
    job: Job, evidence: Evidence, findings: list[Finding], passing: float | None, ideal: Ideal | None
) -> tuple[CheckVerdict, tuple[str, ...]]:
    """The verdict and its reasons. Repairs come before springs, whatever the curve."""
    doubts = tuple(f.what for f in findings if f.severity == "check first")
    if doubts:
        return "cannot tell", doubts
    repairs = tuple(f.what for f in findings if f.severity == "repair first")
    if repairs:
        return "mechanical repair first", repairs
    if evidence.fit is not None and not evidence.fit.converged:
        return "cannot tell", ("the fit did not settle on one answer; take more readings, up and down",)
    if passing is None:
        return "facts only", ("the job names no target to judge the curve by",)
    if passing >= SOUND:
        return "sound", (f"every band is met, rising and falling, with a probability of {passing:.0%}",)
    if passing > 1 - SURE and not any(f.severity == "high" for f in findings):
        return "cannot tell", (
            f"it may meet its bands as it is (probability {passing:.0%}); more readings would settle it",
        )
    return _remedy(job, ideal)


def _remedy(job: Job, ideal: Ideal | None) -> tuple[CheckVerdict, tuple[str, ...]]:
    """The least that would bring the unit into its bands; `ideal` are the springs of the best margin, the stop free."""
    problem = _problem(job)
    if problem is None:
        return _by_stop_alone(job)
    here = replace(problem, stops=(job.stop.advance, job.stop.advance))
    own = search(here, SpringSet.of([p.found for p in job.places if p.found is not None]))
    if own is not None and own.margin >= 0.1:
        return "reset posts only", (
            f"the springs that are in it reach a margin of {own.margin:.2f} with their posts bent",
            "recurve plan may still take a new spring, where more builds of it pass at first setting",
        )
    kept = _ideal(job, trim=False)
    if kept is not None and kept.margin >= 0:
        return "new springs", (f"with the stop as it is, springs could reach a margin of {kept.margin:.2f}",)
    if ideal is not None and ideal.margin >= 0:
        return "new springs and stop trim", stop_words(job) or ("the stop must be trimmed too",)
    why = stop_words(job) or ("no springs bring the curve into all of its bands",)
    return "not worth saving by recurve", why


def _by_stop_alone(job: Job) -> tuple[CheckVerdict, tuple[str, ...]]:
    """A target that only asks a maximum."""
    why = stop_words(job)
    low, high = job.stop.limits
    band = None if job.target is None else job.target.maximum
    reachable = band is not None and low <= band.high and high >= band.low
    return ("new springs and stop trim" if reachable else "not worth saving by recurve"), why
