"""Points against an electronic trigger: the drag goes, or comes; the plan is made for what will be fitted."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from recurve.curve import Trace, trace
from recurve.job import Job
from recurve.mechanism import Array
from recurve.sweepmodel import Parameter
from recurve.yields import Plant, rectangular

RPM = 30 / np.pi
SQRT3 = float(np.sqrt(3.0))
UNKNOWN = 0.25  # of the drag of points that are not there yet, as a limit; common practice, no source


def as_fitted(job: Job) -> Job:
    """The job with the trigger that will be in it: an electronic one does not drag the cam back, points do."""
    if job.trigger_fitted == job.trigger:
        return job
    drag = 0.0 if job.trigger_fitted == "electronic" else job.points_drag
    return replace(job, trigger=job.trigger_fitted, drag=replace(job.drag, rubbing_block=drag))


def fitted_plant(plant: Plant, job: Job) -> Plant:
    """The states of the unit as found with the drag of the trigger that will be fitted; `job` as found, `idle` [rad/s]."""
    if job.trigger_fitted == job.trigger:
        return plant
    index = next(i for i, p in enumerate(plant.model.parameters) if p.name == "drag")
    states, middle = plant.states.copy(), plant.middle.copy()
    middle[index] = 0.0
    if job.trigger_fitted == "electronic":
        drag, states[:, index] = Parameter("drag", 0.0, 1e-9, 0.0, 1e-6, True), 0.0
    else:
        limit = job.limits.get("drag.rubbing_block", UNKNOWN * job.points_drag)
        drag = Parameter("drag", job.points_drag, max(limit, 1e-9) / SQRT3, 0.0, 0.1, True)
        states[:, index] = rectangular(np.random.default_rng(17).uniform(size=len(states)), SQRT3)
    parameters = tuple(drag if i == index else p for i, p in enumerate(plant.model.parameters))
    return replace(plant, model=replace(plant.model, parameters=parameters), states=states, middle=middle)


@dataclass(frozen=True)
class Shift:
    """The springs that are in it, before and after another trigger: the curve, and what stays in [rad] at idle."""

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
            f"With {what} fitted the springs as found would begin at {onsets[1]} instead of {onsets[0]} (distributor); "
            f"the maximum stays {np.degrees(self.after.stop):.1f}°."
        )
        stays = np.degrees(self.residual)
        if stays[1] > stays[0] + 0.05:
            told += f" At idle {stays[1]:.1f}° would stay in instead of {stays[0]:.1f}°: the drag helped it home."
        return told


def shift_of(job: Job, idle: float) -> Shift | None:
    """What another trigger does to the springs as found, `idle` [rad/s]; None where nothing changes or they are not
    described."""
    before, after = job.as_found(), as_fitted(job).as_found()
    if job.trigger == job.trigger_fitted or before is None or after is None:
        return None
    curves = trace(before), trace(after)
    residual = np.array([float(c.falling_advance(idle)) for c in curves])
    return Shift(job.trigger_fitted, *curves, residual)


def conversion_notes(job: Job, idle: float) -> list[str]:
    """What must be said aloud of a change of trigger; `job` as found, `idle` [rad/s]."""
    if job.trigger == job.trigger_fitted:
        return []
    shift = shift_of(job, idle)
    plan = f"The plan is for a unit with {'an electronic trigger' if job.trigger_fitted == 'electronic' else 'points'}."
    return [plan] if shift is None else [f"{shift.words} {plan}"]
