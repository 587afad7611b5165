"""The reports of `check` and `verify`: plain text, at most 80 columns, the verdict first.

The numbers come from the documents. The results themselves supply the plot, and the wording of quantities that are known
as samples.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence

import numpy as np

from recurve.diagnosis.check import BareCheck, Check
from recurve.diagnosis.verify import Verification
from recurve.fit.fit import Fit
from recurve.job.model import BareJob, Job
from recurve.output.documents.check import CheckDocument, EngineBand, FindingDocument, JudgedBand, VerifyDocument
from recurve.output.documents.condition import Angle, CapsuleDocument, CoilCharge, ConditionDocument, Pressure, Slope
from recurve.output.documents.fit import FitDocument, FittedParameter
from recurve.output.text.layout import (
    Column,
    Line,
    page,
    plot,
    remarks,
    rounded,
    rounded_pair,
    table,
    title_lines,
    wrap,
    written,
)
from recurve.output.text.look import look_lines, next_lines
from recurve.output.text.plan import bands_of, curve_line, trust_lines
from recurve.physics.curve import trace
from recurve.text import printable
from recurve.uncertainty import Sampled, chance_words
from recurve.units import PLACES, RPM

SURELY, HARDLY = 0.95, 0.05  # probabilities beyond which a mark of the curve counts as certain
MENTIONED = 0.02  # smaller probabilities are left out
PARABOLA = "for a rounded lobe tip"


def check_text(check: Check, files: Sequence[str] = (), document: CheckDocument | None = None) -> str:
    """The report of `recurve check`: the verdict, findings by consequence, the curve's marks, the fit.

    `document`: the check's, if it has been built; else it is built here, with the `files` written.
    """
    document = CheckDocument.of(check, files) if document is None else document
    lines = [*title_lines(check.job), "", *_verdict(document)]
    drawn = check_plot(check)
    lines += ["", *drawn] if drawn else []
    lines += ["", *findings_lines(document.findings), "", "Curve as found", *_marks(check, document)]
    lines += [*next_lines(document), *_condition(document, check.job)]
    if check.fit is not None and document.fit is not None:
        lines += ["", *fit_lines(check.fit, document.fit)]
    return page([*lines, *remarks(document.notes, check.job.doubts), *written(document.files)])


def bare_text(check: BareCheck, document: CheckDocument) -> str:
    """The report of `recurve check` on a job without weights and springs: a first look at its sweep, and its inspection."""
    lines = [*title_lines(check.job), "", *_verdict(document)]
    if check.look is not None:
        lines += look_lines(check.look, document, check.job)
    nothing = "what was inspected" if check.look is None else "what was read and inspected"
    if check.look is not None or not check.job.inspection.empty:
        lines += ["", *findings_lines(document.findings, f"Nothing is wrong with {nothing}.")]
    lines += [*next_lines(document), *_condition(document, check.job)]
    return page([*lines, *remarks(document.notes, check.job.doubts), *written(document.files)])


def _verdict(document: CheckDocument) -> list[str]:
    return [document.verdict.upper(), *(line for why in document.why for line in wrap(printable(why), "  - ", "    "))]


def _condition(document: CheckDocument, job: Job | BareJob) -> list[str]:
    return [*inspected_lines(document.condition, job.speed_ratio), *engine_lines(document.engine_target or [])]


def engine_lines(bands: Sequence[EngineBand]) -> list[str]:
    """A target told from the engine's side, shown both ways, after an empty line: crank timing with static, and the
    distributor's advance. Nothing without bands."""
    if not bands:
        return []
    columns = [
        Column("", words=True), Column("speed", "crank rpm"), Column("timing", "crank deg"),
        Column("speed", "dist. rpm"), Column("advance", "dist. deg"),
    ]  # fmt: skip
    cells = [
        [
            b.band,
            "stop" if b.crank_rpm is None else f"{b.crank_rpm:.0f}",
            f"{b.crank_min_deg:.1f} to {b.crank_max_deg:.1f}",
            "stop" if b.speed_rpm is None else f"{b.speed_rpm:.0f}",
            f"{b.min_deg:.2f} to {b.max_deg:.2f}",
        ]
        for b in bands
    ]
    return ["", "Target, as the engine's timing (static included) and as the distributor's", *table(columns, cells)]


