"""Writes results: each file whole or not at all, and a set of them all or none.

All files are written out beside their places first, so that a full disk is met before anything is changed; then each is
renamed over the old one, and if that fails midway those already renamed are put back. A process killed between two of
these renames leaves whole files, of which some are new; the fingerprint on each tells. Two runs at once take turns.
"""

from __future__ import annotations

import contextlib
import os
import tempfile
from collections.abc import Callable, Iterator, Mapping
from pathlib import Path

from recurve.errors import OutputError

Content = bytes | Callable[[], bytes]  # a function is asked when no other run can write into the folder
PREFIX, SUFFIX = ".recurve-", ".part"  # of files that are not yet in their places


def write_folder(folder: Path, contents: Mapping[str, Content], stale: tuple[str, ...] = ()) -> tuple[str, ...]:
    """Write the files into the folder, made if need be, and remove earlier results named in `stale`.

    Returns the paths written. Raises OutputError; then every file stands as it was.
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


def rewrite(path: Path, content: Content) -> None:
    """Put another content into a file of the user's own, where a link leads to if it is one. Raises OutputError."""
    real = Path(os.path.realpath(path))
    write_folder(real.parent, {real.name: content})


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
            put_back.pop_all()  # all went well
        _flush_folder(folder)


def _staged(path: Path, content: bytes) -> Path:
    """The content in a new file beside its place, on the disk, with the rights of the one that stands there."""
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
    """Another name for the file that stands there, until the end; None where none does."""
    if not os.path.lexists(path):
        return None
    handle, temporary = tempfile.mkstemp(dir=path.parent, prefix=PREFIX, suffix=SUFFIX)
    os.close(handle)
    kept = Path(temporary)
    undo.callback(kept.unlink, missing_ok=True)
    try:
        kept.unlink()
        os.link(path, kept, follow_symlinks=False)
    except OSError:  # no second names on this file system: a copy; a folder there is refused by the rename itself
        if path.is_file():
            kept.write_bytes(path.read_bytes())
    return kept


def _restore(path: Path, kept: Path | None) -> None:
    """Put the old file back where the rename of a later one failed; a folder that is gone keeps nothing."""
    with contextlib.suppress(OSError):
        if kept is None:
            path.unlink(missing_ok=True)
        else:
            os.replace(kept, path)


@contextlib.contextmanager
def _alone(folder: Path) -> Iterator[None]:
    """No other run writes into this folder meanwhile, where the system can promise that; what a run that was killed
    left lying is swept away."""
    try:
        import fcntl
    except ImportError:  # a system without such locks: files are whole all the same
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
    """The new names too on the disk, where the system can; the files are in their places in any case."""
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
