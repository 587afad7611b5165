"""The JSON document of `learn`: what a type of unit is like, and which of the units do not belong to it."""

from __future__ import annotations

from typing import Annotated

from recurve.errors import Key, dotted
from recurve.job.learned import LEARNED
from recurve.output.documents.base import Document, Files, number, told
from recurve.output.learned import LearnedUnits
from recurve.text import printable
from recurve.types.learning import Apart, Misfit
from recurve.units import DIMENSIONS, factor


class LearnedQuantity(Document):
    """What was learned of one quantity, in its unit."""

    key: Annotated[str, told("Its key, as in a job file; of a spring that was found: found.primary.rate and so on")]
    unit: Annotated[str, told("The unit of the numbers beside it")]
    mean: Annotated[float, told("Mean over the units", "as `unit` says")]
    spread: Annotated[float, told("Standard deviation of single units about the mean", "as `unit` says")]
    uncertain: Annotated[float, told("Standard uncertainty of the mean", "as `unit` says")]
    units: Annotated[int, told("Units that told it", "1")]


class MisfitDocument(Document):
    """A unit that does not belong to the others."""

    unit: Annotated[str, told("Its job file")]
    chance: Annotated[float, told("Chance that one of the type is as far off; 0: it is of another kind", "1")]
    key: Annotated[str, told("The quantity that stands out most")]
    unit_of_key: Annotated[str, told("The unit of the numbers beside it; empty where they are none")]
    value: Annotated[float | None, told("What this unit has", "as `unit_of_key` says")]
    others: Annotated[float | None, told("What the others make it", "as `unit_of_key` says")]
    deviation: Annotated[float | None, told("Standard deviation of that", "as `unit_of_key` says")]

    @classmethod
    def of(cls, misfit: Misfit, file: str) -> MisfitDocument:
        """A unit of this file that does not belong."""
        unit, scale = unit_of(misfit.key)
        numbers = (misfit.value, misfit.others, misfit.deviation)
        value, others, deviation = (None if x is None else number(x / scale) for x in numbers)
        given = unit if value is not None else ""
        return cls(
            unit=file, chance=number(misfit.p, 9), key=dotted(misfit.key), unit_of_key=given, value=value, others=others,
            deviation=deviation,
        )  # fmt: skip


class ApartDocument(Document):
    """Units that contradict each other, where none can be told from the rest."""

    units: Annotated[list[str], told("Their job files")]
    chance: Annotated[float, told("Chance that two of one type are as far apart; 0: they are of another kind", "1")]
    key: Annotated[str, told("The quantity that stands out most")]
    unit_of_key: Annotated[str, told("The unit of the numbers beside it; empty where they are none")]
    values: Annotated[list[float | str], told("What each of the units has", "as `unit_of_key` says")]

    @classmethod
    def of(cls, apart: Apart, files: list[str]) -> ApartDocument:
        """Units of these files that contradict each other."""
        unit, scale = unit_of(apart.key)
        return cls(
            units=[files[i] for i in apart.units],
            chance=number(apart.p, 9),
            key=dotted(apart.key),
            unit_of_key=unit,
            values=[printable(v) if isinstance(v, str) else number(v / scale) for v in apart.values],
        )


class DeviatingDocument(Document):
    """A unit that states otherwise what the type takes from most units, though it may belong to them."""

    unit: Annotated[str, told("Its job file")]
    key: Annotated[str, told("What it states otherwise; target: the book")]


class LearnDocument(Document):
    """A type of unit as learned."""

    units: Annotated[list[str], told("Job files that it was learned from")]
    left_out: Annotated[list[str], told("Job files that were left out, as asked")]
    learned: list[LearnedQuantity]
    misfits: Annotated[
        list[MisfitDocument], told("Units that do not belong, the worst first; they are in what was learned")
    ]
    apart: Annotated[
        list[ApartDocument],
        told("Units that contradict each other, where none can be told from the rest; they are in it too"),
    ]
    deviating: Annotated[
        list[DeviatingDocument], told("Units that state otherwise what the type has from most; theirs is left aside")
    ]
    unlike: Annotated[list[str], told("Keys in which the units differ so that the type has none")]
    lacking: Annotated[
        list[str], told("Tables and keys that a job of this type must state itself, since the units do not tell them")
    ]
    files: Files

    @classmethod
    def of(cls, found: LearnedUnits, to: str) -> LearnDocument:
        """What was learned, and written `to` a file."""
        made = found.made
        rows = []
        for key, one in made.learned.items():
            unit, scale = unit_of(key)
            rows.append(
                LearnedQuantity(
                    key=dotted(key),
                    unit=unit,
                    mean=number(one.mean / scale),
                    spread=number(one.spread / scale),
                    uncertain=number(one.uncertainty / scale),
                    units=one.units,
                )
            )
        files = [str(job.path) for job in found.units]
        return cls(
            units=files,
            left_out=list(found.left_out),
            learned=rows,
            misfits=[MisfitDocument.of(m, files[m.unit]) for m in made.misfits],
            apart=[ApartDocument.of(one, files) for one in made.apart],
            deviating=[DeviatingDocument(unit=files[i], key=dotted(key)) for i, key in made.deviating],
            unlike=[dotted(key) for key in made.unlike],
            lacking=_lacking(found),
            files=[to],
        )


def _lacking(found: LearnedUnits) -> list[str]:
    """What a plan needs and the type does not have: posts that lengths tell are each unit's own, as bent, and a stop that
    may be trimmed needs its radius."""
    made = found.made
    places = ["primary", *(["secondary"] if any(len(job.places) > 1 for job in found.units) else [])]
    lacking = [f"springs.{p}.posts" for p in places if ("springs", p, "posts", "far", "angle") not in made.learned]
    told = any(key[:2] == ("weights", "motion") for key in made.learned)
    trimmed = any(("stop", name) in made.alike for name in ("file_up_to", "build_up_to"))
    stop = ["stop.radius"] if trimmed and ("stop", "radius") not in made.learned else []
    return [*([] if told else ["weights"]), *stop, *lacking, *([] if ("target",) in made.alike else ["target"])]


def unit_of(key: Key) -> tuple[str, float]:
    """The unit in which a quantity of this key is told, and how many units of SI one of it is [SI]."""
    dimension = LEARNED.get(str(key[-1]))
    if dimension is None:
        return "", 1.0
    unit = DIMENSIONS[dimension][1]
    return unit, factor(unit, dimension)
