"""The build sheet as PDF and as an HTML page: the same parts in the order of the work, laid out twice.

To add a part, write `content(source) -> facts or None` (facts: text, and numbers as text with their units), put
`(name, layout, content)` into PARTS, and lay it out in `data/sheet/LAYOUT.typ`, as a function `body(facts)`, and in
`data/page/LAYOUT.html`. The layout "block" suits most parts, which then need no file. Text from a job travels as strings:
Typst never reads it as markup, and the template engine escapes it.

The page is one HTML file with inline SVG, for a phone beside the bench. It requests nothing else: no font, no network. Its
one script keeps in the browser what is typed into its boxes. Its content security policy holds the browser to that, and to
that script alone, by its digest.
"""

from __future__ import annotations

import hashlib
import json
import re
from base64 import b64encode
from collections.abc import Callable, Mapping
from typing import Any

from recurve import __version__
from recurve.data import data_file
from recurve.job.model import JobHead
from recurve.output.documents.plan import PlanDocument
from recurve.output.sheet.blocks import curve, engine, found, given, mechanism
from recurve.output.sheet.numbers import Shown
from recurve.output.sheet.parts import Facts, Source, check, limits, notes, ready, setting, springs, stop, verdict
from recurve.planner.plan import Plan
from recurve.text import breakable, plain, shortened
from recurve.units import LengthUnits, Paper

# In the order of the sheet: the part's name, its layout, its content.
PARTS: tuple[tuple[str, str, Callable[[Source], Facts | None]], ...] = (
    ("verdict", "verdict", verdict),
    ("ready", "ready", ready),
    ("stop", "stop", stop),
    ("springs", "springs", springs),
    ("order", "block", given("order")),
    ("wind", "block", given("wind")),
    ("setting", "setting", setting),
    ("check", "check", check),
    ("engine", "engine", engine),
    ("timing", "block", given("timing")),
    ("curve", "curve", curve),
    ("found", "found", found),
    ("mechanism", "block", mechanism),
    ("condition", "block", given("condition")),
    ("notes", "notes", notes),
    ("limits", "limits", limits),
)
# An id, such as D2-18 or HM-017: short, of parts with hyphens between, with a digit. A line must not break in it.
IDENTITY = re.compile(r"(?<![\w&#;-])((?=[\w-]{3,20}(?![\w-]))(?=[\w-]*\d)\w+(?:-\w+)+)")
UNIT = re.compile(r"(\d) (?=(?:mm|in|rpm|N|N/mm|lbf|lbf/in|mN·m|ozf·in|%)(?![\w/·]))")  # a number, and before its unit
PAPERS = {"a4": "a4", "letter": "us-letter"}


def sheet_pdf(
    plan: Plan,
    figure_svg: bytes,
    paper: Paper = "a4",
    units: LengthUnits = "both",
    given: Mapping[str, Facts] | None = None,
    figures: Mapping[str, bytes] | None = None,
    document: PlanDocument | None = None,
) -> bytes:
    """The build sheet as PDF: the same bytes for the same input, without network or system fonts.

    `given`: facts of ready-made parts by name; `figures`: the SVGs they show, by file name; `document`: the plan's, if it
    has been built.
    """
    facts = sheet_facts(plan, units, given, document)
    return typeset("sheet.typ", facts, {"curve.svg": figure_svg, **(figures or {})}, paper)


def typeset(template: str, facts: Facts, figures: Mapping[str, bytes], paper: str) -> bytes:
    """A template of `data/` with these facts and figures as PDF."""
    import typst

    files: Any = typst_files(template, facts, figures)  # files by name, which its type hints leave out
    pdf: bytes = typst.compile(
        files,
        format="pdf",
        ignore_system_fonts=True,
        sys_inputs={"paper": PAPERS[paper]},
    )
    return pdf


def typst_files(template: str, facts: Facts, figures: Mapping[str, bytes]) -> dict[str, bytes]:
    """The files that Typst works on, by name: the template as main, the layouts, the facts as JSON, the figures."""
    layouts = sorted(data_file(template).with_name("sheet").glob("*.typ"))
    return {
        "main": data_file(template).read_bytes(),
        "facts.json": json.dumps(facts, ensure_ascii=True, allow_nan=False).encode("ascii"),
        **{f"sheet/{path.name}": path.read_bytes() for path in layouts},
        **{f"figures/{name}": svg for name, svg in figures.items()},
    }


