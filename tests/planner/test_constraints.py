"""Constraints on the choice of springs, and the pairs that are asked for."""

from __future__ import annotations

from dataclasses import replace

import pytest
from random_jobs import hidden_springs, job_about, known, random_job, three_points

from recurve.errors import InputError
from recurve.planner.plan import make_plan
from recurve.planner.springset import Constraints, spring_set_of, springs_of


def test_only_in_stock() -> None:
    """A quantity that is given and not 0; what can be ordered is not there yet."""
    job = random_job(1)
    assert job.catalogue is not None
    there = {s.id for s in spring_set_of(job, Constraints(only_in_stock=True)).springs}
    assert there == {s.id for s in job.catalogue.springs if s.quantity} | {p.found.id for p in job.places if p.found}


def test_the_order_of_rows_in_a_catalogue_is_nothing() -> None:
    """Springs by their id, then those found in the unit."""
    job = random_job(1)
    assert job.catalogue is not None
    found = [p.found for p in job.places if p.found is not None]
    for springs in (job.catalogue.springs, job.catalogue.springs[::-1]):
        rows = replace(job, catalogue=replace(job.catalogue, springs=springs))
        listed = list(springs_of(rows))
        assert [s.id for s in listed] == sorted(s.id for s in springs) + [s.id for s in found]


def test_a_spring_is_given_or_kept() -> None:
    """The id asked for in its place; the spring now fitted in its own, whatever would be better."""
    around = known()
    springs = hidden_springs(around)
    other = tuple(replace(s, id=f"{s.id}2", rate=1.02 * s.rate) for s in springs)
    found = tuple(replace(s, id=f"as found {i}", quantity=1) for i, s in enumerate(springs))
    job = job_about(around, three_points(around), (*springs, *other), found=found)
    given = make_plan(job, "margin", Constraints(primary="P2"))
    assert given.build is not None and given.build.springs[0].spring.id == "P2"
    kept = make_plan(job, "margin", Constraints(keep=frozenset({"secondary"}), primary="P"))
    assert kept.build is not None
    assert [s.spring.id for s in kept.build.springs] == ["P", "as found 1"]
    assert kept.pairs == 1


@pytest.mark.parametrize(
    ("constraints", "told"),
    [
        (Constraints(primary="P3"), "did you mean P"),
        (Constraints(secondary="nothing like it"), "expected an id"),
        (Constraints(keep=frozenset({"primary"})), "nothing to keep"),
        (Constraints(primary="P", keep=frozenset({"primary"})), "both"),
    ],
)
def test_constraints_that_cannot_be_met(constraints: Constraints, told: str) -> None:
    """Said before anything is planned."""
    around = known()
    with pytest.raises(InputError, match=told):
        make_plan(job_about(around, three_points(around), hidden_springs(around)), constraints=constraints)


def test_the_top_pairs() -> None:
    """As many as asked for, where there are so many, the best margin first; the first has the largest margin."""
    job = random_job(8)
    best, plan = make_plan(job, "margin"), make_plan(job, "margin", top=6)
    margins = [a.build.margin for a in plan.alternatives]
    assert best.build is not None
    assert len(margins) == min(6, plan.pairs)
    assert margins == sorted(margins, reverse=True)
    assert margins[0] == pytest.approx(best.build.margin, abs=1e-3)
    assert len({tuple(s.spring.id for s in a.build.springs) for a in plan.alternatives}) == len(margins)
    assert all(0.0 <= a.fraction <= 1.0 for a in plan.alternatives)
