"""What to move on a finished unit, as fitted, so that it meets its bands."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass, replace
from itertools import combinations, islice

import numpy as np

from recurve.arrays import Array
from recurve.job.model import Job, SpringPlace
from recurve.physics.curve import ROUNDING, speed_squared
from recurve.physics.ensemble import Curves
from recurve.planner.build import Build, make_build
from recurve.springs.spring import tension
from recurve.units import PLACES

TRIAL_POINTS = 401  # of a trial curve
POST_STEP = 0.05e-3  # a post cannot be set finer [m]
COARSE = 41  # settings of a post that are tried at first, and of the stop: every one within ± 1 mm
NEAR = 4  # how many coarse steps about the best one the fine ones reach
EASE = 1e-5  # margin that must be gained for each POST_STEP of movement
TRIES = 10  # settings that the exact curve may reject as snapping
ENOUGH_MARGIN = 0.5  # margin at which no further move is worth making
GAIN = 0.02  # margin that a move must gain to be worth making at all
MORE_GAIN = 0.1  # margin that more moves must gain over fewer
FAIR, FAR = 0.2, 0.15  # a margin that fewer moves must reach, and how far they may stay behind, to be preferred


@dataclass(frozen=True)
class Move:
    """One move: `what` ("primary post", "secondary post", "stop") moves `by` so much [m] (a post out, or the stop built up,
    is positive), so that the length over the posts is `to` [m], None for the stop; in `words`."""

    what: str
    by: float
    to: float | None
    words: str


@dataclass(frozen=True)
class Correction:
    """The moves to make, and the `margin` [1] predicted after them."""

    moves: tuple[Move, ...]
    margin: float


def find_correction(unit: Job) -> Correction | None:
    """What to move on a finished unit, as fitted, so that it meets its bands: the fewest moves that help enough.

    Corrections are tried with the fewest moves first: one post before both posts, then the stop alone, then the stop with
    one post and with both. Posts stay within their travel and are set in steps of POST_STEP [m]; the stop stays within its
    limits. The weights may snap in none of them. `fewest_moves` chooses among them by the margin that each reaches at best.
    None if none of them brings the margin to 0 or more.
    """
    now = _set(unit, (0.0,) * len(unit.places), unit.stop.advance)
    before = -np.inf if now.curve.snaps else now.margin
    places = range(len(unit.places))
    choices = [(moved, False) for count in (1, 2) for moved in combinations(places, count)]
    if unit.stop.limits[0] < unit.stop.limits[1]:
        choices += [((), True), *((moved, True) for moved, _ in choices)]
    tried: list[Build | None] = []

    def margins() -> Iterator[float]:
        """The best margin of each choice, worked out only as far as `fewest_moves` asks."""
        for moved, trims in choices:
            build = _best_move(unit, moved, trims)
            tried.append(build)
            yield -np.inf if build is None else build.margin

    chosen = fewest_moves(margins(), before)
    build = None if chosen is None else tried[chosen]
    if chosen is None or build is None:
        return None
    return Correction(_moves(unit, build, *choices[chosen]), build.margin)


def fewest_moves(margins: Iterable[float], before: float) -> int | None:
    """Which correction to make, as its place in the order of `margins` [1], which has the fewest moves first; None for
    none. `before` is the margin [1] without any.

    - A correction that gains no more than GAIN over `before` is passed over.
    - More moves replace fewer ones only for a margin that is more than MORE_GAIN larger.
    - The first correction that reaches ENOUGH_MARGIN ends the choice, and no later one is looked at. It is taken, unless the best
      of the earlier ones reaches FAIR and is within FAR of it: then the earlier one is taken, for its fewer moves.
    - If none reaches ENOUGH_MARGIN, the best is taken, provided that its margin is not negative.
    """
    best: tuple[int, float] | None = None
    for place, margin in enumerate(margins):
        if margin <= before + GAIN:
            continue
        if margin >= ENOUGH_MARGIN:
            return place if best is None or best[1] < max(margin - FAR, FAIR) else best[0]
        if best is None or margin > best[1] + MORE_GAIN:
            best = (place, margin)
    return None if best is None or best[1] < 0 else best[0]


def _best_move(unit: Job, moved: tuple[int, ...], trims: bool) -> Build | None:
    """The best build without a snap with the posts `moved` free within their travel, and the stop free if it `trims`; None
    if there is no room to move, or if every setting snaps.

    All settings are searched jointly, since two posts may have to move together: every one of a coarse grid, then every
    one near the best of these. Of equal settings those that move least are taken.
    """
    posts = tuple(_settings(p.travel) if i in moved else np.zeros(1) for i, p in enumerate(unit.places))
    low, high = unit.stop.limits if trims else (unit.stop.advance,) * 2
    if any(len(posts[i]) < 2 for i in moved) or (trims and high - low < 1e-9):
        return None
    strides = [(len(p) - 1) // COARSE + 1 for p in posts]
    coarse = (*(p[::n] for p, n in zip(posts, strides, strict=True)), np.linspace(low, high, COARSE if trims else 1))
    *bends, stop = next(_best_first(unit, coarse))
    near = [p[abs(p - b) < (NEAR * n + 0.5) * POST_STEP] for p, b, n in zip(posts, bends, strides, strict=True)]
    width = (high - low) / (COARSE - 1)
    stops = np.linspace(max(stop - width, low), min(stop + width, high), COARSE if trims else 1)
    for *bends, stop in islice(_best_first(unit, (*near, stops)), TRIES):
        build = _set(unit, tuple(bends), stop)
        if not build.curve.snaps:
            return build
    return None


def _settings(travel: tuple[float, float]) -> Array:
    """The bends (n,) [m] to which a post can be set within its travel [m], in steps of POST_STEP."""
    inner, outer = (travel[0] / POST_STEP, travel[1] / POST_STEP)
    return np.arange(np.ceil(inner - 1e-6), np.floor(outer + 1e-6) + 1) * POST_STEP


def _best_first(unit: Job, grid: tuple[Array, ...]) -> Iterator[tuple[float, ...]]:
    """The settings of a grid, bends [m] of all posts and then stops [rad], from the best margin down."""
    margin = _margins(unit, grid[:-1], grid[-1])
    *posts, stops = np.meshgrid(*grid, indexing="ij")
    trim = (stops - unit.stop.advance) / (unit.stop.per_mm or 1.0)
    effort = sum((abs(x) for x in (*posts, trim)), np.zeros(margin.shape)) / POST_STEP
    order = np.argsort(-(margin - EASE * effort), axis=None, kind="stable")
    for at in zip(*np.unravel_index(order, margin.shape), strict=True):
        yield tuple(float(values[i]) for values, i in zip(grid, at, strict=True))


def _margins(unit: Job, bends: tuple[Array, ...], stops: Array) -> Array:
    """Margin [1] of the unit with each combination of the bends (n,) [m] of its posts and of stops (k,) [rad], in the shape
    (n of the primary, n of the secondary, k); −inf where the weights snap.

    A sound curve under a smaller stop is the same curve cut off there. So each is computed once, up to the largest stop.
    """
    assert unit.target is not None  # `problem_of` requires it
    advance = np.linspace(0.0, float(stops.max()), TRIAL_POINTS)
    torque = np.zeros((1, TRIAL_POINTS))
    for place, settings in zip(unit.places, bends, strict=True):
        torque = (torque[:, None] + _torque(place, settings, advance)).reshape(-1, TRIAL_POINTS)
    drag, slope = unit.drag, unit.weights.inertia_slope(advance)
    made = Curves(
        np.broadcast_to(advance, torque.shape),
        speed_squared(torque, slope, drag.rubbing_block, drag.friction, drag.friction_share),
        speed_squared(torque, slope, drag.rubbing_block, -drag.friction, -drag.friction_share),
    )
    target, idle = unit.target, unit.target.idle_speed
    speeds = np.array([b.speed for b in target.timed], float)
    residual = made.falling_advance(np.array([idle]))[:, 0] if idle else None
    columns = iter(np.stack([made.rising_advance(speeds, residual), made.falling_advance(speeds)]).transpose(2, 0, 1))
    margin = np.where(stops > _first_snap(made)[:, None], -np.inf, np.inf)
    for band in target.bands:
        free = np.full((1, 1), np.inf) if band.kind == "maximum" else next(columns)
        margin = np.minimum(margin, band.margin(np.minimum(free[:, :, None], stops)).min(axis=0))
    return margin.reshape(*map(len, bends), len(stops))


def _torque(place: SpringPlace, bends: Array, advance: Array) -> Array:
    """τ [N·m] of the spring as found in a place, (bends, advances)."""
    assert place.found is not None  # a fitted unit has its springs
    length, lever = place.posts.length(advance, bends[:, None])
    s = place.found
    return tension(length, s.rate, s.free_length, s.initial_tension, length >= s.free_length) * lever


def _first_snap(made: Curves) -> Array:
    """The advance (n,) [rad] from which each rising curve falls; inf for a sound one."""
    peak = np.maximum.accumulate(made.rising, axis=1)
    falls = made.rising < peak - ROUNDING * np.abs(peak).max(axis=1, keepdims=True)
    last = np.maximum(falls.argmax(axis=1) - 1, 0)
    return np.where(falls.any(axis=1), made.advance[np.arange(len(last)), last], np.inf)


def _set(unit: Job, bends: tuple[float, ...], stop: float) -> Build:
    """The unit with its posts bent so [m], and this stop [rad]."""
    springs = tuple(p.found for p in unit.places if p.found is not None)
    return make_build(unit, springs, bends, stop, TRIAL_POINTS)


def _moves(unit: Job, build: Build, moved: tuple[int, ...], trims: bool) -> tuple[Move, ...]:
    """The moves that lead to this build, in words."""
    made = []
    for i in moved:
        one = build.springs[i]
        way = "out" if one.bend > 0 else "in"
        # The bend is what the sweep asks for; the length holds only of posts that stand where the plan had them.
        set_to = (
            f"to {one.length * 1e3:.2f} mm over both posts, if they measure {(one.length - one.bend) * 1e3:.2f} mm now"
        )
        words = f"bend the {PLACES[i]} post {way} {abs(one.bend) * 1e3:.2f} mm ({set_to})"
        made.append(Move(f"{PLACES[i]} post", one.bend, one.length, words))
    if trims:
        trim = unit.stop.trim(build.stop)
        way = "build the stop up" if trim > 0 else "file the stop"
        made.append(Move("stop", trim, None, f"{way} by {abs(trim) * 1e3:.2f} mm (to {np.degrees(build.stop):.1f}°)"))
    left = [f"leave the {PLACES[i]}" for i in range(len(unit.places)) if i not in moved]
    if made and left:
        last = made[-1]
        made[-1] = replace(last, words=f"{last.words}, {', '.join(left)}")
    return tuple(made)
