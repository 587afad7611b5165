"""The JSON documents of `check` and `verify`: shapes, and the unit of every number."""

from __future__ import annotations

from collections.abc import Callable
from typing import Annotated, Any, Literal

import numpy as np

from recurve.arrays import Array
from recurve.diagnosis.check import BareCheck, Check
from recurve.diagnosis.verify import Verification
from recurve.fit.fit import Estimate, Fit
from recurve.inspection.bench import DwellChange, Judged, SparkRow
from recurve.inspection.findings import Finding
from recurve.inspection.inspected import Inspected
from recurve.inspection.points import Charge
from recurve.inspection.vacuum import Capsule
from recurve.job.model import BareJob, Job
from recurve.output.documents.base import (
    BandHigh,
    BandKind,
    BandLow,
    BandSpeed,
    Document,
    Files,
    Fingerprint,
    Margin,
    Notes,
    Title,
    VerifyVerdict,
    deg,
    rpm,
    told,
)
from recurve.uncertainty import Sampled, Uncertain
from recurve.units import RPM, parse

Parameter = Literal[
    "primary.rate", "primary.takeup", "primary.pull", "secondary.rate", "secondary.takeup", "secondary.pull",
    "secondary.tension", "drag", "friction", "friction_share", "stop", "zero", "scale",
]  # fmt: skip

# --- fit --------------------------------------------------------------------------------------------------


class FittedParameter(Document):
    """A quantity as the readings show it."""

    value: Annotated[float | None, told("In `unit`; null: the readings do not determine it", "unit")]
    standard_uncertainty: Annotated[float | None, told("In `unit`; null: not determined", "unit")]
    unit: Annotated[Literal["N/mm", "N", "mN*m", "deg", ""], told("Degrees are the distributor's; empty: a ratio")]
    at_bound: Annotated[bool, told("Whether it lies on a physical limit")]
    source: Annotated[Literal["readings", "as given", "not determined"], told("Where the value comes from")]


class Correlation(Document):
    """How the fitted quantities go together."""

    names: Annotated[list[str], told("The rows and columns")]
    matrix: Annotated[list[list[float]], told("Correlation", "1")]


class FitDocument(Document):
    """What a sweep says of the unit."""

    parameters: dict[Parameter, FittedParameter]
    chi2: Annotated[float, told("χ² of the readings kept", "1")]
    dof: Annotated[float, told("Degrees of freedom", "1")]
    scatter: Annotated[float, told("How much larger the readings' scatter is than stated; 1: as stated", "1")]
    converged: bool
    outlier_rows: Annotated[list[int], told("Rows of the sweep's file that were left out", "1")]
    correlation: Correlation


# --- check ------------------------------------------------------------------------------------------------


class FindingDocument(Document):
    """One thing that is wrong, or open."""

    what: str
    evidence: Annotated[str, told("What shows it")]
    consequence: Annotated[str, told("What it does to the engine")]
    remedy: Annotated[str, told("What to do")]
    severity: Literal["check first", "repair first", "high", "medium", "low", "open question"]


class UncertainSpeed(Document):
    """A speed of the curve as found."""

    value: Annotated[float, told("Mean of what the readings allow; 0 where there is none", "distributor rpm")]
    standard_uncertainty: Annotated[float, told("Its standard uncertainty", "distributor rpm")]


class UncertainAngle(Document):
    """An angle of the curve as found."""

    value: Annotated[float, told("Mean of what the readings allow", "distributor deg")]
    standard_uncertainty: Annotated[float, told("Its standard uncertainty", "distributor deg")]


class MarksAsFound(Document):
    """The marks of the curve as found."""

    onset_rpm: UncertainSpeed
    return_rpm: UncertainSpeed
    all_in_rpm: UncertainSpeed
    residual_deg: UncertainAngle
    stop_deg: UncertainAngle
    apart_deg: Annotated[UncertainAngle, told("How far rising and falling stand apart")]


