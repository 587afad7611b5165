"""Fixtures of several files, and the one profile of all Hypothesis tests."""

from __future__ import annotations

from pathlib import Path

import pytest
from hypothesis import HealthCheck, settings
from sheetplans import JOB, SWEEP, make, refused_of, trimmed_of

from recurve.planner.plan import Plan

# The same examples on every machine and in every run, however slow the machine is.
settings.register_profile(
    "recurve", derandomize=True, deadline=None, database=None, suppress_health_check=[HealthCheck.too_slow]
)
settings.load_profile("recurve")


@pytest.fixture
def plan(tmp_path: Path) -> Plan:
    """The bench unit of `sheetplans` as found: nothing is bent, the stop is left alone."""
    return make(tmp_path, JOB + SWEEP)


@pytest.fixture
def trimmed(plan: Plan) -> Plan:
    """Its stop built up, its posts bent."""
    return trimmed_of(plan)


@pytest.fixture
def refused(plan: Plan) -> Plan:
    """It out of reach."""
    return refused_of(plan)
