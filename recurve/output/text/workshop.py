"""Text and facts of the timing card. Every angle is the crank's before top dead centre, every speed the crank's, unless
it is said to be the distributor's.

A spring that was weighed and stretched: the report and the JSON document.

Springs to have wound, on paper: the report, the JSON document and the table of an order.
"""

from __future__ import annotations

import csv
import io
from typing import Any

import numpy as np

from recurve.inspection.timing import CAUTIONS, Card
from recurve.job.model import BareJob, Job
from recurve.output.documents.workshop import NAMES, timing_facts
from recurve.output.text.layout import Column, page, remarks, table, title_lines, wrap
from recurve.springs.stress import FATIGUE
from recurve.springs.weighing import WeighedSpring, measured_notes
from recurve.springs.winding import Wanted, Winding, Wound, check_lengths, coils_wound, hooks_stand, shortfall
from recurve.springs.wire import materials
from recurve.text import printable
from recurve.units import RPM


def timing_text(card: Card, job: Job | BareJob, files: tuple[str, ...] = ()) -> str:
    """The report of `recurve timing`: where to set, the table, the trap, warnings, cautions."""
    facts = timing_facts(card, job)
    head = title_lines(job)
    lines = [
        *head[:2],
        *wrap(f"{printable(job.path.name)}, inputs {job.fingerprint}; CRANK degrees before top dead centre at"),
    ]
    lines += ["CRANK rpm, unless it says distributor", ""]
    lines += [facts["verdict"].upper(), *(line for w in card.warnings for line in wrap(w, "  - ", "    ")), ""]
    lines += [*_setting_lines(facts), *_table_lines(card), *_trap_lines(facts)]
    lines += ["", "Cautions", *(line for c in CAUTIONS for line in wrap(c, "  - ", "    "))]
    lines += remarks(job.notes)
    if files:
        lines += ["", "Written", *(f"  {name}" for name in files)]
    return page(lines)


def _setting_lines(facts: dict[str, Any]) -> list[str]:
    s = facts["setting"]
    if s is None:
        return [f"Static {facts['static_deg']:.1f}°; there is no advance curve to say more."]
    source = f" ({s['tolerance_source']})"
    lines = ["Set it here, vacuum line off and plugged, the engine warm"]
    where = f"at {s['speed_rpm']:.0f} rpm{', all in' if s['all_in'] else ''}"
    lines += wrap(f"{where}: {s['reading_deg']:.1f} ± {s['tolerance_deg']:.1f}°{source}", "  ", "    ")
    idle = ""
    if s["idle_deg"] is not None:
        idle = f"; at idle, {facts['idle_rpm']:.0f} rpm, the light then shows {s['idle_deg']:.1f}°"
    told = f"that is static {s['static_deg']:.1f}°, cam turned back to rest{idle}; total {s['total_deg']:.1f}°"
    lines += wrap(told, "  ", "    ")
    lines.append("")
    for name, one in facts["totals"].items():
        off = "" if one["off_book_deg"] is None or name == "book" else f", {one['off_book_deg']:+.1f}° off the book"
        lines.append(f"  total {name}, with static {one['static_deg']:.1f}°: {one['total_deg']:.1f}°{off}")
    return lines


def _table_lines(card: Card) -> list[str]:
    names = [n for n in NAMES if card.column(n) is not None]
    if not names:
        return []
    sets = [("vacuum off", 0.0)] + ([] if card.cruise is None else [("cruise vacuum", card.cruise[0])])
    columns = [Column("speed", "rpm"), *(Column(n, "deg") for _ in sets for n in names)]
    cells = [card.column(n, v) for _, v in sets for n in names]
    rows = [
        [f"{x * RPM:.0f}", *(f"{np.degrees(c[i]):.1f}" for c in cells if c is not None)]
        for i, x in enumerate(card.speed)
    ]
    told = "vacuum off" if card.cruise is None else f"first vacuum off, then with cruise vacuum ({card.cruise[1]}: "
    told += "" if card.cruise is None else f"{np.degrees(card.ratio * card.cruise[0]):+.1f}°)"
    return ["", *wrap(f"Timing over engine speed, {told}"), *table(columns, rows)]


def _trap_lines(facts: dict[str, Any]) -> list[str]:
    if not facts["traps"]:
        return []
    lines = ["", "If the unit as found is set by the light"]
    for t in facts["traps"]:
        where = f"at idle to {t['reading_deg']:.1f}°" if t["set"] == "at idle" else f"all in to {t['reading_deg']:.1f}°"
        idle = "" if t["idle_deg"] is None or t["set"] == "at idle" else f", at idle {t['idle_deg']:.1f}°"
        off = "" if t["off_book_deg"] is None else f", {t['off_book_deg']:+.1f}° off the book's"
        lines += wrap(f"{where}: static {t['static_deg']:.1f}°{idle}, total {t['total_deg']:.1f}°{off}", "  ", "    ")
    return lines


