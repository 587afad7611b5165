"""First looks at many worn units (`worn`) against what is true of them: what was wrongly said, what was missed, and how often
the stated uncertainties held the truth."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass, replace
from pathlib import Path
from tempfile import TemporaryDirectory

import numpy as np
from worn import FAULTS, SLIPS, Way, Worn, worn

from recurve.diagnosis.first_look import FirstLook, first_look
from recurve.inspection.findings import Cause
from recurve.units import RPM

WAYS = (
    Way(), Way(count=5), Way(count=18), Way(count=30), Way(both=False), Way(zeroed=True), Way(short=True), Way(count=6),
)  # fmt: skip
ACCUSING = ("check first", "repair first", "high", "medium")
CLEAR = 2.0  # reading errors beyond which a fault must be found
SURE = 0.95


@dataclass(frozen=True)
class Looked:
    """One unit: its seed, fault and verdict; whether a `slip` was told; findings that are `wrong`, faults `missed`, how many
    statements and clear faults there were; and (value, standard uncertainty, truth) of each mark."""

    seed: int
    fault: str
    verdict: str
    slip: bool
    said: int
    wrong: tuple[str, ...]
    clear: int
    missed: tuple[str, ...]
    marks: dict[str, tuple[float, float, float]]


def look_at(case: tuple[int, str, Way]) -> Looked:
    """Look at the unit of a seed with a fault, swept in a way."""
    seed, fault, way = case
    unit = worn(seed, fault, way)
    with TemporaryDirectory() as folder:
        look = first_look(unit.job(Path(folder)))
    slip = any(f.severity == "check first" for f in look.findings)
    if slip or fault in SLIPS:
        wrong = ("slip",) if slip and fault not in SLIPS else ()
        return Looked(seed, fault, look.verdict, slip, int(slip), wrong, 0, (), {})
    said, wrong = _said(unit, look)
    clear, missed = _clear(unit, look)
    return Looked(seed, fault, look.verdict, slip, said, tuple(wrong), clear, tuple(missed), _marks(unit, look))


def _said(unit: Worn, look: FirstLook) -> tuple[int, list[str]]:
    """How many things were said of the unit, and which of them are not true."""
    said, wrong = 0, []
    above, below = unit.above(), unit.below()
    points = [b for b in look.bands if b.band.kind == "point"]
    for i, band in enumerate(points):
        if band in look.out:
            said += 1
            if (above if band.worse == "above" else below)[i] <= 0:
                wrong.append(f"band {i} {band.worse}")
    for finding in look.findings:
        if finding.severity not in ACCUSING:
            continue
        said += 1
        if not _true(unit, finding.cause):
            wrong.append(f"{finding.cause}: {finding.what}")
    return said, wrong


def _true(unit: Worn, cause: str) -> bool:
    """Whether a cause that was named is what was spoilt."""
    t, book = unit.truth, unit.book
    if cause == Cause.STOP:
        return t.stop > book.high or t.largest < book.low
    if cause == Cause.FRICTION:
        return t.apart > 1.0
    if cause in (Cause.PRIMARY, Cause.SECONDARY, Cause.SPRINGS):
        return "primary" in unit.fault or "secondary" in unit.fault or unit.fault == "strong" or t.idle > 0.5
    return True


def _clear(unit: Worn, look: FirstLook) -> tuple[int, list[str]]:
    """Faults larger than CLEAR reading errors that this sweep shows, and those of them that nothing was said of."""
    edge = CLEAR * unit.reading
    if unit.zeroed is not None:
        return 0, []  # what was in where zero was set is hidden, and faults with it
    faults = {
        "above": bool((unit.above() > edge).any()),
        "below": bool((unit.below() > edge).any()),
        "stays in": unit.truth.idle - 0.5 > edge and look.stays_in is not None,
        "stop": unit.truth.largest - unit.book.high > edge,
        "apart": unit.truth.apart - 1.0 > edge,
    }
    told = [f for f in look.findings if f.severity in ACCUSING]
    clear = [name for name, there in faults.items() if there]
    # A fault is found where anything that accuses is said, since one cause may show in several bands.
    return len(clear), [] if told or look.out else clear


def _marks(unit: Worn, look: FirstLook) -> dict[str, tuple[float, float, float]]:
    outline, t = look.outline, unit.truth
    if unit.zeroed is not None:
        return {}  # all advances then count from what was in there, and the onset may be hidden
    marks = {
        "largest": (
            *(float(np.degrees(x)) for x in (outline.largest.mean, outline.largest.standard_uncertainty)),
            t.largest,
        )
    }
    if outline.onset is not None:
        marks["onset"] = (outline.onset.mean * RPM, outline.onset.standard_uncertainty * RPM, t.onset)
    if look.stays_in is not None:
        marks["idle"] = (*np.degrees([look.stays_in.mean, look.stays_in.standard_uncertainty]), t.idle)
    return {name: (float(a), float(b), float(c)) for name, (a, b, c) in marks.items()}


def cases_of(seeds: Iterable[int], simulated: int = 0) -> list[tuple[int, str, Way]]:
    """Every fault for every seed, the ways of sweeping in turn; the first `simulated` cases that are not slips by MuJoCo."""
    cases = [(seed, fault, WAYS[(seed + i) % len(WAYS)]) for seed in seeds for i, fault in enumerate(FAULTS)]
    physical = [i for i, (_, fault, _) in enumerate(cases) if fault not in SLIPS][:simulated]
    return [(s, f, replace(w, simulated=True)) if i in physical else (s, f, w) for i, (s, f, w) in enumerate(cases)]


def looked_at(cases: Sequence[tuple[int, str, Way]], workers: int = 2) -> list[Looked]:
    """All cases, in their order."""
    if workers == 1:
        return [look_at(case) for case in cases]
    with ProcessPoolExecutor(workers) as pool:
        return list(pool.map(look_at, cases, chunksize=4))


def coverage(found: Iterable[Looked], mark: str) -> tuple[int, int]:
    """How often a mark ± two standard uncertainties held the truth, and how often there was one."""
    there = [one.marks[mark] for one in found if mark in one.marks]
    return sum(abs(value - truth) <= 2 * by for value, by, truth in there), len(there)


def summary(found: Sequence[Looked]) -> str:
    """The numbers in a few lines."""
    worn_units = [x for x in found if x.fault not in SLIPS]
    slips = [x for x in found if x.fault in SLIPS]
    said, wrong = sum(x.said for x in worn_units), sum(len(x.wrong) for x in worn_units)
    clear, missed = sum(x.clear for x in worn_units), sum(len(x.missed) for x in worn_units)
    lines = [
        f"{len(found)} units; wrongly said {wrong} of {said}; missed {missed} of {clear}; "
        f"slips told {sum(x.slip for x in slips)} of {len(slips)}; "
        f"falsely told {sum(x.slip for x in worn_units)} of {len(worn_units)}",
    ]
    for mark in ("onset", "idle", "largest"):
        inside, many = coverage(found, mark)
        lines.append(f"{mark}: {inside} of {many} within ± 2 standard uncertainties, {inside / max(many, 1):.3f}")
    return "\n".join(lines)
