"""More parts of the sheet: the curve, the engine, the unit as found, and the blocks.

A block is a ready-made part with its figures, laid out by `data/sheet/block.typ`: buying list, timing card, bench
inspection, the unit drawn. Each appears only if the job has what it needs.
"""

from __future__ import annotations

import math
from collections.abc import Callable

from recurve.diagnosis.causes import as_blamed
from recurve.diagnosis.findings import curve_findings
from recurve.diagnosis.readings import data_findings
from recurve.diagnosis.timing_card import card_of_plan
from recurve.fit.fit import Fit
from recurve.fit.state import SURE, Evidence
from recurve.inspection.findings import Finding, worst_first
from recurve.inspection.timing import Setting
from recurve.output.documents.condition import ConditionDocument
from recurve.output.documents.fit import FitDocument, FittedParameter
from recurve.output.documents.plan import PlanDocument
from recurve.output.documents.timing import TimingDocument, at_least, columns, off_book_words, timing_cell, unit_words
from recurve.output.figures.mechanism import small_unit_svg
from recurve.output.figures.timing import coil_figure_bytes, timing_figure_bytes
from recurve.output.sheet.numbers import Cell, Shown, cell, signless
from recurve.output.sheet.parts import PLACES, SEVERITY, Facts, Source, decimals, highest, in_order
from recurve.planner.plan import Plan
from recurve.text import breakable
from recurve.units import RPM, LengthUnits

Figures = dict[str, bytes]


def ready_parts(plan: Plan, document: PlanDocument, units: LengthUnits = "both") -> tuple[dict[str, Facts], Figures]:
    """A plan's blocks: their facts by name, and the SVGs they show by file name."""
    shown = Shown(plan.job.speed_ratio, units)
    parts: dict[str, Facts] = {}
    figures: Figures = {}
    for name, made in (
        ("order", _order(plan, document, shown)),
        ("timing", _timing(plan)),
        ("condition", _condition(plan, shown)),
        ("mechanism", _mechanism(plan)),
    ):
        if made is not None:
            parts[name], drawn = made
            figures |= drawn
    return parts, figures


def _mechanism(plan: Plan) -> tuple[Facts, Figures]:
    words = "The unit at rest and at its stop as found, seen from the rotor end"
    figure = {"file": "unit.svg", "alt": words, "width": 60}
    return {"title": words, "figures": [figure]}, {"unit.svg": small_unit_svg(plan.job)}


def mechanism(source: Source) -> Facts | None:
    """The unit as drawn; where there is a sweep it stands beside what was found."""
    return source.given.get("mechanism") if source.plan.fit is None else None


# --- what to order ------------------------------------------------------------------------------------------


def _order(plan: Plan, document: PlanDocument, shown: Shown) -> tuple[Facts, Figures] | None:
    if not document.order:
        return None
    rows = []
    for one, purchase in zip(document.order, plan.purchases, strict=True):
        stock = purchase.spring.quantity
        # Unrounded: they often end on half of the last digit shown, and rounding twice would give another digit.
        lengths, rates = [1e3 * x for x in purchase.lengths], [one.rate_range_n_per_mm[0], one.rate_range_n_per_mm[1]]
        ranges = [
            " to ".join(f"{x / size:.{decimals}f}" for x in ends)
            for ends, units in ((rates, shown.rate_units), (lengths, shown.length_units))
            for _, size, decimals in units
        ]
        in_stock = "to order" if stock is None else f"{stock} in stock"
        rows.append([one.place, one.id, in_stock, *ranges, ", ".join(one.alternates[:3]) or "-"])
    heads = [("place", ""), ("spring", "one of each"), ("stock", "when planned")]
    heads += [("rate", unit) for unit, *_ in shown.rate_units]
    heads += [("free length", f"{unit}, inside hooks") for unit, *_ in shown.length_units]
    heads += [("or instead", "id")]
    text = (
        "Rate and free length: with its post reset, a spring that is off by this much in one of the two costs half "
        f"the margin. The chance of passing assumes rates within ± {document.order[0].rate_tolerance_assumed:.0%}: "
        "tell the supplier. Hang two known weights on each spring that arrives: recurve spring works out its rate "
        "and initial tension."
    )
    return {"title": "Springs to order", "text": [text], "table": _table(heads, rows)}, {}


# --- the timing card ----------------------------------------------------------------------------------------


