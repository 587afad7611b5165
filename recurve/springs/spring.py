"""One-sided extension springs: their pull, the rate from wire and coils, and a catalogue checked against mechanics.

Where wire, outer diameter and material are known, so is how far a spring may be drawn. A row of a catalogue whose
figures contradict each other is a remark, never an error: the spring may be good and the row wrong.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import ArrayLike, NDArray

from recurve.arrays import Array, Mask
from recurve.springs.stress import (
    allowed_extension,
    allowed_load,
    body_length,
    preferred_initial_stress,
    shear_stress,
)
from recurve.springs.wire import tensile_of

NAMED = 4  # rows that a remark names; the others are counted
# How far outside the preferred band, as a fraction of its width, an initial tension contradicts the coils.
BAND_SLACK = 0.3
# Inside length of a hook over the inside diameter of the coils, at least and at most; common practice, no source.
LEAST_HOOK, MOST_HOOK = 0.3, 4.0


@dataclass(frozen=True)
class Spring:
    """A spring as bought or as found. Lengths are inside the hooks, unloaded.

    rate [N/m], free_length [m], initial_tension [N]; wire and outer diameter [m] and coils of the body, None if
    unknown; quantity in stock, None if it can be ordered; most_extension [m]: how far past its free length it may be
    drawn, infinite if unknown. Where this very spring was measured, `rate_limit` [1] is the ± of its rate as a
    fraction, and `tension_limit` [N] that of its initial tension; None: a maker's tolerance counts.
    """

    id: str
    rate: float
    free_length: float
    initial_tension: float = 0.0
    wire: float | None = None
    outer: float | None = None
    coils: float | None = None
    material: str = ""
    quantity: int | None = None
    most_extension: float = math.inf
    rate_limit: float | None = None
    tension_limit: float | None = None

    @property
    def hook_opening(self) -> float | None:
        """Inside diameter [m] of a full hook, which is that of the coils: outer diameter less two wires. Common practice, no
        source. None where one of the two is not known."""
        return None if self.wire is None or self.outer is None else self.outer - 2 * self.wire

    @property
    def most_length(self) -> float:
        """The greatest length [m] inside the hooks to which it may be drawn, infinite if unknown."""
        return self.free_length + self.most_extension


@dataclass(frozen=True)
class Catalogue:
    """Springs that can be chosen, in the order of the file, and remarks on rows that look wrong."""

    springs: tuple[Spring, ...]
    notes: tuple[str, ...] = ()


def rate_from_wire(
    wire: ArrayLike, mean_diameter: ArrayLike, coils: ArrayLike, young: ArrayLike, shear: ArrayLike
) -> Array:
    """Rate k = d⁴G / (8 D³ N_a) [N/m], with N_a = N_b + G/E active coils, G/E for the two hooks.

    Wire and mean coil diameter [m], body coils N_b [1], E and G [Pa]; shapes broadcast.
    Source: Shigley's Mechanical Engineering Design, eq. 10-9 and 10-40.
    """
    d, mean, body = (np.asarray(x, float) for x in (wire, mean_diameter, coils))
    active = body + np.asarray(shear, float) / np.asarray(young, float)
    rate: Array = d**4 * np.asarray(shear, float) / (8 * mean**3 * active)
    return rate


def tension(
    length: ArrayLike, rate: ArrayLike, free_length: ArrayLike, initial_tension: ArrayLike, pulls: ArrayLike
) -> Array:
    """Pull T [N] of a one-sided spring (theory, equation 1); all shapes broadcast.

    length and free_length [m], rate [N/m], initial_tension [N]. `pulls` says where the spring has taken up: exactly at
    take-up the pull jumps from 0 to the initial tension, and only the caller knows which side it means.
    """
    stretch = np.maximum(np.asarray(length, float) - np.asarray(free_length, float), 0.0)
    pull: Array = np.where(pulls, np.asarray(initial_tension) + np.asarray(rate) * stretch, 0.0)
    return pull


def most_extensions(springs: Sequence[Spring]) -> Array:
    """How far past its free length (n,) [m] each spring may be drawn, infinite if it cannot be judged."""
    wire, outer = _column(springs, "wire"), _column(springs, "outer")
    load = allowed_load(wire, outer, *tensile_of([s.material for s in springs], wire))
    return allowed_extension(load, _column(springs, "rate"), _column(springs, "initial_tension"))


def checked(springs: Sequence[Spring], shown: str) -> tuple[tuple[Spring, ...], tuple[str, ...]]:
    """The springs with their greatest extension, and remarks on rows of the file `shown` whose figures contradict each
    other."""
    if not springs:
        return (), ()
    most = most_extensions(springs)
    kept = tuple(replace(s, most_extension=float(x)) for s, x in zip(springs, most, strict=True))
    table = {
        name: _column(springs, name) for name in ("rate", "free_length", "initial_tension", "wire", "outer", "coils")
    }
    columns = _Columns(**table, most=most)
    ids = np.array([s.id for s in springs])
    found = [_remark(shown, ids[rows], words) for rows, words in _contradictions(columns) if rows.any()]
    return kept, tuple(found)


def _column(springs: Sequence[Spring], name: str) -> Array:
    """A figure of each spring (n,), NaN if unknown."""
    return np.array([np.nan if (x := getattr(s, name)) is None else x for s in springs], float)


@dataclass(frozen=True)
class _Columns:
    """The catalogue's figures (n,) in SI, NaN if unknown, so that every comparison with them is false; `most` is the
    greatest extension."""

    rate: Array
    free_length: Array
    initial_tension: Array
    wire: Array
    outer: Array
    coils: Array
    most: Array

    @property
    def hook(self) -> Array:
        """Inside length of each hook over the coils' inside diameter [1], from what the closed body leaves."""
        return (self.free_length - body_length(self.wire, self.coils)) / (2 * (self.outer - 2 * self.wire))


def _contradictions(c: _Columns) -> list[tuple[Mask, str]]:
    """Which rows (n,) contradict themselves, and the remark on each kind."""
    too_long = body_length(c.wire, c.coils) > c.free_length
    mean = c.outer - c.wire
    low, high = preferred_initial_stress(mean / c.wire)
    stress, slack = shear_stress(c.initial_tension, c.wire, mean), BAND_SLACK * (high - low)
    # Wound coil on coil, a spring has an initial tension near the preferred band; wound apart, none.
    odd_tension = (c.initial_tension > 0) & ((stress < low - slack) | (stress > high + slack))
    return [
        (
            too_long,
            (
                "the coils, lying one on another, are longer than the free length inside the hooks; measure coils, "
                "wire and free length again"
            ),
        ),
        (
            ~too_long & (c.hook < LEAST_HOOK),
            "the coils leave hardly any length for the hooks; measure coils, wire and free length again",
        ),
        (
            c.hook > MOST_HOOK,
            "the free length is far longer than its coils and hooks; measure coils, wire and free length again",
        ),
        (
            odd_tension,
            "no coils of this size hold such an initial tension; weigh and stretch the spring",
        ),
        (c.most <= 0.0, "the initial tension alone overloads the wire; weigh and stretch the spring"),
    ]


def _remark(shown: str, ids: NDArray[np.str_], words: str) -> str:
    """One line for all rows with the same contradiction."""
    more = f" and {len(ids) - NAMED} more" if len(ids) > NAMED else ""
    return f"{shown}: {', '.join(ids[:NAMED])}{more}: {words}"
