"""The input of `recurve wind`: its options, the figures to wind to (from a plan or by hand), and the springs wound."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

from recurve.errors import InputError
from recurve.job.model import Job
from recurve.output.planfile import plan_folder, planned_unit
from recurve.physics.posts import PointPosts
from recurve.planner.wanted import WantedSprings, Which, wanted_of, wanted_springs
from recurve.springs.winding import Envelope, Wanted, Winding, wind
from recurve.springs.wire import materials, unknown_material, wire_sizes
from recurve.units import DIMENSIONS, PLACES, parse

# The dimension of each option, and whether it may be 0.
OPTIONS = {
    "rate": ("rate", False),
    "free_length": ("length", False),
    "initial_tension": ("force", True),
    "longest": ("length", False),
    "outer": ("length", False),
    "overall": ("length", False),
    "post": ("length", True),
    "tolerance": ("number", False),
}
LARGEST_TOLERANCE = 0.5


@dataclass(frozen=True)
class Given:
    """The options [SI], None if not given; `tolerance` [1]."""

    rate: float | None = None
    free_length: float | None = None
    initial_tension: float | None = None
    longest: float | None = None
    outer: float | None = None
    overall: float | None = None
    post: float | None = None
    tolerance: float = 0.1


def read_given(texts: dict[str, str | None]) -> Given:
    """Read the options as quantities. Raises InputError with a line for each fault."""
    faults: list[str] = []
    found = {name: _quantity(name, text, faults) for name, text in texts.items() if text is not None}
    if faults:
        raise InputError(faults)
    return Given(**{name: value for name, value in found.items() if value is not None})


def _quantity(name: str, text: str, faults: list[str]) -> float | None:
    dimension, zero = OPTIONS[name]
    option = f"--{name.replace('_', '-')}"
    try:
        value = parse(text, dimension).value
    except ValueError as fault:
        faults.append(f'{option}: got "{text}": {fault}')
        return None
    if value < 0 or (value == 0 and not zero):
        faults.append(f'{option}: got "{text}", expected {"0 or more" if zero else "more than 0"}')
    elif name == "tolerance" and value > LARGEST_TOLERANCE:
        faults.append(f'{option}: got "{text}", expected a share up to 50 %, such as "10 %"')
    elif dimension == "length" and value > 1.0:
        faults.append(f'{option}: got "{text}", expected at most 1 m, such as "12 {DIMENSIONS[dimension][1]}"')
    else:
        return value
    return None


def read_materials(names: Sequence[str]) -> tuple[str, ...]:
    """The materials named, or all if none is. Raises InputError for one that is not in the wire table."""
    known = tuple(materials())
    faults = [f"--material: {fault}" for fault in map(unknown_material, names) if fault is not None]
    if faults:
        raise InputError(faults)
    return tuple(n for n in known if n in names) if names else known


def wind_springs(
    job: Job,
    given: Given,
    which: tuple[str | None, Which | None],
    in_plane: bool,
    wires: tuple[Sequence[str], Sequence[str]],
) -> tuple[tuple[Winding, ...], str]:
    """The springs wound, and the source of their figures.

    `which`: a place, None for both, and "planned" or "ideal", None to let the plan decide; `in_plane`: whether the hooks
    must lie in one plane; `wires`: the series of sizes, and the materials. Raises InputError.
    """
    asked = _asked(job, given, *which)
    sizes = wire_sizes(*wires)
    if not len(sizes.diameter):
        raise InputError(
            f"--material: got {', '.join(wires[1])}, expected one that is sold by {' or '.join(wires[0])} sizes"
        )

    def tried(one: WantedSprings) -> tuple[Winding, ...]:
        springs = [w if given.post is None else replace(w, post=given.post) for w in one.springs]
        return tuple(wind(w, envelope_of(w, given, in_plane), sizes) for w in springs)

    found = tried(asked)
    if asked.otherwise is not None and not all(w.proposals for w in found):
        instead = tried(asked.otherwise)
        if all(w.proposals for w in instead):
            return instead, asked.otherwise.source
    return found, asked.source


def envelope_of(wanted: Wanted, given: Given, in_plane: bool) -> Envelope:
    """The limits that the spring must keep, from its own lengths where no option gives them."""
    thickest = 1.6e-3  # m, the largest preferred size of wire
    return Envelope(
        outer=wanted.rest / 2 if given.outer is None else given.outer,
        overall=wanted.longest + 2 * thickest if given.overall is None else given.overall,
        tolerance=given.tolerance,
        in_plane=in_plane,
    )


def _asked(job: Job, given: Given, place: str | None, which: Which | None) -> WantedSprings:
    """The springs asked for: by hand if a rate or length is given, else from the job's current plan, else from a new one."""
    if given.rate is not None or given.free_length is not None:
        return WantedSprings((_by_hand(job, given, place, which),), "figures given by hand")
    stray = [n for n in ("initial_tension", "longest") if getattr(given, n) is not None]
    if stray:
        options = " and ".join(f"--{n.replace('_', '-')}" for n in stray)
        raise InputError(f"{options}: got without --rate and --free-length, expected all figures of one spring")
    made = planned_unit(job) if which != "ideal" else None
    if made is not None:
        asked = WantedSprings(wanted_of(made), f"planned springs, as in {plan_folder(job.path).name}/plan.toml")
    else:
        asked = wanted_springs(job, which)
    if place is None:
        return asked
    if asked.springs and place not in {w.place for w in asked.springs}:
        raise InputError(f"--place: got {place}, expected {asked.springs[0].place}: no {place} spring is asked for")
    # An alternative plan would change the other spring too, so with one place there is no alternative.
    return WantedSprings(tuple(w for w in asked.springs if w.place == place), asked.source)


def _by_hand(job: Job, given: Given, place: str | None, which: Which | None) -> Wanted:
    """The figures of one spring given by hand; a missing length comes from the job's posts."""
    faults = []
    if place is None:
        faults.append("--place: missing, expected primary or secondary beside a spring's figures")
    elif PLACES.index(place) >= len(job.places):
        faults.append("--place: got secondary, expected primary: the job has one spring")
    if which is not None:
        faults.append(f"--springs: got {which} and figures by hand, expected one or the other")
    if given.rate is None or given.free_length is None:
        missing = "--rate" if given.rate is None else "--free-length"
        faults.append(f"{missing}: missing, expected both --rate and --free-length")
    if faults:
        raise InputError(faults)
    assert place is not None and given.rate is not None and given.free_length is not None  # said above
    posts = job.places[PLACES.index(place)].posts
    rest, full = (float(posts.length(a)[0]) for a in (0.0, job.stop.limits[1]))
    longest = full if given.longest is None else given.longest
    if longest <= given.free_length:
        raise InputError(
            f"--free-length: got {1e3 * given.free_length:.2f} mm, expected less than the {1e3 * longest:.2f} mm at full "
            "advance: the spring would never pull"
        )
    post = posts.diameter if isinstance(posts, PointPosts) else 0.0
    return Wanted(
        place,
        given.rate,
        rest,
        longest,
        free_length=given.free_length,
        initial_tension=given.initial_tension,
        post=post,
    )
