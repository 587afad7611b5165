"""Asking at the terminal: words wrapped to 80 columns, a line typed in return, and the words that steer."""

from __future__ import annotations

import textwrap

import typer

from recurve.safetext import printable, printable_lines

WIDTH = 78


class Stopped(Exception):
    """The person wants to go on another time."""


def say(text: str = "", indent: str = "") -> None:
    """A paragraph, wrapped; what is indented stays so."""
    typer.echo(
        textwrap.fill(printable_lines(text), WIDTH, initial_indent=indent, subsequent_indent=indent) if text else ""
    )


def show(text: str) -> None:
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
