"""The JSON document of `timing`: shapes, the unit of every number, and how they are filled.

Unlike in all other documents, speeds and angles are the crank's, the angles before top dead centre.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Annotated, Literal

from recurve.inspection.timing import CAUTIONS, Card, IdleTrap, TimingVerdict
from recurve.job.model import BareJob, Job
from recurve.output.documents.base import Document, Files, Fingerprint, Notes, Title, deg, if_known, listed, rpm, told

Timings = Annotated[
    list[float | None] | None,
    told("Before top dead centre, at each speed, null where it was not read; null: no such curve", "crank deg"),
]

CurveName = Literal["as found", "book", "planned", "as left"]


def off_book(card: Card, static: float, total: float) -> float | None:
    """By how much a total [rad crank] is off the book's [deg]; None where there is no book, or where the `static` [rad crank]
    follows from setting it to the book's total."""
    if card.total is None or (card.setting is not None and static == card.setting.static):
        return None
    return deg(total - card.total)


def off_book_words(degrees: float | None) -> str:
    """How a total that is off the book's by `degrees` [deg] of the crank is told after it; nothing where that is not known."""
    if degrees is None:
        return ""
    return ", as the book" if round(degrees, 1) == 0 else f", {degrees:+.1f}° off the book"


def unit_words(name: CurveName | None) -> str:
    """The unit that a curve is of, in words."""
    return "the unit as planned" if name == "planned" else f"the unit {name or ''}".rstrip()


def at_least(known: bool) -> str:
    """What stands before a total that is not `known`."""
    return "" if known else "at least "


def timing_cell(timing: float | None) -> str:
    """A timing [deg] of the crank in a table; a dash where it was not read."""
    return "-" if timing is None else f"{timing:.1f}"


class SetHere(Document):
    """Where to set the timing, vacuum line off and plugged, and what the light then shows."""

    speed_rpm: Annotated[float, told("The speed to set it at", "crank rpm")]
    reading_deg: Annotated[float, told("What the light must show, before top dead centre", "crank deg")]
    tolerance_deg: Annotated[float, told("± of it", "crank deg")]
    tolerance_source: Annotated[str, told("Where the ± comes from")]
    static_deg: Annotated[float, told("Static timing that follows", "crank deg")]
    idle_deg: Annotated[float | None, told("What the light shows at idle; null: no idle speed", "crank deg")]
    total_deg: Annotated[float, told("Total that follows", "crank deg")]
    all_in: Annotated[bool, told("Whether all advance is in at that speed; if not, the total is the least it can be")]

    @classmethod
    def of(cls, card: Card) -> SetHere | None:
        """The card's setting, None where there is no curve to set by."""
        s = card.setting
        if s is None:
            return None
        return cls(
            speed_rpm=rpm(s.speed),
            reading_deg=deg(s.reading),
            tolerance_deg=deg(s.tolerance),
            tolerance_source=card.timing.tolerance_source,
            static_deg=deg(s.static),
            idle_deg=if_known(deg, s.idle),
            total_deg=deg(s.total),
            all_in=s.flat,
        )


class Total(Document):
    """Static and total timing of one curve."""

    static_deg: Annotated[float, told("Static", "crank deg")]
    total_deg: Annotated[float, told("Total", "crank deg")]
    off_book_deg: Annotated[float | None, told("By how much the total is off the book's; null: no book", "crank deg")]

    @classmethod
    def of(cls, card: Card, static: float, stop: float) -> Total:
        """With the static [rad crank] and the stop [rad distributor] of one curve."""
        total = static + card.ratio * stop
        return cls(static_deg=deg(static), total_deg=deg(total), off_book_deg=off_book(card, static, total))


class Trap(Document):
    """What follows when the unit as found is set by the light."""

    set: Annotated[Literal["at idle", "all in", "static"], told("Where it is set by")]
    reading_deg: Annotated[float, told("What the light is made to show", "crank deg")]
    static_deg: Annotated[float, told("Static that follows", "crank deg")]
    idle_deg: Annotated[float | None, told("Timing at idle that follows; null: no idle speed", "crank deg")]
    total_deg: Annotated[float, told("Total that follows", "crank deg")]
    total_known: Annotated[bool, told("Whether the readings reach the stop; if not, the total is the least it can be")]
    off_book_deg: Annotated[float | None, told("By how much the total is off the book's; null: no book", "crank deg")]

    @classmethod
    def of(cls, card: Card, trap: IdleTrap) -> Trap:
        """One way of setting it by the light."""
        return cls(
            set=listed(trap.where),
            reading_deg=deg(trap.reading),
            static_deg=deg(trap.static),
            idle_deg=if_known(deg, trap.idle),
            total_deg=deg(trap.total),
            total_known=trap.known,
            off_book_deg=None if trap.where == "all in" or not trap.known else off_book(card, trap.static, trap.total),
        )


