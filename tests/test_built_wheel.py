"""The built wheel holds what a user needs and nothing else; `.ci/elsewhere` installs one and tests it far from here."""

from __future__ import annotations

import os
import zipfile
from pathlib import Path

import pytest
from checkout import ROOT, needs_checkout


@needs_checkout
def test_the_wheel_holds_the_package_and_its_data(tmp_path: Path) -> None:
    wheel = pytest.importorskip("hatchling.builders.wheel")
    [built] = wheel.WheelBuilder(os.fspath(ROOT)).build(directory=os.fspath(tmp_path), versions=["standard"])
    held = {name for name in zipfile.ZipFile(built).namelist() if ".dist-info/" not in name}
    data = {f"recurve/shipped/{p.relative_to(ROOT / 'data')}" for p in (ROOT / "data").rglob("*") if p.is_file()}
    code = {str(p.relative_to(ROOT)) for p in (ROOT / "recurve").rglob("*.py")}
    guide = {
        f"recurve/shipped/guide/{p.relative_to(ROOT / 'examples')}"
        for p in [ROOT / "examples/measuring.md", *(ROOT / "examples/measuring").iterdir()]
    }
    assert held == {p for p in data | code | guide if "__pycache__" not in p} | {"recurve/py.typed"}
    about = zipfile.ZipFile(built).read(
        next(n for n in zipfile.ZipFile(built).namelist() if n.endswith("entry_points.txt"))
    )
    assert b"recurve = recurve.cli.app:main" in about
