"""The units that are known without a unit library are what that library says of them."""

from __future__ import annotations

import pytest

from recurve.units import COMMON, DIMENSIONS, _registry


@pytest.mark.parametrize(("unit", "dimension"), COMMON)
def test_common_units_are_pints(unit: str, dimension: str) -> None:
    """To the last bit."""
    one = _registry().Quantity(1.0, unit.replace("°", "deg"))
    assert COMMON[unit, dimension] == float(one.to(DIMENSIONS[dimension][0]).magnitude)
