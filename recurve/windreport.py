"""Springs to have wound, on paper: the report, the JSON document and the table of an order."""

from __future__ import annotations

import csv
import io
import math
from typing import Any

from recurve.job import Job
from recurve.materials import materials
from recurve.report import page, remarks, title_lines, wrap
from recurve.wind import HOOK, INDEX, LIMITS, Envelope, Wanted, Winding, Wound

FATIGUE = "Stresses are judged for a static load only; fatigue is not judged."
STRESSES = ("body torsion", "hook torsion", "hook bending")
COLUMNS = (
    "place", "rank", "material", "standard", "wire", "wire [mm]", "outer [mm]", "inside [mm]", "coils", "hook_angle [deg]",
    "hook_inside [mm]", "body [mm]", "coils_wound", "free_length [mm]", "overall [mm]", "rate [N/mm]", "initial_tension [N]",
    "length_1 [mm]", "pull_1 [N]", "length_2 [mm]", "pull_2 [N]", "rate_by_wire [%]", "index", "stress_used [%]", "robustness",
)  # fmt: skip


def check_lengths(wanted: Wanted, wound: Wound) -> tuple[tuple[float, float], tuple[float, float]]:
    """Two lengths inside the hooks [m] with the pull at each [N], by which to accept a spring: at rest, or a third of
    the way where it is slack there, and at its longest."""
    first = wanted.rest
    if first <= wound.free_length + 1e-9:
        first = wound.free_length + (wanted.longest - wound.free_length) / 3
    one, two = (
        (length, wound.initial_tension + wound.rate * (length - wound.free_length))
        for length in (first, wanted.longest)
    )
    return one, two


def coils_wound(wound: Wound) -> str:
    """How the coils lie."""
    if wound.initial_tension > 0:
        return "coil on coil"
    return f"coils {1e3 * wound.gap:.2f} mm apart" if wound.gap >= 0.01e-3 else "coils just apart"


def hooks_stand(wound: Wound) -> str:
    """How the hooks stand to each other: a half turn of the coils opposes them."""
    return {0: "in one plane, same side", 180: "in one plane, opposite sides"}.get(
        int(wound.hook_angle) % 360, "at right angles"
    )


# --- facts -------------------------------------------------------------------------------------------------


def wind_facts(
    job: Job, source: str, windings: tuple[Winding, ...], files: tuple[str, ...], notes: tuple[str, ...]
) -> dict[str, Any]:
    """The `wind` document."""
    return {
        "title": job.title,
        "fingerprint": job.fingerprint,
        "source": source,
        "springs": {w.wanted.place: _winding_facts(w) for w in windings},
        "reasons": [text for w in windings for text in shortfall(w)] if windings else [source],
        "notes": list(notes),
        "files": list(files),
    }


def _winding_facts(winding: Winding) -> dict[str, Any]:
    wanted, envelope = winding.wanted, winding.envelope
    return {
        "wanted": {
            "rate_n_per_mm": _short(wanted.rate / 1e3),
            "installed_length_mm": _mm(wanted.rest),
            "longest_mm": _mm(wanted.longest),
            "pull_at_rest_n": _short(wanted.pull),
            "free_length_mm": _mm(wanted.free_length),
            "initial_tension_n": _short(wanted.initial_tension),
            "post_mm": _mm(wanted.post),
        },
        "envelope": {
            "outer_mm": _mm(envelope.outer),
            "overall_mm": _mm(envelope.overall),
            "rate_tolerance": _short(envelope.tolerance),
            "hooks_in_one_plane": envelope.in_plane,
        },
        "tried": winding.tried,
        "proposals": [wound_facts(wanted, p) for p in winding.proposals],
        "nearest": None if winding.nearest is None else wound_facts(wanted, winding.nearest),
    }


def wound_facts(wanted: Wanted, wound: Wound) -> dict[str, Any]:
    """One spring as it would be wound, as plain numbers."""
    return {
        "material": wound.material,
        "standard": materials()[wound.material].standard,
        "wire": wound.label,
        "wire_mm": _mm(wound.wire),
        "outer_mm": _mm(wound.outer),
        "coils": wound.coils,
        "hook_angle_deg": wound.hook_angle,
        "hook_inside_mm": _mm(wound.hook),
        "gap_mm": _mm(wound.gap),
        "body_mm": _mm(wound.body),
        "free_length_mm": _mm(wound.free_length),
        "overall_mm": _mm(wound.overall),
        "rate_n_per_mm": _short(wound.rate / 1e3),
        "rate_by_wire": _short(wound.spread),
        "rate_by_hook_count": _short(wound.doubt),
        "initial_tension_n": _short(wound.initial_tension),
        "pulls": [{"length_mm": _mm(x), "pull_n": _short(f)} for x, f in check_lengths(wanted, wound)],
        "index": _short(wound.index),
        "stress_used": {n.replace(" ", "_"): _short(s) for n, s in zip(STRESSES, wound.shares, strict=True)},
        "rooms": {n.replace(" ", "_"): _short(r) for n, r in zip(LIMITS, wound.rooms, strict=True)},
        "robustness": _short(wound.robustness),
    }


