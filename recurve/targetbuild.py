"""From [target] to bands in distributor terms, whether the book speaks of the distributor, the crank, or the engine."""

from __future__ import annotations

from typing import Any

import numpy as np

from recurve import jobmodel as m
from recurve.defaults import default, ranges
from recurve.limits import usual
from recurve.target import Band, Kind, Target
from recurve.units import Measured

Faults = list[tuple[tuple[Any, ...], str]]


def build_target(given: m.Target | None, ratio: float, faults: Faults) -> Target | None:
    """All bands of [target] in the job's order; `ratio` [1] crank turns a distributor turn; adds to `faults`."""
    return None if given is None else _Bands(given, ratio, faults).build()


class _Bands:
    """Collects the bands of one target."""

    def __init__(self, given: m.Target, ratio: float, faults: Faults) -> None:
        self.given, self.ratio, self.faults = given, ratio, faults
        self.crank_speed = (given.speed_basis or given.basis) == "crank"
        self.crank_advance = (given.advance_basis or given.basis) == "crank"

    def build(self) -> Target:
        """Points, what the engine wants, idle, maximum."""
        g = self.given
        bands = [self._band("point", point, ("target", "points", i)) for i, point in enumerate(g.points)]
        bands += [self._wanted(row, ("target", "timing", i)) for i, row in enumerate(g.timing)]
        if g.all_in is not None and g.total is not None:
            bands.append(self._around("point", self._speed(g.all_in), g.total, g.total_tolerance, ("target", "all_in")))
        if g.idle is not None:
            idle = Band("idle", self._speed(g.idle.speed), 0.0, self._advance(g.idle.max))
            bands.append(self._checked(idle, ("target", "idle")))
        if g.maximum is not None:
            bands.append(self._band("maximum", g.maximum, ("target", "maximum")))
        if g.total is not None:
            bands.append(self._around("maximum", None, g.total, g.total_tolerance, ("target", "total")))
        return Target(tuple(bands))

    def _speed(self, given: Measured) -> float:
        return given.value / self.ratio if self.crank_speed else given.value

    def _advance(self, given: Measured) -> float:
        """Distributor advance [rad] of a book's figure: at the crank, static is taken off."""
        if not self.crank_advance:
            return given.value
        static = 0.0 if self.given.static is None else self.given.static.value
        return (given.value - static) / self.ratio

    def _wanted(self, row: m.WantedTiming, key: tuple[Any, ...]) -> Band:
        return self._around("point", self._speed(row.speed), row.timing, row.tolerance, key)

    def _around(
        self, kind: Kind, speed: float | None, timing: Measured, tolerance: Measured | None, key: tuple[Any, ...]
    ) -> Band:
        """A band round a wanted crank timing [rad], static included; ± 2° crank where no tolerance is told."""
        half = usual("timing", "tolerance", "angle")[0] if tolerance is None else tolerance.value
        centre = self._advance(timing)
        low, high = centre - half / self.ratio, centre + half / self.ratio
        return self._checked(Band(kind, speed, max(low, 0.0), high), key)

    def _band(self, kind: Kind, given: m.TargetPoint | m.Maximum, key: tuple[Any, ...]) -> Band:
        if given.advance is not None:
            centre = self._advance(given.advance)
            half = default("band", "tolerance", "angle")
            if given.tolerance is not None:
                half = given.tolerance.value / (self.ratio if self.crank_advance else 1.0)
            low, high = centre - half, centre + half
        else:
            assert given.max is not None  # the model asks for it
            low = 0.0 if given.min is None else self._advance(given.min)
            high = self._advance(given.max)
        speed = self._speed(given.speed) if isinstance(given, m.TargetPoint) else None
        return self._checked(Band(kind, speed, max(low, 0.0), high), key)

    def _checked(self, band: Band, key: tuple[Any, ...]) -> Band:
        low, high = np.degrees(band.low), np.degrees(band.high)
        narrowest = ranges()["band"]["narrowest"]["value"]
        if high - low < narrowest - 1e-9:
            self.faults.append(
                (
                    key,
                    f"got a band from {low:.2f} to {high:.2f} deg (distributor), expected its max at least {narrowest} deg "
                    "above its min (and above 0)",
                )
            )
        return band
