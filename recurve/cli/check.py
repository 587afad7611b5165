"""`recurve check` and `recurve verify`: what is wrong as found, and whether the finished unit passes."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated, Literal

import typer

from recurve.cli.console import ANSWER_IS_NO, AsJson, JobFile, print_json, progress, show, text_option
from recurve.cli.next_step import after_check, after_verify
from recurve.text import printable
from recurve.units import LengthUnits, Paper

FoundPaper = Annotated[Paper, typer.Option(help="The sheet's paper.")]
FoundUnits = Annotated[LengthUnits, typer.Option(help="Lengths and forces on the sheet.")]
AsPage = Annotated[
    bool,
    typer.Option("--html", help="Also as-found.html, the sheet for a phone or a browser; always writes as-found.pdf."),
]


def check(
    job: JobFile,
    paper: FoundPaper = "a4",
    units: FoundUnits = "both",
    html: AsPage = False,
    as_json: AsJson = False,
) -> None:
    """What is wrong with the unit as found: findings, the worst first, and whether it is worth saving.

    From target and sweep alone it takes a first look, and writes look.svg, look.png and the sheet as-found.pdf beside
    JOB, into a folder with JOB's name and -plan. Once all parts are measured, it finds the state of each part from the
    sweep, and writes fit.svg and fit.png. Exit status 0: nothing is wrong; 3: something is, or may be; 2: bad input.

    Example: recurve check examples/launch.toml
    """
    from recurve.output.judged import AskedFound, judge_found

    found = judge_found(job, AskedFound(paper, html, units), progress)
    if as_json:
        print_json(found.document.as_json())
    else:
        after = f"\n{after_check(found.document.verdict, job)}\n" if found.whole else ""
        show(f"{found.text}{after}")
    if not found.good:
        raise typer.Exit(ANSWER_IS_NO)


Sweep = Annotated[
    Path, typer.Argument(metavar="SWEEP", help="Readings of the finished unit (CSV).", show_default=False)
]
ReadIn = Annotated[
    Literal["distributor", "crank"] | None,
    typer.Option(help="Distributor or crank readings; by default as the job's [sweep] says.", show_default=False),
]
ZeroedAt = Annotated[
    str | None, text_option("SPEED", 'Speed at which zero was set, "250 rpm"; by default weights held home.')
]
PrimaryLength = Annotated[
    str | None, text_option("LENGTH", 'Length over the primary\'s posts as set, "13.41 ± 0.03 mm".')
]
SecondaryLength = Annotated[str | None, text_option("LENGTH", "Length over the secondary's posts as set.")]
StopAsSet = Annotated[
    str | None,
    text_option(
        "ANGLE|TRIM", 'The stop: advance by degree wheel, "11.2 ± 0.2 deg", or "0.4 mm" built up, "-0.2 mm" filed.'
    ),
]
PrimarySpring = Annotated[str | None, text_option("ID", "The primary fitted, if not the one planned.")]
SecondarySpring = Annotated[str | None, text_option("ID", "The secondary fitted, if not the one planned.")]
SetBy = Annotated[
    Literal["calliper", "bench"] | None,
    typer.Option(
        help="How the posts were set: by calliper alone, or bent until the bench read right.", show_default=False
    ),
]
NoteSprings = Annotated[
    bool, typer.Option("--note-springs", help="Note in the catalogue what the sweep tells of the springs fitted.")
]
TakeSprings = Annotated[
    bool, typer.Option("--take-springs", help="Count the springs fitted as taken from the catalogue.")
]
RecordPaper = Annotated[Paper, typer.Option(help="The record's paper.")]
RecordUnits = Annotated[LengthUnits, typer.Option(help="Lengths and forces on the record.")]


def verify(
    job: JobFile,
    sweep: Sweep,
    basis: ReadIn = None,
    zeroed_at: ZeroedAt = None,
    primary_length: PrimaryLength = None,
    secondary_length: SecondaryLength = None,
    stop: StopAsSet = None,
    primary_spring: PrimarySpring = None,
    secondary_spring: SecondarySpring = None,
    set_by: SetBy = None,
    note_springs: NoteSprings = False,
    take_springs: TakeSprings = False,
    paper: RecordPaper = "a4",
    units: RecordUnits = "both",
    as_json: AsJson = False,
) -> None:
    """Judge the finished unit: does it pass, and if not, what to move.

    JOB is the job that was planned (its plan.toml is then the finished unit), or a plan.toml itself. Appends to
    as-left.toml and writes as-left.pdf, the record to hand over, as-left.svg and as-left.png beside plan.toml.
    It takes into account what you measured while setting: give it by these options, or in [set] of as-left.toml.
    Exit status 0: passes; 3: fails, is too close to call, or must be read again; 2: bad input.

    Example: recurve verify examples/launch.toml as-left.csv
    """
    from recurve.output.drawer import DrawerAsked
    from recurve.output.judged import AskedLeft, judge_left

    was_set = {
        "primary_length": primary_length,
        "secondary_length": secondary_length,
        "stop": stop,
        "primary_spring": primary_spring,
        "secondary_spring": secondary_spring,
        "set_by": set_by,
    }
    drawer = DrawerAsked(note_springs, take_springs)
    left = judge_left(job, sweep, AskedLeft(basis, zeroed_at, was_set, paper, units, drawer), progress)
    if left.remark:
        typer.echo(printable(f"recurve: {left.remark}"), err=True)
    if as_json:
        print_json(left.document.as_json())
    else:
        show(f"{left.text}\n{after_verify(left.document.step, job, sweep, 'as-left.pdf')}\n")
    if not left.good:
        raise typer.Exit(ANSWER_IS_NO)