def capsule_words(c: CapsuleDocument) -> str:
    """The vacuum unit's fitted numbers in a line, ± two standard uncertainties."""

    def told(one: Pressure | Slope | Angle, digits: int) -> str:
        by = one.standard_uncertainty
        pm = " (not determined)" if by is None else f" ± {2 * by:.{digits}f}"
        return f"{one.value:.{digits}f}{pm}"

    home = ""
    if c.stiction_kpa is not None and c.start_falling_kpa.value > 0:
        home = f", back at rest at {told(c.start_falling_kpa, 1)} kPa with vacuum falling"
    elif c.stiction_kpa is not None:
        home = ", and may not come back to rest with the line open"
    parts = [
        f"begins at {told(c.start_rising_kpa, 1)} kPa with vacuum rising{home}",
        f"then {told(c.rate_deg_per_kpa, 2)}° per kPa (distributor)",
    ]
    if c.stop_deg is None:
        parts.append("fewer than two readings lie on its stop, so its maximum is not known")
    else:
        parts.append(f"stops at {told(c.stop_deg, 1)}°")
    if c.full_rising_kpa is not None:
        parts.append(f"full at {told(c.full_rising_kpa, 1)} kPa")
    if c.stiction_kpa is not None:
        parts.append(f"rising and falling {2 * c.stiction_kpa.value:.1f} kPa apart")
    return f"vacuum unit by its readings (± is two standard uncertainties): {'; '.join(parts)}"


def inspected_lines(found: ConditionDocument, ratio: float) -> list[str]:
    """The inspection's part of a report: every check against its limit, dwell and timing, rotor, vacuum, coil; `ratio`
    [1] crank turns a distributor turn."""
    lines = ["", "Condition as inspected; angles are distributor degrees"] if found.checks else []
    for one in found.checks:
        limit = "no limit given" if one.limit is None else f"limit: {one.limit} ({one.source})"
        lines += wrap(f"{one.verdict.upper()}  {one.what} {one.measured}; {limit}", "  ", "      ")
    lines += [
        f"  dwell {d.dwell_deg:.1f}° (distributor), {d.share_percent:.0f}% of the lobe pitch" for d in found.dwell
    ]
    told = []
    for change in found.dwell_changes:
        at = change.timing_deg
        gap = "" if change.gap_change_mm is None else f"; about {change.gap_change_mm:.2f} mm of gap, {PARABOLA}"
        moves = f"timing moves {at:.1f}° (distributor), {at * ratio:.1f}° (crank)"
        told.append(f"{change.how}: {moves}, {change.timing_from}{gap}")
    for row in found.sparks:
        if row.scatter_deg is not None and row.between is not None:
            wide = row.scatter_deg
            scatter = f"the spark spacing varies by {wide:.1f}° (distributor), {wide * ratio:.1f}° (crank)"
            told.append(f"{row.where}: {scatter}, most between sparks {' and '.join(map(str, row.between))}")
    if found.rotor is not None:
        low, high, room = found.rotor.low_deg, found.rotor.high_deg, found.rotor.room_deg
        left = "" if room is None else f"; {room:.1f}° of overlap is left"
        told.append(
            f"rotor tip at the spark: {low:+.1f} to {high:+.1f}° (distributor) past the middle of its segment, over "
            f"the range of the vacuum advance{left}"
        )
    if found.capsule is not None:
        told.append(capsule_words(found.capsule))
    return [*lines, *(line for text in told for line in wrap(text, "  ", "      ")), *_coil_lines(found.coil, ratio)]


def _coil_lines(charges: Sequence[CoilCharge], ratio: float) -> list[str]:
    """Dwell time, current and energy over speed, for the good and the bad dwell."""
    if not charges:
        return []
    columns = [Column("speed", "crank rpm")]
    for one in charges:
        columns += [Column(f"{one.dwell_deg:.1f}° dwell", "ms"), Column("current", "A"), Column("energy", "mJ")]
    cells = [[f"{speed * ratio:.0f}" for speed in charges[0].speed_rpm]]
    for one in charges:
        cells.append([f"{x:.2f}" for x in one.time_ms])
        cells.append([f"{x:.2f}" for x in one.current_a])
        cells.append([f"{x:.1f}" for x in one.energy_mj])
    rows = list(zip(*cells, strict=True))
    return ["", "Coil charge when the points open; dwell in distributor degrees", *table(columns, rows)]