def column(card: Card, name: CurveName, vacuum: float = 0.0) -> list[float | None] | None:
    """The crank timing [deg] of one curve at the card's speeds, None where it was not read, with `vacuum` advance [rad
    distributor] on top."""
    timing = card.column(name, vacuum)
    return None if timing is None else [None if math.isnan(x) else deg(x) for x in timing]


class TimingTable(Document):
    """Timing over engine speed, vacuum off."""

    speed_rpm: Annotated[list[float], told("Speeds of the engine", "crank rpm")]
    as_found_deg: Timings
    book_deg: Timings
    planned_deg: Timings
    as_left_deg: Timings

    @classmethod
    def of(cls, card: Card) -> TimingTable:
        """The card's table."""
        return cls(
            speed_rpm=[rpm(x) for x in card.speed],
            as_found_deg=column(card, "as found"),
            book_deg=column(card, "book"),
            planned_deg=column(card, "planned"),
            as_left_deg=column(card, "as left"),
        )


class CruiseTimings(Document):
    """Timing over engine speed with the vacuum of cruise."""

    speed_rpm: Annotated[float | None, told("Speed of cruise; null: not given", "crank rpm")]
    vacuum_advance_deg: Annotated[float, told("What vacuum adds", "crank deg")]
    source: Annotated[str, told("Where that comes from")]
    as_found_deg: Timings
    book_deg: Timings
    planned_deg: Timings
    as_left_deg: Timings

    @classmethod
    def of(cls, card: Card) -> CruiseTimings | None:
        """The card's table with the vacuum of cruise, None where that is not known."""
        if card.cruise is None:
            return None
        vacuum, source = card.cruise
        return cls(
            speed_rpm=if_known(rpm, card.timing.cruise_speed),
            vacuum_advance_deg=deg(card.ratio * vacuum),
            source=source,
            as_found_deg=column(card, "as found", vacuum),
            book_deg=column(card, "book", vacuum),
            planned_deg=column(card, "planned", vacuum),
            as_left_deg=column(card, "as left", vacuum),
        )


def columns(table: TimingTable | CruiseTimings) -> dict[CurveName, list[float | None]]:
    """The timings [deg] of the crank that a table has, by the names of their curves; None where a curve was not read."""
    named: tuple[tuple[CurveName, list[float | None] | None], ...] = (
        ("as found", table.as_found_deg),
        ("book", table.book_deg),
        ("planned", table.planned_deg),
        ("as left", table.as_left_deg),
    )
    return {name: timings for name, timings in named if timings is not None}


class TimingDocument(Document):
    """The card for the engine. Unlike all others, speeds and angles are the CRANK's, before top dead centre."""

    verdict: TimingVerdict
    title: Title
    fingerprint: Fingerprint
    basis: Literal["crank"]
    static_deg: Annotated[float, told("Static", "crank deg")]
    idle_rpm: Annotated[float | None, told("Idle speed; null: not given", "crank rpm")]
    book_total_deg: Annotated[float | None, told("The book's total; null: none", "crank deg")]
    total_limit_deg: Annotated[float | None, told("Total never to be passed; null: none given", "crank deg")]
    set_for: Annotated[CurveName | None, told("The curve that the setting is for; null: there is none")]
    setting: Annotated[SetHere | None, told("null: there is no curve to say more than static")]
    totals: dict[CurveName, Total]
    traps: list[Trap]
    table: TimingTable
    cruise: CruiseTimings | None
    warnings: list[str]
    cautions: list[str]
    notes: Notes
    files: Files

    @classmethod
    def of(cls, card: Card, job: Job | BareJob, files: Sequence[str] = (), notes: Sequence[str] = ()) -> TimingDocument:
        """A job's card, the files that were written of it, and `notes` on where its curves are from."""
        return cls(
            verdict=card.verdict,
            title=job.title,
            fingerprint=job.fingerprint,
            basis="crank",
            static_deg=deg(card.static),
            idle_rpm=if_known(rpm, card.timing.idle),
            book_total_deg=if_known(deg, card.total),
            total_limit_deg=if_known(deg, card.timing.limit),
            set_for=None if card.set_for is None else listed(card.set_for),
            setting=SetHere.of(card),
            totals={listed(name): Total.of(card, static, curve.stop) for name, curve, static in card.curves},
            traps=[Trap.of(card, t) for t in card.traps],
            table=TimingTable.of(card),
            cruise=CruiseTimings.of(card),
            warnings=list(card.warnings),
            cautions=list(CAUTIONS),
            notes=[*notes, *job.notes],
            files=list(files),
        )
