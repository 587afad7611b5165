"""Springs in stock as they are typed, one a line, and the catalogue that they make."""

from __future__ import annotations

from collections.abc import Sequence

from recurve.job.answers import cells_of, unit_of, with_unit
from recurve.units import factor, parse

CELLS = (("rate", "rate"), ("free_length", "length"), ("initial_tension", "force"))


def read_spring(text: str, system: str) -> dict[str, str]:
    """A spring in stock: name, rate, free length and initial tension; bare numbers in the person's `system`. Raises
    ValueError."""
    name, _, rest = text.replace(",", " ", 1).partition(" ") if "," not in text else text.partition(",")
    cells = cells_of(rest)
    if not name or '"' in text or not 2 <= len(cells) <= 3:
        raise ValueError("expected a name, a rate, a free length, and an initial tension if there is one")
    if name.strip().startswith("#"):
        raise ValueError("expected a name that does not begin with #: such a line is a comment")
    row = {"id": name.strip()}
    for (key, dimension), cell in zip(CELLS, cells, strict=False):
        row[key] = with_unit(cell, dimension, system)
        value = parse(row[key], dimension).value
        if value < 0 or (value == 0 and key != "initial_tension"):
            raise ValueError(f"{key}: expected more than 0")
    return row


def springs_csv(rows: Sequence[dict[str, str]], system: str) -> bytes:
    """The catalogue of springs that were typed, in the person's own system of units."""
    units = {key: unit_of(dimension, system) for key, dimension in CELLS}
    out = ["id," + ",".join(f"{key} [{unit}]" for key, unit in units.items())]
    for row in rows:
        cells = [row["id"]]
        for key, dimension in CELLS:
            value = parse(row[key], dimension).value / factor(units[key], dimension) if key in row else 0.0
            cells.append(f"{value:.8g}")
        out.append(",".join(cells))
    return ("\n".join(out) + "\n").encode("utf-8")
