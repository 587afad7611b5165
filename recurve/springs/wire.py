"""Spring wire: materials, sizes and tolerances from `data/wire.toml`, which gives the sources."""

from __future__ import annotations

import difflib
import tomllib
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache
from typing import Any

import numpy as np
from numpy.typing import ArrayLike

from recurve.arrays import Array
from recurve.data import data_file
from recurve.units import INCH


@dataclass(frozen=True)
class Allowable:
    """The fraction [1] of the tensile strength that the corrected stress may reach: in the body, and in a hook by
    torsion and by bending. Static load only."""

    body: float
    hook_torsion: float
    hook_bending: float


@dataclass(frozen=True)
class Material:
    """A spring wire: its name, the standard it is sold by, its moduli and its tensile strength by wire diameter.

    `up_to` [m] are the rising upper ends of the diameter ranges of `young` and `shear` [Pa]. `strength` has a range per
    row: its lower and upper end [m], and A [Pa·mm^m] and m of S_ut = A / d^m with d in mm.
    """

    name: str
    standard: str
    up_to: tuple[float, ...]
    young: tuple[float, ...]
    shear: tuple[float, ...]
    strength: tuple[tuple[float, float, float, float], ...]
    allowable: Allowable

    def moduli(self, wire: ArrayLike) -> tuple[Array, Array]:
        """E and G [Pa] at the wire diameter [m], same shape; past the last range, those of the last range."""
        row = np.minimum(np.searchsorted(self.up_to, np.asarray(wire, float)), len(self.up_to) - 1)
        return np.asarray(self.young)[row], np.asarray(self.shear)[row]

    def tensile(self, wire: ArrayLike) -> Array:
        """Tensile strength S_ut [Pa] at the wire diameter [m], same shape; infinite outside the table's range, so that
        nothing is judged there."""
        diameter = np.asarray(wire, float)
        found = np.full(diameter.shape, np.inf)
        for low, high, a, m in reversed(self.strength):
            inside = (diameter >= low * (1 - 1e-9)) & (diameter <= high * (1 + 1e-9))
            found = np.where(inside, a / np.where(inside, diameter * 1e3, 1.0) ** m, found)
        return found


@dataclass(frozen=True)
class Sizes:
    """Wires that can be ordered: `material`, `diameter` [m] and `label` of each."""

    material: tuple[Material, ...]
    diameter: Array
    label: tuple[str, ...]


@cache
def materials() -> dict[str, Material]:
    """The materials [Pa, m] by name."""
    table = _table()
    return {name: _material(name, entry, table["allowable"]) for name, entry in table["material"].items()}


def unknown_material(name: str) -> str | None:
    """The fault of a name that is not in the wire table, None for one that is."""
    known = tuple(materials())
    if name in known:
        return None
    near = difflib.get_close_matches(name, known, 1)
    hint = f'; did you mean "{near[0]}"?' if near else ""
    return f'got "{name}", expected one of {", ".join(known)}{hint}'


def wire_sizes(series: Sequence[str], names: Sequence[str]) -> Sizes:
    """The wires that can be ordered of each `series` ("metric", "gauge") in the materials named, in rising diameter."""
    chosen: list[tuple[Material, float, str]] = []
    for one in series:
        entry = _table()["size"][one]
        sizes = _labelled(entry)
        chosen += [(materials()[n], d, label) for n in names if n in entry["materials"] for d, label in sizes]
    return Sizes(tuple(c[0] for c in chosen), np.array([c[1] for c in chosen]), tuple(c[2] for c in chosen))


def wire_half_width(wire: ArrayLike) -> Array:
    """The tolerance ± [m] of wire of this diameter [m], same shape; past the table, its last relative tolerance."""
    diameter, entry = np.asarray(wire, float), _table()["tolerance"]
    ends, half_widths = np.array(entry["up_to_in"]) * INCH, np.array(entry["limit_in"]) * INCH
    row = np.minimum(np.searchsorted(ends * (1 + 1e-9), diameter), len(ends) - 1)
    return np.where(diameter > ends[-1] * (1 + 1e-9), diameter * half_widths[-1] / ends[-1], half_widths[row])


def tensile_of(names: Sequence[str], wire: ArrayLike) -> tuple[Array, Array]:
    """Tensile strength (n,) [Pa] and the allowable fractions (3, n) [1] of it in body, hook torsion and hook bending.

    `names` (n,) of materials, `wire` (n,) [m], 0 or NaN if unknown. If the material or the wire is not known the
    strength is infinite and the fractions are 1, so that nothing is judged.
    """
    diameter = np.nan_to_num(np.asarray(wire, float))
    strength, fractions = np.full(diameter.shape, np.inf), np.ones((3, *diameter.shape))
    for name in sorted(set(names) & set(materials())):
        rows, material = np.array([n == name for n in names]), materials()[name]
        strength[rows] = material.tensile(diameter[rows])
        limit = material.allowable
        fractions[:, rows] = np.array([limit.body, limit.hook_torsion, limit.hook_bending])[:, None]
    return strength, fractions


@cache
def _table() -> dict[str, Any]:
    return tomllib.loads(data_file("wire.toml").read_text(encoding="utf-8"))


def _material(name: str, entry: dict[str, Any], allowables: dict[str, Any]) -> Material:
    ends = [entry["strength_from_mm"], *entry["strength_up_to_mm"]]
    strength = tuple(
        (low * 1e-3, high * 1e-3, a * 1e6, m)
        for low, high, a, m in zip(ends, ends[1:], entry["strength_a"], entry["strength_m"], strict=False)
    )
    return Material(
        name,
        entry["standard"],
        up_to=tuple(x * 1e-3 for x in entry["up_to_mm"]),
        young=tuple(x * 1e9 for x in entry["young_gpa"]),
        shear=tuple(x * 1e9 for x in entry["shear_gpa"]),
        strength=strength,
        allowable=Allowable(**allowables[entry["allowable"]]),
    )


def _labelled(entry: dict[str, Any]) -> list[tuple[float, str]]:
    """Diameter [m] and what to call it, of one series."""
    if "diameter_mm" in entry:
        return [(d * 1e-3, f"{d:.2f} mm") for d in entry["diameter_mm"]]
    return [(d * INCH, f"gauge {n}, {d:.3f} in") for n, d in enumerate(entry["diameter_in"], entry["first"])]
