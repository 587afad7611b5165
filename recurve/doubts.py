"""Findings about the readings themselves: scatter, typing errors, what they leave open, crank taken for distributor."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from recurve.evidence import Evidence
from recurve.findings import Finding, seized
from recurve.fit import Alternative, Fit
from recurve.job import Sweep
from recurve.posterior import find_modes, spread_starts
from recurve.sweepmodel import SweepModel

RPM = 30 / np.pi
FEW = 6
WORN = 1.8  # scatter this many times what was stated is wear, not reading


def data_findings(evidence: Evidence) -> list[Finding]:
    """All findings about the readings, in no order; none without a fit."""
    fit = evidence.fit
    if fit is None or seized(evidence):
        return []
    found = [_confusion(evidence, fit), _outliers(fit), _scatter(fit), _few(fit), _one_direction(fit), _order(fit)]
    found += [_alternative(a) for a in fit.alternatives]
    return [f for f in found if f is not None]


def _sweep(fit: Fit) -> Sweep:
    sweep = fit.job.sweep
    assert sweep is not None  # it was fitted
    return sweep


def _outliers(fit: Fit) -> Finding | None:
    if not fit.outliers:
        return None
    sweep = _sweep(fit)
    told = []
    for row in fit.outliers:
        i = int(np.flatnonzero(sweep.row == row)[0])
        told.append(
            f"row {row} of {sweep.file} reads {np.degrees(sweep.advance[i]):.1f}° at {sweep.speed[i] * RPM:.0f} rpm where "
            f"{np.degrees(fit.expected[i]):.1f}° is expected"
        )
    return Finding(
        "readings that do not belong",
        f"{'; '.join(told)} (distributor)",
        "left out of the fit",
        "take them again",
        "low",
    )


def _scatter(fit: Fit) -> Finding | None:
    if fit.inflation <= 1.0:
        return None
    told = f"the readings scatter {fit.inflation:.1f} times as much as stated (chi² {fit.chi2:.0f} for {fit.dof:.0f})"
    if fit.inflation < WORN:
        return Finding(
            "more scatter than stated",
            told,
            "all uncertainties are enlarged by it",
            "state how well the bench reads",
            "low",
        )
    return Finding(
        "steps and scatter, or readings that no spring can explain",
        told,
        "the timing wanders: two marks at the timing light, uneven running",
        "look for worn pins and holes, play, backlash, a weight that sticks; check that the measured weights and posts are this "
        "unit's; repair, then sweep again",
        "repair first",
    )


def _few(fit: Fit) -> Finding | None:
    readings = len(_sweep(fit).speed) - len(fit.outliers)
    if readings >= FEW:
        return None
    return Finding(
        f"only {readings} readings",
        "most of what is said here is what the job states, not what the readings show",
        "little can be told apart",
        "sweep in steps of 100 rpm (distributor), up and then down",
        "open question",
    )


def _one_direction(fit: Fit) -> Finding | None:
    rising = _sweep(fit).rising
    if rising.any() and not rising.all():
        return None
    have, lack = ("rising", "falling") if rising.all() else ("falling", "rising")
    return Finding(
        f"only {have} readings",
        f"without {lack} ones friction cannot be told from the rubbing block's drag, nor whether it comes back",
        "a sluggish unit looks sound",
        f"read it {lack} too",
        "open question",
    )


def _order(fit: Fit) -> Finding | None:
    """Speeds that run against their stated direction."""
    sweep = _sweep(fit)
    wrong = []
    for rising, name in ((True, "rising"), (False, "falling")):
        rows = np.flatnonzero(sweep.rising == rising)
        steps = np.diff(sweep.speed[rows])
        against = (steps < 0) if rising else (steps > 0)
        # One step against is the next sweep; most of them against is a mistake.
        if len(rows) >= 3 and against.sum() > len(steps) / 2:
            wrong.append(
                f"rows {sweep.row[rows[0]]} to {sweep.row[rows[-1]]} are called {name}, but their speeds run the other way"
            )
    if not wrong:
        return None
    return Finding(
        "direction and order disagree", "; ".join(wrong), "rising and falling may be taken for each other",
        "check the column direction", "open question",
    )  # fmt: skip


def _alternative(other: Alternative) -> Finding:
    parts = sorted(other.differs, key=lambda d: -abs(d[1] - d[2]) / (abs(d[1]) + abs(d[2]) + 1e-9))[:2]
    told = ", ".join(f"{name.replace('.', ' ')} {one:.1f} or {two:.1f} {unit}" for name, one, two, unit in parts)
    way = "rising" if other.rising else "falling"
    return Finding(
        "the readings allow two answers",
        f"{told}: the second explains them {other.likelihood:.0%} as well as the first",
        "the plan may be made for the wrong one",
        f"take a reading at {other.speed * RPM:.0f} rpm {way} (distributor): there the two differ by "
        f"{np.degrees(other.apart):.1f}°",
        "open question",
    )


def _confusion(evidence: Evidence, fit: Fit) -> Finding | None:
    """Whether crank readings taken for the distributor's, or the reverse, would explain what else cannot be."""
    if evidence.job.speed_ratio == 1.0:
        return None
    # As stated, not as enlarged to what the wrong scale would need; outliers may be good readings of another scale.
    model = replace(fit.model, sweep=_sweep(fit))
    strain = _strain(model)
    if strain < 2.0 * len(fit.residuals) and not _top_doubled(evidence):
        return None
    ratio = evidence.job.speed_ratio
    for name, factor in (
        ("crank readings given as the distributor's", 1 / ratio),
        ("distributor readings given as the crank's", ratio),
    ):
        if _strain(_rescaled(model, factor)) < 0.4 * strain:
            return Finding(
                f"{name}?",
                f"speed and advance both {'divided' if factor < 1 else 'multiplied'} by {ratio:g} fit the unit as described far "
                "better",
                "everything said here would be off by that factor",
                'check what the bench shows, and set basis = "crank" or "distributor" in [sweep]',
                "check first",
            )
    return None


def _top_doubled(evidence: Evidence) -> bool:
    """Whether the highest readings are nearer to twice or half the measured stop than to it."""
    sweep = evidence.job.sweep
    assert sweep is not None  # there is a fit
    top = float(np.quantile(sweep.advance, 0.9)) / evidence.job.stop.advance
    return top > 1.45 or 0.0 < top < 0.62


def _rescaled(model: SweepModel, factor: float) -> SweepModel:
    sweep = model.sweep
    zeroed = None if sweep.zeroed_at is None else sweep.zeroed_at * factor
    scaled = {name: getattr(sweep, name) * factor for name in ("speed", "advance", "reading", "speed_reading")}
    return replace(model, sweep=replace(sweep, **scaled, zeroed_at=zeroed))


def _strain(model: SweepModel) -> float:
    """How hard the readings and what was measured pull against each other: chi² of both at the best state."""
    low, high = model.bounds()

    def residuals(states: np.ndarray) -> np.ndarray:
        return np.concatenate([model.misfit(states)[0], states], axis=1)

    starts = spread_starts(model.log_density, low, high, 4, screened=1024)
    best = find_modes(residuals, model.log_density, starts, low, high)[0].state
    return float((residuals(best[None]) ** 2).sum())
