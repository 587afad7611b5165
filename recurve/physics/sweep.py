"""Readings of a unit on a bench: as a file tells them, and in the terms in which they are computed."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

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
class AsRead:
    """What the figures of a sweep's file count in: its `speed` and its `advance`, each of the distributor or the crank; `turns`
    of the crank for one of the distributor [1]; the `static` timing [rad crank] that its advances include, 0 for none."""

    speed: Literal["distributor", "crank"] = "distributor"
    advance: Literal["distributor", "crank"] = "distributor"
    turns: float = 1.0
    static: float = 0.0

    @property
    def at_crank(self) -> bool:
        """Whether anything was read at the crank, such as with a timing light."""
        return "crank" in (self.speed, self.advance)

    def speeds(self, distributor: Array) -> Array:
        """Speeds of the distributor [rad/s], any shape, as they stand in the file."""
        return distributor * (self.turns if self.speed == "crank" else 1.0)

    def advances(self, distributor: Array) -> Array:
        """Advances of the distributor [rad], any shape, as they stand in the file."""
        return distributor * (self.turns if self.advance == "crank" else 1.0) + self.static


@dataclass(frozen=True)
class Sweep(Readings):
    """Readings in distributor terms, and how they were taken: `reading` [rad] and `speed_reading` [rad/s] are their
    half-widths; `zeroed_at` [rad/s] is where zero was taken, None if the weights were held home; `static_known` is false
    for readings at the crank whose static timing was not given; `as_read`, what the file's own figures count in."""

    file: str
    reading: float
    speed_reading: float
    zeroed_at: float | None = None
    static_known: bool = True
    as_read: AsRead = AsRead()
