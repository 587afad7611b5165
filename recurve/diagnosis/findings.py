"""Findings that the curve itself shows: what, by which evidence, what it does to the engine, what to do.

Findings about the readings themselves: scatter, typing errors, what they leave open, crank taken for distributor.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from recurve.fit.fit import Alternative, Fit
from recurve.fit.model import SweepModel
from recurve.fit.posterior import find_modes, spread_starts
from recurve.fit.state import SURE, Doubtful, Evidence
from recurve.inspection.findings import Finding
from recurve.job.model import Job, Sweep
from recurve.physics.target import Band
from recurve.planner.ideal import Ideal
from recurve.units import RPM

STAYS_IN = np.radians(0.5)  # advance at idle that counts as not home where the target does not say; common practice
SLUGGISH = np.radians(1.0)  # rising and falling apart; common practice, no source
LATE = np.radians(1.0)  # a second spring this much later than the target wants is a hook or post worn
MAXIMUM_DEFAULT = np.radians(1.0)  # common practice, no source


def curve_findings(evidence: Evidence, ideal: Ideal | None) -> list[Finding]:
    """All findings of the curve, in no order. Without a target only what no book is needed for."""
    if seized(evidence):
        return [_seized(evidence)]
    found = [_residual(evidence), _sluggish(evidence), _never_takes_up(evidence)]
    if evidence.job.target is not None:
        found += [_early(evidence, ideal), _late_takeup(evidence, ideal), _slow(evidence), _stop(evidence)]
    return [f for f in found if f is not None]


def seized(evidence: Evidence) -> bool:
    """Whether the readings show next to no advance at all."""
    sweep = evidence.job.sweep
    if sweep is None or len(sweep.advance) < 3:
        return False
    return bool(np.ptp(sweep.advance) < max(np.radians(1.0), 2 * sweep.reading))


def _seized(evidence: Evidence) -> Finding:
    sweep = evidence.job.sweep
    assert sweep is not None  # `seized` has looked at it
    low, high = np.degrees(sweep.advance.min()), np.degrees(sweep.advance.max())
    return Finding(
        "no advance: the weights or the cam bind",
        f"all {len(sweep.advance)} readings, {sweep.speed.min() * RPM:.0f} to {sweep.speed.max() * RPM:.0f} rpm, lie from "
        f"{low:.1f}° to {high:.1f}° (distributor)",
        "the engine is flat and hot at speed: its timing stays where it was set",
        "strip, clean and oil the cam spindle, free the weights on their pins; sweep again before judging springs",
        "repair first",
    )


def _residual(e: Evidence) -> Finding | None:
    """Does not come back to zero, or cannot tell."""
    target = e.job.target
    idle = None if target is None else next((b for b in target.bands if b.kind == "idle"), None)
    limit = STAYS_IN if idle is None else max(idle.high, STAYS_IN)
    chance = e.residual.above(limit)
    if chance <= 1 - SURE:
        return None
    at = f"{e.idle * RPM:.0f} rpm"
    told = f"{e.residual.degrees()} stays in at {at} where {np.degrees(limit):.1f}° is the most (distributor)"
    if chance < SURE:
        return Finding(
            "cannot tell whether it comes back to zero",
            f"{told}: probability {chance:.0%}{_hidden(e)}",
            "advance that stays in at idle is added to whatever the timing light is set to",
            "take zero with the weights held home by hand, then read again at idle, coming down",
            "open question",
        )
    return Finding(
        "does not come back to zero",
        f"{told}{_slack(e)}",
        "set by light at idle, the engine ends up short of its total; set at the top, idle is far advanced and hunts",
        "twist the cam by hand in its direction of rotation: it must spring home. If it does not, the spindle binds: clean it "
        "first. If it does, the primary is slack or stretched, or its post bent in: reset the post or replace the spring",
        "high",
    )


def _hidden(e: Evidence) -> str:
    sweep = e.job.sweep
    if sweep is None or sweep.zeroed_at is None:
        return ""
    return f"; zero was taken at {sweep.zeroed_at * RPM:.0f} rpm, where some may have been in already"


def _slack(e: Evidence) -> str:
    takeup = e.takeup(0)
    if takeup.above(np.radians(0.2)) > SURE:
        return f"; the primary hangs slack up to {takeup.degrees()} of advance"
    return ""


def _sluggish(e: Evidence) -> Finding | None:
    if e.apart.above(SLUGGISH) < SURE:
        return None
    friction = e.value("friction")
    return Finding(
        "sluggish: rising and falling lie apart",
        f"{e.apart.degrees()} between the two (distributor), {np.degrees(SLUGGISH):.0f}° is the most; friction "
        f"{1e3 * friction.mean:.1f} ± {2e3 * friction.deviation:.1f} mN·m, which the rubbing block's drag cannot cause, since "
        "that does not change sign",
        "timing depends on whether the engine was speeding up or slowing down",
        "dry or rusty cam spindle, dirt, worn pins: clean and oil before any spring is judged",
        "repair first",
    )


def _never_takes_up(e: Evidence) -> Finding | None:
    if len(e.job.places) < 2 or e.never(1) < SURE:
        return None
    return Finding(
        "the second spring never takes up",
        f"it would begin past the stop of {e.stop.degrees()} (distributor); probability {e.never(1):.0%}",
        "all of the advance is in far too soon: knock under load at middling speed",
        "look for a missing or opened hook, a bent or worn post, or a wrong spring; set the post or replace the spring",
        "high" if e.job.target is not None else "medium",
    )


def _timed(e: Evidence) -> list[tuple[Band, Doubtful, Doubtful]]:
    target = e.job.target
    bands = [] if target is None else [b for b in target.bands if b.kind == "point"]
    speeds = np.array([b.speed for b in bands], float)
    if not bands:
        return []
    rising, falling = e.rising(speeds), e.falling(speeds)
    return [(b, Doubtful(rising[:, i]), Doubtful(falling[:, i])) for i, b in enumerate(bands)]


def _high(e: Evidence, past_knee: bool, knee: float) -> list[str]:
    """Bands that the unit is above for sure, below or past the knee of the target's curve [rad]."""
    told = []
    for band, _, falling in _timed(e):
        middle = (band.low + band.high) / 2
        if falling.above(band.high) > SURE and (middle > knee) == past_knee:
            told.append(
                f"{falling.degrees()} at {(band.speed or 0) * RPM:.0f} rpm where {np.degrees(band.high):.1f}° is the most"
            )
    return told


