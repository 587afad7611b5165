"""Makes text from outside safe for its destination: a terminal, a JSON document, a spreadsheet, a file name.

Typst, HTML and SVG receive text as strings that are never parsed as markup. That leaves the places where plain
characters act as commands: escape codes on a terminal, control characters that reverse the writing direction, and cells
that a spreadsheet takes for formulas.
"""

from __future__ import annotations

import json
import os
from pathlib import Path

# A spreadsheet evaluates a cell that begins with one of these, full-width forms included.
FORMULA = ("=", "+", "-", "@", "\t", "\r", "\n", "＝", "＋", "－", "＠")


def printable(text: str) -> str:
    """The text as one line, with "?" for each character that does not print: escape codes, control characters, line ends,
    lone surrogates."""
    return text if text.isprintable() else "".join(c if c.isprintable() else "?" for c in text)


def printable_lines(text: str) -> str:
    """The same line by line; the line ends stay."""
    return "\n".join(printable(line) for line in text.split("\n"))


def plain(text: str) -> str:
    """Text from a job as one line, with a blank for each run of characters that do not print."""
    return " ".join("".join(c if c.isprintable() else " " for c in text).split())


def shortened(text: str, most: int) -> str:
    """The text as one line, cut to at most `most` characters with an ellipsis."""
    clean = plain(text)
    return clean if len(clean) <= most else clean[: most - 1].rstrip() + "…"


def breakable(text: str, longest: int = 28) -> str:
    """The text as one line in which words longer than `longest` characters can break, so that it stays on the page."""
    words = plain(text).split(" ")
    return " ".join("\u200b".join(w[i : i + longest] for i in range(0, len(w), longest)) for w in words)


def json_text(document: object) -> str:
    """An indented JSON document. Characters that do not print are escaped, so that parsing gives back the same text.

    Raises ValueError for a number that is not finite.
    """
    text = json.dumps(document, indent=2, ensure_ascii=False, allow_nan=False)
    return "\n".join(
        line if line.isprintable() else "".join(c if c.isprintable() else json.dumps(c)[1:-1] for c in line)
        for line in text.split("\n")
    )


def csv_text(cell: str) -> str:
    """A text cell that no spreadsheet evaluates: one that begins like a formula gets a leading apostrophe, the way a
    person would type it (common practice, no source)."""
    clean = printable(cell)
    return f"'{clean}" if cell.lstrip(" ").startswith(FORMULA) else clean


def beside(job: Path, file: str) -> Path:
    """The path of a file named in a job, relative to the job's folder. Job files and file names are UTF-8 in any locale."""
    return job.parent / os.fsdecode(file.encode("utf-8"))


def path_text(path: Path) -> str:
    """A path as it is written in a job file: UTF-8 in any locale, with forward slashes."""
    return os.fsencode(path.as_posix()).decode("utf-8", errors="replace")
