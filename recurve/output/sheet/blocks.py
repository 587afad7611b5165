"""The sheet's ready-made parts: buying list, timing card, bench inspection, the unit drawn; each only where it is known.

The content of the sheet's other parts: the curve, the engine, the unit as found, and blocks that come ready made.
"""

from __future__ import annotations

import math
from collections.abc import Callable

import numpy as np

from recurve.diagnosis.findings import curve_findings
from recurve.diagnosis.readings import data_findings
from recurve.diagnosis.timing_card import card_of_plan
from recurve.fit.fit import Fit
from recurve.fit.state import SURE, Evidence
from recurve.inspection.bench import Judged
from recurve.inspection.findings import Finding, worst_first
from recurve.inspection.inspected import Inspected
from recurve.inspection.timing import CAUTIONS, Card
from recurve.output.documents.workshop import NAMES, timing_facts
from recurve.output.figures.mechanism import small_unit_svg
from recurve.output.figures.timing import coil_figure_bytes, timing_figure_bytes
from recurve.output.sheet.numbers import Cell, Shown, cell, signless
from recurve.output.sheet.parts import PLACES, Facts, Source, decimals, highest
from recurve.planner.build import Build
from recurve.planner.plan import Plan
from recurve.text import breakable
from recurve.units import RPM, parse

Figures = dict[str, bytes]


