"""Work that takes longer than a moment, its results, and what if."""

from __future__ import annotations

from math import pi
from pathlib import Path
from typing import Any, get_args

from starlette.exceptions import HTTPException
from starlette.responses import Response

from recurve.errors import Fault, RecurveError
from recurve.job.model import BareJob, Job
from recurve.job.read import load_any
from recurve.output.planfile import current_plan, plan_folder
from recurve.output.unitfolder import last_left
from recurve.page.bench import Asked
from recurve.page.whatif import MOST_BEND, MOST_SHIFT, MOST_TRIM, base_of, swung, try_out
from recurve.page.work import Kind, kept
from recurve.units import PLACES, RPM

DEG = 180.0 / pi
FIGURES: dict[Kind, tuple[str, ...]] = {
    "found": ("fit.png", "look.png"),
    "plan": ("curve.png",),
    "left": ("as-left.png",),
}
# Papers, what each is, and by which work it is made.
PAPER_WORDS = (
    ("sheet.pdf", "Build sheet, to print for the bench"),
    ("report.html", "The same for a phone beside the bench"),
    ("order.csv", "Springs to take or to order"),
    ("as-found.pdf", "Sheet of the unit as found, from the first look"),
    ("as-left.pdf", "Record to hand over with the finished unit"),
)


def facts(asked: Asked, kind: Kind, job: Job | BareJob | None) -> dict[str, Any]:
    """What is known of the last work of a kind: running, done, or in the way."""
    run, found = asked.bench.works.of(asked.path, kind), kept(asked.path, kind)
    document = None if found is None else found["document"]
    stale = (
        document is not None and job is not None and kind != "left" and not _fresh(document["fingerprint"], kind, job)
    )
    folder = plan_folder(asked.path)
    made: dict[str, Any] = {
        "kind": kind,
        "run": run,
        "result": document,
        "text": "" if found is None else found["text"],
        "remark": "" if found is None else found["remark"],
        "stale": stale,
        "figures": [f for f in FIGURES[kind] if document is not None and (folder / f).is_file()],
        "ready": _ready(asked, kind, job),
    }
    if kind == "plan":
        made["trial"] = _trial(asked)
    return made


def _fresh(fingerprint: str, kind: Kind, job: Job | BareJob) -> bool:
    """Whether what was made of the job with this fingerprint still holds: a plan does while springs are taken or measured."""
    planned = current_plan(job) if kind == "plan" else None
    return fingerprint == job.fingerprint or (planned is not None and planned.inputs == fingerprint)


def _ready(asked: Asked, kind: Kind, job: Job | BareJob | None) -> list[str]:
    """What must be there before this work can begin; empty if all is."""
    if job is None:
        return ["The job has faults, listed beside the picture. Correct them first."]
    if kind == "plan" and isinstance(job, BareJob):
        return list(dict.fromkeys(_lacking(f) for f in job.lacking))[:12] or ["The parts are not measured yet."]
    if kind == "plan" and job.target is None:
        return ["Enter first what the book asks for."]
    if kind == "left" and not (plan_folder(asked.path) / "as-left.csv").is_file():
        return ["Read the finished unit first, rising and falling."]
    if kind == "left" and isinstance(job, BareJob):
        return ["Without weights and springs the finished unit cannot be judged."]
    return []


# What a plan cannot do without, by the job's tables: in words, and the step where it is entered.
LACKING: dict[tuple[str, ...], str] = {
    ("weights",): "The weights: count, mass, and how they move. Step Parts.",
    ("stop",): "How far the cam turns to its stop, by degree wheel. Step Sweep as found.",
    ("springs",): "The springs and the places of their posts. Steps Parts and Springs.",
    ("target",): "What the book asks for. Step Book.",
}


def _lacking(fault: Fault) -> str:
    """What a plan still needs, in the words of the page; of a key inside a table, that key."""
    return LACKING.get(tuple(map(str, fault.key or ())), fault.about)


def begin_work(asked: Asked) -> Response:
    """Begin, or show what is under way."""
    kind = _kind(asked)
    asked.bench.works.start(
        asked.path, kind, {k: asked.form[k] for k in ("paper", "units") if asked.form.get(k) in OPTIONS[k]}
    )
    return progress(asked)


