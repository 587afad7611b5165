"""The reports of `plan` and `curve`: plain text, at most 80 columns, the verdict first."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from recurve.job.model import Job, JobHead
from recurve.output.documents.base import TrustDocument
from recurve.output.documents.curve import CurveDocument
from recurve.output.documents.ideal import IdealPlan, WindowSpring
from recurve.output.documents.plan import CheckedCurve, PlanDocument, PlannedSpring
from recurve.output.text.layout import (
    Column,
    Line,
    page,
    plot,
    plot_speeds,
    remarks,
    table,
    title_lines,
    wrap,
    written,
)
from recurve.physics.curve import Trace
from recurve.planner.build import Build
from recurve.planner.plan import Plan
from recurve.text import printable
from recurve.uncertainty import chance_words
from recurve.units import INCH, RPM

SAME_RATE = 0.02  # rates that differ by less, as a fraction, are told as one


def trust_lines(trust: TrustDocument, warning: str) -> list[str]:
    """What must be settled before the answer is acted on, under a `warning`, and an empty line; nothing if it is settled."""
    if trust.ok:
        return []
    return [warning, *(line for why in trust.reasons for line in wrap(printable(why), "  - ", "    ")), ""]


def curve_text(job: Job, document: CurveDocument | None = None) -> str:
    """The report of `recurve curve`: the `document`'s curve, else that of the springs the job describes.

    Raises InputError where not all of them are described.
    """
    document = CurveDocument.of_job(job) if document is None else document
    ratio = job.speed_ratio
    columns = [
        Column(head, unit)
        for side in ("dist.", "crank")
        for head, unit in (("speed", f"{side} rpm"), ("rising", f"{side} deg"), ("falling", f"{side} deg"))
    ]
    rows = [
        [f"{s:.0f}", f"{u:.2f}", f"{d:.2f}", f"{s * ratio:.0f}", f"{u * ratio:.2f}", f"{d * ratio:.2f}"]
        for s, u, d in zip(document.speed_rpm, document.rising_deg, document.falling_deg, strict=True)
    ]
    lines = [
        *title_lines(job),
        *_curve_marks(document, job),
        "",
        "Speed and advance, distributor and crank",
        *table(columns, rows),
    ]
    return page([*lines, *remarks(job.notes, job.doubts)])


def plan_text(plan: Plan, files: Sequence[str] = (), document: PlanDocument | None = None) -> str:
    """The report of `recurve plan`: verdict, springs, settings, stop, targets, curve, search, files.

    `document`: the plan's, if it has been built; else it is built here, with the `files` written.
    """
    document = PlanDocument.of(plan, files) if document is None else document
    lines = [
        *title_lines(plan.job),
        "",
        *trust_lines(document.trust, "DO NOT BUILD FROM THIS YET"),
        *_verdict(document),
        "",
    ]
    drawn = plan_plot(plan)
    lines += [*drawn, ""] if drawn else []
    if document.curve is not None:
        for part in (_springs(document), _stop(document), _settings(document), _targets(document)):
            lines += [*part, ""]
        lines += ["Curve as planned", *_curve_marks(document.curve, plan.job), *_checked(document.checked)]
    if plan.before is not None:
        unit = plan.job.as_found()
        assert unit is not None  # `before` is its curve
        how = "as described" if plan.fit is None else "as the sweep shows it"
        before = CurveDocument.of(plan.job, unit, plan.before)
        lines += ["", f"Curve of the unit as found, {how}", *_curve_marks(before, plan.job)]
    lines += [*_alternatives(document), ""]
    lines += [
        *_ideal(document.ideal),
        f"Searched {document.searched.pairs} ordered pairs or single springs; {document.searched.feasible} can pass.",
    ]
    return page([*lines, *remarks(document.notes, plan.job.doubts), *written(document.files)])


def _verdict(document: PlanDocument) -> list[str]:
    margin = document.margin
    told = "" if margin is None else f", margin {margin:.2f} (1 at the middle of a band, 0 at its edge)"
    lines = [f"{document.verdict.upper()}{told}"]
    if document.yield_ is not None and document.verdict != "out of reach":
        lines += wrap(f"chance of passing first time: {_chances(document.yield_, document.yield_set)}")
        worst = [f"{c.source} ({c.yield_gained:.0%})" for c in document.main_costs]
        lines += wrap(f"most of the risk, set by calliper, comes from {' and '.join(worst)}") if worst else []
    for reason in document.reasons:
        lines += wrap(printable(reason), "  - ", "    ")
    if document.suggestions:
        lines.append("Any one of these changes is enough; each was planned, and passes")
        lines += [line for s in document.suggestions for line in wrap(printable(s.text), "  - ", "    ")]
    if document.verdict == "out of reach" and margin is not None:
        lines += wrap("What follows is the nearest there is. Do not build it: it does not pass.", "  ", "  ")
    return lines


def _chances(calliper: float, bench: float | None) -> str:
    """The chance of passing as it is set by calliper alone, and once it was set on the bench."""
    told = f"{chance_words(calliper)} set by calliper alone"
    return told if bench is None else f"{told}, {chance_words(bench)} once set on the bench at the speeds below"


def _springs(document: PlanDocument) -> list[str]:
    """The springs, and where to set their posts."""
    fitted = document.springs.in_place
    columns = [
        Column("", words=True), Column("id", words=True), Column("rate", "N/mm"), Column("free", "mm"), Column("wire", "mm"),
        Column("coils"),
    ]  # fmt: skip
    rows = [
        [
            name,
            printable(s.id)[:22],
            f"{s.rate_n_per_mm:.3f}",
            f"{s.free_length_mm:.2f}",
            "-" if s.wire_mm is None else f"{s.wire_mm:.2f}",
            "-" if s.coils is None else f"{s.coils:g}",
        ]
        for name, s in fitted
    ]
    post_columns = [
        Column("", words=True), Column("over both", "mm"), Column("the same", "in"), Column("bend the post", "mm", True),
        Column("it pulls", words=True),
    ]  # fmt: skip
    post_rows = [
        [
            name,
            *_set_to(s),
            bend_words(s.bend_mm) if s.bend_holds else "measure first",
            _pulls(s),
        ]
        for name, s in fitted
    ]
    return [
        "Springs",
        *table(columns, rows),
        "Posts, lengths over both posts (outside to outside) at rest",
        *table(post_columns, post_rows),
        *(line for name, s in fitted for line in _to_measure(name, s)),
    ]


def _set_to(spring: PlannedSpring) -> list[str]:
    """The length over the posts in mm and in; nothing where nobody knows it, and the spring stays on its posts."""
    if spring.found_length_mm is None and spring.bend_holds:
        return ["-", "-"]
    return [f"{spring.installed_length_mm:.2f}", f"{spring.installed_length_mm / (1e3 * INCH):.3f}"]


def _to_measure(name: str, spring: PlannedSpring) -> list[str]:
    """What to do where nobody measured the length over the posts on the unit."""
    if spring.found_length_mm is not None:
        return []
    told = f"{name}: nobody measured over these posts on this unit. "
    if spring.bend_holds:
        told += "The sweep shows this spring on them, so count the bend from where they stand."
    else:
        told += (
            f"Units of its type have {spring.type_length_mm:.2f} ± {spring.type_length_2u_mm:.2f} mm there. At the bench, "
            f"measure over the posts, then set {spring.installed_length_mm:.2f} mm."
        )
    return wrap(told, "  ", "    ")


def bend_words(bend_mm: float) -> str:
    """A bend [mm] with its direction: out lengthens the spring."""
    if abs(bend_mm) < 0.005:
        return "leave it"
    return f"{'outward' if bend_mm > 0 else 'inward'} {abs(bend_mm):.2f}"


def _pulls(spring: PlannedSpring) -> str:
    if spring.takeup_deg is None:
        return "never"
    if spring.takeup_deg == 0:
        return f"from rest, {spring.pull_at_rest_n:.2f} N"
    return f"from {spring.takeup_deg:.1f}° on"


def _stop(document: PlanDocument) -> list[str]:
    stop = document.stop
    if not stop.trim_mm:
        return [f"Stop    leave it at {stop.found_deg:.2f}°"]
    what = "build up" if stop.trim_mm > 0 else "file off"
    return [
        f"Stop    {what} {abs(stop.trim_mm):.2f} mm: from {stop.found_deg:.2f}° as found to {stop.planned_deg:.2f}°"
    ]


def _settings(document: PlanDocument) -> list[str]:
    setting, planned = document.setting, document.stop.planned_deg
    lines = ["Set on the bench, speed rising; stop the bench, bend, run again"]
    if setting.primary_rpm is not None:
        lines.append(f"  1.00° in at {setting.primary_rpm:5.0f} rpm sets the primary post")
    if setting.secondary_rpm is not None and planned is not None:
        lines.append(
            f"  {planned - 1:.2f}° in at {setting.secondary_rpm:5.0f} rpm sets the secondary post (1° below maximum)"
        )
    if setting.leave_within_deg is not None and len(lines) > 1:
        lines.append(f"  leave a post alone while the bench shows it within ± {setting.leave_within_deg:.1f}° of that")
    return lines


def _targets(document: PlanDocument) -> list[str]:
    deg = "deg"
    columns = [
        Column("", words=True), Column("speed", "rpm"), Column("min", deg), Column("rising", deg), Column("falling", deg),
        Column("max", deg), Column("margin"), Column("", words=True),
    ]  # fmt: skip
    rows = [
        [
            t.band,
            "stop" if t.speed_rpm is None else f"{t.speed_rpm:.0f}",
            "-" if t.min_deg == 0 else f"{t.min_deg:.2f}",
            f"{t.rising_deg:.2f}",
            f"{t.falling_deg:.2f}",
            f"{t.max_deg:.2f}",
            f"{t.margin:.2f}",
            "" if t.margin >= 0 else "out",
        ]
        for t in document.targets
    ]
    return ["Target, each band against the curve, distributor rpm and degrees", *table(columns, rows)]


def plan_plot(plan: Plan) -> list[str]:
    """The planned curve and the one as found over the bands, in text."""
    curves = [
        ("o", "as found", plan.before),
        ("*", "planned" if plan.verdict != "out of reach" else "nearest", plan.build),
    ]
    traces = [(m, n, c.curve if isinstance(c, Build) else c) for m, n, c in curves if c is not None]
    if not traces or plan.job.target is None:
        return []
    ends = [b.speed for b in plan.job.target.timed if b.speed] + [c.all_in for *_, c in traces if c.all_in]
    last = 1.08 * RPM * max(ends, default=100.0)
    lines = [curve_line(mark, name, curve, last) for mark, name, curve in traces]
    return plot(lines, bands_of(plan.job), last)


def curve_line(mark: str, name: str, curve: Trace, last: float) -> Line:
    """A curve's rising branch as a line of the plot, from what stays in at a standstill, to `last` [rpm]."""
    speeds = plot_speeds(last)
    start = float(curve.falling_advance(0.0))
    return Line(mark, name, speeds, np.degrees(curve.rising_advance(speeds / RPM, start)))


