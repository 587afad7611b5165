"""Tables and plots in plain text: one look for every report, at most 80 columns, only characters any terminal has.

A table aligns its numbers on their decimal points; its heads carry the units. A plot shows rising curves, readings and
the target's bands, for a terminal without graphics.
"""

from __future__ import annotations

import textwrap
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np

from recurve.arrays import Array
from recurve.job.model import BareJob, Job, JobHead
from recurve.text import printable

GAP = "  "
PLOT_COLUMNS, PLOT_ROWS = 66, 14
AXIS = 6  # columns of the scale at the left


@dataclass(frozen=True)
class Column:
    """A column of a table: its head, its unit ("" without one), and whether it holds numbers or words."""

    head: str
    unit: str = ""
    words: bool = False


def table(columns: Sequence[Column], rows: Sequence[Sequence[str]], indent: str = "  ") -> list[str]:
    """The rows below two lines of heads, units in brackets; the first column may be empty-headed."""
    cells = [_aligned([row[i] for row in rows], c.words) for i, c in enumerate(columns)]
    units = [f"[{c.unit}]" if c.unit else "" for c in columns]
    lines = [[c.head for c in columns], *([units] if any(units) else []), *map(list, zip(*cells, strict=True))]
    widths = [max(len(line[i]) for line in lines) for i in range(len(columns))]
    placed = [
        [t.ljust(w) if c.words else t.rjust(w) for t, w, c in zip(line, widths, columns, strict=True)] for line in lines
    ]
    return [indent + GAP.join(line).rstrip() for line in placed]


def _aligned(texts: Sequence[str], words: bool) -> list[str]:
    """Numbers padded on the right so that their decimal points line up; words unchanged."""
    if words:
        return list(texts)
    tails = [len(t) - t.index(".") if "." in t else 0 for t in texts]
    deepest = max(tails, default=0)
    return [t + " " * (deepest - tail) for t, tail in zip(texts, tails, strict=True)]


# --- the plot ----------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class Line:
    """A curve or readings to plot: its mark (one character), its name, speeds (n,) [rpm] and advances (n,) [deg]."""

    mark: str
    name: str
    speed: Array
    advance: Array


def plot(lines: Sequence[Line], bands: Sequence[tuple[float | None, float, float]], last: float) -> list[str]:
    """Curves over bands (speed [rpm] or None of the maximum, low, high [deg]) from 0 to `last` [rpm], of the distributor.

    Later lines lie over earlier ones; a band shows as colons.
    """
    top = max([h for _, _, h in bands] + [float(x.advance.max()) for x in lines if len(x.advance)], default=1.0)
    step = next((s for s in (1.0, 2.0, 5.0, 10.0) if top / s <= PLOT_ROWS / 2), 20.0)
    per_row = step / 2 if top > step * PLOT_ROWS / 4 else step / 4
    rows = int(np.ceil(top / per_row)) + 1
    grid = [[" "] * PLOT_COLUMNS for _ in range(rows)]
    for speed, low, high in bands:
        _band(grid, speed, (low / per_row, high / per_row), last)
    for line in lines:
        _dots(grid, line, per_row, last)
    drawn = []
    for row in reversed(range(rows)):
        steps = row * per_row / step
        tick = f"{row * per_row:.0f}" if abs(steps - round(steps)) < 1e-9 else ""
        drawn.append(f"{tick:>{AXIS - 2}} |{''.join(grid[row])}".rstrip())
    key = ", ".join([*(f"{x.mark} {x.name}" for x in lines), *([": target band"] if bands else [])])
    return [
        "Advance [distributor degrees], rising, over speed [distributor rpm]",
        *drawn,
        *_speed_axis(last),
        " " * AXIS + key,
    ]


def _column(speed: float, last: float) -> int:
    return int(np.clip(round(speed / last * (PLOT_COLUMNS - 1)), 0, PLOT_COLUMNS - 1))