def fit_text(fit: Fit) -> str:
    """The report of a fit, values rounded to their uncertainty."""
    return page(fit_lines(fit, FitDocument.of(fit)))


def fit_lines(fit: Fit, document: FitDocument) -> list[str]:
    """The lines of a fit's report."""
    state = "converged" if document.converged else "NOT CONVERGED"
    lines = [
        f"Fit of {len(fit.residuals) - len(fit.outliers)} readings: {state}",
        f"the readings scatter {fit.inflation:.1f} times as much as their ± allows",
        "± is two standard uncertainties; distributor degrees and rpm",
    ]
    rows = [
        [_name(name), *rounded_pair(one.value, one.standard_uncertainty, _decimals(one)), *_unit_and_source(one)]
        for name, one in document.parameters.items()
    ]
    columns = [Column("", words=True), Column("value"), Column("±"), Column("unit", words=True), Column("", words=True)]
    return [*lines, *table(columns, rows)]


def _name(name: str) -> str:
    if name.endswith(".tension"):
        return f"{name.removesuffix('.tension')} initial tension"
    words = {
        "scale": "effect of the weights, factor",
        "zero": "bench zero off by",
        "drag": "rubbing block's drag",
        "takeup": "takes up at",
        "pull": "pull at rest",
    }
    place, _, rest = name.partition(".")
    return f"{place} {words.get(rest, rest)}" if rest else words.get(name, name.replace("_", " "))


def fitted_words(one: FittedParameter) -> str:
    """A fitted quantity rounded to its uncertainty."""
    return rounded(one.value, one.standard_uncertainty, _decimals(one))


def _decimals(one: FittedParameter) -> int:
    """The most decimals of a fitted quantity: nobody reads an angle finer than 0.01°."""
    return 2 if one.unit == "deg" else 6


def _unit_and_source(one: FittedParameter) -> tuple[str, str]:
    unit = "" if one.value is None else {"mN*m": "mN·m", "deg": "dist. deg"}.get(one.unit, one.unit)
    told = {"readings": "", "as given": "as given", "not determined": "not in the readings"}[one.source]
    return unit, f"{told}{', at its limit' if one.at_bound else ''}".lstrip(", ")


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


def findings_lines(findings: Iterable[FindingDocument], none: str = "Nothing is wrong with the curve.") -> list[str]:
    """The findings, numbered, each with its evidence, its consequence and the remedy; `none` if there are none."""
    lines: list[str] = []
    for number, f in enumerate(findings, 1):
        lines += wrap(f"{number}. {printable(f.what)} ({f.severity})", "", "   ")
        for name, text in (("seen", f.evidence), ("engine", f.consequence), ("do", f.remedy)):
            lines += wrap(printable(text), f"   {name:<8}", "           ")
    return lines or [none]


def _marks(check: Check, document: CheckDocument) -> list[str]:
    e = check.evidence
    speeds = f"onset {_speed(e.onset)}, return to zero {_speed(e.return_speed)}, all in {e.all_in.summary.rpm()}"
    advances = (
        f"stop {e.stop.summary.degrees()}, stays in at idle ({e.idle * RPM:.0f} rpm) {e.residual.summary.degrees()}"
    )
    lines = [*wrap(speeds, "  ", "  "), *wrap(advances, "  ", "  ")]
    for index, name in enumerate(PLACES[: len(check.job.places)]):
        takeup, never = e.takeup(index), e.never(index)
        told = "pulls from rest" if takeup.above(1e-6) < HARDLY else f"takes up at {takeup.summary.degrees()}"
        if never > MENTIONED:
            told += f" (never: probability {chance_words(never)})"
        lines.append(f"  {name} {'never takes up' if never > SURELY else told}")
    if document.passing is not None:
        lines.append(f"  probability that the unit meets every band as it is: {chance_words(document.passing)}")
    return lines


def _speed(one: Sampled) -> str:
    """A speed that may not exist: says so where some states have none."""
    none = float((one.sample <= 0).mean())
    if none > SURELY:
        return "none"
    return one.summary.rpm() if none < HARDLY else f"none or {Sampled(one.sample[one.sample > 0]).summary.rpm()}"


