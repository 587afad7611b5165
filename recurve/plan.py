"""The main job: which springs on which posts, what to do to the stop, and the curve that follows (design §3)."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Literal

import numpy as np

from recurve.curve import Installed, Trace, Unit, residual_advance, trace
from recurve.errors import InputError
from recurve.explain import explain, second_spring_note
from recurve.ideal import Ideal, Limits, find_ideal
from recurve.job import Job
from recurve.jobbuild import ranges
from recurve.linear import Problem, edges_at
from recurve.mechanism import RadiusTable
from recurve.posts import PointPosts, Posts
from recurve.refine import Candidates, candidates, least_move, solve
from recurve.search import Found, Mask, Shelf, alive, near_best, search
from recurve.springs import Spring
from recurve.target import BandResult, Target, judge, worst
from recurve.units import factor

Verdict = Literal["passes", "passes with stop trim", "out of reach"]
Choose = Literal["work", "margin"]

ENOUGH = 0.5  # margin with the stop as found that leaves it alone (design §3)
SAME_STOP = 0.005  # margins of stops that count as equal (design §3)
MOST_SOLVED = 60  # pairs solved again with the posts moved
SAME = 1e-4  # margins of pairs that count as equal
CHECK_ADVANCE = np.radians(1.0)  # the bench's setting points, 1° in and 1° below maximum (trade)


@dataclass(frozen=True)
class Fitted:
    """A chosen spring: `bend` [m] of its anchor post from where it was found, `length` [m] over the posts at
    rest, `takeup` [rad] (None if it never pulls), `pull` [N] at rest."""

    spring: Spring
    posts: Posts
    bend: float
    length: float
    takeup: float | None
    pull: float


@dataclass(frozen=True)
class Build:
    """The unit as it will be: springs in their places, stop [rad] and its trim [m], the curve from the exact
    model, every band's result, the worst margin [1], and the rising speeds [rad/s] at which 1° must be in
    and 1° is missing from the maximum (None where there is none, or no second spring)."""

    springs: tuple[Fitted, ...]
    stop: float
    trim: float
    unit: Unit
    curve: Trace
    results: tuple[BandResult, ...]
    margin: float
    settings: tuple[float | None, float | None]
    residual: tuple[float, float]


@dataclass(frozen=True)
class Plan:
    """The answer for a job. `build` is the best that can be had, None where not even a bad one can be built;
    `before` the curve of the springs as found, where they are described."""

    job: Job
    verdict: Verdict
    build: Build | None
    ideal: Ideal | None
    pairs: int
    feasible: int
    reasons: tuple[str, ...]
    notes: tuple[str, ...]
    before: Trace | None

    def __str__(self) -> str:
        from recurve.report import plan_text

        return plan_text(self)


def make_plan(job: Job, choose: Choose = "work") -> Plan:
    """Springs, post settings and stop trim that bring the curve into the job's bands.

    `choose` "work" leaves the stop alone where that allows a margin of 0.5, and otherwise trims it least;
    "margin" takes the largest margin whatever the work. Raises InputError where the job names no target
    or no springs to choose from.
    """
    shelf = Shelf.of(_springs(job))
    problem = problem_of(job)
    found, build = _search(problem, shelf, job, choose)
    ideal = find_ideal(replace(problem, stops=job.stop.limits), spring_limits(job))
    passes = build is not None and build.margin >= 0.0
    verdict: Verdict = "out of reach"
    if build is not None and passes:
        verdict = "passes" if build.trim == 0.0 else "passes with stop trim"
    as_found = job.as_found()
    notes = list(job.notes)
    if as_found is None:
        notes.append("The springs as found are not described: before is what the sweep says, without a curve.")
    if build is not None:
        notes += [*_table_note(job, build), *_limit_notes(job, build)]
    notes += second_spring_note(problem, spring_limits(job), build.margin if build else None, job)
    return Plan(
        job=job,
        verdict=verdict,
        build=build,
        ideal=ideal,
        pairs=0 if found is None else found.pairs,
        feasible=0 if found is None else found.feasible,
        reasons=() if passes else _reasons(job, problem, shelf, build, ideal),
        notes=tuple(notes),
        before=None if as_found is None else trace(as_found),
    )


def _table_note(job: Job, build: Build) -> list[str]:
    """What the reading of a table of radii leaves open, in degrees (design §1, motion 3)."""
    motion = job.weights.motion
    if not isinstance(motion, RadiusTable):
        return []
    speeds = np.array([r.band.speed for r in build.results if r.band.speed], float)
    middle = build.curve.rising_advance(speeds)
    squares = np.zeros_like(speeds)
    for row in range(len(motion.advance)):
        weights = replace(job.weights, motion=motion.moved(row))
        squares += (trace(replace(build.unit, weights=weights), 501).rising_advance(speeds) - middle) ** 2
    worst_at = int(np.argmax(squares))
    limits = 1e3 * max(motion.limit)
    return [
        f"The radii of the centre of gravity, each read to ± {limits:.2f} mm, leave the curve uncertain by up to "
        f"± {2 * np.degrees(np.sqrt(squares[worst_at])):.1f}° (distributor, two standard uncertainties), at "
        f"{speeds[worst_at] * 30 / np.pi:.0f} rpm."
    ]


def _limit_notes(job: Job, build: Build) -> list[str]:
    """Posts that are bent as far as they may be: the bench cannot ask for more of the same."""
    notes = []
    for name, place, fitted in zip(("primary", "secondary"), job.places, build.springs, strict=False):
        for end, way in zip(place.travel, ("in", "out"), strict=True):
            if end != 0.0 and abs(fitted.bend - end) < 0.005e-3:
                notes.append(
                    f"The {name} post is bent {way} as far as it may be, {1e3 * abs(end):.2f} mm: if the bench asks for "
                    "more that way, take the next spring instead."
                )
    return notes


def _reasons(job: Job, problem: Problem, shelf: Shelf, build: Build | None, ideal: Ideal | None) -> tuple[str, ...]:
    names = [] if build is None else [s.spring.id for s in build.springs]
    return explain(job, problem, shelf, names, None if build is None else build.results, ideal)


def problem_of(job: Job) -> Problem:
    """The planning problem of a job, with every stop that trim can give."""
    if job.target is None or not job.target.timed:
        raise InputError(f"{job.path}: target: missing, expected bands to plan for, at least one of them at a speed")
    places = job.places
    return Problem(
        job.weights,
        job.drag,
        tuple(p.posts for p in places),
        tuple(p.travel for p in places),
        job.target,
        job.stop.limits,
    )


def _springs(job: Job) -> tuple[Spring, ...]:
    """The catalogue's springs, then those found in the unit: they are candidates too."""
    bought = () if job.catalogue is None else job.catalogue.springs
    found = tuple(p.found for p in job.places if p.found is not None)
    if not bought and not found:
        raise InputError(
            f"{job.path}: catalogue: missing, expected a catalogue of springs, or the springs as found with rate and "
            "free_length or takeup"
        )
    return (*bought, *found)


