"""`recurve page`: the whole job in a browser."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer


def page(
    folder: Annotated[
        Path, typer.Argument(metavar="[FOLDER]", help="The folder of units.", show_default=False)
    ] = Path(),
    port: Annotated[int, typer.Option(min=0, max=65535, help="The port; 0 takes any free one.")] = 8017,
    lan: Annotated[
        bool, typer.Option("--lan", help="Let in a phone that gives the code shown in this terminal.")
    ] = False,
    browser: Annotated[bool, typer.Option(help="Open the browser.")] = True,
) -> None:
    """The whole job in a browser, from the book to the record, over the same files as the commands.

    Serves the units of FOLDER, this one if none is named, on this machine only, until Ctrl-C. Everything you type is
    saved in the job's own files at once. Exit status 0: ended; 2: bad input.

    Example: recurve page examples
    """
    from recurve.errors import InputError
    from recurve.page.serve import serve_folder

    if not folder.is_dir():
        raise InputError(f"{folder}: got no folder, expected one with units, or an empty one")
    serve_folder(folder, port, lan, browser, typer.echo)
