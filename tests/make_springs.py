"""Makes data/springs.csv: invented springs that are true to the wire they are said to be wound from.

    python tests/make_springs.py > data/springs.csv

The same bytes every time: the only randomness is `random.Random(SEED).random()`, which Python keeps
from version to version. Lengths here are in mm, rates in N/mm, forces in N.
"""

from __future__ import annotations

import math
import random
from dataclasses import dataclass

from recurve.springs.spring import rate_from_wire
from recurve.springs.wire import materials

SEED = 1906
DRAWERS, SLOTS = 9, 24
SIZES = (0.40, 0.45, 0.50, 0.55, 0.60, 0.65, 0.70, 0.80, 0.90, 1.0, 1.1)  # preferred metric sizes
COILS_STEP, OUTER_STEP, LENGTH_STEP = 0.25, 0.1, 0.1
INDEX = (4.2, 12.5)
LENGTH = (12.0, 21.0)
RATE = (0.3, 38.0)
OPENING = 2.6  # least inside diameter of a hook: the posts of the examples are of 2.4 to 2.54 mm
MPA_PER_PSI = 0.006894757

HEADER = "id,rate [N/mm],free_length [mm],initial_tension [N],wire [mm],outer [mm],coils,material,quantity"
PREFACE = """\
# Springs in the store room of a harbour museum's workshop. The museum, its drawers and every spring in them are invented.
# Written 2026-11 by tests/make_springs.py, which gives these bytes again. An id is a drawer and its slot: D3-07.
# wire, outer (diameter over the coils) and coils were drawn first; the rest follows from them:
#   rate            Shigley's Mechanical Engineering Design, eq. 10-9 and 10-40, moduli from data/wire.toml, 3 digits;
#   free_length     inside the hooks, unloaded, as of two full hooks, each 0.92 to 1.04 of its nominal length;
#   initial_tension inside the preferred band of the same book, eq. 10-41, or 0 where the coils were wound apart.
# quantity: how many lie in the slot; empty where more can be ordered; 0 where the slot is empty.
"""


@dataclass(frozen=True)
class Drawn:
    """One spring: wire, outer and free length [mm], coils, rate [N/mm], initial tension [N]."""

    wire: float
    outer: float
    free_length: float
    coils: float
    rate: float
    initial_tension: float
    material: str
    quantity: str


def _between(rng: random.Random, low: float, high: float) -> float:
    return low + (high - low) * rng.random()


def _pick(rng: random.Random, choices: tuple[tuple[str, float], ...]) -> str:
    """One of the choices, each with its share; the shares add up to 1."""
    at = rng.random()
    for choice, share in choices:
        at -= share
        if at < 0:
            return choice
    return choices[-1][0]


def _step(value: float, step: float) -> float:
    return round(round(value / step) * step, 6)


def _tension(rng: random.Random, wire: float, mean: float) -> float:
    """Initial tension [N] in the lower four fifths of the preferred band (eq. 10-41), or none."""
    open_wound, place = rng.random() < 0.4, _between(rng, -0.9, 0.6)
    if open_wound:
        return 0.0
    index = mean / wire
    stress = (33500 / math.exp(0.105 * index) + place * 1000 * (4 - (index - 3) / 6.5)) * MPA_PER_PSI
    return round(math.pi * wire**3 * stress / (8 * mean), 2)


def _draw(rng: random.Random, wire: float) -> Drawn | None:
    """One spring of this wire, or None where the draw cannot be wound or is not of use."""
    # Hard-drawn wire (ASTM A227) is drawn from 0.7 mm up.
    kinds = (("music", 0.6), ("stainless", 0.25), ("hard-drawn", 0.15))
    material = _pick(rng, kinds if wire >= 0.7 else (("music", 0.7), ("stainless", 0.3)))
    # To the fourth, so that most are of low index: those are the stiff ones that posts this close ask for.
    index = INDEX[0] + (INDEX[1] - INDEX[0]) * rng.random() ** 4
    outer = _step(wire * (1 + index), OUTER_STEP)
    hook, wanted = _between(rng, 0.92, 1.04), _between(rng, *LENGTH)
    mean = outer - wire
    coils = _step((wanted - 2 * hook * (mean - wire)) / wire - 1, COILS_STEP)
    tension = _tension(rng, wire, mean)
    quantity = _pick(rng, (("1", 0.2), ("2", 0.25), ("3", 0.15), ("4", 0.15), ("", 0.19), ("0", 0.06)))
    if outer - 2 * wire < OPENING or coils < 4 or not INDEX[0] <= mean / wire <= INDEX[1]:
        return None
    young, shear = materials()[material].moduli(wire * 1e-3)
    rate = float(rate_from_wire(wire * 1e-3, mean * 1e-3, coils, young, shear)) / 1e3
    if not RATE[0] <= rate <= RATE[1]:
        return None
    length = _step(2 * hook * (mean - wire) + (coils + 1) * wire, LENGTH_STEP)
    return Drawn(wire, outer, length, coils, float(f"{rate:.3g}"), tension, material, quantity)


def springs() -> list[Drawn]:
    """All springs, as many of each wire as can be, in the order of the drawers."""
    rng = random.Random(SEED)
    drawn: list[Drawn] = []
    while len(drawn) < DRAWERS * SLOTS:
        spring = _draw(rng, SIZES[len(drawn) % len(SIZES)])
        if spring is not None:
            drawn.append(spring)
    return sorted(drawn, key=lambda s: (s.wire, s.outer, s.free_length, s.coils))


def _line(place: int, s: Drawn) -> str:
    name = f"D{place // SLOTS + 1}-{place % SLOTS + 1:02d}"
    numbers = f"{s.rate:g},{s.free_length:.1f},{s.initial_tension:.2f},{s.wire:.2f},{s.outer:.1f},{s.coils:g}"
    return f"{name},{numbers},{s.material},{s.quantity}"


def text() -> str:
    """The whole file."""
    lines = [HEADER, *(_line(i, s) for i, s in enumerate(springs()))]
    return PREFACE + "\n".join(lines) + "\n"


if __name__ == "__main__":
    print(text(), end="")