class InspectedCheck(Document):
    """One check of the inspection against its limit; lengths, angles and forces in words, with their units."""

    what: str
    measured: str
    limit: Annotated[str | None, told("null: no limit is given")]
    source: Annotated[str | None, told("Where the limit comes from")]
    verdict: Literal["pass", "suspect", "fail", "too close to call", "no limit"]


class DwellOfSet(Document):
    """Dwell of one set of points."""

    dwell_deg: Annotated[float, told("Dwell", "distributor deg")]
    share_percent: Annotated[float, told("Of the lobe pitch", "%")]


class DwellMoved(Document):
    """A change of dwell, and what it does."""

    how: Annotated[str, told("What brings it about")]
    dwell_change_deg: Annotated[float, told("Change of dwell", "distributor deg")]
    timing_deg: Annotated[float, told("By how much timing moves", "distributor deg")]
    timing_from: Annotated[str, told("How that is known")]
    gap_change_mm: Annotated[float | None, told("Change of the gap; null: no gap was given", "mm")]


class SparkScatter(Document):
    """Sparks in a row."""

    where: str
    scatter_deg: Annotated[float, told("Spread of the sparks about even places", "distributor deg")]
    spacing_error_deg: Annotated[float, told("Largest error of spacing", "distributor deg")]
    dwell_spread_deg: Annotated[float | None, told("Spread of dwell; null: only sparks were read", "distributor deg")]


class CoilCharge(Document):
    """The coil's charge over speed at one dwell."""

    dwell_deg: Annotated[float, told("Dwell", "distributor deg")]
    speed_rpm: Annotated[list[float], told("Speeds", "distributor rpm")]
    time_ms: Annotated[list[float], told("Time of each charge", "ms")]
    current_a: Annotated[list[float], told("Current when the points open", "A")]
    energy_mj: Annotated[list[float], told("Energy stored then", "mJ")]


class RotorAtSpark(Document):
    """Where the rotor stands at the spark, over the vacuum unit's range."""

    low_deg: Annotated[float, told("Least past its segment's middle", "distributor deg")]
    high_deg: Annotated[float, told("Most past its segment's middle", "distributor deg")]
    room_deg: Annotated[float | None, told("What is left of their overlap; null: not known", "distributor deg")]


class Pressure(Document):
    """A vacuum below the atmosphere."""

    value: Annotated[float, told("Value", "kPa")]
    standard_uncertainty: Annotated[float | None, told("null: not determined", "kPa")]


class Slope(Document):
    """Advance for each unit of vacuum."""

    value: Annotated[float, told("Value", "distributor deg/kPa")]
    standard_uncertainty: Annotated[float | None, told("null: not determined", "distributor deg/kPa")]


class Angle(Document):
    """An angle."""

    value: Annotated[float, told("Value", "distributor deg")]
    standard_uncertainty: Annotated[float | None, told("null: not determined", "distributor deg")]


class CapsuleDocument(Document):
    """The vacuum unit as fitted; null where the readings do not tell."""

    start_kpa: Annotated[Pressure, told("Where it begins")]
    rate_deg_per_kpa: Slope
    stop_deg: Angle | None
    full_kpa: Pressure | None
    stiction_kpa: Pressure | None
    residual_deg: Annotated[float, told("Spread of the readings about it", "distributor deg")]


class ConditionDocument(Document):
    """The inspection worked out; empty where nothing was given."""

    checks: list[InspectedCheck]
    dwell: list[DwellOfSet]
    dwell_changes: list[DwellMoved]
    sparks: list[SparkScatter]
    coil: list[CoilCharge]
    capsule: CapsuleDocument | None
    rotor: RotorAtSpark | None


