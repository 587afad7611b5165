"""The JSON documents of `check` and `verify`: shapes, and the unit of every number."""

from __future__ import annotations

from typing import Annotated, Literal

from recurve.document import (
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
    Verdict,
    told,
)

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
    verdict: Verdict
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

    verdict: Verdict
    title: Title
    fingerprint: Fingerprint
    targets: Annotated[list[JudgedBand], told("In the job's order")]
    correction: Annotated[CorrectionToMake | None, told("null: nothing to correct, or no move would do")]
    fit: FitDocument
    notes: Notes
    files: Files
