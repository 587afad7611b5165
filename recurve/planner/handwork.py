"""The same springs with less work for the hands: the stop, the bends, and no work too small to be done (theory, section 5)."""

from __future__ import annotations

import numpy as np

from recurve.data import default
from recurve.job.model import Job
from recurve.planner.build import Build, make_build, with_stop
from recurve.planner.springset import SpringSet

SAME_STOP = 0.005  # margins with different stops that count as equal
EASE = 0.02  # margin that is given up where a post then stays nearer to where it stands
SMALL = 0.5  # fraction of the margin that is given up where work too small for hands is then not asked for
HALVINGS = 7  # of a bend: to a hundredth of it


def least_trim(build: Build, job: Job, springs: SpringSet) -> Build:
    """Among stops within 0.005 of the best margin the one that needs the least trim."""
    return _furthest(build, job, springs, job.stop.advance, build.margin - SAME_STOP)


def by_hand(build: Build, job: Job, springs: SpringSet) -> Build:
    """The build as a person would set it: no post is bent far for a hair of margin, and none by less, nor the stop, than
    hands can do, unless a band needs it. A build that does not pass is left as it is."""
    if build.margin < 0.0:
        return build
    eased = build
    for place in np.argsort([-abs(s.bend) for s in build.springs], kind="stable"):
        eased = _less_bent(eased, job, springs, int(place), max(build.margin - EASE, 0.0))
    least = SMALL * eased.margin
    for place, fitted in enumerate(eased.springs):
        if 0.0 < abs(fitted.bend) < default("hands", "bend", "length"):
            eased = _first_that_serves([_bent(eased, job, place, 0.0)], springs, least) or eased
    if 0.0 < abs(eased.trim) < default("hands", "trim", "length"):
        eased = _first_that_serves([with_stop(eased, job, job.stop.advance)], springs, least) or eased
    return eased


def _less_bent(build: Build, job: Job, springs: SpringSet, place: int, least: float) -> Build:
    """The build with one post bent as little as keeps the margin `least` [1], the other where it is."""
    good, bad = build, 0.0
    if build.springs[place].bend == 0.0:
        return build
    straight = _first_that_serves([_bent(build, job, place, 0.0)], springs, least)
    if straight is not None:
        return straight
    for _ in range(HALVINGS):
        middle = (good.springs[place].bend + bad) / 2
        tried = _first_that_serves([_bent(build, job, place, middle)], springs, least)
        good, bad = (good, middle) if tried is None else (tried, bad)
    return good


def _bent(build: Build, job: Job, place: int, bend: float) -> Build:
    bends = tuple(bend if i == place else s.bend for i, s in enumerate(build.springs))
    return make_build(job, tuple(s.spring for s in build.springs), bends, build.stop)


def _first_that_serves(builds: list[Build], springs: SpringSet, least: float) -> Build | None:
    """The first that keeps the margin `least` [1], whose primary pulls from rest, that does not snap, and whose springs
    bear it."""
    return next((b for b in builds if _serves(b, springs, least)), None)


def _serves(build: Build, springs: SpringSet, least: float) -> bool:
    primary = build.springs[0]
    pulls = primary.length >= primary.spring.free_length - 1e-12
    return build.margin >= least and pulls and not build.curve.snaps and bears(springs, build)


def bears(springs: SpringSet, build: Build) -> bool:
    """Whether at the stop no spring is drawn beyond the length it can bear, to a nanometre."""
    most = {id(s): float(x) for s, x in zip(springs.springs, springs.longest, strict=True)}
    lengths = [(float(i.length(build.stop)[0]), most.get(id(i.spring), np.inf)) for i in build.unit.springs]
    return all(length <= limit + 1e-9 for length, limit in lengths)


def _furthest(build: Build, job: Job, springs: SpringSet, toward: float, least: float) -> Build:
    """The same springs and posts with the stop as near to `toward` [rad] as keeps the margin `least`."""

    def serves(one: Build) -> bool:
        return one.margin >= least and not one.curve.snaps and bears(springs, one)

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


def centred(build: Build, job: Job, springs: SpringSet, stops: tuple[float, float]) -> Build:
    """Among stops of equal margin [1] the middle one."""
    last = _furthest(build, job, springs, stops[1], build.margin - 1e-7)
    middle = with_stop(build, job, (build.stop + last.stop) / 2)
    return middle if middle.margin >= build.margin - 1e-6 and bears(springs, middle) else build
