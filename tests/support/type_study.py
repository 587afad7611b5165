"""Units of invented types whose truth is known: learned from five, the sixth planned from its sweep and the wheel.

A type is a sound mechanism of `mechanisms`; its units scatter about it by 3 % in mass, 0.1 mm and 1° in every place, as
standard deviations, and each is worn by itself: springs, stop, drag and friction. Five are measured, with errors, as a
bench would; of the sixth there are a sweep, the stop by degree wheel and the type. What is planned is built with the
errors of building, its posts set by calliper, swept and judged by `integrator`, and some of it by `multibody`. The tool
sees files alone. All invented. Degrees, rpm, mm, N, N/mm, g; distributor terms.
"""

from __future__ import annotations

import tempfile
from collections.abc import Iterable, Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
from closing import BUILD_UP_TO, FILE_UP_TO, POST, RATE, STOP, STOP_RADIUS, TENSION, TRAVEL, Book, _book, _shelf, bent
from integrator import bench
from mechanisms import RPM, Mechanism, Post, Pull, Unsound, closed_swing, distance, inertia, mechanism
from multibody import Simulation
from numpy.typing import NDArray
from synthetic import all_in, as_csv, onset, passed

from recurve.fit.fit import fit_sweep
from recurve.fit.state import ensemble_of
from recurve.job.model import Job
from recurve.job.read import load_job
from recurve.output.learned import learn_units, write_type
from recurve.physics.ensemble import Shapes, curves
from recurve.planner.plan import Plan, make_plan
from recurve.types.belonging import Belonging, belonging

Array = NDArray[np.float64]
MASS, LENGTH, ANGLE = 0.03, 0.1, 1.0  # scatter of the units of a type
MEASURED = {
    "mass": 0.3,
    "length": 0.1,
    "angle": 0.7,
    "stop": 0.3,
    "rate": 0.05,
    "free": 0.1,
    "drag": 1.0,
}  # half-widths
READING, SPEED_READING, ZERO = 0.5, 10.0, 0.1
LEARNED_FROM = 5
ROOM = 3.0  # that the weights have behind the stop
PLACES = ("primary", "secondary")
STATES = 2048


@dataclass(frozen=True)
class One:
    """A unit: what it is, and the share of its friction that grows with load."""

    true: Mechanism
    share: float


@dataclass(frozen=True)
class Planned:
    """What came of a sixth unit: the plan's verdict and chance; whether it passed as built; how many points of the true curve
    lay in the 95 % band of the predicted one, of how many; whether it was said to fit its own type, and which other types'
    files it was said to fit; `simulated`: by how much the multibody simulation of its curve is off the integrator [deg]."""

    kind: int
    unit: int
    verdict: str
    chance: float
    passed: bool
    inside: int
    points: int
    own: Belonging
    others: tuple[Belonging, ...]
    share: float
    measured_passed: bool | None = None
    measured_chance: float = 0.0
    simulated: float = 0.0


def unit_of(kind: int, unit: int) -> One:
    """A worn unit of a type; the same each time. Unit 0 and on."""
    sound = mechanism(kind)
    random = np.random.default_rng([kind, unit, 91])
    for _ in range(200):
        try:
            one = One(_scattered(sound, random), 0.01 * abs(random.normal()))
            if _worth_sweeping(one):
                return one
        except Unsound:
            continue
    raise AssertionError(f"type {kind} gives no unit {unit}")


