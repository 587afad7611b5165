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
    as_json: AsJson = False,
) -> None:
    """Every unit of a folder: state, findings, what was done, first-time pass, predicted against measured.

    Reads the job files in FOLDER, this one if none is named, and in the folders in it, with the records that check, plan and
    verify keep beside them. What was read is kept in the hidden file .recurve-units.json there, which may be deleted at any
    time. Exit status 0: read; 2: bad input.

    Example: recurve units examples
    """
    from recurve.output.documents.units import UnitsDocument
    from recurve.output.remembered import read_units
    from recurve.output.text.units import units_text
    from recurve.output.unitrows import write_rows

    found = UnitsDocument.of(str(folder), read_units(folder, progress), search)
    if csv is not None:
        write_rows(csv, found)
        found = found.with_files([str(csv)])
    if as_json:
        print_json(found.as_json())
    else:
        show(units_text(found, brief))
