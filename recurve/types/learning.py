"""Units measured before to a type of unit: what they have alike, what they scatter about, and which do not belong."""

from __future__ import annotations

import json
import re
from collections.abc import Sequence
from dataclasses import dataclass, replace
from statistics import NormalDist
from typing import Any

import numpy as np

from recurve.errors import Key
from recurve.job.learned import Learned
from recurve.types.facts import MUST_BE_ALIKE, UnitFacts, scale_of
from recurve.types.pooling import pooled, surprise

ACCUSED = 0.05  # chance that any of the units is named where all belong
FEWEST = 3  # units from which one of them can be told from the others


@dataclass(frozen=True)
class Misfit:
    """A unit that does not belong to the others: its place `unit` among those given, the chance `p` [1] that one of the type
    is as far off, and by what: the quantity of this `key`, what it is (`value`) and what the others are (`others`) [SI],
    None where they cannot be numbers."""

    unit: int
    p: float
    key: Key
    value: float | None
    others: float | None
    deviation: float | None


@dataclass(frozen=True)
class Apart:
    """Units that contradict each other where none can be told from the rest: the places of the `units`, the `key` in which they
    differ, what each has (`values`, a number [SI] or a word), and the chance `p` [1] that two of one type are as far apart in
    all, 0 where no two of a type are."""

    units: tuple[int, ...]
    key: Key
    values: tuple[float | str, ...]
    p: float


@dataclass(frozen=True)
class LearnedType:
    """A type as learned: `learned` by key [SI], what the units have `alike` by key, the units that do not belong, the keys that
    it has not since the units are `unlike`, where units are `apart`, and which of them state otherwise (`deviating`, the place
    and the key) what the type takes from most."""

    learned: dict[Key, Learned]
    alike: dict[Key, Any]
    misfits: tuple[Misfit, ...]
    unlike: tuple[Key, ...]
    apart: tuple[Apart, ...] = ()
    deviating: tuple[tuple[int, Key], ...] = ()

    @property
    def belong(self) -> bool:
        """Whether nothing speaks against it that all units are of one type."""
        return not self.misfits and not self.apart


def learn(units: Sequence[UnitFacts]) -> LearnedType:
    """What the units tell of their type. Units that do not belong are named, and are in what is learned all the same."""
    alike, unlike = _common(units)
    learned: dict[Key, Learned] = {}
    for key in _keys(units):
        values, uncertainties, _ = _column(units, key)
        made = pooled(values, uncertainties, scale_of(key, "spread"))
        learned[key] = _as_told(key, Learned(made.mean, made.spread, made.uncertainty, made.units))
    misfits = _misfits(units, alike)
    apart = _apart(units, unlike, misfits)
    return LearnedType(learned, alike, misfits, unlike, apart, _deviating(units, alike, misfits))


def _as_told(key: Key, one: Learned) -> Learned:
    """A rate [N/m] of what was pooled as its logarithm."""
    if key[-1] != "rate":
        return one
    mean = float(np.exp(one.mean))
    return Learned(mean, one.spread * mean, one.uncertainty * mean, one.units)


def _keys(units: Sequence[UnitFacts]) -> list[Key]:
    """Quantities that more than half of the units tell, in the order in which they are told. A unit that took one from a type
    is not among those asked."""
    every = list(dict.fromkeys(key for unit in units for key in unit.told))
    asked = {key: [unit for unit in units if key not in unit.taken] for key in every}
    return [key for key in every if 2 * sum(key in unit.told for unit in asked[key]) > len(asked[key])]


def _column(units: Sequence[UnitFacts], key: Key) -> tuple[np.ndarray, np.ndarray, list[int]]:
    """Values and standard uncertainties (n,) [SI] of a quantity, and which units tell it. Angles lie within half a turn of
    the first."""
    which = [i for i, unit in enumerate(units) if key in unit.told]
    values = np.array([units[i].told[key].value for i in which])
    if key[-1] == "angle":
        values = values[0] + (values - values[0] + np.pi) % (2 * np.pi) - np.pi
    return values, np.array([units[i].told[key].uncertainty for i in which]), which


def _common(units: Sequence[UnitFacts]) -> tuple[dict[Key, Any], tuple[Key, ...]]:
    """What most of the units have alike; and the keys in which no value is that of more than half of them. Where units state
    it, those that took it from a type are not asked."""
    made: dict[Key, Any] = {}
    unlike: list[Key] = []
    for key in dict.fromkeys(key for unit in units for key in unit.alike):
        asked = [unit for unit in units if key not in unit.taken] or units
        told = [_text(unit.alike.get(key)) for unit in asked]
        commonest = max(dict.fromkeys(told), key=told.count)
        if 2 * told.count(commonest) <= len(asked):
            unlike.append(key)
        elif commonest != "null":
            made[key] = asked[told.index(commonest)].alike[key]
    return made, tuple(unlike)


