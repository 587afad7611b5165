"""From the job file's models to the frozen types: one frame for all points, distributor terms, the physics' faults.

Readings of a sweep in distributor terms, as the job says that they were taken.

A job's weights known by a reference sweep: the springs that were in it to I′(α) (recurve.physics, equation 14).
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from posixpath import normpath
from typing import Any

import numpy as np

from recurve.data import default, ranges
from recurve.job import schema as m
from recurve.job import schema_unit as u
from recurve.job.build_inspection import build_target
from recurve.job.model import SpringPlace, Sweep, Tolerances
from recurve.physics.curve import Drag, Installed, Stop
from recurve.physics.mechanism import (
    CorrectedWeights,
    Link,
    Motion,
    RadialMotion,
    RadiusTable,
    ReferenceSlope,
    Slot,
    Weights,
    weight_faults,
)
from recurve.physics.posts import Body, BodyPoint, PointPosts, Posts, TablePosts, post_faults
from recurve.physics.reference import KnownSpring, Readings, Reference, fit_reference, reference_faults, reference_notes
from recurve.physics.target import Target
from recurve.springs.spring import Spring
from recurve.units import PLACES, SQRT3, Quantity, factor


@dataclass
class JobReader:
    """Collects what is wrong (`faults`, as (key, message)) and what must be said (`notes`); angles [rad]."""

    model: m.JobModel
    faults: list[tuple[tuple[str, ...], str]] = field(default_factory=list)
    notes: list[str] = field(default_factory=list)
    points_drag: float = 0.0

    # --- points -------------------------------------------------------------------------------------

    @property
    def pivot(self) -> complex | None:
        """The first weight's pivot [m] in the working frame, None for a table of radii or a reference sweep."""
        motion = self.model.weights.motion
        return self._pivot(motion.pivot) if isinstance(motion, u.SlotMotion | u.LinkMotion) else None

    def _pivot(self, given: u.Pivot) -> complex:
        if given.xy is not None:
            return self._flat(given.xy)
        assert given.radius is not None  # the model asks for one of the two
        return complex(given.radius.value, 0.0)

    def _flat(self, xy: tuple[Quantity, Quantity]) -> complex:
        """x right, y up from the rotor end; the frame counts angles in the direction of rotation."""
        x, y = xy[0].value, xy[1].value
        return complex(x, -y if self.model.distributor.rotation == "clockwise" else y)

    def point(self, given: u.Place, key: tuple[str, ...], centre: complex = 0j) -> complex:
        """A point [m] given polar from the shaft or from `centre`, or flat from the shaft."""
        motion = self.model.weights.motion
        if given.xy is not None:
            if isinstance(motion, u.SlotMotion | u.LinkMotion) and motion.pivot.xy is None:
                self.faults.append(
                    (
                        key,
                        "got xy, but the pivot is given by its radius alone, so how the picture lies is not told; "
                        "expected weights.motion.pivot as xy too, or this point as an angle",
                    )
                )
            return self._flat(given.xy)
        reach = given.distance or given.radius
        assert reach is not None and given.angle is not None  # the model asks for both
        zero = 0.0 if self.pivot is None else float(np.angle(self.pivot))
        return centre + reach.value * complex(np.exp(1j * (given.angle.value + zero)))

    # --- parts --------------------------------------------------------------------------------------

    def weights(self, swept: ReferenceSlope | None = None) -> Weights:
        """The weights; `swept` is what their reference sweep says, where they are given by one."""
        given = self.model.weights
        mass = None if given.mass is None else given.mass.value
        if isinstance(given.motion, u.ReferenceMotion):
            assert swept is not None  # whoever reads the sweep hands it in
            motion: RadialMotion | ReferenceSlope = swept
        else:
            motion = self._motion(given.motion)
        if given.correction is None:
            return Weights(given.count, mass, motion)
        rows = given.correction
        advance = tuple(a.value for a in rows.advance)
        return CorrectedWeights(given.count, mass, motion, advance, rows.factor)

    def _motion(self, given: u.SlotMotion | u.LinkMotion | u.TableMotion) -> RadialMotion:
        key = ("weights", "motion")
        if isinstance(given, u.TableMotion):
            return self._table(given)
        pivot = self._pivot(given.pivot)
        cg = self.point(given.cg, (*key, "cg"), pivot)
        pin = self.point(given.pin, (*key, "pin"), pivot)
        if isinstance(given, u.SlotMotion):
            return Slot(pivot, cg, pin)
        return Link(pivot, cg, pin, self.point(given.cam, (*key, "cam")))

    def _table(self, given: u.TableMotion) -> RadiusTable:
        last, stop = given.advance[-1].value, self.model.stop.advance.value
        if last < 0.8 * stop:
            self.faults.append(
                (
                    ("weights", "motion", "advance"),
                    f"got a last advance of {np.degrees(last):.2f} deg, expected at least "
                    f"80 % of the stop's {np.degrees(stop):.2f} deg, {np.degrees(0.8 * stop):.2f} deg",
                )
            )
        rows = given.cg_radius
        limits = tuple(0.05e-3 if row.half_width is None or row.half_width == 0 else row.half_width for row in rows)
        return RadiusTable(tuple(a.value for a in given.advance), tuple(r.value for r in rows), limits)

    def stop(self) -> Stop:
        """The stop, and how far it may be trimmed."""
        given = self.model.stop
        per_mm = 0.0
        if given.radius is not None:
            per_mm = 1.0 / given.radius.value
        elif given.per_mm is not None:
            per_mm = given.per_mm.value / 1e-3
        file, build = (0.0 if x is None else x.value for x in (given.file_up_to, given.build_up_to))
        stop = Stop(given.advance.value, per_mm, file, build)
        if stop.limits[0] <= 0:
            self.faults.append(
                (
                    ("stop", "build_up_to"),
                    f"got {1e3 * build:.2f} mm, which would leave no advance at all; expected less than "
                    f"{1e3 * stop.advance / per_mm:.2f} mm",
                )
            )
        return stop

    def drag(self) -> Drag:
        """Drag of the rubbing block, by itself or by its levers, and friction."""
        given = self.model.drag or u.Drag()
        friction = 0.0 if given.friction is None else given.friction.value
        share = 0.0 if given.friction_share is None else given.friction_share.value
        fitted = given.trigger_fitted or given.trigger
        self.points_drag = self._rubbing_block(given) if "points" in (given.trigger, fitted) else 0.0
        return Drag(0.0 if given.trigger == "electronic" else self.points_drag, friction, share)

    def _rubbing_block(self, given: u.Drag) -> float:
        if given.rubbing_block is not None:
            return given.rubbing_block.value
        if given.breaker_spring is None:
            entry = ranges()["drag"]["rubbing_block"]
            self.notes.append(
                f"The rubbing block's drag is not given: taken as {entry['value']:g} ± {entry['limit']:g} mN·m at the "
                "distributor cam. Measure the breaker-arm spring to do better."
            )
            return default("drag", "rubbing_block", "moment")
        return self._drag_by_levers(given)

    def _drag_by_levers(self, given: u.Drag) -> float:
        """Block force × friction × cam radius × part of a turn with points open (recurve.physics, equation 4)."""
        parts = (given.breaker_spring, given.contact_lever, given.block_lever, given.cam_radius)
        spring, contact, block, cam = (0.0 if x is None else x.value for x in parts)
        assert given.friction_coefficient is not None and given.dwell is not None  # the model asks for them
        pitch = 2 * np.pi / self.model.distributor.lobes
        if given.dwell.value >= pitch:
            self.faults.append(
                (
                    ("drag", "dwell"),
                    f"got {np.degrees(given.dwell.value):.1f} deg, expected less than the lobe pitch of "
                    f"{np.degrees(pitch):.1f} deg",
                )
            )
        opened = 1.0 - given.dwell.value / pitch
        force = spring * contact / block
        return float(self.model.distributor.breakers * force * given.friction_coefficient.value * cam * opened)

    def places(self, motion: Motion, reach: float) -> tuple[SpringPlace, ...]:
        """Where springs go, those that are described, up to the advance `reach` [rad]."""
        springs = self.model.springs
        given = {"primary": springs.primary, "secondary": springs.secondary}
        return tuple(self._place(name, g, motion, reach) for name, g in given.items() if g is not None)

    def _place(self, name: str, given: u.SpringOnPosts, motion: Motion, reach: float) -> SpringPlace:
        posts = self._posts(name, given, motion)
        travel = (0.0, 0.0) if given.post_travel is None else (given.post_travel[0].value, given.post_travel[1].value)
        self._found_faults(name, given, reach)
        before = len(self.faults)
        self.faults += [(("springs", name), text) for text in post_faults(posts, reach, travel, f"springs.{name}")]
        found = None if len(self.faults) > before or not given.described else self._found(name, given, posts)
        return SpringPlace(posts, travel, found)

    def _found_faults(self, name: str, given: u.SpringOnPosts, reach: float) -> None:
        if given.takeup is not None and given.takeup.value > reach:
            self.faults.append(
                (
                    ("springs", name, "takeup"),
                    f"got {np.degrees(given.takeup.value):.2f} deg, expected no more than the largest "
                    f"stop of {np.degrees(reach):.2f} deg; for a spring that never takes up give free_length",
                )
            )

    def _found(self, name: str, given: u.SpringOnPosts, posts: Posts) -> Spring:
        assert given.rate is not None  # `described` says so
        if given.free_length is not None:
            free = given.free_length.value
        else:
            assert given.takeup is not None
            free = float(posts.length(given.takeup.value)[0])
        tension = 0.0 if given.initial_tension is None else given.initial_tension.value
        return Spring(f"as found {name}", given.rate.value, free, tension, quantity=1)

    def _posts(self, name: str, given: u.SpringOnPosts, motion: Motion) -> Posts:
        posts = given.posts
        if isinstance(posts, u.LengthTable):
            return TablePosts(tuple(a.value for a in posts.advance), tuple(x.value for x in posts.length))
        ends = [self._end(name, which, getattr(posts, which), motion) for which in ("anchor", "far")]
        if self.pivot is None and (posts.anchor.xy is None) != (posts.far.xy is None):
            self.faults.append(
                (("springs", name, "posts"), "got one post as xy and one as an angle; expected both alike")
            )
        diameter = 0.0 if given.post_diameter is None else given.post_diameter.value
        return PointPosts(ends[0], ends[1], diameter, motion, self.model.weights.count)

    def _end(self, name: str, which: str, given: u.PostEnd, motion: Motion) -> BodyPoint:
        key = ("springs", name, "posts", which)
        body: Body = "base"
        if given.on == "cam":
            body = "cam"
        elif given.on.startswith("weight"):
            body = int(given.on[7:] or 1)
            if body > self.model.weights.count:
                self.faults.append(
                    ((*key, "on"), f'got "{given.on}", expected a weight from 1 to {self.model.weights.count}')
                )
                body = 1
            if motion.pivot is None:
                self.faults.append(
                    (
                        (*key, "on"),
                        f'got "{given.on}" with weights.motion by {self._by}, which does not tell how the weight turns; '
                        'expected posts by table too, or weights.motion of kind "slot" or "link"',
                    )
                )
                body = "base"
        return BodyPoint(body, self.point(given, key))

    def tolerances(self) -> Tolerances:
        """How exactly things are built: as the job says, else the usual."""
        given = self.model.build or m.BuildTable()
        dimensions = {
            "rate": "number",
            "initial_tension": "force",
            "post": "length",
            "stop": "length",
            "reading": "angle",
        }
        values = {}
        for name, dimension in dimensions.items():
            value = getattr(given, name)
            values[name] = default("build", name, dimension) if value is None else value
        return Tolerances(**values)

    @property
    def _by(self) -> str:
        """How a motion without a pivot is given."""
        return "table" if isinstance(self.model.weights.motion, u.TableMotion) else "reference sweep"

    # --- target -------------------------------------------------------------------------------------

    def target(self) -> Target | None:
        """The bands, None where the job has none."""
        return build_target(self.model.target, self.model.distributor.speed_ratio, self.faults)

    # --- what must be said ----------------------------------------------------------------------------

    def physics(self, weights: Weights, stop: Stop) -> None:
        """Faults of the weights' motion up to the largest stop."""
        self.faults += [(("weights", "motion"), text) for text in weight_faults(weights.motion, stop.limits[1])]

    def plausible(self, weights: Weights, stop: Stop, places: tuple[SpringPlace, ...]) -> None:
        """Notes on numbers outside the trade's ranges; nothing is refused for them."""
        if weights.mass is not None:
            self._range("mass", weights.mass, "mass")
        if not isinstance(weights.motion, ReferenceSlope):
            self._range("cg_radius", float(weights.motion.radius(0.0)[0]), "length")
        self._range("stop" if self.model.distributor.speed_ratio > 1 else "stop_crank", stop.advance, "angle")
        if self.model.stop.radius is not None:
            self._range("stop_radius", self.model.stop.radius.value, "length")
        for name, place in zip(PLACES, places, strict=False):
            if place.found is not None:
                self._range(f"{name}_rate", place.found.rate, "rate")

    def _range(self, name: str, value: float, dimension: str) -> None:
        entry = ranges()["range"][name]
        shown = value / factor(entry["unit"], dimension)
        if not entry["low"] <= shown <= entry["high"]:
            self.notes.append(
                f"The {entry['name']} is {shown:.3g} {entry['unit']}, outside the usual {entry['low']:g} to {entry['high']:g} "
                f"{entry['unit']}: check the number and its unit."
            )


