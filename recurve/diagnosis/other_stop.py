"""Whether the readings of a finished unit put its stop elsewhere, though the plan left the stop alone."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from recurve.data import default
from recurve.diagnosis.as_built import told_of
from recurve.fit.fit import Fit
from recurve.job.model import Job
from recurve.uncertainty import Uncertain

SURELY_OFF = 3.0  # standard uncertainties of the two together


@dataclass(frozen=True)
class OtherStop:
    """The stop was not to be touched, and the `readings` put it surely elsewhere than the plan has it, `planned` [rad]."""

    planned: Uncertain
    readings: Uncertain

    def words(self) -> str:
        """In words, for the distributor."""
        return (
            f"the stop was not to be touched, but the readings put it at {self.readings.degrees()} where the plan has it at "
            f"{self.planned.degrees()} (distributor). Was a vacuum line or a vacuum unit connected? Is this the unit that was "
            "planned? Turn the cam to its stop by hand against a degree wheel, and give what it shows with --stop"
        )


def other_stop(job: Job, fit: Fit) -> OtherStop | None:
    """Whether the fit of the unit as left has its stop elsewhere than the `job` as planned. Nothing is said of a unit that was
    not planned, or whose plan trims the stop. What the plan says of the stop is taken out of what the readings tell."""
    plan = job.model.planned
    if plan is None or plan.trim_mm is None or plan.trim_mm != 0.0:
        return None
    told = told_of(fit, "stop")
    if told is None:
        return None
    known = _known(job)
    if abs(told.value - job.stop.advance) <= SURELY_OFF * float(np.hypot(known, told.uncertainty)):
        return None
    return OtherStop(Uncertain(job.stop.advance, known), Uncertain(told.value, told.uncertainty))


def _known(job: Job) -> float:
    """How surely the plan knew the stop, as a standard uncertainty [rad]: by what it foretold, else by its ±."""
    plan = job.model.planned
    top = None if plan is None else next((f for f in plan.forecast if f.band == "maximum"), None)
    if top is not None:
        return float(np.radians(top.by_calliper.rising_deviation_deg))
    return job.measured.stop.standard_uncertainty or default("fit", "stop", "angle")
