"""Units whose I′ is to be found from a reference sweep: true units, their sweeps and the jobs that tell no geometry."""

from __future__ import annotations

from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
from mechanisms import RPM, Mechanism, job_text, mechanism
from modelunits import unit_of

from recurve.job.model import Job
from recurve.job.read import load_job
from recurve.physics.curve import Drag, Unit, trace
from recurve.physics.mechanism import ReferenceSlope

# Mechanisms whose posts are on base and cam: a post on a weight needs to know how the weight turns.
SEEDS = tuple(s for s in range(250) if s % 7 in (0, 1) and s // 7 % 7 in (0, 1))
RATE, FREE, STOP, DRAG = 0.05, 0.1e-3, 0.3, 1.0  # ± of the springs [1, m], the stop [deg] and the drag [mN·m]


@dataclass(frozen=True)
class Bench:
    """How a sweep is read: ± of a reading [deg] and of the speed [rpm], how many speeds, and what zero is taken
    at, as a share of the onset speed; `ratio` crank turns a distributor turn in what is written, `static` [deg]."""

    reading: float = 0.4
    speed: float = 8.0
    many: int = 14
    zeroed: float | None = None
    ratio: float = 1.0
    static: float = 0.0


def true_unit(one: Mechanism, random: np.random.Generator) -> Unit:
    """A unit that the job describes only within its ±."""
    sound = unit_of(one)
    springs = []
    for installed in sound.springs:
        s = installed.spring
        moved = replace(
            s,
            rate=s.rate * (1 + RATE * random.uniform(-1, 1)),
            free_length=s.free_length + FREE * random.uniform(-1, 1),
        )
        springs.append(replace(installed, spring=moved))
    block = max(one.drag + (DRAG * random.uniform(-1, 1) if one.drag else 0.0), 0.0)
    drag = Drag(1e-3 * block, 1e-3 * random.uniform(0, 1.5), random.uniform(0, 0.03))
    return Unit(sound.weights, tuple(springs), drag, sound.stop + np.radians(STOP * random.uniform(-1, 1)))


def sweep_text(unit: Unit, bench: Bench, random: np.random.Generator) -> tuple[str, float | None]:
    """A CSV of the unit's sweep, up and down, and the speed [rpm] at which zero was taken."""
    curve = trace(unit, 501)
    onset, full = (curve.onset or 25.0) / RPM, (curve.all_in or 0.0) / RPM
    speeds = np.round(np.linspace(0.8 * onset, 1.1 * full, bench.many), -1)
    start = float(curve.falling_advance(0.0))
    top = float(curve.rising_advance(speeds[-1] * RPM, start))
    zero = None if bench.zeroed is None else float(np.round(bench.zeroed * onset))
    hidden = 0.0 if zero is None else float(np.degrees(curve.rising_advance(zero * RPM, start)))
    off = hidden + 0.1 * random.standard_normal()
    lines = ["speed [rpm],advance [deg],direction"]
    for direction, order in (("rising", speeds), ("falling", speeds[::-1])):
        for speed in order:
            omega = (speed + bench.speed * random.uniform(-1, 1)) * RPM
            at = curve.rising_advance(omega, start) if direction == "rising" else curve.falling_advance(omega, top)
            read = float(np.degrees(at)) - off + bench.reading * random.uniform(-1, 1)
            lines.append(f"{speed * bench.ratio:.0f},{read * bench.ratio + bench.static:.2f},{direction}")
    return "\n".join(lines) + "\n", zero


def reference_text(one: Mechanism, bench: Bench = Bench(), zero: float | None = None) -> str:
    """The job: all but the weights, of which it names the sweep alone; springs with their ±."""
    text = job_text(one)
    for p in one.springs:
        text = text.replace(f'rate = "{p.rate!r} N/mm"', f'rate = "{p.rate!r} N/mm ± {100 * RATE} %"')
        text = text.replace(
            f'free_length = "{p.free_length!r} mm"', f'free_length = "{p.free_length!r} ± {1e3 * FREE} mm"'
        )
    text = text.replace(f'"{one.stop!r} deg"', f'"{one.stop!r} ± {STOP} deg"').replace('friction = "0.0 mN*m"\n', "")
    block = f"{one.drag!r} ± {DRAG} mN*m" if one.drag else "0 mN*m"
    text = text.replace(f'rubbing_block = "{one.drag!r} mN*m"', f'rubbing_block = "{block}"')
    first, last = text.index("[weights]"), text.index("[stop]")
    after = text.index("[springs.primary]")
    motion = f'[weights.motion]\nkind = "reference"\nsweep = "reference.csv"\nreading = "± {bench.reading * bench.ratio} deg"\n'
    motion += f'speed_reading = "± {bench.speed * bench.ratio} rpm"\n'
    if bench.ratio != 1.0:
        motion += f'basis = "crank"\nstatic = "{bench.static} deg"\n'
    if zero is not None:
        motion += f'zeroed_at = "{zero * bench.ratio} rpm"\n'
    return text[:first] + "[weights]\n" + motion + text[last : text.index("[weights.motion]", last)] + text[after:]


def swept(seed: int, folder: Path, bench: Bench = Bench()) -> tuple[Unit, Path]:
    """A true unit and the job of its reference sweep."""
    one, random = mechanism(SEEDS[seed % len(SEEDS)]), np.random.default_rng([seed, 40])
    unit = true_unit(one, random)
    readings, zero = sweep_text(unit, bench, random)
    (folder / "reference.csv").write_text(readings, encoding="utf-8")
    path = folder / "unit.toml"
    path.write_text(reference_text(one, bench, zero), encoding="utf-8")
    return unit, path


def slope_of(job: Job) -> ReferenceSlope:
    """The job's I′."""
    assert isinstance(job.weights.motion, ReferenceSlope)
    return job.weights.motion


def errors(unit: Unit, path: Path) -> tuple[np.ndarray, np.ndarray]:
    """Error of log I′ over the travel (41,), and its stated standard uncertainty."""
    slope, grid = slope_of(load_job(path)), np.linspace(0.0, unit.stop, 41)
    return np.log(slope.inertia_slope(grid) / unit.weights.inertia_slope(grid)), slope.uncertainty(grid)
