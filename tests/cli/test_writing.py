"""A fault while writing leaves the old results whole or the new ones: a full disk, a failing rename, a folder that goes,
two runs at once, a process killed at any moment."""

from __future__ import annotations

import errno
import os
import shutil
import signal
import subprocess
import sys
import threading
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from jobs import SWEEP, write_job

from recurve.errors import InputError, OutputError
from recurve.files import rewrite, write_folder
from recurve.job.live import HEADER, Reading, SweepFile

OLD = {"a.svg": b"old a", "b.pdf": b"old b" * 1000, "c.csv": b"old c", "d.toml": b"old d"}
NEW: dict[str, bytes] = {"a.svg": b"new a", "b.pdf": b"new b" * 2000, "c.csv": b"new c"}  # and d.toml is stale
CALLS = (
    "os.replace",
    "os.fsync",
    "os.chmod",
    "os.link",
    "os.fdopen",
    "tempfile.mkstemp",
    "pathlib.Path.unlink",
    "os.open",
)


def held(folder: Path) -> dict[str, bytes]:
    """Every file in the folder, hidden ones too."""
    return {p.name: p.read_bytes() for p in folder.iterdir()}


def stocked(folder: Path) -> Path:
    folder.mkdir()
    for name, content in OLD.items():
        (folder / name).write_bytes(content)
    return folder


def failing(real: Callable[..., Any], at: int, code: int) -> Callable[..., Any]:
    """The call, which fails at its `at`-th time and works before and after."""
    count = iter(range(10_000))

    def call(*given: Any, **named: Any) -> Any:
        if next(count) == at:
            raise OSError(code, os.strerror(code), "here")
        return real(*given, **named)

    return call


