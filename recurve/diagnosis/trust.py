"""Whether an answer that starts from a sweep may be trusted: one gate for every command.

`check` says it as its verdict; `plan` and `verify` say it first, and end as an answer that is no.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from recurve.diagnosis.causes import as_blamed
from recurve.diagnosis.findings import curve_findings
from recurve.diagnosis.other_type import type_findings
from recurve.diagnosis.readings import book_findings, data_findings, reference_findings
from recurve.fit.fit import Fit
from recurve.fit.state import Evidence
from recurve.inspection.findings import Finding
from recurve.job.model import Job

UNSETTLED = "the readings of the sweep do not lead to one clear answer; take more, speed rising and falling"


@dataclass(frozen=True)
class Trust:
    """What must be settled before an answer is acted on, a sentence each; none if it may be."""

    reasons: tuple[str, ...] = ()

    @property
    def ok(self) -> bool:
        """Whether the answer may be acted on."""
        return not self.reasons


def trust_in(job: Job, fit: Fit | None, elsewhere: tuple[type[Finding], ...] = ()) -> Trust:
    """The gate for an answer made for a job, from this fit; without a sweep only a reference sweep, type and book can be
    distrusted. Findings of the kinds that are told `elsewhere` are left to it."""
    if fit is None:
        return trust_by((*reference_findings(job), *type_findings(job, None), *book_findings(job)), None)
    evidence = Evidence.of(fit.job, fit)
    _, blamed = as_blamed(evidence, None)
    doubts = (*curve_findings(evidence, None, blamed), *data_findings(evidence))
    return trust_by((f for f in doubts if not isinstance(f, elsewhere)), fit)


def trust_by(doubts: Iterable[Finding], fit: Fit | None) -> Trust:
    """The gate by what is found of curve and readings (`curve_findings`, `data_findings`), and by whether the fit settled."""
    barring = [f for f in doubts if f.severity in ("check first", "repair first")]
    reasons = [f"{f.what}: {f.evidence}; {f.remedy}" for f in barring]
    return Trust((*reasons, *(() if fit is None or fit.converged else (UNSETTLED,))))
