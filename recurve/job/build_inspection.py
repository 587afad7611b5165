"""From the models of [condition], [vacuum] and [timing] to the frozen types; and what no single table can tell.

From [target] to bands in distributor terms, whether the book speaks of the distributor, the crank, or the engine.
"""

from __future__ import annotations

import numpy as np

from recurve.data import MANUAL, default, ranges, usual, with_reading
from recurve.errors import Fault, Key
from recurve.inspection.model import (
    Condition,
    Hold,
    Inspection,
    PointsAngles,
    Rotor,
    Timing,
    Vacuum,
    VacuumPoint,
    VacuumReading,
)
from recurve.inspection.points import Coil, dwell_between, dwell_of_fraction, pitch
from recurve.job import schema as m
from recurve.job import schema_inspection as c
from recurve.job import schema_unit as u
from recurve.physics.target import Band, Kind, Target
from recurve.units import POUND_FORCE, Quantity

HALF_POUND = 0.5 * POUND_FORCE  # N, the load of the TM's method


def build_inspection(
    condition: c.ConditionTable | None,
    vacuum: c.VacuumTable | None,
    timing: c.TimingTable | None,
    unit: tuple[u.Distributor, u.Drag | None],
    faults: list[Fault],
    notes: list[str],
) -> Inspection:
    """All three blocks; adds to `faults` what contradicts the distributor, to `notes` what must be said aloud."""
    distributor, drag = unit
    return Inspection(
        None if condition is None else _Bench(condition, distributor, drag, faults, notes).build(),
        None if vacuum is None else _vacuum(vacuum, distributor.speed_ratio),
        None if timing is None else _timing(timing, faults),
    )


