"""Plans for the tests of the sheet, and all the words of its facts."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

from recurve.build import make_build
from recurve.plan import Plan


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