def _timing(plan: Plan) -> tuple[Facts, Figures] | None:
    card = card_of_plan(plan)
    if card is None:
        return None
    document = TimingDocument.of(card, plan.job)
    made: Facts = {
        "title": "Timing card: degrees before top dead centre (crank)",
        "chapter": True,
        # Those of the engine stand just before it, where the unit is to be built.
        "cautions": [] if plan.verdict != "out of reach" else document.cautions,
        "text": [_setting(document), *document.warnings, *_traps(document)],
        "boxes": ["timed at, crank rpm", "read, crank degrees", "by"],
    }
    shown: list[tuple[str, str, list[float | None]]] = [
        (f"{name}, static {document.totals[name].static_deg:.1f}°", "vacuum off", timings)
        for name, timings in columns(document.table).items()
    ]
    if not shown:
        return made, {}
    cruise = document.cruise
    if cruise is not None:
        last, timings = list(columns(cruise).items())[-1]
        added = f"Vacuum adds {cruise.vacuum_advance_deg:+.1f}° (crank) at cruise, {cruise.source}."
        made["text"] = [*made["text"], added]
        shown.append((str(last), f"vacuum on, at cruise {cruise.vacuum_advance_deg:+.1f}°", timings))
    heads = [("speed", "crank rpm"), *((name, f"crank degrees, {vacuum}") for name, vacuum, _ in shown)]
    rows = [
        [f"{speed:.0f}", *(timing_cell(timings[i]) for _, _, timings in shown)]
        for i, speed in enumerate(document.table.speed_rpm)
    ]
    made |= {"table": _table(heads, rows), "figures": [_figure("timing.svg", "Crank timing over crank speed", 56)]}
    return made, {"timing.svg": timing_figure_bytes(card, plan.job.fingerprint)["timing.svg"]}


def _setting(document: TimingDocument) -> str:
    s = document.setting
    if s is None:
        return f"Static {document.static_deg:.1f}° (crank)."
    idle = (
        ""
        if s.idle_deg is None
        else f" At idle, {document.idle_rpm:.0f} rpm (crank), the light then shows {s.idle_deg:.1f}° (crank)."
    )
    return (
        f"Set {unit_words(document.set_for)} to {s.reading_deg:.1f} ± {s.tolerance_deg:.1f}° (crank) at {s.speed_rpm:.0f} rpm "
        f"(crank){', where all advance is in' if s.all_in else ''}, vacuum line off and plugged. That is static "
        f"{s.static_deg:.1f}° (crank) with the cam turned back to rest, and a total of {at_least(s.all_in)}{s.total_deg:.1f}° "
        f"(crank).{idle}"
    )


def _traps(document: TimingDocument) -> list[str]:
    limit = document.total_limit_deg
    return [
        f"If the unit as found were timed {_where(t.set)} to {t.reading_deg:.1f}° (crank), its static would be "
        f"{t.static_deg:.1f}° (crank) and its total {at_least(t.total_known)}{t.total_deg:.1f}° "
        f"(crank){off_book_words(t.off_book_deg)}{'' if limit is None else f'; the limit is {limit:.1f}°'}."
        for t in document.traps
    ]


def _where(set_by: str) -> str:
    return "statically" if set_by == "static" else set_by


# --- the bench inspection -----------------------------------------------------------------------------------


def _condition(plan: Plan, shown: Shown) -> tuple[Facts, Figures] | None:
    job, found = plan.job, plan.inspected
    if not found.judged and not found.findings:
        return None
    rows = []
    for one in ConditionDocument.of(found).checks:
        limit = "no limit given" if one.limit is None else shown.words(f"{one.limit}; {one.source}")
        rows.append({"label": one.what, "main": shown.words(f"{one.measured}: {one.verdict}"), "small": limit})
    made: Facts = {
        "title": "Condition as inspected; angles are distributor degrees",
        "text": []
        if plan.fit is not None
        else [_told(f, shown) for f in found.findings],  # else among those of the unit
        "rows": rows,
    }
    if found.bench is None or not found.bench.charges:
        return made, {}
    made["figures"] = [_figure("coil.svg", "Coil current and energy over speed, by dwell", 44)]
    drawn = coil_figure_bytes(found.bench.charges, job.speed_ratio, job.fingerprint)
    return made, {"coil.svg": drawn["coil.svg"]}


def _told(finding: Finding, shown: Shown) -> str:
    """A finding as a paragraph: what it is, what was seen, and what to do."""
    sentences = (finding.what, finding.evidence, finding.remedy)
    return shown.words(" ".join(f"{x[:1].upper()}{x[1:].rstrip('.')}." for x in sentences))


def _table(heads: list[tuple[str, str]], rows: list[list[str]]) -> Facts:
    return {"heads": [{"name": name, "unit": unit} for name, unit in heads], "rows": rows}


def _figure(file: str, alt: str, width: int = 60) -> Facts:
    """A figure of a block; `width` in percent of the page's."""
    return {"file": file, "alt": alt, "width": width}


def curve(source: Source) -> Facts:
    """What the 90 % bands of the figure mean."""
    built = source.plan.built is not None and source.plan.built.band is not None
    told = ["nine builds in ten would lie here"] if built else []
    if source.plan.before_band is not None:
        told.append("round the curve as found: what the readings leave open (90 %)")
    return {"go": source.go is not None, "shaded": f"Shaded: {'; '.join(told)}." if told else ""}


# --- the engine --------------------------------------------------------------------------------------------


