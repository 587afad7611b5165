"""Does the fit find what a unit really is? Figures over many synthetic units (see `synthetic`)."""

from __future__ import annotations

import tempfile
from collections.abc import Callable, Iterable, Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from functools import partial
from pathlib import Path

import numpy as np
from mechanisms import RPM
from numpy.typing import NDArray
from synthetic import Case, Kind, case

from recurve.fit.fit import Fit, fit_sweep
from recurve.fit.model import ends
from recurve.job.model import Job
from recurve.physics.ensemble import curves

Array = NDArray[np.float64]
GRID = 0.02  # [deg] what the steps of the integrator and the grids of the curves may cost
Check = Callable[[Job], bool]


@dataclass(frozen=True)
class Told:
    """One estimate of one unit: how far off in its own standard uncertainties, and where it is from."""

    name: str
    off: float
    source: str


@dataclass(frozen=True)
class Outcome:
    """What came of one unit: its estimates, and of the predicted curve the share of points within 2 sd."""

    seed: int
    told: tuple[Told, ...]
    curve: tuple[bool, ...]
    converged: bool
    effective: float
    outliers: int
    inflation: float


def outcome(seed: int) -> Outcome:
    """Fit the unit of this seed and compare."""
    unit = case(seed)
    with tempfile.TemporaryDirectory() as folder:
        fit = fit_sweep(unit.job(Path(folder)))
    told = tuple(
        Told(e.name, abs(e.value - unit.truth[e.name]) / max(e.standard_uncertainty, 1e-9), e.source)
        for e in fit.estimates
        if e.value is not None and e.standard_uncertainty is not None
    )
    within = tuple(bool(x) for x in curve_within(fit, unit))
    return Outcome(seed, told, within, fit.converged, fit.samples.effective, len(fit.outliers), fit.inflation)


def curve_within(fit: Fit, unit: Case) -> NDArray[np.bool_]:
    """At each speed, rising and falling: is the true advance within 2 sd of the posterior's mean?"""
    made = curves(fit.model.shapes, fit.model.units(fit.samples.states))
    start, top = ends(made, fit.model.sweep)
    speeds = unit.speeds * RPM
    both = np.concatenate([made.rising_advance(speeds, start), made.falling_advance(speeds, top)], axis=1)
    truth = np.concatenate([unit.rising, unit.falling])
    off = np.abs(np.degrees(fit.samples.mean(both)) - truth)
    return np.asarray(off <= 2 * np.degrees(fit.samples.deviation(both)) + GRID)


def outcomes(seeds: Iterable[int], workers: int = 2) -> list[Outcome]:
    """Of many units, on both cores."""
    with ProcessPoolExecutor(workers) as pool:
        return list(pool.map(outcome, seeds, chunksize=4))


def coverage(found: Sequence[Outcome], source: str = "readings") -> dict[str, tuple[int, int]]:
    """By estimate: how many are within 2 standard uncertainties, of how many."""
    table: dict[str, tuple[int, int]] = {}
    for one in found:
        for told in one.told:
            if told.source == source:
                hit, of = table.get(told.name, (0, 0))
                table[told.name] = hit + (told.off <= 2.0), of + 1
    points = [inside for one in found for inside in one.curve]
    table["curve"] = sum(points), len(points)
    return table


def residual_said(check: Check, kind: Kind, seed: int) -> bool:
    """What a check says of one unit of this kind: does advance stay in?"""
    with tempfile.TemporaryDirectory() as folder:
        return check(case(seed, kind).job(Path(folder)))


def share_said(check: Check, kind: Kind, seeds: Iterable[int], workers: int = 2) -> float:
    """The share of units of a kind of which `check` says that advance stays in; it must be picklable."""
    with ProcessPoolExecutor(workers) as pool:
        said = list(pool.map(partial(residual_said, check, kind), seeds, chunksize=4))
    return float(np.mean(said))
