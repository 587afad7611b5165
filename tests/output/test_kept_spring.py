"""What plan.toml says of a spring that stays in the unit: as surely as it is known, and no more.

All units are invented. The ± expected are those of the fit, of the job, or by hand; none is read from plan.toml first.
"""

from __future__ import annotations

import tomllib
from dataclasses import replace
from functools import cache
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

import numpy as np
import pytest
from jobs import write_job

from recurve.job.read import load_job
from recurve.output.planfile import plan_toml
from recurve.planner.build import make_build
from recurve.planner.plan import Plan, make_plan
from recurve.units import parse

UNWEIGHED = ('free_length = "15.2 mm"\nrate = "1.6 ± 0.1 N/mm"\n', "")


@cache
def planned(*changes: tuple[str, str]) -> Plan:
    """A plan whose build keeps the primary found in the unit, and has a new secondary."""
    with TemporaryDirectory() as folder:
        plan = make_plan(load_job(write_job(Path(folder), *changes)))
    found, build = plan.job.places[0].found, plan.build
    assert found is not None and build is not None
    kept = (found, build.springs[1].spring)
    return replace(plan, build=make_build(plan.job, kept, tuple(s.bend for s in build.springs), build.stop))


def springs(plan: Plan) -> dict[str, Any]:
    table: dict[str, Any] = tomllib.loads(plan_toml(plan).decode())["springs"]
    return table


def half_width(text: str, dimension: str) -> float:
    return parse(text, dimension).half_width or 0.0


def test_a_kept_spring_that_nobody_weighed_is_known_as_its_sweep_tells() -> None:
    """± is √3 standard uncertainties (JCGM 100, 4.3.7). The fit's own estimate of the rate is the witness; ± 5 %, the tolerance
    of the build, would be a measurement that nobody took. A length over a post that is bent adds what a calliper may be off."""
    plan = planned(UNWEIGHED)
    assert plan.fit is not None and plan.build is not None
    table = springs(plan)["primary"]
    natural = plan.fit.model.natural(plan.fit.samples.states)
    rates = np.exp(plan.fit.model.column(natural, "primary.rate"))
    at_least = np.sqrt(3.0) * plan.fit.samples.deviation(rates)
    found = half_width(table["rate"], "rate")
    assert found >= 0.99 * at_least > plan.job.build.rate * plan.build.springs[0].spring.rate
    drawn = plan.fit.samples.deviation(plan.fit.model.column(natural, "primary.stretch"))
    assert half_width(table["free_length"], "length") >= 0.99 * np.sqrt(3.0) * drawn > plan.job.build.post


def test_a_new_spring_has_the_tolerances_of_the_build() -> None:
    plan = planned(UNWEIGHED)
    assert plan.build is not None
    new, table = plan.build.springs[1].spring, springs(plan)["secondary"]
    assert not new.id.startswith("as found")
    assert half_width(table["rate"], "rate") == pytest.approx(plan.job.build.rate * new.rate, rel=0.01)
    assert half_width(table["free_length"], "length") == pytest.approx(plan.job.build.post, rel=0.01)


def test_without_a_sweep_a_kept_spring_is_as_it_was_measured() -> None:
    """1.6 ± 0.1 N/mm and 15.2 mm without a ±, as the job has them."""
    plan = planned(('[sweep]\nfile = "as-found.csv"\nreading = "± 0.8 deg"\n', ""))
    assert plan.fit is None
    table = springs(plan)["primary"]
    assert half_width(table["rate"], "rate") == pytest.approx(100.0) and "±" not in table["free_length"]
