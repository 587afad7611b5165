"""A unit, step by step: its fields, its picture, and an answer saved."""

from __future__ import annotations

import json
import os
from collections.abc import Callable
from contextlib import suppress
from dataclasses import replace
from pathlib import Path
from typing import Any

from starlette.exceptions import HTTPException
from starlette.responses import RedirectResponse, Response

from recurve.errors import InputError, RecurveError
from recurve.job.edit import Clash, Edited, read_edited, save_answer
from recurve.job.model import BareJob, Job
from recurve.job.of_type import must_be_type, types_near
from recurve.job.read import load_any
from recurve.output.figures.picture import read_picture
from recurve.output.figures.quick import unit_svg
from recurve.output.unitfiles import types_in
from recurve.output.unitfolder import unit_of
from recurve.page import drawer, planning, setting, sweeping
from recurve.page.bench import Asked
from recurve.page.fields import STEPS, Types, as_shown, field_of, groups, question_of, read_field, shown_as, step_of
from recurve.page.workshop import curve_picture
from recurve.text import beside, printable
from recurve.units import RPM


def here(asked: Asked) -> Response:
    """To the step that comes next."""
    step = unit_of(asked.name, asked.path).next[0]
    return RedirectResponse(f"{asked.request.url.path.rstrip('/')}/{step}", 303)


def step(asked: Asked) -> Response:
    """One step of the work."""
    now = step_of(str(asked.request.path_params["step"]))
    if now is None:
        raise HTTPException(404, "There is no such step.")
    edited = read_edited(asked.path)
    job, faults = loaded(asked)
    facts: dict[str, Any] = {
        "title": edited.title,
        "unit": unit_of(asked.name, asked.path),
        "now": now,
        "steps": STEPS,
        "groups": groups(now, edited, types_of(asked)) if now.parts else [],
        "faults": faults,
        "picture": _pictures(asked, job, edited),
    }
    more: dict[str, Callable[[], dict[str, Any]]] = {
        "sweep": lambda: sweeping.facts(asked, "found"),
        "look": lambda: planning.facts(asked, "found", job),
        "springs": lambda: drawer.facts(asked, job, edited),
        "plan": lambda: planning.facts(asked, "plan", job),
        "set": lambda: setting.facts(asked),
        "left": lambda: {**sweeping.facts(asked, "left"), **planning.facts(asked, "left", job)},
        "papers": lambda: {"papers": planning.papers(asked)},
    }
    if now.name in more:
        facts |= more[now.name]()
    return asked.show("unit.html", **facts)


def loaded(asked: Asked) -> tuple[Job | BareJob | None, list[str]]:
    """The job as far as it can be read, and what stands in the way."""
    try:
        job = load_any(asked.path)
    except InputError as refused:
        return None, [str(replace(f, file="", line=None)) for f in refused.found]
    except RecurveError as refused:
        return None, [str(refused).replace(f"{asked.path}:", "").strip()]
    return job, list(job.notes)


def answer(asked: Asked) -> Response:
    """Take an answer in: read, saved, and shown as it was understood; or what is wrong with it, at its field."""
    question = question_of(asked.form.get("key", ""))
    typed = asked.form.get("value", "")
    with asked.bench.writing:
        before = read_edited(asked.path)
        try:
            value = read_field(question, typed, before.answers)
            if question.kind == "file":
                _inside(asked, value, before)
            if question.key == "type" and value:
                must_be_type(beside(asked.path, value), value)
        except ValueError as fault:
            field = replace(
                field_of(question, before, types=types_of(asked)), value=typed, told=f"{fault}.", fault=True
            )
            return asked.show("field.html", field=field)
        saved = save_answer(asked.path, question.key, value, _was_shown(asked))
        if isinstance(saved, Clash):
            field = replace(
                field_of(question, before, types=types_of(asked)), value=shown_as(value), shown=as_shown(saved.there), fault=True,
                theirs=shown_as(saved.there), told="The file was changed meanwhile. Nothing was written.",
            )  # fmt: skip
            return asked.show("field.html", field=field)
        if question.key == "~springs":
            saved = drawer.shelve(asked.path, saved)
    headers = {"HX-Trigger": "saved"}
    if question.kind == "choice" or question.key == "type":
        # What is asked next depends on it: the whole form is made anew.
        now = step_of(asked.form.get("step", "book")) or STEPS[0]
        whole = {"HX-Retarget": "#questions", "HX-Reswap": "innerHTML"}
        return asked.show("groups.html", groups=groups(now, saved, types_of(asked)), now=now, headers=headers | whole)
    return asked.show("field.html", field=field_of(question, saved, saved=True), headers=headers)


def types_of(asked: Asked) -> Types:
    """The types of unit in the page's folder, as this unit's job names them."""
    return types_near(asked.path, types_in(asked.bench.folder))


def _was_shown(asked: Asked) -> Any:
    """The answer as it was when its field was made; None, which no answer is, where that was garbled on its way."""
    try:
        return json.loads(asked.form.get("shown") or '""')
    except ValueError:
        return None


def _inside(asked: Asked, named: str, before: Edited) -> None:
    """A table that is named on the page must lie in its folder; one that the file names already may lie elsewhere. Raises
    ValueError."""
    folder = asked.bench.folder
    there = Path(os.path.realpath(asked.path.parent / printable(named)))
    inside = named.isprintable() and there.is_relative_to(folder)
    if named and named not in before.answers.values() and not inside:
        raise ValueError(f"got {named}, expected a file in {folder.name}, the folder of this page; copy it there first")


def picture(asked: Asked) -> Response:
    """The pictures beside the form, after a change."""
    job, faults = loaded(asked)
    return asked.show("picture.html", picture=_pictures(asked, job, read_edited(asked.path)), faults=faults)


def _pictures(asked: Asked, job: Job | BareJob | None, edited: Edited) -> dict[str, str]:
    """The curve against its bands, and the unit to scale, as far as each can be drawn."""
    made = {"curve": curve_picture(job, asked.path, f"Curve of {edited.title}"), "unit": "", "zeroed": ""}
    if job is not None and job.sweep is not None and job.sweep.zeroed_at is not None:
        made["zeroed"] = f"{job.sweep.zeroed_at * RPM:.0f}"
    with suppress(RecurveError, ValueError):
        made["unit"] = unit_svg(read_picture(asked.path), 0.0, "The unit at rest, seen from the rotor end")
    return made
