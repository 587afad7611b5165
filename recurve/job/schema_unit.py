"""The unit's part of the job file's shape: weights, stop, drag, springs, and how a sweep was read.

Pydantic models, one class for each table of the TOML file. They hold quantities in SI; `build` turns them into the frozen
types of the numeric rooms.
"""

from __future__ import annotations

import math
from itertools import pairwise
from typing import Annotated, Any, Literal

from pydantic import BaseModel, ConfigDict, Discriminator, Field, Tag, model_validator

from recurve.job.quantity import (
    Angle,
    AngleHalfWidth,
    AngleOrZero,
    Force,
    ForceOrZero,
    Length,
    LengthOrZero,
    Moment,
    Number,
    NumberOrZero,
    PositiveAngle,
    QuantityField,
    Rate,
    SignedLength,
    SignedNumber,
    Speed,
    SpeedHalfWidth,
    Weighing,
)
from recurve.units import Quantity

Basis = Literal["distributor", "crank"]


class Table(BaseModel):
    """A table of the job file: no unknown keys, nothing changed after reading."""

    model_config = ConfigDict(extra="forbid", frozen=True, arbitrary_types_allowed=True, defer_build=True)

    @property
    def told(self) -> str:
        """The keys that are given, for a message: "radius and angle"."""
        given = [n for n in type(self).model_fields if n in self.model_fields_set]
        return " and ".join([", ".join(given[:-1]), given[-1]] if len(given) > 1 else given) or "nothing"


class Distributor(Table):
    lobes: Annotated[int, Field(ge=1, le=16, strict=True)]
    breakers: Annotated[int, Field(ge=1, le=4, strict=True)] = 1
    rotation: Literal["clockwise", "anticlockwise"]
    speed_ratio: Annotated[float, Field(ge=0.05, le=10, allow_inf_nan=False)] = 2.0


class Pivot(Table):
    """A pivot at rest: `radius` alone, which is where angles begin, or `xy` from the shaft."""

    radius: LengthOrZero | None = None
    xy: tuple[SignedLength, SignedLength] | None = None

    @property
    def polar(self) -> tuple[Quantity, Quantity] | None:
        """Its distance [m] from the shaft, and its angle [rad]; None where it is given as xy."""
        return None if self.radius is None else (self.radius, Quantity(0.0))

    @model_validator(mode="after")
    def _one_way(self) -> Pivot:
        if (self.radius is None) == (self.xy is None):
            raise ValueError(f"got {self.told}, expected radius alone, or xy alone")
        if self.radius is not None and self.radius.value <= 0:
            raise ValueError("got a radius of 0, expected more than 0")
        return self


class FromPivot(Table):
    """A point at rest: `distance` and `angle` from the pivot, or `xy` from the shaft."""

    distance: Length | None = None
    angle: Angle | None = None
    xy: tuple[SignedLength, SignedLength] | None = None

    @property
    def polar(self) -> tuple[Quantity, Quantity] | None:
        """Its distance [m] from the pivot, and its angle [rad]; None where it is given as xy."""
        return None if self.distance is None or self.angle is None else (self.distance, self.angle)

    @model_validator(mode="after")
    def _one_way(self) -> FromPivot:
        polar = self.distance is not None and self.angle is not None and self.xy is None
        flat = self.xy is not None and self.distance is None and self.angle is None
        if not (polar or flat):
            raise ValueError(f"got {self.told}, expected distance and angle from the pivot, or xy from the shaft")
        return self


