"""The JSON documents of `check` and `verify`: shapes, the unit of every number, and how they are filled."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Annotated, Literal

from recurve.diagnosis.causes import Blame
from recurve.diagnosis.check import BareCheck, Check
from recurve.diagnosis.correction import Correction
from recurve.diagnosis.flat import flat_kind
from recurve.diagnosis.strength import rate_needed, strength
from recurve.diagnosis.verify import DECISION_RULE, BandVerdict, Verification, VerifyStep
from recurve.fit.outline import Outline
from recurve.fit.state import Evidence
from recurve.inspection.findings import Finding, Number
from recurve.job.build import measured_spring
from recurve.job.model import BareJob, Job
from recurve.output.documents.base import (
    Document,
    Files,
    Fingerprint,
    Margin,
    Notes,
    TargetBand,
    Title,
    TrustDocument,
    UncertainAngle,
    UncertainSpeed,
    VerifyVerdict,
    band_fields,
    deg,
    if_known,
    listed,
    mm,
    number,
    rpm,
    told,
)
from recurve.output.documents.condition import ConditionDocument
from recurve.output.documents.fit import FitDocument
from recurve.output.documents.look import BandAsRead, NextToDo, RateNeeded, ReadingsDocument, StrengthNeeded
from recurve.output.documents.unit_type import TypeDocument
from recurve.physics.logged import gathered_notes
from recurve.uncertainty import Sampled
from recurve.units import SQRT3, Quantity

# --- check ------------------------------------------------------------------------------------------------


class FindingNumber(Document):
    """A number of a finding."""

    value: Annotated[float, told("In the unit beside it", "unit")]
    standard_uncertainty: Annotated[float | None, told("null: not determined, or none", "unit")]
    unit: str

    @classmethod
    def of(cls, one: Number) -> FindingNumber:
        """As it stands."""
        return cls(
            value=number(one.value), standard_uncertainty=if_known(number, one.standard_uncertainty), unit=one.unit
        )


class FindingDocument(Document):
    """One thing that is wrong, or open."""

    what: str
    evidence: Annotated[str, told("What shows it")]
    consequence: Annotated[str, told("What it does to the engine")]
    remedy: Annotated[str, told("What to do")]
    severity: Literal["check first", "repair first", "high", "medium", "low", "open question"]
    cause: Annotated[str, told("The part, or the mistake, that it points to")]
    numbers: Annotated[dict[str, FindingNumber], told("Its numbers by name, each in its own unit")]

    @classmethod
    def of(cls, finding: Finding) -> FindingDocument:
        """A finding as it stands."""
        words = finding.words()
        return cls(
            what=words.what,
            evidence=words.evidence,
            consequence=words.consequence,
            remedy=words.remedy,
            severity=finding.severity,
            cause=finding.cause,
            numbers={name: FindingNumber.of(n) for name, n in finding.numbers().items()},
        )


class BlamedPart(Document):
    """A part that was made sound in thought."""

    cause: Annotated[str, told("The part")]
    blamed: Annotated[bool, told("Whether it is one of the fewest parts that bring the unit back into its bands")]
    needed: Annotated[float | None, told("Probability that no band is met until it is put right; null: not asked", "1")]


class BlameDocument(Document):
    """Which parts keep the unit out of its bands."""

    parts: list[BlamedPart]
    share: Annotated[float, told("Probability that every band can be met with the blamed parts put right", "1")]
    either: Annotated[bool, told("Whether the other spring would explain it as well")]

    @classmethod
    def of(cls, blamed: Blame | None) -> BlameDocument | None:
        """The parts to blame; None where the unit meets its bands, or has none."""
        if blamed is None:
            return None
        parts = [*blamed.needed, *(c for c in blamed.causes if c not in blamed.needed)]
        return cls(
            parts=[
                BlamedPart(cause=c, blamed=c in blamed.causes, needed=if_known(number, blamed.needed.get(c)))
                for c in parts
            ],
            share=number(blamed.share),
            either=blamed.either,
        )


class MarksAsFound(Document):
    """The marks of the curve as found."""

    onset_rpm: UncertainSpeed
    return_rpm: UncertainSpeed
    all_in_rpm: UncertainSpeed
    residual_deg: UncertainAngle
    stop_deg: UncertainAngle
    apart_deg: Annotated[UncertainAngle, told("How far rising and falling stand apart")]

    @classmethod
    def of(cls, evidence: Evidence) -> MarksAsFound:
        """The marks that the readings allow."""
        return cls(
            onset_rpm=UncertainSpeed.of(evidence.onset),
            return_rpm=UncertainSpeed.of(evidence.return_speed),
            all_in_rpm=UncertainSpeed.of(evidence.all_in),
            residual_deg=UncertainAngle.of(evidence.residual),
            stop_deg=UncertainAngle.of(evidence.stop),
            apart_deg=UncertainAngle.of(evidence.apart),
        )


class EngineBand(TargetBand):
    """A band of the target both ways."""

    crank_rpm: Annotated[float | None, told("Speed of the engine; null: at the stop", "crank rpm")]
    crank_min_deg: Annotated[float, told("Least timing before top dead centre, static included", "crank deg")]
    crank_max_deg: Annotated[float, told("Most timing before top dead centre, static included", "crank deg")]

    @classmethod
    def all_of(cls, job: Job | BareJob) -> list[EngineBand] | None:
        """Each band of the job's target; None where the job tells it by the distributor."""
        static, ratio = job.target_static, job.speed_ratio
        if job.target is None or static is None or not job.engine_target:
            return None
        return [
            cls(
                **band_fields(b),
                crank_rpm=None if b.speed is None else rpm(b.speed * ratio),
                crank_min_deg=deg(static + ratio * b.low),
                crank_max_deg=deg(static + ratio * b.high),
            )
            for b in job.target.bands
        ]


