"""A unit that does not fit the type that its job names."""

from __future__ import annotations

from dataclasses import dataclass
from math import exp
from typing import ClassVar

from recurve.errors import Key, dotted
from recurve.fit.fit import Fit
from recurve.inspection.findings import Cause, Finding, Words
from recurve.job.learned import LEARNED
from recurve.job.model import Job
from recurve.types.belonging import Belonging, belonging
from recurve.units import DIMENSIONS, factor

TOLD = 3  # departures that are named at most
LIKELIER = 2.0  # odds below which nothing is said of them
NOTED = 2.0  # standard deviations from which one is


@dataclass(frozen=True)
class OtherType(Finding):
    """The unit does not fit its type, called `title`: by `found`, with the `chance` [1] that one of the type is as far off."""

    title: str
    found: Belonging
    chance: float
    cause = Cause.WEIGHTS
    units: ClassVar[dict[str, str]] = {"chance": "1"}

    def words(self) -> Words:
        """The finding in words."""
        far = [d for d in self.found.departures[:TOLD] if d.size >= NOTED] or list(self.found.departures[:1])
        told = "; ".join(departure_words(d.key, d.value, d.mean, d.deviation) for d in far)
        springs = any(d.key[0] == "found" for d in far)
        remedy = "Compare it with a unit of the type: are weights, base plate and cam plate of another version?"
        if springs:
            remedy += " Weigh the springs now fitted: they may be worn, or not those that the type's units came with."
        return Words(
            f'the unit does not fit its type "{self.title}"',
            f"{told}; one in {one_in(self.chance)} of the type is as far off, and {self._odds}",
            "every figure taken from the type may be wrong, and so may every spring chosen by it",
            f"{remedy} Measure it, or name another type",
        )

    @property
    def _odds(self) -> str:
        """How much likelier it is of another type, in words."""
        if self.found.odds > 1.0 / LIKELIER:
            return "it is no nearer to other types"
        return f"the odds are {one_in(self.found.odds)} to 1 that it is of another"


def one_in(chance: float) -> str:
    """How rare a chance [1] is, as a round number: "400"; what is rarer than a million is told as that."""
    rare = min(1.0 / max(chance, 1e-6), 1e6)
    digits = 10 ** max(len(f"{rare:.0f}") - 2, 0)
    return f"{round(rare / digits) * digits:,.0f}"


def departure_words(key: Key, value: float, mean: float, deviation: float) -> str:
    """A quantity against its type, in the units of people; `value` and `mean` of a rate are logarithms [SI, or log of it]."""
    dimension = LEARNED[str(key[-1])]
    unit = DIMENSIONS[dimension][1]
    scale = factor(unit, dimension)
    if key[-1] == "rate":
        value, mean = exp(value), exp(mean)
        deviation *= mean
    name = {"rate": f"the rate of the {key[1]} spring", "stretch": f"how far the {key[1]} spring is drawn at rest"}.get(
        str(key[-1]) if key[0] == "found" else "", dotted(key)
    )
    return f"{name} is {value / scale:.2f} {unit} where the type has {mean / scale:.2f} ± {2 * deviation / scale:.2f} {unit}"


def type_findings(job: Job, fit: Fit | None) -> tuple[Finding, ...]:
    """What speaks against the type that a job names; nothing where it names none, or fits."""
    if job.kind is None:
        return ()
    found = belonging(job.kind, job, fit)
    if found is None or found.fits:
        return ()
    return (OtherType("check first", job.kind.title, found, found.chance),)
