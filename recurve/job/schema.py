"""The job file's shape: which keys there are, of which dimension, and what must go together.

The unit's own tables are in `schema_unit`, the inspection's in `schema_inspection`; here are the target, the files that
the job names, the tolerances, and the whole.

The same models give the shape as a JSON Schema (draft 2020-12), so that an editor completes and checks. It tells keys,
tables, choices and how a quantity is written. What must go together, units and sizes are checked by the commands.
"""

from __future__ import annotations

from typing import Annotated, Any, Literal

from pydantic import Field, model_validator

from recurve.job.quantity import (
    Angle,
    AngleTolerance,
    Date,
    ForceTolerance,
    FractionTolerance,
    Length,
    LengthTolerance,
    PositiveAngle,
    SignedLength,
    Speed,
)
from recurve.job.schema_inspection import ConditionTable, TimingTable, VacuumTable
from recurve.job.schema_unit import (
    Basis,
    Distributor,
    Drag,
    PartialSprings,
    PartialStop,
    PartialWeights,
    Springs,
    Stop,
    SweepReading,
    Table,
    Weights,
)


class TargetPoint(Table):
    speed: Speed
    min: Angle | None = None
    max: Angle | None = None
    advance: Angle | None = None
    tolerance: PositiveAngle | None = None

    @model_validator(mode="after")
    def _one_way(self) -> TargetPoint:
        _check_band(self)
        return self


class Idle(Table):
    speed: Speed
    max: PositiveAngle


class Maximum(Table):
    min: Angle | None = None
    max: Angle | None = None
    advance: Angle | None = None
    tolerance: PositiveAngle | None = None

    @model_validator(mode="after")
    def _one_way(self) -> Maximum:
        _check_band(self)
        return self


def _check_band(band: TargetPoint | Maximum) -> None:
    if band.advance is not None:
        if band.min is not None or band.max is not None:
            raise ValueError(
                "got advance beside min or max, expected one of them: advance (and tolerance), or min and max"
            )
    elif band.max is None:
        raise ValueError(f"got {band.told}, expected min and max, max alone, or advance and tolerance")
    elif band.tolerance is not None:
        raise ValueError(f"got {band.told}, expected tolerance with advance only")


class WantedTiming(Table):
    """What the engine wants at a speed: crank timing, static included."""

    speed: Speed
    timing: Angle
    tolerance: PositiveAngle | None = None


class Target(Table):
    basis: Basis = "distributor"
    speed_basis: Basis | None = None
    advance_basis: Basis | None = None
    confirmed: bool = False
    static: Angle | None = None
    total: Angle | None = None
    total_tolerance: PositiveAngle | None = None
    all_in: Speed | None = None
    timing: tuple[WantedTiming, ...] = ()
    points: tuple[TargetPoint, ...] = ()
    idle: Idle | None = None
    maximum: Maximum | None = None

    @model_validator(mode="after")
    def _something(self) -> Target:
        engine = self.timing or self.total is not None
        if not self.points and self.idle is None and self.maximum is None and not engine:
            raise ValueError(f"got {self.told}, expected at least one of points, idle, maximum, timing and total")
        if self.static is not None and (self.advance_basis or self.basis) == "distributor":
            raise ValueError('got static for a distributor\'s advances, expected basis = "crank" with it')
        if wrong := self._engine_faults(bool(engine)):
            raise ValueError("; ".join(wrong))
        return self

    def _engine_faults(self, engine: bool) -> list[str]:
        """What is wrong with a target from the engine's side: total, all_in, timing."""
        wrong = []
        if engine and "distributor" in (self.basis, self.speed_basis, self.advance_basis):
            wrong.append('got total or timing, which are the engine\'s, expected basis = "crank" with them')
        if engine and self.static is None:
            wrong.append("static: missing, expected the static timing that total and timing include")
        if self.total is not None and self.maximum is not None:
            wrong.append("got total beside maximum, expected one of them: both give the largest advance")
        if self.total is None and (self.all_in is not None or self.total_tolerance is not None):
            wrong.append("got all_in or total_tolerance without total, expected total with them")
        return wrong


class SweepTable(SweepReading):
    file: str
    confirmed: bool = False


class CatalogueTable(Table):
    file: str


class BuildTable(Table):
    """How far a finished build may be off what was planned, as limits."""

    rate: FractionTolerance | None = None
    initial_tension: ForceTolerance | None = None
    post: LengthTolerance | None = None
    stop: LengthTolerance | None = None
    reading: AngleTolerance | None = None


