"""Spring wire: what `data/wire.toml` says of it. Sources stand in that file.

What an extension spring bears: corrected stresses in body and hooks, initial tension, lengths, tolerances.

Static load only: fatigue is not judged. Formulas of Shigley's Mechanical Engineering Design by their numbers
(second-hand through transcriptions). Everything broadcasts; SI throughout.

D is the mean diameter of the coils, d the wire's, C = D/d the index. A hook is bent up from the body at a mean radius r1
(where it bends, A) and turns into the body at r2 (where it twists, B). Where a hook is not described it is taken as a
full one, r1 = D/2, bent up no sharper than common practice allows, r2 = 2d.
"""

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
    """What share [1] of the tensile strength the corrected stress may reach: in the body, and in a hook by torsion
    and by bending; static load only."""

    body: float
    hook_torsion: float
    hook_bending: float


@dataclass(frozen=True)
class Material:
    """A spring wire: what it is called, the standard it is sold by, its moduli and its tensile strength by wire diameter.

    `up_to` [m] rising upper ends of the diameter ranges, `young` and `shear` [Pa] alongside. `strength` holds a range
    a row: its lower and upper end [m], A [Pa·mm^m] and m of S_ut = A / d^m with d in mm.
    """

    name: str
    standard: str
    up_to: tuple[float, ...]
    young: tuple[float, ...]
    shear: tuple[float, ...]
    strength: tuple[tuple[float, float, float, float], ...]
    allowable: Allowable

    def moduli(self, wire: ArrayLike) -> tuple[Array, Array]:
        """E and G [Pa] at the wire diameter [m], of its shape; past the last range, the last range's."""
        row = np.minimum(np.searchsorted(self.up_to, np.asarray(wire, float)), len(self.up_to) - 1)
        return np.asarray(self.young)[row], np.asarray(self.shear)[row]

    def tensile(self, wire: ArrayLike) -> Array:
        """Tensile strength S_ut [Pa] at the wire diameter [m], of its shape; infinite where the table says nothing,
        thinner or thicker than it goes, so that nothing is judged there."""
        diameter = np.asarray(wire, float)
        found = np.full(diameter.shape, np.inf)
        for low, high, a, m in reversed(self.strength):
            inside = (diameter >= low * (1 - 1e-9)) & (diameter <= high * (1 + 1e-9))
            found = np.where(inside, a / np.where(inside, diameter * 1e3, 1.0) ** m, found)
        return found


@dataclass(frozen=True)
class Sizes:
    """Wire of one material as it can be ordered: `material`, `diameter` [m] and `label` of each, alongside."""

    material: tuple[Material, ...]
    diameter: Array
    label: tuple[str, ...]


@cache
def _table() -> dict[str, Any]:
    return tomllib.loads(data_file("wire.toml").read_text(encoding="utf-8"))


@cache
def materials() -> dict[str, Material]:
    """The wires by name [Pa, m]."""
    table = _table()
    return {name: _material(name, entry, table["allowable"]) for name, entry in table["material"].items()}


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


def unknown_material(name: str) -> str | None:
    """What is wrong with a name that is not in the wire table, None for one that is."""
    known = tuple(materials())
    if name in known:
        return None
    near = difflib.get_close_matches(name, known, 1)
    hint = f'; did you mean "{near[0]}"?' if near else ""
    return f'got "{name}", expected one of {", ".join(known)}{hint}'


def wire_sizes(series: Sequence[str], names: Sequence[str]) -> Sizes:
    """The wires to order of the `series` ("metric", "gauge") and the materials named, thinnest first in each."""
    chosen: list[tuple[Material, float, str]] = []
    for one in series:
        entry = _table()["size"][one]
        sizes = _labelled(entry)
        chosen += [(materials()[n], d, label) for n in names if n in entry["materials"] for d, label in sizes]
    return Sizes(tuple(c[0] for c in chosen), np.array([c[1] for c in chosen]), tuple(c[2] for c in chosen))


def _labelled(entry: dict[str, Any]) -> list[tuple[float, str]]:
    """Diameter [m] and what to call it, of one series."""
    if "diameter_mm" in entry:
        return [(d * 1e-3, f"{d:.2f} mm") for d in entry["diameter_mm"]]
    return [(d * INCH, f"gauge {n}, {d:.3f} in") for n, d in enumerate(entry["diameter_in"], entry["first"])]


