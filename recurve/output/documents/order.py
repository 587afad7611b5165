"""The JSON document of `order`: one list of springs for several planned units, with the stock looked at."""

from __future__ import annotations

from typing import Annotated

from recurve.output.documents.base import Document, Files, Notes, PlaceName, told


class OrderedFor(Document):
    """A place that gets a spring."""

    job: Annotated[str, told("The unit's job file")]
    place: PlaceName
    planned: Annotated[str, told("Name of the spring that was planned there")]
    alternate: Annotated[bool, told("Whether this is another, which passes too")]
    lacking: Annotated[bool, told("Whether none is left for it")]


class OrderLine(Document):
    """A spring of the list."""

    id: Annotated[str, told("Its name in the catalogue")]
    catalogue: Annotated[str, told("The catalogue's file")]
    take: Annotated[int, told("How many to take from stock", "1")]
    order: Annotated[int, told("How many to order", "1")]
    lacking: Annotated[int, told("How many are neither in stock nor can be ordered by this catalogue", "1")]
    in_stock: Annotated[int | None, told("How many there are; null: it can be ordered, or the catalogue has none", "1")]
    rate_n_per_mm: Annotated[float | None, told("Rate; null: the catalogue has no such spring", "N/mm")]
    free_length_mm: Annotated[float | None, told("Free length inside the hooks; null: likewise", "mm")]
    initial_tension_n: Annotated[float | None, told("Initial tension; null: likewise", "N")]
    wire_mm: Annotated[float | None, told("Diameter of the wire; null: not known", "mm")]
    outer_mm: Annotated[float | None, told("Diameter over the coils; null: not known", "mm")]
    coils: Annotated[float | None, told("Coils of the body; null: not known", "1")]
    material: Annotated[str, told("Material; empty: not known")]
    used_for: list[OrderedFor]


class KeptSpring(Document):
    """A place that keeps a spring found in the unit, since the one planned cannot be had."""

    job: Annotated[str, told("The unit's job file")]
    place: PlaceName
    id: Annotated[str, told("The spring found, as the plan calls it")]
    planned: Annotated[str, told("Name of the spring that was planned there")]


class SharedSpring(Document):
    """A spring that passes in several of the places to be ordered for."""

    id: Annotated[str, told("Its name in the catalogue")]
    catalogue: Annotated[str, told("The catalogue's file")]
    in_stock: Annotated[int | None, told("How many are left in stock; null: it can be ordered", "1")]
    used_for: list[OrderedFor]


class LeftOut(Document):
    """A unit that is not in the list."""

    job: Annotated[str, told("Its job file")]
    why: str
    settled: Annotated[bool, told("Whether nothing is to be done: it is built, or needs no spring")]


class OrderDocument(Document):
    """One list for all planned units."""

    jobs: Annotated[list[str], told("Job files of the units in the list")]
    lines: Annotated[list[OrderLine], told("By catalogue and name")]
    kept: Annotated[list[KeptSpring], told("Places that keep the spring found there, which passes too")]
    shared: Annotated[list[SharedSpring], told("Springs that would serve several units, those that serve most first")]
    left_out: list[LeftOut]
    notes: Notes
    files: Files

    @property
    def good(self) -> bool:
        """Whether every unit gets its springs."""
        return not any(line.lacking for line in self.lines) and all(one.settled for one in self.left_out)
