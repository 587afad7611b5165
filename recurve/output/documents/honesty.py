"""The JSON of how far what was said beforehand came true: a part of `units`."""

from __future__ import annotations

from typing import Annotated, Literal

from recurve.output.documents.base import BandKind, BandSpeed, Document, told

HonestyVerdict = Annotated[
    Literal["too few", "too sure", "agrees", "too careful"],
    told("too few: nothing can be told yet; agrees: as far as so many units tell"),
]


class ShareTold(Document):
    """Units that were told a chance of passing in this range."""

    from_: Annotated[float, told("Chances from here", "1")]
    to: Annotated[float, told("to here", "1")]
    units: Annotated[int, told("Units", "1")]
    said: Annotated[float, told("The mean chance that was said", "1")]
    passed: Annotated[int, told("Units that passed at first setting", "1")]
    share: Annotated[float, told("Their share", "1")]
    low: Annotated[float, told("Lower end of the 95 % interval of the share, by Clopper and Pearson", "1")]
    high: Annotated[float, told("Upper end", "1")]


class ChancesHeld(Document):
    """Chances of passing against how many units passed at first setting."""

    verdict: HonestyVerdict
    whole: Annotated[ShareTold | None, told("All units together; null: none")]
    bins: list[ShareTold]
    open: Annotated[int, told("Units that neither surely passed nor failed; they count in no share", "1")]


class ErrorsTold(Document):
    """Measured less predicted, in the standard deviations that were said: where all is right, of mean 0 and size 1."""

    units: Annotated[int, told("Units", "1")]
    mean: Annotated[float, told("Mean", "1")]
    size: Annotated[float, told("Root mean square", "1")]
    low: Annotated[float, told("Lower end of its interval, by chi-squared", "1")]
    high: Annotated[float, told("Upper end", "1")]
    verdict: HonestyVerdict
    side: Annotated[int, told("+1: measured is surely higher than predicted; −1: lower; 0: neither", "1")]


class ErrorsAtSpeed(ErrorsTold):
    """The same at one band of the curve. The intervals of all bands hold together with a probability of 0.95."""

    band: BandKind
    speed_rpm: BandSpeed
    direction: Literal["rising", "falling"]


class CurvesHeld(Document):
    """Predicted curves against measured ones, at the bands of the targets."""

    whole: Annotated[ErrorsTold | None, told("All bands together, each unit as one number; null: none")]
    speeds: list[ErrorsAtSpeed]
    left_out: Annotated[int, told("Values left out: near zero, or measured less surely than predicted", "1")]


class ToleranceHeld(Document):
    """A tolerance of [build] against how far the builds were off their plans, by the readings as left."""

    what: Literal["rate", "post", "stop"]
    unit: Annotated[str, told("The unit of its values: 1 of a rate, else mm")]
    builds: Annotated[
        int, told("Builds that tell of it; of a rate, each spring of the catalogue once; of a length, each post", "1")
    ]
    said: Annotated[float | None, told("Half-width that was counted with; null: not said", "1 or mm")]
    found: Annotated[float, told("Half-width by the builds", "1 or mm")]
    low: Annotated[float, told("Lower end of its interval, by chi-squared", "1 or mm")]
    high: Annotated[float, told("Upper end", "1 or mm")]
    mean: Annotated[float, told("Mean of the builds above the plan", "1 or mm")]
    verdict: Annotated[Literal["too few", "more", "agrees", "less"], told("Against what was said")]
    proposed: Annotated[float | None, told("Half-width to write into [build]; null: none", "1 or mm")]
    one_sided: Annotated[bool, told("Whether the builds surely lie on one side of the plan")]


class HonestyDocument(Document):
    """How far what was said of the units beforehand came true, by the units with a plan and a record."""

    units: Annotated[int, told("Units with a plan and a record", "1")]
    few: Annotated[int, told("Units under which nothing is told", "1")]
    not_said: Annotated[int, told("Of these, units left out: their records do not say how the posts were set", "1")]
    others: Annotated[int, told("Of these, units left out: built with other springs than planned", "1")]
    copies: Annotated[int, told("Units left out besides: copies, whose records are those of other units", "1")]
    chances: ChancesHeld
    curves: CurvesHeld
    tolerances: list[ToleranceHeld]