def wire_limit(wire: ArrayLike) -> Array:
    """How far [m] wire of this diameter [m] may be off, of its shape; past the table, its last relative limit."""
    diameter, entry = np.asarray(wire, float), _table()["tolerance"]
    ends, limits = np.array(entry["up_to_in"]) * INCH, np.array(entry["limit_in"]) * INCH
    row = np.minimum(np.searchsorted(ends * (1 + 1e-9), diameter), len(ends) - 1)
    return np.where(diameter > ends[-1] * (1 + 1e-9), diameter * limits[-1] / ends[-1], limits[row])


def tensile_of(names: Sequence[str], wire: ArrayLike) -> tuple[Array, Array]:
    """Tensile strength (n,) [Pa] and allowable shares (3, n) of body, hook torsion and hook bending [1].

    `names` (n,) of materials, `wire` (n,) [m], 0 or NaN where unknown. Infinite strength and shares of 1 where the
    material or the wire is not known: nothing is judged there.
    """
    diameter = np.nan_to_num(np.asarray(wire, float))
    strength, shares = np.full(diameter.shape, np.inf), np.ones((3, *diameter.shape))
    for name in sorted(set(names) & set(materials())):
        rows, material = np.array([n == name for n in names]), materials()[name]
        strength[rows] = material.tensile(diameter[rows])
        limit = material.allowable
        shares[:, rows] = np.array([limit.body, limit.hook_torsion, limit.hook_bending])[:, None]
    return strength, shares


PSI = 6894.757
HOOK_TURN = 2.0  # r2 / d of a hook that nobody described; common practice, no source: tighter is seldom bent
HALF_COIL_HOOKS = 1.0  # turns that both hooks yield like by another handbook: half a coil each


def _array(value: ArrayLike) -> Array:
    return np.asarray(value, float)


def wahl(index: ArrayLike) -> Array:
    """Wahl's factor of curvature and direct shear [1] from the index C > 1 (10-4)."""
    c = _array(index)
    return (4 * c - 1) / (4 * c - 4) + 0.615 / c


def bergstrasser(index: ArrayLike) -> Array:
    """Bergsträsser's factor of curvature and direct shear [1] from the index C > 1 (10-5)."""
    c = _array(index)
    return (4 * c + 2) / (4 * c - 3)


def shear_stress(load: ArrayLike, wire: ArrayLike, mean: ArrayLike, factor: ArrayLike = 1.0) -> Array:
    """Torsional stress of the body [Pa], K·8FD/(πd³) (10-2); `factor` 1 gives the uncorrected one.

    load F [N], wire d and mean coil diameter D [m].
    """
    return _array(factor) * 8 * _array(load) * _array(mean) / (np.pi * _array(wire) ** 3)


def load_at(stress: ArrayLike, wire: ArrayLike, mean: ArrayLike, factor: ArrayLike = 1.0) -> Array:
    """The load [N] at which the body is stressed so [Pa]: `shear_stress` turned round."""
    return _array(stress) * np.pi * _array(wire) ** 3 / (8 * _array(mean) * _array(factor))


def bending_factor(wire: ArrayLike, radius: ArrayLike) -> Array:
    """(K)_A = (4C1² − C1 − 1) / (4C1(C1 − 1)) [1], C1 = 2r1/d > 1 (10-35)."""
    c = 2 * _array(radius) / _array(wire)
    return (4 * c**2 - c - 1) / (4 * c * (c - 1))


def hook_bending(load: ArrayLike, wire: ArrayLike, mean: ArrayLike, radius: ArrayLike) -> Array:
    """Bending stress at A of a hook [Pa], F((K)_A·16D/(πd³) + 4/(πd²)) (10-34); r1 [m]."""
    d = _array(wire)
    curved = bending_factor(d, radius) * 16 * _array(mean) / (np.pi * d**3)
    return _array(load) * (curved + 4 / (np.pi * d**2))


def torsion_factor(wire: ArrayLike, radius: ArrayLike) -> Array:
    """(K)_B = (4C2 − 1) / (4C2 − 4) [1], C2 = 2r2/d > 1 (10-37)."""
    c = 2 * _array(radius) / _array(wire)
    return (4 * c - 1) / (4 * c - 4)


def hook_torsion(load: ArrayLike, wire: ArrayLike, mean: ArrayLike, radius: ArrayLike) -> Array:
    """Torsional stress at B of a hook [Pa], (K)_B·8FD/(πd³) (10-36); r2 [m]."""
    return shear_stress(load, wire, mean, torsion_factor(wire, radius))


