"""What the page stands on: the folder, who may ask, what runs, and how an answer is made from a template."""

from __future__ import annotations

import threading
from collections.abc import Awaitable, Callable, Mapping
from dataclasses import dataclass, field
from functools import cached_property
from pathlib import Path
from typing import TYPE_CHECKING, Any
from urllib.parse import parse_qsl, quote

from starlette.concurrency import run_in_threadpool
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import HTMLResponse, Response

from recurve.data import data_file
from recurve.errors import RecurveError
from recurve.page.safety import Door
from recurve.page.work import Works
from recurve.page.workshop import find
from recurve.uncertainty import chance_words

if TYPE_CHECKING:
    from jinja2 import Environment

Form = Mapping[str, str]
Answer = Callable[["Asked"], Response]


@dataclass
class Bench:
    """A served folder. `writing` is held while a file of a unit is read, changed and written."""

    folder: Path
    door: Door
    works: Works = field(default_factory=Works)
    writing: threading.RLock = field(default_factory=threading.RLock)

    @cached_property
    def templates(self) -> Environment:
        """The page's templates; everything put into them is escaped."""
        from jinja2 import Environment, FileSystemLoader, StrictUndefined

        made = Environment(
            loader=FileSystemLoader(data_file("page/bench/base.html").parent),
            autoescape=True,
            undefined=StrictUndefined,
            trim_blocks=True,
        )
        made.filters["chance"] = chance_words
        made.filters["address"] = lambda name: quote(str(name), safe="/")
        return made


@dataclass(frozen=True)
class Asked:
    """One request, its form or query read, and the unit it is about, if any."""

    bench: Bench
    request: Request
    form: Form

    @property
    def name(self) -> str:
        """The unit's name in the address."""
        return str(self.request.path_params["name"])

    @cached_property
    def path(self) -> Path:
        """The unit's job file; the request ends where there is none."""
        found = find(self.bench.folder, self.name)
        if found is None:
            raise HTTPException(404, "There is no such unit here.")
        return found

    def show(
        self, template: str, status: int = 200, headers: Mapping[str, str] | None = None, **facts: Any
    ) -> Response:
        """A template with facts, as an answer."""
        text = self.bench.templates.get_template(template).render(
            name=self.request.path_params.get("name", ""), **facts
        )
        return HTMLResponse(text, status, dict(headers or {}))


def answers(answer: Answer) -> Callable[[Request], Awaitable[Response]]:
    """An endpoint: the form is read, and the answer made in a thread, so that others are answered meanwhile. A fault of what
    was typed is shown, not a trace."""

    async def endpoint(request: Request) -> Response:
        bench: Bench = request.app.state.bench
        if request.method == "POST" and request.headers.get("content-type", "").startswith("multipart/"):
            async with request.form(max_files=1, max_fields=4, max_part_size=1_500_000) as form:
                upload = form.get("file")
                content = b"" if upload is None or isinstance(upload, str) else await upload.read()
            told = {"file": content.decode("utf-8-sig", "replace")}
        elif request.method == "POST":
            told = dict(parse_qsl((await request.body()).decode("utf-8", "replace"), keep_blank_values=True))
        else:
            told = dict(request.query_params)
        return await run_in_threadpool(_answered, answer, Asked(bench, request, told))

    return endpoint


def _answered(answer: Answer, asked: Asked) -> Response:
    try:
        return answer(asked)
    except RecurveError as refused:
        faults = getattr(refused, "faults", None) or [str(refused)]
        shown = [fault.replace(f"{asked.bench.folder}/", "") for fault in faults]
        if asked.request.headers.get("hx-request"):
            return asked.show("faults.html", faults=shown, headers={"HX-Reswap": "innerHTML", "HX-Retarget": "#faults"})
        return asked.show("refused.html", 400, faults=shown, title="That cannot be done")
