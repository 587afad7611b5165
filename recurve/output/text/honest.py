"""How far what was said beforehand came true: a part of the report of `units`."""

from __future__ import annotations

from recurve.output.documents.honesty import (
    ChancesHeld,
    CurvesHeld,
    ErrorsTold,
    HonestyDocument,
    ShareTold,
    ToleranceHeld,
)
from recurve.output.text.layout import Column, table, wrap

TOLERANCES = {"rate": "rate of a new spring", "post": "length over the posts", "stop": "trim of the stop"}


def honesty_lines(document: HonestyDocument) -> list[str]:
    """The part of the report; nothing of units without a plan and a record."""
    if not document.units:
        return []
    count = _units(document.units)
    lines = ["", "HOW FAR WHAT WAS SAID CAME TRUE", *wrap(f"{count} with a plan and a record.", "  ", "  ")]
    if document.not_said:
        lines += _wrapped(
            f"{_units(document.not_said)} left out of chances and curves: the record does not say how the posts were set. "
            "Say it when you verify: --set-by calliper or --set-by bench."
        )
    if document.others:
        lines += _wrapped(f"{_units(document.others)} left out: built with other springs than planned.")
    if document.copies:
        copies = (
            "a copy, whose records are those of another unit"
            if document.copies == 1
            else ("copies, whose records are those of other units")
        )
        lines += _wrapped(f"{_units(document.copies)} left out: {copies}.")
    return [
        *lines,
        *_chances(document.chances, document.few),
        *_curves(document.curves, document.few),
        *_tolerances(document),
    ]


def _units(count: int) -> str:
    return f"{count} {'unit' if count == 1 else 'units'}"


def _wrapped(words: str) -> list[str]:
    return wrap(words, "  ", "  ")


def _chances(held: ChancesHeld, few: int) -> list[str]:
    whole = held.whole
    if whole is None or held.verdict == "too few":
        known = 0 if whole is None else whole.units
        return [
            "",
            *_wrapped(
                f"Chance of passing: nothing can be told yet. {_units(known)} passed or failed; {few} are needed."
            ),
        ]
    told = {
        "too sure": "The chances said were too high: plan with wider tolerances, and see below which.",
        "too careful": "The chances said were too low: more units passed than was said.",
        "agrees": "The chances said agree with that, as far as so many units can tell.",
    }[held.verdict]
    lines = ["", *_wrapped(f"Chance of passing at first setting: {_share_words(whole)}. {told}")]
    if held.open:
        lines += _wrapped(
            f"{_units(held.open)} neither surely passed nor failed. They count in no share, and the answer holds either way."
        )
    columns = [
        Column("chance said", "%"), Column("units"), Column("mean said", "%"), Column("passed", "%"),
        Column("95 % interval", "%"),
    ]  # fmt: skip
    rows = [
        [f"{b.from_:.0%} to {b.to:.0%}".replace("%", ""), str(b.units), _percent(b.said), _percent(b.share),
         f"{_percent(b.low)} to {_percent(b.high)}"]
        for b in held.bins
    ]  # fmt: skip
    return [*lines, *table(columns, rows, "    ")]


def _percent(share: float) -> str:
    return f"{100 * share:.0f}"


def _share_words(one: ShareTold) -> str:
    return (
        f"{_percent(one.said)} % was said, {one.passed} of {one.units} passed, {_percent(one.share)} % "
        f"(the true share lies between {_percent(one.low)} and {_percent(one.high)} %, at 95 %)"
    )


def _curves(held: CurvesHeld, few: int) -> list[str]:
    whole = held.whole
    if whole is None or whole.verdict == "too few":
        known = 0 if whole is None else whole.units
        return [
            "",
            *_wrapped(f"Predicted curve: nothing can be told yet. {_units(known)} can be compared; {few} are needed."),
        ]
    told = {
        "too sure": "The curves came out farther off than was said.",
        "too careful": "The curves came out nearer than was said.",
        "agrees": "That agrees with what was said, as far as so many units can tell.",
    }[whole.verdict]
    size = f"{whole.size:.2f} standard deviations (interval {whole.low:.2f} to {whole.high:.2f}; 1 is what was said)"
    lines = ["", *_wrapped(f"Predicted curve: over {_units(whole.units)} the measured one was off by {size}. {told}")]
    columns = [
        Column("band", words=True), Column("speed", "rpm"), Column("", words=True), Column("units"), Column("mean off", "sd"),
        Column("size", "sd"), Column("interval", "sd", words=True), Column("", words=True),
    ]  # fmt: skip
    rows = [
        [s.band, "stop" if s.speed_rpm is None else f"{s.speed_rpm:.0f}", s.direction, str(s.units), f"{s.mean:+.2f}",
         f"{s.size:.2f}", f"{s.low:.2f} to {s.high:.2f}", _word(s)]
        for s in held.speeds
    ]  # fmt: skip
    lines += table(columns, rows, "    ")
    lines += _wrapped(
        "sd: standard deviations that were said. Speeds are the distributor's; + is more advance than predicted."
    )
    if held.left_out:
        lines += _wrapped(
            f"{held.left_out} values left out: advance near zero, or measured less surely than predicted."
        )
    return lines


def _word(one: ErrorsTold) -> str:
    if one.verdict == "too few":
        return "too few"
    words = {"too sure": "farther off", "too careful": "nearer"}.get(one.verdict, "")
    side = {1: "higher", -1: "lower", 0: ""}[one.side]
    return ", ".join(x for x in (words, side) if x)


def _tolerances(document: HonestyDocument) -> list[str]:
    if not document.tolerances:
        return [
            "",
            *_wrapped("Tolerances of [build]: nothing can be told yet. No record shows how a build was off its plan."),
        ]
    lines = ["", *_wrapped("Tolerances of [build], by the readings as left:")]
    return lines + [x for one in document.tolerances for x in wrap(_tolerance(one, document.few), "  - ", "    ")]


def _tolerance(one: ToleranceHeld, few: int) -> str:
    name = TOLERANCES[one.what]
    plural = "" if one.builds == 1 else "s"
    counted = {"rate": f"spring{plural} of the catalogue", "post": f"length{plural} over posts"}.get(
        one.what, f"build{plural}"
    )
    if one.verdict == "too few" or one.said is None:
        return f"{name}: nothing can be told yet; {one.builds} {counted}, {few} are needed"
    told = (
        f"{name}: ± {_size(one.said, one.what)} is counted with; {one.builds} {counted} show ± {_size(one.found, one.what)}, "
        f"surely from {_size(one.low, one.what)} to {_size(one.high, one.what)}."
    )
    if one.one_sided:
        told += f" They lie on one side of the plan, by {_signed(one.mean, one.what)}: find out why first."
    if one.proposed is None:
        return f"{told} That agrees, as far as so many can tell."
    write = f'{one.what} = "± {_size(one.proposed, one.what)}"'
    return f"{told} That is {one.verdict} than is counted with: write {write} into [build]."


def _size(value: float, what: str) -> str:
    return f"{100 * value:.2g} %" if what == "rate" else f"{value:.2g} mm"


def _signed(value: float, what: str) -> str:
    return f"{100 * value:+.2g} %" if what == "rate" else f"{value:+.2g} mm"
