"""The files of `data/`: where they are, and what `ranges.toml` and `limits.toml` say.

- `ranges.toml`: plausible ranges, and the usual values of the trade that stand in for what a job leaves out.
- `limits.toml`: the wear limits of the trade, each with its source, and the usual uncertainty of each kind of reading.

In a checkout the files are in `data/` beside the package; a wheel has them in `recurve/shipped/`.
"""

from __future__ import annotations

import tomllib
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Any

from recurve.units import Quantity, factor


def data_file(name: str) -> Path:
    """Path of a data file, for example "wire.toml". Raises FileNotFoundError if the installation lacks it."""
    package = Path(__file__).resolve().parent
    for folder in (package / "shipped", package.parent / "data"):
        if (folder / name).is_file():
            return folder / name
    raise FileNotFoundError(f"the installation of recurve lacks its data file {name}")


def guide_file(name: str) -> Path:
    """Path of a file of the measuring guide, for example "measuring.md" or "measuring/8-wheel.svg": in `examples/` of a checkout,
    in a wheel in `recurve/shipped/guide/`. Raises FileNotFoundError if the installation lacks it."""
    package = Path(__file__).resolve().parent
    for folder in (package / "shipped" / "guide", package.parent / "examples"):
        if (folder / name).is_file():
            return folder / name
    raise FileNotFoundError(f"the installation of recurve lacks its measuring guide's file {name}")


@cache
def ranges() -> dict[str, Any]:
    """`ranges.toml` as read."""
    return tomllib.loads(data_file("ranges.toml").read_text(encoding="utf-8"))


def default(table: str, key: str, dimension: str) -> float:
    """A default from `ranges.toml` [SI]."""
    entry = ranges()[table][key]
    return float(entry["value"]) * factor(entry["unit"], dimension)


MANUAL = "the manual's figure, in the job"


@dataclass(frozen=True)
class Limit:
    """The range allowed for a measured quantity [SI]: `low` to `high`, with a remark above `suspect`; None means no such
    limit. `source` says where the limit comes from."""

    low: float | None
    high: float | None
    suspect: float | None
    source: str


@cache
def limits_data() -> dict[str, Any]:
    """`limits.toml` as read."""
    return tomllib.loads(data_file("limits.toml").read_text(encoding="utf-8"))


def limit_of(
    table: str, name: str, dimension: str, manual: tuple[float | None, float | None] | None = None
) -> Limit | None:
    """The manual's limit if the job gives one, else the trade's, else None [SI]."""
    if manual is not None:
        return Limit(manual[0], manual[1], None, MANUAL)
    entry = limits_data()[table].get(name)
    if entry is None:
        return None
    scale = factor(entry["unit"], dimension)
    low, high, suspect = (None if key not in entry else entry[key] * scale for key in ("low", "high", "suspect"))
    return Limit(low, high, suspect, entry["source"])


def usual(table: str, name: str, dimension: str) -> tuple[float, str]:
    """A usual value from `limits.toml` [SI], and its source."""
    entry = limits_data()[table][name]
    return float(entry["value"]) * factor(entry["unit"], dimension), str(
        entry.get("source", "common practice, no source")
    )


def with_reading(given: Quantity, name: str, dimension: str) -> Quantity:
    """The quantity with its half-width [SI]; where the job gives none, the usual one for this kind of reading."""
    if given.half_width is not None:
        return given
    return Quantity(given.value, usual("reading", name, dimension)[0])
