"""From the job file's models to the frozen types: points in one frame, parts, and what must be said of them.

Each function takes the part of the model that it needs, and adds to `faults` what is wrong there, with its key.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np

from recurve.data import default, ranges
from recurve.errors import Fault
from recurve.job import schema as m
from recurve.job import schema_unit as u
from recurve.job.agreement import spring_notes
from recurve.job.measured import (
    Frame,
    MeasuredDrag,
    MeasuredDrive,
    MeasuredPoint,
    MeasuredPosts,
    MeasuredSpring,
    MeasuredWeights,
    described,
)
from recurve.job.model import SpringPlace, Tolerances
from recurve.job.weighings import hung_of
from recurve.physics.curve import Stop
from recurve.physics.mechanism import Motion, RadiusTable, ReferenceSlope, UntoldMotion
from recurve.physics.posts import Body, BodyPoint, PointPosts, Posts, TablePosts, post_faults
from recurve.physics.reference import Reference
from recurve.uncertainty import drag_half_width
from recurve.units import SQRT3, Quantity

LEAST_TABLE = 0.8  # of the stop's advance that a table of radii must reach


# --- weights ----------------------------------------------------------------------------------------------


def build_weights(
    given: u.Weights, motion: MeasuredDrive | RadiusTable | Reference | ReferenceSlope
) -> MeasuredWeights:
    """The weights as measured, with their motion."""
    rows = given.correction
    correction = None if rows is None else (tuple(a.value for a in rows.advance), rows.factor)
    return MeasuredWeights(given.count, given.mass, motion, correction)


def build_motion(
    given: u.SlotMotion | u.LinkMotion | u.TableMotion, rotation: str, stop: Quantity, faults: list[Fault]
) -> MeasuredDrive | RadiusTable:
    """How the weights move; a table of radii must reach nearly to the `stop`."""
    if isinstance(given, u.TableMotion):
        return _table(given, stop.value, faults)
    key = ("weights", "motion")
    points = [
        _measured_point(given.pivot, given, (*key, "pivot"), faults),
        _measured_point(given.cg, given, (*key, "cg"), faults),
        _measured_point(given.pin, given, (*key, "pin"), faults),
    ]
    if isinstance(given, u.LinkMotion):
        points.append(_measured_point(given.cam, given, (*key, "cam"), faults))
    return MeasuredDrive(tuple(points), rotation == "clockwise")


def build_slope(given: u.SlopeMotion) -> ReferenceSlope:
    """I′ itself, its three coefficients known independently; a coefficient without a ± is taken for exact."""
    rows = (given.level, given.tilt, given.bow)
    by = [row.standard_uncertainty or 0.0 for row in rows]
    covariance = tuple(tuple(by[i] ** 2 if i == j else 0.0 for j in range(3)) for i in range(3))
    return ReferenceSlope(given.reach.value, tuple(row.value for row in rows), covariance)


def _measured_point(
    given: u.Place,
    motion: u.SlotMotion | u.LinkMotion | u.TableMotion | u.ReferenceMotion | u.SlopeMotion,
    key: tuple[str, ...],
    faults: list[Fault],
) -> MeasuredPoint:
    """A point polar or flat; a pivot is given by its radius alone, and its angle is where angles begin."""
    if given.polar is not None:
        return MeasuredPoint(given.polar, flat=False)
    assert given.xy is not None  # the model asks for one of the two
    if isinstance(motion, u.SlotMotion | u.LinkMotion) and motion.pivot.xy is None:
        faults.append(
            Fault(
                key,
                "got xy, but weights.motion.pivot is given by its radius alone, so the picture cannot be lined up; "
                "expected the pivot as xy too, or this point as an angle",
            )
        )
    return MeasuredPoint(given.xy, flat=True)


def _table(given: u.TableMotion, stop: float, faults: list[Fault]) -> RadiusTable:
    last = given.advance[-1].value
    if last < LEAST_TABLE * stop:
        faults.append(
            Fault(
                ("weights", "motion", "advance"),
                f"got a last advance of {np.degrees(last):.2f} deg, expected at least "
                f"80 % of the stop's {np.degrees(stop):.2f} deg, {np.degrees(LEAST_TABLE * stop):.2f} deg",
            )
        )
    rows = given.cg_radius
    half_widths = tuple(row.half_width or 0.05e-3 for row in rows)
    return RadiusTable(tuple(a.value for a in given.advance), tuple(r.value for r in rows), half_widths)


# --- stop and drag ----------------------------------------------------------------------------------------


def build_stop(given: u.Stop, faults: list[Fault]) -> Stop:
    """The stop, and how far it may be trimmed."""
    per_mm = 0.0
    if given.radius is not None:
        per_mm = 1.0 / given.radius.value
    elif given.per_mm is not None:
        per_mm = given.per_mm.value / 1e-3
    file, build = (0.0 if x is None else x.value for x in (given.file_up_to, given.build_up_to))
    stop = Stop(given.advance.value, per_mm, file, build)
    if stop.limits[0] <= 0:
        faults.append(
            Fault(
                ("stop", "build_up_to"),
                f"got {1e3 * build:.2f} mm, which would leave no advance at all; expected less than "
                f"{1e3 * stop.advance / per_mm:.2f} mm",
            )
        )
    return stop


def build_drag(given: u.FoundDrag, unit: u.Distributor, faults: list[Fault]) -> MeasuredDrag:
    """Drag of the rubbing block, as a moment, by its levers or assumed, and friction."""
    fitted = given.trigger_fitted if isinstance(given, u.Drag) else None
    rubs = "points" in (given.trigger, fitted)
    return MeasuredDrag(
        given.rubbing_block,
        _rubbing_block(given, unit, faults) if rubs else Quantity(0.0, 0.0),
        given.friction or Quantity(0.0, origin="assumed"),
        given.friction_share or Quantity(0.0, origin="assumed"),
    )


def _rubbing_block(given: u.FoundDrag, unit: u.Distributor, faults: list[Fault]) -> Quantity:
    """The drag with points, with its ± by how it was found where none is stated."""
    if given.rubbing_block is not None:
        value, stated = given.rubbing_block.value, given.rubbing_block.half_width
        return Quantity(value, drag_half_width(value, True, stated, False))
    if given.breaker_spring is not None:
        value = _drag_by_levers(given, unit, faults)
        return Quantity(value, drag_half_width(value, False, None, True))
    value = default("drag", "rubbing_block", "moment")
    return Quantity(value, drag_half_width(value, False, None, False), "assumed")


def _drag_by_levers(given: u.FoundDrag, unit: u.Distributor, faults: list[Fault]) -> float:
    """Block force × friction × cam radius, for the fraction of a turn that the points are open."""
    parts = (given.breaker_spring, given.contact_lever, given.block_lever, given.cam_radius)
    spring, contact, block, cam = (0.0 if x is None else x.value for x in parts)
    assert given.friction_coefficient is not None and given.dwell is not None  # the model asks for them
    pitch = 2 * np.pi / unit.lobes
    if given.dwell.value >= pitch:
        faults.append(
            Fault(
                ("drag", "dwell"),
                f"got {np.degrees(given.dwell.value):.1f} deg, expected less than the lobe pitch of "
                f"{np.degrees(pitch):.1f} deg",
            )
        )
    opened = 1.0 - given.dwell.value / pitch
    force = spring * contact / block
    return float(unit.breakers * force * given.friction_coefficient.value * cam * opened)


def drag_notes(drag: MeasuredDrag) -> list[str]:
    """What must be said of a drag that was assumed."""
    if drag.points.origin == "given":
        return []
    entry = ranges()["drag"]["rubbing_block"]
    return [
        f"The drag of the rubbing block is not given. It is taken as {entry['value']:g} ± {entry['limit']:g} mN·m "
        "at the cam. Measuring the breaker spring makes it surer."
    ]


# --- springs and posts ------------------------------------------------------------------------------------


@dataclass(frozen=True)
class Mounting:
    """What springs are mounted on: the `weights` as the file tells them, how they move, and the frame of their points."""

    weights: u.Weights
    motion: Motion
    frame: Frame


def mounting_of(weights: u.Weights, rotation: str, motion: MeasuredDrive | RadiusTable | None) -> Mounting:
    """The mounting on weights that move so; None where a sweep must tell I′ first."""
    frame = motion.frame if isinstance(motion, MeasuredDrive) else Frame(rotation == "clockwise", None)
    return Mounting(weights, UntoldMotion() if motion is None else described(motion), frame)


def build_places(
    springs: u.Springs, on: Mounting, reach: float, faults: list[Fault], notes: list[str]
) -> tuple[SpringPlace, ...]:
    """Where springs go, those that are known, up to the advance `reach` [rad]; `notes` gets what does not agree."""
    given = {"primary": springs.primary, "secondary": springs.secondary}
    return tuple(_place(name, g, on, reach, faults, notes) for name, g in given.items() if g is not None)


def build_springs(springs: u.Springs) -> tuple[MeasuredSpring, ...]:
    """The springs as found, as measured; one for each place."""
    return tuple(measured_spring(g) for g in (springs.primary, springs.secondary) if g is not None)


def measured_spring(given: u.PartialSpring) -> MeasuredSpring:
    """A spring as found, as measured."""
    return MeasuredSpring(
        rate=given.rate,
        free_length=given.free_length,
        takeup=given.takeup,
        initial_tension=given.initial_tension,
        pull_at_rest=given.pull_at_rest,
        hung=hung_of(given.weighings) if given.weighings else None,
        slack=None if given.at_rest is None else given.at_rest == "slack",
        over_posts=given.over_posts,
    )


def _place(
    name: str, given: u.SpringOnPosts, on: Mounting, reach: float, faults: list[Fault], notes: list[str]
) -> SpringPlace:
    found: list[Fault] = []
    placed = _posts(name, given, on, found)
    posts, spring = _as_it_stands(placed, given), measured_spring(given)
    travel = (0.0, 0.0) if given.post_travel is None else (given.post_travel[0].value, given.post_travel[1].value)
    if given.takeup is not None and given.takeup.value > reach:
        found.append(
            Fault(
                ("springs", name, "takeup"),
                f"got {np.degrees(given.takeup.value):.2f} deg, expected no more than the largest "
                f"stop of {np.degrees(reach):.2f} deg; for a spring that never takes up give free_length",
            )
        )
    wrong = post_faults(posts, reach, travel, ("springs", name))
    faults += [*found, *wrong]
    if wrong:
        return SpringPlace(posts, travel, None)
    notes += spring_notes(name, spring, (placed, _of_places(given, placed, on)), posts)
    return SpringPlace(posts, travel, spring.spring(f"as found {name}", posts))


def _as_it_stands(posts: Posts, given: u.SpringOnPosts) -> Posts:
    """The posts bent so that they measure at rest what the calliper said over them: it reads closer than places are found."""
    if given.over_posts is None:
        return posts
    return posts.bent(given.over_posts.value - float(posts.length(0.0)[0]))


def _posts(name: str, given: u.SpringOnPosts, on: Mounting, faults: list[Fault]) -> Posts:
    posts = given.posts
    if isinstance(posts, u.LengthTable):
        return TablePosts(tuple(a.value for a in posts.advance), tuple(x.value for x in posts.length))
    key = ("springs", name, "posts")
    anchor = _end(posts.anchor, (*key, "anchor"), on, faults)
    far = _end(posts.far, (*key, "far"), on, faults)
    if on.frame.pivot is None and (posts.anchor.xy is None) != (posts.far.xy is None):
        faults.append(Fault(key, "got one post as xy and one as an angle; expected both alike"))
    diameter = 0.0 if given.post_diameter is None else given.post_diameter.value
    return PointPosts(anchor, far, diameter, on.motion, on.weights.count)


def measured_posts(springs: u.Springs, on: Mounting) -> tuple[MeasuredPosts | None, ...]:
    """The posts of each place as measured; None where lengths tell them."""

    def one(given: u.SpringOnPosts) -> MeasuredPosts | None:
        if not isinstance(given.posts, u.PointPosts):
            return None
        anchor, far = (_measured_point(end, on.weights.motion, (), []) for end in (given.posts.anchor, given.posts.far))
        return MeasuredPosts(anchor, far, on.frame, given.post_diameter)

    return tuple(one(g) for g in (springs.primary, springs.secondary) if g is not None)


def build_reaches(springs: u.Springs, places: tuple[SpringPlace, ...], on: Mounting, stop: float) -> tuple[float, ...]:
    """By how much [1] each pair of posts may part faster or slower with advance, up to the `stop` [rad], than their places
    say: a standard uncertainty, by the ± of these places. 0 where they have none."""
    given = (springs.primary, springs.secondary)
    return tuple(_reach(g.posts, p.posts, on, stop) for g, p in zip(given, places, strict=False) if g is not None)


def _reach(given: u.AnyPosts, posts: Posts, on: Mounting, stop: float) -> float:
    if not isinstance(given, u.PointPosts) or not isinstance(posts, PointPosts):
        return 0.0
    ends = np.array([0.0, stop])
    grown = float(np.diff(posts.length(ends)[0])[0])
    effects = [float(np.diff(other.length(ends)[0])[0]) / grown - 1.0 for other in _displaced(given, posts, on)]
    return float(np.linalg.norm(effects)) if effects else 0.0


def _displaced(given: u.PointPosts, posts: PointPosts, on: Mounting) -> Iterator[PointPosts]:
    """The posts with each coordinate of theirs that has a ± moved in turn, by its standard uncertainty."""
    for name, told in (("anchor", given.anchor), ("far", given.far)):
        end: BodyPoint = getattr(posts, name)
        point = _measured_point(told, on.weights.motion, (), [])
        for moved in point.moved():
            # The place by the points, since the calliper over the posts may have moved the anchor.
            at = replace(end, position=end.position + moved.at(on.frame) - point.at(on.frame))
            yield replace(posts, anchor=at) if name == "anchor" else replace(posts, far=at)


def _of_places(given: u.SpringOnPosts, posts: Posts, on: Mounting) -> float:
    """Standard uncertainty [m] of the length over the posts at rest by their places: by their ± and that of their diameter,
    and not less than such lengths are found to."""
    least = default("posts", "place", "length") / SQRT3
    if not isinstance(given.posts, u.PointPosts) or not isinstance(posts, PointPosts):
        return least
    rest = float(posts.length(0.0)[0])
    effects = [float(other.length(0.0)[0]) - rest for other in _displaced(given.posts, posts, on)]
    diameter = None if given.post_diameter is None else given.post_diameter.standard_uncertainty
    return max(least, float(np.linalg.norm([*effects, diameter or 0.0])))


def _end(given: u.PostEnd, key: tuple[str, ...], on: Mounting, faults: list[Fault]) -> BodyPoint:
    body = _body(given, (*key, "on"), on, faults)
    return BodyPoint(body, _measured_point(given, on.weights.motion, key, faults).at(on.frame))


def _body(given: u.PostEnd, key: tuple[str, ...], on: Mounting, faults: list[Fault]) -> Body:
    """What a post stands on; something that does as well where the job is wrong."""
    if given.on == "cam":
        return "cam"
    if given.on == "base":
        return "base"
    body, count = int(given.on[7:] or 1), on.weights.count
    if body > count:
        faults.append(Fault(key, f'got "{given.on}", expected a weight from 1 to {count}'))
        body = 1
    if on.motion.pivot is not None:
        return body
    kind = on.weights.motion.kind
    by = "reference sweep" if kind == "reference" else kind
    faults.append(
        Fault(
            key,
            f'got "{given.on}" with weights.motion by {by}, which does not show how the weight turns; '
            'expected posts by table too, or weights.motion of kind "slot" or "link"',
        )
    )
    return "base"


# --- tolerances -------------------------------------------------------------------------------------------


def build_tolerances(given: m.BuildTable | None) -> Tolerances:
    """How exactly things are built: as the job says, else the usual."""
    told = given or m.BuildTable()

    def half_width(name: str, dimension: str) -> float:
        value: float | None = getattr(told, name)
        return default("build", name, dimension) if value is None else value

    return Tolerances(
        rate=half_width("rate", "number"),
        initial_tension=half_width("initial_tension", "force"),
        post=half_width("post", "length"),
        stop=half_width("stop", "length"),
        reading=half_width("reading", "angle"),
    )
