"""What a finding is: something wrong with a unit, or open, held as numbers and put into words last.

Every kind of finding is a subclass of `Finding`. Its fields are what was found, SI; its `words` put them into words. The
findings of inspection and vacuum unit are in `inspection.inspected`, those of the curve in `diagnosis.findings`, those of
the readings in `diagnosis.readings`.
"""

from __future__ import annotations

from abc import ABC, abstractmethod
from collections.abc import Iterable
from dataclasses import dataclass
from enum import StrEnum
from typing import Literal, get_args

Severity = Literal["check first", "repair first", "high", "medium", "low", "open question"]
SEVERITIES: tuple[Severity, ...] = get_args(Severity)  # the worst first


class Cause(StrEnum):
    """The part, or the mistake, that a finding points to."""

    PRIMARY = "primary"
    SECONDARY = "secondary"
    SPRINGS = "springs"
    STOP = "stop"
    FRICTION = "friction"
    WEIGHTS = "weights"
    SHAFT = "shaft"
    POINTS = "points"
    BREAKER_PLATE = "breaker plate"
    CONDENSER = "condenser"
    ROTOR = "rotor"
    VACUUM = "vacuum"
    READINGS = "readings"
    CRANK_FIGURES = "crank figures"
    SLIP = "slip"


@dataclass(frozen=True)
class Words:
    """A finding in words: `what` is wrong, the `evidence` for it, its `consequence` for the engine, and the `remedy`."""

    what: str
    evidence: str
    consequence: str
    remedy: str


@dataclass(frozen=True)
class Finding(ABC):
    """One thing that is wrong, or open. The fields of its subclasses are its numbers [SI]."""

    severity: Severity

    @property
    @abstractmethod
    def cause(self) -> Cause:
        """The part, or the mistake, that it points to."""

    @abstractmethod
    def words(self) -> Words:
        """The finding in words."""

    @property
    def what(self) -> str:
        """What is wrong, in words."""
        return self.words().what

    @property
    def evidence(self) -> str:
        """What shows it, in words."""
        return self.words().evidence

    @property
    def consequence(self) -> str:
        """What it does to the engine, in words."""
        return self.words().consequence

    @property
    def remedy(self) -> str:
        """What to do, in words."""
        return self.words().remedy


def worst_first(findings: Iterable[Finding]) -> tuple[Finding, ...]:
    """The findings by severity; those that are equally severe keep their order."""
    return tuple(sorted(findings, key=lambda f: SEVERITIES.index(f.severity)))


def repairs(findings: Iterable[Finding]) -> tuple[Finding, ...]:
    """What must be repaired before any spring is judged."""
    return tuple(f for f in findings if f.severity == "repair first")
