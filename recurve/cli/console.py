"""What all commands share: the application, its common options, output and progress.

Reports on a terminal: the same text as in a pipe, with weight and colour where that helps the eye.

Nothing is told by colour alone. A pipe, a file, NO_COLOR, TERM=dumb and --no-color get the plain text, byte for byte.

What to do next, as a report's last line: a command that can be pasted, or a thing to do with the hands.

Asking at the terminal: words wrapped to 80 columns, a line typed in return, and the words that steer.
"""

from __future__ import annotations

import os
import shlex
import sys
import textwrap
from enum import StrEnum
from pathlib import Path
from typing import Annotated, Any

import typer

from recurve import __version__
from recurve.text import json_text, printable, printable_lines

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


GOOD = "PASSES|SOUND"
BAD = "OUT OF REACH|FAILS|NOT WORTH SAVING|MECHANICAL REPAIR FIRST"
OPEN = "TOO CLOSE TO CALL|NOT CONVERGED|CANNOT TELL|NEW SPRINGS|RESET POSTS|FACTS ONLY"
# What is set in which style: a regular expression's groups, by the style's name.
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


def decorated(stream: object = None) -> bool:
    """Whether the reader is a person at a terminal who wants colour."""
    out = sys.stdout if stream is None else stream
    plain = os.environ.get("NO_COLOR") or os.environ.get("TERM") == "dumb"
    return bool(getattr(out, "isatty", lambda: False)()) and not plain


def show(text: str) -> None:
    """A report on standard output, in which nothing from a file can steer the terminal."""
    text = printable_lines(text)
    if not decorated():
        sys.stdout.write(text)
        sys.stdout.flush()
        return
    from rich.console import Console

    Console(highlight=False, soft_wrap=True, markup=False, emoji=False).print(styled(text), end="")


def styled(text: str) -> object:
    """The text with its styles; its characters are the same."""
    import re

    from rich.text import Text

    made = Text(text)
    for pattern, group, style in PATTERNS:
        for match in re.finditer(pattern, text, re.M if not pattern.startswith(r"\A") else 0):
            made.stylize(style, *match.span(group))
    return made


def _quoted(path: Path) -> str:
    return shlex.quote(str(path))


def after_curve(job: Path) -> str:
    """What a predicted curve leads to."""
    return f"Next: what is wrong as found:\n  recurve check {_quoted(job)}"


def after_draw(refused: bool, job: Path) -> str:
    """What a drawing leads to."""
    if refused:
        return "Next: hold the drawing against the part, mend the numbers named, and draw again"
    return f"Next: hold the drawing against the part, then:\n  recurve check {_quoted(job)}"


def after_wind(all_of_them: bool, job: Path) -> str:
    """What a table for the winder leads to."""
    if not all_of_them:
        return "Next: allow more (--outer, --overall, --tolerance), or other springs (--springs ideal), and ask again"
    return "Next: send the winder the table and drawings; weigh what comes, see:\n  recurve spring --help"


def after_spring(of_use: bool, file: str | None) -> str:
    """What a weighed spring leads to."""
    if not of_use:
        return "Next: weigh it again with weights farther apart"
    return f"Next: plan with {file}" if file else "Next: add it to a catalogue with --append, --id and --free-length"


def after_check(verdict: str, job: Path) -> str:
    """By the verdict of a check."""
    again, plan = f"recurve check {_quoted(job)}", f"recurve plan {_quoted(job)}"
    words = {
        "sound": f"nothing needs planning; to record it:\n  recurve verify {_quoted(job)} SWEEP.csv",
        "facts only": f"give the job a [target], then:\n  {again}",
        "cannot tell": f"do what the findings ask first, sweep again, then:\n  {again}",
        "mechanical repair first": f"repair it, sweep again, then:\n  {again}",
        "not worth saving by recurve": f"to see how near it could come:\n  {plan}",
    }
    return f"Next: {words.get(verdict, f'plan it:{chr(10)}  {plan}')}"


def after_plan(verdict: str, job: Path, sheet: str) -> str:
    """By the verdict of a plan."""
    if verdict == "out of reach":
        return f"Next: see the reasons above; what is wrong as found:\n  recurve check {_quoted(job)}"
    return f"Next: print {sheet}, build, sweep the finished unit, then:\n  recurve verify {_quoted(job)} as-left.csv"


def after_plans() -> str:
    """What many plans at once lead to."""
    return "Next: print the sheet of each that passes; for one that does not: recurve plan JOB"


def after_verify(verdict: str, job: Path, sweep: Path, record: str) -> str:
    """By the verdict on the finished unit."""
    again = f"recurve verify {_quoted(job)} {_quoted(sweep)}"
    words = {
        "passes": f"fill in, sign and hand over {record}",
        "fails": f"do what is said above, sweep again, then:\n  {again}",
        "too close to call": f"add the readings to the sweep, then:\n  {again}",
    }
    return f"Next: {words.get(verdict, f'take more readings, up and down, then:{chr(10)}  {again}')}"


WIDTH = 78


class Stopped(Exception):
    """The person wants to go on another time."""


def say(text: str = "", indent: str = "") -> None:
    """A paragraph, wrapped; what is indented stays so."""
    typer.echo(
        textwrap.fill(printable_lines(text), WIDTH, initial_indent=indent, subsequent_indent=indent) if text else ""
    )


def say_lines(text: str) -> None:
    """Lines as they are."""
    typer.echo(printable_lines(text.rstrip("\n")))


def heading(text: str) -> None:
    """A heading, underlined."""
    text = printable(text)
    typer.echo(f"\n{text}\n{'-' * len(text)}")


def ask(prompt: str) -> str:
    """A line as typed, without blanks round it. Raises Stopped at the end of input, at Ctrl-C and at "stop"."""
    try:
        line = input(printable_lines(prompt)).strip()
    except (EOFError, KeyboardInterrupt):
        typer.echo("")
        raise Stopped from None
    except UnicodeDecodeError:
        return "\ufffd"  # bytes that are no text: nonsense, which the question answers as such
    if line.lower() in ("stop", "quit", "exit"):
        raise Stopped
    return line
