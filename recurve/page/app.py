"""The addresses of the page, the workshop, and the files that go with it."""

from __future__ import annotations

from pathlib import Path
from urllib.parse import quote

from starlette.applications import Starlette
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import FileResponse, HTMLResponse, RedirectResponse, Response
from starlette.routing import Route

from recurve.data import data_file
from recurve.errors import RecurveError
from recurve.job.edit import begin, read_edited, save_answer
from recurve.job.of_type import types_near
from recurve.job.read import load_any
from recurve.output.guide import guide_page
from recurve.output.planfile import plan_folder
from recurve.output.unitfiles import types_in
from recurve.page import drawer, planning, setting, sweeping, unit
from recurve.page.bench import Asked, Bench, answers
from recurve.page.safety import COOKIE, Door, Guard
from recurve.page.workshop import archive, copy_unit, curve_picture, find, folder_for, units
from recurve.text import plain

STATIC = {"page.js": "text/javascript", "bench.css": "text/css", "htmx.min.js": "text/javascript"}
# What may be fetched of a plan's folder, and as what.
PAPERS = {
    "sheet.pdf": "application/pdf", "as-left.pdf": "application/pdf", "as-found.pdf": "application/pdf",
    "curve.png": "image/png", "fit.png": "image/png", "look.png": "image/png", "as-left.png": "image/png",
    "order.csv": "text/csv", "window.svg": "image/svg+xml", "report.html": "text/html",
}  # fmt: skip
# A drawing or a page of results may run nothing and load nothing.
ALONE = "default-src 'none'; style-src 'unsafe-inline'; img-src data:; sandbox"


def build_app(folder: Path, door: Door | None = None) -> Starlette:
    """The page over a folder of units, behind its guard."""
    bench = Bench(folder.resolve(), door or Door())
    get, post = ["GET"], ["POST"]
    at = "/u/{name:path}"
    app = Starlette(
        routes=[
            Route("/", answers(workshop), methods=get),
            Route("/new", answers(new_unit), methods=post),
            Route("/static/{file}", answers(static), methods=get),
            Route("/guide", answers(guide), methods=get),
            Route("/enter", answers(enter), methods=["GET", "POST"]),
            Route(f"{at}/copy", answers(copied), methods=post),
            Route(f"{at}/archive", answers(archived), methods=post),
            Route(f"{at}/file/{{file}}", answers(paper), methods=get),
            Route(f"{at}/answer", answers(unit.answer), methods=post),
            Route(f"{at}/weighed", answers(drawer.weighed), methods=post),
            Route(f"{at}/picture", answers(unit.picture), methods=get),
            Route(f"{at}/reading", answers(sweeping.reading), methods=post),
            Route(f"{at}/undo", answers(sweeping.undo), methods=post),
            Route(f"{at}/readings-file", answers(sweeping.upload), methods=post),
            Route(f"{at}/begin/{{kind}}", answers(planning.begin_work), methods=post),
            Route(f"{at}/progress/{{kind}}", answers(planning.progress), methods=get),
            Route(f"{at}/halt/{{kind}}", answers(planning.halt), methods=post),
            Route(f"{at}/tried", answers(planning.tried), methods=get),
            Route(f"{at}/swing", answers(planning.swing), methods=get),
            Route(f"{at}/was-set", answers(setting.was_set), methods=post),
            Route(f"{at}/shown", answers(setting.shown), methods=post),
            Route(f"{at}/{{step}}", answers(unit.step), methods=get),
            Route(at, answers(unit.here), methods=get),
        ],
        exception_handlers={HTTPException: _refused, Exception: _broken},
    )
    app.state.bench = bench
    app.add_middleware(Guard, door=bench.door)
    return app


async def _refused(request: Request, fault: Exception) -> Response:
    assert isinstance(fault, HTTPException)  # it is registered for these
    bench: Bench = request.app.state.bench
    text = bench.templates.get_template("refused.html").render(name="", faults=[fault.detail], title="Not here")
    return HTMLResponse(text, fault.status_code)


