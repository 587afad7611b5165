"""Files put out of order in every way that a person, an editor, a spreadsheet or a bad disk might, and a judge of what a
command does with them: exit status 0, 2 or 3, a message and no traceback, nothing but results written."""

from __future__ import annotations

import contextlib
import io
import json
import os
import random
import re
import sys
import time
from collections.abc import Callable
from pathlib import Path

from checkout import ROOT
from documents import held_to_schema
from jobs import JOB, SPRINGS, SWEEP

from recurve.cli.app import main

SLOWEST = 10.0  # seconds that a command may take, whatever it is given
MOST_MEMORY = 1 << 30  # bytes that the process may hold, whatever a command is given
Files = dict[str, bytes]

NASTY = (
    '""', '" "', "0", "-1", "1e999", "-0.0", "nan", "inf", "true", "[]", "{}", "[[]]", "2026-13-45", "1979-05-27", '"\\u0000"',
    '"1e308 mm"', '"1e-320 g"', '"0 deg"', '"-0 mm"', '"1e400 rpm"', '"nan mm"', '"inf N"', '"3 ± -1 mm"', '"5 ± 1e308 deg"',
    '"1,5 mm"', '"1.5mm"', '"1 mm ± 200 %"', '"١٢ mm"', '"１２ mm"', '"12 µm"', '"12 ㎜"', '"12 mm^9"', '"1 mm/mm*mm"',
    '"90000 rpm"', '"1 furlong"', '"1 kg*m/s^2"', '"1 degC"', '"7 dB"', '"1 mm**-9"', '"é deg"', '"\U0001f600"', '"\\u202e1 mm"',
    "'''\nmm'''", '"5 ± 0 mm"', '"5 ± 1e-12 deg"', '"± 0 deg"', '"-3 deg"', '"5.7 mm"', '"4.5 N*m"', '"#1"',
    "2026-05-04T10:00:00",
    '"as-found.csv"', '"."', '"/"', '"/dev/null"', '"/dev/zero"', '"/proc/self/mem"', '"~"', '"unit.toml"', '"springs.csv"',
    '"' + "../" * 40 + 'x"', '"' + "a" * 5000 + '"', "9" * 400, "0x" + "f" * 300, "[" * 60 + "]" * 60, "-9223372036854775809",
)  # fmt: skip
WORDS = (
    "NaN",
    "inf",
    "-1",
    "0",
    "1e308",
    "1e-308",
    "",
    " ",
    "up",
    "=1+1",
    '"',
    "1,5",
    "١",
    "\x00",
    "\ufeff",
    "é",
    "9" * 400,
    "-",
)
LINES = (
    "[target]",
    "[[springs]]",
    "[springs.third]",
    "]",
    "= 1",
    "a.b.c = 1",
    'kind = "table"',
    "\x00",
    "#",
    '"""',
    "é = 1",
)


def bases() -> list[Files]:
    """Sets of a job and its tables that read well: those of the tests and of the examples, with short catalogues."""
    found: list[Files] = [{"unit.toml": JOB.encode(), "as-found.csv": SWEEP.encode(), "springs.csv": SPRINGS.encode()}]
    shelf = b"".join((ROOT / "data" / "springs.csv").read_bytes().splitlines(keepends=True)[:20])
    for path in sorted((ROOT / "examples").glob("*.toml")):
        text = path.read_text(encoding="utf-8").replace("../data/springs.csv", "springs.csv")
        sweep = path.with_name(f"{path.stem}-as-found.csv")
        text = text.replace(sweep.name, "as-found.csv")
        found.append({"unit.toml": text.encode(), "as-found.csv": sweep.read_bytes(), "springs.csv": shelf})
    return found


# --- ways to go wrong --------------------------------------------------------------------------------------


def some_value(rng: random.Random, text: str) -> str:
    """Another value for a key, or inside an inline table."""
    values = list(re.finditer(r'"[^"\n]*"|(?<==)\s*[0-9.]+', text))
    if not values:
        return text
    at = rng.choice(values)
    return text[: at.start()] + rng.choice(NASTY) + text[at.end() :]


def some_number(rng: random.Random, text: str) -> str:
    """A number that is plausible in form and in nothing else."""
    numbers = list(re.finditer(r"\d+(?:\.\d+)?", text))
    if not numbers:
        return text
    at = rng.choice(numbers)
    value = float(at[0]) * rng.choice((0.0, 1e-9, 1e-3, 0.1, 0.5, 0.9, 1.1, 2.0, 10.0, 1e3, 1e9, 1e150, -1.0))
    return text[: at.start()] + f"{value:.10g}" + text[at.end() :]


def some_unit(rng: random.Random, text: str) -> str:
    units = list(re.finditer(r"\b(?:mm|deg|rpm|g|N/mm|mN\*m|N)\b", text))
    if not units:
        return text
    at = rng.choice(units)
    other = rng.choice(
        ("mm", "deg", "rpm", "g", "N/mm", "in", "thou", "lbf/in", "oz", "rad", "m", "%", "", "N", "kgf", "turn")
    )
    return text[: at.start()] + other + text[at.end() :]


def some_line(rng: random.Random, text: str) -> str:
    """A line lost, twice, elsewhere, or one that belongs nowhere."""
    lines = text.splitlines(keepends=True) or [""]
    a, b = rng.randrange(len(lines)), rng.randrange(len(lines))
    ways: tuple[Callable[[], object], ...] = (
        lambda: lines.pop(a),
        lambda: lines.insert(b, lines[a]),
        lambda: lines.insert(b, lines.pop(a)),
        lambda: lines.insert(b, rng.choice(LINES) + "\n"),
    )
    rng.choice(ways)()
    return "".join(lines)


