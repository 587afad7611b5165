"""Text from outside made safe for where it goes: a terminal, a JSON document, a spreadsheet, the name of a file.

Typst, HTML and SVG are given text as strings that are never read as markup (`sheet`, `htmlpage`, `style`); what is left
are the places that read plain characters as commands: a terminal's escape codes, controls that turn the direction of
writing about, and cells that a spreadsheet takes for a formula.
"""

from __future__ import annotations

import json
import os
from pathlib import Path

# A cell that begins so is computed by a spreadsheet, the full-width forms too.
FORMULA = ("=", "+", "-", "@", "\t", "\r", "\n", "＝", "＋", "－", "＠")


def printable(text: str) -> str:
    """One line with "?" for whatever does not print: escape codes, controls, line ends, half characters."""
    return text if text.isprintable() else "".join(c if c.isprintable() else "?" for c in text)


def printable_lines(text: str) -> str:
    """The same for many lines, whose ends stay."""
    return "\n".join(printable(line) for line in text.split("\n"))


def json_text(document: object) -> str:
    """A JSON document, indented; what does not print is written as its escape, so that reading it gives the same text.

    Raises ValueError on a number that is not finite.
    """
    text = json.dumps(document, indent=2, ensure_ascii=False, allow_nan=False)
    return "\n".join(
        line if line.isprintable() else "".join(c if c.isprintable() else json.dumps(c)[1:-1] for c in line)
        for line in text.split("\n")
    )


def csv_text(cell: str) -> str:
    """A text cell that no spreadsheet computes: one that begins like a formula gets an apostrophe before it, which is how
    a person types such text into a spreadsheet (common practice, no source)."""
    clean = printable(cell)
    return f"'{clean}" if cell.lstrip(" ").startswith(FORMULA) else clean


def beside(job: Path, file: str) -> Path:
    """The file that a job names, from the job's folder: the job is UTF-8, file names are too, whatever the locale is."""
    return job.parent / os.fsdecode(file.encode("utf-8"))


def path_text(path: Path) -> str:
    """A path as a job file has it: UTF-8 whatever the locale is, with forward slashes."""
    return os.fsencode(path.as_posix()).decode("utf-8", errors="replace")