class _Bench:
    """Builds `Condition`."""

    def __init__(
        self, given: c.ConditionTable, unit: u.Distributor, drag: u.Drag | None, faults: list[Fault], notes: list[str]
    ) -> None:
        self.given, self.unit, self.drag, self.faults, self.notes = given, unit, drag, faults, notes

    def build(self) -> Condition:
        """The inspection in SI; dwell in percent turned to angles."""
        g = self.given
        self._load_note()
        return Condition(
            side_play=self._side_play(),
            end_float=None if g.end_float is None else with_reading(g.end_float, "length", "length"),
            gap=self._each("gap", g.gap, "gap", "length"),
            arm_spring=self._each("arm_spring", g.arm_spring, "force", "force"),
            dwell=tuple(self._dwell(d, "dwell") for d in self._one_a_set("dwell", g.dwell)),
            dwell_idle=None if g.dwell_idle is None else self._dwell(g.dwell_idle, "dwell_idle"),
            dwell_high=None if g.dwell_high is None else self._dwell(g.dwell_high, "dwell_high"),
            dwell_pushed=None
            if g.dwell_pushed is None
            else (self._dwell(g.dwell_pushed[0], "dwell_pushed"), self._dwell(g.dwell_pushed[1], "dwell_pushed")),
            angles=tuple(self._angles(i, row) for i, row in enumerate(g.angles)),
            sparks=self._sparks(),
            breaker_plate=g.breaker_plate or "",
            weight_pins=g.weight_pins or "",
            condenser=g.condenser or "",
            vacuum_unit=g.vacuum_unit or "",
            rotor=None if g.rotor is None else Rotor(g.rotor.offset, g.rotor.tip, g.rotor.segment),
            coil=None if g.coil is None else _coil(g.coil),
            lever_ratio=self._lever_ratio(),
            limits={} if g.limits is None else _condition_limits(g.limits),
        )

    def _load_note(self) -> None:
        load = self.given.side_play_load
        if load is not None and abs(load.value / HALF_POUND - 1) > 0.5:
            self.notes.append(
                f"Side play was read at {load.value:.1f} N; the limit belongs to half a pound, {HALF_POUND:.1f} N, "
                "each way."
            )

    def _side_play(self) -> Quantity | None:
        if self.given.side_play_ways is not None:
            ways = [with_reading(w, "length", "length") for w in self.given.side_play_ways]
            return Quantity(sum(w.value for w in ways), sum(w.half_width or 0.0 for w in ways))
        play = self.given.side_play
        return None if play is None else with_reading(play, "length", "length")

    def _one_a_set(self, key: str, given: tuple[Quantity, ...] | None) -> tuple[Quantity, ...]:
        values = given or ()
        if len(values) > self.unit.breakers:
            self.faults.append(
                Fault(
                    ("condition", key),
                    f"got {len(values)} figures, expected one for each of the {self.unit.breakers} breaker sets",
                )
            )
        return values

    def _each(self, key: str, given: tuple[Quantity, ...] | None, reading: str, dimension: str) -> tuple[Quantity, ...]:
        return tuple(with_reading(v, reading, dimension) for v in self._one_a_set(key, given))

    def _dwell(self, given: Quantity, key: str) -> Quantity:
        """Dwell [rad] with its ±, percent or not; a fault where it does not fit between two lobes."""
        lobes = self.unit.lobes
        if isinstance(given, c.FractionOfPitch):
            given = Quantity(
                float(dwell_of_fraction(given.value, lobes)),
                None if given.half_width is None else float(dwell_of_fraction(given.half_width, lobes)),
            )
        if given.value >= pitch(lobes):
            self.faults.append(
                Fault(
                    ("condition", key),
                    f"got {np.degrees(given.value):.1f} deg, expected less than the lobe pitch of "
                    f"{np.degrees(pitch(lobes)):.1f} deg",
                )
            )
        return with_reading(given, "angle", "angle")

    def _angles(self, index: int, row: c.AnglesRow) -> PointsAngles:
        sign = self._sign
        closes, opens = (with_reading(x, "angle", "angle") for x in (row.closes, row.opens))
        made = PointsAngles(
            row.lobe, row.set, row.pushed,
            Quantity(sign * closes.value, closes.half_width), Quantity(sign * opens.value, opens.half_width),
        )  # fmt: skip
        for name, most in (("lobe", self.unit.lobes), ("set", self.unit.breakers)):
            if getattr(row, name) > most:
                self.faults.append(
                    Fault(("condition", "angles", index, name), f"got {getattr(row, name)}, expected 1 to {most}")
                )
        self._wheel_fault(index, made)
        return made

    @property
    def _sign(self) -> float:
        """+1 where the wheel's figures rise as the shaft turns."""
        return -1.0 if self.given.wheel == "against rotation" else 1.0

    def _wheel_fault(self, index: int, made: PointsAngles) -> None:
        dwell = float(dwell_between(made.closes.value, made.opens.value))
        whole = pitch(self.unit.lobes)
        if dwell < whole:
            return
        other = 2 * np.pi - dwell
        hint = f"; read the other way round the wheel it would be {np.degrees(other):.1f} deg" if other < whole else ""
        self.faults.append(
            Fault(
                ("condition", "angles", index),
                f"got a dwell of {np.degrees(dwell):.1f} deg, expected less than the lobe pitch of "
                f"{np.degrees(whole):.1f} deg{hint}",
            )
        )

    def _sparks(self) -> tuple[Quantity, ...]:
        given = self.given.sparks
        counts = {self.unit.lobes, self.unit.lobes * self.unit.breakers}
        if given and (len(given) not in counts or len(given) < 2):
            told = " or ".join(str(n) for n in sorted(counts))
            self.faults.append(
                Fault(("condition", "sparks"), f"got {len(given)} angles, expected {told}, one for each spark")
            )
        sparks = [with_reading(s, "angle", "angle") for s in given]
        return tuple(Quantity(self._sign * s.value, s.half_width) for s in sparks)

    def _lever_ratio(self) -> float:
        drag = self.drag
        if drag is None or drag.contact_lever is None or drag.block_lever is None:
            return 1.0
        return drag.contact_lever.value / drag.block_lever.value


def _coil(given: c.CoilTable) -> Coil:
    ballast = 0.0 if given.ballast is None else given.ballast.value
    return Coil(given.resistance.value, given.inductance.value, given.supply.value, ballast)


def _condition_limits(given: c.ConditionLimits) -> dict[str, tuple[float | None, float | None]]:
    made: dict[str, tuple[float | None, float | None]] = {}
    for name in ("side_play", "dwell_change", "spark_spacing"):
        value = getattr(given, name)
        if value is not None:
            made[name] = (None, value.value)
    for name in ("end_float", "dwell", "gap", "arm_spring"):
        if getattr(given, name) is not None:
            made[name] = getattr(given, name)
    return made


