"""How long a folder of many units takes to read: for the first time, and again.

Not part of the normal run: `pytest tests/bench/test_folder_speed.py --override-ini addopts= -s`.
"""

from __future__ import annotations

import shutil
import time
from pathlib import Path

from workshops import PREDICTED, Left, add_unit

from recurve.output.remembered import FILE, read_units

UNITS = 1000
BANDS = 8  # of a record; each unit has two records
LONGEST = 2.0  # s, with what was read before kept


def record(verdict: str, *corrected: str) -> Left:
    """A record with as many bands as a workshop's have, each of them predicted."""
    band, side = Left().entry(0)["bands"][0], PREDICTED.planned()
    bands = [{**band, "speed_rpm": 100.0 * k} for k in range(1, BANDS + 1)]
    edges = {key: band[key] for key in ("band", "min_deg", "max_deg")}
    forecast = [{**edges, "speed_rpm": b["speed_rpm"], "by_calliper": side, "on_bench": side} for b in bands]
    return Left(verdict, corrected, planned={"forecast": forecast}, more={"bands": bands})


def seconds(folder: Path) -> float:
    """Seconds to read the folder."""
    begin = time.perf_counter()
    assert len(read_units(folder, lambda _: None)) == UNITS
    return time.perf_counter() - begin


def test_a_thousand_units(tmp_path: Path) -> None:
    """Read at first, again, and again with one unit changed; without the hidden file it is as at first."""
    add_unit(tmp_path, "0000", 0.9, (record("fails", "bend it"), record("passes")))
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