def spring_limits(job: Job) -> Limits:
    """The trade's ranges, within which ideal springs are sought."""
    table = ranges()["range"]
    rates = []
    for name in ("primary_rate", "secondary_rate")[: len(job.places)]:
        unit = factor(table[name]["unit"], "rate")
        rates.append((table[name]["low"] * unit, table[name]["high"] * unit))
    pull, slack = table["preload"], table["slack"]["high"] * factor(table["slack"]["unit"], "length")
    return Limits(tuple(rates), (pull["low"], pull["high"]), slack)


# --- the search and the rule of the stop -----------------------------------------------------------------


def _search(problem: Problem, shelf: Shelf, job: Job, choose: Choose) -> tuple[Found | None, Build | None]:
    """With every stop that trim can give; then with the stop as found, where that is good enough."""
    if stop_ceiling(problem) < 0.0:
        stuck = _stop_first(problem, shelf, job)
        if stuck[1] is not None:
            return stuck
    free, trimmed = best_build(problem, shelf, job)
    if job.stop.limits[0] == job.stop.limits[1]:
        return free, trimmed
    if choose == "margin":
        return free, None if trimmed is None else _centred(trimmed, job, problem.stops)
    enough = -np.inf if trimmed is None else min(ENOUGH, trimmed.margin - SAME_STOP)
    untouched = replace(problem, stops=(job.stop.advance, job.stop.advance))
    # A tenth less, since the linear form is exact only where no post is bent.
    if len(shelf.springs) and alive(untouched, shelf, max(enough, -100.0) - 0.1, shelf.pairs(len(problem.posts))).any():
        found, as_is = best_build(untouched, shelf, job)
        if as_is is not None and as_is.margin >= enough:
            return found, as_is
    return free, None if trimmed is None else _least_trim(trimmed, job)


