"""`recurve spring`: a spring weighed and stretched."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from recurve.cli.console import ANSWER_IS_NO, AsJson, print_json, show, text_option
from recurve.cli.next_step import after_spring
from recurve.errors import InputError
from recurve.text import printable

if TYPE_CHECKING:
    from recurve.springs.spring import Spring
    from recurve.springs.weighing import WeighedSpring


def spring(
    readings: Annotated[
        list[str],
        typer.Argument(
            metavar="READING...", help='Weight and length, "50 g at 18.3 mm"; two or more.', show_default=False
        ),
    ],
    free_length: Annotated[
        str | None, text_option("LENGTH", "Free length inside the hooks, coils closed; gives the initial tension.")
    ] = None,
    wire: Annotated[str | None, text_option("LENGTH", "Diameter of the wire.")] = None,
    outer: Annotated[str | None, text_option("LENGTH", "Diameter over the coils.")] = None,
    coils: Annotated[str | None, text_option("NUMBER", "Coils of the body.")] = None,
    material: Annotated[str | None, text_option("NAME", "A material of data/wire.toml.")] = None,
    append: Annotated[
        Path | None, text_option("CATALOGUE", "Add the spring to this catalogue (CSV), made if need be.")
    ] = None,
    note: Annotated[
        Path | None, text_option("CATALOGUE", "Note what was measured in this catalogue, beside the row of --id.")
    ] = None,
    date: Annotated[str | None, text_option("DATE", "When it was weighed, 2026-05-04; for --note.")] = None,
    name: Annotated[
        str | None, typer.Option("--id", metavar="ID", help="Its name in the catalogue.", show_default=False)
    ] = None,
    quantity: Annotated[
        int | None, typer.Option(min=0, help="How many there are; by default it can be ordered.", show_default=False)
    ] = None,
    as_json: AsJson = False,
) -> None:
    """Rate and initial tension of a spring from weights hung on it.

    Hang a weight on the spring, let it come to rest, and read the length inside the hooks; do the same with another
    weight. Pan and hook count as weight. Read the free length without load, coils closed. Writes only what --append or
    --note asks for; --note leaves the row's own figures as they are. Exit status 0: known; 3: too uncertain to plan with;
    2: bad input.

    Example: recurve spring "100 g at 14.2 mm" "300 g at 16.1 mm" --free-length "13.2 mm"
    """
    from recurve.job.weighings import measure
    from recurve.output.documents.springs import SpringDocument
    from recurve.output.text.workshop import spring_text

    if append is not None and not (name and name.strip() and free_length):
        lacking = "--id" if not (name and name.strip()) else "--free-length"
        raise InputError(f"{lacking}: missing, expected it with --append: a catalogue's row needs it")
    if note is not None and (append is not None or not (name and name.strip())):
        raise InputError("--note: got it with --append or without --id, expected the --id of a row that is there")
    described = {"id": name and name.strip(), "wire": wire, "outer": outer, "coils": coils, "material": material}
    found = measure(readings, free_length, described, quantity)
    file = None if append is None or not found.weighed.of_use else _append(append, found.described)
    noted = None if note is None or not found.weighed.of_use else _note(note, found, date)
    file = str(note) if noted else file
    document = SpringDocument.of(found, file)
    if as_json:
        print_json(document.as_json())
    else:
        told = f"\n{noted}\n" if noted else ""
        show(f"{spring_text(found, document, added=noted is None)}{told}\n{after_spring(found.weighed.of_use, file)}\n")
    if not found.weighed.of_use:
        raise typer.Exit(ANSWER_IS_NO)


def _append(path: Path, described: Spring) -> str:
    """Add the spring to the catalogue. What the file has no column for is reported on stderr."""
    from recurve.files import rewrite
    from recurve.job.tables import with_spring

    lacking = with_spring(path, described)[1]
    rewrite(path, lambda: with_spring(path, described)[0])  # read again, since another run may have added one
    if lacking:
        typer.echo(
            f"recurve: {printable(str(path))}: no column for {', '.join(lacking)}, which it does not keep", err=True
        )
    return str(path)


def _note(path: Path, found: WeighedSpring, date: str | None) -> str:
    """Note the weighing in the catalogue, and say what that changed."""
    from recurve.job.weighings import noted_of
    from recurve.output.drawer import note_weighing

    noted = noted_of(found, date)
    told = f"{printable(str(path))}: {printable(note_weighing(path, found.described.id, noted))}"
    if found.free_length is not None and noted.free_length is None:
        slack = 1e3 * found.weighed.zero_length
        told += f". Its free length is not noted, since it does not pull until it is {slack:.2f} mm long"
    return told
