"""Where the files of `data/` are: inside the installed package, or beside it in a checkout."""

from __future__ import annotations

from pathlib import Path


def data_file(name: str) -> Path:
    """Path of a shipped data file, for example "wire.toml"; raises FileNotFoundError if it is not there."""
    package = Path(__file__).resolve().parent
    for folder in (package / "data", package.parent / "data"):
        if (folder / name).is_file():
            return folder / name
    raise FileNotFoundError(f"the installation of recurve lacks its data file {name}")
