"""A command line run within the test's own process, as a person would type it."""

from __future__ import annotations

import io
import sys
from contextlib import chdir, redirect_stderr, redirect_stdout
from pathlib import Path
from typing import Any
from unittest.mock import patch

from documents import held_to_schema

from recurve.cli.app import main


def run(arguments: list[str], folder: Path | None = None) -> tuple[int, str, str]:
    """Exit status, standard output and standard error of a command, neither of them a terminal; run in `folder`. JSON is held
    to its schema."""
    out, err = io.StringIO(), io.StringIO()
    with (
        redirect_stdout(out),
        redirect_stderr(err),
        chdir(folder or "."),
        patch.object(sys, "argv", ["recurve", *arguments]),
    ):
        code = _exit_code()
    held_to_schema(arguments, out.getvalue())
    return code, out.getvalue(), err.getvalue()


def _exit_code() -> int:
    try:
        main()
    except SystemExit as stopped:
        return 0 if stopped.code is None else int(stopped.code)
    raise AssertionError("a command ends with its exit status")


def no_nan(value: Any) -> None:
    """Every number of a document is finite."""
    if isinstance(value, dict):
        value = list(value.values())
    if isinstance(value, list):
        for inner in value:
            no_nan(inner)
    if isinstance(value, float):
        assert value == value and abs(value) < 1e9
