"""CSV tables with units in their headers: a sweep of readings, a catalogue of springs.

Readers return what could be read and a list of faults, so that all files' faults come in one pass.

A spring put into a catalogue file: one row more, in the file's own columns, units and line ends.
"""

from __future__ import annotations

import csv
import difflib
import io
import math
import os
import re
from collections.abc import Iterator
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path

import numpy as np

from recurve.errors import InputError
from recurve.physics.sweep import Readings
from recurve.springs.noted import FIGURES, Noted, as_measured, noted_remarks
from recurve.springs.spring import Catalogue, Spring, checked, rate_from_wire
from recurve.springs.wire import materials, unknown_material
from recurve.units import DIMENSIONS, Quantity, column_header, factor, size_fault

SWEEP_COLUMNS = {"speed": "speed", "advance": "angle", "direction": ""}
CATALOGUE_COLUMNS = {
    "id": "",
    "rate": "rate",
    "free_length": "length",
    "initial_tension": "force",
    "wire": "length",
    "outer": "length",
    "coils": "number",
    "material": "",
    "quantity": "number",
}
# What was measured of a row's spring, apart from its own figures, each with its ±; where that comes from; and the units that
# springs of the row were taken for.
NOTED_COLUMNS = {
    "measured_rate": "rate",
    "measured_rate_pm": "rate",
    "measured_free_length": "length",
    "measured_free_length_pm": "length",
    "measured_initial_tension": "force",
    "measured_initial_tension_pm": "force",
    "measured_from": "",
    "taken_for": "",
}
# What a column of springs may be called besides: told, not guessed.
MEANT = {"qty": "quantity", "stock": "quantity", "od": "outer", "diameter": "outer", "k": "rate", "stiffness": "rate"}
NEAR = 0.78  # how alike [1] a name is that is probably a misspelt one
DIMENSION_OF = SWEEP_COLUMNS | CATALOGUE_COLUMNS | NOTED_COLUMNS
_ABOVE = {"rate": 0.0, "free_length": 0.0, "initial_tension": -math.inf}
# A catalogue of a hundred thousand springs is some ten megabytes; more is a mistake.
MOST_BYTES = 20_000_000


def read_text(path: Path, shown: str, faults: list[str]) -> str | None:
    """The text of a file in UTF-8 with or without a mark, or None and a fault."""
    try:
        if not path.is_file():
            folder = Path(os.path.abspath(path)).parent
            faults.append(f"{shown}: got no file there, looked in {folder}; expected a readable file")
            return None
        if path.stat().st_size > MOST_BYTES:
            faults.append(f"{shown}: got {path.stat().st_size} bytes, expected at most {MOST_BYTES}")
            return None
        return path.read_text(encoding="utf-8-sig")
    except UnicodeDecodeError as fault:
        faults.append(f"{shown}: got bytes that are not UTF-8 text (at byte {fault.start}), expected UTF-8")
    except OSError as fault:
        faults.append(
            f"{shown}: got a file that cannot be opened ({fault.strerror or fault}), expected a readable file"
        )
    return None


@dataclass
class _Row:
    """One line of a table, read cell by cell; what is wrong goes to `faults`."""

    where: str
    line: int
    cells: dict[str, str]
    units: dict[str, float]
    faults: list[str]

    def number(self, name: str, *, least: float = -math.inf, above: float = -math.inf) -> float | None:
        """The cell in SI, None if it is empty or wrong."""
        text = self.cells.get(name, "")
        if not text:
            return None
        try:
            value = float(text) * self.units[name]
        except ValueError:
            hint = "; use a decimal point" if "," in text else ""
            self.faults.append(f'{self.where}: {name}: got "{text}", expected a number{hint}')
            return None
        wrong = size_fault(value, DIMENSION_OF[name]) if math.isfinite(value) else None
        if wrong:
            self.faults.append(f'{self.where}: {name}: got "{text}", {wrong}')
            return None
        if not math.isfinite(value) or value < least or value <= above:
            what = "0 or more" if least == 0 else "more than 0" if above == 0 else "a finite number"
            self.faults.append(f'{self.where}: {name}: got "{text}", expected {what}')
            return None
        return value

    def required(self, name: str, **limits: float) -> float | None:
        """As `number`, but an empty cell is a fault."""
        if not self.cells.get(name, ""):
            self.faults.append(f"{self.where}: {name}: got an empty cell, expected a number")
            return None
        return self.number(name, **limits)


