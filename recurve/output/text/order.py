"""The report of `order`: one list of springs for several planned units."""

from __future__ import annotations

import shlex

from recurve.output.documents.order import OrderDocument, OrderedFor, OrderLine
from recurve.output.text.layout import Column, page, remarks, table, wrap, written
from recurve.text import printable, shortened

ID = 14  # columns


def order_text(document: OrderDocument) -> str:
    """The report of `recurve order`."""
    count = len(document.jobs)
    lines = [f"Springs for {count} planned {'unit' if count == 1 else 'units'}"]
    if document.lines:
        columns = [
            Column("", words=True), Column("take"), Column("order"), Column("lacking"), Column("rate", "N/mm"),
            Column("free", "mm"), Column("tension", "N"), Column("wire", "mm"), Column("outer", "mm"),
        ]  # fmt: skip
        lines += ["", *table(columns, [_row(line) for line in document.lines]), ""]
    several = len({line.catalogue for line in document.lines}) > 1
    for line in document.lines:
        where = f" ({printable(line.catalogue)})" if several else ""
        lines += wrap(f"{printable(line.id)}{where}: {'; '.join(map(_use, line.used_for))}", "  ", "    ")
        if line.lacking:
            lines += wrap(_lacking(line), "    ! ", "      ")
    for stays in document.kept:
        told = f"{stays.place} of {printable(stays.job)}: keep the spring found there, in place of {printable(stays.planned)}"
        lines += wrap(told, "  ", "    ")
    again = _again(document)
    if again:
        told = "An alternate passes beside the other spring as planned, with less margin, and its lengths are others. Before you "
        told += "build, plan again:"
        lines += ["", *wrap(told), *(f"  {command}" for command in again)]  # to paste, so on one line each
    if document.shared:
        lines += ["", "To order fewer kinds: springs that pass in several of these places"]
        for one in document.shared:
            stock = "can be ordered" if one.in_stock is None else f"{one.in_stock} left in stock"
            lines += wrap(f"{printable(one.id)}, {stock}: {'; '.join(map(_use, one.used_for))}", "  ", "    ")
    if document.left_out:
        lines += ["", "Not in the list"]
        lines += [x for o in document.left_out for x in wrap(f"{printable(o.job)}: {o.why}", "  ", "    ")]
    lines += remarks(document.notes)
    return page([*lines, *written(document.files)])


def _row(line: OrderLine) -> list[str]:
    counts = [str(n) if n else "" for n in (line.take, line.order, line.lacking)]
    rate, free, tension = line.rate_n_per_mm, line.free_length_mm, line.initial_tension_n
    return [
        shortened(line.id, ID),
        *counts,
        "-" if rate is None else f"{rate:.3f}",
        "-" if free is None else f"{free:.2f}",
        "-" if tension is None else f"{tension:.2f}",
        *("-" if x is None else f"{x:.2f}" for x in (line.wire_mm, line.outer_mm)),
    ]


def _use(use: OrderedFor) -> str:
    planned = f", in place of {printable(use.planned)}" if use.alternate else ""
    return f"{use.place} of {printable(use.job)}{planned}"


def _lacking(line: OrderLine) -> str:
    """Why a spring cannot be had, and what to do."""
    if line.rate_n_per_mm is None:
        return "the catalogue no longer has it: enter it again, or plan the unit again"
    without = [use for use in line.used_for if use.lacking]
    places = " and ".join(f"the {use.place} of {printable(use.job)}" for use in without)
    again = " and ".join(f"plan {printable(use.job)} again with --{use.place} and another spring" for use in without)
    return (
        f"{line.lacking} too few in stock: none is left for {places}, and no alternate either. If it can be ordered, leave its "
        f"quantity empty. If not, {again}"
    )


def _again(document: OrderDocument) -> list[str]:
    """How the units that get an alternate are planned again, a command each."""
    return [
        *(
            f"recurve plan {_quoted(use.job)} --{use.place} {_quoted(line.id)}"
            for line in document.lines
            for use in line.used_for
            if use.alternate
        ),
        *(f"recurve plan {_quoted(one.job)} --keep {one.place}" for one in document.kept),
    ]


def _quoted(text: str) -> str:
    return shlex.quote(printable(text))
