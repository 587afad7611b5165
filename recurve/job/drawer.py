"""A drawer of springs, the catalogue file, changed row by row: what was measured of a spring noted, a spring taken.

Only the cells that change are written; all else stays as it is, byte for byte: comments, order, quotes, line ends, the mark at
the front. Columns that are not there yet are put after the last. A row's own figures are never changed.
"""

from __future__ import annotations

import csv
import io
import re
from dataclasses import dataclass

from recurve.errors import InputError
from recurve.job.tables import MARK, NOTED_COLUMNS, catalogue_of
from recurve.springs.noted import FIGURES, Noted, shown_value
from recurve.units import DIMENSIONS, Quantity, column_header, factor

CELL = re.compile(r'\s*"(?:[^"]|"")*"[^,]*|[^,]*')
JOINT = "; "


@dataclass
class _Drawer:
    """The lines of a drawer, and which of them are its records: `lines` with their ends, `header` and `rows`, the lines
    (first, last + 1) of the header and of each id."""

    shown: str
    lines: list[str]
    header: tuple[int, int]
    rows: dict[str, tuple[int, int]]

    def cells(self, at: tuple[int, int]) -> list[str]:
        """The cells of a record as they are written, quotes and blanks included."""
        return _split("".join(self.lines[slice(*at)]).rstrip("\r\n"))

    def put(self, at: tuple[int, int], cells: list[str]) -> None:
        """Write the cells of a record; the lines of all others stay where they are."""
        last = self.lines[at[1] - 1]
        end = last[len(last.rstrip("\r\n")) :]
        self.lines[at[0]] = ",".join(cells) + end
        for i in range(at[0] + 1, at[1]):
            self.lines[i] = ""

    def columns(self, wanted: tuple[str, ...]) -> dict[str, tuple[int, str]]:
        """Place and unit of each column that is wanted; those that are not there are added."""
        cells = self.cells(self.header)
        there = {name: (i, unit) for i, (name, unit) in enumerate(column_header(_plain(c)) for c in cells)}
        for name in wanted:
            if name not in there:
                dimension = NOTED_COLUMNS[name]
                unit = _unit_of(dimension, there, name) if dimension else ""
                there[name] = (len(cells), unit)
                cells.append(f"{name} [{unit}]" if unit else name)
        self.put(self.header, cells)
        return there

    def change(self, identity: str, changes: dict[str, str]) -> None:
        """Put cells into the row of an id, by their columns."""
        columns = self.columns(tuple(changes))
        at = self.rows[identity]
        cells = self.cells(at)
        cells += [""] * (1 + max(columns[name][0] for name in changes) - len(cells))
        for name, text in changes.items():
            cells[columns[name][0]] = _quoted(text)
        self.put(at, cells)

    def cell(self, identity: str, name: str) -> str:
        """What a cell of a row says; "" without one."""
        there = {n: i for i, (n, _) in enumerate(column_header(_plain(c)) for c in self.cells(self.header))}
        cells = self.cells(self.rows[identity])
        return _plain(cells[there[name]]) if name in there and there[name] < len(cells) else ""

    def unit(self, name: str) -> str:
        """The unit of a column, as it is or as it will be added."""
        there = {n: (i, u) for i, (n, u) in enumerate(column_header(_plain(c)) for c in self.cells(self.header))}
        return there[name][1] if name in there else _unit_of(NOTED_COLUMNS[name], there, name)


def noted_in(content: bytes, shown: str, identity: str, noted: Noted) -> tuple[bytes, tuple[str, ...]]:
    """A drawer's bytes with what was measured of a spring in its row, and which figures that changed. A figure that is there and
    known better stays; what was noted from the same source already changes nothing. Raises InputError where the file is no
    drawer or has no such row."""
    drawer = _read(content, shown, identity)
    sources = [s for s in drawer.cell(identity, "measured_from").split(JOINT) if s]
    if noted.empty or noted.from_ in sources:
        return content, ()
    changes: dict[str, str] = {}
    changed = []
    for name in FIGURES:
        found: Quantity | None = getattr(noted, name)
        if found is None or not found.half_width:
            continue
        column, dimension = f"measured_{name}", NOTED_COLUMNS[f"measured_{name}"]
        before = _number(drawer.cell(identity, f"{column}_pm"), drawer.unit(f"{column}_pm"), dimension)
        if before is not None and before <= found.half_width:
            continue
        changed.append(name)
        for end, value in (("", shown_value(found)), ("_pm", found.half_width)):
            changes[column + end] = f"{value / factor(drawer.unit(column + end), dimension):.5g}"
    if not changed:
        return content, ()
    changes["measured_from"] = JOINT.join([*sources, noted.from_])
    drawer.change(identity, changes)
    return _whole(drawer, content), tuple(changed)


