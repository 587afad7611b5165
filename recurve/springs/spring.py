"""One-sided extension springs: what they pull, and what wire and coils make of their rate."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from recurve.mechanism import Array


@dataclass(frozen=True)
class Spring:
    """A spring as bought or as found. Lengths are inside the hooks, unloaded.

    rate [N/m], free_length [m], initial_tension [N]; wire and outer diameter [m] or None; coils of
    the body or None; quantity: how many there are, None if it can be ordered. most_extension [m]: how far past
    its free length it may be drawn, infinite where that is not known.
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

    @property
    def most_length(self) -> float:
        """How long [m] inside the hooks it may be drawn; infinite where that is not known."""
        return self.free_length + self.most_extension


def rate_from_wire(
    wire: ArrayLike, mean_diameter: ArrayLike, coils: ArrayLike, young: ArrayLike, shear: ArrayLike
) -> Array:
    """Rate k = d⁴G / (8 D³ N_a) [N/m], N_a = N_b + G/E for the two hooks.

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
    """Pull T [N] of a one-sided spring (design eq. 2); all shapes broadcast.

    length and free_length [m], rate [N/m], initial_tension [N]. `pulls` says where the spring has
    taken up: at the very take-up the pull jumps from 0 to the initial tension, and only the caller
    knows from which side it looks.
    """
    stretch = np.maximum(np.asarray(length, float) - np.asarray(free_length, float), 0.0)
    pull: Array = np.where(pulls, np.asarray(initial_tension) + np.asarray(rate) * stretch, 0.0)
    return pull