def _knee(e: Evidence, ideal: Ideal | None) -> float:
    """Where the target's curve wants the second spring to take up [rad]; past everything with one spring."""
    if len(e.job.places) < 2:
        return float(np.inf)
    wanted = None if ideal is None or len(ideal.springs) < 2 else ideal.springs[1].takeup
    target = e.job.target
    top = 0.0 if target is None else max(b.high for b in target.bands)
    return 0.45 * top if wanted is None else max(wanted, 0.2 * top)


def _early(e: Evidence, ideal: Ideal | None) -> Finding | None:
    told = _high(e, False, _knee(e, ideal))
    if not told:
        return None
    slack = e.takeup(0).above(np.radians(0.2)) > SURE
    return Finding(
        "early onset: slack primary" if slack else "early onset: weak primary",
        f"{'; '.join(told)} (distributor); onset {e.onset.rpm()}{_slack(e)}",
        "too much advance too early: pinking as it pulls away, hunting at idle",
        "only after the twist test (turned by hand the cam springs home): replace the primary, or reset its post",
        "high",
    )


def _late_takeup(e: Evidence, ideal: Ideal | None) -> Finding | None:
    if len(e.job.places) < 2 or e.never(1) >= SURE:
        return None
    knee = _knee(e, ideal)
    told = _high(e, True, knee)
    takeup = e.takeup(1)
    if not told:
        return None
    late = takeup.above(knee + LATE) > SURE
    return Finding(
        "take-up late: hook or post of the second spring worn"
        if late
        else "too much past the knee: weak second spring",
        f"{'; '.join(told)} (distributor); the second spring takes up at {takeup.degrees()}"
        + (f", the target wants about {np.degrees(knee):.1f}°" if late else ""),
        "too much advance in the middle of the range: knock under load, the more the harder it pulls",
        "close the hook or bend the post out; a worn hook or groove wants a new spring or post",
        "high",
    )


