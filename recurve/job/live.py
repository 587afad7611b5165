"""A sweep taken reading by reading while the bench runs: each is saved at once and compared at once.

Readings are kept in the units and the basis of their file, and compared in rad and rad/s of the distributor.
"""

from __future__ import annotations

import os
from dataclasses import dataclass, replace
from itertools import pairwise
from pathlib import Path

import numpy as np

from recurve.errors import InputError, OutputError
from recurve.files import rewrite
from recurve.job.answers import cells_of
from recurve.job.build_inspection import build_target
from recurve.job.model import FileBasis
from recurve.job.parts import SweptPart, read_swept_part
from recurve.job.schema_unit import SweepReading
from recurve.job.sweeps import basis_of
from recurve.physics.target import Band, Target
from recurve.units import RPM, column_header, factor, parse

HEADER = "speed [rpm],advance [deg],direction"
COLUMNS = ("speed", "advance", "direction")
JUMP = 0.5  # as a fraction of the whole travel, between two speeds that differ by less than the fraction CLOSE
CLOSE = 0.25
BACK = 0.03  # of its speed: a reading so much the other way is no unsteady drive


CAUTION = (
    "CAUTION: unit clamped and guarded, nothing loose near it, eyes protected; stop it before you touch it; "
    "never faster than the work needs: weights fly."
)


@dataclass(frozen=True)
class Reading:
    """One reading: `speed` [rad/s] and `advance` [rad], both in the basis of the file."""

    speed: float
    advance: float
    rising: bool


class SweepFile:
    """A sweep file to which readings are appended; each is on disk when `append` returns."""

    def __init__(self, path: Path) -> None:
        """Open the file, or create it. Raises InputError if the file exists but is not a sweep."""
        self.path = path
        self.readings: list[Reading] = []
        if not path.exists():
            rewrite(path, f"{HEADER}\n".encode())
        self._read()

    def _read(self) -> None:
        """Read what is there. A last line left incomplete by a power failure is removed."""
        text = self.path.read_text(encoding="utf-8-sig")
        end = text[text.rfind("\n") + 1 :]
        complete = end.strip().lower().endswith(("rising", "falling", "direction"))  # only the line end is missing
        whole = text if not end else f"{text}\n" if complete else text[: -len(end)]
        lines = [x for x in whole.splitlines() if x.strip() and not x.lstrip().startswith("#")]
        names = [column_header(c) for c in (lines[0].split(",") if lines else [])]
        if tuple(n for n, _ in names) != COLUMNS:
            raise InputError(f"{self.path}: got another header, expected {HEADER}, to which readings can be added")
        self.units = (names[0][1], names[1][1])
        for number, line in enumerate(lines[1:], 2):
            cells = [c.strip() for c in line.split(",")]
            try:
                speed, advance = (float(c) * f for c, f in zip(cells, self._factors, strict=False))
                self.readings.append(Reading(speed, advance, {"rising": True, "falling": False}[cells[2].lower()]))
            except (ValueError, IndexError, KeyError):
                raise InputError(f"{self.path}: reading {number - 1}: got {line!r}, expected {HEADER}") from None
        if whole != text:
            rewrite(self.path, whole.encode("utf-8"))

    @property
    def _factors(self) -> tuple[float, float]:
        return factor(self.units[0], "speed"), factor(self.units[1], "angle")

    def parse(self, text: str, rising: bool) -> Reading:
        """A typed reading: speed and advance, in the units of the file or with units of their own. Raises ValueError."""
        cells = cells_of(text)
        if len(cells) != 2:
            raise ValueError("expected speed and advance, such as 550 4.8; or down, up, undo, end")
        values = []
        for cell, dimension, unit in zip(cells, ("speed", "angle"), self.units, strict=True):
            bare = all(c in "0123456789.+-eE" for c in cell)
            values.append(parse(f"{cell} {unit}" if bare else cell, dimension).value)
        if values[0] <= 0:
            raise ValueError("got a speed of 0 or less, expected more than 0")
        return Reading(values[0], values[1], rising)

    def append(self, reading: Reading) -> None:
        """Add a reading. It is on disk when this returns. Raises OutputError."""
        values = (x / f for x, f in zip((reading.speed, reading.advance), self._factors, strict=True))
        cells = [f"{v:.6g}" for v in values] + ["rising" if reading.rising else "falling"]
        try:
            handle = os.open(self.path, os.O_WRONLY | os.O_APPEND)
            try:
                _add(handle, (",".join(cells) + "\n").encode())
            finally:
                os.close(handle)
        except OSError as fault:
            raise OutputError(
                f"{self.path}: got a fault on writing ({fault.strerror}), expected room for a line; the reading was not "
                "written"
            ) from None
        self.readings.append(reading)

    def undo(self) -> Reading | None:
        """Remove the last reading and return it; None if there is none."""
        if not self.readings:
            return None
        lines = self.path.read_text(encoding="utf-8-sig").splitlines()
        last = max(i for i, x in enumerate(lines) if x.strip() and not x.lstrip().startswith("#"))
        del lines[last]
        rewrite(self.path, ("\n".join(lines) + "\n").encode("utf-8"))
        return self.readings.pop()