def stop_ceiling(problem: Problem) -> float:
    """The largest margin [1] that the stop alone allows, whatever the springs."""
    low, high = -1.0, 1.0
    while edges_at(problem, low) is None:
        low, high = 2 * low, low
    while high - low > 1e-6:
        middle = (low + high) / 2
        low, high = (middle, high) if edges_at(problem, middle) is not None else (low, middle)
    return low


def _stop_first(problem: Problem, shelf: Shelf, job: Job) -> tuple[Found | None, Build | None]:
    """Where the stop alone puts the target out of reach: the stop that misses least, and with it the best of the
    bands that it leaves within reach; no build where the springs miss by still more."""
    ceiling = stop_ceiling(problem)
    edges = edges_at(problem, ceiling)
    assert edges is not None  # a margin that the stop allows
    kept = tuple(b for b in problem.target.timed if float(b.edges(0.0)[0]) < edges.stop)
    if not kept:
        return None, None
    rest = replace(problem, target=Target(kept), stops=(edges.stop, edges.stop))
    found, build = best_build(rest, shelf, job)
    if found is None or build is None or build.margin < ceiling - SAME:
        return found, None
    return replace(found, feasible=0), build


def best_build(problem: Problem, shelf: Shelf, job: Job) -> tuple[Found | None, Build | None]:
    """The best build of the problem, its stop the smallest that gives its margin, and what the search found."""
    found = search(problem, shelf) if len(shelf.springs) else None
    if found is None:
        return None, None
    near, slack = _near_best(problem, shelf, found)
    start = candidates(problem, shelf, near, (found.margin - slack, found.margin))
    solved = solve(problem, shelf, start, found.margin + 0.2)
    builds: list[Build] = []
    for index in np.argsort(-solved.margin, kind="stable"):
        one = solved.take([index])
        if len(builds) == 8 or (builds and one.margin[0] < builds[0].margin - SAME):
            break
        builds += _checked(problem, shelf, one, job)
    if not builds:
        return found, None
    best = max(b.margin for b in builds)
    return found, min((b for b in builds if b.margin >= best - SAME), key=_moved)


def _moved(build: Build) -> float:
    return sum(abs(s.bend) for s in build.springs)


def _near_best(problem: Problem, shelf: Shelf, found: Found) -> tuple[Mask, float]:
    """As wide a choice of pairs near the best as can be solved again quickly, and how near they are."""
    bent = any(isinstance(p, PointPosts) and t[1] > t[0] for p, t in zip(problem.posts, problem.travel, strict=True))
    slack = 0.1 if bent else 0.003
    near = near_best(problem, shelf, found, slack)
    while near.sum() > MOST_SOLVED and slack > 0.003:
        slack /= 2
        near = near_best(problem, shelf, found, slack)
    return (_least_bent(problem, shelf, found, near) if near.sum() > MOST_SOLVED else near), slack


def _least_bent(problem: Problem, shelf: Shelf, found: Found, near: Mask) -> Mask:
    """Of many pairs that are equally good, as when the stop alone sets the margin, those whose posts need the
    least bending: the share of the travel that must be allowed is bisected until few are left."""
    low, high, kept = 0.0, 1.0, near
    for _ in range(20):
        if kept.sum() <= MOST_SOLVED:
            break
        share = (low + high) / 2
        travel = tuple((share * a, share * b) for a, b in problem.travel)
        fewer = alive(replace(problem, travel=travel), shelf, found.margin, near)
        low, high, kept = (share, high, kept) if not fewer.any() else (low, share, fewer)
    return kept