def _slow(e: Evidence) -> Finding | None:
    told = [
        f"{rising.degrees()} at {(band.speed or 0) * RPM:.0f} rpm where {np.degrees(band.low):.1f}° is the least"
        for band, rising, _ in _timed(e)
        if not band.from_zero and rising.below(band.low) > SURE
    ]
    if not told:
        return None
    return Finding(
        "too little advance: springs too strong, or something binds",
        f"{'; '.join(told)} (distributor)",
        "flat, hot and thirsty: the engine runs retarded at these speeds",
        "free the weights and the cam spindle first; then weaker springs or posts bent in",
        "medium",
    )


def _stop(e: Evidence) -> Finding | None:
    """Worn or built up, in degrees and mm, and whether a trim can save it."""
    band = None if e.job.target is None else e.job.target.maximum
    if band is None:
        return None
    high, low = e.stop.above(band.high), e.stop.below(band.low)
    if max(high, low) <= 1 - SURE:
        return None
    limit, over = (band.high, True) if high >= low else (band.low, False)
    off = abs(e.stop.mean - limit)
    ratio = e.job.speed_ratio
    told = (
        f"{e.stop.degrees()} where {np.degrees(limit):.1f}° is the {'most' if over else 'least'}: {np.degrees(off):.1f}° too "
        f"{'much' if over else 'little'} at the distributor, {np.degrees(off) * ratio:.1f}° at the crank"
    )
    if max(high, low) < SURE:
        return Finding(
            "cannot tell whether the stop is worn" if over else "cannot tell whether the stop is short",
            f"{told}; probability {max(high, low):.0%}",
            "too much at the top is knock at full load that nobody hears",
            "turn the cam to its stop by hand against a degree wheel, three times, and give the mean with its ±",
            "open question",
        )
    return Finding(
        "stop worn, filed or its bush missing" if over else "stop built up, or something binds before it",
        f"{told}. {' '.join(stop_words(e.job, e.stop.mean))}",
        "too much total advance: knock at full load breaks pistons before it is heard"
        if over
        else "short of its total: flat and hot at speed",
        "build the stop up while the unit is stripped, or fit the missing bush"
        if over
        else "find what binds; else file the stop",
        "high",
    )


def stop_words(job: Job, stop: float | None = None) -> tuple[str, ...]:
    """Whether trim can bring the stop [rad] into the maximum's band: the mm needed against the mm allowed."""
    band = None if job.target is None else job.target.maximum
    at = job.stop.advance if stop is None else stop
    if band is None or band.low <= at <= band.high:
        return ()
    if not job.stop.per_mm:
        return ("Whether a trim can save it cannot be told: give the stop's radius, or degrees per mm by a feeler.",)
    build = at > band.high
    per_mm = job.stop.per_mm
    need = (at - band.high if build else band.low - at) / per_mm * 1e3
    centre = abs(at - (band.low + band.high) / 2) / per_mm * 1e3
    allowed = 1e3 * (job.stop.build_up_to if build else job.stop.file_up_to)
    what = "building up" if build else "filing"
    can = "can be saved" if need <= allowed + 1e-9 else "cannot be saved"
    return (
        f"It {can} by a trim: {what} {need:.2f} mm reaches the band's edge, {centre:.2f} mm its middle; {allowed:.2f} mm is "
        "allowed.",
    )


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
