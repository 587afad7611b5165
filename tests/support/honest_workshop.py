"""A workshop's folder of worn units whose truth is known, each planned, built and verified by the tool's own files.

Units, books and sweeps are those of `closing`; `integrator` says which units truly pass. Half of them are set by calliper, half
on the bench. A careful workshop builds within [build]; a careless one is off at the posts by several times as much.
"""

from __future__ import annotations

from collections.abc import Iterable
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from functools import partial
from pathlib import Path

import numpy as np
from closing import POST, Worn, as_left, bent, built, set_right, worn
from integrator import bench
from mechanisms import Mechanism

from recurve.output.judged import AskedLeft, judge_left
from recurve.output.planfile import plan_path, plan_toml
from recurve.planner.plan import make_plan


@dataclass(frozen=True)
class Finished:
    """A unit of the folder: its seed, how its posts were set, the chance said of that, what verify said and whether it truly
    passes."""

    seed: int
    set_by: str
    said: float
    verdict: str
    passes: bool


def finish(folder: Path, careless: float, seed: int) -> Finished | None:
    """Plan, build and verify the unit of this seed in a folder of its own; None if it cannot be planned. A unit set by calliper
    has its posts off by `careless` times [build]."""
    unit, random = worn(seed), np.random.default_rng([seed, 81])
    where = folder / f"unit-{seed:03}"
    where.mkdir(parents=True)
    asked = unit.job(where)
    plan = make_plan(asked)
    if plan.build is None or plan.built is None or plan.verdict == "out of reach":
        return None
    by_bench = seed % 2 == 1 and plan.built.fraction_set is not None
    one = built(unit, plan, random)
    one = set_right(unit, one, plan, random) if by_bench else _off_at_posts(unit, one, careless, random)
    planned = plan_path(asked.path)
    planned.parent.mkdir()
    planned.write_bytes(plan_toml(plan))
    sweep = where / "left.csv"
    sweep.write_text(as_left(unit, one, random), encoding="utf-8")
    set_by = "bench" if by_bench else "calliper"
    left = judge_left(asked.path, sweep, AskedLeft("distributor", None, {"set_by": set_by}), lambda told: None)
    said = plan.built.fraction_set if by_bench else plan.built.fraction
    return Finished(seed, set_by, said or 0.0, left.document.verdict, unit.book.passes(bench(one, unit.share)))


def _off_at_posts(unit: Worn, one: Mechanism, careless: float, random: np.random.Generator) -> Mechanism:
    """Each post off by so much more that its error in all is `careless` times that of [build], about."""
    if careless <= 1.0:
        return one
    more = POST * float(np.sqrt(careless**2 - 1.0))
    springs = tuple(bent(one, pull, more * random.uniform(-1, 1)) for pull in one.springs)
    return Mechanism(**{**vars(one), "springs": springs})


def workshop(folder: Path, seeds: Iterable[int], careless: float = 1.0, workers: int = 2) -> list[Finished]:
    """All units of these seeds, in this folder."""
    with ProcessPoolExecutor(workers) as pool:
        return [one for one in pool.map(partial(finish, folder, careless), seeds) if one is not None]
