"""Findings of the readings: scatter, outliers, what the readings leave open, and crank figures given as the distributor's."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from typing import ClassVar

import numpy as np

from recurve.diagnosis.book_figure import Swept, book_figures
from recurve.diagnosis.copied import copied_findings
from recurve.diagnosis.exchanged import exchanged
from recurve.diagnosis.flat import NoAdvance, flat_finding
from recurve.diagnosis.halves import halves_apart
from recurve.diagnosis.left_out import left_out
from recurve.diagnosis.other_type import type_findings
from recurve.diagnosis.pen import heard, pen_slip
from recurve.diagnosis.rows import row_slip
from recurve.diagnosis.slips import crank_slip, slip_odds
from recurve.fit.fit import AlternativeState, Fit
from recurve.fit.outline import Outline
from recurve.fit.state import Evidence
from recurve.inspection.findings import Cause, Finding, Severity, Words
from recurve.job.model import Job
from recurve.physics.reference_slips import ReferenceDoubt
from recurve.physics.sweep import Sweep
from recurve.units import RPM

FEW_READINGS = 6  # fewer than this hardly tell anything apart
WORN = 1.8  # scatter this many times what was stated is wear, not reading
FINEST = np.radians(0.1)  # half-width [rad] closer than which no bench is read by eye; common practice, no source
WANDERS = np.radians(0.3)  # standard deviation [rad] from which the mark is seen to wander; common practice, no source


@lru_cache(maxsize=4)
def data_findings(evidence: Evidence) -> tuple[Finding, ...]:
    """All findings of the readings, in no order; without a fit only those of a reference sweep, and of the book by itself."""
    fit, doubts = evidence.fit, reference_findings(evidence.job)
    if doubts:
        return doubts
    foreign = type_findings(evidence.job, fit)
    sweep = None if fit is None else fit.job.sweep
    if fit is None or sweep is None:
        return (*foreign, *book_findings(evidence.job))
    flat = flat_finding(sweep, fit.job.target)
    if isinstance(flat, NoAdvance):
        return ()
    if (halves := halves_apart(sweep, fit.outliers)) is not None:
        return (halves, *foreign)
    if (row := _rows(evidence, fit, sweep)) is not None:
        return (row, *foreign)
    pen = pen_slip(fit)
    book = book_figures(fit.job.target, fit.job.speed_ratio, None if pen or flat else Swept.of_fit(evidence))
    slip = pen or (None if book else exchanged(evidence) or _slip(evidence, fit))
    # What a slip explains is not told a second time.
    off = () if slip is not None else (left_out(evidence, fit, sweep), _scatter(evidence, fit, sweep))
    found: list[Finding | None] = [
        flat,
        slip,
        *book,
        *off,
        _few(fit, sweep),
        _one_direction(sweep),
        _order(sweep),
        *copied_findings(sweep),
        *foreign,
        *(TwoAnswers("open question", a) for a in fit.alternatives),
    ]
    return tuple(f for f in found if f is not None)


def reference_findings(job: Job) -> tuple[Finding, ...]:
    """What speaks against the reference sweep of a job; nothing said of the other readings would then hold."""
    return () if job.doubt is None else (OtherSprings("check first", job.doubt),)


def book_findings(job: Job) -> tuple[Finding, ...]:
    """What speaks against the book of a job by itself, with no sweep."""
    return book_figures(job.target, job.speed_ratio, None)


# --- a reference sweep that does not belong to its springs ----------------------------------------------------


@dataclass(frozen=True)
class OtherSprings(Finding):
    """The reference sweep contradicts the springs that are said to have been in it."""

    doubt: ReferenceDoubt
    cause = Cause.SLIP

    def words(self) -> Words:
        """The finding in words."""
        low, high = self.doubt.usual
        heavy = self.doubt.inertia_slope
        told = []
        if self.doubt.misfit >= 1.5:  # below that it is the weights, or what was measured, that speaks against it
            told.append(f"readings and springs disagree by {self.doubt.misfit:.1f} times what their ± allow")
        if not low <= heavy <= high:
            much = f"{heavy / high:.1f} times more" if heavy > high else f"{low / heavy:.1f} times less"
            told.append(f"the flyweights would have to turn the cam {much} strongly than any usual ones")
        slips = [s.words for s in self.doubt.slips[:3]]
        likely = (
            f"everything agrees if {', or if '.join(slips)}. Check that."
            if slips
            else ("no single slip in lengths, rates or places explains it: were other springs fitted during the sweep?")
        )
        return Words(
            "the reference sweep was not made with the springs the job names",
            "; ".join(told) or "sweep and springs agree only with rates and lengths far outside their ±",
            "if so, every result computed from it is wrong",
            f"{likely} Measure the rates, the free lengths inside the hooks and the posts again, or sweep the unit "
            "with springs that you have just weighed",
        )


# --- scatter ----------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class Scatter(Finding):
    """Readings that scatter `inflation` [1] times as much as stated, with a standard `deviation` [rad] about the curve; `chi2`
    [1] for `dof` [1] degrees of freedom. `too_fine`: they are stated closer than any bench is read by eye."""

    inflation: float
    deviation: float
    chi2: float
    dof: float
    too_fine: bool = False

    units: ClassVar[dict[str, str]] = {"inflation": "1", "deviation": "deg", "chi2": "1", "dof": "1"}

    @property
    def cause(self) -> Cause:
        """The weights if the scatter is wear, else the readings."""
        return Cause.WEIGHTS if self.severity == "repair first" else Cause.READINGS

    def words(self) -> Words:
        """The finding in words."""
        told = (
            f"the readings scatter {self.inflation:.1f} times as much as their ± allows: by about "
            f"± {2 * np.degrees(self.deviation):.1f}° (distributor) about one curve"
        )
        if self.severity == "check first":
            return Words(
                "the ± of the readings is smaller than they scatter",
                told + ("; no bench is read so closely by eye" if self.too_fine else ""),
                "whether the readings are good or the unit is worn cannot be told by such a ±"
                if self.deviation >= WANDERS
                else "so small a scatter is no wear, but nothing computed from so small a ± can be relied on",
                "state how closely the bench is really read (reading, in [sweep]): at least half a division of the ring, and as "
                "much as the mark wanders. The last digit of a display is not its ±",
            )
        if self.severity == "low":
            return Words(
                "more scatter than stated",
                told,
                "every ± given here is enlarged to match",
                "state in the job how closely the bench reads (reading, in [sweep])",
            )
        return Words(
            "the curve has steps and scatter, or readings that no spring can explain",
            told,
            "the timing wanders: the timing light shows two marks, and the engine runs unevenly",
            "see first that the ± of the readings is what the bench can do. Then look for worn pins and holes, play, "
            "backlash and a sticking weight; check that the measured weights and posts belong to this unit; repair, then "
            "sweep again",
        )


def scatter_of(sweep: Sweep, found: Fit | Outline) -> Scatter | None:
    """What is to be said of readings that scatter more than stated about a curve; None where they do not."""
    if found.inflation <= 1.0:
        return None
    kept = ~np.isin(sweep.row, found.outliers)
    deviation = float(np.sqrt((((sweep.advance - found.expected)[kept]) ** 2).sum() / found.dof))
    too_fine = sweep.groups is None and sweep.reading < FINEST
    many: Severity = "repair first" if deviation >= WANDERS and not too_fine else "check first"
    severity: Severity = many if found.inflation >= WORN else "low"
    return Scatter(severity, found.inflation, deviation, found.chi2, found.dof, too_fine)


def _rows(evidence: Evidence, fit: Fit, sweep: Sweep) -> Finding | None:
    """Readings in the wrong rows, where the readings scatter about the fitted curve and about that which they draw themselves."""
    outline = evidence.outline if fit.inflation > 1.0 or fit.outliers else None
    return None if outline is None else row_slip(sweep, outline, outline.inflation, len(outline.outliers))


@dataclass(frozen=True)
class OtherParts(Finding):
    """The readings draw one curve by themselves, but lie off the best one that the measured parts can make: `inflation` [1] times
    what is stated, with a standard `deviation` [rad]."""

    inflation: float
    deviation: float
    units: ClassVar[dict[str, str]] = {"inflation": "1", "deviation": "deg"}
    cause = Cause.SLIP

    def words(self) -> Words:
        """The finding in words."""
        return Words(
            "the measured parts do not make this curve",
            "the readings draw one smooth curve. The nearest that weights, posts, springs and stop of the job can make "
            f"lies about ± {2 * np.degrees(self.deviation):.1f}° (distributor) off it, {self.inflation:.1f} times what the "
            "± of the readings allows",
            "every result here rests on a part that is not as the job says",
            "see that both springs are hooked in and whole and that nothing sticks over a part of the travel; then measure "
            "weights, posts and springs again: are they this unit's?",
        )


def _scatter(evidence: Evidence, fit: Fit, sweep: Sweep) -> Finding | None:
    """Readings that scatter more than stated about the fitted curve. What scatters about no curve of its own is no wear."""
    found, outline = scatter_of(sweep, fit), evidence.outline
    if found is None or found.severity == "low" or outline is None:
        return found
    rest = scatter_of(sweep, outline)
    if len(outline.outliers) > len(fit.outliers) or (rest is not None and rest.deviation > found.deviation / 2):
        return found
    return OtherParts("check first", found.inflation, found.deviation)


# --- what the readings leave open ---------------------------------------------------------------------------


@dataclass(frozen=True)
class FewReadings(Finding):
    """So few `readings` that causes cannot be told apart."""

    readings: int
    units: ClassVar[dict[str, str]] = {"readings": "1"}
    cause = Cause.READINGS

    def words(self) -> Words:
        """The finding in words."""
        return Words(
            f"only {self.readings} readings",
            "most results here rest on what the job states, not on the readings",
            "causes cannot be told apart",
            "sweep in steps of 100 rpm (distributor), first rising, then falling",
        )


def _few(fit: Fit, sweep: Sweep) -> Finding | None:
    readings = len(sweep.speed) - len(fit.outliers)
    return FewReadings("open question", readings) if readings < FEW_READINGS else None


@dataclass(frozen=True)
class OneDirection(Finding):
    """Readings with speed only `rising`, or only falling."""

    rising: bool
    cause = Cause.READINGS

    def words(self) -> Words:
        """The finding in words."""
        have, lack = ("rising", "falling") if self.rising else ("falling", "rising")
        return Words(
            f"only {have} readings",
            f"without {lack} readings, friction cannot be told from the rubbing block's drag, and whether the "
            "advance comes back is not known",
            "a sluggish unit would look sound",
            f"read it with speed {lack} too",
        )


def _one_direction(sweep: Sweep) -> Finding | None:
    if sweep.rising.any() and not sweep.rising.all():
        return None
    return OneDirection("open question", bool(sweep.rising.all()))


@dataclass(frozen=True)
class WrongOrder(Finding):
    """Readings whose speeds run against their stated direction: (first row, last row, stated as rising) of each run."""

    rows: tuple[tuple[int, int, bool], ...]
    cause = Cause.READINGS

    def words(self) -> Words:
        """The finding in words."""
        told = [
            f"rows {first} to {last} are marked {'rising' if rising else 'falling'}, but their speeds run the other way"
            for first, last, rising in self.rows
        ]
        return Words(
            "direction and order disagree",
            "; ".join(told),
            "the rising and falling curves may be mixed up",
            "check the direction column of the sweep",
        )


def _order(sweep: Sweep) -> Finding | None:
    wrong = []
    for rising in (True, False):
        rows = np.flatnonzero(sweep.rising == rising)
        steps = np.diff(sweep.speed[rows])
        against = (steps < 0) if rising else (steps > 0)
        # One step against is the next sweep; most of them against is a mistake.
        if len(rows) >= 3 and against.sum() > len(steps) / 2:
            wrong.append((int(sweep.row[rows[0]]), int(sweep.row[rows[-1]]), rising))
    return WrongOrder("open question", tuple(wrong)) if wrong else None


@dataclass(frozen=True)
class TwoAnswers(Finding):
    """Another state of the unit explains the readings nearly as well."""

    other: AlternativeState
    cause = Cause.READINGS

    def words(self) -> Words:
        """The finding in words."""
        other = self.other
        parts = sorted(other.differs, key=lambda d: -abs(d[1] - d[2]) / (abs(d[1]) + abs(d[2]) + 1e-9))[:2]
        told = ", ".join(f"{name.replace('.', ' ')} {one:.1f} or {two:.1f} {unit}" for name, one, two, unit in parts)
        way = "rising" if other.rising else "falling"
        return Words(
            "the readings allow two answers",
            f"{told}. The second answer is {other.likelihood:.0%} as likely as the first",
            "the plan may be for the wrong one",
            f"take a reading at {other.speed * RPM:.0f} rpm {way} (distributor), where the two differ by "
            f"{np.degrees(other.apart):.1f}° (distributor)",
        )


# --- slips of the pen ---------------------------------------------------------------------------------------


def _slip(evidence: Evidence, fit: Fit) -> Finding | None:
    """Whether the book tells that speeds, advances or both are the other shaft's, and the measured parts do not deny it."""
    target, ratio, outline = evidence.job.target, evidence.job.speed_ratio, evidence.outline
    if target is None or ratio == 1.0 or outline is None:
        return None
    sweep, measured = evidence.job.sweep, evidence.job.measured
    assert sweep is not None  # its outline was drawn
    stop = None if measured is None else measured.stop
    odds = slip_odds(target, outline.pieces, sweep.as_read, ratio, stop)
    found = crank_slip(heard(odds, fit) if odds.suspected else odds, ratio)
    return found if found is not None and found.severity == "check first" else None
