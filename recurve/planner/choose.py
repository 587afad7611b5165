"""Which build: the best pairs solved on bent posts, the rule of the stop, and ties (theory, section 5)."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np

from recurve.job.model import Job
from recurve.physics.target import Target
from recurve.planner.build import Build, make_build
from recurve.planner.handwork import SAME_STOP, bears, by_hand, centred, least_trim
from recurve.planner.linear import edges_at
from recurve.planner.problem import Problem
from recurve.planner.refine import Candidates, candidates, least_moves, solve
from recurve.planner.search import NEAR, SHORTLIST, Found, Report, feasible_pairs, search
from recurve.planner.springset import SpringSet

ENOUGH = 0.5  # a margin that is enough to leave the stop as found
SNAP_GRIDS = (24, 96, 384)  # advances at which a snap is forbidden, the next where one lies between them
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
    if largest and job.stop.limits[0] == job.stop.limits[1]:
        return free
    if largest:
        return free if free.build is None else replace(free, build=centred(free.build, job, springs, problem.stops))
    enough = -np.inf if not free.builds else min(ENOUGH, free.builds[0].margin - SAME_STOP)
    untouched = replace(problem, stops=(job.stop.advance, job.stop.advance))
    # A tenth less, since the linear form is exact only where no post is bent.
    level = max(enough, -100.0) - 0.1
    if len(springs) and feasible_pairs(untouched, springs, level, springs.pairs(len(problem.posts))).any():
        as_is = _best(untouched, springs, job, pick, top, report)
        if as_is.builds and as_is.builds[0].margin >= enough:
            return as_is if as_is.build is None else replace(as_is, build=by_hand(as_is.build, job, springs))
    if free.build is None:
        return free
    return replace(free, build=by_hand(least_trim(free.build, job, springs), job, springs))


def stop_ceiling(problem: Problem) -> float:
    """The largest margin [1] that the stop alone allows, whatever the springs."""
    low, high = -1.0, 1.0
    while edges_at(problem, low) is None:
        low, high = 2 * low, low
    while high - low > 1e-6:
        middle = (low + high) / 2
        low, high = (middle, high) if edges_at(problem, middle) is not None else (low, middle)
    return low


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
    for rows in SNAP_GRIDS:
        snapped = _build_in_order(found, solved, job, max(MOST_BUILT, top), rows, builds)
        # A snap between the advances at which it is forbidden: those that may still be better are solved on a finer grid.
        best = max((b.margin for b in builds.values()), default=-np.inf)
        again = [i for i in snapped if solved.margin[i] > best + SAME_STOP]
        if not again or rows == SNAP_GRIDS[-1]:
            break
        solved = _solved_again(found, solved.take(again), rows * 4)
    ranked = sorted(builds.values(), key=lambda b: -b.margin)
    return Outcome(found.pairs, found.feasible, pick(ranked) if ranked else None, tuple(ranked))


def _build_in_order(
    found: Found, solved: Candidates, job: Job, most: int, rows: int, builds: dict[tuple[int, int], Build]
) -> list[int]:
    """Adds to `builds` the candidates by falling margin, up to `most` pairs; gives the indices of those that snap."""
    snapped = []
    for index in _building_order(found, solved):
        pair = (int(solved.first[index]), int(solved.second[index]))
        known = builds.get(pair)
        # A pair can reach the same margin with its second spring taking up here or there.
        if known is not None and solved.margin[index] < known.margin - SAME:
            continue
        if known is None and len(builds) == most:
            continue
        build = _built(found, solved.take([index]), job, rows)
        if build is None:
            snapped.append(index)
        else:
            builds[pair] = build if known is None else by_margin([known, build])
    return snapped


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


def _solved_again(found: Found, snapped: Candidates, rows: int) -> Candidates:
    """The pairs of these candidates, solved once more with a snap forbidden at more advances, `rows` [1]."""
    near = np.zeros_like(found.passing)
    near[snapped.first, snapped.second if len(found.problem.posts) == 2 else 0] = True
    low, high = float(snapped.margin.min()), float(snapped.margin.max())
    start = candidates(found.problem, found.springs, near, (low - NEAR * (1.0 + abs(low)), high))
    return solve(found.problem, found.springs, start, found.margin + 0.2, 1.0 + abs(low), rows)


def _building_order(found: Found, solved: Candidates) -> list[int]:
    """The order in which candidates are built: by margin. If more are equal at the top than will be built, those whose
    posts can move least come first."""
    order = [int(i) for i in np.argsort(-solved.margin, kind="stable")]
    if not order:
        return []
    equal = [i for i in order if solved.margin[i] >= solved.margin[order[0]] - SAME]
    if len(equal) <= MOST_BUILT:
        return order
    tied = solved.take(equal)
    moved = np.abs(least_moves(found.problem, found.springs, tied, tied.margin - 1e-6)).sum(axis=1)
    return [equal[i] for i in np.argsort(moved, kind="stable")] + order[len(equal) :]


def _built(found: Found, one: Candidates, job: Job, snap_rows: int) -> Build | None:
    """A solved candidate as a build of the exact model, its posts moved as little as its margin allows; None if it
    snaps or overstresses a spring."""
    problem, springs, margin = found.problem, found.springs, float(one.margin[0])
    edges = edges_at(problem, margin)
    if edges is None:
        return None
    pair = [springs.springs[int(one.first[0])]]
    if len(problem.posts) == 2:
        pair.append(springs.springs[int(one.second[0])])
    least = least_moves(problem, springs, one, one.margin - 1e-6, snap_rows)[0]
    made = []
    for bend in (least, one.bend[0]):
        build = make_build(job, tuple(pair), tuple(float(b) for b in bend[: len(pair)]), edges.stop)
        if not build.curve.snaps and bears(springs, build):
            made.append(build)
    if len(made) == 2 and made[0].margin >= made[1].margin - SAME:
        return made[0]
    return made[-1] if made else None
