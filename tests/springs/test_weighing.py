"""Rate and initial tension from weights hung on a spring: hand cases, simulation of the readings, a library's line."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.optimize import least_squares

from recurve.errors import InputError
from recurve.springs.weighing import Hung, weigh
from recurve.units import Quantity

MM = 1e-3


def hung(pull: list[float], length: list[float], pull_limit: float = 0.01, length_limit: float = 0.05) -> Hung:
    """Readings in N and mm, limits as standard uncertainties limit/√3 (GUM 4.3.7)."""
    n = len(pull)
    return Hung(
        np.array(pull), MM * np.array(length), np.full(n, pull_limit / 3**0.5), np.full(n, MM * length_limit / 3**0.5)
    )


def test_two_readings_by_hand() -> None:
    """1 N at 14, 3 N at 16 mm: 1 N/mm; free 13.2 mm: F_i = 1 − 0.8 = 0.2 N. GUM by hand: u(F) 0.01/√3, u(L) 0.05/√3 mm;
    effective per reading √(0.01² + 0.05²)/√3 = 0.029439 N, over 2 mm: u(k) = 0.029439·√2/2 = 0.020817 N/mm;
    F_i = (1.4 F_1 − 0.4 F_2), so u² = (1.4² + 0.4²)·0.029439² + (0.05/√3)², u = 0.051678 N."""
    found = weigh(hung([1.0, 3.0], [14.0, 16.0]), Quantity(13.2 * MM, 0.05 * MM))
    assert found.rate == pytest.approx(1000.0)
    assert found.rate_uncertainty == pytest.approx(20.817, abs=1e-3)
    assert found.initial_tension == pytest.approx(0.2)
    assert found.initial_tension_uncertainty == pytest.approx(0.051678, abs=1e-6)
    assert found.zero_length == pytest.approx(13.0 * MM)
    assert found.residuals == pytest.approx([0, 0], abs=1e-12)
    assert found.of_use


SOLVED = [("pull 1", 1.0), ("pull 2", 3.0), ("length 1", 14.0), ("length 2", 16.0), ("free length", 13.2)]


@pytest.mark.parametrize(("name", "value"), SOLVED)
def test_each_reading_matters_as_its_derivative_says(name: str, value: float) -> None:
    """Central differences of F_i against the line's own algebra: F_i = F_1 + k(L_0 − L_1), k = (F_2 − F_1)/(L_2 − L_1)."""

    def tension(change: float) -> float:
        v = {n: x + (change if n == name else 0.0) for n, x in SOLVED}
        found = weigh(
            hung([v["pull 1"], v["pull 2"]], [v["length 1"], v["length 2"]]),
            Quantity(v["free length"] * MM, 0.01 * MM * 3**0.5),
        )
        assert found.initial_tension is not None
        return found.initial_tension

    derivative = (tension(1e-4) - tension(-1e-4)) / 2e-4
    # By hand at k = 1 N/mm, L_0 − L_1 = −0.8 mm, L_2 − L_1 = 2 mm.
    expected = {"pull 1": 1.4, "pull 2": -0.4, "length 1": -1.4, "length 2": 0.4, "free length": 1.0}
    assert value > 0
    assert derivative == pytest.approx(expected[name], abs=1e-6)


def test_against_a_line_with_errors_both_ways() -> None:
    """Five scattered readings, the true lengths as unknowns beside the line, by SciPy's least squares: the same line, and
    the same uncertainty from its Jacobian."""
    pull, length = np.array([0.52, 1.01, 1.48, 2.03, 2.49]), np.array([13.61, 14.05, 14.58, 15.10, 15.52])
    found = weigh(hung(list(pull), list(length), 0.02, 0.03))
    sx, sy = 0.03 / 3**0.5, 0.02 / 3**0.5

    def off(p: np.ndarray) -> np.ndarray:
        return np.concatenate([(p[0] + p[1] * (p[2:] - 14.5) - pull) / sy, (p[2:] - length) / sx])

    fitted = least_squares(off, np.concatenate([[1.5, 1.0], length]), xtol=1e-14, ftol=1e-14)
    spread = np.sqrt(np.linalg.inv(fitted.jac.T @ fitted.jac)[1, 1])
    assert found.rate / 1e3 == pytest.approx(fitted.x[1], rel=2e-3)
    assert found.rate_uncertainty / 1e3 / found.scatter == pytest.approx(spread, rel=0.02)


