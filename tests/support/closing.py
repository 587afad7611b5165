"""The whole loop on worn units whose truth is known: swept, planned, built with errors, swept again, corrected once.

The book is what a sound mechanism of `mechanisms` does on a bench; the unit is that mechanism worn: springs
stretched or others than stated, the stop worn, everything else anywhere within its ±. What is bought is off by
the tolerances of [build], and so is every post and stop that is set. The tool sees only files; the truth is
swept and judged by `integrator`. All invented. Degrees, rpm, mm, N, N/mm; distributor terms.
"""

from __future__ import annotations

import tempfile
from collections.abc import Iterable, Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
from integrator import Bench, bench
from mechanisms import RPM, Mechanism, Post, Pull, Unsound, closed_swing, place_of
from numpy.typing import NDArray
from synthetic import TRIES, Case, Stated, all_in, as_csv, measured, onset, passed, plausible, stated_unit, true_unit

from recurve.diagnosis.verify import Correction, verify_unit
from recurve.job.model import Job
from recurve.job.read import load_job, read_as_left
from recurve.output.planfile import plan_toml
from recurve.planner.plan import Plan, make_plan

Array = NDArray[np.float64]
# As data/ranges.toml [build] has them: limits of rate [1], initial tension [N], post and stop [mm].
RATE, TENSION, POST, STOP = 0.05, 0.1, 0.05, 0.05
READING, SPEED_READING = 0.5, 10.0  # of the bench [deg, rpm], at most
STOP_RADIUS = 14.0
TRAVEL, FILE_UP_TO, BUILD_UP_TO = (-0.8, 1.0), 0.5, 0.9
SHELF = 16
PLACES = ("primary", "secondary")


@dataclass(frozen=True)
class Book:
    """The target: (speed, least, most) at points, idle (speed, most), maximum (least, most)."""

    points: tuple[tuple[float, float, float], ...]
    idle: tuple[float, float]
    maximum: tuple[float, float]

    def passes(self, unit: Bench) -> bool:
        """Whether a true unit is in every band, rising from what stays in at idle, and falling."""
        speeds = np.array([p[0] for p in self.points])
        unit.at = len(unit.advance) - 1
        falling = unit.go_through(speeds[::-1])[::-1]
        idle = unit.settle(self.idle[0])
        rising = unit.go_through(speeds)
        low, high = (np.array([p[i] for p in self.points]) for i in (1, 2))
        top = unit.advance[-1]
        return bool(
            (rising >= low).all()
            and (falling <= high).all()
            and idle <= self.idle[1]
            and self.maximum[0] <= top <= self.maximum[1]
        )

    @property
    def text(self) -> str:
        """The [target] of a job file."""
        points = "\n".join(
            f'  {{ speed = "{s:.0f} rpm", min = "{a:.2f} deg", max = "{b:.2f} deg" }},' for s, a, b in self.points
        )
        low, high = self.maximum
        return (
            f'[target]\npoints = [\n{points}\n]\nidle = {{ speed = "{self.idle[0]:.0f} rpm", max = "{self.idle[1]:.2f} deg" }}\n'
            f'maximum = {{ min = "{low:.2f} deg", max = "{high:.2f} deg" }}\n'
        )


@dataclass(frozen=True)
class Worn:
    """A worn unit: what is stated of it, what it is (with its friction's share), the book, its sweep, and a shelf."""

    seed: int
    stated: Stated
    true: Mechanism
    share: float
    book: Book
    swept: Case
    shelf: str

    def job(self, folder: Path) -> Job:
        """The job as read from files in this folder."""
        (folder / "springs.csv").write_text(self.shelf, encoding="utf-8")
        return self.swept.job(folder)


@dataclass(frozen=True)
class Closed:
    """What came of a unit: the plan's verdict and yield; whether it passed as first built; what verify said of it;
    whether it passed after at most one correction. `stated`: its friction was measured; `chance_set`, the chance said once
    its posts are set on the bench; `first_set`, whether it then passed."""

    seed: int
    planned: str
    chance: float
    first: bool
    judged: str
    moves: tuple[str, ...]
    corrected: bool
    stated: bool = False
    chance_set: float = 0.0
    first_set: bool = False