def _add(handle: int, line: bytes) -> None:
    """Append the line and flush it to disk. Raises OSError, with the file as it was."""
    before = os.fstat(handle).st_size
    try:
        while line:
            line = line[os.write(handle, line) :]
        os.fsync(handle)
    except OSError:
        os.ftruncate(handle, before)  # a full disk takes part of a line, and the next would be joined to it
        raise


# --- remarks on a reading -----------------------------------------------------------------------------------


def band_at(target: Target, speed: float, near: float) -> tuple[Band, bool] | None:
    """The band at a distributor speed [rad/s], and whether it is the book's own (that of a point within `near` [rad/s], or
    of idle) rather than interpolated between two points; None if the book says nothing about this speed."""
    points = sorted((b for b in target.bands if b.kind == "point" and b.speed is not None), key=lambda b: b.speed or 0)
    for band in points:
        if abs((band.speed or 0) - speed) <= near:
            return band, True
    idle = next((b for b in target.bands if b.kind == "idle"), None)
    if idle is not None and idle.speed is not None and speed <= idle.speed + near:
        return idle, True
    for low, high in pairwise(points):
        if low.speed is not None and high.speed is not None and low.speed < speed < high.speed:
            at = (speed - low.speed) / (high.speed - low.speed)
            ends = [a + at * (b - a) for a, b in ((low.low, high.low), (low.high, high.high))]
            return replace(low, speed=speed, low=ends[0], high=ends[1]), False
    top = target.maximum
    if top is not None and points and speed > (points[-1].speed or 0):
        return replace(top, low=points[-1].low, speed=speed), False
    return None


def band_words(target: Target | None, reading: Reading, basis: FileBasis) -> str:
    """A reading compared with its band, in the basis of the file."""
    speed, near = reading.speed / basis.speed_ratio, basis.speed_reading / basis.speed_ratio
    found = None if target is None else band_at(target, speed, near)
    if found is None:
        return "the book has no figure for this speed"
    band, own = found
    low, high, now = (
        float(np.degrees(x)) for x in (basis.advance(band.low), basis.advance(band.high), reading.advance)
    )
    verdict = "inside"
    if now > high:
        verdict = _beyond("ABOVE", "upper", now - high)
    elif now < low and not band.from_zero:
        verdict = _beyond("BELOW", "lower", low - now)
    which = "band" if own else "between points, about"
    return f"{which} {low:.1f} to {high:.1f} deg: {verdict}"


def _beyond(side: str, edge: str, by: float) -> str:
    """How far beyond an edge [deg]; what would be told as 0.0 is on the edge."""
    return f"{side} by {by:.1f} deg" if by >= 0.05 else f"on its {edge} edge"


