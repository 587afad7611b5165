"""Reports on a terminal: the same text as in a pipe, with weight and colour where that helps the eye.

Nothing is told by colour alone. A pipe, a file, NO_COLOR, TERM=dumb and --no-color get the plain text, byte for byte.
"""

from __future__ import annotations

import os
import sys

from recurve.safetext import printable_lines

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
