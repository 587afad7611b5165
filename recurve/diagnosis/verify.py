"""Verify a finished unit: refit its new sweep, judge it by every band, and say what to move if it fails."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Literal

import numpy as np

from recurve.diagnosis.as_built import AsBuilt, as_built
from recurve.diagnosis.as_set import NOTHING_TOLD, AsSet, as_set, standing
from recurve.diagnosis.binding import Binds, apart_remark, binds
from recurve.diagnosis.copied import Copied, CopiedReadings, copied
from recurve.diagnosis.correction import Correction, find_correction
from recurve.diagnosis.flat import flat_kind
from recurve.diagnosis.left_out import SPEED_NEAR, outside
from recurve.diagnosis.not_read import NotRead, not_read
from recurve.diagnosis.other_spring import OtherSpring, open_spring
from recurve.diagnosis.other_stop import OtherStop, other_stop
from recurve.diagnosis.pen import contradicted
from recurve.diagnosis.too_far import TooFar, too_far
from recurve.diagnosis.trust import Trust, trust_in
from recurve.diagnosis.worth import readings_to_take
from recurve.fit.fit import Fit, fit_sweep, fitted_job
from recurve.fit.state import SURE, Evidence
from recurve.job.model import Job
from recurve.physics.sweep import Sweep
from recurve.physics.target import Band, passes
from recurve.planner.problem import problem_of
from recurve.uncertainty import COVERAGE, Sampled, Uncertain
from recurve.units import PLACES, RPM, SQRT3

VerifyVerdict = Literal["passes", "fails", "too close to call", "not converged", "read again"]
VerifyStep = Literal["hand over", "correct", "read", "settle"]

WORST_FIRST: tuple[VerifyVerdict, ...] = ("fails", "too close to call", "read again", "passes")  # of bands
MOST_MORE = 12  # readings more than this are not proposed: the unit is set to the middle of its bands instead
TOO_GOOD = 1e-4  # chance that readings lie so near their curve
DECISION_RULE = (
    "the unit passes if the curve through its readings, with ± 2 standard uncertainties, lies inside every band "
    "(guarded acceptance, JCGM 106:2012)"
)
REACHED = np.radians(0.1)  # the stop was reached where the curve comes so near to it
ALIKE = 0.95  # fraction of readings that are those as found, from which the file is


@dataclass(frozen=True)
class BandVerdict:
    """A band against the refitted curve: the advance `rising` and `falling` [rad], and the verdict; `risk` [1], the
    probability that the unit is outside the band. `read`: the reading that would settle one that is too close to call;
    None where it is settled, or where no reading would."""

    band: Band
    rising: Uncertain
    falling: Uncertain
    verdict: VerifyVerdict
    risk: float
    read: ReadMore | None = None

    @property
    def more(self) -> int:
        """How many more readings would settle it; 0 where it is settled or none would."""
        return 0 if self.read is None else self.read.times


@dataclass(frozen=True)
class ReadMore:
    """A reading worth taking: at which `speed` [rad/s], `rising` or falling, and how many `times` would settle a band."""

    speed: float
    rising: bool
    times: int


@dataclass(frozen=True)
class ReadAgain:
    """A reading that bars a pass until it is taken again: its `row` in the file, `speed` [rad/s], `advance` as read [rad],
    `rising` or falling, whether the fit has `left_out` the reading, and the `band` that it lies outside of, None if none."""

    row: int
    speed: float
    advance: float
    rising: bool
    left_out: bool
    band: Band | None

    def words(self) -> str:
        """In words, for the distributor."""
        told = (
            f"row {self.row} reads {np.degrees(self.advance):.1f}° at {self.speed * RPM:.0f} rpm "
            f"{'rising' if self.rising else 'falling'} (distributor)"
        )
        if self.band is not None:
            over = self.advance > self.band.high
            edge = np.degrees(self.band.high if over else self.band.low)
            told += f", where the band asks for at {'most' if over else 'least'} {edge:.1f}°"
        return f"{told}{', and does not fit the curve of the others' if self.left_out else ''}: read it again"


@dataclass(frozen=True)
class StopNotReached:
    """The sweep ends at its fastest `speed` [rad/s] before the stop, so that it does not tell where the stop is."""

    speed: float

    def words(self) -> str:
        """In words, for the distributor."""
        return (
            f"the sweep ends at {self.speed * RPM:.0f} rpm (distributor), before the stop: turn the cam to its stop "
            "by hand against a degree wheel, three times, and give the mean with --stop; or sweep on until the "
            "advance no longer rises"
        )


@dataclass(frozen=True)
class SameAsFound:
    """The readings are those of the unit as found."""

    file: str

    def words(self) -> str:
        """In words."""
        return f"the readings of {self.file} are those of the unit as found: sweep the finished unit, and give its readings"


# What bars a pass:
Barrier = ReadAgain | NotRead | StopNotReached | SameAsFound | Copied | OtherStop | OtherSpring | Binds | TooFar
VOID = (SameAsFound, Copied, OtherStop)  # by which no verdict can be had from the readings at all
PARTS = (OtherSpring, Binds, TooFar)  # what must be put right before anything is set


@dataclass(frozen=True)
class Verification:
    """The finished unit judged: `job` is the unit as its new sweep shows it, by the `fit`, with the chance `outside` [1] that
    it lies outside a band. `unsettled` is what bars a pass, however well the fitted curve lies in its bands; `built`, how far it
    is off its plan, None where it was not planned or its readings cannot be trusted."""

    job: Job
    fit: Fit
    bands: tuple[BandVerdict, ...]
    verdict: VerifyVerdict
    correction: Correction | None
    outside: float
    trust: Trust
    unsettled: tuple[Barrier, ...] = ()
    told: AsSet = NOTHING_TOLD
    notes: tuple[str, ...] = ()
    built: AsBuilt | None = None

    @property
    def risk(self) -> float:
        """The probability [1] that the unit is outside one of its bands, by the fit: the specific risk of JCGM 106:2012."""
        return self.outside

    @property
    def step(self) -> VerifyStep:
        """What to do next. What must be settled first comes before anything that the verdict would ask."""
        if not self.trust.ok or any(isinstance(x, (*VOID, *PARTS)) for x in self.unsettled):
            return "settle"
        steps: dict[VerifyVerdict, VerifyStep] = {"passes": "hand over", "fails": "correct"}
        return steps.get(self.verdict, "read")


@dataclass(frozen=True)
class Before:
    """The unit as it was found: the `evidence` of its own sweep, and each band judged by it."""

    evidence: Evidence
    bands: tuple[BandVerdict, ...]


def as_found(job: Job) -> Before | None:
    """The unit as the sweep of its job shows it, judged by the job's bands; None without a sweep."""
    if job.sweep is None:
        return None
    evidence = Evidence.of(job, fit_sweep(job))
    return Before(evidence, _judged(evidence))


