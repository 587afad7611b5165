"""The readable reports of the results: plain text, at most 80 columns, the verdict first."""

from __future__ import annotations

from typing import Any

import numpy as np

from recurve.job.model import Job
from recurve.output.documents.plan import curve_facts, default_speeds, plan_facts
from recurve.output.text.layout import Column, Line, page, plot, plot_speeds, remarks, table, title_lines, wrap
from recurve.physics.curve import Trace
from recurve.planner.build import Build
from recurve.planner.plan import Plan
from recurve.text import printable
from recurve.units import PLACES, RPM


def curve_text(job: Job, facts: dict[str, Any]) -> str:
    """The report of `recurve curve` from its facts."""
    ratio = job.speed_ratio
    columns = [
        Column(head, unit)
        for side in ("dist.", "crank")
        for head, unit in (("speed", f"{side} rpm"), ("rising", f"{side} deg"), ("falling", f"{side} deg"))
    ]
    rows = [
        [f"{s:.0f}", f"{u:.2f}", f"{d:.2f}", f"{s * ratio:.0f}", f"{u * ratio:.2f}", f"{d * ratio:.2f}"]
        for s, u, d in zip(facts["speed_rpm"], facts["rising_deg"], facts["falling_deg"], strict=True)
    ]
    lines = [
        *title_lines(job),
        *_curve_marks(facts, job),
        "",
        "Speed and advance, distributor and crank",
        *table(columns, rows),
    ]
    return page([*lines, *remarks(job.notes)])


def plan_text(plan: Plan, files: tuple[str, ...] = ()) -> str:
    """The report of `recurve plan`: verdict, springs, settings, stop, targets, curve, search, files."""
    facts = plan_facts(plan, files)
    lines = [*title_lines(plan.job), "", *_verdict(facts), ""]
    drawn = plan_plot(plan)
    lines += [*drawn, ""] if drawn else []
    if plan.build is not None:
        for part in (_springs(facts), _stop(facts), _settings(facts), _targets(facts)):
            lines += [*part, ""]
        lines += ["Curve as planned", *_curve_marks(facts["curve"], plan.job), *_checked(facts["checked"])]
    if plan.before is not None:
        unit = plan.job.as_found()
        assert unit is not None  # `before` is its curve
        before = curve_facts(plan.job, unit, plan.before, default_speeds(plan.job, plan.before))
        how = "as the sweep shows it" if plan.fit is not None else "as described"
        lines += ["", f"Curve of the unit as found, {how}", *_curve_marks(before, plan.job)]
    lines += [*_alternatives(facts), ""]
    lines += [
        *_ideal(facts),
        f"Searched {facts['searched']['pairs']} ordered pairs or single springs; "
        f"{facts['searched']['feasible']} can be set to pass.",
    ]
    lines += remarks(plan.notes)
    if files:
        lines += ["", "Written", *(f"  {name}" for name in files)]
    return page(lines)


def _verdict(facts: dict[str, Any]) -> list[str]:
    margin = facts["margin"]
    told = "" if margin is None else f", margin {margin:.2f} (1 the centre of the bands, 0 their edge)"
    lines = [f"{facts['verdict'].upper()}{told}"]
    if facts["yield"] is not None and facts["verdict"] != "out of reach":
        lines += _yield(facts)
    for reason in facts["reasons"]:
        lines += wrap(printable(reason), "  - ", "    ")
    if facts["suggestions"]:
        lines.append("Any one of these would settle it; each was planned, and passes")
        lines += [line for s in facts["suggestions"] for line in wrap(printable(s["text"]), "  - ", "    ")]
    if facts["verdict"] == "out of reach" and margin is not None:
        lines += wrap("What follows is the best that can be had. Do not build it as a cure.", "  ", "  ")
    return lines


def _yield(facts: dict[str, Any]) -> list[str]:
    """The chance of passing first time, and what costs most of it."""
    lines = [f"chance of passing first time {facts['yield']:.0%}"]
    worst = [c for c in facts["costs"] if c["yield_gained"] >= 0.01][:2]
    if worst:
        named = " and ".join(f"{c['source']} ({c['yield_gained']:.0%})" for c in worst)
        lines += wrap(f"it would gain most from knowing better: {named}")
    return lines


