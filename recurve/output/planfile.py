"""The files a plan is kept in: plan.toml, a job file of the planned unit that is read back later, and order.csv."""

from __future__ import annotations

import copy
import csv
import hashlib
import io
import os
import re
import tomllib
from collections.abc import Callable, Collection, Mapping
from pathlib import Path
from typing import Any, TypeVar

import numpy as np

from recurve.errors import Gathered
from recurve.files import check_writable
from recurve.job.inputs import files_of
from recurve.job.model import Job, JobHead
from recurve.job.posts_at_rest import lengths_by_type
from recurve.job.read import load_job
from recurve.job.schema import PlannedBuild, PlannedForecast, PlannedPlace, PlannedSide, PlannedTable
from recurve.physics.curve import Unit
from recurve.physics.mechanism import CorrectedWeights
from recurve.physics.posts import PointPosts
from recurve.planner.build import Build, Fitted
from recurve.planner.buying import Purchase
from recurve.planner.plan import Plan
from recurve.planner.simulate import Forecast
from recurve.text import beside, csv_text, path_text, printable
from recurve.units import INCH, PLACES, POUND_FORCE, RPM, SQRT3, LengthUnits, Quantity, parse

Read = TypeVar("Read")
UNPORTABLE = re.compile(r'[<>:"/\\|?*\x00-\x1f]')
NEXT_TO_NOTHING = 1e-6  # a fitted pull [N] below this is none
# The files that a job is told by, in words.
WHAT = {
    "job": "the job", "sweep": "the sweep", "reference": "the reference sweep", "type": "the type", "catalogue": "the catalogue",
}  # fmt: skip
SAME = 2e-6  # of a spring's figures in plan.toml, which have six decimals
LEVERS = ("breaker_spring", "contact_lever", "block_lever", "cam_radius", "friction_coefficient", "dwell")


def plan_folder(job_path: Path) -> Path:
    """The folder for results, `<name of the job>-plan/`, beside the job. Characters that Windows does not allow in a name
    become "_", and a digest keeps two such names apart."""
    name = UNPORTABLE.sub("_", job_path.stem)
    if name != job_path.stem:
        name += "-" + hashlib.sha256(os.fsencode(job_path.stem)).hexdigest()[:6]
    return job_path.with_name(f"{name}-plan")


def read_to_write(
    read: Callable[[], Read], job_path: Path, writes: Callable[[Read], bool] = lambda found: True
) -> Read:
    """What `read` reads of a job whose results are then written beside it, if its `writes` says so. Raises InputError with the
    faults of both: of what is read, and of a folder that cannot be written."""
    gather = Gathered()
    found = gather(read)
    nowhere = found is None and not job_path.parent.is_dir()  # one slip of the path, told once
    if not nowhere and (found is None or writes(found)):
        gather(lambda: check_writable(plan_folder(job_path)))
    gather.settle()
    assert found is not None  # it was settled
    return found


def plan_path(job_path: Path) -> Path:
    """Where the plan.toml of a job is, or would be."""
    return plan_folder(job_path) / "plan.toml"


def read_planned(path: Path) -> PlannedTable | None:
    """The [planned] table of a plan.toml; None if the file is missing, cannot be read or has no such table."""
    try:
        return PlannedTable.model_validate(tomllib.loads(path.read_text(encoding="utf-8"))["planned"])
    except (OSError, ValueError, KeyError, RecursionError):  # what is not UTF-8, not TOML or not valid is a ValueError
        return None


def job_of(job: JobHead) -> Path:
    """The file of the job that a plan.toml was made from, where this is one in its folder; else the job's own file."""
    planned = job.model.planned
    if planned is None:
        return job.path
    at = os.path.realpath(job.path)
    for path in (job.path, Path(at)):  # as it was named, if that leads there
        made_from = path.parent.parent / planned.job
        if planned.job and os.path.realpath(plan_path(made_from)) == at:
            return made_from
    return job.path


def current_plan(job: JobHead) -> PlannedTable | None:
    """The [planned] table of the plan.toml beside the job; None unless it was planned from the job as it is now."""
    planned = read_planned(plan_path(job.path))
    return None if planned is None or changed_since(planned, job) else planned


