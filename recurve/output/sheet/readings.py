"""The readings of a sweep as the record lists them: as they were read, beside the distributor's where they were read at the
crank; how they were taken; and what became of each."""

from __future__ import annotations

import math

import numpy as np

from recurve.arrays import Array
from recurve.diagnosis.verify import ReadAgain, Verification
from recurve.fit.fit import Fit
from recurve.output.documents.base import deg
from recurve.output.figures.curves import UNSEEN, hidden_advance
from recurve.output.sheet.numbers import signless
from recurve.output.sheet.parts import Facts
from recurve.physics.sweep import Sweep
from recurve.units import RPM


def each_reading(result: Verification, sweep: Sweep) -> Facts:
    """A table of each reading in its order: row of the file, direction, the figures as read where they are the crank's, speed
    [rpm], advance and fitted curve [deg], all three of the distributor, and what became of it."""
    again = {x.row for x in result.unsettled if isinstance(x, ReadAgain)}
    crank = sweep.as_read.at_crank
    rows = []
    for i, row in enumerate(int(r) for r in sweep.row):
        left_out, bars = row in result.fit.outliers, row in again
        fate = "left out, read again" if left_out else "used, read again" if bars else "used"
        way = "rising" if sweep.rising[i] else "falling"
        figures = [_speed(sweep.speed[i]), _angle(sweep.advance[i]), _angle(result.fit.expected[i])]
        rows.append([str(row), way, *(_as_read(sweep, i) if crank else []), *figures, fate])
    read = sweep.as_read
    heads = [("row", ""), ("way", "")]
    heads += [("speed", f"{_short(read.speed)} rpm"), ("read", f"{_short(read.advance)} °")] if crank else []
    heads += [
        ("speed", "dist. rpm"),
        ("advance" if crank else "read", "dist. °"),
        ("curve", "dist. °"),
        ("used?", ""),
    ]
    return {"heads": [{"name": n, "unit": u} for n, u in heads], "rows": rows}


def by_speed(sweep: Sweep) -> Facts:
    """A table of the readings in the order of speed: speed [rpm], advance rising and falling [deg], as read; where that was at
    the crank, then the same three of the distributor."""
    read, rising = sweep.as_read, np.asarray(sweep.rising, bool)
    speeds = np.round(sweep.speed * RPM, 3)
    told = [(read.speed, read.advance, read.speeds(sweep.speed), read.advances(sweep.advance))] if read.at_crank else []
    told.append(("distributor", "distributor", sweep.speed, sweep.advance))
    heads, rows = [], [list[str]() for _ in np.unique(speeds)]
    for of_speed, of_advance, own_speed, own_advance in told:
        heads += [("speed", f"{_short(of_speed)} rpm")]
        heads += [(way, f"{_short(of_advance)} °") for way in ("rising", "falling")]
        for row, speed in zip(rows, np.unique(speeds), strict=True):
            here = np.abs(speeds - speed) < 0.01
            row.append(_speed(own_speed[here][0]))
            row += [", ".join(_angle(a) for a in own_advance[here & way]) for way in (rising, ~rising)]
    return {"heads": [{"name": n, "unit": u} for n, u in heads], "rows": rows}


def zero_words(sweep: Sweep, fit: Fit | None) -> str:
    """Where zero was taken, and how far the readings fall short of the fitted curve for that."""
    hidden = math.degrees(hidden_advance(fit))
    short = f"{signless(hidden, 1)}° (distributor)"
    seen = abs(hidden) >= math.degrees(UNSEEN)
    if sweep.zeroed_at is not None:
        words = f"zero taken at {sweep.zeroed_at * RPM:.0f} rpm (distributor)"
        return f"{words}; {short} was already in there, so the true curve lies that much higher" if seen else words
    if sweep.as_read.static:
        words = f"static timing, {math.degrees(sweep.as_read.static):.1f}° (crank), taken off"
    elif not sweep.static_known:
        return f"static timing not given: the true curve lies {short} higher" if seen else "static timing not given"
    else:
        words = "zero taken with the weights held home"
    return f"{words}; the true curve lies {short} higher" if seen else words


def method(sweep: Sweep) -> str:
    """How it was run and read, as far as the job tells."""
    both = "up and down" if sweep.rising.any() and not sweep.rising.all() else "up" if sweep.rising.all() else "down"
    read = sweep.as_read
    if not read.at_crank:
        return f"The unit was run {both}, and its advance read at each speed, in distributor degrees and rpm."
    inside = f" with the static timing of {math.degrees(read.static):.1f}° (crank) in them" if read.static else ""
    turned = [word for word, of in (("speeds", read.speed), ("advances", read.advance)) if of == "crank"]
    less = "less the static timing, and " if read.static else ""
    return (
        f"The unit was run {both} and read in {read.speed} rpm and {read.advance} degrees{inside}. "
        f"The {' and '.join(turned)}, {less}divided by {read.turns:g}, give the distributor's figures; the list of "
        "readings shows both."
    )


def conditions(sweep: Sweep, trigger: str) -> list[str]:
    """What only the workshop knows of a sweep: the names of the lines to fill in. A sweep that was read at the crank saw no
    distributor bench that one knows of."""
    with_what = ["timing light or bench", "last checked"] if sweep.as_read.at_crank else ["bench", "bench last checked"]
    gap = "gap, dwell as set" if trigger == "points" else "trigger gap as set"
    return ["date of the sweep", "temperature", *with_what, "against what", gap]


def _as_read(sweep: Sweep, i: int) -> list[str]:
    """Speed and advance of a reading as they stand in the file."""
    read = sweep.as_read
    one = slice(i, i + 1)
    return [_speed(read.speeds(sweep.speed[one])[0]), _angle(read.advances(sweep.advance[one])[0])]


def _short(of: str) -> str:
    return "crank" if of == "crank" else "dist."


def _speed(speed: Array | float) -> str:
    return f"{float(speed) * RPM:.0f}"


def _angle(advance: Array | float) -> str:
    return signless(deg(float(advance)), 2)