def taken_in(content: bytes, shown: str, identity: str, taken_for: str, older: str = "") -> tuple[bytes, str]:
    """A drawer's bytes with one spring less in a row, and "" or why there is none less. It is taken once for the same use;
    `older` is what the use was called before it named a folder, which may be another unit's. Raises InputError as `noted_in`.
    """
    drawer = _read(content, shown, identity)
    uses = [s for s in drawer.cell(identity, "taken_for").split(JOINT) if s]
    count = drawer.cell(identity, "quantity")
    if taken_for in uses:
        return content, "was taken before"
    if older in uses:
        return content, (
            f'not counted: its taken_for has "{older}", which names no folder. If that was this unit, write "{taken_for}" there. '
            "If not, write that unit's folder there, and do this again"
        )
    if not count:
        return content, "can be ordered, so there is no count"
    left = int(float(count)) - 1
    if left < 0:
        return content, "none is left by the count, so correct the count by hand"
    drawer.change(identity, {"quantity": str(left), "taken_for": JOINT.join([*uses, taken_for])})
    return _whole(drawer, content), ""


def own_figures(content: bytes, shown: str, identity: str) -> dict[str, float]:
    """The rate [N/m] and the free length [m] that a row states itself, by "rate" and "free_length", whatever was noted beside
    it; an empty cell is left out. Raises InputError as `noted_in`."""
    drawer = _read(content, shown, identity)
    told = {name: (drawer.cell(identity, name), NOTED_COLUMNS[f"measured_{name}"]) for name in ("rate", "free_length")}
    return {
        name: float(text) * factor(drawer.unit(name), dimension) for name, (text, dimension) in told.items() if text
    }


def taken_before(content: bytes, shown: str, taken_for: str) -> tuple[str, ...]:
    """The ids of the rows whose springs are counted as taken for this use. Raises InputError where the file is no drawer."""
    drawer = _read(content, shown)
    return tuple(one for one in drawer.rows if taken_for in drawer.cell(one, "taken_for").split(JOINT))


def _read(content: bytes, shown: str, identity: str | None = None) -> _Drawer:
    faults: list[str] = []
    try:
        text = content.decode("utf-8-sig")
    except UnicodeDecodeError:
        raise InputError(f"{shown}: got bytes that are not UTF-8 text, expected a catalogue of springs") from None
    if catalogue_of(text, shown, faults) is None:
        raise InputError(faults)
    lines = text.splitlines(keepends=True)
    header: tuple[int, int] | None = None
    place, rows, before = 0, dict[str, tuple[int, int]](), 0
    reader = csv.reader(io.StringIO(text, newline=""))
    for cells in reader:
        at, before = (before, reader.line_num), reader.line_num
        if not any(c.strip() for c in cells) or cells[0].lstrip().startswith("#"):
            continue
        if header is None:
            header = at
            place = next(i for i, cell in enumerate(cells) if column_header(cell)[0] == "id")
        else:
            rows[cells[place].strip()] = at
    assert header is not None  # it was read as a catalogue
    if identity is not None and identity not in rows:
        raise InputError(f'{shown}: got no row "{identity}", expected the id of a spring of it')
    return _Drawer(shown, lines, header, rows)


def _whole(drawer: _Drawer, content: bytes) -> bytes:
    """The drawer as bytes, read once more: what could not be read back is not written."""
    text, faults = "".join(drawer.lines), list[str]()
    if catalogue_of(text, drawer.shown, faults) is None:
        raise InputError(faults)
    return (MARK if content.startswith(MARK) else b"") + text.encode("utf-8")


def _split(record: str) -> list[str]:
    cells, at = [], 0
    while True:
        found = CELL.match(record, at)
        assert found is not None  # the pattern matches nothing too
        cells.append(found.group())
        at = found.end() + 1
        if at > len(record):
            return cells


def _plain(cell: str) -> str:
    bare = cell.strip()
    return bare[1:-1].replace('""', '"').strip() if len(bare) > 1 and bare[0] == bare[-1] == '"' else bare


def _quoted(text: str) -> str:
    return '"' + text.replace('"', '""') + '"' if set(text) & set(',"\r\n') else text


def _number(text: str, unit: str, dimension: str) -> float | None:
    return float(text) * factor(unit, dimension) if text else None


def _unit_of(dimension: str, there: dict[str, tuple[int, str]], name: str) -> str:
    """The unit of a new column: that of the row's own figure, where it has one."""
    own = name.removeprefix("measured_").removesuffix("_pm")
    return there[own][1] if own in there and there[own][1] else DIMENSIONS[dimension][1]
