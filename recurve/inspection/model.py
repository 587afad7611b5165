"""What a bench inspection found beside the curve, the vacuum unit, and the engine's own figures: frozen types, SI.

Angles [rad] and speeds [rad/s] are the distributor's, except in `Timing`, where they are the crank's.
"""

from __future__ import annotations

from dataclasses import dataclass, field

from recurve.inspection.points import Coil
from recurve.units import Quantity


@dataclass(frozen=True)
class PointsAngles:
    """Where the points of one breaker set close and open on one lobe [rad], on a wheel whose figures rise as the shaft
    turns, with the shaft `pushed` "free", "one way" or "other way"."""

    lobe: int
    breaker: int
    pushed: str
    closes: Quantity
    opens: Quantity


@dataclass(frozen=True)
class Rotor:
    """The tip's middle past the segment's at the spark, vacuum off [rad], and the widths of both [rad]."""

    offset: Quantity
    tip: Quantity | None
    segment: Quantity | None


@dataclass(frozen=True)
class Condition:
    """The bench inspection; what was not looked at is None, "" or empty. Lengths [m], forces [N].

    `gap`, `arm_spring` and `dwell` hold one number for each breaker set; `sparks` where each spark fell;
    `lever_ratio` is contact lever over block lever, what the block moves the contact by.
    `limits` holds the manual's own figures by name, as (low, high), either None."""

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
    breaker_plate: str = ""
    weight_pins: str = ""
    condenser: str = ""
    vacuum_unit: str = ""
    rotor: Rotor | None = None
    coil: Coil | None = None
    lever_ratio: float = 1.0
    limits: dict[str, tuple[float | None, float | None]] = field(default_factory=dict)


@dataclass(frozen=True)
class VacuumPoint:
    """At `vacuum` [Pa] the advance must lie from `low` to `high` [rad] (retard counts positive for a retard unit)."""

    vacuum: float
    low: float
    high: float


@dataclass(frozen=True)
class VacuumReading:
    """Vacuum [Pa] and advance [rad], with vacuum rising or falling."""

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
    """A vacuum unit: `sign` +1 advances, −1 retards; the book's bands of `start`, `full` [Pa] and `maximum` [rad] and
    its `points`; readings with their ± `reading` [rad] and `gauge` [Pa]; the leak test and its limits by name."""

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
    """The engine's figures, crank degrees before top dead centre [rad] and crank speeds [rad/s]: `static`, `total`
    with the vacuum off, `limit` never to be passed, ± `tolerance`, `idle`, the reading `idle_setting` that the owner
    sets by light, `top_speed` of the engine; vacuum [Pa] at `cruise_speed`, and at full load."""

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
    """The rest of the unit and the engine; each part None where the job does not give it."""

    condition: Condition | None = None
    vacuum: Vacuum | None = None
    timing: Timing | None = None

    @property
    def empty(self) -> bool:
        """Whether there is nothing of all this."""
        return self.condition is None and self.vacuum is None and self.timing is None
