"""The measuring guide, which an installation carries with its figures: as text for a terminal, and as one page for a browser."""

from __future__ import annotations

import io
import re
from functools import cache

from recurve.data import guide_file
from recurve.errors import InputError

NAME = "measuring.md"
COLUMNS = 80
IMAGE = re.compile(r"^!\[([^\]]*)\]\((measuring/\d+-\w+\.svg)\)$", re.M)
FIGURE = re.compile(r"^### Figure (\d+):", re.M)
LOOK = (
    "body{font:16px/1.5 sans-serif;max-width:46em;margin:1em auto;padding:0 1em;color:#1a1a1a;background:#fff}"
    "svg{max-width:100%;height:auto}table{border-collapse:collapse}td,th{border:1px solid #aaa;padding:.2em .5em;"
    "text-align:left;vertical-align:top}code{background:#eee;overflow-wrap:anywhere}@media print{figure{break-inside:avoid}}"
)


@cache
def guide_source() -> str:
    """The guide as it is written, in Markdown."""
    return guide_file(NAME).read_text(encoding="utf-8")


def figures() -> tuple[int, ...]:
    """The numbers [1] of the guide's figures."""
    return tuple(int(n) for n in FIGURE.findall(guide_source()))


def section_of(figure: int) -> str:
    """What the guide says of a figure, by its number [1]: the head of its part, with the cautions there, and the figure's own
    section. Raises InputError for a figure that is not there."""
    if figure not in figures():
        shown = figures()
        raise InputError(
            f"FIGURE: got {figure}, expected the number of a figure of the measuring guide, {shown[0]} to {shown[-1]}"
        )
    for part in re.split(r"^(?=## )", guide_source(), flags=re.M):
        head, *sections = re.split(r"^(?=### )", part, flags=re.M)
        for section in sections:
            if section.startswith(f"### Figure {figure}:"):
                return f"{head.rstrip()}\n\n{section}"
    raise AssertionError(figure)  # it stands under a part


def guide_text(figure: int | None = None) -> str:
    """The guide for a terminal, or what it says of one figure by its number [1]; a figure stands as its title and its file."""
    from rich.console import Console
    from rich.markdown import Markdown

    source = guide_source() if figure is None else section_of(figure)
    told = IMAGE.sub(lambda m: f"*Drawing: {m[1]} (recurve guide --page shows it)*", source)
    out = io.StringIO()
    console = Console(file=out, width=COLUMNS, color_system=None, highlight=False, emoji=False)
    console.print(Markdown(told, hyperlinks=False))
    return "\n".join(line.rstrip() for line in out.getvalue().splitlines()) + "\n"


def guide_page() -> bytes:
    """The guide with its figures as one page that needs no other file."""
    from markdown_it import MarkdownIt

    body = MarkdownIt("commonmark").enable("table").render(guide_source())

    def drawn(found: re.Match[str]) -> str:
        svg = guide_file(found[1]).read_text(encoding="utf-8")
        return f'<figure role="img" aria-label="{found[2]}">{svg}</figure>'

    body = re.sub(r"<h3>Figure (\d+):", r'<h3 id="figure-\1">Figure \1:', body)
    body = re.sub(r'<img src="(measuring/[^"]+)" alt="([^"]*)" ?/?>', drawn, body)
    page = (
        '<!DOCTYPE html>\n<html lang="en"><head><meta charset="utf-8">'
        '<meta name="viewport" content="width=device-width, initial-scale=1"><title>How to measure a unit</title>'
        f"<style>{LOOK}</style></head><body>\n{body}</body></html>\n"
    )
    return page.encode("utf-8")
