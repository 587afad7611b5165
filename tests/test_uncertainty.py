"""The statistics that all fits of readings share: outliers, scatter, and the quadrature over the uncertainty of speed."""

from __future__ import annotations

import numpy as np
import pytest

from recurve.arrays import Array
from recurve.uncertainty import (
    Sampled,
    Uncertain,
    degrees_of_freedom,
    inflation,
    over_nodes,
    robust_scatter,
    speed_nodes,
    without_outliers,
)


def mean_without_outliers(readings: Array, robust: bool = False) -> tuple[float, list[bool]]:
    """The mean of readings of unit uncertainty, and which of them it keeps."""
    scatter = {"scatter": robust_scatter} if robust else {}
    mean, kept = without_outliers(
        lambda kept: float(readings[kept].mean()), lambda mean: readings - mean, len(readings), **scatter
    )
    return mean, kept.tolist()


def test_the_worst_reading_is_left_out_and_the_rest_fitted_again() -> None:
    readings = np.array([0.0, 1.0, -1.0, 0.5, -0.5, 50.0])
    mean, kept = mean_without_outliers(readings)
    assert mean == pytest.approx(0.0)
    assert kept == [True] * 5 + [False]


def test_at_most_a_fifth_is_left_out() -> None:
    """Two of ten may go, the third stays however far it lies."""
    readings = np.array([0.0] * 7 + [100.0, 200.0, 400.0])
    _, kept = mean_without_outliers(readings)
    assert kept == [True] * 8 + [False] * 2


def test_where_all_readings_scatter_none_is_an_outlier() -> None:
    """Eight readings ten times off all round: by their own scatter none stands out, by the stated one some do."""
    readings = 10.0 * np.array([-1.0, 1.0, -1.2, 1.2, -0.8, 0.8, -1.1, 1.1])
    assert mean_without_outliers(readings, robust=True)[1] == [True] * 8
    assert not all(mean_without_outliers(readings)[1])


def test_a_parameter_costs_freedom_as_far_as_it_is_learnt() -> None:
    assert degrees_of_freedom(10, np.array([1.0, 0.25, 0.0, -0.1])) == pytest.approx(8.75)
    assert degrees_of_freedom(2, np.ones(5)) == 1.0


def test_only_a_rare_excess_of_scatter_counts() -> None:
    """χ² of 10 degrees of freedom exceeds 23.209 with a probability of 1 % (Abramowitz and Stegun, table 26.8)."""
    assert inflation(23.2, 10) == 1.0
    assert inflation(23.3, 10) == pytest.approx(np.sqrt(2.33))
    assert inflation(12.0, 10, rare=1.0) == pytest.approx(np.sqrt(1.2))
    assert inflation(9.0, 10, rare=1.0) == 1.0


def test_quadrature_is_exact_for_the_moments_of_a_normal_up_to_the_fifth() -> None:
    """About a middle of 0, E x² = σ², E x⁴ = 3 σ⁴, odd moments 0; ± half-width is √3 σ."""
    speed, sigma = np.array([50.0]), 2.0
    off = speed_nodes(speed, np.sqrt(3.0) * sigma) - 50.0
    moments = [float(over_nodes(off**n)[0][0]) for n in range(6)]
    assert moments == pytest.approx([1.0, 0.0, sigma**2, 0.0, 3 * sigma**4, 0.0], abs=1e-9)
    mean, variance = over_nodes(7.0 + 3.0 * off)
    assert mean[0] == pytest.approx(7.0)
    assert variance[0] == pytest.approx((3.0 * sigma) ** 2)


def test_no_speed_is_negative() -> None:
    assert (speed_nodes(np.array([0.5]), 10.0) > 0).all()


def test_a_sample_and_its_summary() -> None:
    sampled = Sampled(np.radians([1.0, 2.0, 3.0, 4.0]))
    assert sampled.above(np.radians(2.5)) == 0.5
    assert sampled.below(np.radians(1.5)) == 0.25
    assert sampled.summary.value == pytest.approx(np.radians(2.5))
    assert sampled.summary.standard_uncertainty == pytest.approx(np.radians(np.sqrt(1.25)))


def test_in_words_twice_the_standard_uncertainty_stands() -> None:
    assert Uncertain(np.radians(3.0), np.radians(0.1)).degrees() == "3.0 ± 0.2°"
    assert Uncertain(184 * np.pi / 30, 4 * np.pi / 30).rpm() == "184 ± 8 rpm"