def changed_since(planned: PlannedTable, job: JobHead, besides: Collection[str] = ()) -> str:
    """Which files of a job were changed since it was planned, in words, `besides` those that do not matter; "" for none. That
    springs were taken from a drawer, or measured, changes no plan but one that is not built yet and counts with that spring."""
    if planned.inputs == job.fingerprint:
        return ""
    if not planned.files:
        return "the job, or a file that it names, was changed after it was planned"
    now, files = job.digests, files_of(job.path, job.model)
    changed = [w for w in WHAT if planned.files.get(w) != now.get(w) and w not in besides]
    named = [f"{WHAT[w]} {printable(files[w])}" if w in files else WHAT[w] for w in changed]
    if not named:
        return "" if "catalogue" in besides else _measured_since(planned, job)
    return f"{' and '.join(named)} {'was' if len(named) == 1 else 'were'} changed after it was planned"


def _measured_since(planned: PlannedTable, job: JobHead) -> str:
    """That a spring to be fitted was measured since, and is not what the plan counted with, in words; "" if none was."""
    if not isinstance(job, Job) or job.catalogue is None or (plan_folder(job.path) / "as-left.toml").is_file():
        return ""
    now = {s.id: (s.rate / 1e3, s.free_length * 1e3, s.initial_tension) for s in job.catalogue.springs}
    for one in (s for s in planned.springs if s.new and s.id in now):
        then = (one.rate_n_per_mm, one.free_length_mm, one.initial_tension_n)
        if any(a is not None and abs(a - b) > SAME for a, b in zip(then, now[one.id], strict=True)):
            return f"{printable(one.id)} was measured after it was planned, and is not as its row says"
    return ""


def planned_unit(job: Job) -> Unit | None:
    """The unit of the job's current plan; None without one, and if that plan is out of reach."""
    planned = current_plan(job)
    return None if planned is None or planned.out_of_reach else load_job(plan_path(job.path)).as_found()


def _place(place: str, fitted: Fitted, bought: Mapping[str, Purchase], plan: Plan) -> PlannedPlace:
    """A spring of a plan, for its [planned] table."""
    order, index = bought.get(place), PLACES.index(place)
    measured = lengths_by_type(plan.job)[index] is None
    # The sweep has seen a spring that stays on its posts, whatever these measure.
    seen = plan.fit is not None and plan.job.places[index].found == fitted.spring
    return PlannedPlace(
        place=place,
        id=printable(fitted.spring.id),
        new=order is not None,
        length_mm=round(fitted.length * 1e3, 3),
        length_holds=measured or not seen,
        bend_mm=round(fitted.bend * 1e3, 3),
        bend_holds=measured or seen,
        rate_n_per_mm=round(fitted.spring.rate / 1e3, 6),
        free_length_mm=round(fitted.spring.free_length * 1e3, 6),
        initial_tension_n=round(fitted.spring.initial_tension, 6),
        alternates=() if order is None else tuple(printable(a) for a in order.alternates),
    )


def _side(forecast: Forecast, band: int) -> PlannedSide:
    """What a band of the target is to show, in degrees."""
    rising, falling = (np.degrees(side[:, band]) for side in (forecast.rising, forecast.falling))
    return PlannedSide(
        rising_deg=round(float(rising[0]), 3),
        rising_deviation_deg=round(float(rising[1]), 3),
        falling_deg=round(float(falling[0]), 3),
        falling_deviation_deg=round(float(falling[1]), 3),
    )


def planned_table(plan: Plan) -> PlannedTable:
    """What a plan.toml says of its plan, so that the finished unit can be held against it."""
    build, built, target = plan.build, plan.built, plan.job.target
    assert build is not None and built is not None and target is not None  # there is no such file without a build
    bought = {p.place: p for p in plan.purchases}
    by_calliper, on_bench = built.forecast, built.forecast_set
    forecast = [
        PlannedForecast(
            band=b.kind,
            speed_rpm=None if b.speed is None else round(b.speed * RPM, 3),
            min_deg=round(float(np.degrees(b.low)), 3),
            max_deg=round(float(np.degrees(b.high)), 3),
            by_calliper=_side(by_calliper, i),
            on_bench=None if on_bench is None else _side(on_bench, i),
        )
        for i, b in enumerate(target.bands)
        if by_calliper is not None
    ]
    return PlannedTable(
        job=printable(plan.job.path.name),
        inputs=plan.job.fingerprint,
        files=plan.job.digests,
        out_of_reach=plan.verdict == "out of reach",
        chance=round(built.fraction, 4),
        chance_set=None if built.fraction_set is None else round(built.fraction_set, 4),
        stop_deg=round(float(np.degrees(build.stop)), 3),
        trim_mm=round(build.trim * 1e3, 3),
        springs=tuple(_place(p, s, bought, plan) for p, s in zip(PLACES, build.springs, strict=False)),
        forecast=tuple(forecast),
        build=_build(plan),
    )


