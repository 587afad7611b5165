"""The unit as it was set: the job as planned, with what the bench says of how it was built."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Literal

from recurve.errors import InputError
from recurve.job.measured import MeasuredSpring
from recurve.job.model import Job
from recurve.job.schema import SetTable
from recurve.physics.curve import Stop
from recurve.physics.sweep import Sweep
from recurve.units import PLACES, Quantity

MISSET = 6.0  # how many times its tolerance a setting may be off in a unit that is being judged
TRIMMED = 0.05e-3  # ± of a trim that is told in mm [m]; common practice, no source


@dataclass(frozen=True)
class AsSet:
    """What was measured of a unit as it was set, None what was not: the `lengths` over the posts, primary first [m], the `stop`
    by a degree wheel [rad] or its `trim` [m], + built up; and the `springs` fitted, by their ids, where they are others than
    planned. `set_by`: whether the posts were set by calliper alone, or bent until the bench read what the plan asks."""

    lengths: tuple[Quantity | None, Quantity | None] = (None, None)
    stop: Quantity | None = None
    trim: Quantity | None = None
    springs: tuple[str | None, str | None] = (None, None)
    set_by: Literal["calliper", "bench"] | None = None

    @classmethod
    def of(cls, table: SetTable) -> AsSet:
        """As a table [set], or the options of a command, tell it."""
        return cls(
            (table.primary_length, table.secondary_length),
            table.stop,
            table.stop_trim,
            (table.primary_spring, table.secondary_spring),
            table.set_by,
        )


NOTHING_TOLD = AsSet()


def as_set(job: Job, sweep: Sweep, told: AsSet = NOTHING_TOLD, found: Job | None = None) -> Job:
    """A job as planned with the sweep of the unit as it was set. What was not told may be misset by MISSET times its
    tolerance; what was told is known by its ±. Its friction is not known beforehand. `found` is the job that was planned, from
    whose stop a trim counts. Raises InputError for what cannot be."""
    job = _put_together_anew(_with_springs(job, told))
    measured = job.measured
    springs = tuple(_spring(job, i, told) for i in range(len(measured.springs)))
    for i, length in enumerate(told.lengths):
        if length is not None and i >= len(springs):
            raise InputError(
                f"{job.path}: {PLACES[i]}_length: got a length, expected none: the unit has no {PLACES[i]} spring"
            )
    stop = _stop(job, told, job if found is None else found)
    if stop is None:
        return replace(job, sweep=sweep, measured=replace(measured, stop=_wider(measured.stop), springs=springs))
    limits = job.stop.limits
    standing = replace(job.stop, advance=stop.value)
    return replace(
        job, sweep=sweep, stop=limited(standing, limits), measured=replace(measured, stop=stop, springs=springs)
    )


def limited(stop: Stop, limits: tuple[float, float]) -> Stop:
    """A stop that stands elsewhere, which may still be trimmed to the same `limits` [rad]."""
    if not stop.per_mm:
        return stop
    build_up = max(stop.advance - limits[0], 0.0) / stop.per_mm
    return replace(stop, build_up_to=build_up, file_up_to=max(limits[1] - stop.advance, 0.0) / stop.per_mm)


def standing(unit: Job, planned: Job) -> Job:
    """The fitted unit with each post's travel counted from where it stands, and the stop's trim likewise: a spring that is
    stretched more at rest than planned has its post farther out by as much."""
    places = []
    for now, was in zip(unit.places, planned.places, strict=True):
        off = 0.0 if now.found is None or was.found is None else was.found.free_length - now.found.free_length
        travel = (
            (min(now.travel[0] - off, 0.0), max(now.travel[1] - off, 0.0)) if now.travel != (0.0, 0.0) else now.travel
        )
        places.append(replace(now, travel=travel))
    return replace(unit, places=tuple(places), stop=limited(unit.stop, planned.stop.limits))


def _put_together_anew(job: Job) -> Job:
    """The job without what was known of friction: that was of the unit before it was taken apart, cleaned and oiled, and says
    nothing of how it turns now."""
    unknown = Quantity(0.0, origin="assumed")
    drag = replace(job.measured.drag, friction=unknown, friction_share=unknown)
    return replace(
        job,
        drag=replace(job.drag, friction=0.0, friction_share=0.0),
        measured=replace(job.measured, drag=drag),
    )


def _stop(job: Job, told: AsSet, found: Job) -> Quantity | None:
    """The stop as told [rad]; None where it was not."""
    if told.stop is not None:
        return told.stop
    if told.trim is None:
        return None
    per_mm = found.stop.per_mm
    if not per_mm:
        raise InputError(
            f"{found.path}: stop: got a trim in mm, expected the advance at the stop by degree wheel, since the job "
            "does not give the stop's radius"
        )
    known = job.build.stop if told.trim.half_width is None else told.trim.half_width
    by = (found.measured.stop.half_width or 0.0) + max(known, TRIMMED) * per_mm
    return Quantity(found.stop.advance - told.trim.value * per_mm, by)


def _with_springs(job: Job, told: AsSet) -> Job:
    """The job with the springs that are said to be fitted."""
    places, springs = list(job.places), list(job.measured.springs)
    for i, identity in enumerate(told.springs):
        if identity is None:
            continue
        known = {} if job.catalogue is None else {s.id: s for s in job.catalogue.springs}
        if i >= len(places) or identity not in known:
            gone = " (its file is not there)" if job.catalogue is None and "catalogue" in job.document else ""
            raise InputError(
                f"{job.path}: {PLACES[i]}_spring: got {identity!r}, expected the id of a spring of the catalogue{gone}"
            )
        one = known[identity]
        places[i] = replace(places[i], found=one)
        springs[i] = MeasuredSpring(
            rate=Quantity(one.rate, (job.build.rate if one.rate_limit is None else one.rate_limit) * one.rate),
            free_length=Quantity(one.free_length, job.build.post),
            initial_tension=Quantity(one.initial_tension),
        )
    return replace(job, places=tuple(places), measured=replace(job.measured, springs=tuple(springs)))


def _spring(job: Job, index: int, told: AsSet) -> MeasuredSpring:
    """A spring as measured, its setting as told, else open by MISSET times its tolerance."""
    one, length = job.measured.springs[index], told.lengths[index]
    free = one.free_length
    if free is None:
        return one
    if length is None:
        return replace(one, free_length=_wider(free))
    # The fit tells a post that stands elsewhere as a spring that is shorter by as much.
    rest = float(job.places[index].posts.length(0.0)[0])
    by = (free.half_width or 0.0) + (job.build.post if length.half_width is None else length.half_width)
    return replace(one, free_length=Quantity(rest - (length.value - free.value), by))


def _wider(given: Quantity) -> Quantity:
    return given if given.half_width is None else replace(given, half_width=given.half_width * MISSET)