def worn(seed: int) -> Worn:
    """The worn unit of this seed; the same each time."""
    random = np.random.default_rng([seed, 77])
    for attempt in range(TRIES):
        try:
            return _worn(seed, seed + 100_000 * attempt, random)
        except Unsound:
            continue
    raise AssertionError(f"seed {seed} gives no worn unit")


def _worn(seed: int, mechanism: int, random: np.random.Generator) -> Worn:
    stated = stated_unit(mechanism, random, "any")
    sound = replace(stated.one, friction=0.0)
    book = _book(sound, random)
    springs = tuple(
        replace(p, rate=p.rate * random.uniform(0.85, 1.05), free_length=p.free_length + random.uniform(-0.1, 0.7))
        for p in sound.springs
    )
    one = replace(stated.one, springs=springs, stop=sound.stop + random.uniform(-0.5, 2.0))
    stated = replace(stated, one=one)
    true, share = true_unit(stated, random, "any")
    swept = measured(seed, stated, true, share, (random, 0), "any")
    return Worn(seed, stated, true, share, book, _with_book(swept, book), _shelf(sound, random))


def _book(sound: Mechanism, random: np.random.Generator) -> Book:
    unit = bench(sound, 0.0, 0.02)
    if not plausible(unit):
        raise Unsound("no book has such a curve")
    first, last = onset(unit), all_in(unit)
    speeds = np.round(first + np.array([0.15, 0.4, 0.7, 1.05]) * (last - first), -1)
    unit.stand_still()
    advances, half = unit.go_through(speeds), random.uniform(0.8, 1.5)
    points = tuple(
        (float(s), max(float(np.round(a - half, 1)), 0.0), float(np.round(a + half, 1)))
        for s, a in zip(speeds, advances, strict=True)
    )
    return Book(
        points, (float(np.round(0.8 * first, -1)), 0.8), (round(sound.stop - 0.7, 1), round(sound.stop + 0.7, 1))
    )


def _shelf(sound: Mechanism, random: np.random.Generator) -> str:
    rows = ["id,rate [N/mm],free_length [mm],initial_tension [N]"]
    for i in range(SHELF):
        base = sound.springs[i % len(sound.springs)]
        rate, free = base.rate * np.exp(0.2 * random.normal()), base.free_length + random.uniform(-0.4, 0.4)
        tension = base.tension * random.uniform(0.5, 1.5)
        rows.append(f"S{i},{rate:.3f},{free:.2f},{tension:.2f}")
    return "\n".join(rows) + "\n"


def _with_book(swept: Case, book: Book) -> Case:
    head, rest = swept.text.split("[target]\n")
    travel = f'post_travel = ["{TRAVEL[0]} mm", "{TRAVEL[1]} mm"]\n'
    for name in PLACES:
        head = head.replace(f"[springs.{name}]\n", f"[springs.{name}]\n{travel}")
    trim = f'[stop]\nradius = "{STOP_RADIUS} mm"\nfile_up_to = "{FILE_UP_TO} mm"\nbuild_up_to = "{BUILD_UP_TO} mm"\n'
    head = head.replace("[stop]\n", trim)
    tail = rest[rest.index("[sweep]") :]
    return replace(swept, text=f'{head}{book.text}{tail}\n[catalogue]\nfile = "springs.csv"\n')


# --- building it ------------------------------------------------------------------------------------------


