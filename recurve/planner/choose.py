"""Which build: the best pairs solved on bent posts, the rule of the stop, and ties (theory, section 5)."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np

from recurve.job.model import Job
from recurve.physics.target import Target
from recurve.planner.build import Build, make_build, with_stop
from recurve.planner.linear import edges_at
from recurve.planner.problem import Problem
from recurve.planner.refine import Candidates, candidates, least_moves, solve
from recurve.planner.search import NEAR, SHORTLIST, Found, Report, feasible_pairs, search
from recurve.planner.springset import SpringSet

ENOUGH = 0.5  # a margin that is enough to leave the stop as found
SAME_STOP = 0.005  # margins with different stops that count as equal
MOST_BUILT = 20  # pairs that are built by the exact model and compared by yield
SAME = 1e-4  # margins of pairs that count as equal

# Picks the build to recommend, given builds in order of falling margin.
Pick = Callable[[list[Build]], Build]


@dataclass(frozen=True)
class Outcome:
    """The result of choosing: how many `pairs` were judged and how many of them are `feasible` (reach margin 0 in the
    linear form), the `build` picked, and the `builds` it was picked from, each of another pair, in order of falling
    margin."""

    pairs: int = 0
    feasible: int = 0
    build: Build | None = None
    builds: tuple[Build, ...] = ()


def by_margin(builds: list[Build]) -> Build:
    """The largest margin; of equals the one whose posts move least."""
    best = max(b.margin for b in builds)
    return min((b for b in builds if b.margin >= best - SAME), key=lambda b: sum(abs(s.bend) for s in b.springs))


def choose_build(
    problem: Problem,
    springs: SpringSet,
    job: Job,
    pick: Pick,
    largest: bool,
    top: int = 0,
    report: Report | None = None,
) -> Outcome:
    """The build to recommend, over every stop that trim can give.

    With `largest`, the largest margin however much the stop must be trimmed. Otherwise a stop as found that allows a
    margin of 0.5 is left alone, and any other is trimmed as little as possible. At least `top` pairs are built if there
    are that many. `report` receives progress messages.
    """
    if stop_ceiling(problem) < 0.0:
        stuck = _stop_first(problem, springs, job, top)
        if stuck is not None:
            return stuck
    free = _best(problem, springs, job, pick, top, report)
    if job.stop.limits[0] == job.stop.limits[1]:
        return free
    if largest:
        return free if free.build is None else replace(free, build=_centred(free.build, job, springs, problem.stops))
    enough = -np.inf if not free.builds else min(ENOUGH, free.builds[0].margin - SAME_STOP)
    untouched = replace(problem, stops=(job.stop.advance, job.stop.advance))
    # A tenth less, since the linear form is exact only where no post is bent.
    level = max(enough, -100.0) - 0.1
    if len(springs) and feasible_pairs(untouched, springs, level, springs.pairs(len(problem.posts))).any():
        as_is = _best(untouched, springs, job, pick, top, report)
        if as_is.builds and as_is.builds[0].margin >= enough:
            return as_is
    return free if free.build is None else replace(free, build=least_trim(free.build, job, springs))


def stop_ceiling(problem: Problem) -> float:
    """The largest margin [1] that the stop alone allows, whatever the springs."""
    low, high = -1.0, 1.0
    while edges_at(problem, low) is None:
        low, high = 2 * low, low
    while high - low > 1e-6:
        middle = (low + high) / 2
        low, high = (middle, high) if edges_at(problem, middle) is not None else (low, middle)
    return low


def least_trim(build: Build, job: Job, springs: SpringSet) -> Build:
    """Among stops within 0.005 of the best margin the one that needs the least trim."""
    return _furthest(build, job, springs, job.stop.advance, build.margin - SAME_STOP)


def _stop_first(problem: Problem, springs: SpringSet, job: Job, top: int) -> Outcome | None:
    """If the stop alone puts the target out of reach: the stop that misses least, and with it the best build for the
    bands still within reach; None if the springs miss by still more."""
    ceiling = stop_ceiling(problem)
    edges = edges_at(problem, ceiling)
    assert edges is not None  # a margin that the stop allows
    kept = tuple(b for b in problem.target.timed if float(b.edges(0.0)[0]) < edges.stop)
    if not kept:
        return None
    rest = replace(problem, target=Target(kept), stops=(edges.stop, edges.stop))
    best = _best(rest, springs, job, by_margin, top)
    if best.build is None or best.build.margin < ceiling - SAME:
        return None
    return replace(best, feasible=0)


def _best(
    problem: Problem, springs: SpringSet, job: Job, pick: Pick, top: int, report: Report | None = None
) -> Outcome:
    """The builds of the best pairs, each with the smallest stop that gives its margin, and the one picked."""
    found = search(problem, springs, report=report) if len(springs) else None
    if found is None:
        return Outcome()
    solved = _solved(found, top)
    builds: dict[tuple[int, int], Build] = {}
    for index in _building_order(found, solved):
        pair = (int(solved.first[index]), int(solved.second[index]))
        known = builds.get(pair)
        # A pair can reach the same margin with its second spring taking up here or there.
        if known is not None and solved.margin[index] < known.margin - SAME:
            continue
        if known is None and len(builds) == max(MOST_BUILT, top):
            continue
        build = _built(found, solved.take([index]), job)
        if build is not None:
            builds[pair] = build if known is None else by_margin([known, build])
    ranked = sorted(builds.values(), key=lambda b: -b.margin)
    return Outcome(found.pairs, found.feasible, pick(ranked) if ranked else None, tuple(ranked))


def _solved(found: Found, top: int) -> Candidates:
    """The shortlisted pairs, solved with the posts moved.

    Posts bent far can cost more margin than the slack allowed for. Then a pair further from the best of the linear form
    may be better, and more of them are solved.
    """
    near, slack = found.shortlist(top)
    while True:
        start = candidates(found.problem, found.springs, near, (found.margin - slack, found.margin))
        solved = solve(found.problem, found.springs, start, found.margin + 0.2, slack)
        best = float(solved.margin.max(initial=-np.inf))
        if best >= found.margin - slack or slack >= 1.0 + abs(found.margin):
            return solved
        slack = 2.0 * max(slack, NEAR)
        near = found.near_best(slack)
        if near.sum() > 4 * SHORTLIST:
            return solved


def _building_order(found: Found, solved: Candidates) -> list[int]:
    """The order in which candidates are built: by margin. If more are equal at the top than will be built, those whose
    posts can move least come first."""
    order = [int(i) for i in np.argsort(-solved.margin, kind="stable")]
    equal = [i for i in order if solved.margin[i] >= solved.margin[order[0]] - SAME]
    if len(equal) <= MOST_BUILT:
        return order
    tied = solved.take(equal)
    moved = np.abs(least_moves(found.problem, found.springs, tied, tied.margin - 1e-6)).sum(axis=1)
    return [equal[i] for i in np.argsort(moved, kind="stable")] + order[len(equal) :]


def _built(found: Found, one: Candidates, job: Job) -> Build | None:
    """A solved candidate as a build of the exact model, its posts moved as little as its margin allows; None if it
    snaps or overstresses a spring."""
    problem, springs, margin = found.problem, found.springs, float(one.margin[0])
    edges = edges_at(problem, margin)
    if edges is None:
        return None
    pair = [springs.springs[int(one.first[0])]]
    if len(problem.posts) == 2:
        pair.append(springs.springs[int(one.second[0])])
    least = least_moves(problem, springs, one, one.margin - 1e-6)[0]
    made = []
    for bend in (least, one.bend[0]):
        build = make_build(job, tuple(pair), tuple(float(b) for b in bend[: len(pair)]), edges.stop)
        if not build.curve.snaps and _bears(springs, build):
            made.append(build)
    if len(made) == 2 and made[0].margin >= made[1].margin - SAME:
        return made[0]
    return made[-1] if made else None


def _bears(springs: SpringSet, build: Build) -> bool:
    """Whether at the stop no spring is drawn beyond the length it can bear, to a nanometre."""
    most = {id(s): float(x) for s, x in zip(springs.springs, springs.longest, strict=True)}
    lengths = [(float(i.length(build.stop)[0]), most.get(id(i.spring), np.inf)) for i in build.unit.springs]
    return all(length <= limit + 1e-9 for length, limit in lengths)


def _furthest(build: Build, job: Job, springs: SpringSet, toward: float, least: float) -> Build:
    """The same springs and posts with the stop as near to `toward` [rad] as keeps the margin `least`."""

    def serves(one: Build) -> bool:
        return one.margin >= least and not one.curve.snaps and _bears(springs, one)

    good, bad = build, toward
    other = with_stop(build, job, toward)
    if serves(other):
        return other
    for _ in range(24):
        middle = (good.stop + bad) / 2
        tried = with_stop(build, job, middle)
        if serves(tried):
            good = tried
        else:
            bad = middle
    return good


def _centred(build: Build, job: Job, springs: SpringSet, stops: tuple[float, float]) -> Build:
    """Among stops of equal margin the middle one."""
    last = _furthest(build, job, springs, stops[1], build.margin - 1e-7)
    middle = with_stop(build, job, (build.stop + last.stop) / 2)
    return middle if middle.margin >= build.margin - 1e-6 and _bears(springs, middle) else build
