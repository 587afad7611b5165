"""What the shapes of all JSON documents share: no key that is not told, every number with its unit.

The shapes are read by programs and by the tests; the documents themselves are made in `facts` and the reports. A key is
added there and, as one line, here.
"""

from __future__ import annotations

from typing import Annotated, Any, Literal

import numpy as np
from numpy.typing import ArrayLike
from pydantic import BaseModel, ConfigDict, Field

from recurve.units import RPM

PlaceName = Literal["primary", "secondary"]
VerifyVerdict = Literal["passes", "fails", "too close to call", "not converged"]


class Document(BaseModel):
    """An object with the keys it names and no other, none of which may be left out. A key that is a word of Python's
    own is named with an underscore after it."""

    model_config = ConfigDict(extra="forbid", alias_generator=lambda name: name.removesuffix("_"))


def told(words: str, unit: str | None = None) -> Any:
    """What a key says, and for a number the unit it is in: "1" for a ratio or a count."""
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


class TakeUps(Document):
    """The advance at which each spring begins to pull."""

    primary: Annotated[float | None, told("0: pulls from rest; null: never", "distributor deg")]
    secondary: Annotated[float | None, told("0: pulls from rest; null: never, or no such spring", "distributor deg")]


def rpm(speed: float | None) -> float | None:
    """[rad/s] as [rpm]."""
    return None if speed is None else round(float(speed) * RPM, 6)


def deg(angle: float | None) -> float | None:
    """[rad] as [deg]."""
    return None if angle is None else round(float(np.degrees(angle)), 6)


def mm(length: float | None) -> float | None:
    """[m] as [mm]."""
    return None if length is None else round(float(length) * 1e3, 6)


def rounded_list(values: ArrayLike) -> list[float]:
    """Numbers [1] as a document has them."""
    return [float(x) for x in np.round(np.asarray(values, float), 6)]