def some_cell(rng: random.Random, text: str) -> str:
    """A cell of a table changed, lost or added."""
    lines = text.splitlines() or [""]
    at = rng.randrange(len(lines))
    cells = lines[at].split(",")
    cells[rng.randrange(len(cells))] = rng.choice(WORDS)
    lines[at] = ",".join(cells if rng.random() < 0.7 else cells[1:] if rng.random() < 0.5 else [*cells, "1"])
    return "\n".join(lines) + "\n"


def as_spreadsheet(rng: random.Random, text: str) -> str:
    """As a spreadsheet of another country writes it."""
    return text.replace(",", ";").replace(".", ",") if rng.random() < 0.5 else text.replace(",", rng.choice(";\t|"))


TEXT_WAYS = (some_value, some_value, some_number, some_number, some_unit, some_line, some_cell, as_spreadsheet)


def some_bytes(rng: random.Random, data: bytes) -> bytes:
    """Bytes flipped, lost, put in, or the end cut off."""
    made = bytearray(data)
    for _ in range(rng.choice((1, 1, 3, 30))):
        at = rng.randrange(len(made) + 1)
        way = rng.randrange(4)
        if way == 0 and at < len(made):
            made[at] ^= 1 << rng.randrange(8)
        elif way == 1:
            del made[at : at + rng.choice((1, 2, 50))]
        elif way == 2:
            made[at:at] = rng.choice(
                (b"\x00", b"\xff\xfe", b"\xef\xbb\xbf", b"\r", b"\n", b'"', b"\xc2", b"\xed\xa0\x80", b"\x1b[")
            )
        elif rng.random() < 0.2:
            del made[at:]
    return bytes(made)


def as_encoded(rng: random.Random, data: bytes) -> bytes:
    """The same text as another editor saves it."""
    text = data.decode("utf-8", "replace")
    ways: tuple[Callable[[], bytes], ...] = (
        lambda: b"\xef\xbb\xbf" + data,
        lambda: data.replace(b"\n", b"\r\n"),
        lambda: data.replace(b"\n", b"\r"),
        lambda: text.encode("utf-16"),
        lambda: text.encode("latin-1", "replace"),
        lambda: b"",
        lambda: data + data,
        lambda: data.rstrip(b"\n"),
    )
    return rng.choice(ways)()


def mutated(rng: random.Random, files: Files) -> Files:
    """One to four faults in one or more of the files; the job gets most of them."""
    made = dict(files)
    for _ in range(rng.choice((1, 1, 1, 2, 4))):
        name = rng.choice(("unit.toml", "unit.toml", "unit.toml", "as-found.csv", "springs.csv"))
        if rng.random() < 0.75:
            text = made[name].decode("utf-8", "surrogateescape")
            made[name] = rng.choice(TEXT_WAYS)(rng, text).encode("utf-8", "surrogateescape")
        else:
            made[name] = rng.choice((some_bytes, as_encoded))(rng, made[name])
    return made


# --- the judge ---------------------------------------------------------------------------------------------


def write(folder: Path, files: Files) -> Path:
    for name, content in files.items():
        (folder / name).write_bytes(content)
    return folder / "unit.toml"


def standing(folder: Path) -> dict[str, bytes]:
    """Every file in the folder itself; not what stands in the folder of results."""
    return {p.name: p.read_bytes() for p in folder.iterdir() if p.is_file() and os.access(p, os.R_OK)}


def outcome(arguments: list[str]) -> tuple[int, str, str]:
    """The command line run here: exit status, stdout, stderr. Whatever else it raises goes through."""
    out, err, kept = io.StringIO(), io.StringIO(), sys.argv
    sys.argv = ["recurve", *arguments]
    try:
        with contextlib.redirect_stdout(out), contextlib.redirect_stderr(err):
            main()
    except SystemExit as stopped:
        return int(stopped.code or 0), out.getvalue(), err.getvalue()
    finally:
        sys.argv = kept
    return 0, out.getvalue(), err.getvalue()


def memory() -> int:
    """The most memory [bytes] that this process has ever held; 0 on a system that does not tell."""
    try:
        import resource
    except ImportError:
        return 0
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss * (1 if sys.platform == "darwin" else 1024)


def judge(arguments: list[str], folder: Path) -> int:
    """Run a command on what stands in the folder and hold it to the rules; its exit status."""
    before, held, began = standing(folder), memory(), time.monotonic()
    code, out, err = outcome(arguments)
    took = time.monotonic() - began
    assert code in (0, 2, 3), (code, err)
    assert "Traceback" not in out + err
    assert took < SLOWEST or arguments[0] == "plan", f"{took:.1f} s"
    assert memory() <= max(held, MOST_MEMORY), f"{memory() / 1e6:.0f} MB"
    assert standing(folder) == before, "an input was touched, or something written beside it"
    for word in out, err:
        assert all(c.isprintable() or c == "\n" for c in word), "what steers a terminal went through"
    if code == 2:
        assert out == ""
        assert err.startswith("recurve: "), err
        assert not list(folder.glob("*-plan/*")), "something was written for bad input"
    elif "--json" in arguments:
        json.loads(out, parse_constant=refuse)
        held_to_schema(arguments, out)
    return code


def refuse(name: str) -> None:
    raise AssertionError(f"{name} is no JSON")