def _band(grid: list[list[str]], speed: float | None, ends: tuple[float, float], last: float) -> None:
    """Colons from its low to its high edge [rows]: one column, or the last few of the maximum."""
    columns = range(PLOT_COLUMNS - 6, PLOT_COLUMNS) if speed is None else [_column(speed, last)]
    for row in range(int(np.ceil(ends[0] - 0.25)), int(np.floor(ends[1] + 0.25)) + 1):
        for column in columns:
            if 0 <= row < len(grid):
                grid[row][column] = ":"


def _dots(grid: list[list[str]], line: Line, per_row: float, last: float) -> None:
    for speed, advance in zip(line.speed, line.advance, strict=True):
        row = round(float(advance) / per_row)
        if 0 <= row < len(grid) and speed <= last:
            grid[row][_column(float(speed), last)] = line.mark


def _speed_axis(last: float) -> list[str]:
    """The line at the bottom with a tick and its number every whole step."""
    step = next((s for s in (100.0, 200.0, 250.0, 500.0, 1000.0) if last / s <= 8), 2000.0)
    rule, numbers = ["-"] * PLOT_COLUMNS, [" "] * (PLOT_COLUMNS + 6)
    for speed in np.arange(0.0, last + 1.0, step):
        at, text = _column(float(speed), last), f"{speed:.0f}"
        rule[at] = "+" if at else "-"
        start = max(at - len(text) // 2, 0)
        numbers[start : start + len(text)] = text
    return [" " * (AXIS - 1) + "+" + "".join(rule), (" " * AXIS + "".join(numbers)).rstrip()]


def plot_speeds(last: float) -> Array:
    """The speed of each column [rpm]."""
    speeds: Array = np.linspace(0.0, last, PLOT_COLUMNS)
    return speeds


WIDTH = 80


def page(lines: Iterable[str]) -> str:
    """Lines as one text, without trailing blanks."""
    return "\n".join(line.rstrip() for line in lines) + "\n"


def wrap(text: str, first: str = "", rest: str = "") -> list[str]:
    """A text in lines of at most WIDTH columns."""
    return textwrap.wrap(text, WIDTH, initial_indent=first, subsequent_indent=rest, break_on_hyphens=False)


def title_lines(job: Job | BareJob) -> list[str]:
    """The head of every report: title, unit, date, fingerprint; and what is to be checked first, since it is probably a slip."""
    about = ", ".join(x for x in (job.unit, job.date) if x)
    lines = wrap(printable(job.title))
    if about:
        lines += wrap(printable(about))
    return [
        *lines,
        *wrap(f"{printable(job.path.name)}, inputs {job.fingerprint}; all speeds and angles are the distributor's"),
        *doubt_lines(job),
    ]


def doubt_lines(job: JobHead) -> list[str]:
    """What the job states that is probably a slip, after an empty line; nothing without."""
    lines = [line for doubt in job.doubts for line in wrap(printable(doubt), "  - ", "    ")]
    return ["", "CHECK THESE FIGURES FIRST", *lines] if lines else []


def remarks(notes: Iterable[str], above: Sequence[str] = ()) -> list[str]:
    """The remarks at the end of a report, without those that stand `above` its verdict."""
    lines = [line for note in notes if note not in above for line in wrap(printable(note), "  - ", "    ")]
    return ["", "Remarks", *lines] if lines else []


def written(files: Sequence[str]) -> list[str]:
    """The files written, the last lines of a report."""
    return ["", "Written", *(f"  {name}" for name in files)] if files else []


def rounded(value: float | None, standard_uncertainty: float | None, most: int = 6) -> str:
    """ "0.84 ± 0.06": two standard uncertainties [any] to two digits, of at most so many decimals, and the value [any] to
    the same place; "-" where one is not known."""
    shown, off = rounded_pair(value, standard_uncertainty, most)
    return f"{shown} ± {off}" if off else shown


def rounded_pair(value: float | None, standard_uncertainty: float | None, most: int = 6) -> tuple[str, str]:
    """The two texts of `rounded`, the value and the ± [any]; the ± is empty where one is not known."""
    if value is None or standard_uncertainty is None:
        return "-", ""
    two = 2 * standard_uncertainty
    places = 2 if two <= 0 else int(np.clip(1 - np.floor(np.log10(two)), 0, most))
    return f"{value:.{places}f}", f"{two:.{places}f}"
