"""Whether an answer that starts from a sweep may be trusted: one gate for every command.

`check` says it as its verdict; `plan` and `verify` say it first, and end as an answer that is no.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from recurve.diagnosis.causes import Blame, as_blamed
from recurve.diagnosis.findings import curve_findings
from recurve.diagnosis.other_type import type_findings
from recurve.diagnosis.readings import book_findings, data_findings, reference_findings
from recurve.diagnosis.stop import stop_trim
from recurve.fit.fit import Fit, fitted_job
from recurve.fit.state import Evidence
from recurve.inspection.findings import Finding
from recurve.job.model import Job

FREE_FIRST = (
    "the unit misses its bands, and the readings cannot show whether friction or a spring is to blame; free and oil the weights "
    "and the cam, then sweep the unit again"
)
UNSETTLED = "the readings of the sweep do not lead to one clear answer; take more, speed rising and falling"


@dataclass(frozen=True)
class Trust:
    """What must be settled before an answer is acted on, a sentence each; none if it may be."""

    reasons: tuple[str, ...] = ()

    @property
    def ok(self) -> bool:
        """Whether the answer may be acted on."""
        return not self.reasons


def trust_in(job: Job, fit: Fit | None, elsewhere: tuple[type[Finding], ...] = (), may_bind: bool = False) -> Trust:
    """The gate for an answer made for a job, from this fit; without a sweep only a reference sweep, type and book can be
    distrusted. Findings of the kinds that are told `elsewhere` are left to it, and with `may_bind` whether the unit may."""
    if fit is None:
        return trust_by((*reference_findings(job), *type_findings(job, None), *book_findings(job)), None)
    evidence = Evidence.of(fit.job, fit)
    _, blamed = as_blamed(evidence, None)
    doubts = (*curve_findings(evidence, None, blamed), *data_findings(evidence))
    left = tuple(f for f in doubts if not isinstance(f, elsewhere))
    return trust_by(left, fit, None if may_bind else blamed)


def trust_by(doubts: Iterable[Finding], fit: Fit | None, blamed: Blame | None = None) -> Trust:
    """The gate by what is found of curve and readings (`curve_findings`, `data_findings`), by whether the fit settled, and by the
    parts that are `blamed`."""
    found = tuple(doubts)
    barring = [f for f in found if f.severity in ("check first", "repair first")]
    reasons = [f"{f.what}: {f.evidence}; {f.remedy}" for f in barring]
    if (
        not barring
        and fit is not None
        and any(f.severity == "high" for f in found)
        and free_first(fitted_job(fit), blamed)
    ):
        reasons.append(FREE_FIRST)
    return Trust((*reasons, *(() if fit is None or fit.converged else (UNSETTLED,))))


def free_first(job: Job, blamed: Blame | None) -> bool:
    """Whether bands are missed by friction or by a spring, and the readings leave open by which. A stop that no work brings into
    its band is to blame whatever else is."""
    if blamed is None or not blamed.open_friction:
        return False
    trim = stop_trim(job)
    return trim is None or trim.edge is None or trim.can
