"""Units of one invented type, measured: job files without a sweep, for what is learned of them."""

from __future__ import annotations

import re
from pathlib import Path

from jobs import JOB, SPRINGS, without

MASSES = (31.0, 31.8, 32.1, 30.9)


def unit(folder: Path, name: str, mass: float, *changes: tuple[str, str]) -> Path:
    """A unit of the invented type, measured, with this mass [g]."""
    text = re.sub(r'^mass = "[^"]*"', f'mass = "{mass} ± 0.3 g"', JOB, flags=re.M)
    for old, new in (*changes, without("sweep")):
        assert old in text
        text = text.replace(old, new)
    (folder / "springs.csv").write_text(SPRINGS, encoding="utf-8")
    path = folder / f"{name}.toml"
    path.write_text(text, encoding="utf-8")
    return path


def units(folder: Path) -> list[Path]:
    return [unit(folder, f"unit-{i}", mass) for i, mass in enumerate(MASSES)]