def _springs(facts: dict[str, Any]) -> list[str]:
    fitted = [(name, facts["springs"][name]) for name in PLACES if facts["springs"][name] is not None]
    return [
        "Springs",
        *_spring_table(fitted),
        "Posts, lengths outside to outside at rest",
        *_post_table(fitted),
    ]


def _spring_table(fitted: list[tuple[str, dict[str, Any]]]) -> list[str]:
    columns = [
        Column("", words=True), Column("id", words=True), Column("rate", "N/mm"), Column("free", "mm"), Column("wire", "mm"),
        Column("coils"),
    ]  # fmt: skip
    rows = [
        [
            name,
            printable(s["id"])[:22],
            f"{s['rate_n_per_mm']:.3f}",
            f"{s['free_length_mm']:.2f}",
            "-" if s["wire_mm"] is None else f"{s['wire_mm']:.2f}",
            "-" if s["coils"] is None else f"{s['coils']:g}",
        ]
        for name, s in fitted
    ]
    return table(columns, rows)


def _post_table(fitted: list[tuple[str, dict[str, Any]]]) -> list[str]:
    columns = [
        Column("", words=True), Column("over both", "mm"), Column("the same", "in"), Column("bend the post", "mm", True),
        Column("it pulls", words=True),
    ]  # fmt: skip
    rows = []
    for name, s in fitted:
        length = s["installed_length_mm"]
        rows.append([name, f"{length:.2f}", f"{length / 25.4:.3f}", bend_words(s["bend_mm"]), _pulls(s)])
    return table(columns, rows)


def bend_words(bend_mm: float) -> str:
    """A bend [mm] with its direction: out lengthens the spring."""
    if abs(bend_mm) < 0.005:
        return "leave it"
    return f"{abs(bend_mm):.2f} {'out' if bend_mm > 0 else 'in'}"


def _pulls(spring: dict[str, Any]) -> str:
    if spring["takeup_deg"] is None:
        return "never"
    if spring["takeup_deg"] == 0:
        return f"from rest, {spring['pull_at_rest_n']:.2f} N"
    return f"from {spring['takeup_deg']:.1f}° on"


def _stop(facts: dict[str, Any]) -> list[str]:
    stop = facts["stop"]
    if stop["trim_mm"] == 0:
        return [f"Stop    leave it at {stop['found_deg']:.2f}°"]
    what = "build up" if stop["trim_mm"] > 0 else "file off"
    return [
        f"Stop    {what} {abs(stop['trim_mm']):.2f} mm: from {stop['found_deg']:.2f}° as found to {stop['planned_deg']:.2f}°"
    ]


def _settings(facts: dict[str, Any]) -> list[str]:
    setting, planned = facts["setting"], facts["stop"]["planned_deg"]
    lines = ["Set on the bench, speed rising; stop it, bend, run again"]
    if setting["primary_rpm"] is not None:
        lines.append(f"  1.00° in at {setting['primary_rpm']:5.0f} rpm sets the primary post")
    if setting["secondary_rpm"] is not None:
        lines.append(
            f"  {planned - 1:.2f}° in at {setting['secondary_rpm']:5.0f} rpm sets the secondary post (1° below maximum)"
        )
    return lines