def _mm(length: float | None) -> float | None:
    return None if length is None else round(length * 1e3, 6)


def _short(value: float | None) -> float | None:
    return None if value is None or not math.isfinite(value) else round(value, 6)


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
        f"{pull_2:.2f}", f"{100 * w.spread:.1f}", f"{w.index:.2f}", f"{100 * max(w.shares):.0f}", f"{w.robustness:.2f}",
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
            f"{w.initial_tension:8.2f}{100 * max(w.shares):6.0f}{w.robustness:5.2f}"
        )
    return [*lines, *_first(winding.wanted, winding.proposals[0])]


def _first(wanted: Wanted, w: Wound) -> list[str]:
    """The first proposal as one would say it to a winder."""
    one, two = check_lengths(wanted, w)
    text = (
        f"The first: {w.material} wire ({materials()[w.material].standard}), {w.label}; {w.coils:g} coils, {coils_wound(w)}, "
        f"body {1e3 * w.body:.2f} mm; hooks {1e3 * w.hook:.2f} mm inside, {hooks_stand(w)}; pulls {one[1]:.2f} N at "
        f"{1e3 * one[0]:.2f} mm and {two[1]:.2f} N at {1e3 * two[0]:.2f} mm. Its wire alone may put the rate "
        f"± {100 * w.spread:.1f}% off; if each hook yields like half a coil it is {100 * w.doubt:.1f}% softer."
    )
    return wrap(text, "  ", "  ")


def shortfall(winding: Winding) -> list[str]:
    """What keeps the nearest candidate from being wound, nothing where there are proposals."""
    w = winding.nearest
    if w is None:
        none = f"{winding.wanted.place}: no wire of the chosen kinds can be coiled to such a spring."
        return [] if winding.proposals else [none]
    what = f"{w.material} wire, {w.label}, {1e3 * w.outer:.2f} mm outer, {w.coils:g} coils"
    about = f"{winding.wanted.place}: the nearest is {what}"
    return [f"{about}; {'; '.join(_broken(name, w, winding.wanted, winding.envelope) for name in w.broken)}."]


def _broken(name: str, w: Wound, wanted: Wanted, envelope: Envelope) -> str:
    """One broken limit with its figure, and what would change it."""
    worst = STRESSES[w.shares.index(max(w.shares))]
    inner = w.outer - 2 * w.wire
    words = {
        "index": f"index {w.index:.1f}, expected {INDEX[0]:g} to {INDEX[1]:g}",
        "rate": f"the rate may be {100 * (abs(w.rate / wanted.rate - 1) + w.spread):.1f}% off, {100 * w.spread:.1f}% of it by "
        f"the wire's tolerance, expected ± {100 * envelope.tolerance:g}% (--tolerance)",
        "hook count": f"so few coils that the two ways to count the hooks part by {100 * w.doubt:.1f}%, expected "
        f"{100 * envelope.tolerance:g}% at most (--tolerance)",
        "initial tension": _tension_words(w, wanted),
        "stress": f"{worst} {100 * max(w.shares):.0f}% of what is allowed at {1e3 * wanted.longest:.2f} mm",
        "hooks": f"coils and full hooks do not make {1e3 * w.free_length:.2f} mm: the hooks would be {1e3 * w.hook:.2f} mm "
        f"inside, expected {1e3 * HOOK[0] * inner:.2f} to {1e3 * HOOK[1] * inner:.2f} mm"
        if w.gap == 0
        else f"coils would stand {1e3 * w.gap:.2f} mm apart",
        "turns": f"{w.coils:g} coils, expected 3 or more",
        "outer diameter": f"expected at most {1e3 * envelope.outer:.2f} mm outer (--outer)",
        "post": f"hooks of {1e3 * min(inner, w.hook):.2f} mm do not go over posts of {1e3 * wanted.post:.2f} mm (--post)",
        "overall length": f"{1e3 * w.overall:.2f} mm over the hooks, expected at most "
        f"{1e3 * envelope.overall:.2f} mm (--overall)",
    }
    return words[name]


def _tension_words(w: Wound, wanted: Wanted) -> str:
    if w.initial_tension == 0 and wanted.initial_tension:
        return f"coils apart give no initial tension, {wanted.initial_tension:.2f} N is asked"
    return f"initial tension {w.initial_tension:.2f} N, outside the band that winds well"
