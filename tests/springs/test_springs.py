"""Rates from wire and coils, and the wire table, against published examples."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest
from scipy.optimize import brentq

from recurve.springs.spring import rate_from_wire, tension
from recurve.springs.wire import materials

INCH = 0.0254
LBF = 4.4482216152605
MPSI = 6.894757e9
LBF_PER_INCH = LBF / INCH
NO_HOOKS = np.inf  # Young's modulus that leaves N_a = N_b: the turns given are the active ones


def rate(wire: float, mean: float, coils: float, young: float, shear: float) -> float:
    """Rate [lbf/in] from inches and Mpsi, through the package's SI."""
    return float(rate_from_wire(wire * INCH, mean * INCH, coils, young * MPSI, shear * MPSI)) / LBF_PER_INCH


# Shigley's Mechanical Engineering Design, Example 10-6; inputs READ, the intermediate k and N_a from MEMORY
# (book 17.91 lbf/in and 12.57), recomputed by hand 17.9070 and 12.5742. D = 0.248 − 0.035 in.
EXAMPLE_10_6 = {"wire": 0.035, "mean": 0.213, "coils": 12.17, "young": 28.7, "shear": 11.6}


def test_shigley_10_6_rate() -> None:
    """k from wire and coils, hooks counted as G/E turns."""
    assert rate(**EXAMPLE_10_6) == pytest.approx(17.91, abs=0.005)
    assert rate(**EXAMPLE_10_6) == pytest.approx(17.9070, abs=1e-4)


@pytest.mark.parametrize("unknown", list(EXAMPLE_10_6))
def test_shigley_10_6_for_each_unknown(unknown: str) -> None:
    """The same example solved for each of its inputs in turn, from the recomputed k of 17.9070 lbf/in.

    The rate hardly hangs on E, which enters by the hooks alone, so the fifth digit of k leaves E to 0.2 %.
    """
    given = EXAMPLE_10_6[unknown]

    def off(value: float) -> float:
        return rate(**{**EXAMPLE_10_6, unknown: value}) - 17.9070

    found = brentq(off, 0.6 * given, 1.5 * given, xtol=1e-12)
    assert found == pytest.approx(given, rel=2e-3 if unknown == "young" else 2e-5)


def test_shigley_10_6_active_turns() -> None:
    """N_a 12.57 in the book (MEMORY), 12.5742 recomputed: what turns without hooks have the same rate."""
    k = rate(**EXAMPLE_10_6)
    found = brentq(lambda n: rate(0.035, 0.213, n, NO_HOOKS, 11.6) - k, 5, 30)
    assert found == pytest.approx(12.5742, abs=1e-4)


def test_machinerys_handbook_deflection_per_coil() -> None:
    """Machinery's Handbook, 31st ed., pp. 328-329 (READ): 7 lb net, OD 3/4 in, wire 0.0625 in: 0.1062 in a coil by
    its chart, 0.10648 in recomputed with G 11.2 Mpsi; so 5.86 coils for 5/8 in."""
    per_coil = 7 / rate(0.0625, 0.75 - 0.0625, 1.0, NO_HOOKS, 11.2)
    assert per_coil == pytest.approx(0.10648, abs=1e-5)
    assert per_coil == pytest.approx(0.1062, rel=3e-3)
    coils = brentq(lambda n: 7 / rate(0.0625, 0.6875, n, NO_HOOKS, 11.2) - 0.625, 1, 20)
    assert coils == pytest.approx(5.86, rel=3e-3)


def test_mott_active_coils() -> None:
    """Mott, Machine Elements in Mechanical Design, 4th ed., p. 761 (READ): A227, d 0.072, OD 0.625 in, G 11.5 Mpsi,
    26.75 lb at 4.25 in and 16.25 lb at 3.50 in: k 14.0 lb/in, N_a 16.3 (recomputed 16.317)."""
    k = (26.75 - 16.25) / (4.25 - 3.50)
    coils = brentq(lambda n: rate(0.072, 0.625 - 0.072, n, NO_HOOKS, 11.5) - k, 5, 50)
    assert coils == pytest.approx(16.317, abs=2e-3)
    assert rate(0.072, 0.553, 16.3, NO_HOOKS, 11.5) == pytest.approx(14.0, abs=0.05)