class EngineBand(Document):
    """A band of the target both ways."""

    band: BandKind
    speed_rpm: BandSpeed
    min_deg: BandLow
    max_deg: BandHigh
    crank_rpm: Annotated[float | None, told("Speed of the engine; null: at the stop", "crank rpm")]
    crank_min_deg: Annotated[float, told("Least timing before top dead centre, static included", "crank deg")]
    crank_max_deg: Annotated[float, told("Most timing before top dead centre, static included", "crank deg")]


class CheckDocument(Document):
    """The unit as found. All speeds and angles are the distributor's unless a key says crank."""

    verdict: Literal[
        "sound", "reset posts only", "new springs", "new springs and stop trim", "mechanical repair first",
        "not worth saving by recurve", "cannot tell", "facts only",
    ]  # fmt: skip
    why: Annotated[list[str], told("Why, a sentence each")]
    title: Title
    fingerprint: Fingerprint
    passing: Annotated[float | None, told("Probability that it meets every band as it is; null: no target", "1")]
    findings: Annotated[list[FindingDocument], told("The worst first")]
    fit: Annotated[FitDocument | None, told("null: no sweep")]
    curve: Annotated[MarksAsFound | None, told("null: a unit without weights, or without a curve")]
    notes: Notes
    condition: ConditionDocument
    engine_target: Annotated[list[EngineBand] | None, told("null: the target is told by the distributor")]
    files: Files


# --- verify -----------------------------------------------------------------------------------------------


class JudgedBand(Document):
    """A band of the target against the refitted curve."""

    band: BandKind
    speed_rpm: BandSpeed
    min_deg: BandLow
    max_deg: BandHigh
    rising_deg: Annotated[float, told("Advance, the speed rising", "distributor deg")]
    rising_standard_uncertainty: Annotated[float, told("Its standard uncertainty", "distributor deg")]
    falling_deg: Annotated[float, told("Advance, the speed falling", "distributor deg")]
    falling_standard_uncertainty: Annotated[float, told("Its standard uncertainty", "distributor deg")]
    verdict: VerifyVerdict
    more_readings: Annotated[int, told("How many more readings would settle it; 0: it is settled", "1")]


class MoveToMake(Document):
    """One thing to move."""

    what: Literal["primary post", "secondary post", "stop"]
    by_mm: Annotated[float, told("By how much: posts + out, the stop + built up", "mm")]
    to_mm: Annotated[float | None, told("The length over the posts then; null: the stop", "mm")]


class CorrectionToMake(Document):
    """The fewest moves that help enough, and the margin after them."""

    moves: list[MoveToMake]
    margin: Margin


class VerifyDocument(Document):
    """The finished unit judged by a new sweep. All speeds and angles are the distributor's."""

    verdict: VerifyVerdict
    title: Title
    fingerprint: Fingerprint
    targets: Annotated[list[JudgedBand], told("In the job's order")]
    correction: Annotated[CorrectionToMake | None, told("null: nothing to correct, or no move would do")]
    fit: FitDocument
    notes: Notes
    files: Files


def engine_rows(job: Job | BareJob) -> list[dict[str, Any]] | None:
    """Each band of the target both ways; None where the job tells it by the distributor."""
    told = job.document.get("target", {})
    if job.target is None or not ("total" in told or "timing" in told):
        return None
    static, ratio = parse(told["static"], "angle").value, job.speed_ratio
    return [
        {
            "band": b.kind,
            "speed_rpm": rpm(b.speed),
            "min_deg": deg(b.low),
            "max_deg": deg(b.high),
            "crank_rpm": None if b.speed is None else rpm(b.speed * ratio),
            "crank_min_deg": deg(static + ratio * b.low),
            "crank_max_deg": deg(static + ratio * b.high),
        }
        for b in job.target.bands
    ]


DEGREES = 180 / np.pi


