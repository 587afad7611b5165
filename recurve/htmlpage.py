"""The report page: one HTML file with the sheet's facts and inline SVG, for a phone beside the bench.

It asks for nothing else: no script, no font, no network, which its own content security policy holds a browser to.
Text from a job is escaped by the template engine and never read as markup.
"""

from __future__ import annotations

import re
from collections.abc import Mapping

from recurve.datafiles import data_file
from recurve.plan import Plan
from recurve.sheet import sheet_facts
from recurve.sheetparts import Facts
from recurve.shown import Units


def page_html(
    plan: Plan,
    figures: Mapping[str, bytes],
    units: Units = "both",
    given: Mapping[str, Facts] | None = None,
) -> bytes:
    """The page as UTF-8, the same bytes for the same input. `figures` are SVGs by file name: "curve.svg" and
    "curve-narrow.svg", and those that `given`, facts of ready-made parts, show."""
    from jinja2 import Environment, FileSystemLoader
    from markupsafe import Markup

    folder = data_file("page/page.html").parent
    environment = Environment(loader=FileSystemLoader(folder), autoescape=True, trim_blocks=True, lstrip_blocks=True)
    inlined = {name: Markup(inline_svg(svg, re.sub(r"\W", "-", name))) for name, svg in figures.items()}
    text = environment.get_template("page.html").render(
        facts=sheet_facts(plan, units, given),
        figures=inlined,
        styles=Markup((folder / "page.css").read_text(encoding="utf-8")),
    )
    return text.encode("utf-8")


def inline_svg(svg: bytes, name: str) -> str:
    """An SVG document as an element of a page: without prologue, metadata and size, its ids made its own."""
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
