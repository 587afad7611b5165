"""A target told from the engine's side, shown both ways: crank timing with static, and the distributor's advance."""

from __future__ import annotations

from typing import Any

from recurve.facts import deg, rpm
from recurve.job import BareJob, Job
from recurve.texttable import Column, table
from recurve.units import parse


def engine_rows(job: Job | BareJob) -> list[dict[str, Any]] | None:
    """Each band of the target both ways; None where the job tells it by the distributor."""
    told = job.document.get("target", {})
    if job.target is None or not ("total" in told or "timing" in told):
        return None
    static, ratio = parse(told["static"], "angle").value, job.speed_ratio
    return [
        {
            "band": b.kind,
            "speed_rpm": rpm(b.speed),
            "min_deg": deg(b.low),
            "max_deg": deg(b.high),
            "crank_rpm": None if b.speed is None else rpm(b.speed * ratio),
            "crank_min_deg": deg(static + ratio * b.low),
            "crank_max_deg": deg(static + ratio * b.high),
        }
        for b in job.target.bands
    ]


def engine_lines(job: Job | BareJob) -> list[str]:
    """The same as a table, after an empty line; nothing where the job tells its target by the distributor."""
    rows = engine_rows(job)
    if rows is None:
        return []
    columns = [
        Column("", words=True), Column("speed", "crank rpm"), Column("timing", "crank deg"),
        Column("speed", "dist. rpm"), Column("advance", "dist. deg"),
    ]  # fmt: skip
    cells = [
        [
            r["band"],
            "stop" if r["crank_rpm"] is None else f"{r['crank_rpm']:.0f}",
            f"{r['crank_min_deg']:.1f} to {r['crank_max_deg']:.1f}",
            "stop" if r["speed_rpm"] is None else f"{r['speed_rpm']:.0f}",
            f"{r['min_deg']:.2f} to {r['max_deg']:.2f}",
        ]
        for r in rows
    ]
    return ["", "Target, as the engine's timing (static included) and as the distributor's", *table(columns, cells)]