def _scattered(sound: Mechanism, random: np.random.Generator) -> Mechanism:
    def near(length: float) -> float:
        return length + LENGTH * random.normal()

    def turned(angle: float) -> float:
        return angle + ANGLE * random.normal()

    def post(one: Post) -> Post:
        return Post(one.on, near(one.radius), turned(one.angle))

    def spring(pull: Pull) -> Pull:
        worn = pull.rate * random.uniform(0.85, 1.05), pull.free_length + random.uniform(-0.1, 0.5)
        ends = replace(pull, anchor=post(pull.anchor), far=post(pull.far), rate=worn[0])
        # Sprung to the length over its own posts: the workshop that built it set them by the book.
        moved = replace(sound, springs=(ends,))
        return replace(ends, free_length=worn[1] + rest_length(moved, ends) - rest_length(sound, pull))

    made = replace(
        sound,
        mass=sound.mass * (1 + MASS * random.normal()),
        pivot=near(sound.pivot),
        cg=(near(sound.cg[0]), turned(sound.cg[1])),
        pin=(near(sound.pin[0]), turned(sound.pin[1])),
        cam=None if sound.cam is None else (near(sound.cam[0]), turned(sound.cam[1])),
        springs=tuple(spring(p) for p in sound.springs),
        stop=sound.stop + random.uniform(-0.3, 1.2),
        drag=sound.drag * random.uniform(0.8, 1.2),
        friction=abs(random.normal()),
    )
    _require_room(made)
    return made


def _require_room(one: Mechanism) -> None:
    """The weights must go well past the stop, and drive the cam all the way: a type that jams in every tenth unit is none."""
    alpha = np.linspace(0.0, np.radians(one.stop + ROOM), 40)
    swing = closed_swing(one, alpha)
    slope = np.diff(inertia(one, swing))
    lengths = [np.diff(distance(one, p, alpha, swing)) for p in one.springs]
    if slope.min() < 0.2 * slope.max() or min(x.min() / x.max() for x in lengths) < 0.2:
        raise Unsound("it binds, or a spring has hardly a lever, close behind the stop")


def sturdy(count: int, first: int = 0) -> list[int]:
    """Seeds of mechanisms, of a slot and of a link in turn, that can be a type, from this seed on."""
    found: list[int] = []
    seed = first
    while len(found) < count:
        try:
            _require_room(replace(mechanism(seed), stop=mechanism(seed).stop + 2.0))
            if mechanism(seed).kind == ("slot", "link")[len(found) % 2]:
                found.append(seed)
        except Unsound:
            pass
        seed += 1
    return found


def rest_length(one: Mechanism, pull: Pull) -> float:
    rest = np.zeros(1)
    return float(distance(one, pull, rest, closed_swing(one, rest))[0])


def _worth_sweeping(one: One) -> bool:
    curve = bench(one.true, one.share, 0.02)
    return onset(curve) > 100 and all_in(curve) < 3500


# --- files ------------------------------------------------------------------------------------------------


def measured_text(one: One, book: Book, random: np.random.Generator, wheel: bool = True) -> str:
    """The job of a unit that was stripped and measured."""

    def said(value: float, what: str, unit: str) -> str:
        half = MEASURED[what]
        read = value + half * random.uniform(-1, 1)
        return f'"{max(read, 0.05) if what == "drag" else read:.4f} ± {half} {unit}"'

    true = one.true
    lines = [
        'title = "Invented unit"',
        _distributor(true),
        f"[weights]\ncount = {true.count}\nmass = {said(true.mass, 'mass', 'g')}",
        f'[weights.motion]\nkind = "{true.kind}"\npivot = {{ radius = {said(true.pivot, "length", "mm")} }}',
    ]
    for name, arm in (("cg", true.cg), ("pin", true.pin)):
        polar = said(arm[0], "length", "mm"), said(arm[1], "angle", "deg")
        lines.append(f"{name} = {{ distance = {polar[0]}, angle = {polar[1]} }}")
    if true.cam is not None:
        polar = said(true.cam[0], "length", "mm"), said(true.cam[1], "angle", "deg")
        lines.append(f"cam = {{ radius = {polar[0]}, angle = {polar[1]} }}")
    lines += [
        _stop(said(true.stop, "stop", "deg")),
        f"[drag]\nrubbing_block = {said(true.drag, 'drag', 'mN*m')}",
    ]
    for place, pull in zip(PLACES, true.springs, strict=True):
        by = MEASURED["rate"] * pull.rate
        lines += [
            f'[springs.{place}]\npost_travel = ["{TRAVEL[0]} mm", "{TRAVEL[1]} mm"]\npost_diameter = "{pull.diameter:.3f} mm"',
            f'rate = "{pull.rate + by * random.uniform(-1, 1):.4f} ± {by:.4f} N/mm"',
            f"free_length = {said(pull.free_length, 'free', 'mm')}",
            f'initial_tension = "{pull.tension:.3f} N"',
            f'[springs.{place}.posts]\nkind = "points"',
        ]
        for name, post in (("anchor", pull.anchor), ("far", pull.far)):
            polar = said(post.radius, "length", "mm"), said(post.angle, "angle", "deg")
            lines.append(f'{name} = {{ on = "{post.on}", radius = {polar[0]}, angle = {polar[1]} }}')
    return "\n".join(lines) + "\n" + book.text


