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
from math import pi
from typing import ClassVar, Literal, get_args

from recurve.uncertainty import Uncertain
from recurve.units import RPM

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


# What SI is multiplied by to give each unit of people.
PEOPLE = {"deg": 180.0 / pi, "rpm": RPM, "1": 1.0, "mN*m": 1e3, "mm": 1e3}


@dataclass(frozen=True)
class Number:
    """A number of a finding: `value` with its `standard_uncertainty`, None where there is none [`unit`]."""

    value: float
    standard_uncertainty: float | None
    unit: str


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
    # The fields that are numbers worth telling, each with the unit it is told in.
    units: ClassVar[dict[str, str]] = {}

    def numbers(self) -> dict[str, Number]:
        """Its numbers by name, in the units of people; those that are not known are left out."""
        told = {}
        for name, unit in self.units.items():
            value = getattr(self, name)
            if value is not None:
                one = value if isinstance(value, Uncertain) else Uncertain(float(value))
                by = one.standard_uncertainty
                told[name] = Number(one.value * PEOPLE[unit], None if by is None else by * PEOPLE[unit], unit)
        return told

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