def misfits(before: list[Reading], new: Reading, basis: FileBasis, stop: float | None) -> list[str]:
    """How a reading contradicts those already taken; `stop` [rad distributor] is the largest advance as found.

    Advance cannot fall as speed rises, returns at lower speeds than it went out, repeats, and ends at the stop; each
    within the half-widths of two readings.
    """
    slack, near = 2 * basis.reading, 2 * basis.speed_reading
    said = []
    if stop is not None and new.advance > basis.advance(stop) + slack:
        said.append(f"more than the stop's {np.degrees(basis.advance(stop)):.1f} deg")
    alike = [r for r in before if r.rising == new.rising]
    for r in alike:
        gap, more = new.speed - r.speed, new.advance - r.advance
        if abs(gap) <= near and abs(more) > slack + (0.5 * slack if gap else 0.0):
            said.append(f"{_named(r)} was read before: the reading does not repeat")
        elif (gap > near and more < -slack) or (gap < -near and more > slack):
            said.append(f"{_named(r)} was read {'below' if gap > 0 else 'above'}: advance cannot fall with speed")
    said += _between(before, new, slack) + _jump(alike, new, basis, stop)
    return said[:2]


def _between(before: list[Reading], new: Reading, slack: float) -> list[str]:
    """A falling reading below the rising ones, or a rising one above the falling ones."""
    other = sorted((r.speed, r.advance) for r in before if r.rising != new.rising)
    if len(other) < 2 or not other[0][0] <= new.speed <= other[-1][0]:
        return []
    there = float(np.interp(new.speed, *np.transpose(other)))
    wrong = new.advance > there + slack if new.rising else new.advance < there - slack
    if not wrong:
        return []
    name, where = ("falling", "above") if new.rising else ("rising", "below")
    return [f"{where} the {name} readings ({np.degrees(there):.1f} deg here): as speed falls, the advance lags behind"]


def _jump(alike: list[Reading], new: Reading, basis: FileBasis, stop: float | None) -> list[str]:
    """A large step from the reading nearest in speed."""
    near = [r for r in alike if 0 < abs(new.speed - r.speed) <= CLOSE * new.speed]
    if stop is None or not near:
        return []
    r = min(near, key=lambda r: abs(new.speed - r.speed))
    if abs(new.advance - r.advance) <= JUMP * stop * basis.advance_ratio:
        return []
    return [f"a jump from {_named(r)}: the weights snap out, or one reading is wrong; take a reading between the two"]


def _named(reading: Reading) -> str:
    return f"{np.degrees(reading.advance):.1f} deg at {reading.speed * RPM:.0f} rpm"


@dataclass(frozen=True)
class Bench:
    """What readings are compared with: the book's bands and the stop [rad], both of the distributor, and their basis."""

    target: Target | None
    stop: float | None
    basis: FileBasis


def read_bench(path: Path) -> tuple[Bench, str | None, str]:
    """What the readings for a job are compared with, the sweep file it names, None without one, and the job's text.

    Raises InputError.
    """
    part, text = read_swept_part(path)
    return bench_of(part), None if part.sweep is None else part.sweep.file, text


def bench_of(part: SweptPart) -> Bench:
    """The same for the part of a job; faults of its bands are reported where the whole job is read."""
    ratio = part.distributor.speed_ratio
    target = build_target(part.target, ratio, [])
    stop = None if part.stop is None else part.stop.advance.value
    return Bench(target, stop, basis_of(part.sweep or SweepReading(), ratio))


def turned(before: list[Reading], new: Reading, basis: FileBasis) -> bool:
    """Whether the speed goes the other way than the direction says: it went that way before, and now comes clearly back. The
    same speed read twice, as at the top, is no move."""
    alike = [r for r in before if r.rising == new.rising]
    if len(alike) < 2 or before[-1].rising != new.rising:
        return False
    sign = 1.0 if new.rising else -1.0
    end = max(range(len(alike)), key=lambda i: sign * alike[i].speed)
    apart = max(2 * basis.speed_reading, BACK * alike[end].speed)
    went = any(sign * (alike[end].speed - r.speed) > apart for r in alike[:end])
    return went and sign * (alike[end].speed - new.speed) > apart


def as_typed(reading: Reading, file: SweepFile) -> str:
    """A reading in the units of the file."""
    speed, advance = reading.speed / factor(file.units[0], "speed"), reading.advance / factor(file.units[1], "angle")
    return f"{speed:.5g} {file.units[0]}, {advance:.4g} {file.units[1]}"