def swept_text(one: One, kind: str, random: np.random.Generator) -> str:
    """The job of a unit of which there are a sweep, the stop by degree wheel, and its type."""
    stop = one.true.stop + MEASURED["stop"] * random.uniform(-1, 1)
    return f'''title = "Invented sixth unit"
type = "{kind}"
[stop]
advance = "{stop:.3f} ± {MEASURED["stop"]} deg"
[sweep]
file = "sweep.csv"
reading = "± {READING} deg"
speed_reading = "± {SPEED_READING:g} rpm"
[catalogue]
file = "springs.csv"
'''


def _distributor(one: Mechanism) -> str:
    return f'[distributor]\nlobes = 6\nrotation = "{one.rotation}"'


def _stop(advance: str) -> str:
    return (
        f'[stop]\nadvance = {advance}\nradius = "{STOP_RADIUS} mm"\nfile_up_to = "{FILE_UP_TO} mm"\n'
        f'build_up_to = "{BUILD_UP_TO} mm"'
    )


def sweep_csv(one: One, random: np.random.Generator) -> str:
    """A sweep up and down, from below its onset to past its stop."""
    curve = bench(one.true, one.share)
    low, high = 0.8 * onset(curve), 1.12 * all_in(curve)
    up = np.round(np.linspace(low, high, int(np.clip((high - low) / 60, 12, 26))), -1)
    speeds, clean = passed(curve, up, up[::-1], SPEED_READING, random)
    read = clean + READING / np.sqrt(3) * random.normal(size=len(clean)) - ZERO * random.normal()
    return as_csv(speeds, read, len(up))


# --- a study ----------------------------------------------------------------------------------------------


def learned(kind: int, without: int, many: int, folder: Path) -> Path:
    """The file of a type, learned from five of its `many` units, one of them left aside."""
    random = np.random.default_rng([kind, without, 92])
    book = book_of(kind)
    chosen = random.permutation([u for u in range(many) if u != without])[:LEARNED_FROM]
    files = []
    for unit in chosen:
        path = folder / f"type-{kind}-unit-{unit}.toml"
        path.write_text(measured_text(unit_of(kind, int(unit)), book, random), encoding="utf-8")
        files.append(path)
    to = folder / f"type-{kind}.toml"
    write_type(learn_units(files, [], lambda text: None), to, f"Invented type {kind}", False)
    return to


def book_of(kind: int) -> Book:
    """The book of a type."""
    return _book(replace(mechanism(kind), friction=0.0), np.random.default_rng([kind, 93]))


