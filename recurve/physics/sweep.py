"""Readings of a unit on a bench: as a file tells them, and in the terms in which they are computed."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Literal

import numpy as np

from recurve.arrays import Array
from recurve.uncertainty import speed_nodes


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
    of the crank for one of the distributor [1]; the `static` timing [rad crank] that its advances include, 0 for none;
    `confirmed`: somebody has made sure of the shafts, so that they are not doubted."""

    speed: Literal["distributor", "crank"] = "distributor"
    advance: Literal["distributor", "crank"] = "distributor"
    turns: float = 1.0
    static: float = 0.0
    confirmed: bool = False

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
class Groups:
    """How the readings of a logger were taken together (recurve.physics.logged): of each group (n,) its `size`, how many
    independent readings it is worth, `count` [1], the standard deviation of its speeds, `spread` [rad/s], and what does not
    average away, `rest` [rad]. Of all: the number of `readings`, the rows `left_out`, and the share of the stated variance that
    they have in common, `shared` [1]."""

    size: Array
    count: Array
    spread: Array
    rest: Array
    readings: int
    left_out: tuple[int, ...]
    shared: float


@dataclass(frozen=True)
class Sweep(Readings):
    """Readings in distributor terms, and how they were taken: `reading` [rad] and `speed_reading` [rad/s] are their
    half-widths; `zeroed_at` [rad/s] is where zero was taken, None if the weights were held home; `static_known` is false
    for readings at the crank whose static timing was not given; `as_read`, what the file's own figures count in; `groups`, how
    a logger's readings were taken together, None where each stands by itself."""

    file: str
    reading: float
    speed_reading: float
    zeroed_at: float | None = None
    static_known: bool = True
    as_read: AsRead = AsRead()
    groups: Groups | None = None

    @property
    def left_out(self) -> tuple[int, ...]:
        """Rows that were left out when the readings were taken together."""
        return () if self.groups is None else self.groups.left_out

    @property
    def single(self) -> np.ndarray:
        """Which are single readings (n,) (bool): of a group, those that lay far off were left out already."""
        return np.ones(len(self.speed), bool) if self.groups is None else np.asarray(self.groups.size == 1)

    def nodes(self) -> Array:
        """Speeds (n, 3) [rad/s] at which each reading is predicted, by the uncertainty of speed and the width of its group."""
        if self.groups is None:
            return speed_nodes(self.speed, self.speed_reading)
        return speed_nodes(self.speed, np.sqrt(self.speed_reading**2 + 3.0 * self.groups.spread**2))

    def variance(self, by_speed: Array) -> Array:
        """Variance (..., n) [rad²] of the readings, of which `by_speed` (..., n) [rad²] is that over their `nodes`."""
        single = self.reading**2 / 3
        if self.groups is None:
            return np.asarray(single + by_speed)
        groups = self.groups
        own = self.speed_reading**2 / np.maximum(self.speed_reading**2 + 3.0 * groups.spread**2, 1e-300)
        return np.asarray((single + by_speed * own) / groups.count + groups.rest**2)

    def kept(self, mask: np.ndarray) -> Sweep:
        """Those readings alone that the mask (n,) keeps."""
        groups = self.groups
        if groups is not None:
            groups = replace(
                groups,
                size=groups.size[mask],
                count=groups.count[mask],
                spread=groups.spread[mask],
                rest=groups.rest[mask],
            )
        return replace(
            self, speed=self.speed[mask], advance=self.advance[mask], rising=self.rising[mask], row=self.row[mask],
            groups=groups,
        )  # fmt: skip

    def scaled(self, speed: float, advance: float) -> Sweep:
        """The same with its speeds and advances, and their ±, multiplied by these factors [1]."""
        groups = self.groups
        if groups is not None:
            groups = replace(groups, spread=groups.spread * speed, rest=groups.rest * advance)
        return replace(
            self, speed=self.speed * speed, speed_reading=self.speed_reading * speed,
            zeroed_at=None if self.zeroed_at is None else self.zeroed_at * speed,
            advance=self.advance * advance, reading=self.reading * advance, groups=groups,
        )  # fmt: skip

    def scattered(self, inflation: float) -> Sweep:
        """The same with readings that are less sure by a factor [1]."""
        groups = None if self.groups is None else replace(self.groups, rest=self.groups.rest * inflation)
        return replace(self, reading=self.reading * inflation, groups=groups)
