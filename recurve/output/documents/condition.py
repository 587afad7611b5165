"""The bench inspection and the vacuum unit, as the JSON document of `check` has them."""

from __future__ import annotations

from typing import Annotated, Literal

import numpy as np

from recurve.inspection.bench import DwellChange, Judged
from recurve.inspection.inspected import Inspected
from recurve.inspection.points import Charge, RotorSweep
from recurve.inspection.vacuum import Capsule
from recurve.inspection.wheel import SparkRow
from recurve.output.documents.base import Document, deg, if_known, mm, number, rpm, told
from recurve.uncertainty import Uncertain

RATE = float(np.degrees(1.0)) * 1e3  # rad/Pa in deg/kPa


class InspectedCheck(Document):
    """One check of the inspection against its limit; lengths, angles and forces in words, with their units."""

    what: str
    measured: str
    limit: Annotated[str | None, told("null: no limit is given")]
    source: Annotated[str | None, told("Where the limit comes from")]
    verdict: Literal["pass", "suspect", "fail", "too close to call", "no limit"]

    @classmethod
    def of(cls, one: Judged) -> InspectedCheck:
        """What was measured, and the limit where there is one."""
        limit = one.limit
        return cls(
            what=one.what,
            measured=one.seen,
            limit=None if limit is None else one.allowed,
            source=None if limit is None else limit.source,
            verdict=one.verdict,
        )


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

    @classmethod
    def of(cls, change: DwellChange) -> DwellMoved:
        """A change of dwell."""
        return cls(
            how=change.how,
            dwell_change_deg=deg(change.change.value),
            timing_deg=deg(change.timing.value),
            timing_from=change.timing_how,
            gap_change_mm=if_known(mm, change.gap),
        )


class SparkScatter(Document):
    """Sparks in a row."""

    where: str
    scatter_deg: Annotated[
        float | None, told("Spread of the sparks about even places; null: a slip in the figures", "distributor deg")
    ]
    spacing_error_deg: Annotated[
        float | None, told("Error of spacing between the two sparks that decide; null likewise", "distributor deg")
    ]
    between: Annotated[list[int] | None, told("Which two sparks, counted as listed; null likewise", "1")]
    dwell_spread_deg: Annotated[float | None, told("Spread of dwell; null: only sparks were read", "distributor deg")]

    @classmethod
    def of(cls, row: SparkRow) -> SparkScatter:
        """One row of sparks."""
        return cls(
            where=row.where,
            scatter_deg=if_known(deg, row.scatter),
            spacing_error_deg=None if row.spacing is None else deg(row.spacing.value),
            between=None if row.pair is None else list(row.pair),
            dwell_spread_deg=if_known(deg, row.dwell_spread),
        )


class CoilCharge(Document):
    """The coil's charge over speed at one dwell."""

    dwell_deg: Annotated[float, told("Dwell", "distributor deg")]
    speed_rpm: Annotated[list[float], told("Speeds", "distributor rpm")]
    time_ms: Annotated[list[float], told("Time of each charge", "ms")]
    current_a: Annotated[list[float], told("Current when the points open", "A")]
    energy_mj: Annotated[list[float], told("Energy stored then", "mJ")]

    @classmethod
    def of(cls, one: Charge) -> CoilCharge:
        """The charge at one dwell."""
        return cls(
            dwell_deg=deg(one.dwell),
            speed_rpm=[rpm(x) for x in one.speed],
            time_ms=[number(x) for x in one.time * 1e3],
            current_a=[number(x) for x in one.current],
            energy_mj=[number(x) for x in one.energy * 1e3],
        )


class RotorAtSpark(Document):
    """Where the rotor stands at the spark, over the vacuum unit's range."""

    low_deg: Annotated[float, told("Least past its segment's middle", "distributor deg")]
    high_deg: Annotated[float, told("Most past its segment's middle", "distributor deg")]
    room_deg: Annotated[float | None, told("What is left of their overlap; null: not known", "distributor deg")]

    @classmethod
    def of(cls, rotor: RotorSweep) -> RotorAtSpark:
        """The rotor against its segment."""
        return cls(low_deg=deg(rotor.low), high_deg=deg(rotor.high), room_deg=if_known(deg, rotor.room))


