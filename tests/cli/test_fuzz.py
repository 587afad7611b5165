"""Whatever the files hold: exit status 0, 2 or 3, a message, no traceback, inputs untouched, nothing half written.

`pytest -m study tests/cli/test_fuzz.py -n 2` is the long run, of at least 5000 cases; RECURVE_FUZZ_SEED begins elsewhere.
"""

from __future__ import annotations

import os
import random
import shutil
import tomllib
import warnings
from pathlib import Path
from typing import Any

import pytest
import tomli_w
from fuzz import Files, bases, judge, mutated, write
from hypothesis import given, settings
from hypothesis import strategies as st

SEED = int(os.environ.get("RECURVE_FUZZ_SEED", "20260504"))
BASES = bases()


def failing(seed: int, folder: Path, command: list[str]) -> tuple[int, str]:
    """The exit status of one case, and what broke a rule, "" if nothing did."""
    rng = random.Random(seed)
    files = mutated(rng, rng.choice(BASES))
    folder.mkdir()
    path = write(folder, files)
    try:
        return judge([command[0], str(path), *command[1:]], folder), ""
    except BaseException as fault:  # a case that breaks a rule must not hide those after it
        if isinstance(fault, KeyboardInterrupt):
            raise
        return 1, f"seed {seed}: {type(fault).__name__}: {fault}"
    finally:
        shutil.rmtree(folder)


def run_cases(first: int, many: int, tmp_path: Path, command: list[str]) -> dict[int, int]:
    """How often each exit status came; fails with every case that broke a rule."""
    found = [failing(seed, tmp_path / str(seed), command) for seed in range(first, first + many)]
    broken = [words for _, words in found if words]
    assert not broken, f"{len(broken)} of {many}\n" + "\n".join(broken[:20])
    return {code: sum(c == code for c, _ in found) for code in (0, 2, 3)}


@pytest.mark.parametrize("block", range(2))
def test_files_out_of_order(block: int, tmp_path: Path) -> None:
    told = run_cases(SEED + 110 * block, 110, tmp_path, ["curve", "--json"])
    assert told[2] > 20  # the faults are real ones
    assert told[0] > 5  # and not all so gross that nothing past the reader is tried


@pytest.mark.study
@pytest.mark.parametrize("block", range(20))
def test_many_files_out_of_order(block: int, tmp_path: Path) -> None:
    run_cases(SEED + 1000 + 250 * block, 250, tmp_path, ["curve", "--json"])


@pytest.mark.study
@pytest.mark.parametrize("command", ["check", "plan", "draw"])
def test_some_files_out_of_order_for_longer_work(command: str, tmp_path: Path) -> None:
    with warnings.catch_warnings():
        warnings.simplefilter("default")
        run_cases(SEED, 25, tmp_path, [command])


@pytest.mark.study
@pytest.mark.parametrize(
    "command", ["check --json", "timing", "timing --json", "wind", "wind --json", "plan --json", "curve"]
)
def test_every_command_on_files_out_of_order(command: str, tmp_path: Path) -> None:
    """As the suite runs it, with every warning an error."""
    run_cases(SEED + 50_000, 120, tmp_path, command.split())


# --- any value at any key ----------------------------------------------------------------------------------

QUANTITY = r"[-+]?[0-9]{1,3}(\.[0-9]{1,4})?(e[-+]?[0-9]{1,3})? ?(± ?[0-9.]{1,4} ?)?[a-zA-Z/*^%°µ]{0,6}"
NUMBERS = st.one_of(st.booleans(), st.integers(-(2**63), 2**63 - 1), st.floats())
TEXTS = st.one_of(st.text(max_size=12), st.from_regex(QUANTITY, fullmatch=True))
ANYTHING = st.recursive(
    st.one_of(NUMBERS, TEXTS, st.dates(), st.times()),
    lambda inner: st.one_of(st.lists(inner, max_size=3), st.dictionaries(st.text(max_size=6), inner, max_size=3)),
    max_leaves=4,
)


def places(document: Any, at: tuple[str | int, ...] = ()) -> list[tuple[str | int, ...]]:
    """All keys of a document, tables and rows among them."""
    inside = (
        document.items() if isinstance(document, dict) else enumerate(document) if isinstance(document, list) else ()
    )
    return [at] * bool(at) + [p for key, value in inside for p in places(value, (*at, key))]


@settings(max_examples=60)
@given(data=st.data())
def test_any_value_at_any_key(data: st.DataObject, tmp_path_factory: pytest.TempPathFactory) -> None:
    files: Files = dict(data.draw(st.sampled_from(BASES)))
    document = tomllib.loads(files["unit.toml"].decode())
    *way, last = data.draw(st.sampled_from(places(document)))
    inner: Any = document
    for part in way:
        inner = inner[part]
    inner[last] = data.draw(ANYTHING)
    folder = tmp_path_factory.mktemp("any")
    files["unit.toml"] = tomli_w.dumps(document).encode("utf-8", "replace")
    judge(["curve", str(write(folder, files)), "--json"], folder)
    shutil.rmtree(folder)


# --- things that are no files ------------------------------------------------------------------------------


@pytest.mark.parametrize("name", ["unit.toml", "as-found.csv", "springs.csv"])
@pytest.mark.parametrize(
    "what", ["nothing", "folder", "link to itself", "dangling link", "pipe", "sealed", "large", "long lines"]
)
def test_something_else_where_a_file_should_be(name: str, what: str, tmp_path: Path) -> None:
    path = write(tmp_path, BASES[0])
    odd = tmp_path / name
    if what == "sealed":
        odd.chmod(0)
        if os.access(odd, os.R_OK):
            pytest.skip("whoever runs this reads everything")
    else:
        odd.unlink()
        make_odd(odd, what)
    assert judge(["curve", str(path)], tmp_path) == 2


def make_odd(odd: Path, what: str) -> None:
    if what == "folder":
        odd.mkdir()
    elif what == "link to itself":
        odd.symlink_to(odd.name)
    elif what == "dangling link":
        odd.symlink_to("nowhere")
    elif what == "pipe":
        os.mkfifo(odd)
    elif what == "large":
        with odd.open("wb") as out:
            out.truncate(30_000_000)
    elif what == "long lines":
        odd.write_text('"' + "x" * 200_000 + "\n", encoding="utf-8")