def ready_parts(plan: Plan) -> tuple[dict[str, Facts], Figures]:
    """Facts of the parts by name, and the SVGs that they show by file name."""
    parts: dict[str, Facts] = {}
    figures: Figures = {}
    for name, made in (
        ("order", _order(plan)),
        ("timing", _timing(plan)),
        ("condition", _condition(plan)),
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


# --- what to order ------------------------------------------------------------------------------------------


def _order(plan: Plan) -> tuple[Facts, Figures] | None:
    if not plan.purchases:
        return None
    rows = []
    for one in plan.purchases:
        stock = one.spring.quantity
        rows.append(
            [
                one.place,
                one.spring.id,
                "to order" if stock is None else f"{stock} in stock",
                f"{one.rates[0] / 1e3:.2f} to {one.rates[1] / 1e3:.2f}",
                f"{one.lengths[0] * 1e3:.1f} to {one.lengths[1] * 1e3:.1f}",
                ", ".join(one.alternates[:3]) or "-",
            ]
        )
    heads = [("place", ""), ("spring", "one of each"), ("stock", "when planned")]
    heads += [("rate may be", "N/mm"), ("length may be", "mm, inside hooks"), ("or instead", "id")]
    text = (
        "How far a spring that arrives may be off, one thing at a time, its post then set anew, before half the margin is "
        f"gone. The chance of passing counts on ± {plan.purchases[0].assumed:.0%} of rate: state it to the supplier. Hang "
        "two known weights on what arrives: recurve spring works out rate and initial tension."
    )
    return {"title": "Springs to order", "text": [text], "table": _table(heads, rows)}, {}


# --- the engine ---------------------------------------------------------------------------------------------


def _timing(plan: Plan) -> tuple[Facts, Figures] | None:
    card = card_of_plan(plan)
    if card is None:
        return None
    facts = timing_facts(card, plan.job)
    names = [n for n in NAMES if card.column(n) is not None]
    rows = [[f"{x * RPM:.0f}", *(_degrees(card, n, i) for n in names)] for i, x in enumerate(card.speed)]
    heads = [("speed", "crank rpm"), *((n, "crank degrees") for n in names)]
    made: Facts = {
        "title": "Timing card: total before top dead centre, vacuum off",
        "page": True,
        "cautions": [*CAUTIONS],
        "text": [*_setting(facts), *card.warnings, *_traps(facts)],
        "boxes": ["timed at, crank rpm", "read, crank degrees", "by"],
    }
    if names:
        made |= {"table": _table(heads, rows), "figures": [_figure("timing.svg", "Crank timing over crank speed")]}
    return made, {"timing.svg": timing_figure_bytes(card, plan.job.fingerprint)["timing.svg"]} if names else {}


def _degrees(card: Card, name: str, row: int) -> str:
    column = card.column(name)
    return "-" if column is None else f"{np.degrees(column[row]):.1f}"


def _setting(facts: Facts) -> list[str]:
    s = facts["setting"]
    if s is None:
        return [f"Static {facts['static_deg']:.1f}° (crank)."]
    idle = (
        ""
        if s["idle_deg"] is None
        else f" At idle, {facts['idle_rpm']:.0f} rpm (crank), the light then shows {s['idle_deg']:.1f}° (crank)."
    )
    return [
        f"Set {s['reading_deg']:.1f} ± {s['tolerance_deg']:.1f}° (crank) at {s['speed_rpm']:.0f} rpm (crank)"
        f"{', where all advance is in' if s['all_in'] else ''}, vacuum line off and plugged. That is static "
        f"{s['static_deg']:.1f}° (crank) with the cam turned back to rest, and a total of {s['total_deg']:.1f}° (crank).{idle}"
    ]


def _traps(facts: Facts) -> list[str]:
    return [
        f"Were the unit as found set {t['set']} to {t['reading_deg']:.1f}° (crank), its static would be "
        f"{t['static_deg']:.1f}° (crank) and its total {t['total_deg']:.1f}° (crank)."
        for t in facts["traps"]
    ]


# --- the bench inspection -----------------------------------------------------------------------------------


def _condition(plan: Plan) -> tuple[Facts, Figures] | None:
    found = plan.inspected
    if not found.judged and not found.findings:
        return None
    made: Facts = {
        "title": "Condition, as inspected; angles are the distributor's",
        "text": [f"{f.what}: {f.evidence}. {f.remedy}." for f in found.findings],
        "rows": [_judged(j) for j in found.judged],
    }
    figures = _coil(found, plan)
    if figures:
        made["figures"] = [_figure("coil.svg", "Coil current and energy over speed, by dwell")]
    return made, figures


def _judged(one: Judged) -> Facts:
    limit = "no limit given" if one.limit is None else f"{one.allowed}; {one.limit.source}"
    return {"label": one.what, "main": f"{one.seen}: {one.verdict}", "small": limit}


def _coil(found: Inspected, plan: Plan) -> Figures:
    if found.bench is None or not found.bench.charges:
        return {}
    return {"coil.svg": coil_figure_bytes(found.bench.charges, plan.job.speed_ratio, plan.job.fingerprint)["coil.svg"]}


def _table(heads: list[tuple[str, str]], rows: list[list[str]]) -> Facts:
    return {"heads": [{"name": name, "unit": unit} for name, unit in heads], "rows": rows}


def _figure(file: str, alt: str) -> Facts:
    return {"file": file, "alt": alt, "width": 75}


def curve(source: Source) -> Facts:
    """What the figure's 90 % bands are."""
    built = source.plan.built is not None and source.plan.built.band is not None
    told = ["where nine builds in ten would lie"] if built else []
    if source.plan.before_band is not None:
        told.append("round the curve as found, what the readings leave open (90 %)")
    return {"go": source.go is not None, "shaded": f"Shaded: {'; '.join(told)}." if told else ""}


# --- the engine --------------------------------------------------------------------------------------------


def engine(source: Source) -> Facts | None:
    """What a timing light must show: the unit's advance at crank speeds, to be added to the static timing."""
    build, job = source.go, source.plan.job
    if build is None:
        return None
    all_in = build.curve.all_in
    return {
        "points": job.trigger == "points",
        "static": _static(source),
        "all_in": "" if all_in is None else f"{all_in * RPM * job.speed_ratio:.0f} rpm (crank)",
        "rows": _crank_rows(source, build),
    }


def _static(source: Source) -> str:
    """The book's static timing where the job gives it."""
    target = source.plan.job.document.get("target", {})
    if "static" not in target:
        return ""
    return f"{signless(math.degrees(parse(target['static'], 'angle').value), 1)}° (crank)"


def _crank_rows(source: Source, build: Build) -> list[Facts]:
    """The unit's advance at the target's speeds: crank rpm, crank degrees; the maximum last."""
    ratio = source.plan.job.speed_ratio
    places = decimals([r.band for r in build.results])
    last = highest(source.plan, build) * ratio
    ordered = sorted(build.results, key=lambda r: math.inf if r.band.speed is None else r.band.speed)
    return [
        {
            "what": {"point": "", "idle": "idle", "maximum": "all in"}[r.band.kind],
            "speed": f"{last if r.band.speed is None else r.band.speed * RPM * ratio:.0f}",
            **{
                name: signless(math.degrees(a) * ratio, places)
                for name, a in (("min", r.band.low), ("aim", r.rising), ("max", r.band.high))
            },
        }
        for r in ordered
    ]


# --- the unit as found -------------------------------------------------------------------------------------


def found(source: Source) -> Facts | None:
    """The unit as its sweep shows it: what is wrong, how well the readings agree, and rows of a label and a value."""
    fit = source.plan.fit
    if fit is None:
        return None
    e = Evidence.of(fit.job, fit)
    return {
        "readings": _readings(fit),
        "rows": _rows(e, fit, source.shown),
        "findings": [_finding(f) for f in _findings(e, source)],
    }


def _findings(e: Evidence, source: Source) -> tuple[Finding, ...]:
    made = [
        *source.plan.inspected.findings,
        *curve_findings(e, source.plan.ideal),
        *data_findings(e),
    ]
    return worst_first(made)


def _finding(f: Finding) -> Facts:
    return {name: breakable(getattr(f, name)) for name in ("what", "severity", "evidence", "consequence", "remedy")}


def _readings(fit: Fit) -> str:
    agree = "no more than stated" if fit.inflation <= 1.0 else f"{fit.inflation:.1f} times as much as stated"
    left_out = f", {len(fit.outliers)} left out" if fit.outliers else ""
    return (
        f"{len(fit.residuals) - len(fit.outliers)} readings{left_out}; they scatter {agree} (chi² {fit.chi2:.1f}, "
        f"{fit.dof:.0f} degrees of freedom)"
    )


def _rows(e: Evidence, fit: Fit, shown: Shown) -> list[Facts]:
    rows = [
        ("onset", shown.doubtful_speed(e.onset)),
        ("back at zero", shown.doubtful_speed(e.return_speed)),
        (f"stays in at {RPM * e.idle:.0f} rpm", shown.doubtful_angle(e.residual)),
        ("stop", shown.doubtful_angle(e.stop)),
        *[(f"{name} takes up", _takeup(e, i, shown)) for i, (name, *_) in enumerate(PLACES[: len(e.job.places)])],
        ("friction", _moment(fit, "friction", shown)),
    ]
    if e.job.trigger == "points":
        rows.append(("rubbing block", _moment(fit, "drag", shown)))
    return [{"label": label, **value} for label, value in rows]


def _takeup(e: Evidence, place: int, shown: Shown) -> Cell:
    if e.never(place) > SURE:
        return cell("never before the stop")
    if e.takeup(place).above(1e-6) < 1 - SURE:
        return cell("pulls from rest")
    return shown.doubtful_angle(e.takeup(place))


def _moment(fit: Fit, name: str, shown: Shown) -> Cell:
    """A drag or friction of the fit."""
    one = fit.estimate(name)
    if one.value is None:
        return cell("the readings do not tell")
    made = shown.moment(one)
    return cell(made["main"], ", ".join(x for x in (made["small"], one.source == "as given" and "as given") if x))


# --- blocks that come ready made -----------------------------------------------------------------------------


def given(name: str) -> Callable[[Source], Facts | None]:
    """A part whose facts another room has made, in the shape that `data/sheet/block.typ` describes."""

    def content(source: Source) -> Facts | None:
        return source.given.get(name)

    return content
