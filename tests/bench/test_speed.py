"""How fast, beside what one would do otherwise, in one run on one machine; ratios, so that the machine matters little.

Not part of the normal run: `pytest tests/bench/test_speed.py -s`.
"""

from __future__ import annotations

import subprocess
import sys
import time
from pathlib import Path

import numpy as np
import pytest
from brute import choices, margins
from pytest_benchmark.fixture import BenchmarkFixture
from random_jobs import DEG, MM, hidden, make_job, random_springs, random_target

from recurve.job.model import Job, SpringPlace
from recurve.physics.curve import Stop
from recurve.planner.plan import make_plan
from recurve.planner.problem import problem_of
from recurve.planner.search import search
from recurve.planner.springset import SpringSet

PAIRS = 39_800
TRIED = 40  # pairs on which the brute planner is timed


def big_job() -> Job:
    """Two hundred invented springs, one of each, posts and stop free: 200 · 199 ordered pairs."""
    around, random = hidden(11, tables=(True, True)), np.random.default_rng(5)
    target = random_target(around, random, shift=0.3)
    springs = tuple(
        type(s)(f"S{i}", s.rate, s.free_length, s.initial_tension, quantity=1)
        for i, s in enumerate(random_springs(around, random, 200))
    )
    places = tuple(SpringPlace(p, (-0.8 * MM, 0.8 * MM), None) for p in around.posts)
    stop = Stop(around.stop * 0.95, 4 * DEG / MM, 0.1 * MM, 0.3 * MM)
    return make_job(around.weights, around.drag, stop, places, target, springs)


def brute_seconds(job: Job) -> float:
    """Seconds a pair for the brute planner's first step alone: its grid of posts and stop on the forward curve."""
    steps = [np.linspace(*p.travel, 13) for p in job.places] + [np.linspace(*job.stop.limits, 25)]
    points = np.stack([x.ravel() for x in np.meshgrid(*steps, indexing="ij")])
    some = choices(job)[:: PAIRS // TRIED][:TRIED]
    begin = time.perf_counter()
    for pair in some:
        margins(job, pair, points)
    return (time.perf_counter() - begin) / len(some)


def test_search(benchmark: BenchmarkFixture) -> None:
    """Every ordered pair of 200 springs, exactly; the brute planner beside it."""
    job = big_job()
    assert job.catalogue is not None
    problem, springs = problem_of(job), SpringSet.of(job.catalogue.springs)
    found = benchmark.pedantic(search, args=(problem, springs), rounds=5, warmup_rounds=1)
    assert found is not None
    assert found.pairs == PAIRS
    each, other = benchmark.stats.stats.median / PAIRS, brute_seconds(job)
    benchmark.extra_info.update(search_us_per_pair=1e6 * each, brute_us_per_pair=1e6 * other, ratio=other / each)
    print(f"\nsearch {1e6 * each:.1f} µs a pair, brute grid {1e6 * other:.0f} µs a pair: {other / each:.0f} times")
    assert other / each > 10


def test_plan(benchmark: BenchmarkFixture) -> None:
    """The whole plan of the same job, and that a brute look at the pair it names finds nothing better."""
    job = big_job()
    plan = benchmark.pedantic(make_plan, args=(job, "margin"), rounds=2)
    assert plan.pairs == PAIRS
    assert plan.build is not None
    benchmark.extra_info.update(margin=plan.build.margin)
    assert isinstance(plan.build.margin, float)


def _seconds(command: list[str]) -> float:
    begin = time.perf_counter()
    subprocess.run(command, check=True, capture_output=True)
    return time.perf_counter() - begin


def test_help(benchmark: BenchmarkFixture) -> None:
    """`recurve --help` against importing the toolkit alone: nothing heavy is imported before it is needed."""
    ours = benchmark.pedantic(_seconds, args=([sys.executable, "-m", "recurve", "--help"],), rounds=5, warmup_rounds=1)
    bare = min(_seconds([sys.executable, "-c", "import typer"]) for _ in range(5))
    least = benchmark.stats.stats.min
    benchmark.extra_info.update(bare_s=bare, ratio=least / bare)
    print(f"\n--help {least:.2f} s, bare toolkit {bare:.2f} s: {least / bare:.2f} times")
    assert ours > 0
    assert least / bare < 4


@pytest.mark.parametrize("name", ["launch", "tractor"])
def test_whole_command(name: str, tmp_path: Path) -> None:
    """`recurve plan` on an example, as a customer waits for it: printed, not judged."""
    root = Path(__file__).resolve().parents[2]
    for folder in ("examples", "data"):
        (tmp_path / folder).mkdir()
        for file in (root / folder).iterdir():
            if file.is_file():
                (tmp_path / folder / file.name).write_bytes(file.read_bytes())
    job = tmp_path / "examples" / f"{name}.toml"
    begin = time.perf_counter()
    done = subprocess.run([sys.executable, "-m", "recurve", "plan", str(job)], capture_output=True, check=False)
    print(f"\nrecurve plan {name}: {time.perf_counter() - begin:.1f} s")
    assert done.returncode in (0, 3)
