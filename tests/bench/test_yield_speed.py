"""The yield as arrays against one curve after another, in one run on one machine; a ratio, never asserted as seconds.

Not part of the normal run: `pytest tests/bench/test_yield_speed.py --override-ini addopts= -s`.
"""

from __future__ import annotations

import time

from example_plans import planned_by_limits
from pytest_benchmark.fixture import BenchmarkFixture
from yields import one_by_one

from recurve.fit.state import ensemble_of
from recurve.planner.simulate import simulate

BUILDS, LOOPED = 8192, 200


def test_yield(benchmark: BenchmarkFixture) -> None:
    """Builds of the launch's plan without its sweep: as arrays, and 200 of them one by one."""
    made = planned_by_limits("launch")
    build = made.build
    assert build is not None
    ensemble = ensemble_of(made.job, None, BUILDS)
    ours = benchmark(simulate, made.job, ensemble, build.unit.springs, build.stop, build.trim != 0.0, BUILDS).fraction
    begin = time.perf_counter()
    theirs = one_by_one(made.job, build, LOOPED, 5)
    each = (time.perf_counter() - begin) / LOOPED
    at_once = benchmark.stats.stats.median / BUILDS
    print(
        f"\nyield {ours:.3f} and {theirs:.3f}; {at_once * 1e6:.1f} µs a build as arrays, {each * 1e6:.0f} µs in a loop: "
    )
    print(f"{each / at_once:.0f} times as fast")
    assert each > at_once