def _rows(
    text: str, shown: str, columns: dict[str, str], needed: set[str], faults: list[str], notes: list[str] | None = None
) -> Iterator[_Row]:
    """The lines below the header; comment lines beginning with # and empty ones are passed over, but `notes` gets those that
    look like rows. A table with `notes` may have columns of the owner's own, which are named there and not read."""
    reader = csv.reader(io.StringIO(text, newline=""))
    header: list[str] | None = None
    units: dict[str, float] = {}
    try:
        for cells in reader:
            if not any(c.strip() for c in cells):
                continue
            if cells[0].lstrip().startswith("#"):
                if notes is not None and header is not None and len(cells) == len(header):
                    notes.append(_comment_note(f"{shown}:{reader.line_num}", cells[0].strip()))
                continue
            where = f"{shown}:{reader.line_num}"
            if header is None:
                header, units = _header(cells, where, columns, needed, faults, notes)
                if not header:
                    return
                continue
            if len(cells) > len(header):
                hint = (
                    "; use a decimal point: a comma cuts a number in two"
                    if len(cells) > len(columns) or "," in text
                    else ""
                )
                faults.append(f"{where}: got {len(cells)} cells, expected {len(header)} as in the header{hint}")
                continue
            named = dict(zip(header, (c.strip() for c in cells), strict=False))
            yield _Row(where, reader.line_num, named, units, faults)
    except csv.Error as fault:
        faults.append(
            f"{shown}:{reader.line_num}: got something that is not a table ({fault}), expected comma-separated cells"
        )
    if header is None:
        faults.append(f"{shown}: got no lines, expected a header such as {', '.join(sorted(needed))}")


def _comment_note(where: str, name: str) -> str:
    return f'{where}: "{name}" begins with #, so the line is read as a comment. If it is a spring, write its id without the #.'


def _header(
    cells: list[str],
    where: str,
    columns: dict[str, str],
    needed: set[str],
    faults: list[str],
    notes: list[str] | None,
) -> tuple[list[str], dict[str, float]]:
    """Names and SI factors of the columns; no names if the table cannot be read at all."""
    if len(cells) == 1 and ";" in cells[0]:
        faults.append(f"{where}: got cells parted by semicolons, expected commas, with decimal points in the numbers")
        return [], {}
    names, units, before, own = [], {}, len(faults), list[str]()
    # Where a column lacks, one of another name may be the one that was meant.
    whole = notes is not None and needed <= {column_header(cell)[0] for cell in cells}
    for cell in cells:
        name, unit = column_header(cell)
        names.append(name)
        if name not in columns:
            near = _near(name, columns)
            if whole and not near:
                own.append(name)
                continue
            near = near or next(iter(difflib.get_close_matches(name, columns, 1)), "")
            hint = f'; did you mean "{near}"?' if near else ""
            faults.append(f'{where}: got an unknown column "{name}", expected {", ".join(columns)}{hint}')
            continue
        dimension = columns[name]
        if not dimension:
            continue
        try:
            units[name] = factor(unit, dimension)
        except ValueError as fault:
            faults.append(
                f'{where}: {name}: got "{cell.strip()}": {fault}, as in "{name} [{DIMENSIONS[dimension][1]}]"'
            )
    doubled = sorted({n for n in names if names.count(n) > 1 and n not in own})
    faults.extend(f'{where}: got the column "{name}" twice, expected it once' for name in doubled)
    faults.extend(f'{where}: got no column "{name}", expected one' for name in sorted(needed - set(names)))
    if own and notes is not None:
        told = ", ".join(f'"{name}"' if name else "one without a name" for name in dict.fromkeys(own))
        notes.append(f"{where}: recurve does not read these columns, and leaves them as they are: {told}.")
    return ([] if len(faults) > before else names), units