def limits_of(model: Any, key: str = "") -> dict[str, float]:
    """Every ± of the job [SI] by its dotted key, rows counted from 1."""
    if isinstance(model, Quantity):
        return {} if model.half_width is None else {key: model.half_width}
    if isinstance(model, tuple | list):
        pairs = [(f"{key}[{i}]", value) for i, value in enumerate(model, 1)]
    elif isinstance(model, u.Table):
        pairs = [(f"{key}.{name}" if key else name, getattr(model, name)) for name in type(model).model_fields]
    else:
        return {}
    return {k: v for name, value in pairs for k, v in limits_of(value, name).items()}


def sweep_of(given: m.SweepTable | u.ReferenceMotion, ratio: float, readings: Readings) -> Sweep:
    """Readings in distributor terms, as the table says they were taken; `ratio` [1] crank turns a distributor turn."""
    speed_ratio = ratio if (given.speed_basis or given.basis) == "crank" else 1.0
    crank = (given.advance_basis or given.basis) == "crank"
    advance_ratio = ratio if crank else 1.0
    static = 0.0 if given.static is None else given.static.value
    reading = given.reading if given.reading is not None else default("sweep", "reading", "angle")
    speed_reading = (
        given.speed_reading if given.speed_reading is not None else default("sweep", "speed_reading", "speed")
    )
    return Sweep(
        given.sweep if isinstance(given, u.ReferenceMotion) else given.file,
        readings.speed / speed_ratio,
        (readings.advance - static) / advance_ratio,
        readings.rising,
        readings.row,
        reading / advance_ratio,
        speed_reading / speed_ratio,
        None if given.zeroed_at is None else given.zeroed_at.value / speed_ratio,
        static_known=not crank or given.static is not None,
    )


