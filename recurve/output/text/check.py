"""Text and facts of a fit, a check and a verification.

A target told from the engine's side, shown both ways: crank timing with static, and the distributor's advance.

Text and facts of the vacuum unit's capsule as fitted.

Text and facts of the bench inspection and the vacuum unit; nothing at all where a job has neither.

Text and facts of a unit without weights.
"""

from __future__ import annotations

import textwrap
from collections.abc import Iterable

import numpy as np

from recurve.diagnosis.check import BareCheck, Check
from recurve.diagnosis.verify import Verification
from recurve.fit.fit import Estimate, Fit
from recurve.inspection.bench import BenchResult, Judged
from recurve.inspection.findings import Finding
from recurve.inspection.inspected import Inspected
from recurve.inspection.points import Charge
from recurve.inspection.vacuum import Capsule, VacuumCheck
from recurve.job.model import BareJob, Job
from recurve.output.documents.check import DEGREES, engine_rows
from recurve.output.text.layout import Column, Line, page, plot, remarks, rounded, table, title_lines, wrap
from recurve.output.text.plan import bands_of, curve_line
from recurve.physics.curve import trace
from recurve.text import printable
from recurve.uncertainty import Sampled, Uncertain
from recurve.units import RPM


def engine_lines(job: Job | BareJob) -> list[str]:
    """The same as a table, after an empty line; nothing where the job tells its target by the distributor."""
    rows = engine_rows(job)
    if rows is None:
        return []
    columns = [
        Column("", words=True), Column("speed", "crank rpm"), Column("timing", "crank deg"),
        Column("speed", "dist. rpm"), Column("advance", "dist. deg"),
    ]  # fmt: skip
    cells = [
        [
            r["band"],
            "stop" if r["crank_rpm"] is None else f"{r['crank_rpm']:.0f}",
            f"{r['crank_min_deg']:.1f} to {r['crank_max_deg']:.1f}",
            "stop" if r["speed_rpm"] is None else f"{r['speed_rpm']:.0f}",
            f"{r['min_deg']:.2f} to {r['max_deg']:.2f}",
        ]
        for r in rows
    ]
    return ["", "Target, as the engine's timing (static included) and as the distributor's", *table(columns, cells)]


def capsule_words(c: Capsule) -> str:
    """The fitted numbers in a line, ± two standard uncertainties."""

    def told(n: Uncertain, scale: float, digits: int) -> str:
        by = n.standard_uncertainty
        pm = " (not determined)" if by is None else f" ± {2 * by * scale:.{digits}f}"
        return f"{n.value * scale:.{digits}f}{pm}"

    parts = [f"begins at {told(c.start, 1e-3, 1)} kPa", f"then {told(c.rate, DEGREES * 1e3, 2)}° a kPa (distributor)"]
    if c.stop is None:
        parts.append("no two readings lie on its stop, so its maximum is not known")
    else:
        parts.append(f"stops at {told(c.stop, DEGREES, 1)}°")
    if c.full is not None:
        parts.append(f"full at {told(c.full, 1e-3, 1)} kPa")
    if c.stiction is not None:
        parts.append(f"rising and falling {2 * c.stiction.value / 1e3:.1f} kPa apart")
    return f"vacuum unit as fitted (± is two standard uncertainties): {'; '.join(parts)}"


WIDTH = 80


def inspected_lines(found: Inspected | None, ratio: float) -> list[str]:
    """The inspection's part of a report: every check against its limit, dwell and timing, rotor, coil, vacuum; `ratio`
    [1] crank turns a distributor turn."""
    if found is None:
        return []
    lines = [] if not found.judged else ["", "Condition, as inspected; angles are the distributor's"]
    for one in found.judged:
        lines += _wrap(f"{one.verdict.upper()}  {one.what} {one.seen}; {_limit(one)}", "  ", "      ")
    if found.bench is not None:
        lines += _bench_lines(found.bench, ratio)
    if found.vacuum is not None:
        lines += _capsule_lines(found.vacuum)
    if found.bench is not None:
        lines += _coil_lines(found.bench.charges, ratio)
    return lines


def _wrap(text: str, first: str, rest: str) -> list[str]:
    return textwrap.wrap(text, WIDTH, initial_indent=first, subsequent_indent=rest, break_on_hyphens=False)


def _limit(one: Judged) -> str:
    return "no limit given" if one.limit is None else f"limit: {one.allowed} ({one.limit.source})"


def _bench_lines(bench: BenchResult, ratio: float) -> list[str]:
    lines: list[str] = []
    for dwell, share in zip(bench.dwell, bench.fractions, strict=True):
        lines.append(f"  dwell {np.degrees(dwell.value):.1f}° (distributor), {share:.0%} of the lobe pitch")
    for change in bench.changes:
        at = np.degrees(change.timing.value)
        gap = (
            ""
            if change.gap is None
            else f"; about {change.gap * 1e3:.2f} mm of gap, the lobe's tip taken as a parabola"
        )
        told = (
            f"{change.how}: timing moves {at:.1f}° (distributor), {at * ratio:.1f}° (crank), {change.timing_how}{gap}"
        )
        lines += _wrap(told, "  ", "      ")
    for row in bench.sparks:
        at = np.degrees(row.scatter)
        lines += _wrap(
            f"{row.where}: the sparks scatter over {at:.1f}° (distributor), {at * ratio:.1f}° (crank)", "  ", "      "
        )
    if bench.rotor is not None:
        low, high = np.degrees((bench.rotor.low, bench.rotor.high))
        room = "" if bench.rotor.room is None else f"; {np.degrees(bench.rotor.room):.1f}° of their overlap is left"
        told = f"rotor at the spark: {low:+.1f} to {high:+.1f}° past its segment's middle over the vacuum's range{room}"
        lines += _wrap(told, "  ", "      ")
    return lines