def _near(name: str, columns: dict[str, str]) -> str:
    """The known column that a name probably means; "" for one of the owner's own."""
    low = name.lower()
    parts = set(re.split(r"[^a-z]+", low))
    shared = [c for c in CATALOGUE_COLUMNS if c != "id" and parts & (set(c.split("_")) - {"free", "initial"})]
    meant = [MEANT[low]] if low in MEANT else difflib.get_close_matches(low, columns, 1, NEAR) or shared
    return meant[0] if meant else ""


def read_sweep(path: Path, shown: str, faults: list[str]) -> Readings | None:
    """The readings of a sweep file, units as in its header, or None and the reasons in `faults`."""
    text = read_text(path, shown, faults)
    if text is None:
        return None
    before = len(faults)
    found: list[tuple[float, float, bool, int]] = []
    for row in _rows(text, shown, SWEEP_COLUMNS, {"speed", "advance", "direction"}, faults):
        speed, advance = row.required("speed", above=0), row.required("advance")
        direction = row.cells.get("direction", "").lower()
        if direction not in ("rising", "falling"):
            faults.append(f'{row.where}: direction: got "{direction}", expected rising or falling')
        elif speed is not None and advance is not None:
            found.append((speed, advance, direction == "rising", row.line))
    if len(faults) > before:
        return None
    if not found:
        faults.append(f"{shown}: got no readings, expected at least one line of speed, advance and direction")
        return None
    columns = list(zip(*found, strict=True))
    return Readings(np.array(columns[0]), np.array(columns[1]), np.array(columns[2]), np.array(columns[3]))


def read_catalogue(path: Path, shown: str, faults: list[str]) -> Catalogue | None:
    """The springs of a catalogue file, or None and the reasons in `faults`."""
    text = read_text(path, shown, faults)
    return None if text is None else catalogue_of(text, shown, faults)


def catalogue_of(text: str, shown: str, faults: list[str]) -> Catalogue | None:
    """The springs of a catalogue's text, or None and the reasons in `faults`."""
    found, wrong = _catalogue(text, shown)
    faults += wrong
    return found


@lru_cache(maxsize=4)
def _catalogue(text: str, shown: str) -> tuple[Catalogue | None, tuple[str, ...]]:
    """The same, kept: the units of a workshop share a drawer."""
    faults: list[str] = []
    return _springs(text, shown, faults), tuple(faults)


def _springs(text: str, shown: str, faults: list[str]) -> Catalogue | None:
    before = len(faults)
    springs: list[Spring] = []
    notes: list[str] = []
    measured: list[tuple[Spring, Noted]] = []
    for row in _rows(text, shown, CATALOGUE_COLUMNS | NOTED_COLUMNS, {"id", "free_length"}, faults, notes):
        noted, spring = _noted(row), _spring(row, notes)
        if spring is not None:
            springs.append(as_measured(spring, noted))
            measured += [] if noted.empty else [(spring, noted)]
    seen: set[str] = set()
    for spring in springs:
        if spring.id in seen:
            faults.append(f'{shown}: got the id "{spring.id}" twice, expected one row for each id')
        seen.add(spring.id)
    if len(faults) > before:
        return None
    if not springs:
        faults.append(f"{shown}: got no springs, expected at least one line")
        return None
    kept, remarks = checked(springs, shown)
    return Catalogue(kept, (*notes, *remarks, *noted_remarks(measured, shown)))


