"""The sheet of a unit as found: what the readings show, the bands, what is wrong, and what to do next; as PDF and as a page.

It is for the bench before anything is stripped, and is made of the blocks of the build sheet.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence

from recurve.job.model import BareJob, Job
from recurve.job.questions import parts
from recurve.output.documents.check import CheckDocument, FindingDocument
from recurve.output.documents.look import BandAsRead, ReadingsDocument
from recurve.output.sheet.numbers import Shown
from recurve.output.sheet.parts import SEVERITY, Facts
from recurve.output.sheet.sheet import head_facts, page_of, typeset
from recurve.output.text.look import band_cells, mark_lines, rate_words, strength_rows
from recurve.text import breakable
from recurve.units import LengthUnits, Paper

Worder = Callable[[str], str]  # a sentence told in the units that were asked for


def found_pdf(
    job: Job | BareJob,
    document: CheckDocument,
    figures: Mapping[str, bytes],
    paper: Paper = "a4",
    units: LengthUnits = "both",
) -> bytes:
    """The sheet as PDF, the same bytes for the same input; `figures`: SVGs by file name, of which those it knows are shown;
    `units`: in which lengths, rates, forces and moments are told."""
    return typeset("sheet.typ", found_facts(job, document, figures, units), figures, paper)


def found_html(
    job: Job | BareJob, document: CheckDocument, figures: Mapping[str, bytes], units: LengthUnits = "both"
) -> bytes:
    """The same as an HTML page, UTF-8."""
    return page_of(found_facts(job, document, figures, units), figures)


def found_facts(
    job: Job | BareJob, document: CheckDocument, figures: Mapping[str, bytes], units: LengthUnits = "both"
) -> Facts:
    """Everything the sheet says. Numbers are text with their unit, except in tables, whose columns name theirs."""
    words = Shown(job.speed_ratio, units).words
    notes = [words(n) for n in document.notes if n not in job.doubts]
    made = [
        ("verdict", _verdict(document, job.doubts, words)),
        ("picture", _picture(figures)),
        ("readings", _readings(document.readings)),
        ("bands", _bands(document.targets)),
        ("strength", _strength(document, words)),
        *((f"finding-{i}", _finding(i, one, words)) for i, one in enumerate(document.findings, 1)),
        ("next", _next(document, words)),
        ("notes", {"title": "Remarks", "text": [breakable(n) for n in notes]} if notes else None),
        ("signed", {"boxes": ["swept by", _with_what(job), "date"]}),
    ]
    return {
        **head_facts(job),
        "kind": "As found",
        "parts": [{"name": name, "layout": "block", "facts": facts} for name, facts in made if facts is not None],
    }


def _with_what(job: Job | BareJob) -> str:
    """What the sweep was read with, as a line to fill in."""
    return "timing light or bench" if job.sweep is not None and job.sweep.as_read.at_crank else "bench"


def _verdict(document: CheckDocument, doubts: Sequence[str], words: Worder) -> Facts:
    caution = next((p.caution for p in parts() if p.caution), "").removeprefix("CAUTION: ")
    first = [f"Check this figure first: {breakable(words(d))}" for d in doubts]
    first += [f"Settle this first: {breakable(words(r))}" for r in document.trust.reasons]
    return {
        "title": document.verdict.capitalize(),
        "text": [*first, *(f"{breakable(words(w[:1].upper() + w[1:]))}." for w in document.why)],
        "cautions": [caution[:1].upper() + caution[1:]],
    }


def _picture(figures: Mapping[str, bytes]) -> Facts | None:
    shown = [
        ("look.svg", "The readings against the book's bands", 80),
        ("fit.svg", "The readings and the fitted curve against the book's bands", 80),
    ]
    there = [{"file": name, "alt": alt, "width": width} for name, alt, width in shown if name in figures]
    return {"figures": there} if there else None


def _readings(readings: ReadingsDocument | None) -> Facts | None:
    if readings is None:
        return None
    told = [f"{line[:1].upper() + line[1:]}." for line in mark_lines(readings)]
    return {"title": "What the readings show (distributor)", "text": told}


def _bands(bands: list[BandAsRead]) -> Facts | None:
    if not bands:
        return None
    heads = [
        ("band", ""), ("speed", "rpm, distributor"), ("min", "deg, distributor"), ("rising", "deg, distributor"),
        ("falling", "deg, distributor"), ("max", "deg, distributor"), ("outside", "probability"),
    ]  # fmt: skip
    return {
        "title": "The book's bands against the readings",
        "table": {"heads": [{"name": n, "unit": u} for n, u in heads], "rows": [band_cells(b) for b in bands]},
    }


def _strength(document: CheckDocument, words: Worder) -> Facts | None:
    if not document.strength:
        return None
    heads = [
        ("advance", "deg, distributor"),
        ("they pull", "of what the book needs"),
        ("they must pull", "times as much"),
        ("", ""),
    ]
    return {
        "title": "How strong springs and drag pull against the book",
        "table": {"heads": [{"name": n, "unit": u} for n, u in heads], "rows": strength_rows(document.strength)},
        "text": [f"{words(line[:1].upper() + line[1:])}." for line in rate_words(document)],
    }


def _finding(number: int, one: FindingDocument, words: Worder) -> Facts:
    told = (
        ("Seen", one.evidence),
        ("For the engine", one.consequence),
        ("Do", one.remedy),
    )
    return {
        "title": f"{number}. {breakable(words(one.what[:1].upper() + one.what[1:]))} ({SEVERITY[one.severity]})",
        "text": [f"{label}: {breakable(words(line.rstrip('.')))}." for label, line in told],
    }


def _next(document: CheckDocument, words: Worder) -> Facts | None:
    if not document.next:
        return None
    steps = [
        f"{i}. {breakable(words(s.measure[:1].upper() + s.measure[1:]))}: {breakable(words(s.gain))}."
        for i, s in enumerate(document.next, 1)
    ]
    return {"title": "What to measure next", "text": steps}