def _vacuum(given: c.VacuumTable, speed_ratio: float) -> Vacuum:
    """The vacuum unit, its angles the distributor's."""
    ratio = speed_ratio if given.basis == "crank" else 1.0
    maximum = None if given.maximum is None else (given.maximum[0] / ratio, given.maximum[1] / ratio)
    limits: dict[str, tuple[float | None, float | None]] = {}
    if given.limits is not None:
        if given.limits.hold is not None:
            limits["hold"] = (given.limits.hold.value, None)
        if given.limits.loss is not None:
            limits["loss"] = (None, given.limits.loss.value)
        if given.limits.stiction is not None:
            limits["stiction"] = (None, given.limits.stiction.value / ratio)
    return Vacuum(
        sign=1 if given.kind == "advance" else -1,
        start=given.start,
        full=given.full,
        maximum=maximum,
        points=tuple(_vacuum_point(p, ratio) for p in given.points),
        readings=tuple(
            VacuumReading(r.vacuum.value, r.advance.value / ratio, r.direction == "rising") for r in given.measured
        ),
        reading=(usual("reading", "advance", "angle")[0] if given.reading is None else given.reading / ratio),
        gauge=usual("reading", "vacuum", "pressure")[0] if given.gauge is None else given.gauge,
        hold=None
        if given.hold is None
        else Hold(
            with_reading(given.hold.vacuum, "vacuum", "pressure"),
            with_reading(given.hold.left, "vacuum", "pressure"),
            given.hold.after.value,
        ),
        limits=limits,
    )


def _vacuum_point(given: c.VacuumPointRow, ratio: float) -> VacuumPoint:
    if given.advance is None:
        assert given.max is not None  # the model asks for it
        low = 0.0 if given.min is None else given.min.value / ratio
        return VacuumPoint(given.vacuum.value, low, given.max.value / ratio)
    half = usual("vacuum", "tolerance", "angle")[0] if given.tolerance is None else given.tolerance.value / ratio
    return VacuumPoint(
        given.vacuum.value, max(given.advance.value / ratio - half, 0.0), given.advance.value / ratio + half
    )


def _timing(given: c.TimingTable, faults: list[Fault]) -> Timing:
    def value(name: str) -> float | None:
        measured = getattr(given, name)
        return None if measured is None else float(measured.value)

    tolerance, source = usual("timing", "tolerance", "angle")
    if given.tolerance is not None:
        tolerance, source = given.tolerance, MANUAL
    idle, top = value("idle"), value("top_speed")
    if idle is not None and top is not None and idle >= top:
        faults.append(
            Fault(("timing", "top_speed"), "got no more than idle, expected the engine maker's highest speed")
        )
    return Timing(
        static=value("static"),
        total=value("total"),
        limit=value("total_limit"),
        tolerance=tolerance,
        tolerance_source=source,
        idle=idle,
        idle_setting=value("idle_setting"),
        top_speed=top,
        speeds=tuple(sorted(s.value for s in given.speeds)),
        cruise_speed=None if given.cruise is None else given.cruise.speed.value,
        cruise_vacuum=None if given.cruise is None else given.cruise.vacuum.value,
        full_load_vacuum=value("full_load_vacuum"),
    )


SAME_TIMING = np.radians(0.05)  # crank timing that differs by less is the same figure


def timing_faults(target: m.Target | None, timing: c.TimingTable | None) -> list[Fault]:
    """Where the book's figures and the engine's contradict each other: crank degrees, static included."""
    if target is None:
        return []
    static, total = target.static, target.total
    faults = []
    if static is not None and total is not None and total.value < static.value:
        faults.append(_less("target.total", total, "target.static", static))
    if timing is None:
        return faults
    if static is not None and timing.static is not None and abs(static.value - timing.static.value) > SAME_TIMING:
        told = f"got {_degrees(timing.static)}, but target.static says {_degrees(static)}; expected one static timing"
        faults.append(Fault(("timing", "static"), told))
    if total is not None and timing.total is not None and abs(total.value - timing.total.value) > SAME_TIMING:
        told = f"got {_degrees(timing.total)}, but target.total says {_degrees(total)}; expected one total timing"
        faults.append(Fault(("timing", "total"), told))
    if static is not None and timing.total is not None and timing.total.value < static.value:
        faults.append(_less("timing.total", timing.total, "target.static", static))
    if static is not None and timing.total_limit is not None and timing.total_limit.value < static.value:
        faults.append(_less("timing.total_limit", timing.total_limit, "target.static", static))
    elif total is not None and timing.total_limit is not None and timing.total_limit.value < total.value:
        faults.append(_less("timing.total_limit", timing.total_limit, "target.total", total))
    return faults