def engine(source: Source) -> Facts | None:
    """What a timing light must show: the unit's advance at crank speeds, to be added to the static timing."""
    curve, job = source.document.curve, source.plan.job
    if source.go is None or curve is None:
        return None
    card = card_of_plan(source.plan)
    setting = None if card is None else card.setting
    book = job.known_static
    static = book if setting is None else setting.static
    return {
        "points": job.trigger == "points",
        "static": "" if book is None else f"{signless(math.degrees(book), 1)}° (crank)",
        "carded": None if setting is None else _carded(setting),
        "all_in": "" if curve.all_in_rpm is None else f"{curve.all_in_rpm * job.speed_ratio:.0f} rpm (crank)",
        "rows": _crank_rows(source, None if static is None else math.degrees(static)),
    }


def _carded(setting: Setting) -> Facts:
    """What the timing card says, so that both pages say the same."""
    return {
        "static": f"{signless(math.degrees(setting.static), 1)}°",
        "reading": f"{signless(math.degrees(setting.reading), 1)}°",
        "speed": f"{setting.speed * RPM:.0f} rpm",
    }


def _crank_rows(source: Source, static: float | None) -> list[Facts]:
    """The unit's advance at the target's speeds: crank rpm, crank degrees; the maximum last, at the highest bench speed. With
    the `static` [deg] of the crank, if it is known, and the total that the light shows."""
    ratio, targets = source.plan.job.speed_ratio, source.document.targets
    places, last = decimals(targets), highest(source.document)
    return [
        {
            "what": {"point": "", "idle": "idle", "maximum": "all in"}[t.band],
            "speed": f"{(last if t.speed_rpm is None else t.speed_rpm) * ratio:.0f}",
            **{
                name: signless(angle * ratio, places)
                for name, angle in (("min", t.min_deg), ("aim", t.rising_deg), ("max", t.max_deg))
            },
            "static": "" if static is None else signless(static, 1),
            "total": "" if static is None else signless(static + t.rising_deg * ratio, 1),
        }
        for t in in_order(targets)
    ]


# --- the unit as found -------------------------------------------------------------------------------------


def found(source: Source) -> Facts | None:
    """The unit as its sweep shows it: what is wrong, how well the readings agree, and rows of a label and a value."""
    fit = source.plan.fit
    if fit is None:
        return None
    e = Evidence.of(fit.job, fit)
    _, blamed = as_blamed(e, source.plan.ideal)
    curve = curve_findings(e, source.plan.ideal, blamed)
    findings = worst_first([*source.plan.inspected.findings, *curve, *data_findings(e)])
    words = ("what", "evidence", "consequence", "remedy")
    return {
        "readings": _readings(fit),
        "rows": _rows(e, fit, source.shown),
        "drawing": next(iter(source.given.get("mechanism", {}).get("figures", ())), None),
        "findings": [
            {"severity": SEVERITY[f.severity]}
            | {name: breakable(source.shown.words(getattr(f, name))) for name in words}
            for f in findings
        ],
    }


def _readings(fit: Fit) -> str:
    """How many readings there are, and how well they agree."""
    agree = (
        "no more than their ± allows"
        if fit.inflation <= 1.0
        else f"{fit.inflation:.1f} times as much as their ± allows"
    )
    left_out = f", {len(fit.outliers)} left out" if fit.outliers else ""
    return f"{len(fit.residuals) - len(fit.outliers)} readings{left_out}; they scatter {agree}"


def _rows(e: Evidence, fit: Fit, shown: Shown) -> list[Facts]:
    parameters = FitDocument.of(fit).parameters
    rows = [
        ("onset", shown.uncertain_speed(e.onset)),
        ("back at zero", shown.uncertain_speed(e.return_speed)),
        (f"stays in at {RPM * e.idle:.0f} rpm", shown.uncertain_angle(e.residual)),
        ("stop", shown.uncertain_angle(e.stop)),
        *[(f"{name} takes up", _takeup(e, i, shown)) for i, (name, *_) in enumerate(PLACES[: len(e.job.places)])],
        ("friction", _moment(parameters["friction"], shown)),
    ]
    if e.job.trigger == "points":
        rows.append(("rubbing block", _moment(parameters["drag"], shown)))
    return [{"label": label, **value} for label, value in rows]


def _takeup(e: Evidence, place: int, shown: Shown) -> Cell:
    if e.never(place) > SURE:
        return cell("never before the stop")
    if e.takeup(place).above(1e-6) < 1 - SURE:
        return cell("pulls from rest")
    return shown.uncertain_angle(e.takeup(place))


def _moment(one: FittedParameter, shown: Shown) -> Cell:
    """A drag or friction of the fit."""
    if one.value is None:
        return cell("the readings do not show it")
    made = shown.moment(one)
    return cell(made["main"], ", ".join(x for x in (made["small"], one.source == "as given" and "as given") if x))


# --- blocks, by name -----------------------------------------------------------------------------------------


def given(name: str) -> Callable[[Source], Facts | None]:
    """The content of a block: its ready-made facts, in the shape that `data/sheet/block.typ` describes."""

    def content(source: Source) -> Facts | None:
        return source.given.get(name)

    return content