def verify_text(result: Verification, files: Sequence[str] = (), document: VerifyDocument | None = None) -> str:
    """The report of `recurve verify`: the verdict, every band, what to correct, the fit.

    `document`: the verification's, if it has been built; else it is built here, with the `files` written.
    """
    document = VerifyDocument.of(result, files) if document is None else document
    again = [line for one in document.read_again for line in wrap(printable(one), "  - ", "    ")]
    gate = trust_lines(document.trust, "THE VERDICT DOES NOT COUNT YET")
    clear = document.trust.ok or document.verdict != "passes"
    verdict = document.verdict.upper() if clear else "PASSES BY THESE READINGS, WHICH DO NOT COUNT YET"
    lines = [*title_lines(result.job), "", *gate, verdict, *again, ""]
    lines += ["As left, by the new sweep (distributor; ± is two standard uncertainties)"]
    lines += _band_table(document.targets)
    if document.verdict == "too close to call" and document.step != "settle":
        lines += ["", *wrap(_settling(document.targets))]
    if document.step == "hand over":
        lines += ["", *wrap(f"The risk that the unit lies outside a band all the same is {_small(document.risk)}.")]
    lines += ["", *_correction(result, document)]
    if document.fit.outlier_rows:
        rows = ", ".join(str(r) for r in document.fit.outlier_rows)
        lines += [
            "",
            *wrap(f"Readings left out, since they do not fit the curve of the others: rows {rows} of the sweep."),
        ]
    lines += ["", *fit_lines(result.fit, document.fit)]
    if document.drawer:
        lines += ["", "The drawer of springs", *(x for one in document.drawer for x in wrap(one, "  - ", "    "))]
    return page([*lines, *remarks(document.notes, result.job.doubts), *written(document.files)])


def _settling(bands: Sequence[JudgedBand]) -> str:
    """Which readings would settle the bands that are too close to call."""
    close = [b for b in bands if b.verdict == "too close to call"]
    if any(b.more_readings == 0 for b in close):
        return (
            "Too close to call: the curve runs along the edge of a band, and even a dozen more readings would not "
            "show on which side. Set the unit nearer to the middle of the band."
        )
    asked = {(b.read_at_rpm, b.read_rising): 0 for b in close}
    for b in close:
        asked[b.read_at_rpm, b.read_rising] = max(asked[b.read_at_rpm, b.read_rising], b.more_readings)
    told = [
        f"{'once' if times == 1 else f'{times} times'} more at {at:.0f} rpm (distributor), {'rising' if rising else 'falling'}"
        for (at, rising), times in asked.items()
        if at is not None
    ]
    return f"Too close to call. To settle it, read the advance {'; '.join(told)}."


def _small(risk: float) -> str:
    """A risk in percent; one that the samples do not show is less than what they could."""
    return "under 0.1 %" if risk < 1e-3 else f"{100 * risk:.1f} %"


def _band_table(bands: Sequence[JudgedBand]) -> list[str]:
    deg = "deg"
    columns = [
        Column("", words=True), Column("speed", "rpm"), Column("min", deg), Column("rising", deg),
        Column("falling", deg), Column("max", deg), Column("", words=True),
    ]  # fmt: skip
    rows = [
        [
            b.band,
            "stop" if b.speed_rpm is None else f"{b.speed_rpm:.0f}",
            "-" if b.from_zero else f"{b.min_deg:.2f}",
            *(f"{value:.2f} ± {2 * uncertainty:.2f}" for value, uncertainty in b.sides),
            f"{b.max_deg:.2f}",
            "too close" if b.verdict == "too close to call" else b.verdict,
        ]
        for b in bands
    ]
    return table(columns, rows)


def _correction(result: Verification, document: VerifyDocument) -> list[str]:
    if document.step == "settle":
        handed = " and do not hand the unit over" if document.verdict == "passes" else ""
        return wrap(f"Move nothing{handed} before that is settled.")
    if document.verdict == "passes":
        return ["Nothing to correct."]
    if document.verdict == "read again":
        if any(b.verdict != "passes" for b in document.targets):
            return wrap("Move nothing before you have taken the readings named above.")
        return wrap(
            "Nothing to correct: the curve lies in every band. Take the readings named above; if they agree, the "
            "unit passes."
        )
    if result.correction is None or document.correction is None:
        return wrap(
            "No move of the posts or the stop within their limits would bring the unit into its bands: plan again "
            "from this sweep."
        )
    moves, margin = "; ".join(m.words for m in result.correction.moves), document.correction.margin
    told = "passes" if margin >= 0 else "still fails"
    return wrap(f"Correct: {moves}. Predicted after: {told}, margin {margin:.2f}.")
