"""The examples as tests share them: each is read, planned and judged once in a session, however many files look at it."""

from __future__ import annotations

import tempfile
from dataclasses import dataclass, replace
from functools import cache
from pathlib import Path

from checkout import EXAMPLES
from sweeps import swept

from recurve.diagnosis.verify import Verification, verify_unit
from recurve.job.model import Job
from recurve.job.read import load_job, read_as_left
from recurve.physics.sweep import Sweep
from recurve.planner.plan import Plan, make_plan


@cache
def example(name: str) -> Job:
    """An example by its name."""
    return load_job(EXAMPLES / f"{name}.toml")


@cache
def planned(name: str) -> Plan:
    """Its plan, from its sweep."""
    return make_plan(example(name))


@cache
def planned_by_limits(name: str) -> Plan:
    """Its plan without its sweep: its unit is then known by the stated ± alone."""
    return make_plan(replace(example(name), sweep=None))


@dataclass(frozen=True)
class Again:
    """A unit with nothing done to it, swept again as `left` and judged."""

    job: Job
    left: Sweep
    result: Verification


@cache
def tractor_again() -> Again:
    """The tractor with nothing done to it, swept again."""
    unit = example("tractor").as_found()
    assert unit is not None
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "as-left.csv"
        path.write_text(swept(unit, range(200, 1301, 100), 0.2, 4), encoding="utf-8")
        left = read_as_left(path, example("tractor"), basis="distributor")
    return Again(example("tractor"), left, verify_unit(example("tractor"), left))
