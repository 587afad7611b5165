"""What `recurve spring` is given: weights and lengths as people write them, and what else is known of the spring."""

from __future__ import annotations

import datetime
import hashlib
from collections.abc import Sequence

import numpy as np

from recurve.data import default
from recurve.errors import InputError
from recurve.job.quantity import WEIGHING_EXAMPLE, read_weighing
from recurve.springs.noted import Noted
from recurve.springs.spring import Spring
from recurve.springs.weighing import Hung, WeighedSpring, weigh
from recurve.springs.wire import unknown_material
from recurve.units import SQRT3, Quantity, parse

DIMENSIONS = {"wire": "length", "outer": "length", "coils": "number"}


def measure(
    readings: Sequence[str], free_length: str | None, described: dict[str, str | None], quantity: int | None
) -> WeighedSpring:
    """The spring that the readings show; raises InputError with a line for each fault.

    `readings` as in "50 ± 0.1 g at 18.30 ± 0.05 mm", a weight or a pull; `described` holds id, wire, outer, coils and
    material as given. Where a ± is not given that of `data/ranges.toml [weighing]` is taken.
    """
    faults: list[str] = []
    pairs = [p for p in (_reading(i, text, faults) for i, text in enumerate(readings, 1)) if p is not None]
    free = None if free_length is None else _length("--free-length", free_length, faults)
    known = {name: _number(name, described.get(name), faults) for name in DIMENSIONS}
    material = _material(described.get("material"), faults)
    wire, outer = known["wire"], known["outer"]
    if wire is not None and outer is not None and outer <= 2 * wire:
        faults.append(f"--outer: got {1e3 * outer:.2f} mm, expected over twice the wire's {1e3 * wire:.2f} mm")
    if len(readings) < 2:
        faults.append(f"readings: got {len(readings)}, expected two or more, such as {WEIGHING_EXAMPLE}")
    if faults:
        raise InputError(faults)
    hung = hung_of(pairs)
    closed = None if free is None else Quantity(free.value, _half_width(free, _default_length()))
    weighed = weigh(hung, closed)
    length = 0.0 if free is None else weighed.zero_length if weighed.slack else free.value
    spring = Spring(
        described.get("id") or "", weighed.rate, length, weighed.initial_tension or 0.0, wire, outer, known["coils"],
        material, quantity,
    )  # fmt: skip
    every = [*(q for pair in pairs for q in pair), *([] if free is None else [free])]
    return WeighedSpring(hung, weighed, closed, spring, _assumed(every))


def _reading(number: int, text: str, faults: list[str]) -> tuple[Quantity, Quantity] | None:
    """A pull [N] and a length [m]."""
    try:
        return read_weighing(text)
    except ValueError as fault:
        joint = "," if str(fault).startswith("expected") else ":"
        faults.append(f'reading {number}: got "{text}"{joint} {fault}')
        return None


def _length(where: str, text: str, faults: list[str]) -> Quantity | None:
    try:
        return _above_0(where, text, parse(text, "length"), faults)
    except ValueError as fault:
        faults.append(f'{where}: got "{text}": {fault}')
        return None


def _above_0(where: str, text: str, found: Quantity, faults: list[str]) -> Quantity | None:
    if found.value > 0:
        return found
    faults.append(f'{where}: got "{text}", expected more than 0')
    return None


def _number(name: str, text: str | None, faults: list[str]) -> float | None:
    if text is None:
        return None
    try:
        found = _above_0(f"--{name}", text, parse(text, DIMENSIONS[name]), faults)
    except ValueError as fault:
        faults.append(f'--{name}: got "{text}": {fault}')
        return None
    return None if found is None else found.value


def _material(name: str | None, faults: list[str]) -> str:
    fault = None if name is None else unknown_material(name)
    if fault is not None:
        faults.append(f"--material: {fault}")
    return name or ""


def _default_length() -> float:
    return default("weighing", "length", "length")


def hung_of(pairs: Sequence[tuple[Quantity, Quantity]]) -> Hung:
    """Pulls [N] and lengths [m] as hung; where a ± is not given that of `data/ranges.toml [weighing]` is taken."""
    fraction = default("weighing", "pull", "number")
    return Hung(
        np.array([p.value for p, _ in pairs]),
        np.array([x.value for _, x in pairs]),
        np.array([_half_width(p, fraction * p.value) for p, _ in pairs]) / SQRT3,
        np.array([_half_width(x, _default_length()) for _, x in pairs]) / SQRT3,
    )


def _half_width(found: Quantity, otherwise: float) -> float:
    return otherwise if found.half_width is None else found.half_width


def _assumed(found: list[Quantity]) -> tuple[str, ...]:
    if all(q.half_width is not None for q in found):
        return ()
    fraction, length = 100 * default("weighing", "pull", "number"), 1e3 * _default_length()
    return (
        f"Where no ± was given, weights are taken to be within ± {fraction:g}% and lengths within ± {length:g} mm.",
    )


def noted_of(found: WeighedSpring, date: str | None) -> Noted:
    """What a weighing tells of a spring, for the row of a catalogue; with the `date` that was given and a digest of the
    readings, so that the same weighing is noted once. Raises InputError for what is no date."""
    if date is not None:
        try:
            datetime.date.fromisoformat(date)
        except ValueError:
            raise InputError(f'--date: got "{date}", expected a date such as 2026-05-04') from None
    weighed, free = found.weighed, found.free_length
    readings = np.stack([found.hung.pull, found.hung.length]).tobytes() + repr(free).encode()
    tension, by = weighed.initial_tension, weighed.initial_tension_uncertainty
    from_ = " ".join(["weighed", *([date] if date else []), hashlib.sha256(readings).hexdigest()[:8]])
    return Noted(
        Quantity(weighed.rate, SQRT3 * weighed.rate_uncertainty),
        free if free is not None and free.half_width and not weighed.slack else None,
        None if tension is None or by is None else Quantity(tension, SQRT3 * by),
        from_,
    )
