"""The best springs there could be, and what may be ordered, as the JSON document of `plan` has them."""

from __future__ import annotations

from typing import Annotated

from recurve.output.documents.base import Document, Margin, PlaceName, Range, deg, if_known, number, pair, rates, told
from recurve.planner.ideal import Ideal, SpringRange
from recurve.planner.window import RateWindow, SpringWindow, Window


class IdealSpring(Document):
    """The best spring for a place, free of any catalogue, and what may be about it."""

    rate_n_per_mm: Annotated[float, told("Rate", "N/mm")]
    rate_range_n_per_mm: Annotated[Range, told("Least and most rate at range_margin", "N/mm")]
    pull_at_rest_n: Annotated[float, told("Pull at rest, negative where slack", "N")]
    pull_at_rest_range_n: Annotated[Range, told("Least and most of it at range_margin", "N")]
    takeup_deg: Annotated[float | None, told("Where it begins to pull; null: never", "distributor deg")]
    pull_at_takeup_n: Annotated[float, told("Its pull there", "N")]

    @classmethod
    def of(cls, spring: SpringRange) -> IdealSpring:
        """An ideal spring with its ranges."""
        return cls(
            rate_n_per_mm=number(spring.rate / 1e3),
            rate_range_n_per_mm=rates(spring.rates),
            pull_at_rest_n=number(spring.pull),
            pull_at_rest_range_n=pair(spring.pulls),
            takeup_deg=if_known(deg, spring.takeup),
            pull_at_takeup_n=number(spring.takeup_pull),
        )


class WindowRow(Document):
    """What may be at one rate."""

    rate_n_per_mm: Annotated[float, told("The rate", "N/mm")]
    pull_at_rest_n: Annotated[list[Range], told("Stretches of pull at rest that serve, negative where slack", "N")]
    free_length_mm: Annotated[
        Range | None, told("Free lengths inside the hooks, without initial tension; null: it needs some", "mm")
    ]
    takeup_deg: Annotated[
        tuple[float | None, float | None] | None,
        told("Take-ups without initial tension; null inside: never; null: it needs some", "distributor deg"),
    ]
    initial_tension_n: Annotated[float, told("The least initial tension that will do", "N")]

    @classmethod
    def of(cls, row: RateWindow) -> WindowRow:
        """What goes with one rate."""
        return cls(
            rate_n_per_mm=number(row.rate / 1e3),
            pull_at_rest_n=[pair(pull) for pull in row.pulls],
            free_length_mm=None if row.lengths is None else pair([1e3 * x for x in row.lengths]),
            takeup_deg=None if row.takeups is None else (if_known(deg, row.takeups[0]), if_known(deg, row.takeups[1])),
            initial_tension_n=number(row.tension),
        )


class WindowSpring(Document):
    """What may be ordered for one place."""

    rate_range_n_per_mm: Annotated[Range, told("Least and most rate", "N/mm")]
    rate_range_without_tension_n_per_mm: Annotated[
        Range | None, told("Least and most rate without initial tension; null: it needs some", "N/mm")
    ]
    at: Annotated[list[WindowRow], told("What goes with rates between")]

    @classmethod
    def of(cls, spring: SpringWindow) -> WindowSpring:
        """The window of one place."""
        return cls(
            rate_range_n_per_mm=rates(spring.rates),
            rate_range_without_tension_n_per_mm=None if spring.plain is None else rates(spring.plain),
            at=[WindowRow.of(row) for row in spring.rows],
        )


class OrderingWindow(Document):
    """Every spring that keeps a margin, the other spring following."""

    margin: Margin
    primary: WindowSpring
    secondary: WindowSpring | None

    @classmethod
    def of(cls, window: Window) -> OrderingWindow:
        """The window of both places."""
        primary, *rest = (WindowSpring.of(spring) for spring in window.springs)
        return cls(margin=number(window.floor), primary=primary, secondary=rest[0] if rest else None)


class IdealPlan(Document):
    """The best springs there could be, free of any catalogue."""

    margin: Margin
    range_margin: Annotated[float, told("The margin that the ranges keep", "1")]
    stop_deg: Annotated[float, told("The stop with them", "distributor deg")]
    primary: IdealSpring
    secondary: IdealSpring | None
    window: OrderingWindow | None

    @classmethod
    def of(cls, ideal: Ideal, window: Window | None) -> IdealPlan:
        """The ideal springs, and the window round them where there is one."""
        primary, *rest = (IdealSpring.of(spring) for spring in ideal.springs)
        return cls(
            margin=number(ideal.margin),
            range_margin=number(ideal.floor),
            stop_deg=deg(ideal.stop),
            primary=primary,
            secondary=rest[0] if rest else None,
            window=None if window is None else OrderingWindow.of(window),
        )

    @property
    def in_place(self) -> list[tuple[PlaceName, IdealSpring, WindowSpring | None]]:
        """The springs that there are: the name of the place, the spring, and what may be ordered in its stead."""
        window = self.window
        made: list[tuple[PlaceName, IdealSpring, WindowSpring | None]] = [
            ("primary", self.primary, None if window is None else window.primary)
        ]
        if self.secondary is not None:
            made.append(("secondary", self.secondary, None if window is None else window.secondary))
        return made