class FromShaft(Table):
    """A point at rest: `radius` and `angle`, or `xy`, from the shaft."""

    radius: LengthOrZero | None = None
    angle: Angle | None = None
    xy: tuple[SignedLength, SignedLength] | None = None

    @property
    def polar(self) -> tuple[Quantity, Quantity] | None:
        """Its distance [m] from the shaft, and its angle [rad]; None where it is given as xy."""
        return None if self.radius is None or self.angle is None else (self.radius, self.angle)

    @model_validator(mode="after")
    def _one_way(self) -> FromShaft:
        polar = self.radius is not None and self.angle is not None and self.xy is None
        flat = self.xy is not None and self.radius is None and self.angle is None
        if not (polar or flat):
            raise ValueError(f"got {self.told}, expected radius and angle from the shaft, or xy from the shaft")
        return self


Place = Pivot | FromPivot | FromShaft


class SlotMotion(Table):
    kind: Literal["slot"]
    pivot: Pivot
    cg: FromPivot
    pin: FromPivot


class LinkMotion(Table):
    kind: Literal["link"]
    pivot: Pivot
    cg: FromPivot
    pin: FromPivot
    cam: FromShaft


class TableMotion(Table):
    kind: Literal["table"]
    advance: Annotated[tuple[AngleOrZero, ...], Field(min_length=3)]
    cg_radius: Annotated[tuple[Length, ...], Field(min_length=3)]

    @model_validator(mode="after")
    def _rows(self) -> TableMotion:
        _check_rows(self.advance, self.cg_radius, "cg_radius")
        return self


class SlopeMotion(Table):
    """I′(α) itself, as a type of unit has it: log of I′ [kg·m²/rad] is level + tilt·x + bow·(3x² − 1)/2 with x from −1 at rest
    to 1 at the advance `reach`; the three are known independently."""

    kind: Literal["slope"]
    reach: PositiveAngle
    level: SignedNumber
    tilt: SignedNumber
    bow: SignedNumber

    @model_validator(mode="after")
    def _weights(self) -> SlopeMotion:
        if not -14.0 < self.level.value < -6.0:
            raise ValueError(
                f"level: got {self.level.value:g}, expected between -14 and -6, the logarithm of the weights' effect [kg·m²/rad]"
            )
        return self


class FoundDrag(Table):
    """What resists besides the springs, as it was found."""

    rubbing_block: Moment | None = None
    breaker_spring: Force | None = None
    contact_lever: Length | None = None
    block_lever: Length | None = None
    cam_radius: Length | None = None
    friction_coefficient: Number | None = None
    dwell: PositiveAngle | None = None
    friction: Moment | None = None
    friction_share: NumberOrZero | None = None
    trigger: Literal["points", "electronic"] = "points"

    @model_validator(mode="after")
    def _one_way(self) -> FoundDrag:
        names = ("breaker_spring", "contact_lever", "block_lever", "cam_radius", "friction_coefficient", "dwell")
        given = [n for n in names if getattr(self, n) is not None]
        if given and self.rubbing_block is not None:
            raise ValueError(f"rubbing_block and {given[0]} both give the drag; expected one of the two ways")
        missing = [n for n in names if n not in given]
        if given and missing:
            raise ValueError(
                f"got {given[0]}, expected also {', '.join(missing)}, which the drag is found from with it"
            )
        if self.friction_share is not None and self.friction_share.value >= 0.5:
            raise ValueError(f"friction_share: got {self.friction_share.value:g}, expected less than 0.5")
        return self


class Drag(FoundDrag):
    trigger_fitted: Literal["points", "electronic"] | None = None


class SweepReading(Table):
    """How a sweep was read: what its columns count in, how well, and where zero was taken."""

    basis: Basis = "distributor"
    speed_basis: Basis | None = None
    advance_basis: Basis | None = None
    static: Angle | None = None
    reading: AngleHalfWidth | None = None
    speed_reading: SpeedHalfWidth | None = None
    zeroed_at: Speed | None = None


