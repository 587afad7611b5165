"""Sweeps that a job names: readings in distributor terms, and a reference sweep, which tells I′ (recurve.physics, equation 14).

`build_reference` describes such a sweep, `weights_of` fits it.
"""

from __future__ import annotations

from dataclasses import replace
from posixpath import normpath

import numpy as np

from recurve.arrays import Array, Mask
from recurve.data import default
from recurve.errors import Fault, Key
from recurve.job import schema as m
from recurve.job import schema_unit as u
from recurve.job.build import build_drag, drag_notes, measured_spring
from recurve.job.measured import MeasuredDrag, MeasuredSpring, MeasuredWeights, described
from recurve.job.model import FileBasis, SpringPlace
from recurve.physics.curve import Drag, Installed
from recurve.physics.logged import gathered
from recurve.physics.mechanism import ReferenceSlope, Weights
from recurve.physics.reference import KnownSpring, Reference, fit_reference, reference_faults, reference_notes
from recurve.physics.reference_slips import ReferenceDoubt, reference_doubt
from recurve.physics.sweep import AsRead, Readings, Sweep
from recurve.uncertainty import UNSTATED_FRICTION
from recurve.units import PLACES, RPM, SQRT3, Quantity

FALLS = 3.0  # degrees; an advance that falls by more as speed rises is no distributor's
DOWNWARDS = 2.0  # degrees; what a zero can be off, and more


def basis_of(given: u.SweepReading, ratio: float) -> FileBasis:
    """What a sweep's figures count in; `ratio` [1] crank turns a distributor turn."""
    reading = default("sweep", "reading", "angle") if given.reading is None else given.reading
    speed = default("sweep", "speed_reading", "speed") if given.speed_reading is None else given.speed_reading
    return FileBasis(
        ratio if (given.speed_basis or given.basis) == "crank" else 1.0,
        ratio if (given.advance_basis or given.basis) == "crank" else 1.0,
        0.0 if given.static is None else given.static.value,
        reading,
        speed,
    )


def sweep_of(given: m.SweepTable | u.ReferenceMotion, ratio: float, readings: Readings) -> Sweep:
    """Readings in distributor terms, as the table says they were taken, a logger's taken together; `ratio` [1] crank turns a
    distributor turn."""
    basis = basis_of(given, ratio)
    sure = isinstance(given, m.SweepTable) and given.confirmed
    as_read = AsRead(given.speed_basis or given.basis, given.advance_basis or given.basis, ratio, basis.static, sure)
    sweep = Sweep(
        speed=readings.speed / basis.speed_ratio,
        advance=(readings.advance - basis.static) / basis.advance_ratio,
        rising=readings.rising,
        row=readings.row,
        file=given.sweep if isinstance(given, u.ReferenceMotion) else given.file,
        reading=basis.reading / basis.advance_ratio,
        speed_reading=basis.speed_reading / basis.speed_ratio,
        zeroed_at=None if given.zeroed_at is None else given.zeroed_at.value / basis.speed_ratio,
        static_known=as_read.advance != "crank" or given.static is not None,
        as_read=as_read,
    )
    return gathered(sweep)


def reading_faults(readings: Readings | None, shown: str) -> list[Fault]:
    """What no sweep can be, whatever it counts in: speed and advance exchanged, or advances counted downwards."""
    if readings is None or len(readings.speed) < 2:
        return []
    if np.median(np.abs(readings.advance)) > np.radians(100.0) and np.median(readings.speed) * RPM < 100.0:
        message = "got advances of hundreds of degrees at a few rpm, expected speed and advance the other way round"
        return [Fault(None, message, shown)]
    low, high = (float(np.degrees(x)) for x in (readings.advance.min(), readings.advance.max()))
    if low < -DOWNWARDS and high <= DOWNWARDS / 10:
        message = f"got advances from {low:.1f} to {high:.1f} deg, all below 0; expected advance counted upwards from 0"
        return [Fault(None, message, shown)]
    slow, fast = (np.degrees(np.median(readings.advance[rows])) for rows in _ends(readings.speed))
    if len(readings.speed) > 3 and fast < slow - FALLS:  # of fewer, one may be a slip
        told = f"got advances that fall from {slow:.1f} deg at low speed to {fast:.1f} deg at high speed"
        return [Fault(None, f"{told}, expected them to rise with speed: was the wheel read backwards?", shown)]
    return []


