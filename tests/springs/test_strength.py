"""Stresses, lengths and tolerances of extension springs against published examples and curved-beam theory.

Shigley's Mechanical Engineering Design, Example 10-6: inputs READ; safety factors SECOND-HAND; load and intermediate values
MEMORY; the finer digits were recomputed from the inputs, outside this code, in the project's notes.
"""

from __future__ import annotations

import math
from collections.abc import Callable

import numpy as np
import pytest
from scipy.optimize import brentq

from recurve.springs.wire import (
    allowed_extension,
    allowed_load,
    bending_factor,
    bergstrasser,
    closed_length,
    hook_bending,
    hook_doubt,
    hook_torsion,
    load_at,
    materials,
    preferred_initial_stress,
    rate_spread,
    shear_stress,
    stresses,
    tensile_of,
    torsion_factor,
    wahl,
)

INCH, LBF = 0.0254, 4.4482216152605
KPSI = 6.894757e6
WIRE, MEAN, LOAD, TENSION = 0.035, 0.213, 5.25, 1.19  # Example 10-6, in and lbf; D = 0.248 − 0.035
R1, R2, TURNS = 0.106, 0.089, 12.17


def kpsi(stress: object) -> float:
    return float(stress) / KPSI  # type: ignore[arg-type]


def body(load: float, wire: float, mean: float) -> float:
    """Body stress [kpsi] with Bergsträsser's factor, from lbf and inches."""
    return kpsi(shear_stress(load * LBF, wire * INCH, mean * INCH, bergstrasser(mean / wire)))


def bending(load: float, wire: float, mean: float, radius: float) -> float:
    return kpsi(hook_bending(load * LBF, wire * INCH, mean * INCH, radius * INCH))


def torsion(load: float, wire: float, mean: float, radius: float) -> float:
    return kpsi(hook_torsion(load * LBF, wire * INCH, mean * INCH, radius * INCH))


def free(wire: float, mean: float, turns: float) -> float:
    return float(closed_length(wire * INCH, mean * INCH, turns)) / INCH


def initial(load: float, wire: float, mean: float) -> float:
    return kpsi(shear_stress(load * LBF, wire * INCH, mean * INCH))


# What is computed, its inputs, the book's value and its half digit, the value recomputed to five digits.
EXAMPLE_10_6: list[tuple[Callable[..., float], dict[str, float], float, float, float]] = [
    (body, {"load": LOAD, "wire": WIRE, "mean": MEAN}, 82.0, 0.05, 81.976),
    (bending, {"load": LOAD, "wire": WIRE, "mean": MEAN, "radius": R1}, 156.9, 0.05, 156.905),
    (torsion, {"load": LOAD, "wire": WIRE, "mean": MEAN, "radius": R2}, 78.4, 0.25, 78.608),  # the book rounds (K)_B
    (free, {"wire": WIRE, "mean": MEAN, "turns": TURNS}, 0.817, 0.0005, 0.81695),
    (initial, {"load": TENSION, "wire": WIRE, "mean": MEAN}, 15.1, 0.05, 15.054),
]


@pytest.mark.parametrize(("quantity", "given", "book", "half_digit", "recomputed"), EXAMPLE_10_6)
def test_shigley_10_6(
    quantity: Callable[..., float], given: dict[str, float], book: float, half_digit: float, recomputed: float
) -> None:
    assert quantity(**given) == pytest.approx(book, abs=half_digit)
    assert quantity(**given) == pytest.approx(recomputed, rel=4e-5)  # half of the fifth digit


@pytest.mark.parametrize(
    ("quantity", "given", "recomputed", "unknown"),
    [(q, g, r, name) for q, g, _, _, r in EXAMPLE_10_6 for name in g],
)
def test_shigley_10_6_for_each_unknown(
    quantity: Callable[..., float], given: dict[str, float], recomputed: float, unknown: str
) -> None:
    """Every figure solved for each of its inputs in turn, from its five recomputed digits. A hook's radius enters by its
    factor alone, so that the fifth digit of the stress leaves it to 0.1 %."""
    found = brentq(
        lambda x: quantity(**{**given, unknown: x}) - recomputed, 0.75 * given[unknown], 1.3 * given[unknown]
    )
    assert found == pytest.approx(given[unknown], rel=1e-3 if unknown == "radius" else 1e-4)


