"""What verify says of how a unit was built against how it was built: worn units as in `closing`, planned, built, swept."""

from __future__ import annotations

import tempfile
from collections.abc import Iterable
from concurrent.futures import ProcessPoolExecutor
from pathlib import Path

import numpy as np
from closing import as_left, built, worn
from mechanisms import Mechanism, Pull
from type_study import rest_length

from recurve.diagnosis.verify import verify_unit
from recurve.job.read import load_job, read_as_left
from recurve.output.planfile import plan_toml
from recurve.planner.plan import Plan, make_plan
from recurve.units import PLACES

Row = tuple[int, str, float, float, float]  # seed, what, as built, as told, its standard uncertainty; off the plan


def study(seed: int) -> list[Row]:
    """What is told of one unit; nothing of one that cannot be planned."""
    unit, random = worn(seed), np.random.default_rng([seed, 78])
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        asked = unit.job(folder)
        plan = make_plan(asked)
        if plan.build is None or plan.built is None or plan.verdict == "out of reach":
            return []
        one = built(unit, plan, random)
        where = folder / f"{asked.path.stem}-plan"
        where.mkdir()
        (where / "plan.toml").write_bytes(plan_toml(plan))
        (folder / "as-left.csv").write_text(as_left(unit, one, random), encoding="utf-8")
        planned = load_job(where / "plan.toml")
        result = verify_unit(planned, read_as_left(folder / "as-left.csv", asked, basis="distributor"))
        if result.built is None:
            return []
        rows: list[Row] = []
        for spring in result.built.springs:
            place = PLACES.index(spring.place)
            if plan.job.places[place].found is plan.build.springs[place].spring:
                continue  # kept as it was, so no build tells of a maker or a catalogue
            if spring.rate is not None:
                rows.append((seed, "rate", _rate(one.springs[place], plan, place), *spring.rate))
            if spring.length is not None:
                told = tuple(1e3 * x for x in spring.length)
                rows.append((seed, "length", _length(one, plan, place), told[0], told[1]))
        if result.built.stop is not None:
            told = tuple(float(np.degrees(x)) for x in result.built.stop)
            rows.append((seed, "stop", one.stop - float(np.degrees(plan.build.stop)), told[0], told[1]))
        return rows


def _rate(pull: Pull, plan: Plan, place: int) -> float:
    assert plan.build is not None
    return pull.rate / (1e-3 * plan.build.springs[place].spring.rate) - 1.0


def _length(one: Mechanism, plan: Plan, place: int) -> float:
    """Stretch at rest above what was planned [mm]."""
    assert plan.build is not None
    fitted, pull = plan.build.springs[place], one.springs[place]
    return rest_length(one, pull) - pull.free_length - 1e3 * (fitted.length - fitted.spring.free_length)


def studied(seeds: Iterable[int], workers: int = 2) -> list[Row]:
    """Of many units."""
    with ProcessPoolExecutor(workers) as pool:
        return [row for rows in pool.map(study, seeds) for row in rows]