@pytest.mark.parametrize("code", [errno.ENOSPC, errno.EIO, errno.EROFS])
@pytest.mark.parametrize("at", range(6))
@pytest.mark.parametrize("name", CALLS)
def test_any_call_may_fail(name: str, at: int, code: int, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    folder = stocked(tmp_path / "results")
    owner, _, call = name.rpartition(".")
    target: Any = {"os": os, "tempfile": __import__("tempfile"), "pathlib.Path": Path}[owner]
    with monkeypatch.context() as patched:
        patched.setattr(target, call, failing(getattr(target, call), at, code))
        try:
            write_folder(folder, NEW, stale=("d.toml",))
            told = False
        except OutputError as fault:
            assert os.strerror(code) in str(fault)
            told = True
    now = {k: v for k, v in held(folder).items() if not k.startswith(".recurve-")}
    assert now in (OLD, NEW)
    assert told or now == NEW  # silence means that all is written
    write_folder(folder, NEW, stale=("d.toml",))
    assert held(folder) == NEW  # and the next run leaves nothing lying


def test_a_disk_fills_while_writing(tmp_path: Path) -> None:
    """A file-size limit of the process stands for the full disk: write() itself fails, in the middle of a file."""
    folder = stocked(tmp_path / "results")
    code = (
        "import resource, signal, sys\n"
        "from pathlib import Path\n"
        "from recurve.errors import OutputError\n"
        "from recurve.files import write_folder\n"
        "signal.signal(signal.SIGXFSZ, signal.SIG_IGN)\n"
        "resource.setrlimit(resource.RLIMIT_FSIZE, (5000, 5000))\n"
        "try:\n"
        "    write_folder(Path(sys.argv[1]), {'a.svg': b'new', 'b.pdf': b'n' * 9000})\n"
        "except OutputError as fault:\n"
        "    print(fault)\n"
    )
    done = subprocess.run(
        [sys.executable, "-c", code, str(folder)], capture_output=True, text=True, errors="replace", check=True
    )
    assert os.strerror(errno.EFBIG) in done.stdout
    assert held(folder) == OLD


def test_a_folder_that_vanishes(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    folder = stocked(tmp_path / "results")
    real = os.replace

    def gone(*given: Any) -> None:
        shutil.rmtree(folder, ignore_errors=True)
        real(*given)

    monkeypatch.setattr(os, "replace", gone)
    with pytest.raises(OutputError, match="expected a folder that can be written"):
        write_folder(folder, NEW)
    assert not folder.exists()


def test_something_in_the_way_of_the_last_file(tmp_path: Path) -> None:
    folder = stocked(tmp_path / "results")
    (folder / "c.csv").unlink()
    (folder / "c.csv").mkdir()
    with pytest.raises(OutputError):
        write_folder(folder, NEW)
    assert (folder / "a.svg").read_bytes() == OLD["a.svg"]
    assert sorted(p.name for p in folder.iterdir()) == sorted(OLD)


def test_two_runs_at_once_do_not_mix(tmp_path: Path) -> None:
    """Sets written by many threads: afterwards all files are of one of them."""
    folder = tmp_path / "results"
    folder.mkdir()
    sets = [{name: f"{i} {name}".encode() * 500 for name in NEW} for i in range(8)]
    threads = [threading.Thread(target=write_folder, args=(folder, one)) for one in sets for _ in range(3)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert held(folder) in sets


def test_two_additions_at_once_are_both_kept(tmp_path: Path) -> None:
    """What is read, added to and written back loses nothing that another run added meanwhile."""
    path = tmp_path / "kept.txt"
    path.write_bytes(b"")

    def add(line: int) -> None:
        rewrite(path, lambda: path.read_bytes() + f"{line}\n".encode())

    threads = [threading.Thread(target=add, args=(i,)) for i in range(20)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert sorted(map(int, path.read_text().split())) == list(range(20))


def test_a_link_stays_a_link_and_rights_stay(tmp_path: Path) -> None:
    real = tmp_path / "shelf.csv"
    real.write_bytes(b"old")
    real.chmod(0o600)
    link = tmp_path / "link.csv"
    link.symlink_to(real.name)
    rewrite(link, b"new")
    assert link.is_symlink()
    assert real.read_bytes() == b"new"
    assert real.stat().st_mode & 0o777 == 0o600


def test_a_name_as_long_as_the_system_allows(tmp_path: Path) -> None:
    name = "n" * 255
    write_folder(tmp_path, {name: b"x"})
    assert held(tmp_path) == {name: b"x"}


# --- readings ----------------------------------------------------------------------------------------------


@pytest.mark.parametrize("kept", [0, 1, 7])
def test_a_reading_cut_short_is_not_joined_to_the_next(
    kept: int, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A full disk takes a part of a line; the file is as it was, and the next reading stands on its own."""
    path = tmp_path / "sweep.csv"
    path.write_text(SWEEP, encoding="utf-8")
    file, real, calls = SweepFile(path), os.write, iter(range(9))

    def short(handle: int, data: bytes) -> int:
        if next(calls) == 0 and kept:
            return real(handle, data[:kept])
        raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))

    with monkeypatch.context() as patched:
        patched.setattr(os, "write", short)
        with pytest.raises(OutputError, match="the reading was not written"):
            file.append(Reading(50.0, 0.1, rising=True))
    assert path.read_text(encoding="utf-8") == SWEEP
    file.append(Reading(60.0, 0.1, rising=True))
    assert len(SweepFile(path).readings) == len(file.readings) == 8


@pytest.mark.parametrize(("last", "many"), [("700,9,rising", 8), ("700,9,fall", 7), ("700,", 7), ("700,9,falling ", 8)])
def test_a_last_line_without_its_end(last: str, many: int, tmp_path: Path) -> None:
    """A whole reading that an editor left without a line end is kept; one cut short is not a reading."""
    path = tmp_path / "sweep.csv"
    path.write_text(SWEEP + last, encoding="utf-8")
    assert len(SweepFile(path).readings) == many
    assert path.read_text(encoding="utf-8").endswith("\n")


def test_a_header_without_its_line_end(tmp_path: Path) -> None:
    path = tmp_path / "sweep.csv"
    path.write_text(HEADER, encoding="utf-8")
    assert SweepFile(path).readings == []
    path.write_text(HEADER[:20], encoding="utf-8")
    with pytest.raises(InputError):
        SweepFile(path)
    assert path.read_text(encoding="utf-8") == HEADER[:20]


# --- killed ------------------------------------------------------------------------------------------------

WRITER = """
import sys
from pathlib import Path
from recurve.files import write_folder
folder, i = Path(sys.argv[1]), 0
while True:
    i += 1
    write_folder(folder, {name: f"{i} {name}\\n".encode() * 3000 for name in ("a.svg", "b.pdf", "c.csv")})
    print(i, flush=True)
"""


@pytest.mark.study
def test_killed_at_any_moment(tmp_path: Path) -> None:
    """kill -9 some tens of times, each a little later: every file is whole, no older than the last set told as written,
    and the next run sweeps away what was left."""
    folder = tmp_path / "results"
    folder.mkdir()
    for turn in range(40):
        with subprocess.Popen([sys.executable, "-c", WRITER, str(folder)], stdout=subprocess.PIPE, text=True) as run:
            assert run.stdout is not None
            run.stdout.readline()
            time.sleep(0.003 * turn)
            run.send_signal(signal.SIGKILL)
            told = [1, *(int(line) for line in run.stdout.read().split())]
        for name in ("a.svg", "b.pdf", "c.csv"):
            lines = (folder / name).read_text(encoding="utf-8").splitlines()
            assert len(lines) == 3000
            assert set(lines) == {lines[0]}
            assert told[-1] <= int(lines[0].split()[0]) <= told[-1] + 1
    write_folder(folder, {"a.svg": b"last"})
    assert sorted(p.name for p in folder.iterdir()) == ["a.svg", "b.pdf", "c.csv"]


@pytest.mark.study
@pytest.mark.parametrize("at", [0.6, 1.0, 1.4, 1.8, 2.2, 2.6])
def test_drawing_killed(at: float, tmp_path: Path) -> None:
    """A whole command killed: its inputs as they were, its results whole or not there."""
    path = write_job(tmp_path)
    before = {p.name: p.read_bytes() for p in tmp_path.iterdir()}
    with subprocess.Popen([sys.executable, "-m", "recurve", "draw", str(path)], stdout=subprocess.DEVNULL) as run:
        time.sleep(at)
        run.send_signal(signal.SIGKILL)
    assert {p.name: p.read_bytes() for p in tmp_path.iterdir() if p.is_file()} == before
    svg = tmp_path / "unit-plan" / "unit.svg"
    assert not svg.exists() or svg.read_bytes().rstrip().endswith(b"</svg>")
