"""Readings typed one by one while the bench runs: each on the disk at once, judged at once."""

from __future__ import annotations

import tomllib
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from pydantic import ConfigDict, ValidationError

from recurve import jobmodel as m
from recurve import jobunit as u
from recurve.dialogue import ask, say
from recurve.errors import InputError
from recurve.faults import fault_lines
from recurve.jobbuild import Build
from recurve.readings import RPM, Basis, Reading, SweepFile, band_words, misfits
from recurve.tables import read_text
from recurve.target import Target

CAUTION = (
    "CAUTION: unit clamped and guarded, nothing loose near it, eyes protected; stop it before you touch it; "
    "never faster than the work needs: weights fly."
)


class SweptPart(u.Table):
    """What taking readings needs of a job file; its tables need not be there yet."""

    model_config = ConfigDict(extra="ignore", frozen=True, arbitrary_types_allowed=True)
    title: str = ""
    distributor: u.Distributor
    stop: u.Stop | None = None
    target: m.Target | None = None
    sweep: m.SweepTable | None = None


@dataclass(frozen=True)
class Bench:
    """What readings are judged by: the book's bands and the stop [rad] in distributor terms, and the readings' basis."""

    target: Target | None
    stop: float | None
    basis: Basis


def read_bench(path: Path) -> tuple[Bench, str | None, str]:
    """The bench of a job, the sweep's file that it names, None if it names none, and its text. Raises InputError."""
    faults: list[str] = []
    text = read_text(path, str(path), faults)
    if text is None:
        raise InputError(faults)
    try:
        document = tomllib.loads(text)
    except tomllib.TOMLDecodeError as fault:
        raise InputError(f"{path}: not TOML: {fault}; expected a job file in TOML") from None
    bench, part = bench_of(document, text, str(path))
    return bench, None if part.sweep is None else part.sweep.file, text


def bench_of(document: dict[str, Any], text: str, shown: str) -> tuple[Bench, SweptPart]:
    """The same of a document."""
    try:
        part = SweptPart.model_validate(document)
    except ValidationError as error:
        raise InputError(fault_lines(error, text, shown, SweptPart)) from None
    build = Build(m.JobModel.model_construct(distributor=part.distributor, target=part.target))
    target = build.target()
    given, ratio, plain = part.sweep or u.SweepReading(), part.distributor.speed_ratio, Basis()
    basis = Basis(
        ratio if (given.speed_basis or given.basis) == "crank" else 1.0,
        ratio if (given.advance_basis or given.basis) == "crank" else 1.0,
        0.0 if given.static is None else given.static.value,
        plain.reading if given.reading is None else given.reading,
        plain.speed_reading if given.speed_reading is None else given.speed_reading,
    )
    return Bench(target, None if part.stop is None else part.stop.advance.value, basis), part


def take_readings(file: SweepFile, bench: Bench) -> None:
    """Ask for readings until the person is through. Raises Stopped, when every reading so far is on the disk."""
    rising = file.readings[-1].rising if file.readings else True
    if file.readings:
        say(f"{len(file.readings)} readings are in {file.path}; going on, {_direction(rising)}.")
    say(
        f"Speed and advance, Enter: bare in {file.units[0]} and {file.units[1]}. Each is on the disk when > comes back."
    )
    say("down: from now on falling; up: rising; undo: the last one off again; end: through; stop: later more.")
    while True:
        line = ask(f"{_direction(rising)} > ").lower()
        if line in ("end", ""):
            if line == "end" and _ended(file, bench):
                return
        elif line in ("down", "up"):
            rising = line == "up"
        elif line == "undo":
            gone = file.undo()
            say("nothing to take off" if gone is None else f"taken off: {_words(gone, file)}", "  ")
        else:
            _take(line, rising, file, bench)


def _direction(rising: bool) -> str:
    return "rising" if rising else "falling"


def _words(reading: Reading, file: SweepFile) -> str:
    from recurve.units import factor

    speed, advance = reading.speed / factor(file.units[0], "speed"), reading.advance / factor(file.units[1], "angle")
    return f"{speed:.5g} {file.units[0]}, {advance:.4g} {file.units[1]}"


def _take(line: str, rising: bool, file: SweepFile, bench: Bench) -> None:
    """One reading onto the disk, and what is to be said of it."""
    try:
        reading = file.parse(line, rising)
    except ValueError as fault:
        say(f"{line!r}: {fault}", "  ")
        return
    before = list(file.readings)
    file.append(reading)
    say(f"{len(file.readings)}: {_words(reading, file)}   {band_words(bench.target, reading, bench.basis)}", "  ")
    for words in misfits(before, reading, bench.basis, bench.stop):
        say(f"LOOK AGAIN: {words}. undo takes it off.", "  ")


def _ended(file: SweepFile, bench: Bench) -> bool:
    """Whether the person is through; what is still missing is told once."""
    up = [r for r in file.readings if r.rising]
    down = [r for r in file.readings if not r.rising]
    if not up or not down:
        missing = "rising" if not up else "falling"
        say(f"No {missing} readings yet: without both, friction and drag cannot be told apart.")
        if ask("End all the same? yes or no > ").lower()[:1] != "y":
            return False
    say("Look at zero once more, at the speed where you set it: the advance there? Enter if you have not looked.")
    text = ask("zero > ")
    try:
        zero = None if not text else file.parse(f"1 {text}" if len(text.split()) == 1 else text, True).advance
    except ValueError:
        zero = None
    if zero is not None and abs(zero - bench.basis.static) > bench.basis.reading:
        say(
            "LOOK AGAIN: zero has moved by more than a reading may be off, so all readings are in doubt. Take them anew."
        )
    say(f"{len(file.readings)} readings, {_range(file)}, in {file.path}.")
    return True


def _range(file: SweepFile) -> str:
    speeds = [r.speed / RPM for r in file.readings]
    return f"{min(speeds):.0f} to {max(speeds):.0f} rpm" if speeds else "none"