async def _broken(request: Request, fault: Exception) -> Response:
    """A fault of recurve itself: the terminal gets its trace, whoever works at the bench a plain word."""
    bench: Bench = request.app.state.bench
    told = (
        "recurve met a fault of its own and cannot show this page. Everything that the page called saved is on the disk. "
        "Stop at this step, and send the last lines of the terminal to whoever looks after recurve here."
    )
    text = bench.templates.get_template("refused.html").render(name="", faults=[told], title="A fault in recurve")
    return HTMLResponse(text, 500)


def workshop(asked: Asked) -> Response:
    """All units, or those that a search finds."""
    search = asked.form.get("q", "")
    found = []
    for one in units(asked.bench.folder, search):
        try:
            job = load_any(one.path)
        except RecurveError:
            job = None
        found.append((one, curve_picture(job, one.path, f"Curve of {one.title}")))
    partly = asked.request.headers.get("hx-request") and asked.request.headers.get("hx-target") == "units"
    template = "cards.html" if partly else "workshop.html"
    folder = asked.bench.folder
    types = [(path.relative_to(folder).as_posix(), title) for path, title in types_in(folder).items()]
    return asked.show(template, units=found, types=types, q=search, title="Workshop", folder=folder.name)


def new_unit(asked: Asked) -> Response:
    """A new unit: empty, or begun from another, or of a type."""
    title, like = plain(asked.form.get("title", ""))[:100], asked.form.get("like", "")
    folder = asked.bench.folder
    with asked.bench.writing:
        source = find(folder, like) if like else None
        if like and source is None:
            raise HTTPException(404, "There is no such unit here.")
        if source is not None:
            made = copy_unit(folder, source, title)
        else:
            made = folder_for(folder, title)
            begin(made, {"title": title or "A unit"})
        for one in _type_asked(asked, made):
            save_answer(made, "type", one, read_edited(made).answers.get("type", ""))
    return _to(folder, made)


def _type_asked(asked: Asked, made: Path) -> list[str]:
    """The type that was chosen, as the new job names it; none where none was."""
    kind, folder = asked.form.get("type", ""), asked.bench.folder
    found = {path: title for path, title in types_in(folder).items() if path.relative_to(folder).as_posix() == kind}
    if kind and not found:
        raise HTTPException(404, "There is no such type of unit here.")
    return [name for name, _ in types_near(made, found)]


def copied(asked: Asked) -> Response:
    """A copy of a unit, without its plan."""
    with asked.bench.writing:
        return _to(asked.bench.folder, copy_unit(asked.bench.folder, asked.path))


def archived(asked: Asked) -> Response:
    """A unit put away."""
    with asked.bench.writing:
        archive(asked.bench.folder, asked.name, asked.path)
    return RedirectResponse("/", 303)


def _to(folder: Path, made: Path) -> Response:
    name = made.relative_to(folder).with_suffix("").as_posix()
    return RedirectResponse(f"/u/{quote(name)}/book", 303)


def static(asked: Asked) -> Response:
    """A script or style sheet of the page."""
    file = str(asked.request.path_params["file"])
    if file not in STATIC:
        raise HTTPException(404, "There is no such file.")
    return FileResponse(data_file(f"page/{file}"), media_type=STATIC[file])


def paper(asked: Asked) -> Response:
    """A result out of the unit's plan folder."""
    file = str(asked.request.path_params["file"])
    path = plan_folder(asked.path) / file
    if file not in PAPERS or not path.is_file():
        raise HTTPException(404, "That has not been made yet.")
    headers = {"content-security-policy": ALONE} if file.endswith((".svg", ".html")) else {}
    return FileResponse(path, media_type=PAPERS[file], headers=headers)


def guide(asked: Asked) -> Response:
    """The measuring guide with its figures."""
    return HTMLResponse(guide_page(), headers={"content-security-policy": ALONE})


def enter(asked: Asked) -> Response:
    """The door for a phone: the code from the terminal, once."""
    door = asked.bench.door
    told = ""
    if asked.request.method == "POST":
        secret = door.enter(asked.form.get("code", "").strip())
        if secret is not None:
            answer = RedirectResponse("/", 303)
            answer.set_cookie(COOKIE, secret, httponly=True, samesite="strict")
            return answer
        told = (
            "That is not the code. Look again at the terminal. It lets one phone in, once; for another, or after many "
            "wrong ones, start the page again: the terminal then shows a new code."
        )
    return asked.show("enter.html", 403 if told else 200, told=told, title="Code")
