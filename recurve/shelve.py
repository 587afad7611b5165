"""A spring put into a catalogue file: one row more, in the file's own columns, units and line ends."""

from __future__ import annotations

import csv
import io
from pathlib import Path

from recurve.errors import InputError
from recurve.springs import Spring
from recurve.tables import CATALOGUE_COLUMNS, catalogue_of, read_text
from recurve.units import DIMENSIONS, column_header, factor

MARK = b"\xef\xbb\xbf"  # of UTF-8, which some spreadsheets write


def with_spring(path: Path, spring: Spring) -> tuple[bytes, tuple[str, ...]]:
    """The file's bytes with the spring as its last row, and the names of figures that it has no column for.

    A file that is not there is begun. Raises InputError where the file is no catalogue, has a spring of
    that name, or has no column for what would make another spring of it.
    """
    shown = str(path)
    old = _content(path, shown)
    text = old.decode("utf-8-sig")
    header, ids = _header_and_ids(text)
    if spring.id in ids:
        raise InputError(f'--id: got "{spring.id}", which {shown} has, expected a new name')
    cells = _cells(spring)
    lacking = [name for name, cell in cells.items() if cell is not None and name not in dict(header)]
    faults = [
        f'{shown}: got no column "{name}", expected one: without it the row would be another spring'
        for name in lacking
        if name in ("id", "free_length", "rate", "initial_tension")
    ]
    if faults:
        raise InputError(faults)
    end = "\r\n" if "\r\n" in text else "\n"
    new = text + ("" if not text or text.endswith("\n") else end) + _line(header, cells, end)
    if catalogue_of(new, shown, faults) is None:
        raise InputError(faults)
    mark = MARK if old.startswith(MARK) else b""
    return mark + new.encode("utf-8"), tuple(lacking)


def _content(path: Path, shown: str) -> bytes:
    """The file as it is, or the header of a new one."""
    if not path.exists():
        names = [
            n if not d else f"{n} [{DIMENSIONS[d][1]}]" if DIMENSIONS[d][1] else n for n, d in CATALOGUE_COLUMNS.items()
        ]
        return (",".join(names) + "\n").encode("utf-8")
    faults: list[str] = []
    if read_text(path, shown, faults) is None:
        raise InputError(faults)
    return path.read_bytes()


def _header_and_ids(text: str) -> tuple[list[tuple[str, str]], set[str]]:
    """Names and units of the columns, and the ids below them; what cannot be read is found by the reader later."""
    rows = [r for r in csv.reader(io.StringIO(text, newline="")) if any(c.strip() for c in r)]
    rows = [r for r in rows if not r[0].lstrip().startswith("#")]
    if not rows:
        return [], set()
    header = [column_header(cell) for cell in rows[0]]
    at = next((i for i, (name, _) in enumerate(header) if name == "id"), None)
    return header, set() if at is None else {r[at].strip() for r in rows[1:] if len(r) > at}


def _cells(spring: Spring) -> dict[str, float | str | None]:
    """Every figure in SI by its column, None where the spring has none."""
    return {
        "id": spring.id,
        "rate": spring.rate,
        "free_length": spring.free_length,
        "initial_tension": spring.initial_tension or None,
        "wire": spring.wire,
        "outer": spring.outer,
        "coils": spring.coils,
        "material": spring.material or None,
        "quantity": spring.quantity,
    }


def _line(header: list[tuple[str, str]], cells: dict[str, float | str | None], end: str) -> str:
    out = io.StringIO(newline="")
    row = [_cell(cells.get(name), name, unit) for name, unit in header]
    csv.writer(out, lineterminator=end).writerow(row)
    return out.getvalue()


def _cell(value: float | str | None, name: str, unit: str) -> str:
    """A value in its column's unit, to five figures, which is finer than any reading."""
    if value is None:
        return "0" if name == "initial_tension" else ""
    if isinstance(value, str):
        return value
    try:
        return f"{value / factor(unit, CATALOGUE_COLUMNS[name]):.5g}"
    except ValueError:
        return ""  # the reader says what is wrong with this header
