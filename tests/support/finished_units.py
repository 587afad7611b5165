"""Finished units whose truth is known: sound mechanisms of `worn`, measured and told as a plan.toml tells a unit, then spoilt in
the building and swept by `integrator`. All invented.

Degrees, rpm, mm, N, N/mm and mN·m; distributor terms.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
from closing import bent
from integrator import bench
from mechanisms import Mechanism
from numpy.typing import NDArray
from synthetic import all_in, as_csv, onset
from whole_units import whole
from worn import Book

from recurve.diagnosis.as_set import NOTHING_TOLD, AsSet
from recurve.diagnosis.verify import Verification, verify_unit
from recurve.job.model import Job
from recurve.job.read import load_job, read_as_left
from recurve.units import RPM

Array = NDArray[np.float64]
# What a plan writes of a unit that was freed and oiled already when it was swept as found.
FRICTION = 'friction = "0.001 ± 0.75 mN*m"\nfriction_share = "0.0001 ± 0.01"\n'
READING, SPEED_READING = 0.4, 5.0  # ± of a reading [deg, rpm]
SHARE = 0.005  # of the friction, by load


@dataclass(frozen=True)
class Planned:
    """A unit as planned: the job text of its plan.toml, the sound mechanism, its book."""

    text: str
    one: Mechanism
    book: Book

    def job(self, folder: Path) -> Job:
        """The job as read from a file in this folder."""
        path = folder / "plan.toml"
        path.write_text(self.text, encoding="utf-8")
        return load_job(path)

    @property
    def speeds(self) -> Array:
        """Fifteen speeds [rpm] from below the idle speed to past the stop, rising."""
        curve = bench(self.one, SHARE, 0.005)
        low, high = 0.95 * min(self.book.idle, onset(curve)), 1.15 * all_in(curve)
        return np.round(np.linspace(low, high, 15), -1)


def planned_unit(seed: int, trim: float = 0.0) -> Planned:
    """The sound unit of this seed, planned with its stop trimmed by so many mm; every figure of the plan is within its ±."""
    made = whole(seed, "sound", "known")
    text = made.text[: made.text.index("[sweep]")].replace("[drag]\n", f"[drag]\n{FRICTION}")
    plan = f'[planned]\njob = "unit.toml"\ninputs = "0"\nstop_deg = {made.one.stop:.3f}\ntrim_mm = {trim}\n'
    return Planned(text + plan, made.one, made.seen.book)


def with_posts(one: Mechanism, primary: float = 0.0, secondary: float = 0.0) -> Mechanism:
    """The mechanism with its posts so many mm too far out."""
    out = (primary, secondary)
    springs = tuple(bent(one, p, o) for p, o in zip(one.springs, out, strict=True))
    return Mechanism(**{**vars(one), "springs": springs})


def with_friction(one: Mechanism, friction: float) -> Mechanism:
    """The mechanism with this friction."""
    return Mechanism(**{**vars(one), "friction": friction})


def read(one: Mechanism, up: Array, seed: int = 1, noise: float = 0.3, share: float = SHARE) -> Array:
    """What a bench reads (2m - 1,) [deg]: at the speeds `up` (m,), then down again, to 0.1°, off by up to `noise` [deg]."""
    curve = bench(one, share, 0.005)
    curve.stand_still()
    advance = np.concatenate([curve.go_through(up), curve.go_through(up[-2::-1])])
    return np.round(advance + noise * np.random.default_rng(seed).uniform(-1, 1, len(advance)), 1)


def out_of_book(one: Mechanism, book: Book, share: float = SHARE) -> bool:
    """Whether the true unit is outside a band of its book."""
    curve = bench(one, share, 0.005)
    speeds = np.array([p[0] for p in book.points])
    curve.at = len(curve.advance) - 1
    falling, idle = curve.go_through(speeds[::-1])[::-1], curve.settle(book.idle)
    curve.stand_still()
    rising = curve.go_through(speeds)
    low, high = (np.array([p[i] for p in book.points]) for i in (1, 2))
    inside = (rising >= low).all() and (falling <= high).all() and idle <= 0.5 and book.low <= one.stop <= book.high
    return not inside


def judged(
    unit: Planned, folder: Path, up: Array, advance: Array, told: AsSet = NOTHING_TOLD, reading: float = READING
) -> Verification:
    """The unit judged by these readings (2m - 1,) [deg] at the speeds `up` (m,) and down again."""
    left = folder / "as-left.csv"
    left.write_text(as_csv(np.concatenate([up, up[-2::-1]]), advance, len(up)), encoding="utf-8")
    job = unit.job(folder)
    sweep = read_as_left(left, job, basis="distributor")
    return verify_unit(job, replace(sweep, reading=np.radians(reading), speed_reading=SPEED_READING / RPM), told)