def swapped_columns(readings: Readings | None, shown: str) -> list[str]:
    """The fault of a sweep whose speed and advance have changed places: degrees no unit has, at a crawl."""
    if readings is None or len(readings.speed) < 2:
        return []
    if np.median(np.abs(readings.advance)) > np.radians(100.0) and np.median(readings.speed) * 30 / np.pi < 100.0:
        return [
            f"{shown}: got advances of hundreds of degrees at a few rpm, expected speed and advance the other way round"
        ]
    return []


def weights_of(build: JobReader, readings: Readings | None) -> Weights:
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
    build: JobReader, motion: u.ReferenceMotion, readings: Readings | None, flat: ReferenceSlope
) -> Reference | None:
    """The unit as it was in its reference sweep; None where something else in the job is wrong, which is told there."""
    table = motion.drag or build.model.drag or u.Drag()
    then = JobReader(build.model.model_copy(update={"drag": table}))
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


def _reference_spring_faults(build: JobReader, motion: u.ReferenceMotion) -> None:
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
    bent = getattr(given, "post_bend", None) or Quantity(0.0)
    rate_limit = default("reference", "rate", "number")
    unmeasured = default("reference", "free_length", "length") / SQRT3
    if given.takeup is None:
        free, by = given.free_length.value, given.free_length.standard_uncertainty or unmeasured
    else:
        length, slope = place.posts.length(given.takeup.value, bent.value)
        free, by = float(length), float(slope) * (given.takeup.standard_uncertainty or 0.0) or unmeasured
    tension = given.initial_tension or Quantity(0.0)
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


def _one_sided(given: Quantity | None, spread: float) -> tuple[float, float]:
    """A friction as measured; otherwise mean and standard deviation of a half normal distribution about 0."""
    if given is not None:
        return given.value, given.standard_uncertainty or 0.3 * given.value
    return spread * float(np.sqrt(2 / np.pi)), spread * float(np.sqrt(1 - 2 / np.pi))