def study(case: tuple[int, int, int, tuple[int, ...], bool]) -> Planned:
    """A type, a unit of it, how many there are, the other types, and whether the simulation runs."""
    kind, unit, many, kinds, simulated = case
    random = np.random.default_rng([kind, unit, 94])
    one, book = unit_of(kind, unit), book_of(kind)
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        (folder / "springs.csv").write_text(
            _shelf(mechanism(kind), np.random.default_rng([kind, 95])), encoding="utf-8"
        )
        (folder / "sweep.csv").write_text(sweep_csv(one, random), encoding="utf-8")
        files = {k: learned(k, unit, many, folder) for k in kinds}
        job = _job(folder, "sixth.toml", swept_text(one, files[kind].name, random))
        plan = make_plan(job)
        assert plan.fit is not None and job.kind is not None
        own = belonging(job.kind, job, plan.fit)
        others = []
        for other in kinds:
            if other != kind:
                wrong = _job(folder, f"wrong-{other}.toml", swept_text(one, files[other].name, random))
                assert wrong.kind is not None
                others.append(belonging(wrong.kind, wrong, fit_sweep(wrong)))
        whole = measured_text(one, book, random)
        swept = '[sweep]\nfile = "sweep.csv"\nreading = "± 0.5 deg"\n[catalogue]\nfile = "springs.csv"\n'
        full = make_plan(_job(folder, "measured.toml", whole + swept))
    assert own is not None
    told = tuple(o for o in others if o is not None)
    found = Planned(kind, unit, plan.verdict, 0.0, False, 0, 0, own, told, 0.0)
    if full.build is not None and full.built is not None and full.verdict != "out of reach":
        made = build(full, one, random)
        found = replace(found, measured_chance=full.built.fraction, measured_passed=book.passes(bench(made, one.share)))
    if plan.build is None or plan.built is None or plan.verdict == "out of reach":
        return found
    made = build(plan, one, random)
    inside, points = covered(job, plan, made, one.share, book)
    found = replace(
        found, chance=plan.built.fraction, passed=book.passes(bench(made, one.share)), inside=inside, points=points,
        share=plan.built.by_type or 0.0,
    )  # fmt: skip
    return replace(found, simulated=simulation_off(made, book)) if simulated else found


def _job(folder: Path, name: str, text: str) -> Job:
    path = folder / name
    path.write_text(text, encoding="utf-8")
    return load_job(path)


def build(plan: Plan, one: One, random: np.random.Generator) -> Mechanism:
    """The plan carried out on the unit: each post bent until the calliper reads what the sheet asks."""
    assert plan.build is not None
    true, springs = one.true, []
    for i, (planned, pull) in enumerate(zip(plan.build.springs, true.springs, strict=True)):
        made = pull
        if plan.job.places[i].found is not planned.spring:
            spring = planned.spring
            tension = spring.initial_tension + TENSION * random.uniform(-1, 1)
            made = replace(
                pull,
                rate=spring.rate * 1e-3 * (1 + RATE * random.uniform(-1, 1)),
                free_length=spring.free_length * 1e3,
                tension=max(tension, 0.0) if spring.initial_tension > 0 else 0.0,
            )
            out = planned.length * 1e3 - rest_length(true, pull) + POST * random.uniform(-1, 1)
        else:
            out = planned.bend * 1e3 + POST * random.uniform(-1, 1)
        springs.append(bent(true, made, out))
    stop = true.stop
    if plan.build.trim != 0.0:
        stop = float(np.degrees(plan.build.stop) + np.degrees(STOP * random.uniform(-1, 1) / STOP_RADIUS))
    return replace(true, springs=tuple(springs), stop=stop)


def covered(job: Job, plan: Plan, made: Mechanism, share: float, book: Book) -> tuple[int, int]:
    """How many points of the true curve, rising at the book's speeds, lie in the 95 % band predicted of it, of how many. A
    point at rest or on the stop tells nothing of the curve and does not count."""
    assert plan.build is not None
    ensemble, springs = ensemble_of(job, plan.fit, STATES), plan.build.unit.springs
    random = np.random.default_rng(96)
    model = ensemble.model
    unit, natural = model.units(ensemble.states), model.natural(ensemble.states)
    count = len(ensemble.states)
    columns = []
    for i, one in enumerate(springs):
        post = POST * 1e-3 * random.uniform(-1, 1, count)
        if plan.job.places[i].found is one.spring:
            stretch = model.column(natural, f"{PLACES[i]}.stretch") + one.bend + post
            columns.append((unit.rate[:, i], stretch, unit.tension[:, i]))
            continue
        tension = np.full(count, one.spring.initial_tension)
        tension = np.maximum(tension + TENSION * random.uniform(-1, 1, count), 0.0) if tension[0] > 0 else tension
        rate = one.spring.rate * (1 + RATE * random.uniform(-1, 1, count))
        columns.append((rate, float(one.length(0.0)[0]) - one.spring.free_length + post, tension))
    stop = unit.stop
    if plan.build.trim != 0.0:
        stop = plan.build.stop + STOP / STOP_RADIUS * random.uniform(-1, 1, count)
    rate, stretch, tension = (np.stack(x, axis=1) for x in zip(*columns, strict=True))
    posts = tuple(s.posts.bent(s.bend) for s in springs)
    drawn = Shapes.of(plan.job.weights, posts, float(model.shapes.advance[-1]))
    shapes = replace(drawn, slope=model.shapes.slope, modes=model.shapes.modes)
    many = curves(shapes, replace(unit, rate=rate, stretch=stretch, tension=tension, stop=stop), 64)
    speeds = np.array([p[0] for p in book.points])
    start = many.falling_advance(np.array([book.idle[0] * RPM]))[:, 0]
    low, high = np.degrees(np.quantile(many.rising_advance(speeds * RPM, start), (0.025, 0.975), axis=0))
    curve = bench(made, share)
    curve.at = len(curve.advance) - 1
    curve.settle(book.idle[0])
    true = curve.go_through(speeds)
    told = (true > 0.05) & (true < made.stop - 0.05)
    return int(((true >= low) & (true <= high))[told].sum()), int(told.sum())