def verify_unit(job: Job, sweep: Sweep, told: AsSet = NOTHING_TOLD, found: Job | None = None) -> Verification:
    """Judge the unit of a job (as planned) by a sweep of it as left; `told` is what was measured of it as it was set, `found`
    the job that was planned.

    It passes if the refitted curve ± 2 standard uncertainties lies in every band, rising and falling, and fails if it lies
    outside one of them: guarded acceptance with a guard band of the expanded uncertainty (JCGM 106:2012, 8.3.2;
    SECOND-HAND). Single readings do not decide for it, but bar a pass: one that the fit has left out, or that lies
    outside a band by more than it can be off, must be read again, and the return to zero and the stop must have been
    seen. Raises InputError if the job has no target with bands, or for what was told and cannot be.
    """
    problem_of(job)
    same = _same(sweep, job.sweep if found is None else found.sweep)
    swept, fit, other = _fitted(as_set(job, sweep, told, found), nothing_new=bool(same))
    evidence = Evidence.of(swept, fit)
    unsettled: list[Barrier] = [*same, *_to_read_again(fit, sweep), *not_read(swept)]
    unsettled += [] if other is None else [other]
    untouched = told.stop is None and told.trim is None
    half, stop = copied(sweep), other_stop(job, fit) if untouched else None
    unsettled += [x for x in (half, stop) if x is not None]
    bands = _judged(evidence)
    if untouched and not _reaches_stop(evidence, sweep):
        fastest = (1 + SPEED_NEAR) * float(sweep.speed.max())
        beyond = [b for b in bands if b.band.speed is None or b.band.speed > fastest]
        stop_open = [b for b in beyond if b.verdict == "too close to call"]
        bands = tuple(replace(b, verdict="read again", read=None) if b in stop_open else b for b in bands)
        unsettled += [StopNotReached(float(sweep.speed.max()))] if stop_open else []
    verdict = _overall(fit, bands, unsettled)
    for kind in VOID:
        if any(isinstance(x, kind) for x in unsettled):
            unsettled = [x for x in unsettled if isinstance(x, kind)]
    if verdict == "fails":
        # Readings that belong to a curve which fails say nothing more.
        unsettled = [x for x in unsettled if not isinstance(x, ReadAgain) or x.left_out]
    unit = standing(fitted_job(fit), job)
    # Of readings of before it is enough to say so: what is wrong with them is not wrong with the finished unit.
    trust = Trust() if same else trust_in(swept, fit, (CopiedReadings,), may_bind=True)
    if trust.ok and verdict in ("fails", "too close to call"):
        stiff = binds(evidence, lambda seen: [WORST_FIRST.index(b.verdict) for b in _judged(seen)])
        unsettled = unsettled if stiff is None else [stiff]
    # What does not hang together is no ground to bend anything by.
    open_ = not trust.ok or any(isinstance(x, Binds) for x in unsettled)
    correction = None if open_ or verdict in ("passes", "read again") else find_correction(_movable(unit, unsettled))
    off = trust.ok and verdict in ("fails", "too close to call")
    far = other or too_far(evidence, correction, job, told) if off else None
    if far is not None and not any(isinstance(x, Binds) for x in unsettled):
        correction, unsettled = None, [far]
    assert job.target is not None  # problem_of has asked
    outside = 1.0 - float(passes(job.target, evidence.curves).mean())
    others = [name for name, spring in zip(PLACES, told.springs, strict=True) if spring is not None]
    others += [] if other is None else [other.place]
    usable = trust.ok and job.model.planned is not None and not any(isinstance(x, VOID) for x in unsettled)
    built = as_built(fit, job, others) if usable else None
    notes = (*_too_good(fit), *(apart_remark(evidence) if verdict == "passes" else ()))
    return Verification(unit, fit, bands, verdict, correction, outside, trust, tuple(unsettled), told, notes, built)