def _text(value: Any) -> str:
    """What a job states, so that the same is one text: "6.0 deg" and "6 deg" are."""
    plain = re.sub(r"\d+\.?\d*", lambda number: f"{float(number[0]):g}", json.dumps(value, sort_keys=True, default=str))
    return re.sub(r"(?<=\d)\s+(?=[a-z])", "", plain)


def _deviating(
    units: Sequence[UnitFacts], alike: dict[Key, Any], misfits: tuple[Misfit, ...]
) -> tuple[tuple[int, Key], ...]:
    """The units that state otherwise what most have alike, and no type must have: a book, how far a post may go."""
    known = {m.unit for m in misfits}
    return tuple(
        (i, key)
        for i, unit in enumerate(units)
        for key, value in alike.items()
        if i not in known and key[0] not in MUST_BE_ALIKE and key not in unit.taken
        if unit.alike.get(key) is not None and _text(unit.alike[key]) != _text(value)
    )


def _misfits(units: Sequence[UnitFacts], alike: dict[Key, Any]) -> tuple[Misfit, ...]:
    """The units that do not belong, the worst first (theory, equation 5). Those of another kind say nothing of the rest."""
    found = [*_other_kind(units, alike)]
    known = {m.unit for m in found}
    kept = [i for i in range(len(units)) if i not in known]
    if len(kept) >= FEWEST:
        for place, i in enumerate(kept):
            misfit = _against_others([units[k] for k in kept], place)
            if misfit is not None and misfit.p * len(kept) < ACCUSED:
                found.append(replace(misfit, unit=i))
    return tuple(sorted(found, key=lambda m: m.p))


def _other_kind(units: Sequence[UnitFacts], alike: dict[Key, Any]) -> list[Misfit]:
    made = []
    for i, unit in enumerate(units):
        differs = [k for k in alike if k[0] in MUST_BE_ALIKE and k in unit.alike and unit.alike[k] != alike[k]]
        if differs:
            made.append(Misfit(i, 0.0, differs[0], None, None, None))
    return made


def _apart(units: Sequence[UnitFacts], unlike: tuple[Key, ...], misfits: tuple[Misfit, ...]) -> tuple[Apart, ...]:
    """Where the units contradict each other and no majority says which is wrong: in what must be alike, or two that differ by
    more than units of a type do."""
    found = []
    for key in (k for k in unlike if k[0] in MUST_BE_ALIKE):
        which = [i for i, unit in enumerate(units) if key not in unit.taken and unit.alike.get(key) is not None]
        values = tuple(str(units[i].alike[key]) for i in which)
        if len(set(values)) > 1:
            found.append(Apart(tuple(which), key, values, 0.0))
    kept = [i for i in range(len(units)) if i not in {m.unit for m in misfits}]
    if found or len(kept) != 2:
        return tuple(found)
    one = _against_others([units[i] for i in kept], 1)
    if one is None or one.p >= ACCUSED or one.value is None or one.others is None:
        return ()
    return (Apart(tuple(kept), one.key, (one.others, one.value), one.p),)


def _against_others(units: Sequence[UnitFacts], unit: int) -> Misfit | None:
    """How far a unit is off what the others predict; None where it tells nothing that they do."""
    chances: list[tuple[float, Misfit]] = []
    for key in _keys(units):
        values, uncertainties, which = _column(units, key)
        if unit not in which or len(which) < 2:
            continue
        at = which.index(unit)
        others, of_others = np.delete(values, at), np.delete(uncertainties, at)
        scale = scale_of(key, "spread")
        p = surprise(float(values[at]), float(uncertainties[at]), others, of_others, scale)
        rest = pooled(others, of_others, scale)
        told = _as_told(key, Learned(rest.mean, rest.spread, rest.uncertainty, rest.units))
        value = _as_told(key, Learned(float(values[at]), 0.0, 0.0, 1)).mean
        chances.append((p, Misfit(unit, p, key, value, told.mean, told.deviation)))
    if not chances:
        return None
    worst = min(chances, key=lambda c: c[0])
    return Misfit(
        unit, combined([p for p, _ in chances]), worst[1].key, worst[1].value, worst[1].others, worst[1].deviation
    )


def combined(chances: Sequence[float]) -> float:
    """One chance [1] from those of several quantities (theory, equation 5)."""
    from scipy.special import gammaincc

    normal = NormalDist()
    squares = sum(normal.inv_cdf(min(1.0 - max(p, 1e-15) / 2, 1.0 - 1e-16)) ** 2 for p in chances)
    together = float(gammaincc(len(chances) / 2, squares / 2))
    return min(1.0, 2.0 * min(len(chances) * min(chances), together))