def capsule_facts(c: Capsule) -> dict[str, Any]:
    """Each fitted number with its standard uncertainty; None where the readings do not tell."""
    return {
        "start_kpa": _number(c.start, 1e-3),
        "rate_deg_per_kpa": _number(c.rate, DEGREES * 1e3),
        "stop_deg": _number(c.stop, DEGREES),
        "full_kpa": _number(c.full, 1e-3),
        "stiction_kpa": _number(c.stiction, 1e-3),
        "residual_deg": round(float(np.degrees(c.residual)), 6),
    }


def _number(n: Uncertain | None, scale: float) -> dict[str, float | None] | None:
    if n is None:
        return None
    by = n.standard_uncertainty
    return {"value": round(n.value * scale, 6), "standard_uncertainty": None if by is None else round(by * scale, 6)}


# --- facts ------------------------------------------------------------------------------------------------


def inspected_facts(found: Inspected | None) -> dict[str, Any]:
    """`condition`: every check, changes of dwell, coil; SI units are in the keys. Empty lists where nothing is given."""
    if found is None:
        return {
            "condition": {
                "checks": [],
                "dwell": [],
                "dwell_changes": [],
                "sparks": [],
                "coil": [],
                "rotor": None,
                "capsule": None,
            }
        }
    bench = found.bench
    return {
        "condition": {
            "checks": [_judged_facts(j) for j in found.judged],
            "dwell": []
            if bench is None
            else [
                {"dwell_deg": _deg(d.value), "share_percent": round(100 * s, 6)}
                for d, s in zip(bench.dwell, bench.fractions, strict=True)
            ],
            "dwell_changes": [] if bench is None else [_change_facts(c) for c in bench.changes],
            "sparks": [] if bench is None else [_spark_facts(s) for s in bench.sparks],
            "coil": [] if bench is None else [_charge_facts(c) for c in bench.charges],
            "capsule": None
            if found.vacuum is None or found.vacuum.capsule is None
            else capsule_facts(found.vacuum.capsule),
            "rotor": None
            if bench is None or bench.rotor is None
            else {
                "low_deg": _deg(bench.rotor.low),
                "high_deg": _deg(bench.rotor.high),
                "room_deg": _deg(bench.rotor.room),
            },
        }
    }


def _deg(angle: float | None) -> float | None:
    return None if angle is None else round(float(np.degrees(angle)), 6)


def _judged_facts(j: Judged) -> dict[str, Any]:
    return {
        "what": j.what,
        "measured": j.seen,
        "limit": None if j.limit is None else j.allowed,
        "source": None if j.limit is None else j.limit.source,
        "verdict": j.verdict,
    }


def _change_facts(change: DwellChange) -> dict[str, Any]:
    return {
        "how": change.how,
        "dwell_change_deg": _deg(change.change.value),
        "timing_deg": _deg(change.timing.value),
        "timing_from": change.timing_how,
        "gap_change_mm": None if change.gap is None else round(change.gap * 1e3, 6),
    }


def _spark_facts(row: SparkRow) -> dict[str, Any]:
    return {
        "where": row.where,
        "scatter_deg": _deg(row.scatter),
        "spacing_error_deg": _deg(row.spacing.value),
        "dwell_spread_deg": _deg(row.dwell_spread),
    }


def _charge_facts(one: Charge) -> dict[str, Any]:
    def rounded(values: Array) -> list[float]:
        return [round(float(v), 6) for v in values]

    return {
        "dwell_deg": _deg(one.dwell),
        "speed_rpm": rounded(one.speed * RPM),
        "time_ms": rounded(one.time * 1e3),
        "current_a": rounded(one.current),
        "energy_mj": rounded(one.energy * 1e3),
    }


# --- fit --------------------------------------------------------------------------------------------------


def fit_facts(fit: Fit) -> dict[str, Any]:
    """The `fit` document: every parameter, None where the readings do not determine it."""
    return {
        "parameters": {e.name: _estimate_facts(e) for e in fit.estimates},
        "chi2": round(fit.chi2, 6),
        "dof": round(fit.dof, 6),
        "scatter": round(fit.inflation, 6),
        "converged": fit.converged,
        "outlier_rows": list(fit.outliers),
        "correlation": {
            "names": list(fit.names),
            "matrix": [[round(float(x), 4) for x in row] for row in fit.correlation],
        },
    }


