"""The buying list: the ends that it states are springs that still do, and what lies well beyond does not."""

from __future__ import annotations

import csv
import io
from dataclasses import replace

import numpy as np
import pytest
from random_jobs import random_job

from recurve.output.planfile import ORDER_COLUMNS, order_csv
from recurve.planner.choose import by_margin, choose_build
from recurve.planner.plan import Plan, make_plan
from recurve.planner.problem import problem_of
from recurve.planner.springset import SpringSet
from recurve.springs.spring import Spring


def margin_with(plan: Plan, place: int, spring: Spring) -> float:
    """The best margin with one spring exchanged and the posts set anew, the stop as planned."""
    assert plan.build is not None
    stop = plan.build.stop
    pair = [replace(s.spring, quantity=None) for s in plan.build.springs]
    pair[place] = spring
    job = replace(plan.job, stop=replace(plan.job.stop, advance=stop, file_up_to=0.0, build_up_to=0.0))
    spring_set = SpringSet.of(pair)
    if len(pair) == 2:
        spring_set = spring_set.limited(np.eye(2, dtype=bool))
    build = choose_build(problem_of(job), spring_set, job, by_margin, True).build
    return -1e3 if build is None else build.margin


@pytest.mark.parametrize("seed", [1, 8])
def test_the_stated_ends(seed: int) -> None:
    """Each end of rate and length, the rest as planned, keeps half the margin on the exact curve of its own plan."""
    plan = make_plan(random_job(seed), "margin")
    assert plan.build is not None
    for one in plan.purchases:
        place = ("primary", "secondary").index(one.place)
        assert one.rates[0] <= one.spring.rate * (1 + 1e-9) and one.spring.rate <= one.rates[1] * (1 + 1e-9)
        changed = [replace(one.spring, rate=r, quantity=None) for r in one.rates]
        changed += [replace(one.spring, free_length=x, quantity=None) for x in one.lengths]
        for spring in changed:
            assert margin_with(plan, place, spring) >= one.floor - 0.05


def test_the_file() -> None:
    """One row a purchase under the columns named; alternates are ids of the catalogue."""
    plan = make_plan(random_job(8), "margin")
    rows = list(csv.DictReader(io.StringIO(order_csv(plan).decode("utf-8"))))
    assert len(rows) == len(plan.purchases) > 0
    assert plan.job.catalogue is not None
    ids = {s.id for s in plan.job.catalogue.springs} | {p.found.id for p in plan.job.places if p.found}
    for row in rows:
        assert tuple(row) == ORDER_COLUMNS
        assert row["id"] in ids
        assert set(row["alternates"].split()) <= {w for i in ids for w in i.split()}
        assert float(row["rate_from [N/mm]"]) <= float(row["rate [N/mm]"]) <= float(row["rate_to [N/mm]"])
