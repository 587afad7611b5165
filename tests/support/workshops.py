"""A folder of units with plans and records, all invented: the files are written by hand, as recurve writes them."""

from __future__ import annotations

import hashlib
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import tomli_w
from jobs import write_job

from recurve.job.read import load_any


@dataclass(frozen=True)
class Side:
    """Advance rising and falling, each with its standard deviation, all in degrees of the distributor."""

    rising: float
    rising_off: float
    falling: float
    falling_off: float

    def planned(self) -> dict[str, float]:
        """As plan.toml has it."""
        return {
            "rising_deg": self.rising,
            "rising_deviation_deg": self.rising_off,
            "falling_deg": self.falling,
            "falling_deviation_deg": self.falling_off,
        }

    def measured(self) -> dict[str, float]:
        """As as-left.toml has it."""
        return {
            "rising_deg": self.rising,
            "rising_standard_uncertainty_deg": self.rising_off,
            "falling_deg": self.falling,
            "falling_standard_uncertainty_deg": self.falling_off,
        }


PREDICTED, MEASURED = Side(7.0, 0.3, 7.4, 0.3), Side(7.2, 0.1, 7.5, 0.1)


@dataclass(frozen=True)
class Left:
    """A record of a finished unit with one band, at 700 rpm."""

    verdict: str = "passes"
    corrected: tuple[str, ...] = ()
    chance: float | None = 0.9
    predicted: Side = PREDICTED
    measured: Side = MEASURED
    set_: dict[str, Any] = field(default_factory=dict)
    planned: dict[str, Any] = field(default_factory=dict)
    risk: float = 0.01
    more: dict[str, Any] = field(default_factory=dict)

    def entry(self, number: int, unit: str = "") -> dict[str, Any]:
        """As as-left.toml has it, with an id of its own in each unit."""
        band = {"band": "point", "speed_rpm": 700.0, "min_deg": 6.0, "max_deg": 8.0}
        told: dict[str, Any] = {
            "id": hashlib.sha256(f"{unit} {number}".encode()).hexdigest()[:12],
            "title": "Test unit, invented", "unit": "", "date": "2026-05-04", "inputs": "0" * 12,
            "verdict": self.verdict, "decision_rule": "", "risk": self.risk, "set": self.set_,
            "bands": [{**band, **self.measured.measured(), "verdict": self.verdict}],
            "as_left": {"file": "x.csv", "speed_rpm": [700.0], "advance_deg": [7.2], "direction": ["rising"],
                        "reading_limit_deg": 0.2},
            **self.more,
        }  # fmt: skip
        if self.corrected:
            told["correction"] = list(self.corrected)
        if self.chance is not None:
            told["planned"] = planned("", self.chance, self.predicted) | self.planned
        return told


def planned(inputs: str, chance: float, side: Side = PREDICTED) -> dict[str, Any]:
    """A [planned] table with one band."""
    band = {"band": "point", "speed_rpm": 700.0, "min_deg": 6.0, "max_deg": 8.0}
    return {
        "inputs": inputs, "out_of_reach": False, "chance": chance, "chance_set": chance, "stop_deg": 11.0, "trim_mm": 0.5,
        "springs": [{"place": "primary", "id": "A1", "new": True, "length_mm": 15.5, "rate_n_per_mm": 1.5, "alternates": ["A2"]}],
        "forecast": [{**band, "by_calliper": side.planned(), "on_bench": side.planned()}],
    }  # fmt: skip


def add_unit(
    folder: Path,
    name: str,
    plan: float | None = None,
    left: tuple[Left, ...] = (),
    changes: tuple[tuple[str, str], ...] = (),
) -> Path:
    """A unit in a folder of its own, planned with a chance of passing if one is given, and with these records."""
    (folder / name).mkdir(parents=True)
    path = write_job(folder / name, *changes)
    kept = path.parent / "unit-plan"
    if plan is not None or left:
        kept.mkdir()
    if plan is not None:
        job = load_any(path)
        document = {"planned": {"job": "unit.toml", "files": job.digests, **planned(job.fingerprint, plan)}}
        (kept / "plan.toml").write_text(tomli_w.dumps(document), encoding="utf-8")
    if left:
        entries = [one.entry(i, name) for i, one in enumerate(left)]
        (kept / "as-left.toml").write_text(tomli_w.dumps({"set": {}, "as_left": entries}), encoding="utf-8")
    return path
