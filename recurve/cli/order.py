"""`recurve order`: one list of springs for several planned units."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from recurve.cli.console import ANSWER_IS_NO, AsJson, JobFiles, print_json, progress, show, text_option


def order(
    jobs: JobFiles,
    csv: Annotated[Path | None, text_option("FILE.csv", "Also a table for a supplier or a spreadsheet.")] = None,
    as_json: AsJson = False,
) -> None:
    """One list of springs for several planned units, with the stock looked at.

    Reads what recurve plan said of each JOB, and the catalogues. A spring is taken as planned where it is in stock or can be
    ordered, else an alternate that passes. Springs that would serve several units are named. Units that are built, or have no
    plan, are left out. Exit status 0: all springs can be had; 3: one lacks, or a unit has no plan; 2: bad input.

    Example: recurve order examples/launch.toml examples/pump.toml
    """
    from recurve.output.order import order_list, write_order
    from recurve.output.text.order import order_text

    progress("Reading the plans")
    document = order_list(jobs)
    if csv is not None:
        write_order(csv, document)
        document = document.with_files([str(csv)])
    if as_json:
        print_json(document.as_json())
    else:
        show(order_text(document))
    if not document.good:
        raise typer.Exit(ANSWER_IS_NO)
