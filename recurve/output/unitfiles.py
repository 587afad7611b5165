"""The files of a folder's units: which are job files, and what they name. Reads no job."""

from __future__ import annotations

import re
import tomllib
from collections.abc import Iterator
from pathlib import Path
from typing import Any

from recurve.job.of_type import title_of_type

ARCHIVE = "archive"
# No jobs, though they end so.
OTHER = ("plan.toml", "as-left.toml", "as-found.toml", "answers.toml", "pyproject.toml")
OF_TYPE = re.compile(r"^units\s*=\s*\d", re.M)


def paths(folder: Path) -> Iterator[tuple[str, Path]]:
    """Names and job files of a folder and of the folders in it, plans and archive left out."""
    for path in sorted((*folder.glob("*.toml"), *folder.glob("*/*.toml"))):
        name = path.relative_to(folder).with_suffix("").as_posix()
        away = path.parent != folder and (path.parent.name == ARCHIVE or path.parent.name.endswith("-plan"))
        if away or path.name in OTHER or path.name.endswith(".answers.toml") or path.name[0] == ".":
            continue
        if path.is_file():  # a pipe with such a name would be waited for without end
            yield name, path


def is_type(path: Path) -> bool:
    """Whether a file is that of a type of unit, which is no job: it says of how many units it was learned."""
    try:
        return OF_TYPE.search(path.read_text(encoding="utf-8-sig").partition("\n[")[0]) is not None
    except (OSError, UnicodeDecodeError):
        return False


def types_in(folder: Path) -> dict[Path, str]:
    """The type files of a folder and of the folders in it, with their titles; those that cannot be read are left out."""
    found = {path: title_of_type(path) for _, path in paths(folder) if is_type(path)}
    return {path: title for path, title in found.items() if title is not None}


def tables_named(path: Path) -> list[tuple[str, str]]:
    """The tables and the type that a job file names, each with its key, whether they are there or not. Raises OSError and
    ValueError where it cannot be read."""
    document = tomllib.loads(path.read_text(encoding="utf-8-sig"))
    found = []
    for key in ("sweep.file", "catalogue.file", "weights.motion.sweep", "type"):
        value: Any = document
        for part in key.split("."):
            value = value.get(part) if isinstance(value, dict) else None
        if isinstance(value, str):
            found.append((key, value))
    return found
