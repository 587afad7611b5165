"""One-sided extension springs: what they pull, and what wire and coils make of their rate."""

from __future__ import annotations

import tomllib
from dataclasses import dataclass
from functools import cache

import numpy as np
from numpy.typing import ArrayLike

from recurve.datafiles import data_file
from recurve.mechanism import Array


@dataclass(frozen=True)
class Spring:
    """A spring as bought or as found. Lengths are inside the hooks, unloaded.

    rate [N/m], free_length [m], initial_tension [N]; wire and outer diameter [m] or None; coils of
    the body or None; quantity: how many there are, None if it can be ordered.
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


@dataclass(frozen=True)
class Material:
    """A spring wire: what it is called and its moduli by wire diameter.

    `up_to` [m] rising upper ends of the diameter ranges, `young` and `shear` [Pa] alongside.
    """

    name: str
    up_to: tuple[float, ...]
    young: tuple[float, ...]
    shear: tuple[float, ...]

    def moduli(self, wire: float) -> tuple[float, float]:
        """E and G [Pa] at the wire diameter [m]; past the last range, the last range's."""
        row = min(int(np.searchsorted(self.up_to, wire)), len(self.up_to) - 1)
        return self.young[row], self.shear[row]


@cache
def materials() -> dict[str, Material]:
    """The wire table `data/wire.toml` by material name [Pa, m]; sources stand in that file."""
    table = tomllib.loads(data_file("wire.toml").read_text(encoding="utf-8"))
    return {name: _material(name, entry) for name, entry in table["material"].items()}


def _material(name: str, entry: dict[str, list[float]]) -> Material:
    rows = [tuple(entry[key]) for key in ("up_to_mm", "young_gpa", "shear_gpa")]
    return Material(
        name, tuple(x * 1e-3 for x in rows[0]), tuple(x * 1e9 for x in rows[1]), tuple(x * 1e9 for x in rows[2])
    )


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
