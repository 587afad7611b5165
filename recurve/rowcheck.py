"""Rows of a catalogue against spring mechanics: how far each may be drawn, and what does not fit together.

A safe extension is found wherever wire, outer diameter and material are known. A contradiction is a remark, never an
error: the spring may be good and the row wrong.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from recurve.materials import tensile_of
from recurve.mechanism import Array
from recurve.springs import Spring
from recurve.strength import (
    allowed_extension,
    allowed_load,
    body_length,
    preferred_initial_stress,
    shear_stress,
)

Mask = NDArray[np.bool_]

NAMED = 4  # rows that a remark names; of the others it says how many there are
# Beyond the preferred band by so much the figures contradict each other: a winder can go a little past it.
BAND_SLACK = 0.3
# Inside length of a hook over the inside diameter of the coils, beyond which it is no hook; common practice, no source.
LEAST_HOOK, MOST_HOOK = 0.3, 4.0


def most_extensions(springs: Sequence[Spring]) -> Array:
    """How far past its free length (n,) [m] each spring may be drawn; infinite where that cannot be judged."""
    wire, outer = _column(springs, "wire"), _column(springs, "outer")
    load = allowed_load(wire, outer, *tensile_of([s.material for s in springs], wire))
    return allowed_extension(load, _column(springs, "rate"), _column(springs, "initial_tension"))


def checked(springs: Sequence[Spring], shown: str) -> tuple[tuple[Spring, ...], tuple[str, ...]]:
    """The springs with what they bear, and remarks on rows of the file `shown` whose figures contradict each other."""
    if not springs:
        return (), ()
    most = most_extensions(springs)
    kept = tuple(replace(s, most_extension=float(x)) for s, x in zip(springs, most, strict=True))
    table = {
        name: _column(springs, name) for name in ("rate", "free_length", "initial_tension", "wire", "outer", "coils")
    }
    columns = _Columns(**table, most=most)
    ids = np.array([s.id for s in springs])
    found = [_remark(shown, ids[test(columns)], words) for test, words in _TESTS]
    return kept, tuple(text for text in found if text)


def _column(springs: Sequence[Spring], name: str) -> Array:
    """A figure of each spring (n,), NaN where it is not known."""
    return np.array([np.nan if (x := getattr(s, name)) is None else x for s in springs], float)


@dataclass(frozen=True)
class _Columns:
    """The catalogue's figures (n,) in SI, NaN where unknown, so that every comparison with them is false; `most` is the
    safe extension."""

    rate: Array
    free_length: Array
    initial_tension: Array
    wire: Array
    outer: Array
    coils: Array
    most: Array

    @property
    def hook(self) -> Array:
        """Inside length of each hook over the coils' inside diameter [1], by what the closed body leaves."""
        return (self.free_length - body_length(self.wire, self.coils)) / (2 * (self.outer - 2 * self.wire))


def _too_long(c: _Columns) -> Mask:
    return body_length(c.wire, c.coils) > c.free_length


def _hooks_small(c: _Columns) -> Mask:
    return ~_too_long(c) & (c.hook < LEAST_HOOK)


def _hooks_large(c: _Columns) -> Mask:
    return c.hook > MOST_HOOK


def _tension_odd(c: _Columns) -> Mask:
    """Wound coil on coil, a spring has an initial tension near the preferred band; wound apart, none."""
    mean = c.outer - c.wire
    low, high = preferred_initial_stress(mean / c.wire)
    stress = shear_stress(c.initial_tension, c.wire, mean)
    slack = BAND_SLACK * (high - low)
    return (c.initial_tension > 0) & ((stress < low - slack) | (stress > high + slack))


def _already_over(c: _Columns) -> Mask:
    return c.most <= 0.0


_TESTS: tuple[tuple[Callable[[_Columns], Mask], str], ...] = (
    (_too_long, "the coils, one on another, are longer than the free length inside the hooks; measure it again"),
    (_hooks_small, "the coils leave hardly any length for the hooks; measure coils, wire and free length again"),
    (_hooks_large, "the free length is far longer than its coils and hooks; measure coils, wire and free length again"),
    (_tension_odd, "an initial tension that such coils cannot be wound to, or that hardly holds; weigh and stretch it"),
    (_already_over, "the initial tension alone is more than the wire bears; weigh and stretch it"),
)


def _remark(shown: str, ids: NDArray[np.str_], words: str) -> str:
    """One line for all rows with the same contradiction, "" where there is none."""
    if not len(ids):
        return ""
    more = f" and {len(ids) - NAMED} more" if len(ids) > NAMED else ""
    return f"{shown}: {', '.join(ids[:NAMED])}{more}: {words}"