def _checked(problem: Problem, shelf: Shelf, one: Candidates, job: Job) -> list[Build]:
    """A solved candidate as a build of the exact model, the posts moved as little as its margin allows;
    nothing if it snaps."""
    margin = float(one.margin[0])
    edges = edges_at(problem, margin)
    if edges is None:
        return []
    pair = [shelf.springs[int(one.first[0])]]
    if len(problem.posts) == 2:
        pair.append(shelf.springs[int(one.second[0])])
    least = least_move(problem, shelf, one, margin - 1e-6)
    made = []
    for bend in (least, one.bend[0]):
        build = make_build(job, tuple(pair), tuple(float(b) for b in bend[: len(pair)]), edges.stop)
        if not build.curve.snaps:
            made.append(build)
    if len(made) == 2 and made[0].margin >= made[1].margin - SAME:
        return made[:1]
    return made[-1:]


def make_build(
    job: Job, springs: tuple[Spring, ...], bends: tuple[float, ...], stop: float, points: int = 2001
) -> Build:
    """The unit with these springs, bends [m] of the anchors and stop [rad], judged by the exact model."""
    assert job.target is not None  # problem_of has asked for it
    installed = tuple(Installed(s, p.posts, b) for s, p, b in zip(springs, job.places, bends, strict=True))
    unit = Unit(job.weights, installed, job.drag, stop)
    curve = trace(unit, points)
    results = judge(job.target, curve)
    second = curve.rising_speed(stop - CHECK_ADVANCE) if len(installed) > 1 and stop > CHECK_ADVANCE else None
    idle = job.target.idle_speed or min(b.speed or np.inf for b in job.target.timed)
    trim = job.stop.trim(stop)
    return Build(
        springs=tuple(_fitted(i, t) for i, t in zip(installed, curve.takeups, strict=True)),
        stop=stop,
        trim=0.0 if abs(trim) < 1e-9 else trim,
        unit=unit,
        curve=curve,
        results=results,
        margin=worst(results),
        settings=(curve.rising_speed(CHECK_ADVANCE), second),
        residual=residual_advance(unit, idle, points=points),
    )


def _fitted(installed: Installed, takeup: float | None) -> Fitted:
    length = float(installed.length(0.0)[0])
    s = installed.spring
    pull = s.initial_tension + s.rate * (length - s.free_length) if length >= s.free_length else 0.0
    return Fitted(s, installed.posts, installed.bend, length, takeup, pull)


def _with_stop(build: Build, job: Job, stop: float) -> Build:
    return make_build(job, tuple(s.spring for s in build.springs), tuple(s.bend for s in build.springs), stop)


def _furthest(build: Build, job: Job, toward: float, least: float) -> Build:
    """The same springs and posts with the stop as near to `toward` [rad] as keeps the margin `least`."""
    good, bad = build, toward
    other = _with_stop(build, job, toward)
    if other.margin >= least and not other.curve.snaps:
        return other
    for _ in range(24):
        middle = (good.stop + bad) / 2
        tried = _with_stop(build, job, middle)
        if tried.margin >= least and not tried.curve.snaps:
            good = tried
        else:
            bad = middle
    return good


def _least_trim(build: Build, job: Job) -> Build:
    """Among stops within 0.005 of the best margin the one that needs the least trim."""
    return _furthest(build, job, job.stop.advance, build.margin - SAME_STOP)


def _centred(build: Build, job: Job, stops: tuple[float, float]) -> Build:
    """Among stops of equal margin the middle one."""
    last = _furthest(build, job, stops[1], build.margin - 1e-7)
    middle = _with_stop(build, job, (build.stop + last.stop) / 2)
    return middle if middle.margin >= build.margin - 1e-6 else build
