"""Worn units of `worn` that somebody has stripped and measured: whole job files, the fault and its truth known; all invented.

What the job says of weights and posts lies within its ± of what is so. Its springs are told as they are found ("known"), by
their rates alone ("half"), or not at all ("unknown"). A slip is a mistake of the pen in a job of a unit that may be worn or
not: the unit is then measured rightly, and one thing of it is written down wrongly.
"""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import Literal

import numpy as np
from mechanisms import Mechanism
from worn import PLAIN, Way, Worn, worn_mechanism

from recurve.job.model import Job
from recurve.job.read import load_job

Springs = Literal["known", "half", "unknown"]
PEN = (
    "weights of both", "count", "outside hooks", "between centres", "springs exchanged", "inch rates",
    "angle's sign",
)  # fmt: skip
LIMITS = {"mass": 0.2, "place": 0.1, "cg": 0.2, "angle": 1.0, "drag": 1.0, "stop": 0.3, "free": 0.1}


@dataclass(frozen=True)
class Whole:
    """A worn unit with the text of its whole job."""

    seen: Worn
    one: Mechanism
    text: str

    def job(self, folder: Path) -> Job:
        """The job as read from files in this folder."""
        (folder / "as-found.csv").write_text(self.seen.readings, encoding="utf-8")
        path = folder / "whole.toml"
        path.write_text(self.text, encoding="utf-8")
        return load_job(path)


def whole(seed: int, fault: str, springs: Springs = "unknown", way: Way = PLAIN, slip: str | None = None) -> Whole:
    """The unit of this seed with this fault, its job with this slip of the pen."""
    seen, one = worn_mechanism(seed, fault, way)
    random = np.random.default_rng([seed, 77])
    return Whole(seen, one, _text(seen, one, springs, random, slip))


def _text(seen: Worn, one: Mechanism, springs: Springs, random: np.random.Generator, slip: str | None) -> str:
    def off(value: float, limit: float) -> str:
        return f"{value + limit * random.uniform(-1, 1):.4f} ± {limit:g}"

    place, angle = LIMITS["place"], LIMITS["angle"]
    mass, count = one.mass, one.count
    if slip == "weights of both":
        mass *= count
    if slip == "count":
        count = {2: 1, 1: 2}.get(count, 2)
    cg_angle = -one.cg[1] if slip == "angle's sign" else one.cg[1]
    arms = [
        f'cg = {{ distance = "{off(one.cg[0], LIMITS["cg"])} mm", angle = "{off(cg_angle, angle)} deg" }}',
        f'pin = {{ distance = "{off(one.pin[0], place)} mm", angle = "{off(one.pin[1], angle)} deg" }}',
    ]
    if one.cam is not None:
        arms.append(f'cam = {{ radius = "{off(one.cam[0], place)} mm", angle = "{off(one.cam[1], angle)} deg" }}')
    told = [_spring(one, i, springs, off, slip) for i in range(len(one.springs))]
    book = seen.text[seen.text.index("[target]") :]
    lines = [
        'title = "Invented worn unit, stripped and measured"',
        f'[distributor]\nlobes = 4\nrotation = "{one.rotation}"',
        f'[weights]\ncount = {count}\nmass = "{off(mass, LIMITS["mass"])} g"',
        f'[weights.motion]\nkind = "{one.kind}"',
        f'pivot = {{ radius = "{off(one.pivot, place)} mm" }}',
        *arms,
        f'[stop]\nadvance = "{off(one.stop, LIMITS["stop"])} deg"',
        'radius = "14 mm"\nfile_up_to = "0.3 mm"\nbuild_up_to = "0.8 mm"',
        f'[drag]\nrubbing_block = "{off(one.drag, LIMITS["drag"])} mN*m"',
        *told,
    ]
    return "\n".join(lines) + "\n" + book


def _spring(one: Mechanism, index: int, springs: Springs, off: object, slip: str | None) -> str:
    assert callable(off)
    place = ("primary", "secondary")[index]
    pull = one.springs[index]
    said = one.springs[1 - index] if slip == "springs exchanged" else pull
    lines = [
        f"[springs.{place}]",
        'post_travel = ["-0.6 mm", "1.0 mm"]',
        f'post_diameter = "{pull.diameter:.3f} mm"',
    ]
    free, rate = said.free_length, said.rate
    if slip == "outside hooks":
        free += 1.6
    if slip == "between centres":
        free -= pull.diameter
    if slip == "inch rates":
        rate /= 0.17513
    if springs != "unknown" and pull.rate > 0:  # of a broken one there is nothing to measure
        lines.append(f'rate = "{off(rate, 0.04 * rate)} N/mm"')
    if springs == "known" and pull.rate > 0:
        lines += [f'free_length = "{off(free, LIMITS["free"])} mm"', f'initial_tension = "{said.tension:.3f} N"']
    lines += [f"[springs.{place}.posts]", 'kind = "points"']
    for which, post in (("anchor", pull.anchor), ("far", pull.far)):
        lines.append(f'{which} = {{ on = "{post.on}", radius = "{post.radius!r} mm", angle = "{post.angle!r} deg" }}')
    return "\n".join(lines)
