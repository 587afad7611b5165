"""What was measured of a finished unit as it was set: the table [set] of as-left.toml, and options that override it."""

from __future__ import annotations

import tomllib
from pathlib import Path

from pydantic import ValidationError

from recurve.errors import InputError
from recurve.job.messages import faults_in
from recurve.job.schema import SetTable


def read_set(record: Path, told: dict[str, str | None]) -> SetTable:
    """The table [set] of the `record`, as-left.toml, where there is one, with what is `told` beside it, by the same keys; a
    stop that is told replaces either way of telling it. Raises InputError for what cannot be read."""
    given = {key: value for key, value in told.items() if value is not None}
    kept = _kept(record)
    if {"stop", "stop_trim"} & given.keys():
        kept = {key: value for key, value in kept.items() if key not in ("stop", "stop_trim")}
    text = record.read_text(encoding="utf-8") if kept else ""
    try:
        return SetTable.model_validate({**kept, **given})
    except ValidationError as error:
        raise InputError(faults_in(error, text, str(record) if kept else "verify", SetTable)) from None


def _kept(record: Path) -> dict[str, object]:
    """The table [set] as it stands; empty where there is none."""
    try:
        table = tomllib.loads(record.read_text(encoding="utf-8")).get("set", {})
    except (OSError, UnicodeDecodeError, tomllib.TOMLDecodeError):
        return {}  # what is no record is told where it is written
    if not isinstance(table, dict):
        raise InputError(f"{record}: set: got {table!r}, expected a table [set]")
    return table
