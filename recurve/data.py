"""`data/ranges.toml`: plausible ranges and the defaults of the trade."""

from __future__ import annotations

import tomllib
from functools import cache
from typing import Any

from recurve.datafiles import data_file
from recurve.units import factor


@cache
def ranges() -> dict[str, Any]:
    """`data/ranges.toml`: plausible ranges and the defaults of the trade."""
    return tomllib.loads(data_file("ranges.toml").read_text(encoding="utf-8"))


def default(table: str, key: str, dimension: str) -> float:
    """A default of `data/ranges.toml` [SI]."""
    entry = ranges()[table][key]
    return float(entry["value"]) * factor(entry["unit"], dimension)
