"""`data/ranges.toml`: plausible ranges and the defaults of the trade.

Where the files of `data/` are: inside the installed package, or beside it in a checkout.

`data/limits.toml`: the trade's limits, each with its source, and how well things are read where a job is silent.
"""

from __future__ import annotations

import tomllib
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Any

from recurve.units import Quantity, factor


def data_file(name: str) -> Path:
    """Path of a shipped data file, for example "wire.toml"; raises FileNotFoundError if it is not there."""
    package = Path(__file__).resolve().parent
    for folder in (package / "data", package.parent / "data"):
        if (folder / name).is_file():
            return folder / name
    raise FileNotFoundError(f"the installation of recurve lacks its data file {name}")


@cache
def ranges() -> dict[str, Any]:
    """`data/ranges.toml`: plausible ranges and the defaults of the trade."""
    return tomllib.loads(data_file("ranges.toml").read_text(encoding="utf-8"))


def default(table: str, key: str, dimension: str) -> float:
    """A default of `data/ranges.toml` [SI]."""
    entry = ranges()[table][key]
    return float(entry["value"]) * factor(entry["unit"], dimension)


MANUAL = "the manual's figure, in the job"


@dataclass(frozen=True)
class Limit:
    """What a measured quantity may be [SI]: from `low` to `high`, worth a remark above `suspect`; None where there is
    no such limit. `source` says where it comes from."""

    low: float | None
    high: float | None
    suspect: float | None
    source: str


@cache
def limits_data() -> dict[str, Any]:
    """The file as read."""
    return tomllib.loads(data_file("limits.toml").read_text(encoding="utf-8"))


def limit_of(
    table: str, name: str, dimension: str, manual: tuple[float | None, float | None] | None = None
) -> Limit | None:
    """The manual's limit where the job gives it, else the trade's, else None [SI]."""
    if manual is not None:
        return Limit(manual[0], manual[1], None, MANUAL)
    entry = limits_data()[table].get(name)
    if entry is None:
        return None
    scale = factor(entry["unit"], dimension)
    low, high, suspect = (None if key not in entry else entry[key] * scale for key in ("low", "high", "suspect"))
    return Limit(low, high, suspect, entry["source"])


def usual(table: str, name: str, dimension: str) -> tuple[float, str]:
    """A default value [SI] and its source."""
    entry = limits_data()[table][name]
    return float(entry["value"]) * factor(entry["unit"], dimension), str(
        entry.get("source", "common practice, no source")
    )


def with_reading(given: Quantity, name: str, dimension: str) -> Quantity:
    """The quantity with its ±; the usual one of such a reading where the job gives none."""
    if given.half_width is not None:
        return given
    return Quantity(given.value, usual("reading", name, dimension)[0])