def built(unit: Worn, plan: Plan, random: np.random.Generator) -> Mechanism:
    """The plan carried out on the true unit: new springs as their maker made them, or those found, posts and stop
    as well as they can be set."""
    build = plan.build
    assert build is not None
    springs = []
    for i, (planned, pull) in enumerate(zip(build.springs, unit.true.springs, strict=True)):
        kept = plan.job.places[i].found is planned.spring
        if not kept:
            spring = planned.spring
            tension = spring.initial_tension + TENSION * random.uniform(-1, 1)
            pull = replace(
                pull,
                rate=spring.rate * 1e-3 * (1 + RATE * random.uniform(-1, 1)),
                free_length=spring.free_length * 1e3,
                tension=max(tension, 0.0) if spring.initial_tension > 0 else 0.0,
            )
        springs.append(bent(unit.true, pull, planned.bend * 1e3 + POST * random.uniform(-1, 1)))
    stop = unit.true.stop
    if build.trim != 0.0:
        stop = np.degrees(build.stop) + _degrees(STOP * random.uniform(-1, 1))
    return replace(unit.true, springs=tuple(springs), stop=float(stop))


def bent(one: Mechanism, pull: Pull, out: float) -> Pull:
    """The anchor bent so many mm away from the other post, along the line through both at rest."""
    rest = np.zeros(1)
    far = complex(place_of(one, pull.far, rest, closed_swing(one, rest))[0])
    anchor = pull.anchor.place
    moved = anchor + out * (anchor - far) / abs(anchor - far)
    return replace(pull, anchor=Post(pull.anchor.on, float(abs(moved)), float(np.degrees(np.angle(moved)))))


def corrected(one: Mechanism, correction: Correction, random: np.random.Generator) -> Mechanism:
    """The moves of a correction made, each as well as it can be set."""
    springs, stop = list(one.springs), one.stop
    for move in correction.moves:
        if move.what == "stop":
            stop -= _degrees(move.by * 1e3 + STOP * random.uniform(-1, 1))
        else:
            i = PLACES.index(move.what.removesuffix(" post"))
            springs[i] = bent(one, springs[i], move.by * 1e3 + POST * random.uniform(-1, 1))
    return replace(one, springs=tuple(springs), stop=float(stop))


def set_right(unit: Worn, one: Mechanism, plan: Plan, random: np.random.Generator) -> Mechanism:
    """Each post, the primary's first, bent until the bench shows at its setting speed what the sheet asks, rising; left alone
    where it does within what the sheet allows. The readings are off as [build] has it."""
    build = plan.build
    assert build is not None and plan.built is not None
    leave = np.degrees(plan.built.leave or 0.0)
    wanted = (1.0, float(np.degrees(build.stop)) - 1.0)
    for place, speed in enumerate(build.settings[: len(one.springs)]):
        if speed is not None:
            rpm = speed / RPM + SPEED_READING * random.uniform(-1, 1)
            off = READING * random.uniform(-1, 1)
            one = _post_set(one, place, rpm, wanted[place] - off, leave, unit.share)
    return one


def _post_set(one: Mechanism, place: int, rpm: float, wanted: float, leave: float, share: float) -> Mechanism:
    """One post bent until the advance [deg] at the speed [rpm] is as wanted, if it is not within `leave` [deg] of it."""

    def with_post(out: float) -> Mechanism:
        springs = list(one.springs)
        springs[place] = bent(one, springs[place], out)
        return replace(one, springs=tuple(springs))

    def advance(out: float) -> float:
        curve = bench(with_post(out), share, 0.01)
        curve.stand_still()
        return curve.settle(rpm)

    if abs(advance(0.0) - wanted) <= leave:
        return one
    # Away from the other post pulls harder, and less advance is in.
    low, high = -1.5, 1.5
    for _ in range(12):
        middle = (low + high) / 2
        low, high = (middle, high) if advance(middle) > wanted else (low, middle)
    return one if abs(advance(high) - wanted) > 0.3 else with_post(high)  # no bend brings it there


def _degrees(trim: float) -> float:
    return float(np.degrees(trim / STOP_RADIUS))