def _build(plan: Plan) -> PlannedBuild:
    """The tolerances that the plan counted with."""
    told, per_mm = plan.job.build, float(np.degrees(plan.job.stop.per_mm)) * 1e-3
    return PlannedBuild(
        rate=told.rate,
        post_mm=round(told.post * 1e3, 4),
        stop_mm=round(told.stop * 1e3, 4),
        stop_deg_per_mm=round(per_mm, 4),
    )


def plan_toml(plan: Plan) -> bytes:
    """The planned unit as a complete job file: `recurve curve` on it gives the planned curve.

    It leaves out the sweep, which was taken of the unit as found. The [planned] table says what it was planned from.
    """
    import tomli_w

    build = plan.build
    assert build is not None  # there is no such file without a build
    document = copy.deepcopy(plan.job.document)
    for key in ("sweep", "planned", "type"):  # what came from a type stands in the document itself
        document.pop(key, None)
    if "catalogue" in document:
        document["catalogue"]["file"] = _from_plan(document["catalogue"]["file"], plan)
    if document["weights"]["motion"]["kind"] == "reference":
        _write_reference(document, plan, build)
    if plan.fit is not None:
        _write_fitted(document, plan)
    _write_trigger(document, plan)
    _write_stop(document["stop"], plan, build)
    for name, fitted in zip(PLACES, build.springs, strict=False):
        _write_spring(document["springs"][name], fitted, plan)
    head = f"# Written by recurve from {printable(plan.job.path.name)}, inputs {plan.job.fingerprint}: the unit as planned.\n"
    if plan.verdict == "out of reach":
        head += "# OUT OF REACH: this is the nearest miss, not a cure.\n"
    document["planned"] = planned_table(plan).model_dump(exclude_none=True)
    return (head + tomli_w.dumps(document)).encode("utf-8")


def _number(value: float, unit: str) -> str:
    return f"{value:.12g} {unit}"


def _toleranced(value: float, half_width: float, unit: str) -> str:
    """A quantity with the tolerance of the build as its ±, for the check of the finished unit."""
    return f"{value:.12g} ± {half_width:.3g} {unit}" if half_width > 0 else _number(value, unit)


def _write_reference(document: dict[str, Any], plan: Plan, build: Build) -> None:
    """Keep the reference sweep as it was: give it its own springs, posts, stop and drag, apart from the planned ones."""
    motion, springs = document["weights"]["motion"], document["springs"]
    motion["sweep"] = _from_plan(motion["sweep"], plan)
    motion.setdefault("stop", document["stop"]["advance"])
    motion.setdefault("drag", copy.deepcopy(document.get("drag", {})))
    if "primary" not in motion:
        keys = ("rate", "free_length", "takeup", "initial_tension")
        for name in springs:
            motion[name] = {key: springs[name][key] for key in keys if key in springs[name]}
    for name, fitted in zip(PLACES, build.springs, strict=False):
        if fitted.bend != 0.0 and name in motion:
            was = parse(motion[name].get("post_bend", "0 mm"), "length")
            motion[name]["post_bend"] = _toleranced(
                (was.value - fitted.bend) * 1e3, (was.half_width or 0.0) * 1e3, "mm"
            )


def _from_plan(file: str, plan: Plan) -> str:
    """The path of a table relative to the plan's folder."""
    found = beside(plan.job.path, file)
    try:
        return path_text(Path(os.path.relpath(found, plan_folder(plan.job.path))))
    except ValueError:  # there is no relative path to another drive
        return path_text(found.absolute())