class CheckDocument(Document):
    """The unit as found. All speeds and angles are the distributor's unless a key says crank."""

    trust: TrustDocument
    verdict: Literal[
        "sound", "stop only", "springs or posts", "springs or posts and stop",
        "reset posts only", "reset posts and trim stop", "new springs", "new springs and stop trim", "mechanical repair first",
        "not worth saving by recurve", "cannot tell", "facts only",
    ]  # fmt: skip
    why: Annotated[list[str], told("Why, a sentence each")]
    title: Title
    fingerprint: Fingerprint
    passing: Annotated[float | None, told("Probability that it meets every band as it is; null: no target", "1")]
    blamed: Annotated[BlameDocument | None, told("null: it meets its bands, has none, or has no weights")]
    findings: Annotated[list[FindingDocument], told("The worst first")]
    fit: Annotated[FitDocument | None, told("null: no sweep")]
    curve: Annotated[MarksAsFound | None, told("null: a unit without weights, or without a curve")]
    readings: Annotated[ReadingsDocument | None, told("What the readings show by themselves; null: no sweep")]
    targets: Annotated[list[BandAsRead], told("The bands against the readings, in the job's order; empty: see curve")]
    strength: list[StrengthNeeded]
    rate_needed: Annotated[RateNeeded | None, told("null: the primary was not weighed, or no book or sweep tells it")]
    next: Annotated[
        list[NextToDo], told("What to measure next: the cheapest first, or, where a unit is fitted, the most telling")
    ]
    notes: Notes
    condition: ConditionDocument
    engine_target: Annotated[list[EngineBand] | None, told("null: the target is told by the distributor")]
    type_: Annotated[TypeDocument | None, told("What came from a type of unit; null: the job names none")]
    files: Files

    @classmethod
    def of(cls, check: Check | BareCheck, files: Sequence[str] = ()) -> CheckDocument:
        """A check and the files that were written of it; of a unit without weights there is neither fit nor curve."""
        whole = check if isinstance(check, Check) else None
        look = check.look if isinstance(check, BareCheck) else None
        fit, passing = (None, None) if whole is None else (whole.fit, whole.passing)
        outline, idle = _outline(check)
        target = check.job.target
        # Readings that are all alike tell of no springs.
        flat = flat_kind(check.job.sweep, target) is not None
        strong = () if flat or outline is None or target is None else strength(target, outline.pieces)
        return cls(
            trust=TrustDocument.of(check.trust),
            verdict=check.verdict,
            why=list(check.why),
            title=check.job.title,
            fingerprint=check.job.fingerprint,
            passing=None if passing is None else number(passing, 4),
            blamed=BlameDocument.of(None if whole is None else whole.blamed),
            findings=[FindingDocument.of(f) for f in check.findings],
            fit=None if fit is None else FitDocument.of(fit),
            curve=None if whole is None else MarksAsFound.of(whole.evidence),
            readings=None if outline is None else ReadingsDocument.of(outline, idle),
            targets=[] if look is None else [BandAsRead.of(b) for b in look.bands],
            strength=[StrengthNeeded.of(x) for x in strong],
            rate_needed=if_known(RateNeeded.of, _rate(check, outline)),
            next=[NextToDo.of(x) for x in check.steps],
            notes=list(check.notes),
            condition=ConditionDocument.of(check.inspected),
            engine_target=EngineBand.all_of(check.job),
            type_=TypeDocument.of(check.job, fit, None),
            files=list(files),
        )


def _outline(check: Check | BareCheck) -> tuple[Outline | None, float]:
    """What the readings of a unit show by themselves, None without a sweep, and its idle speed [rad/s]."""
    if isinstance(check, Check):
        return check.evidence.outline, check.job.idle_speed
    return (None, 0.0) if check.look is None else (check.look.outline, check.look.idle)


