"""The report of `learn`: what was learned, from how many units, and which of them do not belong."""

from __future__ import annotations

from recurve.job.learned import told_by
from recurve.output.documents.learn import LearnDocument, MisfitDocument
from recurve.output.text.layout import Column, page, table, wrap, written
from recurve.text import printable

OF_SHAFT = ("stop.advance",)  # keys whose degrees are an advance; all others are angles between parts
MAY_BE_CHANCE = "A unit is named where chance would name any of them in fewer than one type in twenty."


def learn_text(document: LearnDocument) -> str:
    """The report of `recurve learn`."""
    lines = [f"A type learned from {told_by(len(document.units), [q.units for q in document.learned])}", ""]
    lines += [line for unit in document.units for line in wrap(printable(unit), "  ", "    ")]
    if document.left_out:
        lines += ["left out", *(line for u in document.left_out for line in wrap(printable(u), "  ", "    "))]
    lines += ["", *_misfit_lines(document), *_apart_lines(document)]
    columns = [
        Column("", words=True),
        Column("unit", words=True),
        *(Column(head) for head in ("mean", "spread", "uncertain", "units")),
    ]
    rows = [
        [q.key, q.unit, f"{q.mean:.2f}", f"{q.spread:.2f}", f"{q.uncertain:.2f}", str(q.units)]
        for q in document.learned
    ]
    lines += ["Standard deviations: spread of single units, and uncertainty of the mean", *table(columns, rows)]
    if any(q.key in OF_SHAFT for q in document.learned):
        lines += wrap(f"{', '.join(OF_SHAFT)}: degrees of the distributor.", "  ", "  ")
    for one in document.deviating:
        what = "another book" if one.key == "target" else f"another {one.key}"
        lines += ["", *wrap(f"{printable(one.unit)} has {what} than most of the units: the type has that of most.")]
    if document.unlike:
        keys = ", ".join(document.unlike)
        lines += ["", *wrap(f"The units differ in {keys}: the type has none; state it in each job.")]
    if document.lacking:
        lines += ["", *wrap(f"The type does not have {', '.join(document.lacking)}: each job must state that itself.")]
    lines += [line for told in _spread_words(document) for line in ["", *wrap(told)]]
    return page([*lines, *written(document.files)])


def _spread_words(document: LearnDocument) -> list[str]:
    """Where the spread is not what the units showed, but what the trade usually has."""
    told = [q.units for q in document.learned]
    if not told:
        return []
    if max(told) == 1:
        return [
            "One unit does not show how much units differ: the trade's usual spread is taken. Learn again from more units."
        ]
    alone = ["What one unit alone tells has the trade's usual spread."] if min(told) == 1 else []
    if max(told) > 2:
        return alone
    two = "Two units show little of how much units differ: the trade's usual spread counts as well. Learn again from more units."
    return [two, *alone]


def _apart_lines(document: LearnDocument) -> list[str]:
    """Units that contradict each other, and what to do with them."""
    lines = []
    for one in document.apart:
        has = [
            f"{value if isinstance(value, str) else f'{value:.4g} {_unit(one.key, one.unit_of_key)}'} in {printable(file)}"
            for file, value in zip(one.units, one.values, strict=True)
        ]
        which, how = ("these two", "") if len(has) == 2 else ("they", ", and no majority says which are wrong")
        told = f"{one.key} is {', '.join(has[:-1])} and {has[-1]}: {which} differ by more than units of a type do{how}"
        odds = (
            ""
            if one.chance == 0.0
            else f"; by chance one pair in {1.0 / max(one.chance, 1e-9):,.0f} is as far apart in all"
        )
        lines += wrap(f"{told}{odds}.", "  - ", "    ")
    if not lines:
        return []
    told = "One is of another type, or has a slip in its figures. All were counted in. Check the units and their job files; "
    told += "correct a job, or learn again with --leave-out."
    return ["DO NOT BELONG TOGETHER", *lines, *wrap(told), ""]


def _misfit_lines(document: LearnDocument) -> list[str]:
    """The units that do not belong, and what to do with them."""
    if not document.misfits:
        return []
    lines = ["DOES NOT BELONG"]
    for one in document.misfits:
        lines += wrap(f"{printable(one.unit)}: {_why(one)}", "  - ", "    ")
    told = "It was counted in. Check the unit and its job file for another version, a slip in the figures, or wear. "
    told += "Correct the job, or learn again with --leave-out."
    return [*lines, *wrap(told), *wrap(MAY_BE_CHANCE), ""]


def _why(one: MisfitDocument) -> str:
    if one.value is None:
        return f"{one.key} differs from that of the other units"
    others = f"{one.others:.4g} ± {2 * (one.deviation or 0):.2g}"
    unit = _unit(one.key, one.unit_of_key)
    told = f"{one.key} is {one.value:.4g} {unit}, where the others make it {others}"
    odds = 1.0 / max(one.chance, 1e-9)
    return f"{told} {unit}; by chance one in {odds:,.0f} is as far off in all"


def _unit(key: str, unit: str) -> str:
    """The unit of a number of this key, with whose degrees they are."""
    return f"{unit} (distributor)" if key in OF_SHAFT else unit
