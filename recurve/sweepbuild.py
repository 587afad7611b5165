"""Readings of a sweep in distributor terms, as the job says that they were taken."""

from __future__ import annotations

import numpy as np

from recurve import jobmodel as m
from recurve import jobunit as u
from recurve.defaults import default
from recurve.job import Sweep
from recurve.tables import Readings


def sweep_of(given: m.SweepTable | u.ReferenceMotion, ratio: float, readings: Readings) -> Sweep:
    """Readings in distributor terms, as the table says they were taken; `ratio` [1] crank turns a distributor turn."""
    speed_ratio = ratio if (given.speed_basis or given.basis) == "crank" else 1.0
    crank = (given.advance_basis or given.basis) == "crank"
    advance_ratio = ratio if crank else 1.0
    static = 0.0 if given.static is None else given.static.value
    reading = given.reading if given.reading is not None else default("sweep", "reading", "angle")
    speed_reading = (
        given.speed_reading if given.speed_reading is not None else default("sweep", "speed_reading", "speed")
    )
    return Sweep(
        given.sweep if isinstance(given, u.ReferenceMotion) else given.file,
        readings.speed / speed_ratio,
        (readings.advance - static) / advance_ratio,
        readings.rising,
        readings.row,
        reading / advance_ratio,
        speed_reading / speed_ratio,
        None if given.zeroed_at is None else given.zeroed_at.value / speed_ratio,
        static_known=not crank or given.static is not None,
    )


def swapped_columns(readings: Readings | None, shown: str) -> list[str]:
    """The fault of a sweep whose speed and advance have changed places: degrees no unit has, at a crawl."""
    if readings is None or len(readings.speed) < 2:
        return []
    if np.median(np.abs(readings.advance)) > np.radians(100.0) and np.median(readings.speed) * 30 / np.pi < 100.0:
        return [
            f"{shown}: got advances of hundreds of degrees at a few rpm, expected speed and advance the other way round"
        ]
    return []
