"""How long a folder of many units takes to read: for the first time, and again.

Not part of the normal run: `pytest tests/bench/test_folder_speed.py --override-ini addopts= -s`.
"""

from __future__ import annotations

import shutil
import time
from pathlib import Path

from workshops import Left, add_unit

from recurve.output.remembered import FILE, read_units

UNITS = 1000
LONGEST = 2.0  # s, with what was read before kept


def seconds(folder: Path) -> float:
    """Seconds to read the folder."""
    begin = time.perf_counter()
    assert len(read_units(folder, lambda _: None)) == UNITS
    return time.perf_counter() - begin


def test_a_thousand_units(tmp_path: Path) -> None:
    """Read at first, again, and again with one unit changed; without the hidden file it is as at first."""
    add_unit(tmp_path, "0000", 0.9, (Left("fails", ("bend it",)), Left()))
    for number in range(1, UNITS):
        shutil.copytree(tmp_path / "0000", tmp_path / f"{number:04d}")
    first, again = seconds(tmp_path), seconds(tmp_path)
    with (tmp_path / "0500" / "unit.toml").open("a", encoding="utf-8") as out:
        out.write("# a comment\n")
    changed = seconds(tmp_path)
    size = (tmp_path / FILE).stat().st_size / 2**20
    print(
        f"\n{UNITS} units: first {first:.1f} s, again {again:.2f} s, one changed {changed:.2f} s; kept in {size:.1f} MB"
    )
    assert again < LONGEST and changed < LONGEST
    assert again < first / 5