def _coil_lines(charges: tuple[Charge, ...], ratio: float) -> list[str]:
    """Dwell time, current and energy over speed, for the good and the bad dwell."""
    if not charges:
        return []
    columns = [Column("speed", "crank rpm")]
    for one in charges:
        dwell = f"{np.degrees(one.dwell):.1f}° dwell"
        columns += [Column(dwell, "ms"), Column("current", "A"), Column("energy", "mJ")]
    rows = [
        [
            f"{charges[0].speed[i] * RPM * ratio:.0f}",
            *(
                t
                for c in charges
                for t in (f"{c.time[i] * 1e3:.2f}", f"{c.current[i]:.2f}", f"{c.energy[i] * 1e3:.1f}")
            ),
        ]
        for i in range(len(charges[0].speed))
    ]
    return ["", "Coil charge when the points open; dwell is the distributor's", *table(columns, rows)]


def _capsule_lines(check: VacuumCheck) -> list[str]:
    capsule = check.capsule
    if capsule is None:
        return []
    return _wrap(capsule_words(capsule), "  ", "      ")


def fit_text(fit: Fit) -> str:
    """The report of a fit, values rounded to their uncertainty."""
    return page(fit_lines(fit))


def fit_lines(fit: Fit) -> list[str]:
    """The lines of a fit's report."""
    state = "converged" if fit.converged else "NOT CONVERGED"
    lines = [
        f"Fit of {len(fit.residuals) - len(fit.outliers)} readings: {state}",
        f"chi² {fit.chi2:.1f}, degrees of freedom {fit.dof:.0f}",
        "± is two standard uncertainties; angles and speeds are the distributor's",
    ]
    rows = [[_name(e.name), *rounded(e).partition(" ± ")[::2], _unit(e), _source(e)] for e in fit.estimates]
    columns = [Column("", words=True), Column("value"), Column("±"), Column("unit", words=True), Column("", words=True)]
    return [*lines, *table(columns, rows)]


def _name(name: str) -> str:
    if name == "secondary.tension":
        return "secondary initial tension"
    words = {
        "scale": "mass geometry, factor",
        "zero": "bench zero off by",
        "drag": "rubbing block's drag",
        "takeup": "takes up at",
    }
    place, _, rest = name.partition(".")
    if rest:
        return f"{place} {words.get(rest, 'pull at rest' if rest == 'pull' else rest)}"
    return words.get(name, name.replace("_", " "))


def _unit(one: Estimate) -> str:
    return "" if one.value is None else {"mN*m": "mN·m", "deg": "dist. deg"}.get(one.unit, one.unit)


def _source(one: Estimate) -> str:
    told = {"readings": "", "as given": "as given", "not determined": "the readings do not tell"}[one.source]
    return f"{told}{', at its limit' if one.at_bound else ''}".lstrip(", ")


def check_text(check: Check, files: tuple[str, ...] = ()) -> str:
    """The report of `recurve check`: the verdict, findings by consequence, the curve's marks, the fit."""
    lines = [*title_lines(check.job), "", f"{check.verdict.upper()}"]
    for why in check.why:
        lines += wrap(printable(why), "  - ", "    ")
    drawn = check_plot(check)
    lines += ["", *drawn] if drawn else []
    lines += ["", *findings_lines(check.findings), "", "Curve as found", *_marks(check)]
    lines += [*inspected_lines(check.inspected, check.job.speed_ratio), *engine_lines(check.job)]
    if check.fit is not None:
        lines += ["", *fit_lines(check.fit)]
    lines += remarks(check.notes)
    if files:
        lines += ["", "Written", *(f"  {name}" for name in files)]
    return page(lines)


def check_plot(check: Check) -> list[str]:
    """The curve as found over the bands and readings, in text; nothing where the springs are not known."""
    unit, sweep, fit = check.job.as_found(), check.job.sweep, check.fit
    if unit is None:
        return []
    curve = trace(unit)
    speeds = [b.speed for b in check.job.target.timed if b.speed] if check.job.target is not None else []
    speeds += [curve.all_in or 0.0, 0.0 if sweep is None else float(sweep.speed.max())]
    last = 1.05 * RPM * max(speeds)
    lines = [curve_line("o", "as found", curve, last)]
    if sweep is not None and fit is not None:
        up = np.asarray(sweep.rising, bool)
        hidden = float(fit.model.hidden(fit.best[None])[0])
        lines.append(Line("x", "read, rising", RPM * sweep.speed[up], np.degrees(sweep.advance[up] + hidden)))
    return plot(lines, bands_of(check.job), last)


