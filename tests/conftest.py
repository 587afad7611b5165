"""Fixtures of several files, one profile for all Hypothesis tests, and one thread for each worker."""

from __future__ import annotations

import os
from pathlib import Path
from typing import TYPE_CHECKING

import pytest
from hypothesis import HealthCheck, settings

if TYPE_CHECKING:
    from recurve.planner.plan import Plan

# There are as many workers as cores: threads of BLAS would only wait for each other. Read when numpy is first imported,
# so nothing here may import it at its head.
for _library in ("OPENBLAS", "OMP", "MKL"):
    os.environ.setdefault(f"{_library}_NUM_THREADS", "1")

# The files that take longest, the longest first; a file that is missing here only ends the run a little later.
LONGEST = (
    "test_journey", "test_check", "test_fit", "test_causes", "test_verify", "test_house", "test_commands", "test_first_look",
    "test_no_silent_key", "test_partial_springs", "test_papers", "test_documents", "test_start", "test_worth",
    "test_same_everywhere", "test_odd_inputs", "test_golden", "test_rules", "test_page", "test_reference_slips",
    "test_recovery", "test_trust", "test_messages", "test_logged", "test_learning", "test_brute_force",
)  # fmt: skip

# The same examples on every machine and in every run, however slow the machine is.
settings.register_profile(
    "recurve", derandomize=True, deadline=None, database=None, suppress_health_check=[HealthCheck.too_slow]
)
settings.load_profile("recurve")


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """The longest files first, so that no worker is left with one at the end while the other waits."""
    turn = {name: number for number, name in enumerate(LONGEST)}
    items.sort(key=lambda item: turn.get(item.path.stem, len(turn)))


@pytest.fixture
def plan(tmp_path: Path) -> Plan:
    """The bench unit of `sheetplans` as found: nothing is bent, the stop is left alone."""
    from sheetplans import JOB, SWEEP, make

    return make(tmp_path, JOB + SWEEP)


@pytest.fixture
def trimmed(plan: Plan) -> Plan:
    """Its stop built up, its posts bent."""
    from sheetplans import trimmed_of

    return trimmed_of(plan)


@pytest.fixture
def refused(plan: Plan) -> Plan:
    """It out of reach."""
    from sheetplans import refused_of

    return refused_of(plan)
