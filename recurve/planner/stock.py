"""Springs for several planned units at once: what to take from stock, what to order, and what would serve several."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from recurve.arrays import Array


@dataclass(frozen=True)
class Need:
    """A place of a planned unit that needs a spring: the number of the `unit`, and the names of the spring `planned` and of its
    `alternates`, the best first, each of which passes while the unit's other spring is the one planned."""

    unit: int
    place: str
    planned: str
    alternates: tuple[str, ...] = ()

    @property
    def choices(self) -> tuple[str, ...]:
        """The spring planned, then its alternates."""
        return tuple(dict.fromkeys((self.planned, *self.alternates)))


@dataclass(frozen=True)
class Allotted:
    """What a need gets: the name of a `spring`, None where there is none to be had, and whether it is to be `ordered`."""

    need: Need
    spring: str | None
    ordered: bool = False

    @property
    def alternate(self) -> bool:
        """Whether it is another than planned."""
        return self.spring is not None and self.spring != self.need.planned


@dataclass(frozen=True)
class Shared:
    """A spring that would serve several places that are to be ordered for, or lack a spring."""

    spring: str
    needs: tuple[Need, ...]


def allot(needs: Sequence[Need], stock: Mapping[str, int | None]) -> tuple[Allotted, ...]:
    """Give each need a spring: as planned wherever it is in stock or can be ordered, else an alternate, and of one unit no more
    than one alternate. `stock`: how many there are of each name [1], None where any number can be ordered.

    An integer programme (SciPy's HiGHS): the fewest places without a spring, then the fewest and best alternates.
    """
    options = [(i, name) for i, need in enumerate(needs) for name in need.choices if name in stock]
    chosen = _chosen(needs, options, stock)
    given = {i: name for (i, name), taken in zip(options, chosen, strict=True) if taken}
    return tuple(
        Allotted(need, given.get(i), given.get(i) is not None and stock[given[i]] is None)
        for i, need in enumerate(needs)
    )


def _chosen(needs: Sequence[Need], options: list[tuple[int, str]], stock: Mapping[str, int | None]) -> Array:
    """Which of the options (n,) [1] are taken."""
    from scipy.optimize import Bounds, LinearConstraint, milp

    if not options:
        return np.zeros(0)
    rows, limits = [], []
    # All steps down the lists of alternates together cost less than one alternate, all alternates less than one place without
    # a spring.
    step, lacking = 1.0 / (sum(len(n.choices) for n in needs) + 1), 2.0 * (len(needs) + 1)
    ranks = np.array([needs[i].choices.index(name) for i, name in options])
    cost = np.where(ranks > 0, 1.0 + step * ranks, 0.0) - lacking
    where, named = np.array([i for i, _ in options]), np.array([name for _, name in options])
    unit = np.array([needs[i].unit for i in where])
    other = np.array([needs[i].planned != name for i, name in options])
    for i in np.unique(where):  # no need gets two springs
        rows.append(where == i)
        limits.append(1.0)
    for name in np.unique(named):  # no spring is used twice
        count = stock[str(name)]
        if count is not None:
            rows.append(named == name)
            limits.append(float(count))
    for u in np.unique(unit):  # an alternate counts on the other spring
        rows.append((unit == u) & other)
        limits.append(1.0)
    found = milp(
        cost,
        constraints=LinearConstraint(np.array(rows, float), -np.inf, np.array(limits)),
        integrality=np.ones(len(options)),
        bounds=Bounds(0.0, 1.0),
        options={"mip_rel_gap": 0.0},
    )
    taken: Array = np.round(found.x)
    return taken


def shared(allotted: Sequence[Allotted]) -> tuple[Shared, ...]:
    """Springs that pass in at least two of the places that are to be ordered for or lack a spring, and are not given to all of
    them already; those that serve most first. Of two places of one unit only one counts, since an alternate is judged beside
    the other spring as planned."""
    served: dict[str, list[Allotted]] = {}
    for one in allotted:
        for name in one.need.choices if one.spring is None or one.ordered else ():
            known = served.setdefault(name, [])
            if all(other.need.unit != one.need.unit for other in known):
                known.append(one)
    several = [
        Shared(name, tuple(a.need for a in known))
        for name, known in served.items()
        if len(known) > 1 and any(a.spring != name for a in known)
    ]
    return tuple(sorted(several, key=lambda s: (-len(s.needs), s.spring)))
