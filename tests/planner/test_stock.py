"""Springs for several units: against every possible choice, tried one by one, and cases by hand."""

from __future__ import annotations

from itertools import product

import numpy as np
import pytest

from recurve.planner.stock import Allotted, Need, allot, shared

Stock = dict[str, int | None]


def given(needs: list[Need], stock: Stock) -> list[str | None]:
    """The spring of each need."""
    return [a.spring for a in allot(needs, stock)]


def worth(needs: list[Need], choice: tuple[str | None, ...], stock: Stock) -> tuple[int, int, int] | None:
    """What a choice costs: places without a spring, alternates, steps down their lists; None where it cannot be."""
    for name in {c for c in choice if c is not None}:
        count = stock[name]
        if count is not None and sum(c == name for c in choice) > count:
            return None
    others = [n.unit for n, c in zip(needs, choice, strict=True) if c is not None and c != n.planned]
    if len(set(others)) < len(others):
        return None
    steps = sum(n.choices.index(c) for n, c in zip(needs, choice, strict=True) if c is not None)
    return sum(c is None for c in choice), len(others), steps


@pytest.mark.parametrize("seed", range(25))
def test_against_every_choice(seed: int) -> None:
    """Random needs and drawers: no choice that can be is better, as a brute force over all of them finds."""
    rng = np.random.default_rng(seed)
    names = [f"S{i}" for i in range(5)]
    needs = []
    for unit in range(3):
        for place in ("primary", "secondary")[: rng.integers(1, 3)]:
            planned, *others = (names[i] for i in rng.permutation(5)[: rng.integers(1, 5)])
            needs.append(Need(unit, place, planned, tuple(others)))
    stock: Stock = {n: None if rng.random() < 0.15 else int(rng.integers(0, 3)) for n in names if rng.random() < 0.9}
    found = tuple(a.spring for a in allot(needs, stock))
    reached = worth(needs, found, stock)
    options = [[None, *(c for c in n.choices if c in stock)] for n in needs]
    tried = [worth(needs, choice, stock) for choice in product(*options)]
    assert reached is not None and reached == min(t for t in tried if t is not None)


def test_as_planned_where_it_can_be_had() -> None:
    """An alternate in stock does not replace what can be ordered: the plan chose it."""
    needs = [Need(0, "primary", "A", ("B",)), Need(1, "primary", "A", ("B",))]
    assert given(needs, {"A": 2, "B": 5}) == ["A", "A"]
    assert given(needs, {"A": None, "B": 5}) == ["A", "A"]
    assert [a.ordered for a in allot(needs, {"A": None})] == [True, True]


def test_the_last_one_goes_where_there_is_no_alternate() -> None:
    needs = [Need(0, "primary", "A", ("B", "C")), Need(1, "primary", "A")]
    found = allot(needs, {"A": 1, "B": 0, "C": 1})
    assert [a.spring for a in found] == ["C", "A"] and [a.alternate for a in found] == [True, False]


def test_one_alternate_in_a_unit() -> None:
    """Each alternate was judged beside the other spring as planned, so both at once prove nothing."""
    needs = [Need(0, "primary", "A", ("C",)), Need(0, "secondary", "B", ("D",))]
    stock: Stock = {"A": 0, "B": 0, "C": 1, "D": 1}
    assert sum(s is None for s in given(needs, stock)) == 1
    assert given([needs[0], Need(1, "secondary", "B", ("D",))], stock) == ["C", "D"]


def test_nothing_to_be_had() -> None:
    assert allot([], {}) == ()
    assert given([Need(0, "primary", "A", ("B",))], {}) == [None]


def test_what_serves_several() -> None:
    """By hand: R passes in all three open places; two places of one unit count once; what is taken from stock
    is not asked, nor Q, which two places get already."""
    needs = [
        Need(0, "primary", "P", ("R",)), Need(0, "secondary", "Q", ("R",)), Need(1, "primary", "Q", ("R",)),
        Need(2, "primary", "Z", ("R",)), Need(3, "primary", "Y", ("R",)),
    ]  # fmt: skip
    stock: Stock = {"P": None, "Q": None, "R": None, "Z": None, "Y": 3}
    found = shared(allot(needs, stock))
    assert [(s.spring, [n.unit for n in s.needs]) for s in found] == [("R", [0, 1, 2])]
    assert shared([Allotted(needs[0], "P", ordered=False), Allotted(needs[3], "R", ordered=False)]) == ()
