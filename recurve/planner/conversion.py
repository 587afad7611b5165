"""Converting between points and an electronic trigger changes the drag; the plan is for the trigger to be fitted."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from recurve.arrays import Array
from recurve.fit.sobol import rectangular
from recurve.fit.state import Ensemble
from recurve.job.model import Job
from recurve.physics.curve import Trace, trace
from recurve.uncertainty import MOST_DRAG, Prior
from recurve.units import RPM, SQRT3

# ± of the drag of points that are yet to be fitted, as a fraction of it; common practice, no source
UNKNOWN_DRAG = 0.25


@dataclass(frozen=True)
class Shift:
    """What another trigger does to the springs as found: the curve `before` and `after`, and the `residual` (2,) [rad]
    that stays in at idle."""

    trigger: str
    before: Trace
    after: Trace
    residual: Array

    @property
    def words(self) -> str:
        """How far the onset moves, in distributor rpm."""
        onsets = ["none" if o is None else f"{o * RPM:.0f} rpm" for o in (self.before.onset, self.after.onset)]
        what = "an electronic trigger" if self.trigger == "electronic" else "points"
        told = (
            f"With {what} fitted, the springs as found would let the advance begin at {onsets[1]} instead of "
            f"{onsets[0]} (distributor). The maximum stays {np.degrees(self.after.stop):.1f}° (distributor)."
        )
        stays = np.degrees(self.residual)
        if stays[1] > stays[0] + 0.05:
            told += (
                f" At idle {stays[1]:.1f}° would stay in instead of {stays[0]:.1f}° (distributor), since the drag "
                "no longer helps the cam home."
            )
        return told


def as_fitted(job: Job) -> Job:
    """The job with the trigger that will be fitted: points drag the cam back, an electronic trigger does not."""
    if job.trigger_fitted == job.trigger:
        return job
    block = job.measured.drag.drag(job.trigger_fitted).rubbing_block
    return replace(job, trigger=job.trigger_fitted, drag=replace(job.drag, rubbing_block=block))


def fitted_ensemble(ensemble: Ensemble, job: Job) -> Ensemble:
    """The states of the unit as found, with the drag of the trigger that will be fitted; `job` is the job as found."""
    if job.trigger_fitted == job.trigger:
        return ensemble
    index = next(i for i, p in enumerate(ensemble.model.parameters) if p.name == "drag")
    states, middle = ensemble.states.copy(), ensemble.middle.copy()
    middle[index] = 0.0
    if job.trigger_fitted == "electronic":
        drag, states[:, index] = Prior("drag", 0.0, 1e-9, 0.0, 1e-6, True), 0.0
    else:
        points, measured = job.measured.drag.points.value, job.measured.drag.rubbing_block
        stated = None if measured is None else measured.half_width
        half_width = UNKNOWN_DRAG * points if stated is None else stated
        drag = Prior("drag", points, max(half_width, 1e-9) / SQRT3, 0.0, MOST_DRAG, True)
        states[:, index] = rectangular(np.random.default_rng(17).uniform(size=len(states)), SQRT3)
    parameters = tuple(drag if i == index else p for i, p in enumerate(ensemble.model.parameters))
    return replace(ensemble, model=replace(ensemble.model, parameters=parameters), states=states, middle=middle)


def shift_of(job: Job) -> Shift | None:
    """What another trigger does to the springs as found; None if the trigger stays or the springs are not described."""
    before, after = job.as_found(), as_fitted(job).as_found()
    if job.trigger == job.trigger_fitted or before is None or after is None:
        return None
    curves = trace(before), trace(after)
    residual = np.array([float(c.falling_advance(job.idle_speed)) for c in curves])
    return Shift(job.trigger_fitted, *curves, residual)


def conversion_notes(job: Job) -> list[str]:
    """What the report must state of a change of trigger; `job` as found."""
    if job.trigger == job.trigger_fitted:
        return []
    shift = shift_of(job)
    plan = f"The plan is for a unit with {'an electronic trigger' if job.trigger_fitted == 'electronic' else 'points'}."
    return [plan] if shift is None else [f"{shift.words} {plan}"]
