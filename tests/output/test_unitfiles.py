"""What of a folder is taken for a unit's file."""

from __future__ import annotations

import os
import sys
from pathlib import Path

import pytest

from recurve.output.unitfiles import paths


@pytest.mark.skipif(sys.platform == "win32", reason="has no named pipes in folders")
def test_only_files_are_units(tmp_path: Path) -> None:
    """A pipe that nobody writes to is not opened: reading it would never end. Nor is a folder a job."""
    (tmp_path / "crane.toml").write_text("", encoding="utf-8")
    os.mkfifo(tmp_path / "pipe.toml")
    (tmp_path / "folder.toml").mkdir()
    assert [name for name, _ in paths(tmp_path)] == ["crane"]
