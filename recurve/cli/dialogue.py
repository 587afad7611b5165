"""A dialogue at the terminal: what is said, wrapped to the width of a report, and a line typed in return."""

from __future__ import annotations

import textwrap

import typer

from recurve.text import printable, printable_lines

WIDTH = 78


class Stopped(Exception):
    """The user stops here, to go on another time."""


class Back(Exception):
    """The user wants to go back to the previous question."""


def say(text: str = "", indent: str = "") -> None:
    """A paragraph, wrapped, each line after `indent`."""
    typer.echo(
        textwrap.fill(printable_lines(text), WIDTH, initial_indent=indent, subsequent_indent=indent) if text else ""
    )


def say_verbatim(text: str) -> None:
    """Lines that must not be wrapped."""
    typer.echo(printable_lines(text.rstrip("\n")))


def heading(text: str) -> None:
    """A heading, underlined."""
    text = printable(text)
    typer.echo(f"\n{text}\n{'-' * len(text)}")


def ask(prompt: str) -> str:
    """A line as typed, without surrounding blanks. Raises Stopped at the end of input, on Ctrl-C and on "stop"."""
    try:
        line = input(printable_lines(prompt)).strip()
    except (EOFError, KeyboardInterrupt):
        typer.echo("")
        raise Stopped from None
    except UnicodeDecodeError:
        return "\ufffd"  # bytes that are not text are answered like any other nonsense
    if line.lower() in ("stop", "quit", "exit"):
        raise Stopped
    return line