def sheet_facts(
    plan: Plan,
    units: LengthUnits = "both",
    given: Mapping[str, Facts] | None = None,
    document: PlanDocument | None = None,
) -> Facts:
    """Everything the sheet says about this plan: the head, then in order the parts that have something to say.

    Numbers are text with their unit, except in tables, whose columns name theirs. `document`: the plan's, if it has been
    built.
    """
    document = PlanDocument.of(plan) if document is None else document
    source = Source(plan, document, Shown(plan.job.speed_ratio, units), given or {})
    made = [(name, layout, content(source)) for name, layout, content in PARTS]
    return {
        **head_facts(plan.job),
        "kind": "Build sheet",
        "parts": [
            {"name": name, "layout": layout, "facts": facts} for name, layout, facts in made if facts is not None
        ],
    }


def head_facts(job: JobHead) -> Facts:
    """The head and foot of every page."""
    return {
        "title": breakable(shortened(job.title, 100)),
        "footer": shortened(job.title, 100),
        "unit": breakable(shortened(job.unit, 90)),
        "date": plain(job.date),
        "fingerprint": job.fingerprint,
        "version": __version__,
    }


def page_html(
    plan: Plan,
    figures: Mapping[str, bytes],
    units: LengthUnits = "both",
    given: Mapping[str, Facts] | None = None,
    document: PlanDocument | None = None,
) -> bytes:
    """The page as UTF-8, the same bytes for the same input.

    `figures`: SVGs by file name: "curve.svg", "curve-narrow.svg" and those shown by `given`, the facts of ready-made parts;
    `document`: the plan's, if it has been built.
    """
    return page_of(sheet_facts(plan, units, given, document), figures)


def page_of(facts: Facts, figures: Mapping[str, bytes]) -> bytes:
    """Any sheet's facts as a page, UTF-8, with the figures that they show, SVGs by file name."""
    from jinja2 import Environment, FileSystemLoader
    from markupsafe import Markup

    folder = data_file("page/page.html").parent
    environment = Environment(
        loader=FileSystemLoader(folder), autoescape=True, trim_blocks=True, lstrip_blocks=True, finalize=_unbroken
    )
    script = "\n" + (folder / "keep.js").read_text(encoding="utf-8")
    inlined = {name: Markup(inline_svg(svg, re.sub(r"\W", "-", name))) for name, svg in figures.items()}
    text = environment.get_template("page.html").render(
        facts=facts,
        figures=inlined,
        styles=Markup((folder / "page.css").read_text(encoding="utf-8")),
        script=Markup(script),
        script_hash=f"sha256-{b64encode(hashlib.sha256(script.encode('utf-8')).digest()).decode('ascii')}",
    )
    return text.encode("utf-8")


def _unbroken(value: Any) -> Any:
    """Text escaped for the page, ids kept on one line and units with their numbers; markup and all else as it is.

    In attributes, and in the title, the layouts escape text themselves, which makes it markup.
    """
    from markupsafe import Markup, escape

    if type(value) is not str:
        return value
    together = UNIT.sub("\\1\u00a0", str(escape(value)))
    return Markup(IDENTITY.sub(r'<span class="id">\1</span>', together))


def inline_svg(svg: bytes, name: str) -> str:
    """An SVG document as an element of a page: no prologue, metadata or size, and ids that no other figure uses."""
    text = svg.decode("utf-8")
    text = text[text.index("<svg") :]
    text = re.sub(r"<metadata>.*?</metadata>\s*", "", text, count=1, flags=re.S)
    head, body = text.split(">", 1)
    head = re.sub(r'\s(?:width|height)="[^"]*"', "", head)
    text = f'{head} role="img">{body}'
    used = set(re.findall(r'(?:href="#|url\(#)([^")]+)', text))
    text = re.sub(r' id="([^"]*)"', lambda m: f' id="{name}-{m[1]}"' if m[1] in used else "", text)
    text = re.sub(r'href="#', f'href="#{name}-', text)
    return re.sub(r"url\(#", f"url(#{name}-", text)
