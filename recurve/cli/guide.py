"""The `recurve guide` command: how each number is measured."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from recurve.cli.console import show
from recurve.text import printable


def guide(
    figure: Annotated[
        int | None, typer.Argument(metavar="FIGURE", help="A figure's number; without one, all.", show_default=False)
    ] = None,
    page: Annotated[
        Path | None,
        typer.Option(
            "--page", metavar="FILE", help="Write it, with its figures, as one page (HTML).", show_default=False
        ),
    ] = None,
) -> None:
    """How to measure a unit: what each key of the job file means, and how, where and with what it is read.

    Prints the measuring guide, or what it says of one figure that a report or a question names. --page writes all of it with
    its drawings into FILE, to be opened in a browser or printed. Exit status 0: printed or written; 2: no such figure.

    Example: recurve guide 8
    """
    from recurve.output.guide import guide_page, guide_text

    text = guide_text(figure)
    if page is None:
        show(text)
        return
    from recurve.files import write_folder

    (written,) = write_folder(page.parent, {page.name: guide_page()})
    typer.echo(f"Written\n  {printable(written)}")
