"""A unit that does not fit the type that its job names."""

from __future__ import annotations

from dataclasses import dataclass
from math import exp, log
from typing import Any, ClassVar, Literal

from recurve.errors import Key, dotted
from recurve.fit.fit import Fit
from recurve.inspection.findings import Cause, Finding, Words
from recurve.job.learned import LEARNED
from recurve.job.model import Job
from recurve.types.belonging import Belonging, belonging
from recurve.types.facts import unlike_type
from recurve.units import DIMENSIONS, factor

TOLD = 3  # departures that are named at most
LIKELIER = 2.0  # odds below which nothing is said of them
NOTED = 2.0  # standard deviations from which one is
ALIKE = (
    0.3  # how far the mean log of the springs' strength over the type's may lie from that of the speed ratio squared
)
EACH = 0.4  # of that mean which each of them must show


@dataclass(frozen=True)
class OtherType(Finding):
    """The unit does not fit its type, called `title`: by `found`, with the `chance` [1] that one of the type is as far off;
    `ratio` [1] is the speed ratio."""

    title: str
    found: Belonging
    chance: float
    ratio: float
    units: ClassVar[dict[str, str]] = {"chance": "1", "ratio": "1"}

    @property
    def cause(self) -> Cause:
        """Figures of the other shaft where the springs look so, else the weights."""
        return Cause.WEIGHTS if self.speeds is None else Cause.CRANK_FIGURES

    @property
    def speeds(self) -> Literal["too high", "too low"] | None:
        """Whether every spring looks stronger, or weaker, than the type's by about the square of the speed ratio, as springs do
        where the speeds of the sweep are the other shaft's; None if not."""
        strengths = [d.value - d.mean for d in self.found.departures if d.key[0] == "found" and d.key[-1] == "rate"]
        whole = 2.0 * log(self.ratio)
        if not strengths or whole == 0.0:
            return None
        shares = [x / whole for x in strengths]
        middle = sum(shares) / len(shares)  # a fit moves pull from one spring to the other
        if abs(abs(middle) - 1.0) > ALIKE or min(x / middle for x in shares) < EACH:
            return None
        return "too high" if middle > 0.0 else "too low"

    def words(self) -> Words:
        """The finding in words."""
        if self.speeds is not None:
            high = self.speeds == "too high"
            twice = (
                {True: "twice", False: "half"}[high]
                if self.ratio == 2.0
                else f"{'' if high else '1/'}{self.ratio:g} times"
            )
            looks = f"about {self.ratio**2:g} times too {'strong' if high else 'weak'}"
            return Words(
                f"the sweep's speeds look {twice} what they should be: crank or distributor?",
                f'against the type "{self.title}", every spring looks {looks}, as it does where the speeds are the other '
                "shaft's",
                "if so, every result here is off by that factor",
                'check which shaft the tachometer counts; in [sweep], set basis (or speed_basis) to "crank" or "distributor". '
                "If the speeds are right, weigh the springs, and see whether the unit is of this type",
            )
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


@dataclass(frozen=True)
class OtherKind(Finding):
    """The job states otherwise what all units of its type, called `title`, have alike: `unlike`, by key its own value and the
    type's."""

    title: str
    unlike: tuple[tuple[Key, Any, Any], ...]

    @property
    def cause(self) -> Cause:
        """The weights where these alone are other ones, else a slip in the job or in the name of the type."""
        return Cause.WEIGHTS if all(key[0] == "weights" for key, _, _ in self.unlike) else Cause.SLIP

    def words(self) -> Words:
        """The finding in words."""
        told = [f"{dotted(key)} is {own} in the job and {of_type} in the type" for key, own, of_type in self.unlike]
        return Words(
            f'the job and its type "{self.title}" contradict each other',
            "; ".join(told),
            "every figure taken from the type may be wrong, and so may every spring chosen by it",
            "look at the unit, then correct the job or name another type",
        )


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
    name = {
        "rate": f"the rate of the {key[1]} spring",
        "stretch": f"how far the {key[1]} spring is drawn at rest",
        "tension": f"the initial tension of the {key[1]} spring",
    }.get(str(key[-1]) if key[0] == "found" else "", dotted(key))
    return f"{name} is {value / scale:.2f} {unit} where the type has {mean / scale:.2f} ± {2 * deviation / scale:.2f} {unit}"


def type_findings(job: Job, fit: Fit | None) -> tuple[Finding, ...]:
    """What speaks against the type that a job names; nothing where it names none, or fits."""
    if job.kind is None:
        return ()
    title, unlike = job.kind.title, unlike_type(job)
    other = (OtherKind("check first", title, unlike),) if unlike else ()
    found = belonging(job.kind, job, fit)
    if found is None or found.fits:
        return other
    return (*other, OtherType("check first", title, found, found.chance, job.speed_ratio))
