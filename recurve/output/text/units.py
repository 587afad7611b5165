"""The report of `units`: a table of all units, then each with what was found, said, done and measured."""

from __future__ import annotations

from recurve.output.documents.units import BandOfUnit, LeftOfUnit, PlacedOfUnit, PlanOfUnit, UnitOfFolder, UnitsDocument
from recurve.output.text.honest import honesty_lines
from recurve.output.text.layout import Column, page, table, wrap, written
from recurve.text import printable, shortened
from recurve.uncertainty import chance_words

FIRST = {"passed": "passed", "failed": "failed", "open": "open", None: ""}
NAME = 24  # columns, so that no row is wider than 80
SHORT = {"swept, with a type": "swept, type", "not swept, with a type": "type only"}  # states, in the table
VERDICT = {"passes": "", "fails": "fails", "too close to call": "close", "read again": "again", "not converged": "open"}


def units_text(document: UnitsDocument, brief: bool = False) -> str:
    """The report; `brief`: the table alone."""
    count = len(document.units)
    lines = wrap(f"{printable(document.folder)}: {count} {'unit' if count == 1 else 'units'}")
    if not document.units:
        return page([*lines, *written(document.files)])
    columns = [
        Column("unit", words=True), Column("date", words=True), Column("state", words=True), Column("first", words=True),
        Column("moved"), Column("chance"),
    ]  # fmt: skip
    rows = [
        [
            shortened(u.name, NAME), u.date, SHORT.get(u.state, u.state), FIRST[u.first], str(u.corrections) if u.left else "",
            _chance(_said(u)),
        ]
        for u in document.units
    ]  # fmt: skip
    lines += ["", *table(columns, rows)]
    told = "first: at first setting; moved: how often something was moved after it; chance: of passing first time, as the plan "
    told += "said, set by calliper / once set on the bench. Speeds and angles are the "
    lines += ["", *wrap(f"{told}distributor's; ± is two standard deviations.")]
    if not brief:
        for unit in document.units:
            lines += ["", *_unit(unit)]
        lines += honesty_lines(document.honesty)
    return page([*lines, *written(document.files)])


def _said(unit: UnitOfFolder) -> PlanOfUnit | None:
    """What was said of a unit before it was first judged; else what is said now."""
    return unit.left[0].plan if unit.left else unit.plan


def _chance(plan: PlanOfUnit | None) -> str:
    if plan is None or plan.chance is None:
        return ""
    said = [plan.chance, *([] if plan.chance_set is None else [plan.chance_set])]
    return " / ".join(chance_words(x).replace("over ", ">").replace("under ", "<") for x in said)


def _unit(unit: UnitOfFolder) -> list[str]:
    about = ", ".join(printable(x) for x in (unit.title, unit.unit, unit.date) if x)
    lines = [*wrap(f"{printable(unit.name)}: {about}", "", "  "), f"  {unit.state}; next: {printable(unit.next)}"]
    for fault in unit.faults:
        lines += wrap(printable(fault), "  ! ", "    ")
    if unit.found is not None:
        stale = "" if unit.found.current else ", before the job was changed"
        lines += wrap(f"as found{stale}: {unit.found.verdict}", "  ", "    ")
        lines += [x for f in unit.found.findings for x in wrap(f"{printable(f.what)} ({f.severity})", "  - ", "    ")]
    plan = _said(unit)
    if plan is not None:
        lines += wrap(f"planned: {_plan_words(plan)}", "  ", "    ")
    for number, one in enumerate(unit.left, 1):
        lines += _left(number, one)
    return lines


def _plan_words(plan: PlanOfUnit) -> str:
    """What was planned, in a line."""
    told = ["OUT OF REACH, the nearest miss"] if plan.out_of_reach else []
    for s in plan.springs:
        what = printable(s.id) or "as found"
        told.append(f"{s.place} {what}, {_post_words(s)}")
    if plan.trim_mm is not None and plan.trim_mm != 0.0:
        way = "built up" if plan.trim_mm > 0 else "filed"
        told.append(f"stop {way} {abs(plan.trim_mm):.2f} mm")
    if plan.stop_deg is not None:
        told.append(f"stop at {plan.stop_deg:.2f}° (distributor)")
    return "; ".join(told) or "no springs told"


def _post_words(spring: PlacedOfUnit) -> str:
    """Where a post goes, as the plan says it: to a length over both posts, or from where it stands."""
    if spring.length_mm is not None:
        return f"{spring.length_mm:.2f} mm over the posts"
    bend = spring.bend_mm or 0.0
    if abs(bend) < 0.005:  # no more than the report of the plan shows
        return "its post left as it stands"
    return f"its post bent {'outward' if bend > 0 else 'inward'} {abs(bend):.2f} mm"


def _left(number: int, one: LeftOfUnit) -> list[str]:
    """A record: how it was judged, what had been set, what was to be moved, and each band."""
    risk = "" if one.risk is None else f", chance that it is outside a band {_small(one.risk)}"
    counts = f"{one.verdict}{risk}" if not one.distrust else f"the verdict ({one.verdict}) does not count"
    lines = wrap(f"record {number} ({one.id}): {counts}", "  ", "    ")
    if one.set_:
        lines += wrap(f"as set: {', '.join(_set_words(k, v) for k, v in one.set_.items())}", "    ", "      ")
    lines += [x for words in one.corrected for x in wrap(f"then: {printable(words)}", "    ", "      ")]
    columns = [
        Column("", words=True), Column("speed", "rpm"), Column("predicted", "deg"), Column("measured", "deg"),
        Column("predicted", "deg"), Column("measured", "deg"), Column("", words=True),
    ]  # fmt: skip
    rows = [_row(b, one.set_by == "calliper") for b in one.bands]
    heads = " " * 24 + "rising" + " " * 22 + "falling"
    return [*lines, heads, *table(columns, rows, "    ")] if rows else lines


def _row(b: BandOfUnit, by_calliper: bool) -> list[str]:
    said = b.predicted if by_calliper else b.predicted_set or b.predicted
    cells = []
    for side in ("rising", "falling"):
        for one in (said, b.measured):
            if one is None:
                cells.append("-")
                continue
            value, off = getattr(one, f"{side}_deg"), getattr(one, f"{side}_deviation_deg")
            cells.append(f"{value:.1f} ± {2 * off:.1f}")
    speed = "stop" if b.speed_rpm is None else f"{b.speed_rpm:.0f}"
    return [b.band, speed, *cells, VERDICT[b.verdict]]


def _set_words(key: str, value: float | str) -> str:
    """A value of a record by its key, "primary_length_mm": its unit is the key's ending."""
    name, _, unit = key.rpartition("_")
    if isinstance(value, str) or unit not in ("mm", "deg"):
        return f"{key.replace('_', ' ')} {printable(str(value))}"
    return (
        f"{name.replace('_', ' ')} {value:.2f} mm"
        if unit == "mm"
        else f"{name.replace('_', ' ')} {value:.2f}° (distributor)"
    )


def _small(share: float) -> str:
    return "under 0.1 %" if share < 1e-3 else f"{100 * share:.1f} %"