def _ends(speed: Array) -> tuple[Mask, Mask]:
    """The third of the readings (n,) [bool] with the lowest speeds [rad/s], and that with the highest."""
    low, high = np.quantile(speed, (1 / 3, 2 / 3))
    return speed <= low, speed >= high


def static_faults(given: u.SweepReading, key: Key, readings: Readings | None) -> list[Fault]:
    """A static timing that is larger than any reading that is said to include it; `key`: of the sweep's table."""
    if given.static is None or readings is None or (given.advance_basis or given.basis) != "crank":
        return []
    static, high = (float(np.degrees(x)) for x in (given.static.value, readings.advance.max()))
    if high >= static - DOWNWARDS:
        return []
    told = f"got {static:.1f} deg, more than any reading, the largest of which is {high:.1f} deg (crank)"
    return [Fault((*key, "static"), f"{told}; expected the static timing that the readings include")]


# --- a reference sweep ------------------------------------------------------------------------------------


def build_reference(
    model: m.JobModel,
    readings: Readings | None,
    places: tuple[SpringPlace, ...] | None,
    faults: list[Fault],
    notes: list[str],
) -> Reference | None:
    """The unit as it was in its reference sweep. None where something is wrong: with the sweep, which goes to `faults`; or
    with the job's stop or posts, where `places` is None."""
    motion = model.weights.motion
    assert isinstance(motion, u.ReferenceMotion)  # the caller has asked
    given, wrong = motion.drag or model.drag or u.Drag(), _spring_faults(model.springs, motion, places)
    wrong_drag: list[Fault] = []
    drag = build_drag(given, model.distributor, wrong_drag)
    if motion.drag is not None:
        wrong = [*(replace(f, key=("weights", "motion", *(f.key or ()))) for f in wrong_drag), *wrong]
        notes += [f"In the reference sweep: {text}" for text in drag_notes(drag)]
    faults += wrong
    if places is None or readings is None or wrong_drag or wrong:
        return None
    stop = motion.stop or model.stop.advance
    middle, spread = _resistance(drag, given.trigger)
    springs = [_known_spring(model, n, p) for n, p in zip(PLACES, places, strict=False)]
    reference = Reference(
        sweep_of(motion, model.distributor.speed_ratio, readings),
        tuple(s for s in springs if s is not None),
        middle,
        spread,
        stop.value,
        stop.standard_uncertainty or default("fit", "stop", "angle"),
        default("fit", "zero", "angle"),
    )
    unfit = [Fault(("weights", "motion"), f"{motion.sweep}: {text}") for text in reference_faults(reference)]
    faults += unfit
    return None if unfit else reference


def _spring_faults(
    springs: u.Springs, motion: u.ReferenceMotion, places: tuple[SpringPlace, ...] | None
) -> list[Fault]:
    """What is wrong with the springs that were in the unit in its reference sweep."""
    if motion.primary is not None:
        if motion.secondary is None or springs.secondary is not None:
            return []
        text = "got a spring without posts, expected them in [springs.secondary]"
        return [Fault(("weights", "motion", "secondary"), text)]
    return [
        Fault(
            ("springs", name),
            "got a reference sweep without the spring that was fitted, expected rate or weighings here, with "
            "free_length, takeup or pull_at_rest; or [weights.motion.primary]",
        )
        for name, place in zip(PLACES, places or (), strict=False)
        if place.found is None
    ]


def _known_spring(model: m.JobModel, name: str, place: SpringPlace) -> KnownSpring | None:
    """The spring that was in this place while it was swept, None where there was none."""
    motion = model.weights.motion
    assert isinstance(motion, u.ReferenceMotion)
    if motion.primary is None:
        return _described_spring(name, measured_spring(getattr(model.springs, name)), place)
    given: u.ReferenceSpring | None = getattr(motion, name)
    if given is None:
        return None
    bent = given.post_bend or Quantity(0.0)
    spring = MeasuredSpring(given.rate, given.free_length, given.takeup, given.initial_tension)
    found = spring.spring(f"reference {name}", place.posts.bent(bent.value))
    assert found is not None  # the model asks for its rate, and for where it begins to pull
    return _with_uncertainty(name, spring, Installed(found, place.posts, bent.value), bent.standard_uncertainty or 0.0)


def _described_spring(name: str, spring: MeasuredSpring, place: SpringPlace) -> KnownSpring:
    """The spring that [springs] describes, as known from all that is told of it."""
    assert place.found is not None  # `_spring_faults` has asked
    return _with_uncertainty(name, spring, Installed(place.found, place.posts), 0.0)


