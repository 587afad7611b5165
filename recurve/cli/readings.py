"""A sweep typed reading by reading at the terminal while the bench runs; `recurve.job.live` saves and compares each."""

from __future__ import annotations

from dataclasses import replace

from recurve.cli.dialogue import Back, ask, say
from recurve.job.live import Bench, SweepFile, as_typed, band_words, misfits, turned
from recurve.units import RPM


def take_readings(file: SweepFile, bench: Bench) -> None:
    """Ask for readings until there are no more. Raises Stopped; every reading so far is then on disk."""
    rising = file.readings[-1].rising if file.readings else True
    if file.readings:
        say(f"{len(file.readings)} readings are in {file.path}; going on, {_direction(rising)}.")
    say(
        f"Type speed and advance, then Enter: bare numbers are in {file.units[0]} and {file.units[1]}. Each reading "
        "is saved when > comes back."
    )
    say(
        "down: speed falling from here on; up: rising; undo or <: take the last reading off; end: done; stop: go "
        "on later."
    )
    while True:
        line = ask(f"{_direction(rising)} > ").lower()
        if line in ("end", ""):
            if line == "end" and _ended(file, bench):
                return
        elif line in ("down", "up"):
            rising = line == "up"
        elif line == "<" and not file.readings:
            raise Back
        elif line in ("undo", "<"):
            gone = file.undo()
            say("there is no reading to take off" if gone is None else f"taken off: {as_typed(gone, file)}", "  ")
        else:
            rising = _take(line, rising, file, bench)


def _direction(rising: bool) -> str:
    return "rising" if rising else "falling"


def _take(line: str, rising: bool, file: SweepFile, bench: Bench) -> bool:
    """Save one reading, and say what there is to say about it. Returns whether the speed is rising, which is asked where it
    turns round and nobody said so."""
    try:
        reading = file.parse(line, rising)
    except ValueError as fault:
        say(f"{line!r}: {fault}", "  ")
        return rising
    before = list(file.readings)
    if turned(before, reading, bench.basis):
        way = "falling" if rising else "rising"
        say(f"The speed is {way} now, but you have not typed {'down' if rising else 'up'}.", "  ")
        if ask(f"{way} from here on? yes or no > ").lower()[:1] != "n":
            rising = not rising
            reading = replace(reading, rising=rising)
    file.append(reading)
    say(
        f"{len(file.readings)}: {as_typed(reading, file)}   {band_words(bench.target, reading, bench.basis)}",
        "  ",
    )
    for words in misfits(before, reading, bench.basis, bench.stop):
        say(f"LOOK AGAIN: {words}. undo takes it off.", "  ")
    return rising


def _ended(file: SweepFile, bench: Bench) -> bool:
    """Whether the sweep is complete. What is missing is pointed out once."""
    up = [r for r in file.readings if r.rising]
    down = [r for r in file.readings if not r.rising]
    if not up or not down:
        missing = "rising" if not up else "falling"
        say(f"No {missing} readings yet: without both, friction and drag cannot be told apart.")
        if ask("End all the same? yes or no > ").lower()[:1] != "y":
            return False
    say(
        "Check zero once more, at the speed where you set it: what is the advance there? Enter if you have not checked."
    )
    text = ask("zero > ")
    try:
        zero = None if not text else file.parse(f"1 {text}" if len(text.split()) == 1 else text, True).advance
    except ValueError:
        zero = None
    if zero is not None and abs(zero - bench.basis.static) > bench.basis.reading:
        say(
            "LOOK AGAIN: zero has moved by more than the ± of a reading, so all readings are in doubt. Take them again."
        )
    speeds = [r.speed * RPM for r in file.readings]
    between = f"{min(speeds):.0f} to {max(speeds):.0f} rpm" if speeds else "none"
    say(f"{len(file.readings)} readings, {between}, in {file.path}.")
    return True