def simulation_off(made: Mechanism, book: Book) -> float:
    """The largest difference [deg] of the rising curve at the book's speeds between multibody simulation and integrator, both
    without the friction that they model differently."""
    smooth = replace(made, friction=0.0)
    curve, unit = bench(smooth), Simulation(smooth)
    worst, before = 0.0, 0.3 * book.points[0][0]
    for speed, _, _ in book.points:
        worst = max(worst, abs(unit.creep(before, speed) - curve.settle(speed)))
        before = speed
    return worst


def studied(
    kinds: Sequence[int], many: int, simulated: Iterable[tuple[int, int]] = (), workers: int = 2
) -> list[Planned]:
    """All units of these types, each the sixth once; the multibody simulation runs for those named (type, unit)."""
    wanted = set(simulated)
    cases = [(k, u, many, tuple(kinds), (k, u) in wanted) for k in kinds for u in range(many)]
    with ProcessPoolExecutor(workers) as pool:
        return list(pool.map(study, cases))


def summary(found: Sequence[Planned]) -> str:
    """The table of a study, as printed."""
    planned = [f for f in found if f.points]
    inside, points = sum(f.inside for f in planned), sum(f.points for f in planned)
    chance, share = np.mean([f.chance for f in planned]), np.mean([f.passed for f in planned])
    accused = sum(not f.own.fits for f in found)
    foreign = [o for f in found for o in f.others]
    full = [f for f in found if f.measured_passed is not None]
    both = [f for f in planned if f.measured_passed is not None]
    lines = [
        f"units {len(found)}, planned {len(planned)}; share of the doubt by the type {np.mean([f.share for f in planned]):.2f}",
        f"true curve in its 95 % band: {inside} of {points} points, {inside / points:.3f}",
        f"chance promised {chance:.3f}, passed {share:.3f} ± {np.sqrt(share * (1 - share) / len(planned)):.3f}",
        f"of the same units measured: promised {np.mean([f.measured_chance for f in full]):.3f}, "
        f"passed {np.mean([bool(f.measured_passed) for f in full]):.3f}",
        f"no more corrections than measured: {np.mean([f.passed or not f.measured_passed for f in both]):.3f} of {len(both)}",
        f"own type: accused {accused} of {len(found)}; chances "
        + " ".join(f"{np.mean([f.own.chance < p for f in found]):.2f}<{p}" for p in (0.5, 0.2, 0.05, 0.01)),
        f"other types: told {sum(not o.fits for o in foreign)} of {len(foreign)}",
    ]
    for f in found:
        if not f.own.fits:
            lines.append(f"  accused: type {f.kind} unit {f.unit}, chance {f.own.chance:.4f}, odds {f.own.odds:.3g}")
        missed = [o for o in f.others if o.fits]
        lines += [f"  not told: type {f.kind} unit {f.unit}, chance {o.chance:.4f}, odds {o.odds:.3g}" for o in missed]
    return "\n".join(lines)
