"""Plans for the tests of figures, sheet and page, and all the words of the sheet's facts."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
from example_plans import planned

from recurve.inspection.inspected import inspect_unit
from recurve.job.read import load_job
from recurve.planner.build import make_build
from recurve.planner.plan import Plan

# An invented unit whose curve can be worked by hand: see `onset_by_hand`.
JOB = """
title = "Bench unit with $x^2$ in its name"
[distributor]
lobes = 4
rotation = "clockwise"
[weights]
mass = "30 g"
[weights.motion]
kind = "table"
advance = ["0 deg", "6 deg", "12 deg"]
cg_radius = ["15 mm", "16 mm", "17 mm"]
[stop]
advance = "12 deg"
radius = "14 mm"
build_up_to = "0.6 mm"
[drag]
rubbing_block = "4 mN*m"
friction = "1 mN*m"
[springs.primary]
post_travel = ["-0.5 mm", "0.5 mm"]
rate = "1 N/mm"
free_length = "15.5 mm"
[springs.primary.posts]
kind = "table"
advance = ["0 deg", "12 deg"]
length = ["16.0 mm", "17.2 mm"]
[springs.secondary]
post_travel = ["-0.5 mm", "0.5 mm"]
rate = "3 N/mm"
free_length = "16.5 mm"
[springs.secondary.posts]
kind = "table"
advance = ["0 deg", "12 deg"]
length = ["16.0 mm", "17.2 mm"]
[target]
points = [
  { speed = "400 rpm", min = "2 deg", max = "5 deg" },
  { speed = "600 rpm", min = "6 deg", max = "9 deg" },
]
idle = { speed = "200 rpm", max = "0.5 deg" }
maximum = { advance = "10 deg", tolerance = "1 deg" }
"""
SWEEP = """
[sweep]
file = "readings.csv"
reading = "± 0.5 deg"
zeroed_at = "150 rpm"
"""
READINGS = """speed [rpm],advance [deg],direction
300,1.5,rising
500,6,rising
700,11.5,rising
400,4.5,falling
"""


def make(folder: Path, text: str = JOB, stop: float = 12.0) -> Plan:
    """A plan with the springs as found and the stop at `stop` degrees, without a search."""
    path = folder / "bench.toml"
    path.write_text(text, encoding="utf-8")
    (folder / "readings.csv").write_text(READINGS, encoding="utf-8")
    job = load_job(path)
    springs = tuple(p.found for p in job.places if p.found is not None)
    build = make_build(job, springs, (0.0,) * len(springs), float(np.radians(stop)))
    return Plan(
        job=job,
        verdict="passes",
        build=build,
        built=None,
        others=(),
        ideal=None,
        pairs=0,
        feasible=0,
        reasons=(),
        notes=(),
        inspected=inspect_unit(job.inspection, job.lobes, job.speed_ratio),
        fit=None,
        before=build.curve,
        before_band=None,
    )


def launch() -> Plan:
    """The launch's plan, from its sweep."""
    return planned("launch")


def trimmed_of(plan: Plan) -> Plan:
    """The stop built up by 0.5 mm, the primary's post bent out by 0.2 mm, the secondary's in by 0.1 mm."""
    springs = tuple(p.found for p in plan.job.places if p.found is not None)
    build = make_build(plan.job, springs, (0.2e-3, -0.1e-3), plan.job.stop.advance - 0.5 / 14)
    return replace(plan, build=build, verdict="passes with stop trim")


def refused_of(plan: Plan) -> Plan:
    """Out of reach, with a reason and a remark."""
    reasons = ("No springs at all can do it: “at most 7.0° at 700 rpm” fights.",)
    return replace(plan, verdict="out of reach", reasons=reasons, notes=("A remark.",))


def leaves(value: Any) -> list[str]:
    """All texts in nested facts."""
    if isinstance(value, str):
        return [value]
    children = value.values() if isinstance(value, dict) else value if isinstance(value, list) else ()
    return [text for child in children for text in leaves(child)]