def preferred_initial_stress(index: ArrayLike) -> tuple[Array, Array]:
    """Least and greatest uncorrected initial stress [Pa] that winds well:
    33500/exp(0.105C) ± 1000(4 − (C − 3)/6.5) psi (10-41)."""
    c = _array(index)
    middle, half = 33500 / np.exp(0.105 * c), 1000 * (4 - (c - 3) / 6.5)
    return (middle - half) * PSI, (middle + half) * PSI


def body_length(wire: ArrayLike, coils: ArrayLike) -> Array:
    """Length of the closed body, coil on coil [m]: (N_b + 1) d. It can never be shorter."""
    return (_array(coils) + 1) * _array(wire)


def closed_length(wire: ArrayLike, mean: ArrayLike, coils: ArrayLike) -> Array:
    """Free length inside two full hooks, coil on coil [m]: L_0 = (2C − 1 + N_b) d (10-39)."""
    d = _array(wire)
    return 2 * (_array(mean) - d) + body_length(d, coils)


def rate_spread(wire: ArrayLike, limit: ArrayLike) -> Array:
    """How far the rate may be off [1] by wire that is off by `limit` [m], the mean diameter held: (1 + limit/d)⁴ − 1."""
    return (1 + _array(limit) / _array(wire)) ** 4 - 1


def hook_doubt(coils: ArrayLike, young: ArrayLike, shear: ArrayLike) -> Array:
    """How much softer [1] the spring is if each hook yields like half a coil, not both like G/E turns.

    Machinery's Handbook counts half a coil a hook, Shigley G/E turns for both: a model uncertainty.
    """
    body = _array(coils)
    return 1 - (body + _array(shear) / _array(young)) / (body + HALF_COIL_HOOKS)


@dataclass(frozen=True)
class Stresses:
    """Corrected stresses [Pa] at a load: `body` (Bergsträsser), `hook_torsion`, `hook_bending`."""

    body: Array
    hook_torsion: Array
    hook_bending: Array

    def shares(self, tensile: ArrayLike, allowed: ArrayLike) -> Array:
        """Each stress over what is allowed, (3, …) [1]; `allowed` (3, …) are shares of the tensile strength [Pa].
        0 where the strength is infinite, that is not known."""
        found = np.stack(np.broadcast_arrays(self.body, self.hook_torsion, self.hook_bending))
        return found / (_array(allowed) * _array(tensile))


def stresses(load: ArrayLike, wire: ArrayLike, mean: ArrayLike) -> Stresses:
    """Corrected stresses of springs with hooks as taken above: load [N], wire and mean coil diameter [m]."""
    d, diameter = _array(wire), _array(mean)
    turn = np.minimum(HOOK_TURN * d, diameter / 2)
    return Stresses(
        shear_stress(load, d, diameter, bergstrasser(diameter / d)),
        hook_torsion(load, d, diameter, turn),
        hook_bending(load, d, diameter, diameter / 2),
    )


def allowed_load(wire: ArrayLike, outer: ArrayLike, tensile: ArrayLike, allowed: ArrayLike) -> Array:
    """The load [N] at which the first of the three stresses reaches what is allowed.

    wire and outer [m], 0 or NaN where unknown; tensile [Pa], infinite where unknown; `allowed` (3, …) shares [1] in the
    order of `Stresses`. Infinite, never NaN, where the wire, the diameter or the strength is not known, or no
    such spring can be: it is not judged.
    """
    d, over = np.broadcast_arrays(np.nan_to_num(_array(wire)), np.nan_to_num(_array(outer)))
    known = (d > 0) & (over > 2 * d)
    d, over = np.where(known, d, 1e-3), np.where(known, over, 6e-3)
    share = stresses(1.0, d, over - d).shares(tensile, allowed).max(axis=0)
    judged = known & (share > 0)
    return np.where(judged, 1 / np.where(judged, share, 1.0), np.inf)


def allowed_extension(load: ArrayLike, rate: ArrayLike, initial_tension: ArrayLike) -> Array:
    """How far past its free length [m] a spring may be drawn to a load [N]: (F − F_i)/k, 0 where its initial tension
    is already more, infinite where the load is. rate [N/m] above 0, initial_tension [N]."""
    return np.maximum((_array(load) - _array(initial_tension)) / _array(rate), 0.0)
