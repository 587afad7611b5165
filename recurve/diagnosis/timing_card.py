"""The timing card of a job, with weights or without: its curves, and what vacuum adds."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from recurve.diagnosis.as_set import as_set
from recurve.errors import InputError
from recurve.fit.fit import fit_sweep, fitted_job
from recurve.fit.outline import fit_outline
from recurve.fit.state import SURE
from recurve.inspection.model import Timing
from recurve.inspection.timing import Card, make_card
from recurve.inspection.timing_curves import LEVEL, Advance, ReadCurve, TableCurve, book_curve, maximum_of
from recurve.inspection.vacuum import vacuum_advance
from recurve.job.model import BareJob, Job
from recurve.physics.curve import trace
from recurve.physics.sweep import Sweep
from recurve.physics.target import Target
from recurve.planner.plan import Plan, make_plan

# How likely it must be, by the whole sweep, that the advance was all in where it ended. Of sweeps of 12 speeds read to 0.1°
# those that end at 0.8 to 0.97 of the speed at which it is reach 0.5, those that go on to 1.15 times that speed 0.6 to 0.9.
LEVEL_LIKELY = 0.75
GRAINS = (1.0, 0.5)  # degrees to which readings may have been rounded
QUICK = 400.0  # samples that are enough to tell it


def timing_card(job: Job | BareJob, planned: Advance | None = None, left: Advance | None = None) -> Card:
    """The card of a job; `planned` is the curve of its plan, `left` that of the finished unit, each if it is at hand.

    The curve as found is that of the fitted sweep, else that of the springs as described; without weights it is the
    readings themselves. Raises InputError if [timing] is missing, or if there is no way to find the static timing.
    """
    if isinstance(job, BareJob):
        return _card(job, None if job.sweep is None else _read_curve(job.sweep, job.target), None, left)
    unit = job if job.sweep is None else fitted_job(fit_sweep(job))
    found = unit.as_found()
    return _card(job, None if found is None else trace(found), planned, left)


def left_curve(job: Job | BareJob, sweep: Sweep) -> Advance | None:
    """The curve of the finished unit by its `sweep`: of a `job` as planned that of the fitted unit, else of the readings."""
    if isinstance(job, BareJob):
        return _read_curve(sweep, job.target)
    unit = fitted_job(fit_sweep(as_set(job, sweep))).as_found()
    return None if unit is None else trace(unit)


def card_of_plan(plan: Plan) -> Card | None:
    """The card of a plan just made, for its sheet; None if the job has no [timing]."""
    if plan.job.inspection.timing is None:
        return None
    planned = None if plan.build is None or plan.build.margin < 0 else plan.build.curve
    return _made(plan.job, plan.before, planned, None)


def planned_curve(job: Job) -> Advance | None:
    """The curve of a plan made now; None if there is nothing to plan from, or the target is out of reach."""
    springs = job.catalogue is not None or job.as_found() is not None
    if job.target is None or not job.target.timed or not springs:
        return None
    plan = make_plan(job)
    return None if plan.build is None or plan.verdict == "out of reach" else plan.build.curve


def _read_curve(sweep: Sweep, target: Target | None) -> ReadCurve | None:
    """A unit by the readings as they are, those at equal speeds averaged; None with fewer than two speeds.

    Two last readings alike may be a plateau, or noise of a curve that still climbs. A total taken from the second is too
    low, and the engine would be set too far advanced. So the whole sweep is asked, and asked to be surer where what was read
    lies below the book's maximum.
    """
    up = np.asarray(sweep.rising, bool)
    rising = _table(sweep, up, least=2)
    falling = _table(sweep, ~up, least=1 if rising else 2)  # one reading at idle tells what stays in
    if rising is None and falling is None:
        return None
    read = ReadCurve(rising, falling)
    if read.all_in is None:
        return read
    least = None if target is None or target.maximum is None else target.maximum.low
    short = least is not None and least - read.stop > LEVEL
    climbs = fit_outline(sweep.scattered(_rounding(sweep)), enough=QUICK).complete < (SURE if short else LEVEL_LIKELY)
    tables = (None if one is None else replace(one, climbs=climbs) for one in (rising, falling))
    return ReadCurve(*tables)


def _rounding(sweep: Sweep) -> float:
    """How many times less sure [1] readings are that were rounded to whole or half degrees: two alike may be half a degree
    apart, and that is seldom in the ± that was stated."""
    degrees = np.degrees(sweep.advance)
    grain = next((g for g in GRAINS if np.allclose(degrees / g, np.round(degrees / g), atol=1e-6)), 0.0)
    return float(np.hypot(1.0, np.radians(grain / 2) / sweep.reading))


def _table(sweep: Sweep, which: np.ndarray, least: int) -> TableCurve | None:
    """The readings of one direction; None with fewer than `least` speeds [1]."""
    speed = np.unique(sweep.speed[which])
    if len(speed) < least:
        return None
    return TableCurve(speed, np.array([sweep.advance[which][sweep.speed[which] == s].mean() for s in speed]), read=True)


def _card(job: Job | BareJob, found: Advance | None, planned: Advance | None, left: Advance | None) -> Card:
    if job.inspection.timing is None:
        raise InputError(
            f"{job.path}: timing: missing, expected the engine's figures: static or total, idle, top_speed"
        )
    card = _made(job, found, planned, left)
    if card is None:
        raise InputError(
            f"{job.path}: timing.static: missing, expected the engine's static timing, or its total and a curve to take off it"
        )
    return card


def _made(job: Job | BareJob, found: Advance | None, planned: Advance | None, left: Advance | None) -> Card | None:
    vacuum = job.inspection.vacuum
    assert job.inspection.timing is not None  # the callers have asked
    timing = _with_target(job.inspection.timing, job)
    named = {"as found": found, "book": book_curve(job.target), "planned": planned, "as left": left}
    curves = {name: c for name, c in named.items() if c is not None}
    cruise = None if timing.cruise_vacuum is None else vacuum_advance(vacuum, timing.cruise_vacuum)
    full = None if timing.full_load_vacuum is None else vacuum_advance(vacuum, timing.full_load_vacuum)
    return make_card(timing, job.speed_ratio, curves, job.target_static, (cruise, full))


def _with_target(timing: Timing, job: Job | BareJob) -> Timing:
    """The engine's figures; what they leave open, the target tells: its total or its maximum on the static, and its idle."""
    target, ratio = job.target, job.speed_ratio
    static = job.known_static
    total, idle = timing.total, timing.idle
    if total is None:
        total = job.target_total
    most = maximum_of(target)
    if total is None and static is not None and most is not None:
        total = static + ratio * most
    if idle is None and target is not None and target.idle_speed is not None:
        idle = ratio * target.idle_speed
    return replace(timing, total=total, idle=idle)
