"""The JSON document of `units`: what was found, planned and left of every unit of a folder.

All speeds and angles are the distributor's. What was said of a unit beforehand, and what the bench then showed, stand side
by side as the records have them.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Annotated, Literal

from recurve.output.documents.base import BandKind, BandSpeed, Document, Files, VerifyVerdict, told
from recurve.output.documents.honesty import HonestyDocument

Share = Annotated[float | None, told("Chance of passing that was said; null: none was", "1")]


class FindingOfUnit(Document):
    """A finding, in short."""

    what: str
    severity: str
    cause: str


class FoundOfUnit(Document):
    """What the last check of a unit as found said."""

    verdict: str
    findings: Annotated[list[FindingOfUnit], told("The worst first")]
    current: Annotated[bool, told("Whether the job is still the one that was checked")]


class PlacedOfUnit(Document):
    """A spring as planned."""

    place: str
    id: Annotated[str, told("Its name in the catalogue; empty: the spring as found")]
    new: Annotated[bool, told("Whether it is fitted anew")]
    length_mm: Annotated[
        float | None, told("Over both posts, as planned; null: nobody measured there, and the bend counts", "mm")
    ]
    bend_mm: Annotated[float | None, told("How far the anchor post is bent, + out; null: not said", "mm")]
    bend_holds: Annotated[
        bool, told("Whether bend_mm counts from where the post stands; false: measure it, and set length_mm")
    ]
    rate_n_per_mm: Annotated[float, told("Rate, as planned", "N/mm")]


class PlanOfUnit(Document):
    """What was said of a unit when it was planned."""

    out_of_reach: bool
    chance: Share
    chance_set: Annotated[float | None, told("The same, once set on the bench; null: not said", "1")]
    stop_deg: Annotated[float | None, told("The stop as planned; null: not said", "distributor deg")]
    trim_mm: Annotated[float | None, told("What to do to the stop: + build up, − file; null: not said", "mm")]
    springs: list[PlacedOfUnit]
    build: Annotated[TolerancesOfUnit | None, told("null: not said")]


class SideOfBand(Document):
    """The advance at a band, as predicted or as measured."""

    rising_deg: Annotated[float, told("Advance, the speed rising", "distributor deg")]
    rising_deviation_deg: Annotated[float, told("Its standard deviation", "distributor deg")]
    falling_deg: Annotated[float, told("Advance, the speed falling", "distributor deg")]
    falling_deviation_deg: Annotated[float, told("Its standard deviation", "distributor deg")]


class BandOfUnit(Document):
    """A band of the target: what was predicted, and what was measured."""

    band: BandKind
    speed_rpm: BandSpeed
    min_deg: Annotated[float, told("Lower edge", "distributor deg")]
    max_deg: Annotated[float, told("Upper edge", "distributor deg")]
    verdict: Annotated[VerifyVerdict, told("How the measured advance was judged")]
    measured: Annotated[SideOfBand, told("By the curve that was fitted to the readings as left")]
    predicted: Annotated[SideOfBand | None, told("Set by calliper alone; null: the plan did not say")]
    predicted_set: Annotated[SideOfBand | None, told("Once set on the bench; null: the plan did not say")]


class OffOfUnit(Document):
    """How far a build was off its plan, by the readings alone."""

    what: Literal["rate", "length", "stop"]
    place: Annotated[str, told("Of which spring; empty of the stop")]
    off: Annotated[
        float, told("Above the plan: a rate as a fraction, a length over the posts, the stop", "1, mm, distributor deg")
    ]
    standard_uncertainty: Annotated[float, told("Its standard uncertainty", "1, mm, distributor deg")]


class TolerancesOfUnit(Document):
    """The tolerances that a plan counted with, as half-widths."""

    rate: Annotated[float, told("Of the rate of a new spring", "1")]
    post_mm: Annotated[float, told("Of a length over the posts", "mm")]
    stop_mm: Annotated[float, told("Of a trim of the stop", "mm")]
    stop_deg_per_mm: Annotated[float, told("What a trim of the stop does", "distributor deg/mm")]


class LeftOfUnit(Document):
    """A record of the finished unit."""

    id: Annotated[str, told("The record's number")]
    date: Annotated[str, told("The job's date; empty: none")]
    verdict: VerifyVerdict
    distrust: Annotated[list[str], told("Why the verdict did not count, a sentence each; empty: it did")]
    risk: Annotated[float | None, told("Probability that the unit is outside a band; null: not told", "1")]
    set_by: Annotated[Literal["calliper", "bench"] | None, told("How it was set; null: not told")]
    set_: Annotated[
        dict[str, float | str], told("What was measured as it was set, by the keys of the record", "mm or deg by key")
    ]
    corrected: Annotated[list[str], told("What was then to be moved")]
    plan: Annotated[PlanOfUnit | None, told("What had been said; null: the record does not tell")]
    built: Annotated[list[OffOfUnit], told("How the build was off its plan; what the readings do not show is left out")]
    bands: list[BandOfUnit]


class UnitOfFolder(Document):
    """A unit of the folder."""

    name: Annotated[str, told("Its job file in the folder, without the ending")]
    file: Annotated[str, told("Its job file, as named")]
    title: str
    unit: Annotated[str, told("What the job calls the unit; empty: nothing")]
    date: Annotated[str, told("The job's date; empty: none")]
    state: Annotated[
        Literal[
            "begun",
            "book",
            "swept",
            "not swept, with a type",
            "swept, with a type",
            "measured",
            "planned",
            "read as left",
            "passed",
        ],
        told(
            "How far it has come; with a type: its parts by their type; read as left: built and swept, and not passed"
        ),
    ]
    next: Annotated[str, told("What to do next")]
    faults: Annotated[list[str], told("What is wrong with its files")]
    found: Annotated[FoundOfUnit | None, told("null: not checked as found")]
    plan: Annotated[PlanOfUnit | None, told("null: not planned from the job as it is now")]
    left: Annotated[list[LeftOfUnit], told("Records of the finished unit, the first first")]
    first: Annotated[
        Literal["passed", "failed", "open"] | None,
        told(
            "The finished unit at first setting; open: it was never judged before something was moved; null: no record"
        ),
    ]
    corrections: Annotated[int, told("How often something was to be moved before the last record", "1")]


class UnitsDocument(Document):
    """The units of a folder, by name."""

    folder: str
    units: list[UnitOfFolder]
    honesty: HonestyDocument
    files: Files


def searched(units: Sequence[UnitOfFolder], search: str) -> list[UnitOfFolder]:
    """The units whose name, title or number has all words of a search."""
    words = search.lower().split()
    return [u for u in units if all(w in f"{u.name} {u.title} {u.unit}".lower() for w in words)]


def first_time(left: list[LeftOfUnit]) -> Literal["passed", "failed", "open"] | None:
    """How the finished unit did at first setting: the first record that settles it, unless something was to be moved before."""
    for one in left:
        if one.verdict in ("passes", "fails") and not one.distrust:
            return "passed" if one.verdict == "passes" else "failed"
        if one.corrected:
            return "open"
    return "open" if left else None