def _write_fitted(document: dict[str, Any], plan: Plan) -> None:
    """What the sweep showed about the unit itself: drag, friction and the factor on I′."""
    given, drag = document.get("drag", {}), plan.job.drag
    for key in LEVERS:
        given.pop(key, None)
    document["drag"] = given
    if plan.job.trigger != "electronic":
        given["rubbing_block"] = _measured(plan, "drag", drag.rubbing_block * 1e3, 1.0, "mN*m")
    given["friction"] = _measured(plan, "friction", drag.friction * 1e3, 1.0, "mN*m")
    given["friction_share"] = _measured(plan, "friction_share", drag.friction_share, 1.0, "").strip()
    weights = plan.job.weights
    if isinstance(weights, CorrectedWeights):
        document["weights"]["correction"] = {
            "advance": [_number(float(np.degrees(a)), "deg") for a in weights.advance],
            "factor": [float(f"{f:.12g}") for f in weights.factor],
        }


def _write_trigger(document: dict[str, Any], plan: Plan) -> None:
    """The trigger that was planned for becomes the one in the unit, with its drag."""
    drag = document.get("drag", {})
    if "trigger_fitted" not in drag:
        return
    was, drag["trigger"] = drag.get("trigger", "points"), drag.pop("trigger_fitted")
    if was == drag["trigger"]:
        return
    for key in (*LEVERS, "rubbing_block"):
        drag.pop(key, None)
    if drag["trigger"] == "points":
        measured = plan.job.measured.drag
        half_width = 0.0 if measured.rubbing_block is None else measured.rubbing_block.half_width or 0.0
        drag["rubbing_block"] = _toleranced(measured.points.value * 1e3, half_width * 1e3, "mN*m")


def _measured(plan: Plan, name: str, value: float, scale: float, unit: str) -> str:
    """A fitted value with its half-width, √3 standard uncertainties, if the readings gave one."""
    one = plan.fit.estimate(name) if plan.fit is not None else None
    if one is None or one.standard_uncertainty is None:
        return _number(value, unit)
    return f"{value:.12g} ± {one.standard_uncertainty * scale * SQRT3:.3g} {unit}"


def _write_stop(table: dict[str, Any], plan: Plan, build: Build) -> None:
    """The stop where it will be, and the trim that is then left."""
    stop = plan.job.stop
    half_width = np.degrees(plan.job.build.stop * stop.per_mm) if build.trim != 0.0 else 0.0
    pm = f" ± {half_width:.3g}" if half_width > 0 else ""
    table["advance"] = f"{float(np.degrees(build.stop)):.12g}{pm} deg"
    for key, sign in (("file_up_to", 1.0), ("build_up_to", -1.0)):
        if key in table and build.trim != 0.0:
            left = parse(table[key], "length").value + sign * build.trim
            table[key] = _number(max(left, 0.0) * 1e3, "mm")


def _write_spring(table: dict[str, Any], fitted: Fitted, plan: Plan) -> None:
    spring = fitted.spring
    for key in ("takeup", "free_length", "rate", "initial_tension", "pull_at_rest", "at_rest", "weighings"):
        table.pop(key, None)
    if "over_posts" in table:
        table["over_posts"] = _number(fitted.length * 1e3, "mm")
    by_rate, by_length = _limits(fitted, plan)
    table["free_length"] = _toleranced(spring.free_length * 1e3, by_length * 1e3, "mm")
    table["rate"] = _toleranced(spring.rate * 1e-3, by_rate * 1e-3, "N/mm")
    table["initial_tension"] = _number(spring.initial_tension if spring.initial_tension > NEXT_TO_NOTHING else 0.0, "N")
    if fitted.bend == 0.0:
        return
    index = next(i for i, s in enumerate(plan.build.springs if plan.build else ()) if s is fitted)
    travel = plan.job.places[index].travel
    left = (min(travel[0] - fitted.bend, 0.0), max(travel[1] - fitted.bend, 0.0))
    table["post_travel"] = [_number(x * 1e3, "mm") for x in left]
    if isinstance(fitted.posts, PointPosts):
        _write_anchor(table["posts"]["anchor"], fitted.posts.bent(fitted.bend).anchor.position, plan)
    else:
        lengths = [parse(text, "length").value + fitted.bend for text in table["posts"]["length"]]
        table["posts"]["length"] = [_number(1e3 * length, "mm") for length in lengths]