def _noted(row: _Row) -> Noted:
    """What was measured of a row's spring: a figure and its ± stand together."""
    found: dict[str, Quantity] = {}
    for name in FIGURES:
        value = row.number(f"measured_{name}", least=0 if name == "initial_tension" else -math.inf, above=_ABOVE[name])
        by = row.number(f"measured_{name}_pm", above=0)
        if value is not None and by is not None:
            found[name] = Quantity(value, by)
            continue
        given = [bool(row.cells.get(f"measured_{name}{end}", "")) for end in ("", "_pm")]
        if given[0] != given[1]:
            lacking = f"measured_{name}{'_pm' if given[0] else ''}"
            row.faults.append(
                f"{row.where}: {lacking}: got an empty cell, expected a number: a figure and its ± stand together"
            )
    return Noted(**found, from_=row.cells.get("measured_from", ""))


def _spring(row: _Row, notes: list[str]) -> Spring | None:
    before = len(row.faults)
    name = row.cells.get("id", "")
    if not name:
        row.faults.append(f"{row.where}: id: got an empty cell, expected a name")
    rate, free = row.number("rate", above=0), row.required("free_length", above=0)
    wire, outer, coils = row.number("wire", above=0), row.number("outer", above=0), row.number("coils", above=0)
    tension, count = row.number("initial_tension", least=0), row.number("quantity", least=0)
    if count is not None and count != int(count):
        row.faults.append(f'{row.where}: quantity: got "{row.cells["quantity"]}", expected a whole number')
    material = row.cells.get("material", "")
    if wire is not None and outer is not None and outer <= 2 * wire:
        row.faults.append(
            f"{row.where}: outer: got {1e3 * outer:.2f} mm, expected over twice the wire's {1e3 * wire:.2f} mm"
        )
    if len(row.faults) > before:
        return None
    wound = _wound_rate(row, wire, outer, coils, material)
    if not row.cells.get("rate", "") and wound is None:
        if len(row.faults) == before:
            row.faults.append(
                f"{row.where}: rate: got an empty cell, expected a rate, or wire, outer, coils and material to find it from"
            )
        return None
    if rate is not None and wound is not None and abs(rate / wound - 1) > 0.15:
        notes.append(
            f"{row.where}: {name}: the rate is given as {rate / 1e3:.3g} N/mm, but wire and coils make it "
            f"{wound / 1e3:.3g} N/mm; weigh and stretch the spring"
        )
    known = rate if rate is not None else wound
    if known is None or free is None:
        return None
    return Spring(
        name, known, free, tension or 0.0, wire, outer, coils, material, None if count is None else int(count)
    )


def _wound_rate(row: _Row, wire: float | None, outer: float | None, coils: float | None, material: str) -> float | None:
    """The rate [N/m] that wire, outer diameter, coils and material give, None if not all are there."""
    if not material:
        return None
    if material not in materials():
        if not row.cells.get("rate", ""):
            row.faults.append(f"{row.where}: material: {unknown_material(material)}")
        return None
    if wire is None or outer is None or coils is None:
        return None
    young, shear = materials()[material].moduli(wire)
    return float(rate_from_wire(wire, outer - wire, coils, young, shear))


MARK = b"\xef\xbb\xbf"  # of UTF-8, which some spreadsheets write


def with_spring(path: Path, spring: Spring) -> tuple[bytes, tuple[str, ...]]:
    """The file's bytes with the spring as its last row, and the names of figures that it has no column for.

    A file that is not there is begun. Raises InputError where the file is no catalogue, has a spring of
    that name, or has no column for what would make another spring of it.
    """
    shown = str(path)
    if spring.id.lstrip().startswith("#"):
        raise InputError(
            f'--id: got "{spring.id}", expected a name that does not begin with #: such a line is a comment'
        )
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
        return f"{value / factor(unit, DIMENSION_OF[name]):.5g}"
    except ValueError:
        return ""  # the reader says what is wrong with this header
