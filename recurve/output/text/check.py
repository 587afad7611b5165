"""Text and facts of a fit, a check and a verification."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from typing import Any

import numpy as np

from recurve.bothways import engine_lines, engine_rows
from recurve.curve import trace
from recurve.diagnose import Check
from recurve.evidence import Doubtful
from recurve.facts import RPM, deg, rpm
from recurve.findings import Finding
from recurve.fit import Estimate, Fit
from recurve.inspectreport import inspected_facts, inspected_lines
from recurve.report import bands_of, curve_line, page, remarks, title_lines, wrap
from recurve.safetext import printable
from recurve.texttable import Column, Line, plot, table
from recurve.verify import Verification

# --- fit --------------------------------------------------------------------------------------------------


def fit_facts(fit: Fit) -> dict[str, Any]:
    """The `fit` document: every parameter, None where the readings do not determine it."""
    return {
        "parameters": {e.name: _estimate_facts(e) for e in fit.estimates},
        "chi2": round(fit.chi2, 6),
        "dof": round(fit.dof, 6),
        "scatter": round(fit.inflation, 6),
        "converged": fit.converged,
        "outlier_rows": list(fit.outliers),
        "correlation": {
            "names": list(fit.names),
            "matrix": [[round(float(x), 4) for x in row] for row in fit.correlation],
        },
    }


def _estimate_facts(one: Estimate) -> dict[str, Any]:
    return {
        "value": None if one.value is None else round(one.value, 9),
        "standard_uncertainty": None if one.standard_uncertainty is None else round(one.standard_uncertainty, 9),
        "unit": one.unit,
        "at_bound": one.at_bound,
        "source": one.source,
    }


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


def rounded(one: Estimate) -> str:
    """ "0.84 ± 0.06": two standard uncertainties to two digits, the value to the same place; "-" without a value."""
    if one.value is None or one.standard_uncertainty is None:
        return "-"
    two = 2 * one.standard_uncertainty
    most = 2 if one.unit == "deg" else 6  # nobody reads an angle finer
    places = 2 if two <= 0 else int(np.clip(1 - np.floor(np.log10(two)), 0, most))
    return f"{one.value:.{places}f} ± {two:.{places}f}"


# --- check ------------------------------------------------------------------------------------------------


def check_facts(check: Check) -> dict[str, Any]:
    """The `check` document."""
    e = check.evidence
    return {
        "verdict": check.verdict,
        "why": list(check.why),
        "title": check.job.title,
        "fingerprint": check.job.fingerprint,
        "passing": None if check.passing is None else round(check.passing, 4),
        "findings": [finding_facts(f) for f in check.findings],
        "fit": None if check.fit is None else fit_facts(check.fit),
        "curve": {
            "onset_rpm": _doubtful(e.onset, rpm),
            "return_rpm": _doubtful(e.home, rpm),
            "all_in_rpm": _doubtful(e.all_in, rpm),
            "residual_deg": _doubtful(e.residual, deg),
            "stop_deg": _doubtful(e.stop, deg),
            "apart_deg": _doubtful(e.apart, deg),
        },
        "notes": list(check.notes),
        **inspected_facts(check.inspected),
        "engine_target": engine_rows(check.job),
    }


def _doubtful(one: Doubtful, unit: Callable[[float], float | None]) -> dict[str, Any]:
    return {"value": unit(one.mean), "standard_uncertainty": unit(one.deviation)}


def finding_facts(f: Finding) -> dict[str, Any]:
    """One of the `findings` of the `check` document."""
    return {
        "what": f.what,
        "evidence": f.evidence,
        "consequence": f.consequence,
        "remedy": f.remedy,
        "severity": f.severity,
    }


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
    lines = wrap(f"onset {_speed(e.onset)}, return to zero {_speed(e.home)}, all in {e.all_in.rpm()}", "  ", "  ")
    idle = f"{e.idle * 30 / np.pi:.0f} rpm"
    lines += wrap(f"stop {e.stop.degrees()}, at idle ({idle}) {e.residual.degrees()} stays in", "  ", "  ")
    for index, name in enumerate(("primary", "secondary")[: len(check.job.places)]):
        takeup, never = e.takeup(index), e.never(index)
        told = "pulls from rest" if takeup.above(1e-6) < 0.05 else f"takes up at {takeup.degrees()}"
        told = (
            "never takes up" if never > 0.95 else told + (f" (never: probability {never:.0%})" if never > 0.02 else "")
        )
        lines.append(f"  {name} {told}")
    if check.passing is not None:
        lines.append(f"  probability that it meets every band as it is: {check.passing:.0%}")
    return lines


def _speed(one: Doubtful) -> str:
    """A speed that may be none: where some states have none, that is said."""
    none = float((one.sample <= 0).mean())
    return (
        "none" if none > 0.95 else one.rpm() if none < 0.05 else f"none or {Doubtful(one.sample[one.sample > 0]).rpm()}"
    )


# --- verify -----------------------------------------------------------------------------------------------


def verify_facts(result: Verification, files: tuple[str, ...] = ()) -> dict[str, Any]:
    """The `verify` document."""
    return {
        "verdict": result.verdict,
        "title": result.job.title,
        "fingerprint": result.job.fingerprint,
        "targets": [
            {
                "band": b.band.kind,
                "speed_rpm": rpm(b.band.speed),
                "min_deg": deg(b.band.low),
                "max_deg": deg(b.band.high),
                "rising_deg": deg(b.rising),
                "rising_standard_uncertainty": deg(b.rising_deviation),
                "falling_deg": deg(b.falling),
                "falling_standard_uncertainty": deg(b.falling_deviation),
                "verdict": b.verdict,
                "more_readings": b.more,
            }
            for b in result.bands
        ],
        "correction": None
        if result.correction is None
        else {
            "moves": [
                {"what": m.what, "by_mm": round(m.by * 1e3, 6), "to_mm": None if m.to is None else round(m.to * 1e3, 6)}
                for m in result.correction.moves
            ],
            "margin": round(result.correction.margin, 6),
        },
        "fit": fit_facts(result.fit),
        "notes": list(result.job.notes),
        "files": list(files),
    }


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
        pair = [f"{np.degrees(x):.2f} ± {2 * np.degrees(s):.2f}" for x, s in b.sides]
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
