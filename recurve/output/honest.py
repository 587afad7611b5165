"""What was said of the units of a folder, held against what their records show."""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Sequence
from dataclasses import asdict

import numpy as np

from recurve.arrays import Array
from recurve.diagnosis.honesty import (
    FEW,
    RARE,
    Calibration,
    Errors,
    Scatter,
    Share,
    calibrate,
    errors_at,
    errors_together,
    scatter_of,
)
from recurve.output.documents.honesty import (
    ChancesHeld,
    CurvesHeld,
    ErrorsAtSpeed,
    ErrorsTold,
    HonestyDocument,
    ShareTold,
    ToleranceHeld,
)
from recurve.output.documents.units import (
    BandOfUnit,
    LeftOfUnit,
    PlanOfUnit,
    SideOfBand,
    UnitOfFolder,
    UnitsDocument,
    searched,
)

NEAR_ZERO = 2.0  # an advance nearer to zero than so many standard deviations is cut off there, and not normal
LEAST = 0.02  # standard deviation [deg] of a prediction that is none: the curve cannot be elsewhere there
Key = tuple[str, float, str]  # kind of band, speed [rpm], 0 of the maximum, direction


def honesty_of(units: Sequence[UnitOfFolder]) -> HonestyDocument:
    """How far what was said of these units came true."""
    builds, copies = _once([u for u in units if u.left])
    planned = [u for u in builds if u.left[0].plan is not None]
    others = [u for u in planned if {"primary_spring", "secondary_spring"} & u.left[0].set_.keys()]
    as_planned = [u for u in planned if u not in others]
    said = [u for u in as_planned if _chance(u.left[0]) is not None]
    return HonestyDocument(
        units=len(planned),
        few=FEW,
        not_said=len(as_planned) - len(said),
        others=len(others),
        copies=copies,
        chances=_chances(said),
        curves=_curves(said),
        tolerances=_tolerances(as_planned),
    )


def _once(units: Sequence[UnitOfFolder]) -> tuple[list[UnitOfFolder], int]:
    """Each build once, by the ids of its records, which a copied folder has too, the one with the most records; and how many
    are copies."""
    known, kept = set[str](), set[str]()
    for unit in sorted(units, key=lambda u: -len(u.left)):
        ids = {one.id for one in unit.left}
        if not ids & known:
            kept.add(unit.name)
        known |= ids
    return [u for u in units if u.name in kept], len(units) - len(kept)


def units_document(folder: str, units: Sequence[UnitOfFolder], search: str = "") -> UnitsDocument:
    """The units of a folder, or those that a search finds, with how far what was said of them came true."""
    kept = searched(units, search)
    return UnitsDocument(folder=folder, units=kept, honesty=honesty_of(kept), files=[])


# --- chances --------------------------------------------------------------------------------------------------


def _chance(one: LeftOfUnit) -> float | None:
    """The chance that was said for the way the unit was set; None where the record does not tell which."""
    plan = one.plan
    if plan is None or (one.set_by is None and plan.chance_set is not None):
        return None
    return plan.chance_set if one.set_by == "bench" and plan.chance_set is not None else plan.chance


def _chances(units: Sequence[UnitOfFolder]) -> ChancesHeld:
    told = [(_chance(u.left[0]) or 0.0, u.first) for u in units]
    settled = [(chance, first == "passed") for chance, first in told if first in ("passed", "failed")]
    still_open = np.array([chance for chance, first in told if first not in ("passed", "failed")], float)
    found: Calibration = calibrate(
        np.array([c for c, _ in settled], float), np.array([p for _, p in settled], bool), still_open
    )
    return ChancesHeld(
        verdict=found.verdict,
        whole=None if found.whole is None else _share(found.whole),
        bins=[_share(one) for one in found.bins],
        open=found.open,
    )


def _share(one: Share) -> ShareTold:
    return ShareTold(
        from_=one.low, to=one.high, units=one.units, said=one.said, passed=one.passed, share=one.passed / one.units,
        low=one.from_, high=one.to,
    )  # fmt: skip


# --- curves ---------------------------------------------------------------------------------------------------