def _rate(check: Check | BareCheck, outline: Outline | None) -> tuple[Quantity, Sampled] | None:
    """The rate of the primary as weighed [N/m], and how many times stiffer it must be [1]; None where one is not known."""
    springs, target = check.job.model.springs, check.job.target
    if springs is None or springs.primary is None or outline is None or target is None:
        return None
    primary = measured_spring(springs.primary)
    weighed, needed = primary.weighed, rate_needed(target, outline.pieces)
    if needed is None or (primary.rate is None and weighed is None):
        return None
    if primary.rate is not None:
        return primary.rate, needed
    assert weighed is not None
    return Quantity(weighed.rate, SQRT3 * weighed.rate_uncertainty), needed


# --- verify -----------------------------------------------------------------------------------------------


class JudgedBand(TargetBand):
    """A band of the target against the refitted curve."""

    rising_deg: Annotated[float, told("Advance, the speed rising", "distributor deg")]
    rising_standard_uncertainty: Annotated[float, told("Its standard uncertainty", "distributor deg")]
    falling_deg: Annotated[float, told("Advance, the speed falling", "distributor deg")]
    falling_standard_uncertainty: Annotated[float, told("Its standard uncertainty", "distributor deg")]
    verdict: VerifyVerdict
    risk: Annotated[float, told("Probability that the unit is outside the band", "1")]
    more_readings: Annotated[int, told("How many more readings would settle it; 0: it is settled, or none would", "1")]
    read_at_rpm: Annotated[
        float | None, told("At which speed they tell most; null: none are asked for", "distributor rpm")
    ]
    read_rising: Annotated[bool | None, told("Whether with the speed rising; null: none are asked for")]

    @classmethod
    def of(cls, one: BandVerdict) -> JudgedBand:
        """A band and its verdict."""
        return cls(
            **band_fields(one.band),
            rising_deg=deg(one.rising.value),
            rising_standard_uncertainty=deg(one.rising.standard_uncertainty or 0.0),
            falling_deg=deg(one.falling.value),
            falling_standard_uncertainty=deg(one.falling.standard_uncertainty or 0.0),
            verdict=one.verdict,
            risk=number(one.risk, 4),
            more_readings=one.more,
            read_at_rpm=None if one.read is None else rpm(one.read.speed),
            read_rising=None if one.read is None else one.read.rising,
        )

    @property
    def sides(self) -> tuple[tuple[float, float], tuple[float, float]]:
        """(value, standard uncertainty) [deg] of the distributor, rising and falling."""
        return (
            (self.rising_deg, self.rising_standard_uncertainty),
            (self.falling_deg, self.falling_standard_uncertainty),
        )


class MoveToMake(Document):
    """One thing to move."""

    what: Literal["primary post", "secondary post", "stop"]
    by_mm: Annotated[float, told("By how much: posts + out, the stop + built up", "mm")]
    to_mm: Annotated[float | None, told("The length over the posts then; null: the stop", "mm")]
    words: Annotated[str, told("The move in words")]


class CorrectionToMake(Document):
    """The fewest moves that help enough, and the margin after them."""

    moves: list[MoveToMake]
    margin: Margin

    @classmethod
    def of(cls, correction: Correction) -> CorrectionToMake:
        """The moves and the margin predicted after them."""
        moves = [
            MoveToMake(what=listed(m.what), by_mm=mm(m.by), to_mm=if_known(mm, m.to), words=m.words)
            for m in correction.moves
        ]
        return cls(moves=moves, margin=number(correction.margin))


class VerifyDocument(Document):
    """The finished unit judged by a new sweep. All speeds and angles are the distributor's."""

    verdict: VerifyVerdict
    trust: Annotated[TrustDocument, told("Not ok: the verdict does not count yet; exit status 3")]
    step: Annotated[
        VerifyStep, told("What to do next: settle what is told, take readings, correct the unit, or hand it over")
    ]
    title: Title
    fingerprint: Fingerprint
    targets: Annotated[list[JudgedBand], told("In the job's order")]
    risk: Annotated[float, told("Probability that the unit is outside one of its bands, by the fit", "1")]
    decision_rule: str
    correction: Annotated[CorrectionToMake | None, told("null: nothing to correct, or no move would do")]
    read_again: Annotated[list[str], told("What bars a pass until it is read or put right, a sentence each")]
    fit: FitDocument
    drawer: Annotated[
        list[str], told("What became of the drawer of springs, a sentence each; empty: nothing was asked")
    ]
    notes: Notes
    files: Files

    @classmethod
    def of(cls, result: Verification, files: Sequence[str] = ()) -> VerifyDocument:
        """A verification and the files that were written of it."""
        correction = result.correction
        return cls(
            verdict=result.verdict,
            trust=TrustDocument.of(result.trust),
            step=result.step,
            title=result.job.title,
            fingerprint=result.job.fingerprint,
            targets=[JudgedBand.of(b) for b in result.bands],
            risk=number(result.risk, 4),
            decision_rule=DECISION_RULE,
            correction=None if correction is None else CorrectionToMake.of(correction),
            read_again=[x.words() for x in result.unsettled],
            fit=FitDocument.of(result.fit),
            drawer=[],
            notes=[*gathered_notes(result.fit.job.sweep), *result.notes, *result.job.notes],
            files=list(files),
        )
