"""Slips in one figure of a book: a job's text with its maximum, or its idle speed, typed in the crank's terms, the rest not."""

from __future__ import annotations

import re
from dataclasses import replace
from typing import Literal

from whole_units import Whole
from worn import Worn

Mistyped = Literal["maximum", "idle"]


def mistyped(text: str, figure: Mistyped, ratio: float = 2.0) -> str:
    """The job's text with that figure of [target] multiplied by the speed ratio [1]."""

    def times(found: re.Match[str]) -> str:
        return f'"{ratio * float(found[1]):.2f} {found[2]}"'

    line, unit = {"maximum": ("maximum = ", "deg"), "idle": ("idle = ", "rpm")}[figure]
    lines = [re.sub(rf'"([\d.]+) ({unit})"', times, one) if one.startswith(line) else one for one in text.splitlines()]
    assert lines != text.splitlines()
    return "\n".join(lines) + "\n"


class MistypedWorn(Worn):
    """A worn unit, not stripped, whose book holds the slip."""

    figure: Mistyped

    @property
    def text(self) -> str:
        """The job file, with its slip."""
        return mistyped(super().text, self.figure)


def in_bare(unit: Worn, figure: Mistyped) -> Worn:
    """The unit, its book with that slip."""
    made = MistypedWorn(**{name: getattr(unit, name) for name in unit.__dataclass_fields__})
    object.__setattr__(made, "figure", figure)
    return made


def in_whole(unit: Whole, figure: Mistyped) -> Whole:
    """The unit, its book with that slip."""
    return replace(unit, text=mistyped(unit.text, figure))