def test_shigley_10_6_factors() -> None:
    """C 6.086, K_B 1.234, (K)_A 1.14, (K)_B 1.18 in the book; recomputed 6.0857, 1.23427, Wahl 1.24853, 1.1401, 1.1836."""
    index = MEAN / WIRE
    assert index == pytest.approx(6.0857, abs=5e-5)
    assert float(bergstrasser(index)) == pytest.approx(1.23427, abs=5e-6)
    assert float(wahl(index)) == pytest.approx(1.24853, abs=5e-6)
    assert float(bending_factor(WIRE, R1)) == pytest.approx(1.1401, abs=5e-5)
    assert float(torsion_factor(WIRE, R2)) == pytest.approx(1.1836, abs=5e-5)


@pytest.mark.parametrize(("factor", "value"), [(bergstrasser, 1.23427), (wahl, 1.24853)])
def test_index_from_its_factor(factor: Callable[[float], float], value: float) -> None:
    """The same turned round: C 6.0857 from either factor."""
    assert brentq(lambda c: float(factor(c)) - value, 4, 16) == pytest.approx(6.0857, abs=3e-4)


def test_shigley_10_6_preferred_band() -> None:
    """14.2 to 21.2 kpsi in the book, recomputed 14.157 and 21.207; turned round, C 6.086 from either end."""
    low, high = (kpsi(x) for x in preferred_initial_stress(MEAN / WIRE))
    assert (low, high) == pytest.approx((14.157, 21.207), abs=5e-4)
    for end, value in ((0, 14.157), (1, 21.207)):
        found = brentq(lambda c, e=end, v=value: kpsi(preferred_initial_stress(c)[e]) - v, 4, 12)
        assert found == pytest.approx(6.0857, abs=1e-3)


def test_shigley_10_6_strength_and_safety() -> None:
    """S_ut 264.7 kpsi and n 1.45 / 1.27 / 1.35 with 45 / 75 / 40 % of it; recomputed 1.4531, 1.2653, 1.3469. The table
    here is in MPa and mm and gives A227 0.3 % less at most."""
    wire = materials()["hard-drawn"]
    strength = kpsi(wire.tensile(WIRE * INCH))
    assert strength == pytest.approx(264.70, rel=3e-3)
    limit = wire.allowable
    margins = (
        limit.body * 264.70 / body(LOAD, WIRE, MEAN),
        limit.hook_bending * 264.70 / bending(LOAD, WIRE, MEAN, R1),
        limit.hook_torsion * 264.70 / torsion(LOAD, WIRE, MEAN, R2),
    )
    assert margins == pytest.approx((1.4531, 1.2653, 1.3469), abs=2e-4)


def test_load_is_stress_turned_round() -> None:
    """Shigley 10-6: 15.054 kpsi of initial stress is 1.19 lbf."""
    assert float(load_at(15.054 * KPSI, WIRE * INCH, MEAN * INCH)) / LBF == pytest.approx(1.19, rel=1e-4)


def test_machinerys_handbook_stresses() -> None:
    """31st ed., pp. 328-329 (READ): 50 200 psi at 7 lb net (50 196 recomputed), 14 340 psi at 2 lb (14 343), OD 3/4 in,
    wire 0.0625 in, index 11. Its hook bending 5PD²/(ID·d³), 139 200 psi at 9 lb, is another formula: within 2 %."""
    wire, mean = 0.0625, 0.6875
    assert mean / wire == pytest.approx(11)
    assert initial(7, wire, mean) == pytest.approx(50.196, abs=5e-4)
    assert initial(2, wire, mean) == pytest.approx(14.343, abs=2e-3)
    assert bending(9, wire, mean, mean / 2) == pytest.approx(139.2, rel=0.02)


def test_machinerys_handbook_hooks_yield_more() -> None:
    """Each full hook like half a coil (the same pages, READ) against G/E turns for both: Example 10-6 would be
    (12.17 + 1) / 12.5742 = 1.0474 times as soft, recomputed by hand from the N_a of 12.5742."""
    assert 1 / (1 - float(hook_doubt(TURNS, 28.7, 11.6))) == pytest.approx(1.0474, abs=1e-4)


def test_mott_factor() -> None:
    """Mott, Machine Elements in Mechanical Design, 4th ed., p. 761 (READ): d 0.072, OD 0.625 in: C 7.68, K 1.19."""
    index = (0.625 - 0.072) / 0.072
    assert index == pytest.approx(7.68, abs=0.005)
    assert float(wahl(index)) == pytest.approx(1.19, abs=0.005)


