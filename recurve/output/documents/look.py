"""A first look in the JSON of `check`: what the readings show by themselves, every band, the strength the springs need."""

from __future__ import annotations

from typing import Annotated

from recurve.diagnosis.first_look import BandLook, FirstLook, NextStep
from recurve.diagnosis.strength import Strength
from recurve.output.documents.base import (
    Document,
    TargetBand,
    UncertainAngle,
    UncertainSpeed,
    band_fields,
    deg,
    if_known,
    number,
    rpm,
    told,
)


class ReadingsDocument(Document):
    """What the readings show by themselves, without any model of weights and springs."""

    onset_rpm: Annotated[
        UncertainSpeed | None, told("Where advance begins, the speed rising; null: below the lowest reading")
    ]
    lowest_rpm: Annotated[float, told("The lowest speed from which rising readings show it", "distributor rpm")]
    counts_from_rpm: Annotated[
        float | None,
        told("Where zero was set, turning: advances count from what was in there; null: from rest", "distributor rpm"),
    ]
    idle_rpm: Annotated[float, told("The idle speed", "distributor rpm")]
    idle_deg: Annotated[
        UncertainAngle | None,
        told("What stays in at idle, the speed falling; null: not read down to it, or hidden by the zero"),
    ]
    largest_deg: Annotated[UncertainAngle, told("The largest advance that was reached")]
    all_in_rpm: Annotated[UncertainSpeed, told("Where the advance is complete, the speed rising")]
    complete: Annotated[float, told("Probability that it was complete before the sweep's end", "1")]
    hysteresis_deg: Annotated[UncertainAngle, told("How far rising and falling stand apart where the curve climbs")]
    scatter: Annotated[float, told("Scatter of the readings against what was stated, 1 where it agrees", "1")]
    outlier_rows: Annotated[list[int], told("Rows of the sweep that were left out", "1")]

    @classmethod
    def of(cls, look: FirstLook) -> ReadingsDocument:
        """The marks of the outline."""
        outline = look.outline
        return cls(
            onset_rpm=if_known(UncertainSpeed.of, outline.onset),
            lowest_rpm=rpm(outline.lowest),
            counts_from_rpm=if_known(rpm, outline.counts_from),
            idle_rpm=rpm(look.idle),
            idle_deg=if_known(UncertainAngle.of, look.stays_in),
            largest_deg=UncertainAngle.of(outline.largest),
            all_in_rpm=UncertainSpeed.of(outline.all_in),
            complete=number(outline.complete, 4),
            hysteresis_deg=UncertainAngle.of(outline.apart),
            scatter=number(outline.inflation),
            outlier_rows=list(outline.outliers),
        )


class BandAsRead(TargetBand):
    """A band of the target against the readings."""

    rising_deg: Annotated[UncertainAngle | None, told("Advance there, the speed rising; null: not read")]
    falling_deg: Annotated[UncertainAngle | None, told("Advance there, the speed falling; null: not read")]
    above: Annotated[float, told("Probability that the true advance is above the band", "1")]
    below: Annotated[float, told("Probability that it is below", "1")]

    @classmethod
    def of(cls, look: BandLook) -> BandAsRead:
        """A band and what was read of it."""
        return cls(
            **band_fields(look.band),
            rising_deg=if_known(UncertainAngle.of, look.rising),
            falling_deg=if_known(UncertainAngle.of, look.falling),
            above=number(look.above, 4),
            below=number(look.below, 4),
        )


class StrengthNeeded(Document):
    """How many times stronger springs and drag must pull at an advance to be by the book."""

    advance_deg: Annotated[float, told("The advance", "distributor deg")]
    ratio: Annotated[float | None, told("To the middle of the bands; null: they do not pull at all there", "1")]
    low: Annotated[float | None, told("Least that meets the bands, by what the readings leave open (95 %)", "1")]
    high: Annotated[float | None, told("Most that meets them; null: the book has no lower edge there", "1")]

    @classmethod
    def of(cls, one: Strength) -> StrengthNeeded:
        """The ratio at one advance."""
        low, ratio, high = (if_known(number, x) for x in (one.low, one.ratio, one.high))
        return cls(advance_deg=deg(one.advance), ratio=ratio, low=low, high=high)


class NextToDo(Document):
    """A thing to measure or to do."""

    measure: Annotated[str, told("What")]
    gain: Annotated[str, told("What it would bring")]

    @classmethod
    def of(cls, step: NextStep) -> NextToDo:
        """A step as it stands."""
        return cls(measure=step.measure, gain=step.gain)
