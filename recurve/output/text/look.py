"""The first look in the report of `check`: readings, bands, strength against the book, what to do next."""

from __future__ import annotations

import numpy as np

from recurve.diagnosis.first_look import FirstLook
from recurve.job.model import JobHead
from recurve.output.documents.base import UncertainAngle, UncertainSpeed
from recurve.output.documents.check import CheckDocument
from recurve.output.documents.look import BandAsRead, ReadingsDocument, StrengthNeeded
from recurve.output.text.layout import Column, Line, plot, table, wrap
from recurve.output.text.plan import bands_of
from recurve.uncertainty import chance_words
from recurve.units import RPM

SURELY, HARDLY = 0.95, 0.05  # probabilities beyond which a mark of the readings counts as certain
MOST_ROWS = 8  # advances at which the strength is shown
DRAG_SAID = (
    "springs and drag are counted together. Near onset the drag may be half of the total, so a weak primary is "
    "weaker than it looks there"
)


def look_lines(look: FirstLook, document: CheckDocument, job: JobHead) -> list[str]:
    """The readings over the bands in text, then what they show, each band, and the strength that the springs need."""
    assert document.readings is not None  # there is a look
    lines = ["", *_plot(look, job), "", "What the readings show, distributor"]
    lines += [line for one in mark_lines(document.readings) for line in wrap(one, "  ", "  ")]
    if document.targets:
        lines += ["", "Target against the readings, distributor rpm and degrees", *_bands(document.targets)]
    if document.strength:
        lines += ["", "How strong springs and drag pull against the book", *_strength(document.strength)]
        for words in (DRAG_SAID, *rate_words(document)):
            lines += wrap(words, "  ", "  ")
    return lines


def rate_words(document: CheckDocument) -> list[str]:
    """The rate that the primary needs, where it was weighed."""
    one = document.rate_needed
    if one is None:
        return []
    return [
        f"below the knee the book's slope needs a primary of {one.low_n_per_mm:.2f} to {one.high_n_per_mm:.2f} "
        f"N/mm, if no other spring pulls there; the one fitted was weighed at {one.weighed_n_per_mm:.2f} N/mm"
    ]


def next_lines(document: CheckDocument) -> list[str]:
    """What to measure next, the cheapest first."""
    steps = [line for one in document.next for line in wrap(f"{one.measure}: {one.gain}", "  - ", "    ")]
    ranked = any(one.narrowing is not None for one in document.next)
    order = "the most useful first" if ranked else "the cheapest first"
    return ["", f"What to measure next, {order}", *steps] if steps else []


def _plot(look: FirstLook, job: JobHead) -> list[str]:
    sweep, up = look.sweep, np.asarray(look.sweep.rising, bool)
    bands = bands_of(job)
    last = 1.05 * max([RPM * float(sweep.speed.max()), *(speed for speed, _, _ in bands if speed is not None)])
    lines = [
        Line(mark, f"read, {way}", RPM * sweep.speed[which], np.degrees(sweep.advance[which]))
        for mark, way, which in (("v", "falling", ~up), ("x", "rising", up))
        if which.any()
    ]
    return plot(lines, bands, last)


def mark_lines(readings: ReadingsDocument) -> list[str]:
    """The marks that the readings show, a sentence each without its full stop; of the distributor."""
    onset = readings.onset_rpm
    if onset is None:
        begins = (
            f"begins below {readings.lowest_rpm:.0f} rpm, the lowest rising reading; to see where, read the advance "
            "at lower speeds"
        )
    else:
        begins = f"begins at {_rpm(onset)}"
    told = [begins]
    if readings.counts_from_rpm is not None:
        told.append(
            f"zero was set with the unit turning at {readings.counts_from_rpm:.0f} rpm. Any advance already in "
            "there does not show: each advance here may be larger, and what stays in at idle is not known"
        )
    elif readings.idle_deg is None:
        told.append(f"what stays in at idle, {readings.idle_rpm:.0f} rpm, was not read: read it there, speed falling")
    else:
        told.append(f"stays in at idle, {readings.idle_rpm:.0f} rpm, speed falling: {_deg(readings.idle_deg)}")
    if readings.complete > SURELY:
        told.append(f"largest advance {_deg(readings.largest_deg)}, complete at {_rpm(readings.all_in_rpm)}")
    elif readings.complete < HARDLY:
        told.append(f"largest advance {_deg(readings.largest_deg)}; the curve still climbs where the sweep ends")
    else:
        told.append(f"largest advance {_deg(readings.largest_deg)}; the curve may still climb where the sweep ends")
    told.append(f"where the curve climbs, rising and falling lie {_deg(readings.hysteresis_deg)} apart")
    return told


def _deg(one: UncertainAngle) -> str:
    return f"{one.value:.1f} ± {2 * one.standard_uncertainty:.1f}°"


def _rpm(one: UncertainSpeed) -> str:
    return f"{one.value:.0f} ± {2 * one.standard_uncertainty:.0f} rpm"


def _bands(bands: list[BandAsRead]) -> list[str]:
    columns = [
        Column("", words=True), Column("speed", "rpm"), Column("min", "deg"), Column("rising", "deg"),
        Column("falling", "deg"), Column("max", "deg"), Column("outside", words=True),
    ]  # fmt: skip
    return table(columns, [band_cells(b) for b in bands])


def band_cells(b: BandAsRead) -> list[str]:
    """A band and what was read of it: its kind, speed, least, rising, falling, most, and how surely it lies outside."""
    return [
        b.band,
        "stop" if b.speed_rpm is None else f"{b.speed_rpm:.0f}",
        "-" if b.from_zero else f"{b.min_deg:.1f}",
        "not read" if b.rising_deg is None else _deg(b.rising_deg).rstrip("°"),
        "not read" if b.falling_deg is None else _deg(b.falling_deg).rstrip("°"),
        f"{b.max_deg:.1f}",
        _outside(b),
    ]


def _outside(band: BandAsRead) -> str:
    chance, word = max((band.above, "above"), (band.below, "below"))
    if band.rising_deg is None and band.falling_deg is None:
        return ""
    likely = "" if chance >= 0.5 else "perhaps "
    told = chance_words(chance).replace("over ", ">")  # the column has no room for the word
    return "" if chance < HARDLY else f"{likely}{word} ({told})"


def _strength(rows: list[StrengthNeeded]) -> list[str]:
    columns = [
        Column("advance", "deg"), Column("pulls, of what the book needs"), Column("must pull, times"), Column("", words=True),
    ]  # fmt: skip
    return table(columns, strength_rows(rows))


def strength_rows(rows: list[StrengthNeeded]) -> list[list[str]]:
    """Some of the rows: the advance, what springs and drag pull of what the book needs, how many times they must, a word."""
    every = -(-len(rows) // MOST_ROWS)
    cells = []
    for one in rows[::every]:
        if one.ratio is None:
            cells.append([f"{one.advance_deg:.0f}", "nothing", "-", "hangs slack"])
            continue
        most = " or more" if one.high is None else f" to {one.high:.2f}"
        weak, strong = one.low is not None and one.low > 1, one.high is not None and one.high < 1
        word = "too weak" if weak else "too strong" if strong else ""
        cells.append([f"{one.advance_deg:.0f}", f"{1 / one.ratio:.2f}", f"{one.low:.2f}{most}", word])
    return cells
