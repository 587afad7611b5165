"""Everything that can be told to the user as a fault, in one tree.

    RecurveError
    ├── InputError       a file, a value or an option is wrong: a list of faults
    │   └── PhysicsError the values are readable, but no such distributor can work
    └── OutputError      a result could not be written

`cli.app.main` alone turns them into a message and an exit status. A plan that is out of reach is an answer, not an error,
and is returned. Anything else that is raised is a bug and keeps its traceback.
"""

from __future__ import annotations

from collections.abc import Sequence


class RecurveError(Exception):
    """Root of all faults that are reported as a message; the command line exits 2 on it."""


class InputError(RecurveError):
    """What was given is wrong. `faults` holds one finished line for each fault found."""

    def __init__(self, faults: str | Sequence[str]) -> None:
        self.faults: tuple[str, ...] = (faults,) if isinstance(faults, str) else tuple(faults)
        super().__init__("\n".join(self.faults))


class PhysicsError(InputError):
    """The numbers describe weights, posts or a stop that cannot work."""


class OutputError(RecurveError):
    """A result could not be written whole; what stood there before is untouched."""