def _estimate_facts(one: Estimate) -> dict[str, Any]:
    return {
        "value": None if one.value is None else round(one.value, 9),
        "standard_uncertainty": None if one.standard_uncertainty is None else round(one.standard_uncertainty, 9),
        "unit": one.unit,
        "at_bound": one.at_bound,
        "source": one.source,
    }


# --- check ------------------------------------------------------------------------------------------------


def check_facts(check: Check) -> dict[str, Any]:
    """The `check` document."""
    e = check.evidence
    return {
        "verdict": check.verdict,
        "why": list(check.why),
        "title": check.job.title,
        "fingerprint": check.job.fingerprint,
        "passing": None if check.passing is None else round(check.passing, 4),
        "findings": [finding_facts(f) for f in check.findings],
        "fit": None if check.fit is None else fit_facts(check.fit),
        "curve": {
            "onset_rpm": _doubtful(e.onset, rpm),
            "return_rpm": _doubtful(e.return_speed, rpm),
            "all_in_rpm": _doubtful(e.all_in, rpm),
            "residual_deg": _doubtful(e.residual, deg),
            "stop_deg": _doubtful(e.stop, deg),
            "apart_deg": _doubtful(e.apart, deg),
        },
        "notes": list(check.notes),
        **inspected_facts(check.inspected),
        "engine_target": engine_rows(check.job),
    }


def _doubtful(one: Sampled, unit: Callable[[float], float | None]) -> dict[str, Any]:
    return {"value": unit(one.mean), "standard_uncertainty": unit(one.standard_uncertainty)}


def finding_facts(f: Finding) -> dict[str, Any]:
    """One of the `findings` of the `check` document."""
    return {
        "what": f.what,
        "evidence": f.evidence,
        "consequence": f.consequence,
        "remedy": f.remedy,
        "severity": f.severity,
    }


# --- verify -----------------------------------------------------------------------------------------------


def verify_facts(result: Verification, files: tuple[str, ...] = ()) -> dict[str, Any]:
    """The `verify` document."""
    return {
        "verdict": result.verdict,
        "title": result.job.title,
        "fingerprint": result.job.fingerprint,
        "targets": [
            {
                "band": b.band.kind,
                "speed_rpm": rpm(b.band.speed),
                "min_deg": deg(b.band.low),
                "max_deg": deg(b.band.high),
                "rising_deg": deg(b.rising.value),
                "rising_standard_uncertainty": deg(b.rising.standard_uncertainty),
                "falling_deg": deg(b.falling.value),
                "falling_standard_uncertainty": deg(b.falling.standard_uncertainty),
                "verdict": b.verdict,
                "more_readings": b.more,
            }
            for b in result.bands
        ],
        "correction": None
        if result.correction is None
        else {
            "moves": [
                {"what": m.what, "by_mm": round(m.by * 1e3, 6), "to_mm": None if m.to is None else round(m.to * 1e3, 6)}
                for m in result.correction.moves
            ],
            "margin": round(result.correction.margin, 6),
        },
        "fit": fit_facts(result.fit),
        "notes": list(result.job.notes),
        "files": list(files),
    }


def bare_facts(check: BareCheck, files: tuple[str, ...] = ()) -> dict[str, Any]:
    """The `check` document of such a job: no fit and no curve."""
    return {
        "verdict": check.verdict,
        "why": list(check.why),
        "title": check.job.title,
        "fingerprint": check.job.fingerprint,
        "passing": None,
        "findings": [finding_facts(f) for f in check.findings],
        "fit": None,
        "curve": None,
        "notes": list(check.job.notes),
        **inspected_facts(check.inspected),
        "engine_target": engine_rows(check.job),
        "files": list(files),
    }
