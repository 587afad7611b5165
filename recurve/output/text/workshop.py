"""The reports of `timing`, `wind` and `spring`, and the table of an order to a spring winder."""

from __future__ import annotations

import csv
import io
from collections.abc import Mapping, Sequence

from recurve.job.model import BareJob, Job
from recurve.output.documents.base import PlaceName
from recurve.output.documents.springs import SpringDocument, WantedSpring, WindDocument, WindingDocument, WoundSpring
from recurve.output.documents.timing import TimingDocument, at_least, columns, off_book_words, timing_cell, unit_words
from recurve.output.text.layout import Column, doubt_lines, page, remarks, table, title_lines, wrap, written
from recurve.springs.stress import FATIGUE
from recurve.springs.weighing import WeighedSpring
from recurve.springs.winding import Winding, Wound, coils_wound, hooks_stand, shortfall
from recurve.text import printable
from recurve.units import INCH, POUND_FORCE

# --- timing ------------------------------------------------------------------------------------------------


def timing_text(job: Job | BareJob, document: TimingDocument) -> str:
    """The report of `recurve timing`: where to set, the table, the trap, warnings, cautions.

    Every angle is the crank's before top dead centre and every speed the crank's, unless it says distributor.
    """
    lines = [
        *title_lines(job)[:2],
        *wrap(f"{printable(job.path.name)}, inputs {job.fingerprint}; CRANK degrees before top dead centre at"),
    ]
    lines += ["CRANK rpm, unless it says distributor", *doubt_lines(job), ""]
    lines += [document.verdict.upper(), *_listed(document.warnings), ""]
    lines += [*_setting_lines(document), *_table_lines(document), *_trap_lines(document)]
    lines += ["", "Cautions", *_listed(document.cautions)]
    return page([*lines, *remarks(document.notes, job.doubts), *written(document.files)])


def _listed(texts: Sequence[str]) -> list[str]:
    return [line for text in texts for line in wrap(text, "  - ", "    ")]


def _setting_lines(document: TimingDocument) -> list[str]:
    s = document.setting
    if s is None:
        return [f"Static {document.static_deg:.1f}°; without an advance curve nothing more is known."]
    where = f"at {s.speed_rpm:.0f} rpm{', all in' if s.all_in else ''}"
    idle = ""
    if s.idle_deg is not None:
        idle = f"; at idle, {document.idle_rpm:.0f} rpm, the light then shows {s.idle_deg:.1f}°"
    lines = [f"Set {unit_words(document.set_for)} here, vacuum line off and plugged, the engine warm"]
    lines += wrap(f"{where}: {s.reading_deg:.1f} ± {s.tolerance_deg:.1f}° ({s.tolerance_source})", "  ", "    ")
    told = (
        f"that is static {s.static_deg:.1f}° with the cam turned back to rest{idle}; total "
        f"{at_least(s.all_in)}{s.total_deg:.1f}°"
    )
    lines += [*wrap(told, "  ", "    "), ""]
    for name, one in document.totals.items():
        off = "" if name == "book" else off_book_words(one.off_book_deg)
        lines.append(f"  total {name}, with static {one.static_deg:.1f}°: {one.total_deg:.1f}°{off}")
    return lines


def _table_lines(document: TimingDocument) -> list[str]:
    off, cruise = columns(document.table), document.cruise
    if not off:
        return []
    shown = [*off.items(), *([] if cruise is None else columns(cruise).items())]
    heads = [Column("speed", "rpm"), *(Column(name, "deg") for name, _ in shown)]
    rows = [
        [f"{speed:.0f}", *(timing_cell(timings[i]) for _, timings in shown)]
        for i, speed in enumerate(document.table.speed_rpm)
    ]
    told = "vacuum off"
    if cruise is not None:
        told = f"first vacuum off, then with cruise vacuum ({cruise.source}: {cruise.vacuum_advance_deg:+.1f}°)"
    return ["", *wrap(f"Timing over engine speed, {told}"), *table(heads, rows)]


def _trap_lines(document: TimingDocument) -> list[str]:
    if not document.traps:
        return []
    lines = ["", "If the unit as found is set"]
    for t in document.traps:
        where = "static" if t.set == "static" else f"{t.set} to"
        static = "" if t.set == "static" else f" static {t.static_deg:.1f}°,"
        idle = "" if t.idle_deg is None or t.set == "at idle" else f" at idle {t.idle_deg:.1f}°,"
        total = f"total {at_least(t.total_known)}{t.total_deg:.1f}°{off_book_words(t.off_book_deg)}"
        lines += wrap(f"{where} {t.reading_deg:.1f}°:{static}{idle} {total}", "  ", "    ")
    return lines


