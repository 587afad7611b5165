"""What was measured besides the curve: the bench inspection, the vacuum unit, and the engine's own figures; SI.

Angles [rad] and speeds [rad/s] are the distributor's, except in `Timing`, where they are the crank's.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Literal

from recurve.inspection.points import Coil
from recurve.units import Quantity


@dataclass(frozen=True)
class PointsAngles:
    """Where the points of one breaker set close and open on one lobe [rad], on a wheel whose figures rise as the shaft
    turns. The shaft was `pushed` "one way" or "other way", or left "free"."""

    lobe: int
    breaker: int
    pushed: Literal["free", "one way", "other way"]
    closes: Quantity
    opens: Quantity


@dataclass(frozen=True)
class Rotor:
    """The rotor at the spark without vacuum: how far the tip's middle is past the segment's (`offset` [rad]), and the
    widths of `tip` and `segment` [rad], None if not measured."""

    offset: Quantity
    tip: Quantity | None
    segment: Quantity | None


@dataclass(frozen=True)
class Condition:
    """The bench inspection; what was not inspected is None, "" or empty. Lengths [m], forces [N], angles [rad].

    `gap`, `arm_spring` and `dwell` hold one quantity for each breaker set; `sparks` are the angles at which the sparks
    fell; `lever_ratio` [1] is the contact's lever over the rubbing block's. `limits` holds the manual's own figures by
    name, as (low, high), each None if not given."""

    side_play: Quantity | None = None
    end_float: Quantity | None = None
    gap: tuple[Quantity, ...] = ()
    arm_spring: tuple[Quantity, ...] = ()
    dwell: tuple[Quantity, ...] = ()
    dwell_idle: Quantity | None = None
    dwell_high: Quantity | None = None
    dwell_pushed: tuple[Quantity, Quantity] | None = None
    angles: tuple[PointsAngles, ...] = ()
    sparks: tuple[Quantity, ...] = ()
    breaker_plate: Literal["", "free", "stiff", "seized"] = ""
    weight_pins: Literal["", "sound", "worn"] = ""
    condenser: Literal["", "sound", "loose", "chafed"] = ""
    vacuum_unit: Literal["", "none", "holds", "leaks", "missing"] = ""
    rotor: Rotor | None = None
    coil: Coil | None = None
    lever_ratio: float = 1.0
    limits: dict[str, tuple[float | None, float | None]] = field(default_factory=dict)


@dataclass(frozen=True)
class VacuumPoint:
    """The book's band, `low` to `high` [rad], of the advance at a `vacuum` [Pa]; retard counts positive for a retard
    unit."""

    vacuum: float
    low: float
    high: float


@dataclass(frozen=True)
class VacuumReading:
    """The advance [rad] read at a vacuum [Pa], vacuum rising or falling."""

    vacuum: float
    advance: float
    rising: bool


@dataclass(frozen=True)
class Hold:
    """The leak test: drawn to `vacuum` [Pa], `left` [Pa] after `time` [s]."""

    vacuum: Quantity
    left: Quantity
    time: float


@dataclass(frozen=True)
class Vacuum:
    """A vacuum unit: `sign` +1 advances, −1 retards; the book's bands of `start` and `full` [Pa] and of the `maximum`
    [rad], and its `points`; the readings, with the ± of an advance (`reading` [rad]) and of the gauge (`gauge` [Pa]); the
    leak test `hold`; and the book's own `limits` by name."""

    sign: int
    start: tuple[float, float] | None
    full: tuple[float, float] | None
    maximum: tuple[float, float] | None
    points: tuple[VacuumPoint, ...]
    readings: tuple[VacuumReading, ...]
    reading: float
    gauge: float
    hold: Hold | None
    limits: dict[str, tuple[float | None, float | None]] = field(default_factory=dict)


@dataclass(frozen=True)
class Timing:
    """The engine's figures: crank angles before top dead centre [rad] and crank speeds [rad/s]. `total` is without vacuum,
    `limit` never to be exceeded, `tolerance` a ±; `idle_setting` is the reading to which the owner sets the engine at
    `idle` by timing light; `top_speed` is the engine's. `cruise_vacuum` [Pa] is that at `cruise_speed`."""

    static: float | None
    total: float | None
    limit: float | None
    tolerance: float
    tolerance_source: str
    idle: float | None
    idle_setting: float | None
    top_speed: float | None
    speeds: tuple[float, ...]
    cruise_speed: float | None
    cruise_vacuum: float | None
    full_load_vacuum: float | None


@dataclass(frozen=True)
class Inspection:
    """The condition of the unit, its vacuum unit, and the engine's timing; each None if the job does not give it."""

    condition: Condition | None = None
    vacuum: Vacuum | None = None
    timing: Timing | None = None

    @property
    def empty(self) -> bool:
        """Whether the job gives none of them."""
        return self.condition is None and self.vacuum is None and self.timing is None