class ReferenceSpring(Table):
    """A spring that was in the unit while it was swept, weighed and stretched; `post_bend`: how far its anchor
    stood from where the job describes it, + away from the other post."""

    rate: Rate
    free_length: Length | None = None
    takeup: AngleOrZero | None = None
    initial_tension: ForceOrZero | None = None
    post_bend: SignedLength | None = None

    @model_validator(mode="after")
    def _one_way(self) -> ReferenceSpring:
        if (self.free_length is None) == (self.takeup is None):
            raise ValueError(f"got {self.told}, expected free_length, or takeup, where it begins to pull; one of them")
        return self


class ReferenceMotion(SweepReading):
    """I′(α) from a sweep with known springs: `primary` and `secondary`, or those described in [springs]; `stop` and
    `drag` as they were in that sweep, where [stop] and [drag] say otherwise."""

    kind: Literal["reference"]
    sweep: str
    stop: PositiveAngle | None = None
    drag: FoundDrag | None = None
    primary: ReferenceSpring | None = None
    secondary: ReferenceSpring | None = None

    @model_validator(mode="after")
    def _together(self) -> ReferenceMotion:
        wrong = []
        if (self.advance_basis or self.basis) == "crank" and self.static is None:
            wrong.append('static: missing, expected what the crank advances include, "0 deg" if nothing')
        if self.secondary is not None and self.primary is None:
            wrong.append(
                "got secondary without primary, expected both, primary alone, or neither if those of [springs] were in"
            )
        if wrong:
            raise ValueError("; ".join(wrong))
        return self


def _check_rows(advance: tuple[Quantity, ...], other: tuple[Quantity, ...], name: str) -> None:
    if len(advance) != len(other):
        raise ValueError(f"got {len(advance)} advances and {len(other)} of {name}, expected as many of each")
    values = [row.value for row in advance]
    if values[0] != 0 or any(b <= a for a, b in pairwise(values)):
        told = ", ".join(f"{math.degrees(x):g}" for x in values)
        raise ValueError(f"got advances of {told} deg, expected them to begin at 0 deg and rise from row to row")


def _kind(given: Any) -> str | None:
    kind = given.get("kind") if isinstance(given, dict) else getattr(given, "kind", None)
    return kind if isinstance(kind, str) else None


class Correction(Table):
    """A factor on I′ by advance, as a sweep has shown it: the polynomial through the rows, of degree ≤ 3."""

    advance: Annotated[tuple[AngleOrZero, ...], Field(min_length=1)]
    factor: Annotated[tuple[Annotated[float, Field(gt=0.2, lt=5, allow_inf_nan=False)], ...], Field(min_length=1)]

    @model_validator(mode="after")
    def _rows(self) -> Correction:
        _check_rows(self.advance, tuple(Quantity(f) for f in self.factor), "factor")
        return self


AnyMotion = Annotated[
    Annotated[SlotMotion, Tag("slot")]
    | Annotated[LinkMotion, Tag("link")]
    | Annotated[TableMotion, Tag("table")]
    | Annotated[ReferenceMotion, Tag("reference")]
    | Annotated[SlopeMotion, Tag("slope")],
    Discriminator(_kind),
]


class PartialWeights(Table):
    """What is known of the weights so far; nothing of it needs to be."""

    count: Annotated[int, Field(ge=1, le=8, strict=True)] = 2
    mass: Annotated[Quantity | None, QuantityField("mass")] = None  # None only where it is not given
    correction: Correction | None = None
    motion: AnyMotion | None = None


WITHOUT_MASS = ("reference", "slope")  # motions that tell I′ itself


class Weights(PartialWeights):
    motion: AnyMotion

    @model_validator(mode="before")
    @classmethod
    def _mass_needed(cls, given: Any) -> Any:
        """Only I′ itself does without a mass: elsewhere its absence is told together with all other faults."""
        if isinstance(given, dict) and "mass" not in given and _kind(given.get("motion")) not in WITHOUT_MASS:
            return {**given, "mass": None}
        return given


