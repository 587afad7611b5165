"""A job's weights known by a reference sweep: the springs that were in it to I′(α) (design §1, motion 4)."""

from __future__ import annotations

from dataclasses import replace
from posixpath import normpath

import numpy as np

from recurve import jobmodel as m
from recurve import jobunit as u
from recurve.curve import Drag, Installed
from recurve.defaults import default, ranges
from recurve.job import SpringPlace
from recurve.jobbuild import PLACES, Build
from recurve.mechanism import ReferenceSlope, Weights
from recurve.reference import KnownSpring, Reference, fit_reference, reference_faults, reference_notes
from recurve.springs import Spring
from recurve.sweepbuild import sweep_of
from recurve.tables import Readings
from recurve.units import Measured

SQRT3 = float(np.sqrt(3.0))


def weights_of(build: Build, readings: Readings | None) -> Weights:
    """The job's weights; from a reference sweep, I′ as the springs that were in it tell."""
    motion = build.model.weights.motion
    if not isinstance(motion, u.ReferenceMotion):
        return build.weights()
    flat = ReferenceSlope(build.model.stop.advance.value, (0.0,), ((0.0,),))
    given = _reference(build, motion, readings, flat)
    if given is None:
        return build.weights(flat)
    faults = reference_faults(given)
    build.faults += [(("weights", "motion"), f"{motion.sweep}: {text}") for text in faults]
    if faults:
        return build.weights(flat)
    fit = fit_reference(given)
    build.notes += [*reference_notes(fit, build.stop().limits[1]), *_counted_twice(build.model, motion)]
    return build.weights(fit.slope)


def _counted_twice(model: m.JobModel, motion: u.ReferenceMotion) -> list[str]:
    """A sweep that is both: its readings are evidence once, not twice."""
    if model.sweep is None or normpath(model.sweep.file) != normpath(motion.sweep):
        return []
    return [
        f"{motion.sweep} is the reference sweep and the sweep of the unit as found: its errors count twice, so the "
        "unit is less well known than the ± below say. Sweep it once more and name that file in [sweep]."
    ]


def _reference(
    build: Build, motion: u.ReferenceMotion, readings: Readings | None, flat: ReferenceSlope
) -> Reference | None:
    """The unit as it was in its reference sweep; None where something else in the job is wrong, which is told there."""
    table = motion.drag or build.model.drag or u.Drag()
    then = Build(build.model.model_copy(update={"drag": table}))
    drag = then.drag()
    if motion.drag is not None:
        build.faults += [(("weights", "motion", *key), text) for key, text in then.faults]
        build.notes += [f"In the reference sweep: {text}" for text in then.notes]
    places = then.places(flat, then.stop().limits[1])  # what is wrong with them is told where the job's own are made
    _reference_spring_faults(build, motion)
    if readings is None or then.faults or build.faults:
        return None
    sweep = sweep_of(motion, build.model.distributor.speed_ratio, readings)
    springs = [_known_spring(build.model, n, p) for n, p in zip(PLACES, places, strict=False)]
    stop = motion.stop or build.model.stop.advance
    middle, spread = _resistance(table, drag)
    return Reference(
        replace(readings, speed=sweep.speed, advance=sweep.advance),
        sweep.reading,
        sweep.speed_reading,
        sweep.zeroed_at,
        tuple(s for s in springs if s is not None),
        middle,
        spread,
        stop.value,
        stop.standard_uncertainty or default("fit", "stop", "angle"),
        default("fit", "zero", "angle"),
    )


def _reference_spring_faults(build: Build, motion: u.ReferenceMotion) -> None:
    springs = build.model.springs
    if motion.secondary is not None and springs.secondary is None:
        build.faults.append(
            (
                ("weights", "motion", "secondary"),
                "got a spring without posts, expected [springs.secondary] to tell them",
            )
        )
    if motion.primary is not None:
        return
    for name, table in zip(PLACES, (springs.primary, springs.secondary), strict=True):
        if table is not None and not table.described:
            build.faults.append(
                (
                    ("springs", name),
                    "got a reference sweep, but neither rate and free_length (or takeup) here nor "
                    "[weights.motion.primary]; expected the springs that were in it, weighed and stretched",
                )
            )


def _known_spring(model: m.JobModel, name: str, place: SpringPlace) -> KnownSpring | None:
    """The spring that was in this place while it was swept, None where there was none."""
    motion, described = model.weights.motion, getattr(model.springs, name)
    assert isinstance(motion, u.ReferenceMotion)
    given = getattr(motion, name) if motion.primary is not None else described
    if given is None:
        return None
    bent = getattr(given, "post_bend", None) or Measured(0.0)
    rate_limit = default("reference", "rate", "number")
    unmeasured = default("reference", "free_length", "length") / SQRT3
    if given.takeup is None:
        free, by = given.free_length.value, given.free_length.standard_uncertainty or unmeasured
    else:
        length, slope = place.posts.length(given.takeup.value, bent.value)
        free, by = float(length), float(slope) * (given.takeup.standard_uncertainty or 0.0) or unmeasured
    tension = given.initial_tension or Measured(0.0)
    return KnownSpring(
        name,
        Installed(Spring(f"reference {name}", given.rate.value, free, tension.value), place.posts, bent.value),
        (given.rate.standard_uncertainty or rate_limit * given.rate.value / SQRT3) / given.rate.value,
        float(np.hypot(by, bent.standard_uncertainty or 0.0)),
        tension.standard_uncertainty or 0.1 * tension.value,
    )


def _resistance(given: u.Drag, drag: Drag) -> tuple[Drag, Drag]:
    """Drag and friction while it was swept, and their standard uncertainties; what was not measured is one-sided."""
    spread = ranges()["drag"]["rubbing_block"]["limit"] * 1e-3 / SQRT3
    if given.trigger == "electronic":
        spread = 0.0
    elif given.rubbing_block is not None:
        spread = given.rubbing_block.standard_uncertainty or 0.25 * drag.rubbing_block / SQRT3
    elif given.breaker_spring is not None:
        spread = 0.35 * drag.rubbing_block / SQRT3  # a friction coefficient is hardly known to better than a third
    friction = _one_sided(given.friction, default("fit", "friction", "moment"))
    share = _one_sided(given.friction_share, default("fit", "friction_share", "number"))
    return Drag(drag.rubbing_block, friction[0], share[0]), Drag(spread, friction[1], share[1])


def _one_sided(given: Measured | None, spread: float) -> tuple[float, float]:
    """A friction as measured; otherwise mean and standard deviation of a half normal distribution about 0."""
    if given is not None:
        return given.value, given.standard_uncertainty or 0.3 * given.value
    return spread * float(np.sqrt(2 / np.pi)), spread * float(np.sqrt(1 - 2 / np.pi))
