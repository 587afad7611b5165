"""What all commands share: the application, common options, progress, and reports on standard output.

A report on a terminal has the same characters as in a pipe, with bold type and colour to help the eye. Nothing is told by
colour alone. A pipe, a file, NO_COLOR, TERM=dumb and --no-color get the plain text, byte for byte.
"""

from __future__ import annotations

import os
import sys
from enum import StrEnum
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from recurve import __version__
from recurve.text import json_text, printable, printable_lines

if TYPE_CHECKING:
    from rich.text import Text

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
    """An option that takes a text, such as a quantity with its unit, and shows no default."""
    return typer.Option(metavar=metavar, help=words, show_default=False)


class SpringOption(StrEnum):
    """One of the two springs, as an option. An enumeration, because typer takes no list of Literals."""

    primary = "primary"
    secondary = "secondary"


def progress(text: str) -> None:
    """Progress for someone who watches; a pipe or a log gets none."""
    if sys.stderr.isatty():
        typer.echo(f"{text} …", err=True)


WIDTH = 80  # columns


def tell(fault: str) -> None:
    """A fault on standard error: one line in a pipe or a log, wrapped for someone who reads it on a terminal."""
    line = f"recurve: {printable(fault)}"
    if sys.stderr.isatty():
        import textwrap

        # A path is not cut: it is there to be copied.
        line = textwrap.fill(line, WIDTH, subsequent_indent="  ", break_long_words=False, break_on_hyphens=False)
    typer.echo(line, err=True)


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


GOOD = "PASSES|SOUND"
BAD = "DO NOT BUILD|THE VERDICT DOES NOT|OUT OF REACH|MAY NOT PASS|FAILS|NOT WORTH SAVING|MECHANICAL REPAIR FIRST"
OPEN = "READ AGAIN|TOO CLOSE TO CALL|NOT CONVERGED|CANNOT TELL|NEW SPRINGS|RESET POSTS|FACTS ONLY|SPRINGS OR POSTS|STOP ONLY"
# Styles for the eye only: each pattern marks the group of its name. A report is the same text without them, and nothing is
# decided by what they find.
PATTERNS = (
    (rf"^(?P<good>(?:{GOOD})[^,\n]*)", "good", "bold green"),
    (rf"^(?P<bad>(?:{BAD})[^,\n]*)", "bad", "bold red"),
    (rf"^(?P<open>(?:{OPEN})[^,\n]*)", "open", "bold yellow"),
    (r"\A(?P<title>[^\n]+)", "title", "bold"),
    (r"\n\n(?P<heading>[A-Z][^\n]*)", "heading", "bold"),
    (r"^(?P<finding>\d+\. [^\n]*)", "finding", "bold"),
    (r"\b(?P<miss>  out|fails|too close)$", "miss", "bold red"),
    (r"(?P<units>(?:\[[^\]\n]+\]\s+)+\[[^\]\n]+\])$", "units", "dim"),
    (r"^(?P<next>Next:)", "next", "bold cyan"),
)


def show(text: str) -> None:
    """Print a report on standard output, styled if that is a terminal and its user has not switched colour off. Escape codes
    in texts from files are made harmless."""
    text = printable_lines(text)
    plain = os.environ.get("NO_COLOR") or os.environ.get("TERM") == "dumb"
    if plain or not sys.stdout.isatty():
        sys.stdout.write(text)
        sys.stdout.flush()
        return
    from rich.console import Console

    Console(highlight=False, soft_wrap=True, markup=False, emoji=False).print(styled(text), end="")


def styled(text: str) -> Text:
    """The text with styles added by `PATTERNS`; the characters stay the same."""
    import re

    from rich.text import Text

    made = Text(text)
    for pattern, group, style in PATTERNS:
        for match in re.finditer(pattern, text, re.M):
            made.stylize(style, *match.span(group))
    return made