OPTIONS = {"paper": ("a4", "letter"), "units": ("metric", "inch", "both")}


def progress(asked: Asked) -> Response:
    """How far the work is; the whole step is made anew once it is through."""
    kind = _kind(asked)
    run = asked.bench.works.of(asked.path, kind)
    if run is not None and run.done and not run.faults:
        asked.bench.works.forget(asked.path, kind)
        return Response(status_code=204, headers={"HX-Refresh": "true"})
    ready = _ready(asked, kind, _job(asked.path)) if run is None else []
    return asked.show("progress.html", run=run, kind=kind, ready=ready)


def halt(asked: Asked) -> Response:
    """End the work; what was there before stays."""
    run = asked.bench.works.of(asked.path, _kind(asked))
    if run is not None:
        run.stop()
    return progress(asked)


def _kind(asked: Asked) -> Kind:
    found: Kind | None = next((k for k in get_args(Kind) if k == asked.request.path_params["kind"]), None)
    if found is None:
        raise HTTPException(404, "There is no such work.")
    return found


# --- what if --------------------------------------------------------------------------------------------------


def _trial(asked: Asked) -> dict[str, Any] | None:
    """The form of what if, and its first curve; None where there is nothing to vary yet."""
    try:
        base = base_of(asked.path)
        return {
            "places": [(name, own) for name, own in zip(PLACES, base.springs, strict=False)],
            "drawer": sorted(base.drawer),
            "planned": base.planned,
            "bend": MOST_BEND,
            "trim": MOST_TRIM,
            "shift": MOST_SHIFT,
            "rpm": round(1.25 * (try_out(base, {}).build.curve.all_in or 200.0) * RPM, -1),
            "drawn": base.picture is not None and bool(base.picture.weight),
            **_tried(asked, {}),
        }
    except RecurveError:
        return None


def tried(asked: Asked) -> Response:
    """The curve with what was asked, while a slider moves."""
    return asked.show("tried.html", **_tried(asked, asked.form))


def _tried(asked: Asked, form: Any) -> dict[str, Any]:
    base = base_of(asked.path)
    one = try_out(base, form)
    build = one.build
    return {
        "svg": one.svg,
        "margin": build.margin,
        "passes": build.margin >= 0.0 and not build.curve.snaps,
        "snaps": bool(build.curve.snaps),
        "stop_deg": build.stop * DEG,
        "in_at_idle": build.residual[0] * DEG,
        "settings": [None if s is None else s * RPM for s in build.settings],
        "lengths": [(name, 1e3 * s.length, s.spring.id) for name, s in zip(PLACES, build.springs, strict=False)],
        "bands": [
            (
                "stop" if r.band.speed is None else f"{r.band.speed * RPM:.0f}",
                r.margin,
                r.rising * DEG,
                r.falling * DEG,
            )
            for r in build.results
        ],
    }


def swing(asked: Asked) -> Response:
    """The unit with its weights where they stand at a speed."""
    try:
        rpm = min(max(float(asked.form.get("rpm", "0")), 0.0), 20000.0)
    except ValueError:
        rpm = 0.0
    base = base_of(asked.path)
    rising = asked.form.get("way", "rising") != "falling"
    svg, advance = swung(base, try_out(base, asked.form).build, rpm, rising)
    return asked.show("swing.html", svg=svg, rpm=rpm, advance=advance, rising=rising)


# --- papers ---------------------------------------------------------------------------------------------------


def papers(asked: Asked) -> list[dict[str, Any]]:
    """The papers of a unit, and which of them are there; those of another state of the job say so."""
    folder, job = plan_folder(asked.path), _job(asked.path)
    made = []
    for file, words in PAPER_WORDS:
        if file == "as-left.pdf" and last_left(asked.path) not in ("passes", ""):
            words = "Record of the finished unit, not to hand over yet"
        path = folder / file
        there = path.is_file()
        old = there and job is not None and path.stat().st_mtime < asked.path.stat().st_mtime
        made.append({"file": file, "words": words, "there": there, "old": old})
    return made


def _job(path: Path) -> Job | BareJob | None:
    try:
        return load_any(path)
    except RecurveError:
        return None
