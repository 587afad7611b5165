"""Readings of a unit on a bench: as a file tells them, and in the terms in which they are computed."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from recurve.arrays import Array


@dataclass(frozen=True)
class Readings:
    """Readings: `speed` [rad/s], `advance` [rad], `rising` (bool), `row`, the line numbers in the file; all (n,). Speeds
    and advances are the file's own, of the distributor or the crank."""

    speed: Array
    advance: Array
    rising: np.ndarray
    row: np.ndarray


@dataclass(frozen=True)
class Sweep(Readings):
    """Readings in distributor terms, and how they were taken: `reading` [rad] and `speed_reading` [rad/s] are their
    half-widths; `zeroed_at` [rad/s] is where zero was taken, None if the weights were held home; `static_known` is false
    for readings at the crank whose static timing was not given."""

    file: str
    reading: float
    speed_reading: float
    zeroed_at: float | None = None
    static_known: bool = True