class Pressure(Document):
    """A vacuum below the atmosphere."""

    value: Annotated[float, told("Value", "kPa")]
    standard_uncertainty: Annotated[float | None, told("null: not determined", "kPa")]

    @classmethod
    def of(cls, one: Uncertain) -> Pressure:
        """A fitted pressure [Pa]."""
        by = one.standard_uncertainty
        return cls(value=number(one.value * 1e-3), standard_uncertainty=None if by is None else number(by * 1e-3))


class Slope(Document):
    """Advance for each unit of vacuum."""

    value: Annotated[float, told("Value", "distributor deg/kPa")]
    standard_uncertainty: Annotated[float | None, told("null: not determined", "distributor deg/kPa")]

    @classmethod
    def of(cls, one: Uncertain) -> Slope:
        """A fitted slope [rad/Pa]."""
        by = one.standard_uncertainty
        return cls(value=number(one.value * RATE), standard_uncertainty=None if by is None else number(by * RATE))


class Angle(Document):
    """An angle."""

    value: Annotated[float, told("Value", "distributor deg")]
    standard_uncertainty: Annotated[float | None, told("null: not determined", "distributor deg")]

    @classmethod
    def of(cls, one: Uncertain) -> Angle:
        """A fitted angle [rad]."""
        return cls(value=deg(one.value), standard_uncertainty=if_known(deg, one.standard_uncertainty))


class CapsuleDocument(Document):
    """The vacuum unit as fitted; null where the readings do not tell."""

    start_kpa: Annotated[Pressure, told("Where it begins, the middle of rising and falling")]
    start_rising_kpa: Annotated[Pressure, told("Where it begins with vacuum rising")]
    start_falling_kpa: Annotated[Pressure, told("Where it has gone home with vacuum falling")]
    rate_deg_per_kpa: Slope
    stop_deg: Angle | None
    full_kpa: Annotated[Pressure | None, told("Where it reaches its stop, the middle of rising and falling")]
    full_rising_kpa: Annotated[Pressure | None, told("Where it reaches its stop with vacuum rising")]
    stiction_kpa: Pressure | None
    residual_deg: Annotated[float, told("Spread of the readings about it", "distributor deg")]

    @classmethod
    def of(cls, capsule: Capsule) -> CapsuleDocument:
        """Each fitted number with its standard uncertainty."""
        stop, full, stiction = capsule.stop, capsule.full, capsule.stiction
        rising = capsule.full_at(rising=True)
        return cls(
            start_kpa=Pressure.of(capsule.start),
            start_rising_kpa=Pressure.of(capsule.begins(rising=True)),
            start_falling_kpa=Pressure.of(capsule.begins(rising=False)),
            rate_deg_per_kpa=Slope.of(capsule.rate),
            stop_deg=None if stop is None else Angle.of(stop),
            full_kpa=None if full is None else Pressure.of(full),
            full_rising_kpa=None if rising is None else Pressure.of(rising),
            stiction_kpa=None if stiction is None else Pressure.of(stiction),
            residual_deg=deg(capsule.residual),
        )


class ConditionDocument(Document):
    """The inspection worked out; empty where nothing was given."""

    checks: list[InspectedCheck]
    dwell: list[DwellOfSet]
    dwell_changes: list[DwellMoved]
    sparks: list[SparkScatter]
    coil: list[CoilCharge]
    capsule: CapsuleDocument | None
    rotor: RotorAtSpark | None

    @classmethod
    def of(cls, found: Inspected | None) -> ConditionDocument:
        """All that the inspection shows."""
        bench = None if found is None else found.bench
        vacuum = None if found is None else found.vacuum
        capsule = None if vacuum is None else vacuum.capsule
        dwell = [] if bench is None else zip(bench.dwell, bench.fractions, strict=True)
        return cls(
            checks=[] if found is None else [InspectedCheck.of(j) for j in found.judged],
            dwell=[DwellOfSet(dwell_deg=deg(d.value), share_percent=number(100 * s)) for d, s in dwell],
            dwell_changes=[] if bench is None else [DwellMoved.of(c) for c in bench.changes],
            sparks=[] if bench is None else [SparkScatter.of(s) for s in bench.sparks],
            coil=[] if bench is None else [CoilCharge.of(c) for c in bench.charges],
            capsule=None if capsule is None else CapsuleDocument.of(capsule),
            rotor=None if bench is None or bench.rotor is None else RotorAtSpark.of(bench.rotor),
        )