def _targets(facts: dict[str, Any]) -> list[str]:
    deg = "deg"
    columns = [
        Column("", words=True), Column("speed", "rpm"), Column("min", deg), Column("rising", deg), Column("falling", deg),
        Column("max", deg), Column("margin"), Column("", words=True),
    ]  # fmt: skip
    rows = [
        [
            t["band"],
            "stop" if t["speed_rpm"] is None else f"{t['speed_rpm']:.0f}",
            "-" if t["min_deg"] == 0 else f"{t['min_deg']:.2f}",
            f"{t['rising_deg']:.2f}",
            f"{t['falling_deg']:.2f}",
            f"{t['max_deg']:.2f}",
            f"{t['margin']:.2f}",
            "" if t["margin"] >= 0 else "out",
        ]
        for t in facts["targets"]
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


def bands_of(job: Job) -> list[tuple[float | None, float, float]]:
    """The target's bands for the plot: speed [rpm], low and high [deg]."""
    bands = () if job.target is None else job.target.bands
    return [
        (None if b.speed is None else b.speed * RPM, float(np.degrees(max(b.low, 0.0))), float(np.degrees(b.high)))
        for b in bands
    ]


def _curve_marks(facts: dict[str, Any], job: Job) -> list[str]:
    """Onset, return, all-in, take-ups, residual, snaps."""
    named = [("onset", facts["onset_rpm"]), ("return to zero", facts["return_rpm"]), ("all in", facts["all_in_rpm"])]
    speeds = [f"{name} {'none' if value is None else f'{value:.0f} rpm'}" for name, value in named]
    lines = wrap(f"{', '.join(speeds)}, stop {facts['stop_deg']:.2f}°", "  ", "  ")
    takeups = [
        f"{name} {'never' if facts['takeup_deg'][name] is None else _takeup(facts['takeup_deg'][name])}"
        for name in PLACES[: len(job.places)]
    ]
    lines += wrap(f"takes up: {', '.join(takeups)}", "  ", "  ")
    if facts["residual_deg"] > 0.005:
        lines += wrap(f"does not come back to zero: {facts['residual_deg']:.2f}° stays in at idle", "  ", "  ")
    elif facts["residual_without_drag_deg"] > 0.005:
        lines += wrap(
            f"only the rubbing block's drag brings it home: without it {facts['residual_without_drag_deg']:.2f}° would stay in "
            "at idle",
            "  ",
            "  ",
        )
    for snap in facts["snap"]:
        lines += wrap(
            f"snap: at {snap['speed_rpm']:.0f} rpm the weights fly out from {snap['from_deg']:.2f}° to {snap['to_deg']:.2f}°",
            "  ",
            "  ",
        )
    return lines


def _checked(facts: dict[str, Any]) -> list[str]:
    """That the curve is where the energy is least, which is computed another way."""
    how = f"by energy minimisation, at {facts['speeds']} speeds both ways"
    if facts["agrees"]:
        return [f"  checked {how}: within 0.01°"]
    return [f"  NOT in agreement {how}: {facts['largest_difference_deg']:.2f}° apart"]


def _takeup(degrees: float) -> str:
    return "pulls from rest" if degrees == 0 else f"at {degrees:.2f}°"


def _alternatives(facts: dict[str, Any]) -> list[str]:
    """The pairs asked for, a line each, as margin, chance, bends and trim."""
    if not facts["alternatives"]:
        return []
    lines = [
        "",
        "Pairs that come nearest            margin  chance   bend the post, mm  trim, mm",
        "                                                    prim.    second.  +up -file",
    ]
    for one in facts["alternatives"]:
        springs = [s for s in one["springs"].values() if s is not None]
        ids = " + ".join(printable(s["id"]) for s in springs)
        bends = [f"{s['bend_mm']:+.2f}" for s in springs] + ["-"]
        lines.append(
            f"  {ids:<32.32} {one['margin']:6.2f} {one['yield']:7.0%} {bends[0]:>9} {bends[1]:>10} "
            f"{one['stop']['trim_mm']:+9.2f}"
        )
    return lines


def _ideal(facts: dict[str, Any]) -> list[str]:
    ideal = facts["ideal"]
    if ideal is None:
        return ["No springs, of this catalogue or any other, come near the target."]
    lines = [
        f"Ideal springs, free of any catalogue: margin {ideal['margin']:.2f}; "
        + (f"in brackets what keeps {ideal['range_margin']:.2f}" if ideal["margin"] > 0 else "the least miss there is")
    ]
    for name in PLACES:
        spring = ideal[name]
        if spring is None:
            continue
        low, high = spring["rate_range_n_per_mm"]
        takeup = spring["takeup_deg"]
        pull = (
            f"pull at rest {spring['pull_at_rest_n']:.2f} N"
            if takeup == 0
            else ("never takes up" if takeup is None else f"takes up at {takeup:.1f}°")
        )
        lines.append(f"  {name:<12}{spring['rate_n_per_mm']:6.2f} N/mm [{low:.2f} to {high:.2f}], {pull}")
        lines += _window(ideal["window"], name)
    return lines


def _window(window: dict[str, Any] | None, name: str) -> list[str]:
    """The lengths that could be ordered at the middle rate of the window."""
    rows = [] if window is None else window[name]["at"]
    if not rows:
        return []
    row = rows[len(rows) // 2]
    low, high = row["free_length_mm"]
    return [f"  {'':<12}at {row['rate_n_per_mm']:.2f} N/mm one of {low:.1f} to {high:.1f} mm inside its hooks will do"]
