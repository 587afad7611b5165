"""What all JSON documents share: their base, the words and units of their fields, and how numbers are rounded.

A document is built by its class's `of` from what the tool worked out, and is validated as it is built. The reports, the
build sheet and the command line read its attributes; `as_json` gives what `--json` prints. A new key is one new field,
and the line in `of` that fills it.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import TYPE_CHECKING, Annotated, Any, Literal, Self, TypeVar

import numpy as np
from numpy.typing import ArrayLike
from pydantic import BaseModel, ConfigDict, Field

from recurve.units import RPM

if TYPE_CHECKING:  # so that a document is read without what fills it
    from recurve.diagnosis.trust import Trust
    from recurve.physics.target import Band
    from recurve.uncertainty import Sampled

PlaceName = Literal["primary", "secondary"]
VerifyVerdict = Literal["passes", "fails", "too close to call", "not converged", "read again"]
T = TypeVar("T")
U = TypeVar("U")


class Document(BaseModel):
    """An object with exactly the keys of its fields, all of them required, and finite numbers only. A trailing underscore
    in a field's name avoids a Python keyword and is not part of the key."""

    model_config = ConfigDict(
        extra="forbid",
        frozen=True,
        allow_inf_nan=False,
        populate_by_name=True,
        defer_build=True,  # only what is written is built
        alias_generator=lambda name: name.removesuffix("_"),
    )

    def as_json(self) -> dict[str, Any]:
        """The document as JSON has it: plain values by their keys, in the order of the fields."""
        return self.model_dump(mode="json", by_alias=True)

    def with_files(self, files: Sequence[str]) -> Self:
        """The same document with the `files` written since; for documents that list files."""
        return type(self)(**{**dict(self), "files": list(files)})


def told(words: str, unit: str | None = None) -> Any:
    """What a field means, and for a number its unit: "1" for a ratio or a count."""
    return Field(description=words if unit is None else f"{words} [{unit}]")


Title = Annotated[str, told("The job's title")]
Fingerprint = Annotated[str, told("Digest of the job and its tables: the same inputs, the same fingerprint")]
Notes = Annotated[list[str], told("What must be said aloud, a sentence each")]
Files = Annotated[list[str], told("Files written")]
BandKind = Annotated[Literal["point", "idle", "maximum"], told("Which kind of band")]
BandSpeed = Annotated[
    float | None, told("Speed of the band; null: the maximum, which is at the stop", "distributor rpm")
]
BandLow = Annotated[float, told("Lower edge of the band; 0 or less: no lower edge", "distributor deg")]
BandHigh = Annotated[float, told("Upper edge of the band", "distributor deg")]
Margin = Annotated[float, told("1 in the centre of a band, 0 on its edge, negative outside", "1")]
Range = tuple[float, float]


class TrustDocument(Document):
    """Whether the answer may be acted on."""

    ok: bool
    reasons: Annotated[list[str], told("What must be settled first, a sentence each")]

    @classmethod
    def of(cls, trust: Trust) -> TrustDocument:
        """A gate as it stands."""
        return cls(ok=trust.ok, reasons=list(trust.reasons))


class TargetBand(Document):
    """A band of the target: the first fields of every judgement of it."""

    band: BandKind
    speed_rpm: BandSpeed
    min_deg: BandLow
    max_deg: BandHigh

    @property
    def from_zero(self) -> bool:
        """Whether only the upper edge counts."""
        return self.min_deg <= 0.0


def band_fields(band: Band) -> dict[str, Any]:
    """The fields that every judgement of a band begins with, as keyword arguments."""
    return dict(
        TargetBand(band=band.kind, speed_rpm=if_known(rpm, band.speed), min_deg=deg(band.low), max_deg=deg(band.high))
    )


def listed(word: str) -> Any:
    """A word from a list that the shape gives. Validation checks it against the list, which a type checker cannot."""
    return word


def by_place(items: Sequence[T]) -> tuple[T | None, T | None]:
    """One item for each place, None where there are fewer than two."""
    primary, secondary = [*items, None, None][:2]
    return primary, secondary


# --- numbers as a document has them: in the unit of their key, to six places --------------------------------


def number(value: float, places: int = 6) -> float:
    """A number [any], rounded."""
    return round(float(value), places)


def rpm(speed: float) -> float:
    """[rad/s] as [rpm]."""
    return number(float(speed) * RPM)


def deg(angle: float) -> float:
    """[rad] as [deg]."""
    return number(np.degrees(angle))


def mm(length: float) -> float:
    """[m] as [mm]."""
    return number(float(length) * 1e3)


def if_known(convert: Callable[[T], U], value: T | None) -> U | None:
    """A value converted, None where it is not known."""
    return None if value is None else convert(value)


def numbers(values: ArrayLike) -> list[float]:
    """Numbers (n,) [any], rounded."""
    return [float(x) for x in np.round(np.asarray(values, float), 6)]


def pair(values: Sequence[float]) -> Range:
    """Least and most [any]."""
    least, most = values
    return number(least), number(most)


def rates(values: Sequence[float]) -> Range:
    """Least and most rate, [N/m] as [N/mm]."""
    return pair([x / 1e3 for x in values])


class UncertainSpeed(Document):
    """A speed of the curve as found."""

    value: Annotated[float, told("Mean of what the readings allow; 0 where there is none", "distributor rpm")]
    standard_uncertainty: Annotated[float, told("Its standard uncertainty", "distributor rpm")]

    @classmethod
    def of(cls, one: Sampled) -> UncertainSpeed:
        """A sampled speed [rad/s]."""
        return cls(value=rpm(one.mean), standard_uncertainty=rpm(one.standard_uncertainty))


class UncertainAngle(Document):
    """An angle of the curve as found."""

    value: Annotated[float, told("Mean of what the readings allow", "distributor deg")]
    standard_uncertainty: Annotated[float, told("Its standard uncertainty", "distributor deg")]

    @classmethod
    def of(cls, one: Sampled) -> UncertainAngle:
        """A sampled angle [rad]."""
        return cls(value=deg(one.mean), standard_uncertainty=deg(one.standard_uncertainty))