def _curves(units: Sequence[UnitOfFolder]) -> CurvesHeld:
    by_place: dict[Key, list[float]] = defaultdict(list)
    by_unit: list[Array] = []
    left_out = 0
    for unit in units:
        one = _first_read(unit)
        told = [] if one is None else [(key, off) for band in one.bands for key, off in _errors(band, one.set_by)]
        kept = [(key, off) for key, off in told if off is not None]
        left_out += len(told) - len(kept)
        for key, off in kept:
            by_place[key].append(off)
        if kept:
            by_unit.append(np.array([off for _, off in kept]))
    whole = errors_together(by_unit)
    enough = sum(len(offs) >= FEW for offs in by_place.values())
    speeds = []
    for (band, speed, direction), offs in sorted(by_place.items()):
        found = errors_at(np.array(offs), RARE / max(enough, 1))
        speeds.append(
            ErrorsAtSpeed.model_validate(
                {**asdict(found), "band": band, "speed_rpm": speed or None, "direction": direction}
            )
        )
    return CurvesHeld(whole=None if whole is None else _told(whole), speeds=speeds, left_out=left_out)


def _told(one: Errors) -> ErrorsTold:
    return ErrorsTold.model_validate(asdict(one))


def _first_read(unit: UnitOfFolder) -> LeftOfUnit | None:
    """The first record that shows the curve, if nothing was to be moved before."""
    for one in unit.left:
        if one.verdict in ("passes", "fails", "too close to call") and not one.distrust:
            return one
        if one.corrected:
            return None
    return None


def _errors(band: BandOfUnit, set_by: str | None) -> list[tuple[Key, float | None]]:
    """Measured less predicted in standard deviations at a band, rising and falling, None where it says nothing; nothing of a
    band that was not predicted. At the stop the two are the same."""
    said = (band.predicted_set or band.predicted) if set_by == "bench" else band.predicted
    if said is None:
        return []
    ways = ("rising",) if band.speed_rpm is None else ("rising", "falling")
    return [((band.band, band.speed_rpm or 0.0, way), _error(said, band.measured, way)) for way in ways]


def _error(said: SideOfBand, measured: SideOfBand, way: str) -> float | None:
    (mean, by), (value, off) = (
        (getattr(one, f"{way}_deg"), getattr(one, f"{way}_deviation_deg")) for one in (said, measured)
    )
    if by < LEAST or mean < NEAR_ZERO * by or off > by:
        return None
    return float((value - mean) / np.hypot(by, off))


# --- tolerances -----------------------------------------------------------------------------------------------


def _tolerances(units: Sequence[UnitOfFolder]) -> list[ToleranceHeld]:
    """The tolerances of [build] against the first reading of each unit."""
    offs: dict[str, list[tuple[float, float]]] = {"rate": [], "post": [], "stop": []}
    counted: dict[str, Counter[float]] = {what: Counter() for what in offs}
    springs: set[str] = set()
    for unit in units:
        one = _first_read(unit)
        if one is None or one.plan is None or one.plan.build is None:
            continue
        said = one.plan.build
        for what, off, by in _offs(one, one.plan, springs):
            offs[what].append((off, by))
            counted[what][{"rate": said.rate, "post": said.post_mm, "stop": said.stop_mm}[what]] += 1
    return [_tolerance(what, np.array(told).reshape(-1, 2), counted[what]) for what, told in offs.items() if told]


def _offs(one: LeftOfUnit, plan: PlanOfUnit, springs: set[str]) -> list[tuple[str, float, float]]:
    """What a record tells of each tolerance: how far it was off, and its standard uncertainty. The rate of a spring of the
    catalogue counts once, in `springs`: all of an id may be off alike. A post counts that was set by calliper alone, a stop that
    was trimmed."""
    new = {s.place: s.id for s in plan.springs if s.new}
    found = []
    for off in one.built:
        if off.what == "rate" and off.place in new and new[off.place] not in springs:
            springs.add(new[off.place])
            found.append(("rate", off.off, off.standard_uncertainty))
        elif off.what == "length" and off.place in new and one.set_by == "calliper":
            found.append(("post", off.off, off.standard_uncertainty))
        elif off.what == "stop" and plan.trim_mm and plan.build is not None and plan.build.stop_deg_per_mm > 0.0:
            per_mm = plan.build.stop_deg_per_mm
            found.append(("stop", -off.off / per_mm, off.standard_uncertainty / per_mm))
    return found


def _tolerance(what: str, told: Array, counted: Counter[float]) -> ToleranceHeld:
    # Where plans counted with several tolerances, the one that most counted with is held against the builds.
    said = min(counted, key=lambda value: (-counted[value], value))
    found: Scatter = scatter_of(told[:, 0], told[:, 1], said, RARE / 3)
    return ToleranceHeld.model_validate(
        {
            "what": what, "unit": "1" if what == "rate" else "mm", "builds": found.builds, "said": said,
            "found": found.found, "low": found.low, "high": found.high, "mean": found.mean, "verdict": found.verdict,
            "proposed": None if found.proposed is None else float(f"{found.proposed:.2g}"), "one_sided": found.one_sided,
        }
    )  # fmt: skip