class PartialStop(Table):
    """What is known of the stop so far: its largest advance may not be measured yet."""

    advance: PositiveAngle | None = None
    radius: Length | None = None
    per_mm: PositiveAngle | None = None
    file_up_to: LengthOrZero | None = None
    build_up_to: LengthOrZero | None = None

    @model_validator(mode="after")
    def _one_way(self) -> PartialStop:
        if self.radius is not None and self.per_mm is not None:
            raise ValueError("got radius beside per_mm, expected one of them: both say what a trim does to the advance")
        trim = any(x is not None and x.value > 0 for x in (self.file_up_to, self.build_up_to))
        if trim and self.radius is None and self.per_mm is None:
            raise ValueError(f"got {self.told}, expected with a trim radius, or per_mm found with a feeler in the stop")
        return self


class Stop(PartialStop):
    advance: PositiveAngle


class PostEnd(FromShaft):
    on: str

    @model_validator(mode="after")
    def _body(self) -> PostEnd:
        if self.on not in ("base", "cam", "weight") and not (
            self.on.startswith("weight ") and self.on[7:].isdigit() and int(self.on[7:]) >= 1
        ):
            raise ValueError(f'on: got "{self.on}", expected "base", "cam", "weight" or "weight 2" and so on')
        return self


class PointPosts(Table):
    kind: Literal["points"]
    anchor: PostEnd
    far: PostEnd


class LengthTable(Table):
    kind: Literal["table"]
    advance: Annotated[tuple[AngleOrZero, ...], Field(min_length=2)]
    length: Annotated[tuple[Length, ...], Field(min_length=2)]

    @model_validator(mode="after")
    def _rows(self) -> LengthTable:
        _check_rows(self.advance, self.length, "length")
        return self


AnyPosts = Annotated[Annotated[PointPosts, Tag("points")] | Annotated[LengthTable, Tag("table")], Discriminator(_kind)]


class PartialSpring(Table):
    """What is known of a spring and its posts so far; the posts may not be measured yet."""

    post_travel: tuple[SignedLength, SignedLength] | None = None
    post_diameter: LengthOrZero | None = None
    free_length: Length | None = None
    rate: Rate | None = None
    initial_tension: ForceOrZero | None = None
    takeup: AngleOrZero | None = None
    pull_at_rest: ForceOrZero | None = None
    at_rest: Literal["slack", "pulls"] | None = None
    weighings: tuple[Weighing, ...] = ()
    over_posts: Length | None = None
    posts: AnyPosts | None = None

    @model_validator(mode="after")
    def _consistent(self) -> PartialSpring:
        pulls = self.pull_at_rest is not None and self.pull_at_rest.value > 0
        late = self.takeup is not None and self.takeup.value > (self.takeup.half_width or 0.0)
        if self.at_rest == "slack" and pulls:
            raise ValueError(
                'got at_rest "slack" beside a pull_at_rest, expected one of them: a slack spring pulls nothing'
            )
        if late and (pulls or self.at_rest == "pulls"):
            raise ValueError(
                'got a takeup past rest beside a pull_at_rest or at_rest "pulls", expected one of them: a spring that pulls at '
                "rest has a takeup of 0"
            )
        if self.post_travel is not None and not self.post_travel[0].value <= 0 <= self.post_travel[1].value:
            told = " and ".join(f"{1e3 * x.value:g}" for x in self.post_travel)
            raise ValueError(
                f"post_travel: got {told} mm, expected how far the post can be bent in (0 or negative) and out (0 or "
                "positive)"
            )
        if self.posts is not None and self.posts.kind == "table" and self.post_diameter is not None:
            raise ValueError("post_diameter: got one beside lengths by table, which are over the posts; leave it out")
        return self


class SpringOnPosts(PartialSpring):
    posts: AnyPosts


class PartialSprings(Table):
    """What is known of the springs so far."""

    primary: PartialSpring | None = None
    secondary: PartialSpring | None = None


class Springs(PartialSprings):
    primary: SpringOnPosts
    secondary: SpringOnPosts | None = None