# --- a spring weighed and stretched ------------------------------------------------------------------------


def spring_text(m: WeighedSpring, document: SpringDocument, added: bool = True) -> str:
    """The report of `recurve spring`; whether the spring was `added` to a catalogue, if one is named, or noted in its row."""
    inch = 1e3 * INCH / POUND_FORCE  # lbf/in in a N/mm
    rate, rate_2u = document.rate_n_per_mm, document.rate_2u_n_per_mm
    lines = [
        "Spring as weighed and stretched; ± is two standard uncertainties",
        "",
        f"  rate              {rate:8.3f} ± {rate_2u:.3f} N/mm   ({rate * inch:.2f} ± {rate_2u * inch:.2f} lbf/in)",
    ]
    tension, tension_2u = document.initial_tension_n, document.initial_tension_2u_n
    if tension is not None and tension_2u is not None:
        lines.append(
            f"  initial tension   {tension:8.2f} ± {tension_2u:.2f} N      "
            f"({tension / POUND_FORCE:.3f} ± {tension_2u / POUND_FORCE:.3f} lbf)"
        )
        lines.append(f"  free length       {document.free_length_mm:8.2f} mm inside the hooks")
    lines += ["", "Reading      pull   length   off the line", "                N       mm              N"]
    residual = iter(m.weighed.residuals)
    for number, one in enumerate(document.readings, 1):
        off = "  left out" if one.left_out else f"{round(next(residual), 3) + 0.0:10.3f}"
        lines.append(f"  {number:<8}{one.pull_n:7.3f} {one.length_mm:8.2f}     {off}")
    lines += remarks(document.notes)
    if document.file is not None and added:
        lines += ["", *wrap(f"Added as {m.described.id} to {document.file}")]
    return page(lines)


# --- springs to have wound: the order's table ----------------------------------------------------------------

COLUMNS = (
    "place", "rank", "material", "standard", "wire", "wire [mm]", "outer [mm]", "inside [mm]", "coils", "hook_angle [deg]",
    "hook_inside [mm]", "body [mm]", "coils_wound", "free_length [mm]", "overall [mm]", "rate [N/mm]", "initial_tension [N]",
    "length_1 [mm]", "pull_1 [N]", "length_2 [mm]", "pull_2 [N]", "rate_by_wire [%]", "index", "stress_used [%]", "robustness",
)  # fmt: skip


def wind_csv(windings: Sequence[Winding], springs: Mapping[PlaceName, WindingDocument], most: int) -> bytes:
    """The proposals as a table, `most` of each spring, for a winder to choose from; `springs` tells the windings' numbers
    by their places."""
    out = io.StringIO(newline="")
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(COLUMNS)
    for winding, (place, told) in zip(windings, springs.items(), strict=True):
        proposals = zip(winding.proposals, told.proposals, strict=True)
        for rank, (wound, one) in list(enumerate(proposals, 1))[:most]:
            writer.writerow([place, str(rank), *_cells(wound, one)])
    return out.getvalue().encode("utf-8")


def _cells(wound: Wound, w: WoundSpring) -> list[str]:
    """One proposal. Hook and body come from round wire sizes and often end on half of the last digit shown, so they are
    taken unrounded: rounding twice would give another digit."""
    one, two = w.pulls
    return [
        w.material, w.standard, w.wire, f"{w.wire_mm:.3f}", f"{w.outer_mm:.3f}", f"{w.outer_mm - 2 * w.wire_mm:.3f}",
        f"{w.coils:g}", f"{w.hook_angle_deg:g}", f"{1e3 * wound.hook:.2f}", f"{1e3 * wound.body:.2f}", coils_wound(wound),
        f"{w.free_length_mm:.2f}", f"{w.overall_mm:.2f}", f"{w.rate_n_per_mm:.4g}", f"{w.initial_tension_n:.2f}",
        f"{one.length_mm:.2f}", f"{one.pull_n:.2f}", f"{two.length_mm:.2f}", f"{two.pull_n:.2f}",
        f"{100 * w.rate_by_wire:.1f}", f"{w.index:.2f}", f"{100 * w.stress_used.largest:.0f}", f"{w.robustness:.2f}",
    ]  # fmt: skip


# --- remarks -----------------------------------------------------------------------------------------------


