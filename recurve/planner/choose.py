"""Which build: the search over all pairs, the rule of the stop, and ties (theory, section 5)."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np

from recurve.job.model import Job
from recurve.physics.target import Target
from recurve.planner.build import Build, make_build, with_stop
from recurve.planner.linear import Problem, edges_at
from recurve.planner.refine import Candidates, candidates, least_moves, solve
from recurve.planner.search import Found, Mask, Report, SpringSet, alive, near_best, search

ENOUGH = 0.5  # margin with the stop as found that leaves it alone (theory, section 5)
SAME_STOP = 0.005  # margins of stops that count as equal (theory, section 5)
NEAR = 0.1  # how far below the best margin a pair may be by the linear form to be solved again
MOST_SOLVED = 60  # pairs solved again with the posts moved
MOST_BUILT = 20  # pairs that are built by the exact model and compared by yield
SAME = 1e-4  # margins of pairs that count as equal

# Of builds that pass, the best margin first, the one to recommend.
Pick = Callable[[list[Build]], Build]


@dataclass(frozen=True)
class Outcome:
    """What a search ends with: what it `found` of the pairs, the `build` picked, and the `builds` it was picked
    from, the best margin first, each of another pair."""

    found: Found | None
    build: Build | None
    builds: tuple[Build, ...] = ()


def by_margin(builds: list[Build]) -> Build:
    """The largest margin; of equals the one whose posts move least."""
    best = max(b.margin for b in builds)
    return min((b for b in builds if b.margin >= best - SAME), key=_moved)


def choose_build(
    problem: Problem,
    shelf: SpringSet,
    job: Job,
    pick: Pick,
    largest: bool,
    top: int = 0,
    report: Report | None = None,
) -> Outcome:
    """With every stop that trim can give; then with the stop as found, where that is good enough.

    `largest` takes the largest margin whatever the work on the stop; else a stop that allows a margin of 0.5 is
    left alone, and otherwise trimmed least. As many as `top` pairs are built if there are that many; `report` is told
    how far it is.
    """
    if stop_ceiling(problem) < 0.0:
        stuck = _stop_first(problem, shelf, job, top)
        if stuck.build is not None:
            return stuck
    free = _best(problem, shelf, job, pick, top, report)
    if job.stop.limits[0] == job.stop.limits[1]:
        return free
    if largest:
        return free if free.build is None else replace(free, build=_centred(free.build, job, shelf, problem.stops))
    enough = -np.inf if not free.builds else min(ENOUGH, free.builds[0].margin - SAME_STOP)
    untouched = replace(problem, stops=(job.stop.advance, job.stop.advance))
    # A tenth less, since the linear form is exact only where no post is bent.
    if len(shelf.springs) and alive(untouched, shelf, max(enough, -100.0) - 0.1, shelf.pairs(len(problem.posts))).any():
        as_is = _best(untouched, shelf, job, pick, top, report)
        if as_is.builds and as_is.builds[0].margin >= enough:
            return as_is
    return free if free.build is None else replace(free, build=least_trim(free.build, job, shelf))


def stop_ceiling(problem: Problem) -> float:
    """The largest margin [1] that the stop alone allows, whatever the springs."""
    low, high = -1.0, 1.0
    while edges_at(problem, low) is None:
        low, high = 2 * low, low
    while high - low > 1e-6:
        middle = (low + high) / 2
        low, high = (middle, high) if edges_at(problem, middle) is not None else (low, middle)
    return low


def _stop_first(problem: Problem, shelf: SpringSet, job: Job, top: int) -> Outcome:
    """Where the stop alone puts the target out of reach: the stop that misses least, and with it the best of the
    bands that it leaves within reach; no build where the springs miss by still more."""
    ceiling = stop_ceiling(problem)
    edges = edges_at(problem, ceiling)
    assert edges is not None  # a margin that the stop allows
    kept = tuple(b for b in problem.target.timed if float(b.edges(0.0)[0]) < edges.stop)
    if not kept:
        return Outcome(None, None)
    rest = replace(problem, target=Target(kept), stops=(edges.stop, edges.stop))
    best = _best(rest, shelf, job, by_margin, top)
    if best.found is None or best.build is None or best.build.margin < ceiling - SAME:
        return Outcome(best.found, None)
    return Outcome(replace(best.found, feasible=0), best.build, best.builds)


def _best(problem: Problem, shelf: SpringSet, job: Job, pick: Pick, top: int, report: Report | None = None) -> Outcome:
    """The builds of the best pairs, each with the smallest stop that gives its margin, and the one picked."""
    found = search(problem, shelf, report=report) if len(shelf.springs) else None
    if found is None:
        return Outcome(None, None)
    solved = _solved(problem, shelf, found, top)
    builds: dict[tuple[int, int], Build] = {}
    for index in _order(problem, shelf, solved):
        pair = (int(solved.first[index]), int(solved.second[index]))
        known = builds.get(pair)
        # A pair can reach the same margin with its second spring taking up here or there.
        if known is not None and solved.margin[index] < known.margin - SAME:
            continue
        if known is None and len(builds) == max(MOST_BUILT, top):
            continue
        for build in _checked(problem, shelf, solved.take([index]), job):
            builds[pair] = build if known is None else by_margin([known, build])
    ranked = sorted(builds.values(), key=lambda b: -b.margin)
    return Outcome(found, pick(ranked) if ranked else None, tuple(ranked))


def _solved(problem: Problem, shelf: SpringSet, found: Found, top: int) -> Candidates:
    """The pairs near the best, solved with the posts moved.

    Posts bent far can cost more margin than the slack that was allowed for: then a pair further from the best of
    the linear form may be better, and more of them are solved.
    """
    near, slack = _near_best(problem, shelf, found)
    if near.sum() < top:
        near, slack = _more(problem, shelf, found, slack, top)
    while True:
        start = candidates(problem, shelf, near, (found.margin - slack, found.margin))
        solved = solve(problem, shelf, start, found.margin + 0.2, slack)
        best = float(solved.margin.max(initial=-np.inf))
        if best >= found.margin - slack or slack >= 1.0 + abs(found.margin):
            return solved
        slack = 2.0 * max(slack, NEAR)
        near = near_best(problem, shelf, found, slack)
        if near.sum() > 4 * MOST_SOLVED:
            return solved


def _more(problem: Problem, shelf: SpringSet, found: Found, slack: float, top: int) -> tuple[Mask, float]:
    """So many pairs or more: the slack is doubled, then narrowed again while it lets in far too many."""
    low, high = slack, slack
    near = near_best(problem, shelf, found, slack)
    while near.sum() < top and high < 1.0 + abs(found.margin):
        low, high = high, 2.0 * high
        near = near_best(problem, shelf, found, high)
    for _ in range(8):
        if near.sum() <= 4 * MOST_SOLVED:
            break
        middle = (low + high) / 2
        fewer = near_best(problem, shelf, found, middle)
        low, high, near = (low, middle, fewer) if fewer.sum() >= top else (middle, high, near)
    return near, high


def _moved(build: Build) -> float:
    return sum(abs(s.bend) for s in build.springs)


def _order(problem: Problem, shelf: SpringSet, solved: Candidates) -> list[int]:
    """The order in which candidates are built: by margin; where more are equal at the top than will be built, those
    whose posts can move least come first."""
    order = [int(i) for i in np.argsort(-solved.margin, kind="stable")]
    equal = [i for i in order if solved.margin[i] >= solved.margin[order[0]] - SAME]
    if len(equal) <= MOST_BUILT:
        return order

    tied = solved.take(equal)
    moved = np.abs(least_moves(problem, shelf, tied, tied.margin - 1e-6)).sum(axis=1)
    return [equal[i] for i in np.argsort(moved, kind="stable")] + order[len(equal) :]


def _near_best(problem: Problem, shelf: SpringSet, found: Found) -> tuple[Mask, float]:
    """As wide a choice of pairs near the best as can be solved again quickly, and how near they are."""
    slack = NEAR
    near = near_best(problem, shelf, found, slack)
    while near.sum() > MOST_SOLVED and slack > 0.003:
        slack /= 2
        near = near_best(problem, shelf, found, slack)
    return (_least_bent(problem, shelf, found, near) if near.sum() > MOST_SOLVED else near), slack


def _least_bent(problem: Problem, shelf: SpringSet, found: Found, near: Mask) -> Mask:
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


def _checked(problem: Problem, shelf: SpringSet, one: Candidates, job: Job) -> list[Build]:
    """A solved candidate as a build of the exact model, the posts moved as little as its margin allows;
    nothing if it snaps."""
    margin = float(one.margin[0])
    edges = edges_at(problem, margin)
    if edges is None:
        return []
    pair = [shelf.springs[int(one.first[0])]]
    if len(problem.posts) == 2:
        pair.append(shelf.springs[int(one.second[0])])
    least = least_moves(problem, shelf, one, one.margin - 1e-6)[0]
    made = []
    for bend in (least, one.bend[0]):
        build = make_build(job, tuple(pair), tuple(float(b) for b in bend[: len(pair)]), edges.stop)
        if not build.curve.snaps and bears(shelf, build):
            made.append(build)
    if len(made) == 2 and made[0].margin >= made[1].margin - SAME:
        return made[:1]
    return made[-1:]


def bears(shelf: SpringSet, build: Build) -> bool:
    """Whether at the stop no spring is longer than it bears, to a nanometre."""
    most = {id(s): float(x) for s, x in zip(shelf.springs, shelf.longest, strict=True)}
    lengths = [(float(i.length(build.stop)[0]), most.get(id(i.spring), np.inf)) for i in build.unit.springs]
    return all(length <= limit + 1e-9 for length, limit in lengths)


def _furthest(build: Build, job: Job, shelf: SpringSet, toward: float, least: float) -> Build:
    """The same springs and posts with the stop as near to `toward` [rad] as keeps the margin `least`."""

    def serves(one: Build) -> bool:
        return one.margin >= least and not one.curve.snaps and bears(shelf, one)

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


def least_trim(build: Build, job: Job, shelf: SpringSet) -> Build:
    """Among stops within 0.005 of the best margin the one that needs the least trim."""
    return _furthest(build, job, shelf, job.stop.advance, build.margin - SAME_STOP)


def _centred(build: Build, job: Job, shelf: SpringSet, stops: tuple[float, float]) -> Build:
    """Among stops of equal margin the middle one."""
    last = _furthest(build, job, shelf, stops[1], build.margin - 1e-7)
    middle = with_stop(build, job, (build.stop + last.stop) / 2)
    return middle if middle.margin >= build.margin - 1e-6 and bears(shelf, middle) else build