def test_shigley_problem_10_3() -> None:
    """Shigley problem 10-3, 7th ed. solutions (READ; compression, the same law): music wire, d 0.105, OD 1.225 in,
    N_a 11: k 11.55 lbf/in. G comes from the wire table at that diameter."""
    shear = materials()["music"].moduli(0.105 * INCH)[1] / MPSI
    assert rate(0.105, 1.225 - 0.105, 11, NO_HOOKS, shear) == pytest.approx(11.55, abs=0.01)


# Shigley, 9th ed., p. 526, Table 10-5, E and G in Mpsi (READ; stainless and bronze SECOND-HAND). The book's ranges
# are below 0.032, 0.033 to 0.063, 0.064 to 0.125 and over 0.125 in: both ends of each.
MODULI = [
    ("music", (0.010, 0.032), 29.5, 12.0),
    ("music", (0.033, 0.063), 29.0, 11.85),
    ("music", (0.064, 0.125), 28.5, 11.75),
    ("music", (0.126, 0.250), 28.0, 11.6),
    ("hard-drawn", (0.010, 0.032), 28.8, 11.7),
    ("hard-drawn", (0.033, 0.063), 28.7, 11.6),
    ("hard-drawn", (0.064, 0.125), 28.6, 11.5),
    ("hard-drawn", (0.126, 0.490), 28.5, 11.4),
    ("oil-tempered", (0.020, 0.490), 28.5, 11.2),
    ("stainless", (0.012, 0.195), 28.0, 10.0),
    ("bronze", (0.005, 0.080), 15.0, 6.0),
]


@pytest.mark.parametrize(("name", "diameters", "young", "shear"), MODULI)
def test_moduli_by_diameter(name: str, diameters: tuple[float, float], young: float, shear: float) -> None:
    """E and G at both ends of every range; 1 Mpsi = 6.894757 GPa."""
    for inches in diameters:
        found = materials()[name].moduli(inches * INCH)
        assert np.array(found) / MPSI == pytest.approx(np.array([young, shear]), rel=1e-4)


def test_moduli_of_european_wire() -> None:
    """EN 10270-1: E 206, G 81.5 GPa (SECOND-HAND)."""
    assert materials()["patented"].moduli(0.6e-3) == pytest.approx((206e9, 81.5e9))


def test_moduli_past_the_last_range() -> None:
    """Thicker than the table goes: its last row, 28.0/11.6 Mpsi (READ, the same table)."""
    assert np.array(materials()["music"].moduli(20e-3)) / MPSI == pytest.approx(np.array([28.0, 11.6]), rel=1e-4)


def test_rate_goes_as_the_fourth_power() -> None:
    """0.02 mm on a 0.6 mm wire is 14 % (derived: (0.62/0.60)⁴ = 1.140)."""
    thin, thick = (float(rate_from_wire(d, 5e-3, 12.0, np.inf, 80e9)) for d in (0.60e-3, 0.62e-3))
    assert thick / thin == pytest.approx(1.1402, abs=1e-4)


HAND: list[tuple[str, float, bool, float]] = [
    ("slack", 16.0, False, 0.0),
    ("at its take-up, seen from the left", 17.4, False, 0.0),
    ("at its take-up, seen from the right", 17.4, True, 0.5),
    ("1.6 mm out: 0.5 + 0.8 × 1.6", 19.0, True, 1.78),
]


@pytest.mark.parametrize(("case", "length", "pulls", "pull"), HAND)
def test_one_sided_pull(case: str, length: float, pulls: bool, pull: float) -> None:
    """T(L) by hand: rate 0.8 N/mm, free 17.4 mm, initial tension 0.5 N."""
    assert float(tension(1e-3 * length, 800.0, 17.4e-3, 0.5, pulls)) == pytest.approx(pull, abs=1e-12), case


def test_shapes_broadcast() -> None:
    """Springs by lengths: every argument may be an array."""
    rates, lengths = np.array([[500.0], [1000.0]]), np.array([0.018, 0.019, 0.020])
    pull: Callable[..., np.ndarray] = tension
    assert pull(lengths, rates, 0.018, 0.0, True) == pytest.approx(np.array([[0, 0.5, 1.0], [0, 1.0, 2.0]]))
