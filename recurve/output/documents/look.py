"""A first look in the JSON of `check`: what the readings show by themselves, every band, the strength the springs need."""

from __future__ import annotations

from typing import Annotated

import numpy as np

from recurve.diagnosis.first_look import BandLook, NextStep
from recurve.diagnosis.strength import Strength
from recurve.fit.outline import Outline
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
from recurve.uncertainty import Sampled
from recurve.units import Quantity


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
    def of(cls, outline: Outline, idle: float) -> ReadingsDocument:
        """The marks of an outline; `idle` [rad/s] is the idle speed."""
        return cls(
            onset_rpm=if_known(UncertainSpeed.of, outline.onset),
            lowest_rpm=rpm(outline.lowest),
            counts_from_rpm=if_known(rpm, outline.counts_from),
            idle_rpm=rpm(idle),
            idle_deg=if_known(UncertainAngle.of, outline.stays_in(idle)),
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


class RateNeeded(Document):
    """The rate of the primary as weighed, and the rate that the book's slope below the knee needs, if nothing but the primary
    pulls there. Drag and the pull at rest do not enter."""

    weighed_n_per_mm: Annotated[float, told("As weighed", "N/mm")]
    needed_n_per_mm: Annotated[float, told("As needed for the middle of the bands", "N/mm")]
    low_n_per_mm: Annotated[float, told("Least, by what readings and weighing leave open (95 %)", "N/mm")]
    high_n_per_mm: Annotated[float, told("Most", "N/mm")]

    @classmethod
    def of(cls, known: tuple[Quantity, Sampled]) -> RateNeeded:
        """From the rate [N/m] and how many times stiffer it must be [1]."""
        rate, ratio = known
        by = 2 * (rate.standard_uncertainty or 0.0) / rate.value
        low, middle, high = (float(x) for x in np.quantile(ratio.sample, (0.025, 0.5, 0.975)))
        return cls(
            weighed_n_per_mm=number(rate.value / 1e3),
            needed_n_per_mm=number(rate.value * middle / 1e3),
            low_n_per_mm=number(rate.value * low * (1 - by) / 1e3),
            high_n_per_mm=number(rate.value * high * (1 + by) / 1e3),
        )


class NextToDo(Document):
    """A thing to measure or to do."""

    measure: Annotated[str, told("What")]
    gain: Annotated[str, told("What it would bring")]
    narrowing: Annotated[
        float | None, told("By which fraction it would narrow the planned curve; null: not worked out", "1")
    ]

    @classmethod
    def of(cls, step: NextStep) -> NextToDo:
        """A step as it stands."""
        return cls(measure=step.measure, gain=step.gain, narrowing=if_known(number, step.narrowing))