def bands_of(job: JobHead) -> list[tuple[float | None, float, float]]:
    """The target's bands for the plot: speed [rpm], low and high [deg]."""
    bands = () if job.target is None else job.target.bands
    return [
        (None if b.speed is None else b.speed * RPM, float(np.degrees(max(b.low, 0.0))), float(np.degrees(b.high)))
        for b in bands
    ]


def _curve_marks(curve: CurveDocument, job: Job) -> list[str]:
    """Onset, return, all-in, take-ups, residual, snaps."""
    named = (("onset", curve.onset_rpm), ("return to zero", curve.return_rpm), ("all in", curve.all_in_rpm))
    speeds = [f"{name} {'none' if value is None else f'{value:.0f} rpm'}" for name, value in named]
    lines = wrap(f"{', '.join(speeds)}, stop {curve.stop_deg:.2f}°", "  ", "  ")
    takeups = [f"{name} {_takeup(at)}" for name, at in list(curve.takeup_deg)[: len(job.places)]]
    lines += wrap(f"takes up: {', '.join(takeups)}", "  ", "  ")
    if curve.residual_deg > 0.005:
        lines += wrap(f"the advance does not come back to zero: {curve.residual_deg:.2f}° stays in at idle", "  ", "  ")
    elif curve.residual_without_drag_deg > 0.005:
        lines += wrap(
            "only the drag of the rubbing block brings the cam back: without it "
            f"{curve.residual_without_drag_deg:.2f}° would stay in at idle",
            "  ",
            "  ",
        )
    for snap in curve.snap:
        lines += wrap(
            f"snap: at {snap.speed_rpm:.0f} rpm the weights fly out from {snap.from_deg:.2f}° to {snap.to_deg:.2f}°",
            "  ",
            "  ",
        )
    return lines


