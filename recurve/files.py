"""Writes results: each file complete or not at all, and a set of files all or none.

Every file is first written under a temporary name in its folder, so that a full disk shows before anything changes.
Then each is renamed over the old one; if a rename fails, those already done are undone. A process killed between two
renames leaves complete files, some old and some new, which the fingerprint in each tells apart. Concurrent runs take
turns.
"""

from __future__ import annotations

import contextlib
import os
import tempfile
from collections.abc import Callable, Iterator, Mapping
from pathlib import Path

from recurve.errors import InputError, OutputError

Content = bytes | Callable[[], bytes]  # a function is called while the folder is locked
PREFIX, SUFFIX = ".recurve-", ".part"  # of temporary files


def write_folder(folder: Path, contents: Mapping[str, Content], stale: tuple[str, ...] = ()) -> tuple[str, ...]:
    """Write the files into the folder, which is created if missing, and remove the earlier results named in `stale`.

    Returns the paths written. Raises OutputError, with every file left as it was.
    """
    try:
        folder.mkdir(exist_ok=True)
        with _alone(folder):
            _write_all(folder, contents, stale)
    except OSError as fault:
        raise OutputError(
            f"{fault.filename or folder}: got a fault on writing ({fault.strerror or fault}), expected a folder that "
            "can be written"
        ) from None
    return tuple(str(folder / name) for name in contents)


def check_writable(folder: Path) -> None:
    """Raise InputError where results could not be written into the folder, or the folder not be made: found before hours of
    work, not after. Nothing is left behind."""
    try:
        there = _stands(folder)
        if there and not folder.is_dir():
            raise InputError(
                f"{folder}: got a file where the folder for the results should be, expected a folder, or nothing"
            )
        handle, temporary = tempfile.mkstemp(dir=folder if there else folder.parent, prefix=PREFIX, suffix=SUFFIX)
        os.close(handle)
        os.unlink(temporary)
    except OSError as fault:
        raise InputError(
            f"{folder}: got a folder for the results that cannot be written ({fault.strerror or fault}), expected one that "
            "can be"
        ) from None


def _stands(path: Path) -> bool:
    """Whether something stands there; raises OSError where nothing ever could, as by a name that is too long."""
    try:
        os.lstat(path)
    except FileNotFoundError:
        return False
    return True


def rewrite(path: Path, content: Content) -> None:
    """Replace the content of a user's file, following a symbolic link to its target. Raises OutputError."""
    real = Path(os.path.realpath(path))
    write_folder(real.parent, {real.name: content})


def rewrite_own(path: Path, content: bytes, begins: str, what: str) -> None:
    """Write a table of ours where the user named it. A file that is there must be one already: its text then begins with
    `begins`. `what` is in it, in words. Raises InputError for another file, OutputError."""
    if os.path.lexists(path) and not _begins(path, begins):
        raise InputError(f"{path}: got a file that is no {what}, expected a new name, or a {what} written by recurve")
    rewrite(path, content)


def _begins(path: Path, begins: str) -> bool:
    try:
        with path.open("rb") as file:
            return file.read(len(begins.encode())) == begins.encode()
    except OSError:
        return False


def _write_all(folder: Path, contents: Mapping[str, Content], stale: tuple[str, ...]) -> None:
    with contextlib.ExitStack() as undo:
        staged = {}
        for name, content in contents.items():
            staged[name] = _staged(folder / name, content if isinstance(content, bytes) else content())
            undo.callback(staged[name].unlink, missing_ok=True)
        with contextlib.ExitStack() as put_back:
            for name in (*staged, *stale):
                put_back.callback(_restore, folder / name, _kept(folder / name, undo))
                if name in staged:
                    os.replace(staged[name], folder / name)
                else:
                    (folder / name).unlink(missing_ok=True)
            put_back.pop_all()  # every rename succeeded
        _flush_folder(folder)


def _staged(path: Path, content: bytes) -> Path:
    """The content in a temporary file beside `path`, flushed to disk, with the permissions of any existing file."""
    handle, temporary = tempfile.mkstemp(dir=path.parent, prefix=PREFIX, suffix=SUFFIX)
    try:
        with os.fdopen(handle, "wb") as out:
            out.write(content)
            out.flush()
            os.fsync(out.fileno())
        os.chmod(temporary, path.stat().st_mode & 0o777 if path.is_file() else 0o666 & ~_umask())
    except BaseException:
        Path(temporary).unlink(missing_ok=True)
        raise
    return Path(temporary)


def _kept(path: Path, undo: contextlib.ExitStack) -> Path | None:
    """A second name for the existing file, kept until `undo` runs; None if there is no file."""
    if not os.path.lexists(path):
        return None
    handle, temporary = tempfile.mkstemp(dir=path.parent, prefix=PREFIX, suffix=SUFFIX)
    os.close(handle)
    kept = Path(temporary)
    undo.callback(kept.unlink, missing_ok=True)
    try:
        kept.unlink()
        os.link(path, kept, follow_symlinks=False)
    except OSError:  # a file system without hard links: copy instead; if it is a folder, the rename will refuse it
        if path.is_file():
            kept.write_bytes(path.read_bytes())
    return kept


def _restore(path: Path, kept: Path | None) -> None:
    """Put the old file back after the rename of a later one failed; the folder itself may be gone."""
    with contextlib.suppress(OSError):
        if kept is None:
            path.unlink(missing_ok=True)
        else:
            os.replace(kept, path)


@contextlib.contextmanager
def _alone(folder: Path) -> Iterator[None]:
    """Lock the folder against other runs, where the system can, and remove leftovers of killed runs."""
    try:
        import fcntl
    except ImportError:  # a system without such locks: each file is still complete
        yield
        return
    handle = os.open(folder, os.O_RDONLY)
    try:
        try:
            fcntl.flock(handle, fcntl.LOCK_EX)
        except OSError:  # a file system without locks
            yield
            return
        for left in folder.glob(f"{PREFIX}*{SUFFIX}"):
            left.unlink(missing_ok=True)
        yield
    finally:
        os.close(handle)


def _flush_folder(folder: Path) -> None:
    """Flush the new names to disk, where the system can. The renames are done in any case."""
    with contextlib.suppress(OSError):
        handle = os.open(folder, os.O_RDONLY)
        try:
            os.fsync(handle)
        finally:
            os.close(handle)


def _umask() -> int:
    mask = os.umask(0)
    os.umask(mask)
    return mask
