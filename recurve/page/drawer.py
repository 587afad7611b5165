"""The springs that can be had, and one more of them: weighed at the bench, worked out, and put into the drawer."""

from __future__ import annotations

import os
from dataclasses import replace
from pathlib import Path
from typing import Any

from starlette.responses import Response

from recurve.errors import InputError
from recurve.files import rewrite, write_folder
from recurve.job.answers import TYPED_SPRINGS, read_answer, system_of, unit_of, with_unit
from recurve.job.edit import Clash, Edited, read_edited, save_answer
from recurve.job.model import BareJob, Job
from recurve.job.shelf import read_spring, springs_csv
from recurve.job.tables import with_spring
from recurve.job.weighings import measure
from recurve.output.documents.springs import SpringDocument
from recurve.output.text.workshop import spring_text
from recurve.page.bench import Asked
from recurve.page.fields import question_of
from recurve.springs.spring import Spring
from recurve.text import beside, plain


def facts(asked: Asked, job: Job | BareJob | None, edited: Edited) -> dict[str, Any]:
    """What the drawer shows: its springs, and the form for one more."""
    springs = list(job.catalogue.springs) if isinstance(job, Job) and job.catalogue is not None else []
    return {"drawer": springs, "weighing": _form(asked, edited)}


def _form(asked: Asked, edited: Edited, **found: Any) -> dict[str, Any]:
    system = system_of(edited.answers)
    typed = {key: asked.form.get(key, "") for key in ("readings", "free_length", "id")}
    bare = (unit_of("mass", system), unit_of("length", system))
    return {**typed, "bare": bare, "text": "", "faults": [], "ready": False, "told": "", **found}


def weighed(asked: Asked) -> Response:
    """A spring weighed: what it is, and, asked for, put into the drawer of this unit."""
    edited = read_edited(asked.path)
    system, name = system_of(edited.answers), plain(asked.form.get("id", "")).strip()[:40]
    lines = [line.strip() for line in asked.form.get("readings", "").splitlines() if line.strip()]
    question = question_of("springs.primary.weighings")
    try:
        readings = [_weighing(question, number, line, system) for number, line in enumerate(lines, 1)]
        free = asked.form.get("free_length", "").strip()
        length = with_unit(free, "length", system) if free else None
        found = measure(readings, length, {"id": name}, None)
        told = ""
        if asked.form.get("add"):
            told = _put_in(asked, replace(found.described, id=name), found.weighed.of_use and bool(free))
    except InputError as refused:
        faults = [fault.replace("--free-length", "free length").replace("--id", "name") for fault in refused.faults]
        return asked.show("weighing.html", weighing=_form(asked, edited, faults=faults))
    text = spring_text(found, SpringDocument.of(found, None))
    ready = found.weighed.of_use and bool(free) and not told
    headers = {"HX-Refresh": "true"} if told else {}
    return asked.show(
        "weighing.html", weighing=_form(asked, edited, text=text, ready=ready, told=told), headers=headers
    )


def _weighing(question: Any, number: int, line: str, system: str) -> str:
    try:
        return str(read_answer(question, line, system))
    except ValueError as fault:
        raise InputError(f"line {number}: {fault}") from None


def _put_in(asked: Asked, spring: Spring, sure: bool) -> str:
    """Add the spring to the job's list: the one that was typed on the page, or the file that it names. Raises InputError."""
    if not spring.id:
        raise InputError("name: missing, expected the spring's name in the drawer")
    if not sure:
        raise InputError("free length: missing, or the weighings do not settle the rate; expected both for the drawer")
    with asked.bench.writing:
        edited = read_edited(asked.path)
        named = str(edited.answers.get("catalogue.file", ""))
        if not named or (named == TYPED_SPRINGS and edited.answers.get("~springs")):
            return _typed(asked.path, edited, spring)
        path = Path(os.path.realpath(beside(asked.path, named)))
        if not path.is_relative_to(asked.bench.folder):
            raise InputError(
                f"{named}: got a list of springs outside {asked.bench.folder.name}, the folder of this page; expected one in it"
            )
        with_spring(path, spring)
        rewrite(path, lambda: with_spring(path, spring)[0])  # read again, since another run may have added one
    return f"{spring.id} is in {path.name} now."


def _typed(path: Path, edited: Edited, spring: Spring) -> str:
    """One more row of the springs that were typed on the page."""
    rows = list(edited.answers.get("~springs", "") or [])
    if spring.id in {row["id"] for row in rows}:
        raise InputError(f"name: got {spring.id}, which the drawer has, expected a new name")
    rate, length, tension = spring.rate / 1e3, spring.free_length * 1e3, spring.initial_tension
    try:
        row = read_spring(f"{spring.id}, {rate:.4g} N/mm, {length:.4g} mm, {tension:.3g} N", system_of(edited.answers))
    except ValueError as fault:
        raise InputError(f"name: got {spring.id}: {fault}") from None
    for key, value in (("~shelf", "now"), ("~springs", [*rows, row])):
        if isinstance(save_answer(path, key, value, edited.answers.get(key, "")), Clash):
            raise InputError("the list of springs: got another one meanwhile, expected the one shown; reload the page")
    shelve(path, read_edited(path))
    return f"{spring.id} is in the drawer now."


def shelve(path: Path, saved: Edited) -> Edited:
    """Springs that were typed, as a catalogue beside the job."""
    rows = saved.answers.get("~springs", "")
    if rows:
        write_folder(path.parent, {TYPED_SPRINGS: springs_csv(rows, system_of(saved.answers))})
    there = saved.answers.get("catalogue.file", "")
    made = save_answer(path, "catalogue.file", TYPED_SPRINGS if rows else "", there)
    return made if isinstance(made, Edited) else saved