def _limits(fitted: Fitted, plan: Plan) -> tuple[float, float]:
    """The ± of a spring in its place: of its rate [N/m], and of its free length [m], which stands for that of the length over
    the posts too. A new spring is as good as the tolerances of the build; one that stays in the unit is known as the sweep, or
    who measured it, tells it, and not better. 0 where nothing tells a ±."""
    spring, tolerance = fitted.spring, plan.job.build
    kept = next((i for i, place in enumerate(plan.job.places) if place.found == spring), None)
    if kept is None:
        return spring.rate * (tolerance.rate if spring.rate_limit is None else spring.rate_limit), tolerance.post
    if plan.fit is not None:
        by_rate, by_length = (SQRT3 * u for u in plan.fit.of_spring(PLACES[kept]))
    else:
        measured = plan.job.measured.springs[kept]
        hung = 0.0 if measured.weighed is None else SQRT3 * measured.weighed.rate_uncertainty
        by_rate, by_length = (_half_width(q) or d for q, d in ((measured.rate, hung), (measured.free_length, 0.0)))
    bent = tolerance.post if fitted.bend != 0.0 and by_length > 0.0 else 0.0
    return by_rate, float(np.hypot(by_length, bent))


def _half_width(given: Quantity | None) -> float:
    """The ± of what was measured [SI]; 0 where there is none."""
    return 0.0 if given is None else given.half_width or 0.0


def _write_anchor(table: dict[str, Any], at: complex, plan: Plan) -> None:
    """A bent post in the form in which it was given: x and y, or polar from the radius through the pivot."""
    if "xy" in table:
        up = -at.imag if plan.job.rotation == "clockwise" else at.imag
        table["xy"] = [_number(at.real * 1e3, "mm"), _number(up * 1e3, "mm")]
        return
    pivot = plan.job.weights.motion.pivot
    zero = 0.0 if pivot is None else float(np.angle(pivot))
    angle = (np.angle(at) - zero + np.pi) % (2 * np.pi) - np.pi
    table["radius"] = _number(abs(at) * 1e3, "mm")
    table["angle"] = _number(float(np.degrees(angle)), "deg")


ORDER_COLUMNS = (
    "place", "id", "quantity", "rate [N/mm]", "free_length [mm]", "initial_tension [N]", "wire [mm]", "outer [mm]", "coils",
    "material", "alternates", "rate_from [N/mm]", "rate_to [N/mm]", "free_length_from [mm]", "free_length_to [mm]",
)  # fmt: skip


INCH_COLUMNS = {"N/mm": "lbf/in", "mm": "in", "N": "lbf"}


def order_csv(plan: Plan, units: LengthUnits = "both") -> bytes:
    """What to take from stock or to order, the alternatives, and the tolerance to state to a supplier: one line per
    spring, none for springs already in the unit or for a plan that is out of reach. The columns name their units, metric ones
    unless inch ones alone are asked for."""
    inch = units == "inch"
    out = io.StringIO(newline="")
    writer = csv.writer(out, lineterminator="\n")
    columns = (name.partition(" [") for name in ORDER_COLUMNS)
    writer.writerow(
        f"{name}{bracket}{INCH_COLUMNS.get(unit[:-1], unit[:-1]) if inch else unit[:-1]}]" if bracket else name
        for name, bracket, unit in columns
    )
    for one in plan.purchases:
        writer.writerow(_order_row(one, inch))
    return out.getvalue().encode("utf-8")


def _order_row(one: Purchase, inch: bool) -> list[str]:
    s = one.spring
    length, force = (INCH, POUND_FORCE) if inch else (1e-3, 1.0)
    rate, digits, more = force / length, 6 if inch else 10, 1 if inch else 0
    lengths = ["" if x is None else f"{x / length:.{digits}g}" for x in (s.wire, s.outer)]
    coils = "" if s.coils is None else f"{s.coils:g}"
    ranges = [*(f"{x / rate:.3f}" for x in one.rates), *(f"{x / length:.{2 + more}f}" for x in one.lengths)]
    return [
        one.place, csv_text(s.id), "1", f"{s.rate / rate:.{digits}g}", f"{s.free_length / length:.{digits}g}",
        f"{s.initial_tension / force:.{digits}g}", *lengths, coils, csv_text(s.material), csv_text(" ".join(one.alternates)),
        *ranges,
    ]  # fmt: skip
