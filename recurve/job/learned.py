"""A type of unit as the tool holds it: what was learned of each quantity, and what a job takes from it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from recurve.errors import Key
from recurve.units import DIMENSIONS, PLACES, SQRT3, factor

# The keys of quantities that are learned, by their last part, and what they measure.
LEARNED = {
    "mass": "mass", "radius": "length", "distance": "length", "angle": "angle", "advance": "angle", "post_diameter": "length",
    "rubbing_block": "moment", "rate": "rate", "stretch": "length", "tension": "force",
    "level": "number", "tilt": "number", "bow": "number",
}  # fmt: skip
# What is learned of the springs found in the units: rate, how far they are drawn at rest, and initial tension.
FOUND = ("rate", "stretch", "tension")


@dataclass(frozen=True)
class Learned:
    """What is known of a quantity over the units of a type [SI]: its `mean`, the `spread` of single units about it and the
    `uncertainty` of the mean, both as standard deviations, from so many `units`."""

    mean: float
    spread: float
    uncertainty: float
    units: int

    @property
    def deviation(self) -> float:
        """Standard deviation [SI] of the quantity in a unit of the type that was not measured."""
        return float((self.spread**2 + self.uncertainty**2) ** 0.5)

    def text(self, dimension: str) -> str:
        """The quantity as a job states it: a half-width of √3 standard deviations is read back as that deviation."""
        unit = DIMENSIONS[dimension][1]
        scale = factor(unit, dimension)
        return f"{self.mean / scale:.8g} ± {SQRT3 * self.deviation / scale:.6g} {unit}".strip()


@dataclass(frozen=True)
class UnitType:
    """A type of unit as read: its file and `title`; how many `units` it was learned from; `document`, its tables as a job
    has them; `learned`, by the path of the key, what was learned [SI]; `taken`, the keys of quantities that a job takes from
    it, and of its book; and `shared`, of what else it takes, that all units of a type have alike.

    `learned` holds also what the springs found in the units were like, ("found", place, "rate") and so on: no job takes
    these, since springs are changed, but its sweep is compared with them."""

    path: Path
    title: str
    units: int
    document: dict[str, Any]
    learned: dict[Key, Learned]
    taken: frozenset[Key] = field(default_factory=frozenset)
    shared: frozenset[Key] = field(default_factory=frozenset)


# What a job may take from a type, by the beginning of its key.
PARTS: tuple[tuple[Key, str], ...] = (
    (("weights", "mass"), "the mass of the weights"),
    (("weights", "motion"), "how the weights move"),
    (("stop", "advance"), "the stop as found"),
    (("stop", "radius"), "the stop's radius"),
    (("stop", "per_mm"), "the stop's radius"),
    (("drag",), "the drag"),
    (("target",), "the book"),
    *(((("springs", place)), f"the posts of the {place}") for place in PLACES),
)


def told_by(units: int, each: Sequence[int]) -> str:
    """The number of a type's `units` in words, and from how many most of its quantities come, of which `each` has so many:
    a type of four units may have its figures from one, where the others were only swept."""
    words = f"{units} {'unit' if units == 1 else 'units'}"
    middle = sorted(each)[(len(each) - 1) // 2] if each else units
    return words if middle >= units else f"{words}, most figures from {middle}"


def type_notes(kind: UnitType) -> list[str]:
    """What must be said of a job that takes from a type."""
    taken = [words for start, words in PARTS if any(key[: len(start)] == start for key in kind.taken)]
    count = told_by(kind.units, [one.units for one in kind.learned.values()])
    told = ", ".join(taken) if taken else "nothing: the job states it all"
    return [f'From the type "{kind.title}", learned from {count}, not measured here: {told}.']