def _less(key: str, given: Quantity, other: str, than: Quantity) -> Fault:
    return Fault(tuple(key.split(".")), f"got {_degrees(given)}, expected no less than {other}, {_degrees(than)}")


def _degrees(given: Quantity) -> str:
    return f"{np.degrees(given.value):.1f} deg (crank)"


def build_target(given: m.Target | None, ratio: float, faults: list[Fault]) -> Target | None:
    """All bands of [target] in the job's order; `ratio` [1] crank turns a distributor turn; adds to `faults`."""
    return None if given is None else _Bands(given, ratio, faults).build()


class _Bands:
    """Collects the bands of one target."""

    def __init__(self, given: m.Target, ratio: float, faults: list[Fault]) -> None:
        self.given, self.ratio, self.faults = given, ratio, faults
        self.crank_speed = (given.speed_basis or given.basis) == "crank"
        self.crank_advance = (given.advance_basis or given.basis) == "crank"

    def build(self) -> Target:
        """Points, what the engine wants, idle, maximum."""
        g = self.given
        bands = [self._band("point", point, ("target", "points", i)) for i, point in enumerate(g.points)]
        bands += [
            self._around("point", self._speed(row.speed), row.timing, row.tolerance, ("target", "timing", i))
            for i, row in enumerate(g.timing)
        ]
        if g.all_in is not None and g.total is not None:
            bands.append(self._around("point", self._speed(g.all_in), g.total, g.total_tolerance, ("target", "all_in")))
        if g.idle is not None:
            idle = Band("idle", self._speed(g.idle.speed), 0.0, self._advance(g.idle.max))
            bands.append(self._checked(idle, ("target", "idle")))
        if g.maximum is not None:
            bands.append(self._band("maximum", g.maximum, ("target", "maximum")))
        if g.total is not None:
            bands.append(self._around("maximum", None, g.total, g.total_tolerance, ("target", "total")))
        return Target(
            tuple(bands),
            ("crank" if self.crank_speed else "distributor", "crank" if self.crank_advance else "distributor"),
            g.confirmed,
        )

    def _speed(self, given: Quantity) -> float:
        return given.value / self.ratio if self.crank_speed else given.value

    def _advance(self, given: Quantity) -> float:
        """Distributor advance [rad] of a book's figure: at the crank, static is taken off."""
        if not self.crank_advance:
            return given.value
        static = 0.0 if self.given.static is None else self.given.static.value
        return (given.value - static) / self.ratio

    def _around(self, kind: Kind, speed: float | None, timing: Quantity, tolerance: Quantity | None, key: Key) -> Band:
        """A band round a wanted crank timing [rad], static included; ± 2° crank where no tolerance is told."""
        half = usual("timing", "tolerance", "angle")[0] if tolerance is None else tolerance.value
        centre = self._advance(timing)
        low, high = centre - half / self.ratio, centre + half / self.ratio
        return self._checked(Band(kind, speed, max(low, 0.0), high, centre), key)

    def _band(self, kind: Kind, given: m.TargetPoint | m.Maximum, key: Key) -> Band:
        centre: float | None = None
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
        return self._checked(Band(kind, speed, max(low, 0.0), high, centre), key)

    def _checked(self, band: Band, key: Key) -> Band:
        low, high = np.degrees(band.low), np.degrees(band.high)
        narrowest = ranges()["band"]["narrowest"]["value"]
        if high <= 0.0:
            off = ", static taken off" if self.crank_advance and self.given.static is not None else ""
            told = f"got an advance of at most {high:.2f} deg (distributor{off}), expected one above 0: weights do not retard"
            self.faults.append(Fault(key, told))
            return band
        if high - low < narrowest - 1e-9:
            self.faults.append(
                Fault(
                    key,
                    f"got a band from {low:.2f} to {high:.2f} deg (distributor), expected its max at least {narrowest} deg "
                    "above its min (and above 0)",
                )
            )
        return band
