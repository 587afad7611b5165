"""The yield of a build by drawing units one after another, beside the package's own in arrays."""

from __future__ import annotations

import numpy as np

from recurve.job.model import Job
from recurve.physics.curve import Drag, Installed, Unit, trace
from recurve.physics.target import judge, worst
from recurve.planner.build import Build
from recurve.springs.spring import Spring
from recurve.units import Quantity


def half_width(given: Quantity | None) -> float:
    """The ± [SI] of a quantity, 0 without one."""
    return 0.0 if given is None else given.half_width or 0.0


def one_by_one(job: Job, build: Build, count: int, seed: int) -> float:
    """The yield by drawing units and builds with a plain generator and tracing each curve: nothing shared with the
    simulation but the curve of one unit. The mass geometry is left exact here, and so it is there."""
    random = np.random.default_rng(seed)
    assert job.target is not None
    measured, passed = job.measured, 0
    for _ in range(count):
        flat = random.uniform(-1, 1, 9)
        drag = Drag(
            job.drag.rubbing_block + flat[0] * half_width(measured.drag.rubbing_block),
            job.drag.friction + flat[1] * half_width(measured.drag.friction),
            abs(random.normal(0.0, 0.03)),
        )
        springs = []
        for i, one in enumerate(build.unit.springs):
            s = one.spring
            rate = s.rate * (1 + flat[2 + 3 * i] * job.build.rate)
            tension = (
                max(s.initial_tension + flat[3 + 3 * i] * job.build.initial_tension, 0.0) if s.initial_tension else 0.0
            )
            # The post is off, not the spring: its length at rest is longer by the error.
            free = s.free_length - flat[4 + 3 * i] * job.build.post
            springs.append(Installed(Spring(s.id, rate, free, tension), one.posts, one.bend))
        stop = build.stop
        stop += random.uniform(-1, 1) * (job.build.stop * job.stop.per_mm if build.trim else half_width(measured.stop))
        curve = trace(Unit(job.weights, tuple(springs), drag, stop), 161)
        passed += worst(judge(job.target, curve)) >= 0.0
    return passed / count
