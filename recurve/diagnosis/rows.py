"""Slips of the rows of a sweep: two neighbouring readings written in each other's place, or the readings of one direction a row
too far down or up, from some row on.

Such a slip scatters the readings as no unit does. It is told only where the readings, put right, scatter no more than stated.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from itertools import pairwise
from typing import ClassVar

import numpy as np

from recurve.arrays import Array
from recurve.fit.outline import Outline, scatter_about_outline
from recurve.inspection.findings import Cause, Finding, Words
from recurve.physics.sweep import Sweep
from recurve.units import RPM

SCATTERED = 1.5  # readings that scatter so many times more than stated are asked whether a slip explains it
LEAST_LEFT_OUT = 2  # readings, too, that were left out as wild
LEAST_MOVED = 3  # readings that a shift must move: fewer are an exchange, or wild
TRIED = 3  # slips of each kind, those first that leave the least scatter
ALIKE = 2  # shifts, too, of each direction that put right leave the two halves most alike


@dataclass(frozen=True, eq=False)
class Slip:
    """A slip and how it is undone: the readings `of` the sweep (m,) that stand at its places `at` (m,) if the slip is put right;
    the `first` and `last` place it touches; `shift` of the readings by rows, 0 for two that are exchanged."""

    at: np.ndarray
    of: np.ndarray
    first: int
    last: int
    shift: int

    def undone(self, sweep: Sweep) -> Sweep:
        """The sweep as it was read."""
        kept = np.zeros(len(sweep.speed), bool)
        kept[self.at] = True
        advance = sweep.advance.copy()
        advance[self.at] = sweep.advance[self.of]
        return replace(sweep, advance=advance).kept(kept)


@dataclass(frozen=True)
class RowSlip(Finding):
    """Readings of the `file` that stand in the wrong rows: from `first` to `last` [rad/s], of those with speed `rising` or
    falling; moved by `shift` rows, 0 where two are exchanged. As they stand they scatter `inflation` [1] times as much as
    stated. `either`: a slip of the other direction explains them as well."""

    file: str
    rising: bool
    first: float
    last: float
    rows: tuple[int, int]
    shift: int
    inflation: float
    either: bool
    units: ClassVar[dict[str, str]] = {"first": "rpm", "last": "rpm", "inflation": "1"}
    cause = Cause.SLIP

    def words(self) -> Words:
        """The finding in words."""
        way = "rising" if self.rising else "falling"
        speeds = f"{self.first * RPM:.0f} {{}} {self.last * RPM:.0f} rpm (distributor), {way}"
        if self.shift == 0:
            where = speeds.format("and")
            return Words(
                f"the readings at {self.first * RPM:.0f} and {self.last * RPM:.0f} rpm (distributor) look exchanged",
                f"those at {where}, rows {self.rows[0]} and {self.rows[1]} of {self.file}: in each other's place they lie on one "
                f"curve with all others. As they stand, {self._scatter}",
                "what looks like wear is then a slip of writing",
                "take the two readings again, and correct the file",
            )
        other = "falling" if self.rising else "rising"
        where, way_off = speeds.format("to"), "down" if self.shift > 0 else "up"
        return Words(
            f"the {way} readings from {self.first * RPM:.0f} rpm (distributor) on look shifted by one row"
            + (f", or the {other} ones" if self.either else ""),
            f"those at {where}, rows {self.rows[0]} to {self.rows[1]} of {self.file}, stand a row too far {way_off}: put right, "
            f"they lie on one curve with all others. As they stand, {self._scatter}",
            "what looks like wear or friction is then a slip of writing",
            "compare the file with what was noted at the bench, and take the readings from there on again, speed rising "
            "and falling",
        )

    @property
    def _scatter(self) -> str:
        if self.inflation <= 1.0:
            return "several had to be left out"
        return f"all scatter {self.inflation:.1f} times as much as their ± allows"


def row_slip(sweep: Sweep, outline: Outline, inflation: float, left_out: int) -> Finding | None:
    """The slip of rows that explains readings that scatter `inflation` [1] times as much as stated, or of which so many were
    `left_out`; None where there is none to be explained, or none explains it."""
    if sweep.groups is not None or (inflation < SCATTERED and left_out < LEAST_LEFT_OUT):
        return None
    found = []
    for slip in _likeliest(sweep, outline.shown(sweep)):
        scatter, rest = scatter_about_outline(slip.undone(sweep), outline.model.stop)
        if scatter == 1.0:
            found.append((rest, slip))
    if not found:
        return None
    # Two readings exchanged are less to get wrong than a half that is a row off.
    best = min(found, key=lambda x: (x[1].shift != 0, x[0]))[1]
    return RowSlip(
        "check first",
        sweep.file,
        bool(sweep.rising[best.first]),
        float(sweep.speed[best.first]),
        float(sweep.speed[best.last]),
        (int(sweep.row[best.first]), int(sweep.row[best.last])),
        best.shift,
        inflation,
        any(bool(sweep.rising[s.first] != sweep.rising[best.first]) for _, s in found),
    )


def _likeliest(sweep: Sweep, shown: Array) -> list[Slip]:
    """The slips that, undone, leave the least about the curves `shown` (states, n) [rad]: some exchanges, and some shifts of
    either direction. A curve that bends after shifted readings misleads, so that shifts are also judged by the other half."""
    slips = sorted(_slips(sweep), key=lambda s: _remaining(s, sweep, shown))
    found = [s for s in slips if s.shift == 0][:TRIED]
    for rising in (True, False):
        shifts = [s for s in slips if s.shift != 0 and sweep.rising[s.first] == rising]
        alike = sorted(shifts, key=lambda s: _between_halves(s.undone(sweep)))[:ALIKE]
        found += shifts[:TRIED] + [s for s in alike if s not in shifts[:TRIED]]
    return found


def _remaining(slip: Slip, sweep: Sweep, shown: Array) -> float:
    """Mean square [rad²] of the readings, the slip undone, about the nearest of the curves `shown` (states, n) [rad]."""
    off = sweep.advance[slip.of] - shown[:, slip.at]
    return float((off**2).mean(axis=1).min())


def _between_halves(sweep: Sweep) -> float:
    """Variance [rad²] of how far the rising and the falling half lie apart, where both were read; infinite where one was not."""
    up = np.asarray(sweep.rising, bool)
    halves = [(sweep.speed[half], sweep.advance[half]) for half in (up, ~up)]
    if min(len(speed) for speed, _ in halves) < LEAST_MOVED:
        return float(np.inf)
    (speed, advance), (others, theirs) = halves
    order = np.argsort(others)
    inside = (speed >= others.min()) & (speed <= others.max())
    if inside.sum() < LEAST_MOVED:
        return float(np.inf)
    return float(np.var(advance[inside] - np.interp(speed[inside], others[order], theirs[order])))


def _slips(sweep: Sweep) -> Iterator[Slip]:
    """All slips that are looked for, in either direction."""
    every = np.arange(len(sweep.speed))
    for rising in (True, False):
        places = np.flatnonzero(np.asarray(sweep.rising, bool) == rising)
        for one, two in pairwise(places):
            of = every.copy()
            of[[one, two]] = two, one
            yield Slip(every, of, int(one), int(two), 0)
        for k in range(len(places) - LEAST_MOVED):
            moved, first, last = places[k:], int(places[k]), int(places[-1])
            # What should stand in each place stands in the next one, and that of the last is lost; or in the one before.
            for shift, lost in ((1, last), (-1, first)):
                of = every.copy()
                of[moved] = np.roll(moved, -shift)
                at = every[every != lost]
                yield Slip(at, of[at], first, last, shift)
