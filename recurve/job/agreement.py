"""Whether the facts that a job states of one spring agree: each says where, or how hard, the same spring pulls.

All of them are used. Where two lie farther apart than their ± allow, the slip that would explain it is named, since a
wrong figure is likelier than a spring that contradicts itself.
"""

from __future__ import annotations

from math import hypot

import numpy as np

from recurve.data import default
from recurve.job.measured import MeasuredSpring
from recurve.physics.posts import Posts
from recurve.units import SQRT3

SURELY = 2.0  # combined standard uncertainties beyond which two figures disagree


def spring_notes(name: str, spring: MeasuredSpring, placed: tuple[Posts, float], stands: Posts) -> list[str]:
    """What must be said of a spring whose facts disagree; its posts as `placed` by their points or table, with the standard
    uncertainty [m] of the length that these make at rest, and as it `stands` by the calliper over them."""
    of_posts = _of_posts(spring, placed[1])
    return [
        *_over_posts(name, spring, *placed),
        *_takeup(name, spring, stands, of_posts),
        *_rate(name, spring),
        *_pull(name, spring, stands, of_posts),
    ]


def _over_posts(name: str, spring: MeasuredSpring, placed: Posts, of_places: float) -> list[str]:
    if spring.over_posts is None:
        return []
    measured, by_places = spring.over_posts.value, float(placed.length(0.0)[0])
    apart = measured - by_places
    allowed = SURELY * hypot(_of_posts(spring, of_places), of_places)
    if abs(apart) <= allowed:
        return []
    return [
        f"The {name} posts: the calliper reads {1e3 * measured:.2f} mm over both. By their places it is "
        f"{1e3 * by_places:.2f} mm, which is {1e3 * abs(apart):.2f} mm {'less' if apart > 0 else 'more'}. The "
        "calliper is used. Check whether the post was bent after its place was taken, whether post_diameter is "
        "right, and whether the length was measured between centres."
    ]


def _takeup(name: str, spring: MeasuredSpring, posts: Posts, of_posts: float) -> list[str]:
    """A take-up by degree wheel against the free length."""
    if spring.takeup is None or spring.free_length is None:
        return []
    at, free = spring.takeup.value, spring.free_length.value
    length, lever = (float(x) for x in posts.length(at))
    apart = length - free
    spread = hypot(
        (spring.free_length.standard_uncertainty or default("fit", "free_length", "length")),
        abs(lever) * (spring.takeup.standard_uncertainty or default("fit", "takeup", "angle")),
        of_posts,
    )
    # A spring that pulls from rest is shorter than its posts: by how much, a take-up of 0 does not say.
    if at == 0.0 and apart >= 0.0:
        return []
    if abs(apart) <= SURELY * spread:
        return []
    slip = (
        "they would agree if the free length were that much longer: was it measured between centres?"
        if apart > 0
        else (
            "they would agree if the free length were that much shorter: was it measured over the outside of the "
            "hooks, or the length over the posts between centres?"
        )
    )
    return [
        f"The {name} spring: take-up and free length contradict each other. A take-up of {np.degrees(at):.1f}° "
        f"(distributor) means {1e3 * length:.2f} mm inside the hooks; free_length is {1e3 * free:.2f} mm. Both are "
        f"used until one is corrected; {slip}"
    ]


def _of_posts(spring: MeasuredSpring, of_places: float) -> float:
    """Standard uncertainty [m] of the length over the posts: the calliper's, else `of_places` [m], by their places."""
    over = spring.over_posts
    if over is None:
        return of_places
    return over.standard_uncertainty or default("posts", "over", "length") / SQRT3


def _rate(name: str, spring: MeasuredSpring) -> list[str]:
    """The rate stated against the weights hung on it."""
    weighed = spring.weighed
    if spring.rate is None or weighed is None:
        return []
    stated = spring.rate.standard_uncertainty or default("fit", "rate", "number") * spring.rate.value
    apart = spring.rate.value - weighed.rate
    if abs(apart) <= SURELY * hypot(stated, weighed.rate_uncertainty):
        return []
    return [
        f"The {name} spring: its rate is given as {spring.rate.value / 1e3:.2f} N/mm, but its weighings give "
        f"{weighed.rate / 1e3:.2f} ± {2 * weighed.rate_uncertainty / 1e3:.2f} N/mm. Both are used until one is "
        "corrected: weigh the spring again."
    ]


def _pull(name: str, spring: MeasuredSpring, posts: Posts, of_posts: float) -> list[str]:
    """The pull at rest, or slack, against the spring's own length and rate."""
    rest = float(posts.length(0.0)[0])
    free = spring.free_length
    if spring.slack is not None and free is not None:
        off = SURELY * hypot(free.standard_uncertainty or default("fit", "free_length", "length"), of_posts)
        if spring.slack and rest - free.value > off:
            return [_at_rest_words(name, "hangs slack", rest, free.value, "shorter")]
        if not spring.slack and free.value - rest > off:
            return [_at_rest_words(name, "pulls", rest, free.value, "longer")]
    return []


def _at_rest_words(name: str, does: str, rest: float, free: float, which: str) -> str:
    return (
        f"The {name} spring {does} at rest, yet its free_length of {1e3 * free:.2f} mm is {which} than the "
        f"{1e3 * rest:.2f} mm over its posts. Check the free length (inside the hooks), post_diameter and the "
        "places of the posts."
    )
