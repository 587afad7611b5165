"""Everything that can be told to the user as a fault, in one tree.

    RecurveError
    ├── InputError       a file, a value or an option is wrong: a list of faults
    │   └── PhysicsError the values are readable, but no such distributor can work
    └── OutputError      a result could not be written

`cli.app.main` alone turns them into a message and an exit status. A plan that is out of reach is an answer, not an error,
and is returned. Anything else that is raised is a bug and keeps its traceback.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import TypeVar

Read = TypeVar("Read")
Key = tuple[int | str, ...]  # the path of a key in a job file, rows counted from 0


@dataclass(frozen=True)
class Fault:
    """One thing that is wrong: the `key` of a job file that it is about, None where it is about none, and the `message`;
    the `file` and the `line` (from 1) where they are known."""

    key: Key | None
    message: str
    file: str = ""
    line: int | None = None

    @property
    def about(self) -> str:
        """The fault without its place: `key: message`."""
        return self.message if self.key is None else f"{dotted(self.key)}: {self.message}"

    def __str__(self) -> str:
        place = f"{self.file}{'' if self.line is None else f':{self.line}'}"
        return f"{place}: {self.about}" if place else self.about


def dotted(key: Key) -> str:
    """("target", "points", 1, "min") as target.points[2].min: rows count from 1."""
    out = ""
    for part in key:
        out += f"[{part + 1}]" if isinstance(part, int) else f".{part}" if out else part
    return out or "the file"


class RecurveError(Exception):
    """Root of all faults that are reported as a message; the command line exits 2 on it."""


class InputError(RecurveError):
    """What was given is wrong. `found` holds each fault, `faults` the finished line of each."""

    def __init__(self, faults: str | Fault | Sequence[str | Fault]) -> None:
        every = [faults] if isinstance(faults, str | Fault) else faults
        self.found: tuple[Fault, ...] = tuple(f if isinstance(f, Fault) else Fault(None, f) for f in every)
        self.faults: tuple[str, ...] = tuple(str(f) for f in self.found)
        super().__init__("\n".join(self.faults))


class Gathered:
    """Faults of several readers in one pass: call it with each reader and what it is given, then `settle`."""

    def __init__(self) -> None:
        self.found: list[Fault] = []

    def __call__(self, read: Callable[[], Read]) -> Read | None:
        """What `read` returns; None, its faults kept, where it raises InputError."""
        try:
            return read()
        except InputError as error:
            self.found += error.found
            return None

    def settle(self) -> None:
        """Raise InputError with all faults that were found, if any were."""
        if self.found:
            raise InputError(list(dict.fromkeys(self.found)))


class PhysicsError(InputError):
    """The numbers describe weights, posts or a stop that cannot work."""


class OutputError(RecurveError):
    """A result could not be written whole; what stood there before is untouched."""
