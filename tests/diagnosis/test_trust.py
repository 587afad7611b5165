"""The gate of all commands that start from a sweep: what `check` cannot tell, `plan` does not pass."""

from __future__ import annotations

import csv
import io
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import pytest
from example_plans import example, planned
from longer import some
from sweeps import HEADER

from recurve.diagnosis.check import check_unit
from recurve.diagnosis.trust import UNSETTLED, trust_by, trust_in
from recurve.fit.fit import fit_sweep
from recurve.job.model import Job
from recurve.job.read import load_job
from recurve.output.documents.plan import PlanDocument
from recurve.output.sheet.sheet import sheet_facts
from recurve.output.text.plan import plan_text
from recurve.planner.plan import make_plan


def times(folder: Path, speed: float, advance: float) -> Job:
    """The launch with the speeds and advances of its sweep multiplied, as if written in other terms."""
    job = example("launch")
    told = (job.path.parent / "launch-as-found.csv").read_text(encoding="utf-8").splitlines()
    rows = list(csv.reader(line for line in told if not line.startswith("#")))[1:]
    text = io.StringIO(HEADER)
    text.seek(0, io.SEEK_END)
    for rpm, degrees, way in rows:
        text.write(f"{float(rpm) * speed:g},{float(degrees) * advance:g},{way}\n")
    (folder / "launch-as-found.csv").write_text(text.getvalue(), encoding="utf-8")
    source = job.path.read_text(encoding="utf-8").replace("../data", str(job.path.parent.parent / "data"))
    path = folder / "launch.toml"
    path.write_text(source, encoding="utf-8")
    return load_job(path)


def test_the_launch_may_be_built_from() -> None:
    document = PlanDocument.of(planned("launch"))
    assert document.trust.ok and document.trust.reasons == []
    assert "DO NOT BUILD" not in plan_text(planned("launch"))


@pytest.mark.parametrize(("speed", "advance"), some([(2.0, 2.0), (2.0, 1.0), (1.0, 2.0)], 1, several=True))
def test_crank_figures_are_not_built_from(speed: float, advance: float, tmp_path: Path) -> None:
    job = times(tmp_path, speed, advance)
    assert check_unit(job).verdict in ("cannot tell", "mechanical repair first")
    plan = make_plan(job)
    document = PlanDocument.of(plan)
    assert not document.trust.ok
    assert plan_text(plan).index("DO NOT BUILD FROM THIS YET") < plan_text(plan).index(plan.verdict.upper())
    assert sheet_facts(plan)["parts"][0]["facts"]["distrust"]


@pytest.mark.parametrize(
    ("severity", "barring"),
    [("check first", True), ("repair first", True), ("high", False), ("medium", False), ("open question", False)],
)
def test_what_must_be_checked_or_mended_first_bars_and_nothing_else(severity: str, barring: bool) -> None:
    finding: Any = SimpleNamespace(severity=severity, what="sluggish", evidence="2° apart", remedy="clean it")
    gate = trust_by((finding,), None)
    assert gate.reasons == (("sluggish: 2° apart; clean it",) if barring else ()) and gate.ok is not barring


@pytest.mark.parametrize("converged", [True, False])
def test_a_fit_that_did_not_settle_bars_whatever_it_finds(converged: bool) -> None:
    fit: Any = SimpleNamespace(converged=converged)
    assert trust_by((), fit).reasons == (() if converged else (UNSETTLED,))


def test_without_a_sweep_there_is_nothing_to_distrust() -> None:
    assert trust_in(example("tractor"), None).ok
    assert trust_in(example("tractor"), fit_sweep(example("tractor"))).ok