def spring_text(m: WeighedSpring, file: str | None) -> str:
    """The report of `recurve spring`."""
    w = m.weighed
    lines = [
        "Spring as weighed and stretched; ± is two standard uncertainties",
        "",
        f"  rate              {w.rate / 1e3:8.3f} ± {2 * w.rate_uncertainty / 1e3:.3f} N/mm   "
        f"({w.rate / 175.1268:.2f} ± {2 * w.rate_uncertainty / 175.1268:.2f} lbf/in)",
    ]
    if w.initial_tension is not None and w.initial_tension_uncertainty is not None:
        two = 2 * w.initial_tension_uncertainty
        lines.append(
            f"  initial tension   {w.initial_tension:8.2f} ± {two:.2f} N      "
            f"({w.initial_tension / 4.448222:.3f} ± {two / 4.448222:.3f} lbf)"
        )
        lines.append(f"  free length       {1e3 * m.described.free_length:8.2f} mm inside the hooks")
    lines += ["", "Reading      pull   length   off the line", "                N       mm              N"]
    residual = iter(w.residuals)
    for i, (pull, length) in enumerate(zip(m.hung.pull, m.hung.length, strict=True)):
        off = "  left out" if i in w.left_out else f"{round(next(residual), 3) + 0.0:10.3f}"
        lines.append(f"  {i + 1:<8}{pull:7.3f} {1e3 * length:8.2f}     {off}")
    lines += remarks(measured_notes(m))
    if file is not None:
        lines += ["", *wrap(f"Added as {m.described.id} to {file}")]
    return page(lines)


COLUMNS = (
    "place", "rank", "material", "standard", "wire", "wire [mm]", "outer [mm]", "inside [mm]", "coils", "hook_angle [deg]",
    "hook_inside [mm]", "body [mm]", "coils_wound", "free_length [mm]", "overall [mm]", "rate [N/mm]", "initial_tension [N]",
    "length_1 [mm]", "pull_1 [N]", "length_2 [mm]", "pull_2 [N]", "rate_by_wire [%]", "index", "stress_used [%]", "robustness",
)  # fmt: skip


# --- the order's table -------------------------------------------------------------------------------------


def wind_csv(windings: tuple[Winding, ...], most: int) -> bytes:
    """The proposals as a table, `most` of each spring, for a winder to choose from."""
    out = io.StringIO(newline="")
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(COLUMNS)
    for winding in windings:
        for rank, wound in enumerate(winding.proposals[:most], 1):
            writer.writerow(_row(winding.wanted, rank, wound))
    return out.getvalue().encode("utf-8")


def _row(wanted: Wanted, rank: int, w: Wound) -> list[str]:
    (length_1, pull_1), (length_2, pull_2) = check_lengths(wanted, w)
    mm = [f"{1e3 * x:.3f}" for x in (w.wire, w.outer, w.outer - 2 * w.wire)]
    return [
        wanted.place, str(rank), w.material, materials()[w.material].standard, w.label, *mm, f"{w.coils:g}", f"{w.hook_angle:g}",
        f"{1e3 * w.hook:.2f}", f"{1e3 * w.body:.2f}", coils_wound(w), f"{1e3 * w.free_length:.2f}", f"{1e3 * w.overall:.2f}",
        f"{w.rate / 1e3:.4g}", f"{w.initial_tension:.2f}", f"{1e3 * length_1:.2f}", f"{pull_1:.2f}", f"{1e3 * length_2:.2f}",
        f"{pull_2:.2f}", f"{100 * w.spread:.1f}", f"{w.index:.2f}", f"{100 * max(w.stress_fractions):.0f}", f"{w.robustness:.2f}",
    ]  # fmt: skip


# --- what must be said aloud -----------------------------------------------------------------------------


def wind_notes(job: Job, windings: tuple[Winding, ...]) -> tuple[str, ...]:
    """What the user of these springs must know."""
    made = [w for w in windings if w.proposals]
    if not made:
        return ()
    notes = [
        "Rate and pulls decide, not the turns: let the winder trim these. Weigh and stretch each spring that comes "
        "(recurve spring) before it goes in.",
    ]
    expected = job.build.rate
    if 0 < expected < made[0].envelope.tolerance:
        notes.append(
            f"A plan's chance of passing counts on a rate within ± {100 * expected:g}%, the order on "
            f"± {100 * made[0].envelope.tolerance:g}%: ask for the former, or put the rate that was measured into the job and "
            "plan again."
        )
    if any(w.wanted.pull is not None and abs(w.proposals[0].initial_tension) > 0 for w in made):
        notes.append(
            "A spring that pulls from rest is wound to its pull there: free length and initial tension are chosen together, "
            "and may differ from the plan's spring without changing the curve."
        )
    return (*notes, f"{FATIGUE} A broken spring means full advance.")


