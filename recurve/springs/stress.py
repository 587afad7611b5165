"""What an extension spring can bear: corrected stresses in body and hooks, initial tension, lengths, tolerances.

Static load only: fatigue is not judged. Formulas by their numbers in Shigley's Mechanical Engineering Design
(second-hand, through transcriptions). Everything broadcasts; SI throughout.

D is the mean diameter of the coils, d that of the wire, C = D/d the index. A hook is bent up from the body at a mean
radius r1 (at A, where it bends) and turns into the body at r2 (at B, where it twists). A hook that is not described is
taken as a full hook, r1 = D/2, bent up no more sharply than common practice allows, r2 = 2d.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from recurve.arrays import Array

FATIGUE = "Stresses are judged for a static load only; fatigue is not judged."
STRESSES = ("body torsion", "hook torsion", "hook bending")
PSI = 6894.757  # Pa
HOOK_TURN = 2.0  # r2 / d of a hook that is not described, seldom bent tighter; common practice, no source
HALF_COIL_HOOKS = 1.0  # active coils of both hooks by another handbook: half a coil each


def bergstrasser(index: ArrayLike) -> Array:
    """Bergsträsser's factor of curvature and direct shear [1] from the index C > 1 (10-5)."""
    c = _array(index)
    return (4 * c + 2) / (4 * c - 3)


def shear_stress(load: ArrayLike, wire: ArrayLike, mean: ArrayLike, factor: ArrayLike = 1.0) -> Array:
    """Torsional stress of the body [Pa], K·8FD/(πd³) (10-2); a `factor` K [1] of 1 gives the uncorrected stress.

    load F [N], wire d and mean coil diameter D [m].
    """
    return _array(factor) * 8 * _array(load) * _array(mean) / (np.pi * _array(wire) ** 3)


def load_at(stress: ArrayLike, wire: ArrayLike, mean: ArrayLike, factor: ArrayLike = 1.0) -> Array:
    """The load [N] that stresses the body to this [Pa]: the inverse of `shear_stress`."""
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
    """Least and greatest preferred uncorrected initial stress [Pa], from the index C [1]:
    33500/exp(0.105C) ± 1000(4 − (C − 3)/6.5) psi (10-41)."""
    c = _array(index)
    middle, half = 33500 * np.exp(-0.105 * c), 1000 * (4 - (c - 3) / 6.5)
    return (middle - half) * PSI, (middle + half) * PSI


def body_length(wire: ArrayLike, coils: ArrayLike) -> Array:
    """Length of the closed body, coil on coil [m]: (N_b + 1) d, of N_b coils [1]. It can never be shorter."""
    return (_array(coils) + 1) * _array(wire)


def rate_spread(wire: ArrayLike, half_width: ArrayLike) -> Array:
    """The relative error of the rate [1] from wire that is off by `half_width` [m], at the same mean diameter:
    (1 + half_width/d)⁴ − 1."""
    return (1 + _array(half_width) / _array(wire)) ** 4 - 1


def hook_uncertainty(coils: ArrayLike, young: ArrayLike, shear: ArrayLike) -> Array:
    """How much softer [1] the spring is if each hook counts as half a coil, rather than both as G/E coils.

    A model uncertainty: Machinery's Handbook counts half a coil for each hook, Shigley G/E coils for both; E, G [Pa].
    """
    body = _array(coils)
    return 1 - (body + _array(shear) / _array(young)) / (body + HALF_COIL_HOOKS)


@dataclass(frozen=True)
class Stresses:
    """Corrected stresses [Pa] at a load: `body` (Bergsträsser), `hook_torsion`, `hook_bending`."""

    body: Array
    hook_torsion: Array
    hook_bending: Array

    def fractions(self, tensile: ArrayLike, allowed: ArrayLike) -> Array:
        """Each stress as a fraction of the allowable stress, (3, …) [1]; `allowed` (3, …) are fractions of the tensile
        strength [Pa]. 0 if the strength is infinite, that is unknown."""
        found = np.stack(np.broadcast_arrays(self.body, self.hook_torsion, self.hook_bending))
        return found / (_array(allowed) * _array(tensile))


def stresses(load: ArrayLike, wire: ArrayLike, mean: ArrayLike) -> Stresses:
    """Corrected stresses of springs with hooks that are not described: load [N], wire and mean coil diameter [m]."""
    d, diameter = _array(wire), _array(mean)
    turn = np.minimum(HOOK_TURN * d, diameter / 2)
    return Stresses(
        shear_stress(load, d, diameter, bergstrasser(diameter / d)),
        hook_torsion(load, d, diameter, turn),
        hook_bending(load, d, diameter, diameter / 2),
    )


def allowed_load(wire: ArrayLike, outer: ArrayLike, tensile: ArrayLike, allowed: ArrayLike) -> Array:
    """The load [N] at which the first of the three stresses reaches its allowable value.

    wire and outer [m], 0 or NaN if unknown; tensile [Pa], infinite if unknown; `allowed` (3, …) are fractions [1] of it
    in the order of `Stresses`. Infinite, never NaN, if the wire, the diameter or the strength is not known, or no such
    spring is possible: it is not judged.
    """
    d, over = np.broadcast_arrays(np.nan_to_num(_array(wire)), np.nan_to_num(_array(outer)))
    known = (d > 0) & (over > 2 * d)
    d, over = np.where(known, d, 1e-3), np.where(known, over, 6e-3)
    per_newton = stresses(1.0, d, over - d).fractions(tensile, allowed).max(axis=0)
    judged = known & (per_newton > 0)
    return np.where(judged, 1 / np.where(judged, per_newton, 1.0), np.inf)


def allowed_extension(load: ArrayLike, rate: ArrayLike, initial_tension: ArrayLike) -> Array:
    """How far past its free length [m] a spring may be drawn for a load [N]: (F − F_i)/k, 0 if its initial tension is
    already greater, infinite for an infinite load. rate [N/m] above 0, initial_tension [N]."""
    return np.maximum((_array(load) - _array(initial_tension)) / _array(rate), 0.0)


def _array(value: ArrayLike) -> Array:
    return np.asarray(value, float)