def wind_notes(job: Job, windings: tuple[Winding, ...]) -> tuple[str, ...]:
    """What anyone who fits these springs must know."""
    made = [w for w in windings if w.proposals]
    if not made:
        return ()
    notes = [
        "Rate and pulls count, not the number of turns: let the winder trim the turns. Weigh and stretch every "
        "spring (recurve spring) before you fit it.",
    ]
    expected = job.build.rate
    if 0 < expected < made[0].envelope.tolerance:
        notes.append(
            f"The plan's chance of passing assumes rates within ± {100 * expected:g}%, this order ± "
            f"{100 * made[0].envelope.tolerance:g}%. Ask for ± {100 * expected:g}%, or put the measured rate into "
            "the job and plan again."
        )
    if any(w.wanted.pull is not None and abs(w.proposals[0].initial_tension) > 0 for w in made):
        notes.append(
            "A spring that pulls from rest is wound to its pull there. Its free length and initial tension may "
            "differ from those of the planned spring without changing the curve."
        )
    return (*notes, f"{FATIGUE} A broken spring means full advance.")


# --- the report --------------------------------------------------------------------------------------------


def wind_text(job: Job, windings: Sequence[Winding], document: WindDocument, most: int) -> str:
    """The report of `recurve wind`: what is wanted, `most` that can be wound, the first of each in full."""
    lines = [*title_lines(job), "", *wrap(f"SPRINGS TO HAVE WOUND: {document.source}")]
    for winding, (place, told) in zip(windings, document.springs.items(), strict=True):
        lines += ["", *_wanted_lines(place, told), *_proposals(winding, told, most)]
    if any(one.proposals for one in document.springs.values()):
        lines += [
            "",
            *wrap("Tension: wound in. Used: share of the allowed stress. Room: 0 at a limit, 1 far from every limit."),
        ]
    return page([*lines, *remarks(document.notes, job.doubts), *written(document.files)])


def _wanted_lines(place: str, told: WindingDocument) -> list[str]:
    envelope, post = told.envelope, told.wanted.post_mm
    about = (
        f"at most {envelope.outer_mm:.2f} mm over the coils and {envelope.overall_mm:.2f} mm over the hooks, rate within "
        f"± {100 * envelope.rate_tolerance:g}%{f', over posts of {post:.2f} mm' if post > 0 else ''}"
    )
    return [*wrap(f"{place.capitalize()}: {wanted_words(told.wanted)}", "", "  "), *wrap(about, "  ", "  ")]


def wanted_words(wanted: WantedSpring) -> str:
    """What a spring must do, in words."""
    if wanted.pull_at_rest_n is not None:
        at = f"{wanted.installed_length_mm:.2f} mm inside the hooks, its length at rest"
        what = f"{wanted.pull_at_rest_n:.2f} N at {at}"
    else:
        tension = "any" if wanted.initial_tension_n is None else f"{wanted.initial_tension_n:.2f} N"
        what = f"{wanted.free_length_mm:.2f} mm free inside the hooks, initial tension {tension}"
    return f"{wanted.rate_n_per_mm:.3f} N/mm, {what}, stretched to {wanted.longest_mm:.2f} mm at full advance"


def _proposals(winding: Winding, told: WindingDocument, most: int) -> list[str]:
    if not told.proposals:
        return ["  CANNOT BE WOUND", *(line for text in shortfall(winding) for line in wrap(text, "  ", "  "))]
    lines = [
        f"    {'material':<13}{'wire':<18}{'outer':>6}{'coils':>6}{'free':>7}{'rate':>7}{'tension':>8}{'used':>6}{'room':>5}",
        f"    {'':<13}{'':<18}{'mm':>6}{'':>6}{'mm':>7}{'N/mm':>7}{'N':>8}{'%':>6}",
    ]
    for rank, w in enumerate(told.proposals[:most], 1):
        lines.append(
            f"{rank:>3} {w.material:<13}{w.wire:<18}{w.outer_mm:6.2f}{w.coils:6g}{w.free_length_mm:7.2f}"
            f"{w.rate_n_per_mm:7.3f}{w.initial_tension_n:8.2f}{100 * w.stress_used.largest:6.0f}{w.robustness:5.2f}"
        )
    return [*lines, *_first(winding.proposals[0], told.proposals[0])]


def _first(wound: Wound, w: WoundSpring) -> list[str]:
    """The first proposal as one would say it to a winder."""
    one, two = w.pulls
    text = (
        f"The first: {w.material} wire ({w.standard}), {w.wire}; {w.coils:g} coils, {coils_wound(wound)}, body "
        f"{1e3 * wound.body:.2f} mm; hooks {1e3 * wound.hook:.2f} mm inside, {hooks_stand(wound)}; pulls "
        f"{one.pull_n:.2f} N at {one.length_mm:.2f} mm and {two.pull_n:.2f} N at {two.length_mm:.2f} mm. The wire's "
        f"tolerance alone may put the rate off by ± {100 * w.rate_by_wire:.1f}%; if each hook flexes like half a "
        f"coil, the spring is {100 * w.rate_by_hook_count:.1f}% softer."
    )
    return wrap(text, "  ", "  ")
