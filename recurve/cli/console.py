"""What all commands share: the application, its common options, output and progress."""

from __future__ import annotations

import os
import sys
from enum import StrEnum
from pathlib import Path
from typing import Annotated, Any

import typer

from recurve import __version__
from recurve.safetext import json_text

BAD_INPUT, ANSWER_IS_NO = 2, 3

app = typer.Typer(
    add_completion=True,
    no_args_is_help=True,
    rich_markup_mode=None,
    pretty_exceptions_enable=False,
    context_settings={"help_option_names": ["-h", "--help"]},
    help=(
        "Try: recurve plan examples/launch.toml\n\n"
        "Plans the mechanical advance of a points-type ignition distributor: which springs, where to set the posts, "
        "what to do to the stop, and the curve that follows.\n\n"
        "Not for magnetos, nor for anything that flies."
    ),
)


JobFile = Annotated[
    Path, typer.Argument(metavar="JOB", help="The job file (TOML).", show_default=False, readable=False)
]
JobFiles = Annotated[
    list[Path], typer.Argument(metavar="JOB...", help="The job files (TOML).", show_default=False, readable=False)
]
AsJson = Annotated[bool, typer.Option("--json", help="One JSON document on stdout and nothing else.")]


def text_option(metavar: str, words: str) -> Any:
    """An option that takes a text, such as a quantity with its unit, and has no default to show."""
    return typer.Option(metavar=metavar, help=words, show_default=False)


class Paper(StrEnum):
    """The paper of what is printed."""

    a4 = "a4"
    letter = "letter"


class LengthUnits(StrEnum):
    """What lengths and forces are shown in."""

    metric = "metric"
    inch = "inch"
    both = "both"


def progress(text: str) -> None:
    """Progress for someone who watches; a pipe or a log gets none."""
    if sys.stderr.isatty():
        typer.echo(f"{text} …", err=True)


def print_json(document: dict[str, Any]) -> None:
    """A document on stdout, and nothing else."""
    typer.echo(json_text(document))


def _show_version(wanted: bool) -> None:
    if wanted:
        typer.echo(f"recurve {__version__}")
        raise typer.Exit


def _plain_text(wanted: bool) -> None:
    if wanted:
        os.environ["NO_COLOR"] = "1"  # what every part of a terminal's output looks at


@app.callback()
def _root(
    version: Annotated[
        bool, typer.Option("--version", callback=_show_version, is_eager=True, help="Show the version and exit.")
    ] = False,
    no_color: Annotated[
        bool, typer.Option("--no-color", callback=_plain_text, is_eager=True, help="Plain text (so does NO_COLOR=1).")
    ] = False,
) -> None:
    pass
