"""`recurve draw`: the unit of a job to scale, so that a wrong angle is seen before it is computed."""

from __future__ import annotations

import typer

from recurve.console import ANSWER_IS_NO, JobFile, progress
from recurve.nextstep import after_draw
from recurve.safetext import printable, printable_lines


def draw(job: JobFile) -> None:
    """The unit to scale, at rest and at full advance, to hold against the part.

    Writes unit.svg and unit.png into JOB's name followed by -plan, beside JOB, also of a unit that cannot work as
    described: then one sees why. Exit status 0: drawn; 3: drawn, but the model refuses it; 2: it cannot be read.

    Example: recurve draw examples/launch.toml
    """
    from recurve.drawing import spring_words, unit_figure_bytes
    from recurve.files import write_folder
    from recurve.jobwrite import plan_folder
    from recurve.picture import read_picture

    progress("Drawing the unit")
    picture = read_picture(job)
    files = write_folder(plan_folder(job), unit_figure_bytes(picture))
    for spring in picture.springs:
        for words in spring_words(spring):
            typer.echo(f"{spring.name}: {printable(words)}")
    typer.echo("\nWritten")
    for file in files:
        typer.echo(f"  {printable(file)}")
    if not picture.faults:
        typer.echo(printable_lines(f"\n{after_draw(False, job)}"))
    if picture.faults:
        typer.echo("\nThe model refuses this unit:", err=True)
        for fault in picture.faults:
            typer.echo(f"recurve: {printable(fault)}", err=True)
        typer.echo(printable_lines(f"\n{after_draw(True, job)}"), err=True)
        raise typer.Exit(ANSWER_IS_NO)
