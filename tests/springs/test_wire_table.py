"""The wire table data/wire.toml against the books' figures in the other system of units."""

from __future__ import annotations

import numpy as np
import pytest

from recurve.springs.wire import materials, wire_half_width, wire_sizes

INCH, KPSI = 0.0254, 6.894757e6

# S_ut = A/d^m with d in inches and A in kpsi·in^m: Shigley's Mechanical Engineering Design, Table 10-4. A227 is READ, in
# Example 10-6; the others are from MEMORY. Ends of the ranges in inches.
IN_INCHES = [
    ("music", 201.0, 0.145, (0.004, 0.2559)),
    ("oil-tempered", 147.0, 0.187, (0.020, 0.500)),
    ("hard-drawn", 140.0, 0.190, (0.028, 0.500)),
    ("stainless", 169.0, 0.146, (0.013, 0.098)),
    ("stainless", 128.0, 0.263, (0.100, 0.196)),
    ("bronze", 145.0, 0.0, (0.004, 0.0236)),
    ("bronze", 121.0, 0.028, (0.0240, 0.075)),
]


@pytest.mark.parametrize(("name", "a", "m", "ends"), IN_INCHES)
def test_strength_agrees_in_both_systems(name: str, a: float, m: float, ends: tuple[float, float]) -> None:
    """Within 0.3 % over the whole range."""
    inches = np.linspace(*ends, 50)
    assert materials()[name].tensile(inches * INCH) / KPSI == pytest.approx(a / inches**m, rel=3e-3)


@pytest.mark.parametrize("diameter", [0.3, 0.5, 0.8, 1.0, 1.5, 2.0])
def test_strength_of_european_wire(diameter: float) -> None:
    """EN 10270-1, grade SM, least strength 1980 − 740 lg d MPa (MEMORY)."""
    found = float(materials()["patented"].tensile(diameter * 1e-3)) / 1e6
    assert found == pytest.approx(1980 - 740 * np.log10(diameter), rel=4.5e-3)


def test_nothing_is_said_outside_the_table() -> None:
    """A227 0.7 to 12.7 mm, A313 0.3 to 5 mm (SECOND-HAND)."""
    assert np.isinf(materials()["hard-drawn"].tensile([0.65e-3, 13e-3])).all()
    assert np.isfinite(materials()["hard-drawn"].tensile([0.7e-3, 12.7e-3])).all()
    assert np.isinf(materials()["stainless"].tensile([0.25e-3, 5.2e-3])).all()


@pytest.mark.parametrize("name", ["music", "hard-drawn", "oil-tempered", "patented"])
def test_allowables_of_carbon_wire(name: str) -> None:
    """Shigley p. 529 (SECOND-HAND): body 45 to 50, end torsion 40, end bending 75 %; the lower end is taken."""
    found = materials()[name].allowable
    assert (found.body, found.hook_torsion, found.hook_bending) == (0.45, 0.40, 0.75)


@pytest.mark.parametrize("name", ["stainless", "bronze"])
def test_allowables_of_austenitic_and_nonferrous_wire(name: str) -> None:
    """The same page: 35, 30, 55 %."""
    found = materials()[name].allowable
    assert (found.body, found.hook_torsion, found.hook_bending) == (0.35, 0.30, 0.55)


def test_tolerance_of_music_wire() -> None:
    """ASTM A228 (SECOND-HAND), in: to 0.010 ± 0.0002; to 0.028 ± 0.0003; to 0.063 ± 0.0004; to 0.080 ± 0.0005."""
    inches = np.array([0.004, 0.010, 0.011, 0.028, 0.029, 0.063, 0.064, 0.080])
    limits = [0.0002, 0.0002, 0.0003, 0.0003, 0.0004, 0.0004, 0.0005, 0.0005]
    assert wire_half_width(inches * INCH) / INCH == pytest.approx(limits)
    assert wire_half_width(0.160 * INCH) / INCH == pytest.approx(0.0010)  # past the table: as large a share


def test_gauge_and_metric_sizes() -> None:
    """Music-wire gauge (SECOND-HAND): 1 is 0.010, 8 is 0.020, 20 is 0.045, 26 is 0.063 in, sold as music wire only; the
    metric sizes run from 0.20 to 1.6 mm."""
    gauge = wire_sizes(("gauge",), tuple(materials()))
    numbered = dict(zip(gauge.label, gauge.diameter / INCH, strict=True))
    assert len(numbered) == 26
    for number, inches in ((1, 0.010), (8, 0.020), (20, 0.045), (26, 0.063)):
        assert numbered[f"gauge {number}, {inches:.3f} in"] == pytest.approx(inches)
    assert {m.name for m in gauge.material} == {"music"}
    metric = wire_sizes(("metric",), ("stainless",))
    assert (metric.diameter[0], metric.diameter[-1], len(metric.label)) == (
        pytest.approx(2e-4),
        pytest.approx(1.6e-3),
        18,
    )