def test_shigley_problem_10_3() -> None:
    """7th ed. solutions (READ): music wire d 0.105, OD 1.225 in: S_ut 278.7, S_sy = 0.45 S_ut 125.4 kpsi, C 10.67,
    K_B 1.126."""
    index = (1.225 - 0.105) / 0.105
    music = materials()["music"]
    strength = kpsi(music.tensile(0.105 * INCH))
    assert index == pytest.approx(10.67, abs=0.005)
    assert float(bergstrasser(index)) == pytest.approx(1.126, abs=5e-4)
    assert strength == pytest.approx(278.7, rel=3e-3)
    assert music.allowable.body * strength == pytest.approx(125.4, rel=3e-3)
    found = brentq(lambda d: kpsi(music.tensile(d * INCH)) - strength, 0.05, 0.2)
    assert found == pytest.approx(0.105, rel=1e-9)


@pytest.mark.parametrize("index", [4.0, 6.0, 9.0, 16.0])
def test_hook_bending_is_that_of_a_curved_beam(index: float) -> None:
    """Winkler-Bach theory of curved beams, round section (any text on strength of materials): neutral axis at
    r_n = d² / (4(2R − √(4R² − d²))), inner stress M(r_n − r_i)/(A e r_i) + F/A, with M = F·D/2 and R = D/2."""
    d, force = 1.0, 3.0
    radius = index * d / 2
    neutral = d**2 / (4 * (2 * radius - math.sqrt(4 * radius**2 - d**2)))
    area, inner = math.pi * d**2 / 4, radius - d / 2
    exact = force * radius * (neutral - inner) / (area * (radius - neutral) * inner) + force / area
    assert float(hook_bending(force, d, index * d, radius)) == pytest.approx(exact, rel=0.015)


def test_tolerance_of_wire_goes_into_the_rate() -> None:
    """Derived: 0.02 mm on 0.6 mm is 14 %: (0.62/0.60)⁴ = 1.1402."""
    assert float(rate_spread(0.6e-3, 0.02e-3)) == pytest.approx(0.1402, abs=1e-4)


# --- what a spring may bear ---------------------------------------------------------------------------------

SHARES = np.array([0.45, 0.40, 0.75])


def test_allowed_load_is_where_the_first_stress_reaches_its_limit() -> None:
    load = allowed_load([0.5e-3, 0.9e-3], [4.0e-3, 5.0e-3], 2.2e9, SHARES[:, None])
    used = stresses(load, np.array([0.5e-3, 0.9e-3]), np.array([3.5e-3, 4.1e-3])).shares(2.2e9, SHARES[:, None])
    assert used.max(axis=0) == pytest.approx([1.0, 1.0])


def test_a_hook_nobody_described_is_bent_at_two_wires() -> None:
    """r1 = D/2 and r2 = 2d, by the formulas themselves."""
    found = stresses(10.0, 1e-3, 8e-3)
    assert float(found.hook_bending) == pytest.approx(float(hook_bending(10.0, 1e-3, 8e-3, 4e-3)))
    assert float(found.hook_torsion) == pytest.approx(float(hook_torsion(10.0, 1e-3, 8e-3, 2e-3)))


UNKNOWN = [
    ("no wire", np.nan, 5e-3, "music"),
    ("no outer diameter", 0.5e-3, np.nan, "music"),
    ("no material", 0.5e-3, 5e-3, ""),
    ("a material that nobody knows", 0.5e-3, 5e-3, "spaghetti"),
    ("thinner than the table", 0.05e-3, 5e-3, "music"),
    ("thicker than the table", 3.0e-3, 20e-3, "bronze"),
    ("zero wire", 0.0, 5e-3, "music"),
    ("a coil that cannot be", 3.0e-3, 5e-3, "music"),
]


@pytest.mark.parametrize(("case", "wire", "outer", "material"), UNKNOWN)
def test_what_is_not_known_is_not_judged(case: str, wire: float, outer: float, material: str) -> None:
    load = allowed_load([wire], [outer], *tensile_of([material], [wire]))
    assert load.tolist() == [math.inf], case
    assert allowed_extension(load, [1000.0], [1.0]).tolist() == [math.inf], case


def test_extension_by_hand() -> None:
    """(F − F_i)/k: 10 N with 2 N wound in and 4 N/mm is 2 mm; 0 where the initial tension is past it."""
    assert allowed_extension([10.0, 1.0], 4000.0, 2.0).tolist() == pytest.approx([2e-3, 0.0])


def test_a_hook_turns_no_wider_than_the_coil() -> None:
    """A coil of index 3: two wire diameters would be wider than the coil's radius, which is then the turn (geometry)."""
    load, wire, mean = 10.0, 1e-3, 3e-3
    assert float(stresses(load, wire, mean).hook_torsion) == pytest.approx(
        float(hook_torsion(load, wire, mean, mean / 2))
    )
    assert float(stresses(load, wire, 8e-3).hook_torsion) == pytest.approx(float(hook_torsion(load, wire, 8e-3, 2e-3)))