def _fitted(swept: Job, nothing_new: bool) -> tuple[Job, Fit, OtherSpring | None]:
    """The unit as it was set, and its fit; where it misses a band, or contradicts what is known of it, and a spring is likely
    another one, the unit and its fit with that spring left open. Not where the readings are those of before."""
    fit = fit_sweep(swept)
    if nothing_new or flat_kind(swept.sweep, swept.target) is not None:  # that is told by itself
        return swept, fit, None
    if all(b.verdict == "passes" for b in _judged(Evidence.of(swept, fit))) and not contradicted(fit):
        return swept, fit, None
    other = open_spring(fit)
    if other is None:
        return swept, fit, None
    again = fit_sweep(other.job)
    return other.job, again, other.told(again)


def _movable(unit: Job, unsettled: list[Barrier]) -> Job:
    """The unit as it may be corrected: a stop that the sweep did not reach is not moved by what it may be."""
    if not any(isinstance(x, StopNotReached) for x in unsettled):
        return unit
    return replace(unit, stop=replace(unit.stop, build_up_to=0.0, file_up_to=0.0))


def _same(sweep: Sweep, before: Sweep | None) -> list[SameAsFound]:
    """Whether the readings are those of the unit as found, in whichever order."""
    if before is None:
        return []

    def rows(one: Sweep) -> list[tuple[float, float, bool]]:
        columns = (np.round(one.speed, 6), np.round(one.advance, 6), one.rising)
        return [(float(s), float(a), bool(w)) for s, a, w in zip(*columns, strict=True)]

    earlier, now = rows(before), rows(sweep)
    alike = sum(row in earlier for row in now)
    return [SameAsFound(sweep.file)] if len(now) > 2 and alike >= ALIKE * len(now) else []


def _too_good(fit: Fit) -> tuple[str, ...]:
    """A word where the readings lie so near the curve as no bench reads them."""
    from scipy.special import chdtr

    if len(fit.residuals) < 6 or chdtr(fit.dof, fit.chi2) > TOO_GOOD:
        return ()
    return (
        "The readings lie closer to one smooth curve than the bench is said to read. If they were copied from the "
        "planned curve, they judge the plan, not the unit.",
    )


