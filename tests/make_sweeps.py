"""Makes the invented as-found sweeps of examples/: the curve of a unit a little off what its job says, read badly.

    python tests/make_sweeps.py            writes examples/*-as-found.csv anew; a job cannot be read without its file

`TRUTHS` says what each invented unit "really" was; a job describes it only within its ±. Readings carry
an error equally likely anywhere between ± a limit, from `random.Random(seed).random()`, which Python
keeps from version to version. Degrees, rpm, mN·m and N/mm here, as in the jobs; distributor terms but
for what is written into a file of crank readings.
"""

from __future__ import annotations

import random
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from recurve.job.model import Job
from recurve.job.read import load_job
from recurve.physics.curve import Drag, Installed, Trace, Unit, trace
from recurve.springs.spring import Spring

EXAMPLES = Path(__file__).resolve().parent.parent / "examples"
RPM = np.pi / 30


@dataclass(frozen=True)
class Truth:
    """One invented unit and how it was read. `springs`: rate [N/mm] and take-up [deg, distributor] of each
    spring; moments [mN·m]; `speeds` first, last, step as the file has them; `error` ± and `digit`, the
    smallest step read, in the file's degrees; `speed_error` ± in the file's rpm; `seed` of the errors."""

    springs: tuple[tuple[float, float], ...]
    rubbing_block: float
    friction: float
    stop: float
    speeds: tuple[int, int, int]
    error: float
    digit: float
    speed_error: float
    seed: int
    ratio: float = 1.0
    static: float = 0.0
    zeroed_at: float | None = None


TRUTHS = {
    "launch": Truth(((0.85, 0.75), (4.25, 9.2)), 3.4, 0.8, 13.9, (300, 1300, 100), 0.25, 0.2, 4.0, 17, zeroed_at=250),
    "tractor": Truth(((2.05, 2.0), (3.3, 8.3)), 5.9, 1.2, 11.7, (200, 1000, 100), 0.25, 0.2, 4.0, 31, zeroed_at=200),
    "pump": Truth(((1.46, 1.75), (3.1, 6.2)), 4.9, 0.9, 11.3, (500, 2400, 100), 0.5, 0.5, 10.0, 26, 2.0, 9.0),
    "genset": Truth(((2.05, 1.6),), 0.0, 1.0, 9.9, (300, 1000, 50), 0.25, 0.2, 4.0, 44),
    "crane": Truth(((1.6, 0.9), (2.6, 10.5)), 5.4, 1.1, 16.3, (200, 1200, 100), 0.25, 0.2, 4.0, 52, zeroed_at=200),
    "winch/unit-4": Truth(((1.22, 0.8), (3.5, 6.4)), 4.0, 0.8, 12.0, (200, 1200, 100), 0.25, 0.2, 4.0, 61),
}


def true_curve(job: Job, truth: Truth) -> Trace:
    """The curve of the unit as it really was."""
    springs = []
    for (rate, takeup), place in zip(truth.springs, job.places, strict=True):
        free = float(place.posts.length(np.radians(takeup))[0])
        springs.append(Installed(Spring("true", 1e3 * rate, free), place.posts))
    drag = Drag(1e-3 * truth.rubbing_block, 1e-3 * truth.friction)
    return trace(Unit(job.weights, tuple(springs), drag, np.radians(truth.stop)))


def true_advance(curve: Trace, truth: Truth, speed: float, rising: bool) -> float:
    """What a perfect reader would write at this speed, both in the file's terms [rpm, deg]."""
    omega = speed / truth.ratio * RPM
    last = truth.speeds[1] / truth.ratio * RPM
    advance = curve.rising_advance(omega) if rising else curve.falling_advance(omega, float(curve.rising_advance(last)))
    hidden = 0.0 if truth.zeroed_at is None else float(curve.rising_advance(truth.zeroed_at * RPM))
    return float(np.degrees(float(advance) - hidden)) * truth.ratio + truth.static


def text(name: str) -> str:
    """The whole file of one example."""
    truth, job = TRUTHS[name], load_job(EXAMPLES / f"{name}.toml")
    curve, rng = true_curve(job, truth), random.Random(truth.seed)
    first, last, step = truth.speeds
    up = list(range(first, last + 1, step))
    basis = "crank" if truth.ratio > 1 else "distributor"
    lines = [
        f"# Invented, as everything in examples/{name}.toml: {basis} rpm, {basis} degrees. Made by tests/make_sweeps.py.",
        "speed [rpm],advance [deg],direction",
    ]
    for rising, speeds in ((True, up), (False, up[-2::-1])):
        for speed in speeds:
            really = speed + truth.speed_error * (2 * rng.random() - 1)
            read = true_advance(curve, truth, really, rising) + truth.error * (2 * rng.random() - 1)
            shown = round(read / truth.digit) * truth.digit + 0.0  # + 0.0: no minus zero
            lines.append(f"{speed},{shown:.1f},{'rising' if rising else 'falling'}")
    return "\n".join(lines) + "\n"


if __name__ == "__main__":
    for example in TRUTHS:
        (EXAMPLES / f"{example}-as-found.csv").write_text(text(example), encoding="utf-8")