def _takeup(degrees: float | None) -> str:
    if degrees is None:
        return "never"
    return "pulls from rest" if degrees == 0 else f"at {degrees:.2f}°"


def _checked(checked: CheckedCurve | None) -> list[str]:
    """How the curve compares with a second computation."""
    if checked is None:
        return []
    how = f"by {checked.method}, at {checked.speeds} speeds both ways"
    if checked.agrees:
        return [f"  checked {how}: within 0.01°"]
    return [f"  NOT in agreement {how}: {checked.largest_difference_deg:.2f}° apart"]


def _alternatives(document: PlanDocument) -> list[str]:
    """The pairs asked for, a line each: margin, chance, bends and trim."""
    if not document.alternatives:
        return []
    lines = [
        "",
        "Pairs that come nearest            margin  chance   bend the post, mm  trim, mm",
        "                                                    prim.    second.  +up -file",
    ]
    for one in document.alternatives:
        springs = [spring for _, spring in one.springs.in_place]
        ids = " + ".join(printable(s.id) for s in springs)
        bends = [f"{s.bend_mm:+.2f}" if s.bend_holds else "measure" for s in springs] + ["-"]
        lines.append(
            f"  {ids:<32.32} {one.margin:6.2f} {one.yield_:7.0%} {bends[0]:>9} {bends[1]:>10} {one.stop.trim_mm:+9.2f}"
        )
    return lines