def _reaches_stop(evidence: Evidence, sweep: Sweep) -> bool:
    """Whether the sweep surely goes to the stop, whatever the stop is."""
    highest = evidence.rising(np.array([float(sweep.speed.max())]))[:, 0]
    return float((highest >= evidence.stop.sample - REACHED).mean()) >= SURE


def _to_read_again(fit: Fit, sweep: Sweep) -> list[ReadAgain]:
    """Readings that were left out, and kept ones outside a band by more than COVERAGE times what a reading may be off."""
    target = fit.job.target
    assert target is not None  # problem_of has asked for it
    hidden = float(fit.model.hidden(fit.best[None])[0])
    off = COVERAGE * fit.model.sweep.reading / SQRT3
    told = []
    for i, row in enumerate(int(r) for r in sweep.row):
        advance, speed, rising = float(sweep.advance[i]), float(sweep.speed[i]), bool(sweep.rising[i])
        band = next((b for b in target.bands if outside(b, speed, rising, advance + hidden, off)), None)
        if row in fit.outliers or band is not None:
            told.append(ReadAgain(row, speed, advance, rising, row in fit.outliers, band))
    return told


def _overall(fit: Fit, bands: tuple[BandVerdict, ...], unsettled: list[Barrier]) -> VerifyVerdict:
    if any(isinstance(x, VOID) for x in unsettled):
        return "read again"
    if not fit.converged:
        return "not converged"
    for verdict in WORST_FIRST[:-1]:
        if any(b.verdict == verdict for b in bands):
            return verdict
    return "read again" if unsettled else "passes"


def _judged(evidence: Evidence) -> tuple[BandVerdict, ...]:
    target = evidence.job.target
    assert target is not None  # problem_of has asked for it
    speeds = np.array([b.speed for b in target.timed], float)
    columns = iter(zip(evidence.rising(speeds).T, evidence.falling(speeds).T, strict=True))
    judged = []
    for band in target.bands:
        stop = evidence.stop.sample
        rising, falling = (stop, stop) if band.kind == "maximum" else next(columns)
        judged.append(_judged_band(band, Sampled(rising), Sampled(falling), evidence))
    return tuple(judged)


def _judged_band(band: Band, rising: Sampled, falling: Sampled, evidence: Evidence) -> BandVerdict:
    # What remains to each edge, and the sample whose standard uncertainty it is to be compared with.
    rooms = [(band.high - falling.mean, falling)]
    if not band.from_zero:
        rooms.append((rising.mean - band.low, rising))
    verdict: VerifyVerdict = "passes"
    close: list[tuple[float, Sampled]] = []
    for room, one in rooms:
        if room < -COVERAGE * one.standard_uncertainty:
            verdict = "fails"
        elif room < COVERAGE * one.standard_uncertainty:
            close.append((room, one))
    if close and verdict != "fails":
        verdict = "too close to call"
    read = None
    if verdict == "too close to call":
        found = [settling(evidence, one, abs(room) / COVERAGE) for room, one in close]
        read = None if None in found else max((f for f in found if f is not None), key=lambda f: f.times)
    edge = np.maximum(falling.sample - band.high, 0.0 if band.from_zero else band.low - rising.sample)
    return BandVerdict(band, rising.summary, falling.summary, verdict, float((edge > 0.0).mean()), read)


def settling(evidence: Evidence, one: Sampled, wanted: float) -> ReadMore | None:
    """The reading, and how often it must be taken, that would bring the standard uncertainty of a quantity (n,) [rad] down to
    what is `wanted` [rad]; None if none would do it in MOST_MORE readings. To first order, by regression of the quantity on
    what the reading would show in each state (equation 1 of `worth`)."""
    fit = evidence.fit
    assert fit is not None  # a sweep was fitted
    off = one.sample - one.mean
    best: ReadMore | None = None
    for speed, rising, shown, noise in readings_to_take(evidence, fit):
        known = shown - shown.mean()
        explained = float((off * known).mean()) ** 2
        spread, left = float((known**2).mean()), float((off**2).mean()) - wanted**2
        # off² − explained/(spread + noise²/n) ≤ wanted²
        room = explained - left * spread
        if left <= 0.0 or room <= 0.0:
            continue
        times = int(np.ceil(left * noise**2 / room))
        if times <= MOST_MORE and (best is None or times < best.times):
            best = ReadMore(speed, rising, max(times, 1))
    return best
