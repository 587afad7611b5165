"""Sweeps for the tests: what a bench would read of a unit, with seeded noise, written as CSV."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from recurve.physics.curve import Unit, trace

RPM = np.pi / 30
HEADER = "speed [rpm],advance [deg],direction\n"


def swept(
    unit: Unit,
    speeds: Sequence[float],
    noise: float = 0.3,
    seed: int = 1,
    directions: Sequence[str] = ("rising", "falling"),
) -> str:
    """The CSV of a sweep of the unit at these distributor rpm, up and then down, noise [deg] of one standard
    deviation; the weights begin where they stand at a standstill."""
    random = np.random.default_rng(seed)
    curve = trace(unit)
    start = float(curve.falling_advance(0.0))
    lines = []
    for direction in directions:
        order = list(speeds) if direction == "rising" else list(reversed(speeds))
        at = np.array(order) * RPM
        top = float(curve.rising_advance(max(speeds) * RPM, start))
        advance = curve.rising_advance(at, start) if direction == "rising" else curve.falling_advance(at, top)
        read = np.degrees(advance) + random.normal(0.0, noise, len(order))
        lines += [f"{speed:g},{value:.2f},{direction}" for speed, value in zip(order, read, strict=True)]
    return HEADER + "\n".join(lines) + "\n"


def rows(text: str) -> list[str]:
    """The readings of a CSV, without its header."""
    return text.splitlines()[1:]