def _with_uncertainty(name: str, spring: MeasuredSpring, installed: Installed, of_post: float) -> KnownSpring:
    """A spring on its posts, with the standard uncertainties of rate [1], length [m] and tension [N]."""
    found, weighed = installed.spring, spring.weighed
    if spring.rate is None:
        assert weighed is not None  # nothing else tells a rate
        rate = weighed.rate_uncertainty / weighed.rate
    else:
        by_default = default("reference", "rate", "number") * spring.rate.value / SQRT3
        rate = (spring.rate.standard_uncertainty or by_default) / spring.rate.value
    tension = 0.1 * found.initial_tension
    if spring.initial_tension is not None and spring.initial_tension.standard_uncertainty:
        tension = spring.initial_tension.standard_uncertainty
    elif spring.initial_tension is None and weighed is not None and weighed.initial_tension_uncertainty is not None:
        tension = weighed.initial_tension_uncertainty
    return KnownSpring(name, installed, rate, float(np.hypot(_length_uncertainty(spring, installed), of_post)), tension)


def _length_uncertainty(spring: MeasuredSpring, installed: Installed) -> float:
    """Standard uncertainty [m] of the length at which a spring begins to pull, by whichever way it is known."""
    unmeasured = default("reference", "free_length", "length") / SQRT3
    if spring.free_length is not None:
        return spring.free_length.standard_uncertainty or unmeasured
    if spring.takeup is not None:
        slope = float(installed.length(spring.takeup.value)[1])
        return slope * (spring.takeup.standard_uncertainty or 0.0) or unmeasured
    if spring.hung is not None and spring.weighed is not None:
        return float(spring.hung.length_uncertainty.max())
    pull = spring.pull_at_rest
    assert pull is not None  # one of the ways
    return (pull.standard_uncertainty or default("fit", "pull_at_rest", "number") * pull.value) / installed.spring.rate


def _resistance(given: MeasuredDrag, trigger: str) -> tuple[Drag, Drag]:
    """Drag and friction while it was swept, and their standard uncertainties; what was not measured is one-sided."""
    block = 0.0 if trigger == "electronic" else given.points.standard_uncertainty or 0.0
    friction = _one_sided(given.friction, default("fit", "friction", "moment"))
    by_load = _one_sided(given.friction_share, default("fit", "friction_share", "number"))
    return Drag(given.drag(trigger).rubbing_block, friction[0], by_load[0]), Drag(block, friction[1], by_load[1])


def _one_sided(given: Quantity, spread: float) -> tuple[float, float]:
    """A friction as measured; an assumed one has mean and standard deviation of a half normal distribution about 0."""
    if given.origin == "given":
        return given.value, given.standard_uncertainty or UNSTATED_FRICTION * given.value
    return spread * float(np.sqrt(2 / np.pi)), spread * float(np.sqrt(1 - 2 / np.pi))


def weights_of(given: MeasuredWeights, reach: float) -> tuple[Weights, list[str], ReferenceDoubt | None]:
    """The weights as measured. Where a reference sweep tells I′, the sweep is fitted, and what must be said of it from rest
    to the advance `reach` [rad] comes with them, and what speaks against it."""
    if isinstance(given.motion, ReferenceSlope):
        return given.weights(given.motion), [], None
    if not isinstance(given.motion, Reference):
        return given.weights(described(given.motion)), [], None
    fit = fit_reference(given.motion)
    return given.weights(fit.slope), reference_notes(fit, reach), reference_doubt(fit)


def confirmed(model: m.JobModel | m.BareModel) -> list[str]:
    """What must be said of figures that are taken as they stand, however they look."""
    tables = {"target": model.target, "sweep": model.sweep}
    told = " and ".join(f"[{name}]" for name, table in tables.items() if table is not None and table.confirmed)
    return (
        [f"the figures of {told} are marked as confirmed: whether they are the crank's is not asked again"]
        if told
        else []
    )


def counted_twice(model: m.JobModel) -> list[str]:
    """What must be said of a sweep that is both: its readings are evidence once, not twice."""
    motion = model.weights.motion
    if not isinstance(motion, u.ReferenceMotion) or model.sweep is None:
        return []
    if normpath(model.sweep.file) != normpath(motion.sweep):
        return []
    return [
        f"{motion.sweep} is the reference sweep and the sweep of the unit as found. Its errors count twice, so the "
        "true ± is larger than shown below. Sweep the unit once more and name that file in [sweep]."
    ]
