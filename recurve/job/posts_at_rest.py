"""The length over the posts at rest where nobody measured it on the unit: by the places of posts that a type gives."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from typing import Any

from recurve.data import default
from recurve.errors import Key
from recurve.job.measured import MeasuredPosts
from recurve.job.model import Job
from recurve.units import PLACES, SQRT3, Quantity

SQRT2 = 2.0**0.5
IN_WORDS = ("kind", "on")  # keys of posts that are no measurements


@dataclass(frozen=True)
class LengthByType:
    """A `length` [m] over the posts at rest that only the type tells, with its `standard_uncertainty` [m]."""

    length: float
    standard_uncertainty: float


def lengths_by_type(job: Job) -> tuple[LengthByType | None, ...]:
    """The length over the posts of each place, by the type; None where it was measured on this unit: by a calliper over the
    posts, or by places of posts that the job states itself."""
    return tuple(_length(job, i, name) for i, name in enumerate(PLACES[: len(job.places)]))


def _length(job: Job, index: int, name: str) -> LengthByType | None:
    if job.measured.springs[index].over_posts is not None or not _of_type(job, name):
        return None
    length = float(job.places[index].posts.length(0.0)[0])
    posts = job.measured.posts[index]
    off = _off_table(job, name) if posts is None else sum(x**2 for x in _offs(posts)) ** 0.5
    return LengthByType(length, off)


def _of_type(job: Job, name: str) -> bool:
    """Whether anything that tells the length at rest is the type's."""
    if job.kind is None:
        return False
    key: Key = ("springs", name)
    if any(k[:3] == (*key, "posts") or k == (*key, "post_diameter") for k in job.kind.taken):
        return True
    # What the type's file states as a job does is not among what was learned.
    own, given = ((d.get("springs", {}).get(name) or {}).get("posts") for d in (job.document, job.kind.document))
    return any(_alike(own, given))


def _alike(own: Any, given: Any) -> Iterator[bool]:
    """Whether figures of the posts are those of the type, each."""
    if isinstance(own, dict) and isinstance(given, dict):
        for key in (k for k in own if k in given and k not in IN_WORDS):
            yield from _alike(own[key], given[key])
    else:
        yield own is not None and own == given


def _offs(posts: MeasuredPosts) -> Iterator[float]:
    """How far [m] the length moves by the standard uncertainty of each figure."""
    usual = default("posts", "place", "length") / SQRT2  # of each end, so that both make the usual ± of the length

    def span(one: MeasuredPosts) -> float:
        return abs(one.anchor.at(one.frame) - one.far.at(one.frame))

    def stated(given: Quantity, by: float) -> Quantity:
        return given if given.standard_uncertainty is not None else replace(given, half_width=by)

    length = span(posts)
    for end in ("anchor", "far"):
        point = posts.anchor if end == "anchor" else posts.far
        first, second = point.coordinates
        turned = usual if point.flat else usual / max(abs(first.value), usual)
        known = replace(point, coordinates=(stated(first, usual), stated(second, turned)))
        for moved in known.moved():
            yield span(replace(posts, anchor=moved) if end == "anchor" else replace(posts, far=moved)) - length
    if posts.diameter is not None:
        yield posts.diameter.standard_uncertainty or 0.0


def _off_table(job: Job, name: str) -> float:
    """The standard uncertainty [m] of the first length of a table."""
    spring = job.model.springs.primary if name == "primary" else job.model.springs.secondary
    first = None if spring is None or spring.posts.kind != "table" else spring.posts.length[0].standard_uncertainty
    return first or default("posts", "place", "length") / SQRT3