# --- the report --------------------------------------------------------------------------------------------


def wind_text(
    job: Job,
    source: str,
    windings: tuple[Winding, ...],
    files: tuple[str, ...],
    notes: tuple[str, ...],
    most: int,
) -> str:
    """The report of `recurve wind`: what is wanted, what can be wound, the first of each in full."""
    lines = [*title_lines(job), "", *wrap(f"SPRINGS TO HAVE WOUND: {source}")]
    for winding in windings:
        lines += ["", *_wanted_lines(winding), *_proposals(winding, most)]
    if any(w.proposals for w in windings):
        lines += [
            "",
            *wrap("Tension: wound in. Used: of the stress that is allowed. Room: 0 on a limit, 1 far from all."),
        ]
    lines += remarks(notes)
    if files:
        lines += ["", "Written", *(f"  {name}" for name in files)]
    return page(lines)


def _wanted_lines(winding: Winding) -> list[str]:
    wanted, envelope = winding.wanted, winding.envelope
    lines = [f"{wanted.place.capitalize()}: {wanted_words(wanted)}"]
    about = (
        f"at most {1e3 * envelope.outer:.2f} mm over the coils and {1e3 * envelope.overall:.2f} mm over the hooks, rate within "
        f"± {100 * envelope.tolerance:g}%"
    )
    if wanted.post > 0:
        about += f", over posts of {1e3 * wanted.post:.2f} mm"
    return [*wrap(lines[0], "", "  "), *wrap(about, "  ", "  ")]


def wanted_words(wanted: Wanted) -> str:
    """What a spring must do, in words."""
    if wanted.pull is not None:
        what = f"{wanted.pull:.2f} N at {1e3 * wanted.rest:.2f} mm inside the hooks, its length at rest"
    else:
        assert wanted.free_length is not None  # one of the two is given
        tension = "any" if wanted.initial_tension is None else f"{wanted.initial_tension:.2f} N"
        what = f"{1e3 * wanted.free_length:.2f} mm free inside the hooks, initial tension {tension}"
    return f"{wanted.rate / 1e3:.3f} N/mm, {what}, drawn to {1e3 * wanted.longest:.2f} mm at full advance"


def _proposals(winding: Winding, most: int) -> list[str]:
    if not winding.proposals:
        return ["  CANNOT BE WOUND", *(line for text in shortfall(winding) for line in wrap(text, "  ", "  "))]
    lines = [
        f"    {'material':<13}{'wire':<18}{'outer':>6}{'coils':>6}{'free':>7}{'rate':>7}{'tension':>8}{'used':>6}{'room':>5}",
        f"    {'':<13}{'':<18}{'mm':>6}{'':>6}{'mm':>7}{'N/mm':>7}{'N':>8}{'%':>6}",
    ]
    for rank, w in enumerate(winding.proposals[:most], 1):
        free, rate = 1e3 * w.free_length, w.rate / 1e3
        lines.append(
            f"{rank:>3} {w.material:<13}{w.label:<18}{1e3 * w.outer:6.2f}{w.coils:6g}{free:7.2f}{rate:7.3f}"
            f"{w.initial_tension:8.2f}{100 * max(w.stress_fractions):6.0f}{w.robustness:5.2f}"
        )
    return [*lines, *_first(winding.wanted, winding.proposals[0])]


def _first(wanted: Wanted, w: Wound) -> list[str]:
    """The first proposal as one would say it to a winder."""
    one, two = check_lengths(wanted, w)
    text = (
        f"The first: {w.material} wire ({materials()[w.material].standard}), {w.label}; {w.coils:g} coils, {coils_wound(w)}, "
        f"body {1e3 * w.body:.2f} mm; hooks {1e3 * w.hook:.2f} mm inside, {hooks_stand(w)}; pulls {one[1]:.2f} N at "
        f"{1e3 * one[0]:.2f} mm and {two[1]:.2f} N at {1e3 * two[0]:.2f} mm. Its wire alone may put the rate "
        f"± {100 * w.spread:.1f}% off; if each hook yields like half a coil it is {100 * w.hook_uncertainty:.1f}% softer."
    )
    return wrap(text, "  ", "  ")
