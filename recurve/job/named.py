"""The text of a job file, and the tables of readings and springs that it names: each found, or why not."""

from __future__ import annotations

import difflib
import os
import tomllib
from collections.abc import Callable
from pathlib import Path
from typing import Any, TypeVar

from recurve.errors import Fault, InputError, Key
from recurve.job.messages import located
from recurve.job.sweeps import reading_faults
from recurve.job.tables import read_catalogue, read_sweep, read_text
from recurve.physics.sweep import Readings
from recurve.springs.spring import Catalogue
from recurve.text import beside

Read = TypeVar("Read")
LONGEST = 255  # bytes that the name of a file may have, in all common file systems


def read_document(path: str | Path) -> tuple[str, dict[str, Any]]:
    """The text of a job file, and what it holds; raises InputError where it is not TOML."""
    lines: list[str] = []
    text = read_text(Path(path), str(path), lines)
    if text is None:
        raise InputError(lines)
    try:
        return text, tomllib.loads(text)
    except tomllib.TOMLDecodeError as wrong:
        raise InputError(Fault(None, f"not TOML: {wrong}; expected a job file in TOML", str(path))) from None
    except RecursionError:
        raise InputError(Fault(None, "got tables nested too deeply to read, expected a job file", str(path))) from None


class NamedTables:
    """The tables that a job's `document` names, read even if the job itself has faults. `path` is the job's file, `text` what
    stands in it; what is wrong goes to `faults`."""

    def __init__(self, path: Path, text: str, document: dict[str, Any], faults: list[Fault]) -> None:
        self.path, self.text, self.document, self.faults = path, text, document, faults

    def sweep(self) -> Readings | None:
        """The readings that [sweep] names; None where it names none, or they cannot be read."""
        return self._checked(("sweep", "file"))

    def reference(self) -> Readings | None:
        """The readings of the reference sweep that [weights.motion] names, likewise."""
        motion = self._value(("weights", "motion"))
        if not isinstance(motion, dict) or motion.get("kind") != "reference":
            return None
        return self._checked(("weights", "motion", "sweep"))

    def catalogue(self) -> Catalogue | None:
        """The springs that [catalogue] names, likewise."""
        return self._read(("catalogue", "file"), read_catalogue)

    def catalogue_is_there(self) -> bool:
        """Whether there is a file of the name that [catalogue] gives."""
        file = self._value(("catalogue", "file"))
        return isinstance(file, str) and not name_fault(self.path, file)

    def _checked(self, key: Key) -> Readings | None:
        readings = self._read(key, read_sweep)
        self.faults += reading_faults(readings, str(self.path.parent / str(self._value(key))))
        return readings

    def _value(self, key: Key) -> Any:
        value: Any = self.document
        for part in key:
            value = value.get(part) if isinstance(value, dict) else None
        return value

    def _read(self, key: Key, read: Callable[[Path, str, list[str]], Read | None]) -> Read | None:
        file = self._value(key)
        if not isinstance(file, str):
            return None  # the model says so
        wrong = name_fault(self.path, file)
        if wrong:
            self.faults.append(located(Fault(key, wrong), self.text, str(self.path)))
            return None
        lines: list[str] = []
        found = read(beside(self.path, file), str(self.path.parent / file), lines)
        self.faults += [Fault(None, line) for line in lines]
        return found


def name_fault(job: Path, file: str, suits: Callable[[Path], bool] = lambda path: True) -> str:
    """What is wrong with the name of a file beside a job, and where it was looked for; empty where the file is there. A file
    of a like name is proposed if it `suits`."""
    shown = file if len(file) <= 60 else f"{file[:57]}…"
    if not file.strip() or "\0" in file:
        return f'got "{shown}", expected the name of a file'
    longest = max(len(os.fsencode(part)) for part in Path(file).parts or (".",))
    if longest > LONGEST:
        return f'got "{shown}", a name of {longest} bytes; expected at most {LONGEST}'
    path = beside(job, file)
    folder = Path(os.path.abspath(path.parent))
    try:
        if path.is_dir():
            return f'got "{shown}", which is a folder; expected a file'
        if os.path.lexists(path):
            return ""  # what is wrong with it is said on reading it
        others = [p.name for p in folder.iterdir()] if folder.is_dir() else []
    except (OSError, ValueError) as fault:
        told = fault.strerror if isinstance(fault, OSError) else fault
        return f'got "{shown}", which cannot be looked for ({told}); expected the name of a file'
    if not folder.is_dir():
        return f'got "{shown}", but there is no folder {folder}; expected a file that is there'
    near = [one for one in difflib.get_close_matches(path.name, others, 5) if suits(folder / one)]
    hint = f'; did you mean "{near[0]}"?' if near else ""
    return f'got "{shown}", but there is no such file in {folder}; expected a file that is there{hint}'