@pytest.mark.parametrize("count", [2, 3, 6])
def test_uncertainty_against_simulated_readings(count: int) -> None:
    """The spread of 1500 simulated weighings, rectangular errors within the limits: rate, tension and their correlation
    as propagated. Seeded; the tolerance is some four standard errors of the spread."""
    rng = np.random.default_rng(7)
    free, rate, tension = 13.2, 1.3, 1.8
    length = np.linspace(14.5, 18.0, count)
    pull = tension + rate * (length - free)
    drawn = []
    for _ in range(1500):
        f, x = pull + rng.uniform(-0.02, 0.02, count), length + rng.uniform(-0.05, 0.05, count)
        one = weigh(hung(list(f), list(x), 0.02, 0.05), Quantity((free + rng.uniform(-0.05, 0.05)) * MM, 0.05 * MM))
        drawn.append((one.rate, one.initial_tension))
    spread = np.array(drawn, float)
    stated = weigh(hung(list(pull), list(length), 0.02, 0.05), Quantity(free * MM, 0.05 * MM))
    assert stated.initial_tension == pytest.approx(tension, abs=1e-9)
    assert spread[:, 0].std() == pytest.approx(stated.rate_uncertainty, rel=0.08)
    assert spread[:, 1].std() == pytest.approx(stated.initial_tension_uncertainty, rel=0.08)
    assert np.corrcoef(spread.T)[0, 1] == pytest.approx(stated.correlation, abs=0.06)


def test_more_readings_know_more() -> None:
    two = weigh(hung([1.0, 3.0], [14.0, 16.0]))
    four = weigh(hung([1.0, 1.0, 3.0, 3.0], [14.0, 14.0, 16.0, 16.0]))
    assert four.rate_uncertainty == pytest.approx(two.rate_uncertainty / 2**0.5)


def test_scatter_enlarges_the_uncertainty() -> None:
    even = weigh(hung([1.0, 2.0, 3.0], [14.0, 15.0, 16.0]))
    odd = weigh(hung([1.0, 2.4, 3.0], [14.0, 15.0, 16.0]))
    assert even.scatter == 1.0
    assert odd.scatter > 5
    assert odd.rate_uncertainty == pytest.approx(even.rate_uncertainty * odd.scatter, rel=1e-6)


def test_a_weight_that_does_not_open_the_coils_is_left_out() -> None:
    """0.2 N on a spring with 0.5 N wound in leaves it at its free length of 13.2 mm."""
    found = weigh(hung([0.2, 1.3, 2.3], [13.2, 14.0, 15.0]), Quantity(13.2 * MM, 0.03 * MM * 3**0.5))
    assert found.left_out == (0,)
    assert found.rate == pytest.approx(1000.0)
    assert found.initial_tension == pytest.approx(0.5)
    with pytest.raises(InputError, match="hang heavier weights on it"):
        weigh(hung([0.2, 1.3], [13.2, 14.0]), Quantity(13.2 * MM, 0.03 * MM * 3**0.5))


def test_a_stretched_spring_begins_late() -> None:
    """1 N at 14, 3 N at 16 mm meets zero at 13.0 mm; read free at 12.5 mm it has half a millimetre of slack."""
    found = weigh(hung([1.0, 3.0], [14.0, 16.0]), Quantity(12.5 * MM, 0.05 * MM))
    assert found.slack
    assert found.initial_tension == 0.0
    assert found.zero_length == pytest.approx(13.0 * MM)


@pytest.mark.parametrize(
    ("pull", "length", "words"),
    [([1.0, 3.0], [16.0, 14.0], "smaller pull at a greater length"), ([1.0, 3.0], [14.0, 14.0], "at one length")],
)
def test_no_line(pull: list[float], length: list[float], words: str) -> None:
    with pytest.raises(InputError, match=words):
        weigh(hung(pull, length))


def test_too_uncertain_to_be_of_use() -> None:
    """0.1 mm of difference read to ± 0.05 mm says next to nothing."""
    assert not weigh(hung([1.0, 1.1], [14.0, 14.1])).of_use