class PlannedSide(Table):
    """The advance that simulated builds reach at a band, rising and falling: mean and standard deviation."""

    rising_deg: float
    rising_deviation_deg: float
    falling_deg: float
    falling_deviation_deg: float


class PlannedForecast(Table):
    """What the bench is to show of the finished unit at a band, set by calliper alone, and once set on the bench."""

    band: str
    speed_rpm: float | None = None
    min_deg: float
    max_deg: float
    by_calliper: PlannedSide
    on_bench: PlannedSide | None = None


class PlannedPlace(Table):
    """A spring as planned: its id, whether it is to be fitted or in the unit already, what would do instead. Where nobody
    measured over its posts `length_holds` is false if the length is the type's alone; then its bend counts, from where the post
    stands, if `bend_holds`."""

    place: str
    id: str
    new: bool
    length_mm: float
    length_holds: bool = True
    bend_mm: float | None = None
    bend_holds: bool = True
    rate_n_per_mm: float
    free_length_mm: float | None = None
    initial_tension_n: float | None = None
    alternates: tuple[str, ...] = ()


class PlannedBuild(Table):
    """The tolerances that a plan counted with, as half-widths, and the stop's degrees (distributor) for each mm."""

    rate: float
    post_mm: float
    stop_mm: float
    stop_deg_per_mm: float


class PlannedTable(Table):
    """Written into plan.toml by `recurve plan`: the job file it was planned from, the fingerprint of that file and its
    tables, a digest of each of these `files`, and whether this is only the nearest miss; and what was said of it, so that the
    finished unit can be held against it: the chances of passing, the springs, the stop, and what each band is to show."""

    job: str
    inputs: str
    files: dict[str, str] = Field(default_factory=dict)
    out_of_reach: bool = False
    chance: float | None = None
    chance_set: float | None = None
    stop_deg: float | None = None
    trim_mm: float | None = None
    springs: tuple[PlannedPlace, ...] = ()
    forecast: tuple[PlannedForecast, ...] = ()
    build: PlannedBuild | None = None


class SetTable(Table):
    """What was measured of a finished unit as it was set: [set] of as-left.toml, and options of `recurve verify`."""

    primary_length: Length | None = None
    secondary_length: Length | None = None
    stop: PositiveAngle | None = None
    stop_trim: SignedLength | None = None
    primary_spring: str | None = None
    secondary_spring: str | None = None
    set_by: Literal["calliper", "bench"] | None = None

    @model_validator(mode="after")
    def _one_stop(self) -> SetTable:
        if self.stop is not None and self.stop_trim is not None:
            raise ValueError("stop: got both stop and stop_trim, expected one of them")
        return self


class BareModel(Table):
    """The job file, with or without weights, stop and springs, whole or in part: a unit by its vacuum alone, a fixed one, or one
    that is not all measured yet."""

    title: Annotated[str, Field(min_length=1, max_length=200)]
    date: Date | None = None
    unit: str | None = None
    type: str | None = None
    distributor: Distributor
    drag: Drag | None = None
    target: Target | None = None
    sweep: SweepTable | None = None
    catalogue: CatalogueTable | None = None
    build: BuildTable | None = None
    condition: ConditionTable | None = None
    vacuum: VacuumTable | None = None
    timing: TimingTable | None = None
    weights: PartialWeights | None = None
    stop: PartialStop | None = None
    springs: PartialSprings | None = None
    planned: PlannedTable | None = None


class JobModel(BareModel):
    """A job file that a curve can be computed from."""

    weights: Weights
    stop: Stop
    springs: Springs


DIALECT = "https://json-schema.org/draft/2020-12/schema"


def job_schema() -> dict[str, Any]:
    """The schema as a document; the same for the same version."""
    made: dict[str, Any] = _plain(BareModel.model_json_schema())  # a unit may be judged before all of it is measured
    return {"$schema": DIALECT, **made, "title": "Job file of recurve"}


def _plain(node: Any) -> Any:
    """A part of the schema without what TOML has not: no null, and no titles that only repeat a key."""
    if isinstance(node, list):
        return [_plain(x) for x in node]
    if not isinstance(node, dict):
        return node
    made = {
        k: {name: _plain(part) for name, part in v.items()} if k in ("properties", "$defs") else _plain(v)
        for k, v in node.items()
        if k != "title" and (k, v) != ("default", None)
    }
    choices = [c for c in made.get("anyOf", ()) if c != {"type": "null"}]
    if not choices or len(choices) == len(made["anyOf"]):
        return made
    rest = {k: v for k, v in made.items() if k != "anyOf"}
    return {**rest, **choices[0]} if len(choices) == 1 else {**rest, "anyOf": choices}