def findings_lines(findings: Iterable[Finding]) -> list[str]:
    """The findings numbered, each with what shows it, what it does and what to do."""
    lines: list[str] = []
    for number, f in enumerate(findings, 1):
        lines += wrap(f"{number}. {printable(f.what)} ({f.severity})", "", "   ")
        for name, text in (("seen", f.evidence), ("engine", f.consequence), ("do", f.remedy)):
            lines += wrap(printable(text), f"   {name:<8}", "           ")
    return lines or ["Nothing is wrong with the curve."]


def _marks(check: Check) -> list[str]:
    e = check.evidence
    lines = wrap(
        f"onset {_speed(e.onset)}, return to zero {_speed(e.return_speed)}, all in {e.all_in.summary.rpm()}", "  ", "  "
    )
    idle = f"{e.idle * 30 / np.pi:.0f} rpm"
    lines += wrap(
        f"stop {e.stop.summary.degrees()}, at idle ({idle}) {e.residual.summary.degrees()} stays in", "  ", "  "
    )
    for index, name in enumerate(("primary", "secondary")[: len(check.job.places)]):
        takeup, never = e.takeup(index), e.never(index)
        told = "pulls from rest" if takeup.above(1e-6) < 0.05 else f"takes up at {takeup.summary.degrees()}"
        told = (
            "never takes up" if never > 0.95 else told + (f" (never: probability {never:.0%})" if never > 0.02 else "")
        )
        lines.append(f"  {name} {told}")
    if check.passing is not None:
        lines.append(f"  probability that it meets every band as it is: {check.passing:.0%}")
    return lines


def _speed(one: Sampled) -> str:
    """A speed that may be none: where some states have none, that is said."""
    none = float((one.sample <= 0).mean())
    if none > 0.95:
        return "none"
    return one.summary.rpm() if none < 0.05 else f"none or {Sampled(one.sample[one.sample > 0]).summary.rpm()}"


def verify_text(result: Verification, files: tuple[str, ...] = ()) -> str:
    """The report of `recurve verify`."""
    lines = [*title_lines(result.job), "", result.verdict.upper(), ""]
    lines += ["As left, refitted; ± is two standard uncertainties; distributor rpm and degrees", *_band_table(result)]
    more = max(b.more for b in result.bands)
    if more and result.verdict == "too close to call":
        told = "more than 900" if more > 900 else f"about {more}"
        lines += ["", *wrap(f"Too close to call: {told} more readings like these, up and down, would settle it.")]
    lines += ["", *_correction(result)]
    if result.fit.outliers:
        rows = ", ".join(str(r) for r in result.fit.outliers)
        lines += ["", *wrap(f"Readings left out, since they do not belong: rows {rows} of the sweep.")]
    lines += ["", *fit_lines(result.fit), *remarks(result.job.notes)]
    if files:
        lines += ["", "Written", *(f"  {name}" for name in files)]
    return page(lines)


def _band_table(result: Verification) -> list[str]:
    deg = "deg"
    columns = [
        Column("", words=True), Column("speed", "rpm"), Column("min", deg), Column("rising", deg),
        Column("falling", deg), Column("max", deg), Column("", words=True),
    ]  # fmt: skip
    rows = []
    for b in result.bands:
        pair = [
            f"{np.degrees(x.value):.2f} ± {2 * np.degrees(x.standard_uncertainty or 0.0):.2f}"
            for x in (b.rising, b.falling)
        ]
        rows.append(
            [
                b.band.kind,
                "stop" if b.band.speed is None else f"{b.band.speed * 30 / np.pi:.0f}",
                "-" if b.band.from_zero else f"{np.degrees(b.band.low):.2f}",
                *pair,
                f"{np.degrees(b.band.high):.2f}",
                "too close" if b.verdict == "too close to call" else b.verdict,
            ]
        )
    return table(columns, rows)


def _correction(result: Verification) -> list[str]:
    if result.verdict == "passes":
        return ["Nothing to correct."]
    if result.correction is None:
        return wrap(
            "No move of the posts or the stop within their limits would bring it in: plan again from this sweep."
        )
    moves = "; ".join(m.words for m in result.correction.moves)
    told = "passes" if result.correction.margin >= 0 else "still fails"
    return wrap(f"Correct: {moves}. Predicted after: {told}, margin {result.correction.margin:.2f}.")


def bare_text(check: BareCheck, files: tuple[str, ...] = ()) -> str:
    """The report of `recurve check` on a job without weights, stop and springs."""
    lines = [*title_lines(check.job), "", check.verdict.upper()]
    for why in check.why:
        lines += wrap(printable(why), "  - ", "    ")
    lines += [
        "",
        *(findings_lines(check.findings) if check.findings else ["Nothing is wrong with what was inspected."]),
    ]
    lines += [*inspected_lines(check.inspected, check.job.speed_ratio), *engine_lines(check.job)]
    written = ["", "Written", *(f"  {name}" for name in files)] if files else []
    return page([*lines, *remarks(check.job.notes), *written])