def _what_will_do(window: WindowSpring) -> list[str]:
    """A length to order at the middle rate, and where the rates that need initial tension begin."""
    plain, low = window.rate_range_without_tension_n_per_mm, window.rate_range_n_per_mm[0]
    told = []
    for row in window.at[len(window.at) // 2 :]:
        if row.free_length_mm is not None:
            shortest, longest = row.free_length_mm
            told.append(f"at {row.rate_n_per_mm:.2f} N/mm, {shortest:.1f} to {longest:.1f} mm inside its hooks will do")
            break
    first = window.at[0]
    if plain is None or (plain[0] > low * (1 + SAME_RATE) and first.initial_tension_n > 0.0):
        which = "any" if plain is None else f"below {plain[0]:.2f} N/mm"
        told.append(
            f"{which} only with initial tension: {first.initial_tension_n:.2f} N at {first.rate_n_per_mm:.2f} N/mm"
        )
    return told


def _ideal(ideal: IdealPlan | None) -> list[str]:
    if ideal is None:
        return ["No springs, from this catalogue or any other, come near the target."]
    ranges = f"in brackets what keeps {ideal.range_margin:.2f}" if ideal.margin > 0 else "the nearest miss"
    lines = [f"Ideal springs, from no catalogue: margin {ideal.margin:.2f}; {ranges}"]
    for name, spring, window in ideal.in_place:
        low, high = spring.rate_range_n_per_mm
        if spring.takeup_deg is None:
            pull = "never takes up"
        elif spring.takeup_deg == 0:
            pull = f"pull at rest {spring.pull_at_rest_n:.2f} N"
        else:
            pull = f"takes up at {spring.takeup_deg:.1f}°"
        lines.append(f"  {name:<12}{spring.rate_n_per_mm:6.2f} N/mm [{low:.2f} to {high:.2f}], {pull}")
        if window is not None and window.at:
            lines += [line for words in _what_will_do(window) for line in wrap(words, 14 * " ", 16 * " ")]
    return lines
