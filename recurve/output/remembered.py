"""The units of a folder, read once: what was read is kept in a hidden file of the folder, and a unit is read again only where
a file of it has changed. The hidden file may be deleted at any time."""

from __future__ import annotations

import contextlib
import hashlib
import os
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path

from pydantic import BaseModel, ValidationError

from recurve import __version__
from recurve.errors import InputError, OutputError
from recurve.files import write_folder
from recurve.output.documents.units import UnitOfFolder
from recurve.output.unitfiles import is_type, paths, tables_named
from recurve.text import beside

FILE = ".recurve-units.json"
FORM = f"{__version__}, 3"  # the number changes with every change of what is kept
OFTEN = 20  # units newly read between two words of progress
KEPT = ("plan.toml", "as-left.toml", "as-found.toml")  # of a unit, in its plan's folder


class Remembered(BaseModel):
    """A unit as it was read, None of a file that is no unit, with the files that tell it and their fingerprint."""

    files: list[str]
    fingerprint: str
    unit: UnitOfFolder | None


class Memory(BaseModel):
    """The hidden file."""

    form: str
    units: dict[str, Remembered]


@dataclass
class _Files:
    """Digests of files by their paths from the folder, each file read once."""

    folder: Path
    known: dict[str, str] = field(default_factory=dict)

    def digest(self, name: str) -> str:
        """Of a file; "" where there is none."""
        if name not in self.known:
            try:
                self.known[name] = hashlib.sha256((self.folder / name).read_bytes()).hexdigest()
            except OSError:
                self.known[name] = ""
        return self.known[name]

    def fingerprint(self, names: list[str]) -> str:
        """Of all of them: it changes with any byte of one, and where one comes or goes."""
        told = "\n".join(f"{name}\t{self.digest(name)}" for name in names)
        return hashlib.sha256(told.encode(errors="surrogatepass")).hexdigest()[:24]


def read_units(folder: Path, report: Callable[[str], None]) -> list[UnitOfFolder]:
    """All units of a folder, by name. Raises InputError where it is no folder. One that cannot be written is only read."""
    if not folder.is_dir():
        raise InputError(f"{folder}: got no folder, expected one with units, or an empty one")
    before, files, now = _read_memory(folder), _Files(folder), dict[str, Remembered]()
    fresh = 0
    for name, path in paths(folder):
        known = before.get(name)
        if known is None or known.fingerprint != files.fingerprint(known.files):
            known = _read_unit(folder, name, path, files)
            fresh += 1
            if fresh % OFTEN == 0:
                report(f"{fresh} units read")
        now[name] = known
    if fresh or now.keys() != before.keys():
        content = Memory(form=FORM, units=now).model_dump_json(by_alias=True).encode()
        with contextlib.suppress(OutputError):
            write_folder(folder, {FILE: content})
    found = ((folder / f"{name}.toml", one.unit) for name, one in now.items())
    return [unit.model_copy(update={"file": str(path)}) for path, unit in found if unit is not None]


def _read_memory(folder: Path) -> dict[str, Remembered]:
    """What is kept; nothing where there is no such file, or it is another version's, or broken."""
    try:
        memory = Memory.model_validate_json((folder / FILE).read_bytes())
    except (OSError, ValidationError):
        return {}
    return memory.units if memory.form == FORM else {}


def _read_unit(folder: Path, name: str, path: Path, files: _Files) -> Remembered:
    """A unit read anew, with the files that it is read from."""
    from recurve.output.history import history_of

    names = _files_of(folder, path)
    fingerprint = files.fingerprint(names)  # taken before: what changes meanwhile is read again
    if is_type(path):
        return Remembered(files=names, fingerprint=fingerprint, unit=None)
    unit = history_of(name, path)
    faults = [fault.replace(f"{folder}{os.sep}", "") for fault in unit.faults]
    return Remembered(files=names, fingerprint=fingerprint, unit=unit.model_copy(update={"faults": faults}))


def _files_of(folder: Path, path: Path) -> list[str]:
    """The files that tell of a unit, by their paths from the folder."""
    from recurve.job.edit import beside_file
    from recurve.output.planfile import plan_folder

    tables: list[Path] = []
    with contextlib.suppress(OSError, ValueError, RecursionError):
        tables = [beside(path, table) for _, table in tables_named(path)]
    every = [path, beside_file(path), *tables, *(plan_folder(path) / name for name in KEPT)]
    return [_from(folder, one) for one in every]


def _from(folder: Path, path: Path) -> str:
    try:
        return os.path.relpath(path, folder)
    except ValueError:  # there is no relative path to another drive
        return str(path.absolute())
