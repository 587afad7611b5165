"""`recurve learn`: a type of unit, from units already measured."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from recurve.cli.console import ANSWER_IS_NO, AsJson, print_json, progress, show, text_option

Units = Annotated[
    list[Path],
    typer.Argument(metavar="UNIT...", help="Job files of measured units.", show_default=False, readable=False),
]
To = Annotated[Path, typer.Option("--to", metavar="TYPE.toml", help="The type file to write.", show_default=False)]
LeaveOut = Annotated[
    list[Path] | None,
    typer.Option(metavar="UNIT", help="Leave this unit out; may be given several times.", show_default=False),
]


def learn(
    units: Units,
    to: To,
    title: Annotated[str | None, text_option("TEXT", "Name of the type; by default the file's name.")] = None,
    leave_out: LeaveOut = None,
    replace: Annotated[bool, typer.Option("--replace", help="Replace an existing type file.")] = False,
    as_json: AsJson = False,
) -> None:
    """A type of unit, learned from units already measured.

    Reads the job files of units of one type whose weights and posts were measured. For each quantity it writes the mean,
    the spread from unit to unit, and how closely the mean is known. A job with type = "TYPE.toml" then needs only a sweep
    and the degree wheel. A unit unlike the others is named: check it, or leave it out. Exit status 0: learned; 3: written,
    but a unit is unlike the others, or two contradict each other; 2: bad input.

    Example: recurve learn hoist-1.toml hoist-2.toml hoist-3.toml --to hoist-type.toml
    """
    from recurve.output.documents.learn import LearnDocument
    from recurve.output.learned import learn_units, write_type
    from recurve.output.text.learn import learn_text

    progress("Reading the units")
    made = learn_units(units, leave_out or [], progress)
    write_type(made, to, title or to.stem, replace)
    document = LearnDocument.of(made, str(to))
    if as_json:
        print_json(document.as_json())
    else:
        show(f"{learn_text(document)}\n")
    if not made.made.belong:
        raise typer.Exit(ANSWER_IS_NO)
