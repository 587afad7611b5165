"""What a spring of a catalogue really is, as it was measured, beside what its row says; and which of the two counts.

A row stands for one spring or for many. What was measured of one spring is that spring's alone, so it counts where the row has
one and no more; where there are several, or any number can be ordered, the row's own figures count, and it is said why.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

from recurve.springs.spring import NAMED, Spring
from recurve.units import Quantity

NOTHING = 1e-6  # of its own ±: a value below that is what rounding left
FIGURES = ("rate", "free_length", "initial_tension")


@dataclass(frozen=True)
class Noted:
    """What was measured of a spring, each with its ± [SI], None what was not: `rate` [N/m], `free_length` [m], `initial_tension`
    [N]; and where it comes `from_`, in words."""

    rate: Quantity | None = None
    free_length: Quantity | None = None
    initial_tension: Quantity | None = None
    from_: str = ""

    @property
    def empty(self) -> bool:
        """Whether nothing was measured."""
        return self.rate is None and self.free_length is None and self.initial_tension is None


def shown_value(found: Quantity) -> float:
    """The value [SI] as it is told and written: 0 where it is so far below its ± that only rounding left it."""
    return 0.0 if abs(found.value) < NOTHING * (found.half_width or 0.0) else found.value


def as_measured(spring: Spring, noted: Noted) -> Spring:
    """The spring by what was measured of it, where the row has one spring; else as it is."""
    if spring.quantity != 1:
        return spring
    rate, free, tension = noted.rate, noted.free_length, noted.initial_tension
    return replace(
        spring,
        rate=spring.rate if rate is None else rate.value,
        rate_limit=spring.rate_limit if rate is None else (rate.half_width or 0.0) / rate.value,
        free_length=spring.free_length if free is None else free.value,
        initial_tension=spring.initial_tension if tension is None else tension.value,
        tension_limit=spring.tension_limit if tension is None else tension.half_width,
    )


def noted_remarks(rows: Sequence[tuple[Spring, Noted]], shown: str) -> tuple[str, ...]:
    """Which rows of the file `shown` count as measured, and which do not and why."""
    single = [spring.id for spring, _ in rows if spring.quantity == 1]
    several = [spring.id for spring, _ in rows if spring.quantity is None or spring.quantity > 1]
    told = []
    if single:
        told.append(f"{shown}: {_named(single)}: counted with as measured, not as the row's own figures say.")
    if several:
        told.append(
            f"{shown}: {_named(several)}: one spring of the row was measured, and the row has several or can be ordered. "
            "That spring does not tell the others, so the row's own figures count."
        )
    return tuple(told)


def _named(ids: list[str]) -> str:
    rest = len(ids) - NAMED
    return ", ".join(ids[:NAMED]) + (f" and {rest} more" if rest > 0 else "")
