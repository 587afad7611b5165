"""Findings of the bench inspection and of the vacuum unit, and what of them stands before any spring."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np

from recurve.inspection.bench import Bench, DwellChange, Judged, bench_of, shown
from recurve.inspection.model import Condition, Inspection
from recurve.inspection.vacuum import VacuumCheck, check_vacuum, vacuum_range
from recurve.units import RPM


@dataclass(frozen=True)
class Finding:
    """One thing that is wrong, or open. `severity`: "check first", "repair first", "high", "medium", "low", "open question"."""

    what: str
    evidence: str
    consequence: str
    remedy: str
    severity: str


AGREE = 2.5  # play and dwell change farther apart than this factor, and than their ±, are a hint of a mis-reading
COIL_SPEEDS = np.arange(250.0, 2501.0, 250.0) / RPM  # distributor
WHATEVER = "whatever springs you fit"


@dataclass(frozen=True)
class Inspected:
    """The inspection of a job: `bench` and `vacuum` worked out (None where not given), all `findings`, and what is
    `undecided` of what would have to be repaired first."""

    bench: Bench | None
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
    if given.condition is None:
        found = [] if vacuum is None else _vacuum_findings(vacuum)
        return Inspected(None, vacuum, tuple(found), ())
    bench = bench_of(given.condition, lobes, vacuum_range(given.vacuum), _coil_speeds(given, speed_ratio))
    found = [*_bench_findings(bench, given.condition, speed_ratio)]
    found += [] if vacuum is None else _vacuum_findings(vacuum)
    return Inspected(bench, vacuum, tuple(found), tuple(_undecided(bench.judged)))


def _coil_speeds(given: Inspection, speed_ratio: float) -> np.ndarray:
    timing = given.timing
    top = None if timing is None else timing.top_speed
    if top is None:
        return COIL_SPEEDS
    return np.linspace(0.1, 1.0, 10) * top / speed_ratio


# --- the bench ----------------------------------------------------------------------------------------------


def _bench_findings(bench: Bench, given: Condition, ratio: float) -> list[Finding]:
    found = [f for j in bench.judged if (f := _of_judged(j, bench, ratio)) is not None]
    found += _words(given)
    for extra in (_disagree(bench), _rotor(bench)):
        if extra is not None:
            found.append(extra)
    return found


def _by_limit(j: Judged) -> str:
    source = "" if j.limit is None else f", {j.limit.source}"
    return f"{j.what} {j.seen}, the limit is {j.allowed}{source}"


def _of_judged(j: Judged, bench: Bench, ratio: float) -> Finding | None:
    """The finding of one check, None where it passes or has no limit."""
    if j.verdict in ("pass", "no limit"):
        return None
    if j.what == "side play":
        return _wear(j, "bush the shaft first", _by_limit(j))
    if j.what.startswith("dwell change"):
        change = next(c for c in bench.changes if j.what.endswith(c.how))
        return _wear(j, "bush the shaft first", f"{_by_limit(j)}; {_change_words(change, ratio)}")
    if j.what.startswith("spark spacing"):
        return _wear(j, "straighten or replace the shaft or the breaker cam first", _by_limit(j))
    return _adjust(j)


def _wear(j: Judged, what: str, evidence: str) -> Finding:
    """Wear that no spring cures: a fail comes first, a doubt is an open question."""
    about = j.what.split(",")[0]
    limit = "" if j.limit is None or j.limit.high is None else shown(j.limit.high, j.kind)
    if j.verdict == "fail":
        what = f"{what}: {shown(j.value, j.kind)} of {about}, over the limit of {limit}, {WHATEVER}"
        severity = "repair first"
    elif j.verdict == "suspect":
        what, severity = f"{about} is near its limit: {shown(j.value, j.kind)}", "medium"
    else:
        what, severity = f"{about} is too close to its limit of {limit} to call", "open question"
    return Finding(
        what,
        evidence,
        "gap, dwell and spark wander with the shaft: two marks at the timing light, and no curve set on it holds",
        "measure again, more finely"
        if severity == "open question"
        else "bushes and shaft before springs, stop and bench",
        severity,
    )


def _change_words(change: DwellChange, ratio: float) -> str:
    """What a change of dwell does to gap and timing."""
    at, pm = (np.degrees(x or 0.0) for x in (change.timing.value, change.timing.half_width))
    told = f"it moves the timing by {at:.1f} ± {pm:.1f}° at the distributor, {at * ratio:.1f}° at the crank ({change.timing_how})"
    if change.gap is None:
        return told
    return f"{told}; it is about {shown(change.gap, 'length')} of gap, the lobe's tip taken as a parabola"


ADJUST = {
    "end float": (
        "the rotor and the drive gear move up and down, and timing with them",
        "shim it to the manual's figure",
    ),
    "dwell": (
        "more dwell retards, less charges the coil too little",
        "set the dwell first, the timing second: a change of dwell moves the timing",
    ),
    "gap": ("gap sets dwell, and dwell moves the timing", "set it, or better set the dwell; then the timing"),
    "breaker-arm spring": (
        "too weak and the points bounce at speed, too strong and the rubbing block wears and drags the cam back",
        "set or replace the breaker arm before the bench run: it is part of the drag",
    ),
}


def _adjust(j: Judged) -> Finding:
    consequence, remedy = ADJUST[j.what.split(",")[0]]
    close = j.verdict == "too close to call"
    what = f"{j.what} is {'too close to the manual to call' if close else 'not what the manual asks'}: {j.seen}"
    return Finding(what, _by_limit(j), consequence, remedy, "open question" if close else "medium")


def _words(given: Condition) -> list[Finding]:
    """What was judged by eye and hand."""
    told = {
        ("breaker_plate", "seized"): (
            f"free the breaker plate first: it is seized, {WHATEVER}", "repair first",
            "the vacuum unit cannot turn it, and what it does to dwell and timing cannot be told",
            "strip, clean and oil the plate; then dwell, then the bench",
        ),
        ("breaker_plate", "stiff"): (
            "the breaker plate is stiff", "medium", "the vacuum advance comes late and stays in",
            "clean and oil it",
        ),
        ("weight_pins", "worn"): (
            f"bush the weights first: their holes or pins are worn, {WHATEVER}", "repair first",
            "steps and scatter in the curve, and it does not repeat", "new pins, bushed holes or new weights",
        ),
        ("condenser", "loose"): (
            "fix the condenser first: its mounting or a lead is loose", "repair first",
            "misfires that look like timing; the points burn", "tighten the mounting and the terminals, then run the bench",
        ),
        ("condenser", "chafed"): (
            "replace the leads first: they are chafed", "repair first",
            "misfires that come and go as the plate turns; a lead that touches ground stops the engine",
            "new flexible leads, laid clear of plate, cam and weights",
        ),
        ("vacuum_unit", "leaks"): (
            "replace the vacuum unit first: it leaks", "repair first",
            "no vacuum advance, a weak mixture, and fuel vapour drawn to the spark", "replace it; plug the line until then",
        ),
        ("vacuum_unit", "missing"): (
            "the vacuum unit is missing", "medium", "more fuel and heat at part load; full load is not touched",
            "plug the line; fit one, or keep the mechanical curve alone",
        ),
    }  # fmt: skip
    found = []
    for (key, word), (what, severity, consequence, remedy) in told.items():
        if getattr(given, key) == word:
            found.append(Finding(what, f"as inspected: {key.replace('_', ' ')} {word}", consequence, remedy, severity))
    return found


def _disagree(bench: Bench) -> Finding | None:
    """Play and dwell change that do not belong together."""
    pushed = next((c for c in bench.changes if c.how.startswith("pushed")), None)
    if pushed is None or bench.expected_change is None:
        return None
    seen, by_play = pushed.change, bench.expected_change
    low, high = sorted((seen, by_play), key=lambda m: m.value)
    if high.value - (high.half_width or 0.0) <= AGREE * (low.value + (low.half_width or 0.0)):
        return None
    more = "more" if seen.value > by_play.value else "less"
    return Finding(
        "side play and change of dwell do not agree",
        f"the play would change the dwell by about {np.degrees(by_play.value):.1f}°, the lobe's tip taken as a parabola; "
        f"{np.degrees(seen.value):.1f}° was seen, far {more}",
        "one of the two may be misread, so the verdict on the shaft may be wrong",
        "read both again, pushing along the line from cam to rubbing block; "
        + ("look for a breaker plate that rocks" if more == "more" else "look where the play really is"),
        "open question",
    )


def _rotor(bench: Bench) -> Finding | None:
    rotor = bench.rotor
    if rotor is None or rotor.room is None or rotor.room >= 0:
        return None
    low, high = np.degrees((rotor.low, rotor.high))
    return Finding(
        "the rotor is not under its segment at the spark",
        f"over the vacuum unit's range its tip stands {low:+.1f} to {high:+.1f}° past the segment's middle (distributor), "
        f"{-np.degrees(rotor.room):.1f}° more than tip and segment overlap",
        "the spark jumps across the cap: carbon tracks, misfires, a burnt rotor",
        "set the phase where the trigger or the rotor allows it, so that the range lies on both sides of the middle",
        "medium",
    )


def _undecided(judged: Iterable[Judged]) -> list[str]:
    """Wear that might have to be repaired first."""
    wear = ("side play", "dwell change", "spark spacing")
    return [
        f"{j.what} is too close to its limit to call"
        for j in judged
        if j.what.startswith(wear) and j.verdict == "too close to call"
    ]


# --- the vacuum unit ----------------------------------------------------------------------------------------


def _vacuum_findings(check: VacuumCheck) -> list[Finding]:
    return [f for j in check.judged if (f := _of_vacuum(j)) is not None]


def _of_vacuum(j: Judged) -> Finding | None:
    if j.verdict in ("pass", "suspect", "no limit"):
        return None
    if j.what.startswith("vacuum unit drawn"):
        return Finding(
            "the leak test did not reach its vacuum", _by_limit(j), "whether the unit holds cannot be told",
            "draw it to the full vacuum and time it again", "open question",
        )  # fmt: skip
    if j.verdict == "too close to call":
        return Finding(
            f"{j.what}: too close to call", _by_limit(j), "the vacuum unit may be off its book",
            "read it again, up and down, more finely", "open question",
        )  # fmt: skip
    if j.what.startswith("vacuum lost"):
        return Finding(
            f"replace the vacuum unit first: it leaks, {shown(j.value, 'pressure')}{j.what.removeprefix('vacuum lost')}",
            _by_limit(j), "no vacuum advance, a weak mixture, and fuel vapour drawn to the spark",
            "replace it; plug the line until then", "repair first",
        )  # fmt: skip
    if "against" in j.what:
        return Finding(
            "the vacuum unit or the breaker plate sticks", _by_limit(j), "vacuum advance comes late and stays in",
            "free and oil the breaker plate; if it still sticks, replace the unit", "medium",
        )  # fmt: skip
    return Finding(
        f"the vacuum unit is off its book: {j.what.removeprefix('vacuum unit ').removeprefix(chr(39) + 's ')} {j.seen}",
        _by_limit(j), "the wrong advance at part load; full load is not touched unless vacuum is there",
        "replace it, or set it where it has a screw; check the number stamped on its arm", "medium",
    )  # fmt: skip
