"""The sheet's ready-made parts: buying list, timing card, bench inspection, the unit drawn; each only where it is known."""

from __future__ import annotations

from typing import Any

import numpy as np

from recurve.drawing import small_unit_svg
from recurve.inspected import Inspected, inspect_job
from recurve.judged import Judged
from recurve.plan import Plan
from recurve.timing import RPM, Card
from recurve.timingcard import card_of_plan
from recurve.timingplot import coil_figure_bytes, timing_figure_bytes
from recurve.timingreport import CAUTIONS, NAMES, timing_facts

Facts = dict[str, Any]
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
    found = inspect_job(plan.job)
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
