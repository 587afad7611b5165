"""`recurve units`: every unit of a folder, with its history."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from recurve.cli.console import AsJson, print_json, progress, show, text_option


def units(
    folder: Annotated[
        Path, typer.Argument(metavar="[FOLDER]", help="The folder of units.", show_default=False, readable=False)
    ] = Path(),
    search: Annotated[str, text_option("WORDS", "Only units whose name, title or number has these words.")] = "",
    brief: Annotated[bool, typer.Option("--brief", help="The table alone, a line for each unit.")] = False,
    csv: Annotated[Path | None, text_option("FILE.csv", "Also a table for a spreadsheet, a row for each band.")] = None,
    figure: Annotated[
        Path | None, text_option("FILE.png|svg", "Also a plot of what was said of the units against what came.")
    ] = None,
    as_json: AsJson = False,
) -> None:
    """Every unit of a folder: state, findings, what was done, first-time pass, predicted against measured.

    Reads the job files in FOLDER, this one if none is named, and in the folders in it, with the records that check, plan and
    verify keep beside them. What was read is kept in the hidden file .recurve-units.json there, which may be deleted at any
    time. Units with a plan and a record show how far what was said came true: chances of passing, predicted curves, and the
    tolerances of [build]. Exit status 0: read; 2: bad input.

    Example: recurve units examples
    """
    from recurve.output.figures.honesty import write_honesty
    from recurve.output.honest import units_document
    from recurve.output.remembered import read_units
    from recurve.output.text.units import units_text
    from recurve.output.unitrows import write_rows

    found = units_document(str(folder), read_units(folder, progress), search)
    files = []
    if csv is not None:
        write_rows(csv, found)
        files.append(str(csv))
    if figure is not None:
        write_honesty(figure, found.honesty)
        files.append(str(figure))
    found = found.with_files(files)
    if as_json:
        print_json(found.as_json())
    else:
        show(units_text(found, brief))
