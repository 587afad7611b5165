"""A first look at a unit that nobody has stripped: what the book and one sweep tell, with no part measured.

The readings draw an outline (`fit.outline`); each of its equally likely samples is held against every band. What is
said of several bands is true of all of them together with a probability of 95 %.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Literal

import numpy as np

from recurve.diagnosis.book_figure import BookContradicts, LookAgain, OtherShaft, Swept, book_figures
from recurve.diagnosis.causes import SOUND
from recurve.diagnosis.copied import CopiedReadings, TypedTwice, copied_findings
from recurve.diagnosis.findings import STAYS_IN, MayStayIn, OutOfBand, StaysIn
from recurve.diagnosis.flat import NoAdvance, NotBegun, flat_finding, flat_kind
from recurve.diagnosis.halves import Halves, halves_apart
from recurve.diagnosis.left_out import Agreeing, conditions, left_out_of_outline, outside_by_outline
from recurve.diagnosis.look_findings import APART, AllOff, ApartAsRead, SpringsOff
from recurve.diagnosis.offset import BandRead, all_too_high, all_too_low
from recurve.diagnosis.readings import FewReadings, OneDirection, Scatter, scatter_of
from recurve.diagnosis.rows import RowSlip, row_slip
from recurve.diagnosis.slips import SlipOdds, crank_slip, slip_odds
from recurve.diagnosis.stop import StopOff, other_book
from recurve.diagnosis.strength import Strength, strength
from recurve.fit.outline import Outline, fit_outline
from recurve.fit.state import SURE
from recurve.inspection.findings import Cause, Finding, Severity, repairs, worst_first
from recurve.job.model import JobHead
from recurve.physics.sweep import Sweep
from recurve.physics.target import Band, Target
from recurve.uncertainty import Sampled, chance_words
from recurve.units import RPM, Quantity

FEW = 6
UNCERTAIN_STOP = np.radians(0.3)  # standard uncertainty of the largest advance above which the wheel is worth turning
Side = Literal["above", "below"]
LookVerdict = Literal[
    "sound",
    "stop only",
    "springs or posts",
    "springs or posts and stop",
    "mechanical repair first",
    "cannot tell",
    "facts only",
]


@dataclass(frozen=True)
class BandLook:
    """A band against the outline: the advance [rad] at its speed `rising` and `falling`, None where the sweep was not
    read there; probabilities [1] that the true advance lies `above` or `below` the band in a direction that was read."""

    band: Band
    rising: Sampled | None
    falling: Sampled | None
    above: float
    below: float

    @property
    def read(self) -> bool:
        """Whether the sweep tells anything of it."""
        return self.rising is not None or self.falling is not None

    @property
    def worse(self) -> Side:
        """The side on which it is more likely to lie outside."""
        return "above" if self.above >= self.below else "below"


@dataclass(frozen=True)
class NextStep:
    """A thing to measure or to do, and what it would bring; `narrowing`: by which fraction [1] it would narrow the planned
    curve, None where that was not worked out."""

    measure: str
    gain: str
    narrowing: float | None = None


@dataclass(frozen=True)
class FirstLook:
    """What book and sweep tell of a unit: its `outline`, every band, those that it surely misses (`out`), the `strength` that
    its springs need, the `slips` that would explain the readings as well, the `findings`, the worst first, the verdict and
    why, and the `steps` that would tell more, the cheapest first. `idle` [rad/s] is where the advance must be gone."""

    target: Target
    sweep: Sweep
    outline: Outline
    idle: float
    bands: tuple[BandLook, ...]
    out: tuple[BandLook, ...]
    strength: tuple[Strength, ...]
    slips: SlipOdds
    findings: tuple[Finding, ...] = ()
    verdict: LookVerdict = "facts only"
    why: tuple[str, ...] = ()
    steps: tuple[NextStep, ...] = ()

    @property
    def passing(self) -> float | None:
        """Probability [1] that every band that was read is met in both directions; None if none was read."""
        read = [b for b in self.bands if b.read]
        return None if not read else float((~_outside(self.bands).any(axis=1)).mean())

    @property
    def unread(self) -> tuple[BandLook, ...]:
        """The bands that were not read in both directions."""
        return tuple(b for b in self.bands if b.rising is None or b.falling is None)

    @property
    def stays_in(self) -> Sampled | None:
        """Advance [rad] at idle, falling; None if the sweep was not read down to there, or its zero was set with the shaft
        turning, which hides it."""
        return self.outline.stays_in(self.idle)


def first_look(job: JobHead, stop: Quantity | None = None) -> FirstLook:
    """Look at the job's sweep, which must be there, against its target; `stop` [rad] is the largest advance by a degree
    wheel, if it was measured."""
    sweep, target = job.sweep, job.target or Target(())
    assert sweep is not None  # the caller has asked
    outline = fit_outline(sweep)
    slips = slip_odds(target, outline.pieces, sweep.as_read, job.speed_ratio, stop)
    if stop is not None and not slips.suspected:  # a wheel that contradicts the sweep is told, and not mixed into it
        outline = fit_outline(sweep, stop)
    bands = tuple(_look(b, outline) for b in target.bands)
    # Readings that are all alike tell of no springs.
    needed = () if flat_kind(sweep, job.target) is not None else strength(target, outline.pieces)
    look = FirstLook(target, sweep, outline, job.idle_speed, bands, _sure_together(bands), needed, slips)
    look = replace(look, findings=worst_first(_findings(look, job.speed_ratio)))
    verdict, why = _verdict(look)
    return replace(look, verdict=verdict, why=why, steps=tuple(_steps(look, verdict, stop, _weighed(job))))


def _verdict(look: FirstLook) -> tuple[LookVerdict, tuple[str, ...]]:
    """What follows from the findings. A slip comes before wear, and a repair before springs."""
    findings = look.findings
    first = tuple(f.what for f in findings if f.severity == "check first")
    if first:
        return "cannot tell", first
    if repairs(findings):
        return "mechanical repair first", tuple(f.what for f in repairs(findings))
    if not look.outline.settled:
        return "cannot tell", ("the readings do not fit one curve; take more, speed rising and falling",)
    if look.passing is None:
        return "facts only", ("the job gives no target, or no reading was taken at any of its bands",)
    told = tuple(f.what for f in findings if f.severity in ("high", "medium"))
    stop = any(f.cause == Cause.STOP and f.severity == "high" for f in findings)
    springs = any(isinstance(f, SpringsOff | StaysIn) for f in findings)
    if stop or springs:
        by: dict[tuple[bool, bool], LookVerdict] = {
            (True, True): "springs or posts and stop",
            (True, False): "springs or posts",
            (False, True): "stop only",
        }
        return by[springs, stop], (*told, *other_book(findings))
    if look.out:
        return "cannot tell", ("the unit misses bands, but neither the springs nor the stop alone would explain it",)
    if look.unread:
        return "cannot tell", (_unread_words(look.unread),)
    if look.outline.counts_from is not None:
        return "cannot tell", (
            f"zero was set with the unit turning at {look.outline.counts_from * RPM:.0f} rpm (distributor): any "
            "advance already in there does not show, and may stay in at idle",
        )
    return _passing(look, look.passing)


def _passing(look: FirstLook, passing: float) -> tuple[LookVerdict, tuple[str, ...]]:
    """The verdict of a unit that misses no band surely, read in both directions from a true zero."""
    if passing < SOUND:
        return "cannot tell", (
            f"the unit may meet its bands as it is (probability {chance_words(passing)}); take more readings to settle it",
        )
    if unsure := outside_by_outline(look.outline, look.sweep, look.target):
        return "cannot tell", unsure
    met = f"every band is met, rising and falling, with a probability of {chance_words(passing)}"
    return "sound", (met, *conditions(look.findings))


def _unread_words(bands: tuple[BandLook, ...]) -> str:
    speeds = sorted({round(b.band.speed * RPM) for b in bands if b.band.speed is not None})
    told = ", ".join(str(s) for s in speeds)
    if len(speeds) > 1:
        return f"the bands at {told} rpm (distributor) were not read with speed both rising and falling"
    return f"the band at {told} rpm (distributor) was not read with speed both rising and falling"


def _weighed(job: JobHead) -> bool:
    """Whether the rates of the springs are known."""
    springs = job.model.springs
    given = () if springs is None else (springs.primary, springs.secondary)
    return any(s is not None for s in given) and all(s is None or s.rate is not None or s.weighings for s in given)


# What settles a slip: the findings that tell it, the step, and what that gives.
_SETTLED_BY: tuple[tuple[tuple[type[Finding], ...], str, str], ...] = (
    ((AllOff,), "hold the weights home by hand and read the pointer", "every reading counts from there"),
    ((Halves,), "see that wheel and pointer are tight, and read both halves again", "one of the two halves is off"),
    ((Agreeing,), "take the readings that agree with one another again", "one of two curves is the unit's"),
    ((RowSlip,), "take those readings again and write each in its row", "so much scatter is then no wear"),
    ((Scatter,), "state how closely the bench is really read", "only then does scatter tell wear from reading"),
    ((TypedTwice,), "strike out the readings that the file has twice", "each counts once"),
    ((CopiedReadings,), "read the falling half", "shows friction, and whether the advance comes back to zero"),
    (
        (OtherShaft, LookAgain, BookContradicts),
        "look that figure up in the book again",
        "every band is judged by the book",
    ),
)


def _steps(look: FirstLook, verdict: LookVerdict, stop: Quantity | None, weighed: bool) -> list[NextStep]:
    """What to measure next, the cheapest first."""
    for kinds, what, why in _SETTLED_BY:
        if any(isinstance(f, kinds) and f.severity == "check first" for f in look.findings):
            return [NextStep(what, why)]
    if any(f.severity == "check first" for f in look.findings):
        return [NextStep("find out whether the bench shows crank or distributor figures", "every result depends on it")]
    steps = []
    if look.unread:
        speeds = sorted({round(b.band.speed * RPM) for b in look.unread if b.band.speed is not None})
        told = ", ".join(str(s) for s in speeds)
        steps.append(
            NextStep(
                f"read the advance at {told} rpm (distributor), speed rising and falling",
                "every band can then be judged",
            )
        )
    if look.outline.counts_from is not None:
        home = (
            "set zero with the weights held home by hand, or note what the pointer shows at rest; then sweep the "
            "unit again"
        )
        steps.append(NextStep(home, "the readings then show what stays in at idle, and every advance counts from rest"))
    if any(isinstance(f, StaysIn | MayStayIn) for f in look.findings):
        free = "unhook both springs and turn the cam to and fro by hand"
        steps.append(NextStep(free, "if it drags or sticks, the spindle binds; if it turns freely, a spring is slack"))
    if stop is None and look.outline.largest.standard_uncertainty > UNCERTAIN_STOP:
        wheel = "turn the cam to its stop by hand against a degree wheel, three times"
        steps.append(NextStep(wheel, "gives the largest advance to about 0.3° (distributor)"))
    if verdict != "sound" and not weighed:
        weigh = "take both springs off and weigh each with two known weights (recurve spring)"
        steps.append(NextStep(weigh, "shows which spring is at fault"))
    return steps


# --- the bands --------------------------------------------------------------------------------------------------


def _look(band: Band, outline: Outline) -> BandLook:
    if band.speed is None:
        # Only a complete advance tells that the stop is short; a large one tells that it is long in any case.
        largest = outline.largest
        tells = outline.complete >= 0.5 and outline.counts_from is None
        below = Sampled(outline.pieces.largest).below(band.low) if tells else 0.0
        return BandLook(band, largest, largest, largest.above(band.high), below)
    rising = outline.rising(band.speed) if outline.was_read(band.speed, True) else None
    falling = outline.falling(band.speed) if outline.was_read(band.speed, False) else None
    # What was in where zero was set does not show: readings then say "at least", and too little cannot be told.
    shown = outline.counts_from is None
    there = [x for x in (rising, falling) if x is not None]
    low = -np.inf if band.from_zero else band.low
    above = float(np.any([x.sample > band.high for x in there], axis=0).mean()) if there else 0.0
    below = float(np.any([x.sample < low for x in there], axis=0).mean()) if there and shown else 0.0
    return BandLook(band, rising, falling, above, below)


def _outside(bands: tuple[BandLook, ...]) -> np.ndarray:
    """Whether the unit lies outside each band that was read, (samples, bands) bool."""
    columns = []
    for look in bands:
        there = [x.sample for x in (look.rising, look.falling) if x is not None]
        if there:
            low = -np.inf if look.band.from_zero else look.band.low
            columns.append(np.any([(x > look.band.high) | (x < low) for x in there], axis=0))
    return np.stack(columns, axis=1) if columns else np.zeros((1, 1), bool)


def _sure_together(bands: tuple[BandLook, ...]) -> tuple[BandLook, ...]:
    """The bands that the unit surely misses, all of them together: as many, the surest first, as keep SURE."""
    order = sorted((b for b in bands if b.read), key=lambda b: -max(b.above, b.below))
    kept: list[BandLook] = []
    together: np.ndarray | None = None
    for look in order:
        there = [x.sample for x in (look.rising, look.falling) if x is not None]
        if max(look.above, look.below) < SURE:
            break
        low = -np.inf if look.band.from_zero else look.band.low
        out = np.any([x > look.band.high if look.worse == "above" else x < low for x in there], axis=0)
        both = out if together is None else together & out
        if both.mean() < SURE:
            break
        together = both
        kept.append(look)
    return tuple(b for b in bands if b in kept)


# --- findings ---------------------------------------------------------------------------------------------------


def _all_off(look: FirstLook) -> Finding | None:
    """The finding where one number explains all readings."""
    low = all_too_low(look.sweep, look.idle)
    if low is not None or look.stays_in is None:
        return low
    read = [
        BandRead(b.band, tuple(x.sample for x in (b.rising, b.falling) if x is not None)) for b in look.bands if b.read
    ]
    return all_too_high(read, look.passing or 0.0)


def _findings(look: FirstLook, ratio: float) -> list[Finding]:
    sweep, outline = look.sweep, look.outline
    flat = flat_finding(sweep, look.target)
    if isinstance(flat, NoAdvance):
        return [flat]
    halves, offset = halves_apart(sweep, outline.outliers), _all_off(look)
    if halves is not None or offset is not None:
        return [one for one in (halves, offset) if one is not None]
    if (row := row_slip(sweep, outline, outline.inflation, len(outline.outliers))) is not None:
        return [row]
    book = book_figures(look.target, ratio, None if flat else Swept.of_outline(outline, sweep))
    if book:
        return list(book)
    slip = None if isinstance(flat, NotBegun) else crank_slip(look.slips, ratio)
    if slip is not None and flat is not None:
        slip = replace(slip, severity="open question")  # a stop explains it as well
    if slip is not None and slip.severity == "check first":
        # Everything else would be off by the factor: nothing is said of wear until the figures are settled.
        return [slip]
    found: list[Finding | None] = [
        flat,
        slip,
        left_out_of_outline(outline, sweep),
        scatter_of(sweep, outline),
        *copied_findings(sweep),
        _apart(look),
        _stays_in(look),
        _stop(look, ratio),
    ]
    found += _springs(look)
    if len(sweep.speed) < FEW:
        found.append(FewReadings("open question", len(sweep.speed)))
    if bool(sweep.rising.all()) or not bool(sweep.rising.any()):
        found.append(OneDirection("open question", bool(sweep.rising.all())))
    return [f for f in found if f is not None]


def _apart(look: FirstLook) -> Finding | None:
    """At the band where rising and falling lie farthest apart, else over all speeds where the curve climbs."""
    outline = look.outline
    both = [b.band.speed for b in look.bands if b.rising is not None and b.falling is not None]
    speeds = np.array([s for s in both if s is not None])
    apart, at = outline.apart, None
    if len(speeds):
        gap = outline.gap(speeds)
        worst = int(gap.mean(axis=0).argmax())
        if gap[:, worst].mean() > apart.mean:
            apart, at = Sampled(gap[:, worst]), float(speeds[worst])
    return ApartAsRead("repair first", apart.summary, at) if apart.above(APART) >= SURE else None


def _stays_in(look: FirstLook) -> Finding | None:
    band = next((b for b in look.bands if b.band.kind == "idle"), None)
    limit = STAYS_IN if band is None else max(band.band.high, STAYS_IN)
    falling = look.outline.was_read(look.idle, False)
    residual = look.outline.falling(look.idle) if falling else look.outline.rising(look.idle)
    chance = residual.above(limit)
    if chance <= 1 - SURE:
        return None
    if chance < SURE:
        return MayStayIn("open question", residual.summary, limit, look.idle, chance, look.sweep.zeroed_at)
    return StaysIn("high", residual.summary, limit, look.idle, None, False)


def _stop(look: FirstLook, ratio: float) -> Finding | None:
    top = next((b for b in look.bands if b.band.kind == "maximum"), None)
    if top is None:
        return None
    chance, over = max(top.above, top.below), top.worse == "above"
    if chance <= 1 - SURE:
        return None
    limit = top.band.high if over else top.band.low
    severity: Severity = "high" if chance >= SURE else "open question"
    return StopOff(severity, look.outline.largest.summary, limit, over, chance, ratio, None)


def _springs(look: FirstLook) -> list[Finding | None]:
    """Weak and strong springs, below and above the knee; each only with a band that is surely missed on that side."""
    found: list[Finding | None] = []
    for weak in (True, False):
        side: Side = "above" if weak else "below"
        missed = [b for b in look.out if b.band.kind == "point" and b.worse == side]
        rows = [s for s in look.strength if _off(s, weak)]
        if not missed or not rows:
            continue
        knee = _knee(look)
        low, high = [s for s in rows if s.advance < knee], [s for s in rows if s.advance >= knee]
        fine_below = any(s.advance < knee and not _off(s, weak) for s in look.strength)
        fine_above = any(s.advance >= knee and not _off(s, weak) for s in look.strength)
        part = Cause.SPRINGS
        if low and not high and fine_above:
            part = Cause.PRIMARY
        elif high and not low and fine_below:
            part = Cause.SECONDARY
        ratios = [s for s in rows if s.ratio is not None]
        least = min((s.ratio for s in ratios if s.ratio is not None), default=None)
        most = max((s.ratio for s in ratios if s.ratio is not None), default=None)
        told = tuple(_missed(b) for b in missed)
        found.append(
            SpringsOff("high" if weak else "medium", weak, part, rows[0].advance, rows[-1].advance, least, most, told)
        )
    return found


def _off(one: Strength, weak: bool) -> bool:
    """Whether the springs surely pull too little (or too much) at this advance."""
    if weak:
        return one.ratio is None or (one.low is not None and one.low > 1.0)
    return one.high is not None and one.high < 1.0


def _knee(look: FirstLook) -> float:
    """The advance [rad] past which the secondary pulls: the upper knee of the outline, where the readings show one."""
    return float(np.median(look.outline.pieces.upper * look.outline.pieces.largest))


def _missed(look: BandLook) -> OutOfBand:
    over = look.worse == "above"
    there = [x for x in (look.rising, look.falling) if x is not None]
    worst: Sampled = max(there, key=lambda x: x.mean) if over else min(there, key=lambda x: x.mean)
    assert look.band.speed is not None  # points have one
    limit = look.band.high if over else look.band.low
    return OutOfBand(look.band.speed, limit, over, worst.summary, look.above if over else look.below)
