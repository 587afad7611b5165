"""Writes results: each file whole or not at all."""

from __future__ import annotations

import os
import tempfile
from collections.abc import Mapping
from pathlib import Path

from recurve.errors import OutputError


def write_folder(folder: Path, contents: Mapping[str, bytes], stale: tuple[str, ...] = ()) -> tuple[str, ...]:
    """Write the files into the folder, made if need be, and remove earlier results named in `stale`.

    Returns the paths written. Raises OutputError; a file that could not be written stands as it was.
    """
    try:
        folder.mkdir(exist_ok=True)
        for name, content in contents.items():
            _write(folder / name, content)
        for name in stale:
            (folder / name).unlink(missing_ok=True)
    except OSError as fault:
        raise OutputError(
            f"{fault.filename or folder}: {fault.strerror or fault}; expected a folder that can be written"
        ) from None
    return tuple(str(folder / name) for name in contents)


def _write(path: Path, content: bytes) -> None:
    """To a new file beside it, then renamed over it: a reader sees the old or the new, never a part."""
    handle, temporary = tempfile.mkstemp(dir=path.parent, prefix=f".{path.name}.")
    try:
        with os.fdopen(handle, "wb") as out:
            out.write(content)
            out.flush()
            os.fsync(out.fileno())
        os.chmod(temporary, 0o666 & ~_umask())
        os.replace(temporary, path)
    except BaseException:
        Path(temporary).unlink(missing_ok=True)
        raise


def _umask() -> int:
    mask = os.umask(0)
    os.umask(mask)
    return mask
