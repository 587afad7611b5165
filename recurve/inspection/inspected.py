"""A unit inspected: the bench inspection and the vacuum unit worked out, and their findings, SI."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from recurve.inspection.bench import (
    BenchResult,
    DwellChange,
    Item,
    Judged,
    LimitVerdict,
    by_limit,
    in_bench_units,
    inspect_bench,
)
from recurve.inspection.findings import Cause, Finding, Severity, Words
from recurve.inspection.model import Condition, Inspection
from recurve.inspection.points import RotorSweep
from recurve.inspection.vacuum import VacuumCheck, check_vacuum, vacuum_range
from recurve.inspection.vacuum_findings import vacuum_findings
from recurve.inspection.wheel import SETTLED, Misread
from recurve.units import RPM, Quantity

DISAGREE = 2.5  # play and dwell change that differ by more than this factor, beyond their ±, suggest a misreading
COIL_SPEEDS = np.arange(250.0, 2501.0, 250.0) / RPM  # distributor
WHATEVER = "whatever springs you fit"
WEAR = (Item.SIDE_PLAY, Item.DWELL_CHANGE, Item.SPARK_SPACING)  # that no spring cures
WEAR_SEVERITY: dict[LimitVerdict, Severity] = {
    "fail": "repair first",
    "suspect": "medium",
    "too close to call": "open question",
}


@dataclass(frozen=True)
class Inspected:
    """The inspection of a job: `bench` and `vacuum` worked out (None if not given), all `findings`, and what remains
    `undecided` among the wear that would have to be repaired first."""

    bench: BenchResult | None
    vacuum: VacuumCheck | None
    findings: tuple[Finding, ...]
    undecided: tuple[str, ...]

    @property
    def judged(self) -> tuple[Judged, ...]:
        """Every check against its limit."""
        return (
            *(() if self.bench is None else self.bench.judged),
            *(() if self.vacuum is None else self.vacuum.judged),
        )


def inspect_unit(given: Inspection, lobes: int, speed_ratio: float) -> Inspected:
    """Work out what was seen and measured of a unit's condition and of its vacuum unit. `lobes` of its breaker cam;
    `speed_ratio` [1] crank revolutions per distributor revolution."""
    vacuum = None if given.vacuum is None else check_vacuum(given.vacuum)
    of_vacuum = [] if vacuum is None else vacuum_findings(vacuum)
    if given.condition is None:
        return Inspected(None, vacuum, tuple(of_vacuum), ())
    top = None if given.timing is None else given.timing.top_speed
    speeds = COIL_SPEEDS if top is None else np.linspace(0.1, 1.0, 10) * top / speed_ratio
    bench = inspect_bench(given.condition, lobes, vacuum_range(given.vacuum), speeds)
    findings = (*_of_bench(bench, given.condition, speed_ratio), *of_vacuum)
    close = [j for j in bench.judged if j.item in WEAR and j.verdict == "too close to call"]
    hidden = [m for m in bench.misread if m.kind not in SETTLED]
    undecided = [f"{j.what} is too close to its limit to call" for j in close]
    undecided += [f"spark spacing, {m.where}, is not known: its figures hold a slip" for m in hidden]
    return Inspected(bench, vacuum, findings, tuple(undecided))


# --- the bench ----------------------------------------------------------------------------------------------


def _of_bench(bench: BenchResult, given: Condition, ratio: float) -> list[Finding]:
    """The findings of the bench: checks that do not pass, what was judged by eye and hand, contradictions, the rotor."""
    changes = dict(zip((j for j in bench.judged if j.item is Item.DWELL_CHANGE), bench.changes, strict=True))
    found: list[Finding] = []
    for j in bench.judged:
        if j.verdict in ("pass", "no limit"):
            continue
        if j.item in WEAR:
            found.append(ShaftWear(WEAR_SEVERITY[j.verdict], j, changes.get(j), ratio))
        else:
            found.append(OffManual("open question" if j.verdict == "too close to call" else "medium", j))
    found += [WheelMisread("low" if m.kind in SETTLED else "medium", m) for m in bench.misread]
    for (key, word), severity, cause, words in BY_EYE:
        if getattr(given, key) == word:
            found.append(SeenByEye(severity, cause, words))
    pushed = next((c for c in bench.changes if c.pushed), None)
    if pushed is not None and bench.expected_change is not None and _apart(pushed.change, bench.expected_change):
        found.append(PlayContradictsDwell("open question", pushed.change, bench.expected_change))
    if bench.rotor is not None and bench.rotor.room is not None and bench.rotor.room < 0:
        found.append(RotorOffSegment("medium", bench.rotor))
    return found


@dataclass(frozen=True)
class ShaftWear(Finding):
    """Wear of the shaft, its bushes or the breaker cam, or an open question about it: the check `judged`, the change of
    dwell that it was if it was one, and the `ratio` [1] of crank to distributor."""

    judged: Judged
    change: DwellChange | None
    ratio: float
    cause = Cause.SHAFT

    def words(self) -> Words:
        """The finding in words."""
        j, about = self.judged, self.judged.item
        limit = "" if j.limit is None or j.limit.high is None else j.in_units(j.limit.high)
        value = j.in_units(j.measured.value)
        if j.verdict == "fail":
            first = (
                "straighten or replace the shaft or the breaker cam first"
                if j.item is Item.SPARK_SPACING
                else "bush the shaft first"
            )
            what = f"{first}: {value} of {about}, over the limit of {limit}, {WHATEVER}"
        elif j.verdict == "suspect":
            what = f"{about} is near its limit: {value}"
        else:
            what = f"{about} is too close to its limit of {limit} to call"
        return Words(
            what,
            by_limit(j) if self.change is None else f"{by_limit(j)}; {_change_words(self.change, self.ratio)}",
            "gap, dwell and timing wander with the shaft: the timing light shows two marks, and no curve that you "
            "set will hold",
            "measure again, more closely"
            if self.severity == "open question"
            else "put bushes and shaft right before springs, stop and bench",
        )


@dataclass(frozen=True)
class WheelMisread(Finding):
    """A slip in the figures read off the degree wheel."""

    slip: Misread
    cause = Cause.SLIP

    def words(self) -> Words:
        """The finding in words."""
        m = self.slip
        sparks = ", ".join(str(i) for i in m.sparks)
        pitch = f"{np.degrees(m.pitch):.1f}°"
        again = "read the wheel again at every spark, in the order in which the lobes pass"
        if m.kind == "whole pitch":
            return Words(
                f"{m.where}: a figure is about a whole lobe pitch out, so it was misread; this is not wear",
                f"figures {sparks} in the list belong to the same lobe, and another lobe has none; the lobe pitch "
                f"is {pitch} (distributor)",
                "the spark spacing is not known, so the shaft cannot be judged by it",
                f"look for a figure written twice, or a lobe left out; {again}",
            )
        if m.kind == "differences":
            return Words(
                f"{m.where}: the figures are all close together, so they are not readings of the wheel",
                f"they all lie within a small part of the lobe pitch of {pitch} (distributor)",
                "the spark spacing is not known, so the shaft cannot be judged by it",
                "write what the wheel shows at every spark, not how far the spark is out of place",
            )
        if m.kind == "other lobe":
            return Words(
                f"{m.where}: the two openings were read on different lobes",
                f"they lie about one or more whole lobe pitches of {pitch} (distributor) apart",
                "the whole pitches were taken off; what is left is the movement of the timing",
                "read the same lobe with the shaft pushed each way",
            )
        how = "backwards" if m.kind == "backwards" else "out of the order of rotation, as in a firing order"
        return Words(
            f"{m.where}: the sparks are listed {how}",
            f"in the order in which the lobes pass, the figures are numbers {sparks} in the list",
            "the spacing is not affected: it is judged in the order on the wheel",
            'list them as the lobes pass; if the wheel\'s figures fall as the shaft turns, write wheel = "against rotation"'
            if m.kind == "backwards"
            else "list them as the lobes pass, not in the firing order",
        )


def _change_words(change: DwellChange, ratio: float) -> str:
    """What a change of dwell does to gap and timing."""
    at, pm = (np.degrees(x or 0.0) for x in (change.timing.value, change.timing.half_width))
    told = f"it moves the timing by {at:.1f} ± {pm:.1f}° at the distributor, {at * ratio:.1f}° at the crank ({change.timing_how})"
    if change.gap is None:
        return told
    return f"{told}; that is about {in_bench_units(change.gap, 'length')} of gap, for a rounded lobe tip"


# Consequence and remedy of what is not as the manual asks.
ADJUST = {
    Item.END_FLOAT: (
        "rotor and drive gear move up and down, and the timing moves with them",
        "shim it to the manual's figure",
    ),
    Item.DWELL: (
        "more dwell retards the timing; less dwell leaves the coil short of charge",
        "set the dwell first and the timing second, since a change of dwell moves the timing",
    ),
    Item.GAP: (
        "the gap sets the dwell, and dwell moves the timing",
        "set the gap or, better, the dwell; then set the timing",
    ),
    Item.ARM_SPRING: (
        "a weak breaker spring lets the points bounce at speed; a strong one wears the rubbing block and drags the "
        "cam back",
        "adjust the breaker spring, or replace the breaker arm, before you run the bench: it is part of the drag",
    ),
}


@dataclass(frozen=True)
class OffManual(Finding):
    """A setting that is not what the manual asks, or too close to its limit to call: the check `judged`."""

    judged: Judged

    @property
    def cause(self) -> Cause:
        """The shaft for its end float, else the points."""
        return Cause.SHAFT if self.judged.item is Item.END_FLOAT else Cause.POINTS

    def words(self) -> Words:
        """The finding in words."""
        j = self.judged
        consequence, remedy = ADJUST[j.item]
        how = "too close to the manual to call" if j.verdict == "too close to call" else "not what the manual asks"
        return Words(f"{j.what} is {how}: {j.seen}", by_limit(j), consequence, remedy)


# What is judged by eye and hand: the key of `Condition` and its word, severity, cause, and the words of the finding.
BY_EYE: tuple[tuple[tuple[str, str], Severity, Cause, Words], ...] = (
    (
        ("breaker_plate", "seized"), "repair first", Cause.BREAKER_PLATE,
        Words(
            f"free the breaker plate first: it is seized, {WHATEVER}", "as inspected: breaker plate seized",
            "the vacuum unit cannot turn it, and its effect on dwell and timing is not known",
            "strip, clean and oil the plate; then set the dwell, then run the bench",
        ),
    ),
    (
        ("breaker_plate", "stiff"), "medium", Cause.BREAKER_PLATE,
        Words(
            "the breaker plate is stiff", "as inspected: breaker plate stiff",
            "the vacuum advance comes late and stays in",
            "clean and oil it",
        ),
    ),
    (
        ("weight_pins", "worn"), "repair first", Cause.WEIGHTS,
        Words(
            f"bush the weights first: their holes or pins are worn, {WHATEVER}", "as inspected: weight pins worn",
            "the curve has steps and scatter, and does not repeat",
            "fit new pins, bush the holes, or fit new weights",
        ),
    ),
    (
        ("condenser", "loose"), "repair first", Cause.CONDENSER,
        Words(
            "fix the condenser first: its mounting or a lead is loose", "as inspected: condenser loose",
            "the engine misfires as if the timing were wrong, and the points burn",
            "tighten the mounting and the terminals, then run the bench",
        ),
    ),
    (
        ("condenser", "chafed"), "repair first", Cause.CONDENSER,
        Words(
            "replace the leads first: they are chafed", "as inspected: condenser chafed",
            "misfires come and go as the breaker plate turns; a lead that touches ground stops the engine",
            "fit new flexible leads, and lay them clear of plate, cam and weights",
        ),
    ),
    (
        ("vacuum_unit", "leaks"), "repair first", Cause.VACUUM,
        Words(
            "replace the vacuum unit first: it leaks", "as inspected: vacuum unit leaks",
            "there is no vacuum advance, the mixture is weak, and fuel vapour is drawn to the spark",
            "replace it; plug the line until then",
        ),
    ),
    (
        ("vacuum_unit", "missing"), "medium", Cause.VACUUM,
        Words(
            "the vacuum unit is missing", "as inspected: vacuum unit missing",
            "the engine burns more fuel and runs hotter at part load; full load is not affected",
            "plug the line; fit a vacuum unit, or run on the mechanical advance alone",
        ),
    ),
)  # fmt: skip


@dataclass(frozen=True)
class SeenByEye(Finding):
    """What was judged by eye and hand: there is no number."""

    points_to: Cause
    said: Words

    @property
    def cause(self) -> Cause:
        """The part that was judged."""
        return self.points_to

    def words(self) -> Words:
        """The finding in words."""
        return self.said


def _apart(seen: Quantity, by_play: Quantity) -> bool:
    """Whether two changes of dwell differ by more than the factor DISAGREE, beyond their ±."""
    low, high = sorted((seen, by_play), key=lambda m: m.value)
    return high.value - (high.half_width or 0.0) > DISAGREE * (low.value + (low.half_width or 0.0))


@dataclass(frozen=True)
class PlayContradictsDwell(Finding):
    """Side play and change of dwell that contradict each other: the change of dwell `seen`, and as expected `by_play`
    [rad]."""

    seen: Quantity
    by_play: Quantity
    cause = Cause.SHAFT

    def words(self) -> Words:
        """The finding in words."""
        more = self.seen.value > self.by_play.value
        return Words(
            "side play and change of dwell do not agree",
            f"this much play would change the dwell by about {np.degrees(self.by_play.value):.1f}°, for a rounded "
            f"lobe tip; {np.degrees(self.seen.value):.1f}° was read, far {'more' if more else 'less'}",
            "one of the two may have been misread, so the verdict on the shaft may be wrong",
            "read both again, pushing along the line from cam to rubbing block; "
            + ("look for a breaker plate that rocks" if more else "look where the play really is"),
        )


@dataclass(frozen=True)
class RotorOffSegment(Finding):
    """The rotor's tip leaves its segment somewhere in the range of the vacuum unit."""

    rotor: RotorSweep
    cause = Cause.ROTOR

    def words(self) -> Words:
        """The finding in words."""
        low, high = np.degrees((self.rotor.low, self.rotor.high))
        return Words(
            "the rotor tip is not under its cap segment at the spark",
            f"over the vacuum unit's range its tip stands {low:+.1f} to {high:+.1f}° past the segment's middle (distributor), "
            f"{-np.degrees(self.rotor.room or 0.0):.1f}° more than tip and segment overlap",
            "the spark jumps across the cap: carbon tracks, misfires, a burnt rotor",
            "if the trigger or the rotor can be turned, set it so that the range lies on both sides of the middle",
        )