def as_left(unit: Worn, one: Mechanism, random: np.random.Generator) -> str:
    """The CSV of a sweep of the finished unit, every 50 rpm or so from below idle to past its stop."""
    curve = bench(one, unit.share)
    low, high = 0.9 * unit.book.idle[0], max(1.1 * all_in(curve), 1.05 * unit.book.points[-1][0])
    up = np.round(np.linspace(low, high, int(np.clip((high - low) / 60, 12, 30))), -1)
    speeds, clean = passed(curve, up, up[::-1], 10.0, random)
    return as_csv(speeds, clean + 0.5 / np.sqrt(3) * random.normal(size=len(clean)) - 0.1 * random.normal(), len(up))


# --- the loop ---------------------------------------------------------------------------------------------


def close(seed: int) -> Closed:
    """All of it, once."""
    unit, random = worn(seed), np.random.default_rng([seed, 78])
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        asked = unit.job(folder)
        plan = make_plan(asked)
        if plan.build is None or plan.built is None or plan.verdict == "out of reach":
            return Closed(seed, plan.verdict, 0.0, False, "", (), False)
        one = built(unit, plan, random)
        first = unit.book.passes(bench(one, unit.share))
        right = set_right(unit, one, plan, np.random.default_rng([seed, 79]))
        first_set = unit.book.passes(bench(right, unit.share))
        result = verify_unit(*_files(folder, plan, asked, as_left(unit, one, random)))
        moves: tuple[str, ...] = ()
        if result.correction is not None:
            moves = tuple(m.what for m in result.correction.moves)
            one = corrected(one, result.correction, random)
        return Closed(
            seed,
            plan.verdict,
            plan.built.fraction,
            first,
            result.verdict,
            moves,
            unit.book.passes(bench(one, unit.share)),
            unit.stated.one.friction > 0.0,
            plan.built.fraction if plan.built.fraction_set is None else plan.built.fraction_set,
            first_set,
        )


def _files(folder: Path, plan: Plan, asked: Job, readings: str) -> tuple[Job, object]:
    where = folder / f"{asked.path.stem}-plan"
    where.mkdir()
    (where / "plan.toml").write_bytes(plan_toml(plan))
    (folder / "as-left.csv").write_text(readings, encoding="utf-8")
    return load_job(where / "plan.toml"), read_as_left(folder / "as-left.csv", asked, basis="distributor")


def closed(seeds: Iterable[int], workers: int = 2) -> list[Closed]:
    """Of many units, on both cores."""
    with ProcessPoolExecutor(workers) as pool:
        return list(pool.map(close, seeds, chunksize=2))


def summary(found: Sequence[Closed]) -> str:
    """The table of a study, as printed."""
    planned = [c for c in found if c.chance > 0]
    likely = [c for c in planned if c.chance > 0.5]
    mean, share = np.mean([c.chance for c in planned]), np.mean([c.first for c in planned])
    error = np.sqrt(share * (1 - share) / len(planned))
    lines = [
        f"{len(found)} units, {len(planned)} with a plan that passes",
        f"  chance of passing first time {mean:.3f}, passed {share:.3f} ± {2 * error:.3f} (2 standard errors)",
        f"  of {len(likely)} with a chance over 0.5: {np.mean([c.corrected for c in likely]):.3f} after one correction at most",
    ]
    for what, stated in (("friction stated", True), ("friction not stated", False)):
        some = [c for c in planned if c.stated == stated]
        for how, said, came in (
            ("set by calliper", [c.chance for c in some], [c.first for c in some]),
            ("set on the bench", [c.chance_set for c in some], [c.first_set for c in some]),
        ):
            thirds = np.array_split(np.argsort(said, kind="stable"), 3)
            told = ", ".join(
                f"{np.mean(np.array(said)[t]):.3f}/{np.mean(np.array(came)[t]):.3f} of {len(t)}"
                for t in thirds
                if len(t)
            )
            lines.append(f"  {what}, {how}: said/found {np.mean(said):.3f}/{np.mean(came):.3f}; by thirds {told}")
    return "\n".join(lines)
