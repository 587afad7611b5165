"""What plan and check say of jobs, as JSON on stdout, for runs with other threads, other CPU features, another order.

python tests/support/same_answers.py JOB…
"""

from __future__ import annotations

import hashlib
import json
import sys
from pathlib import Path
from typing import Any

from commands import run
from jobs import BY_HAND

from recurve.diagnosis.check import check_unit
from recurve.job.model import Job
from recurve.job.read import load_job
from recurve.planner.plan import make_plan


def planned(job: Job) -> dict[str, Any]:
    """The springs by id, margin, stop and settings of the plan [SI], and the share of builds that pass."""
    plan = make_plan(job)
    build = plan.build
    if build is None:
        return {"verdict": plan.verdict}
    return {
        "verdict": plan.verdict,
        "springs": [s.spring.id for s in build.springs],
        "margin": build.margin,
        "bends": [s.bend for s in build.springs],
        "stop": build.stop,
        "trim": build.trim,
        "yield": None if plan.built is None else plan.built.fraction,
    }


def checked(job: Job) -> dict[str, Any]:
    """The fitted values and their doubts, the verdict, the findings."""
    check = check_unit(job)
    found = [] if check.fit is None else check.fit.estimates
    return {
        "verdict": check.verdict,
        "findings": [f.what for f in check.findings],
        "fit": {e.name: [e.value, e.standard_uncertainty] for e in found},
    }


def said(path: str) -> dict[str, Any]:
    job = load_job(path)
    return {"plan": planned(job), "check": checked(job)}


def written(folder: Path) -> dict[str, str]:
    """What commands say of the job in this folder, and the hash of each file they write."""
    commands = ["check", "unit.toml"], ["wind", "unit.toml", *BY_HAND], ["draw", "unit.toml"]
    told = {command[0]: repr(run(command, folder)) for command in commands}
    files = sorted(p for p in folder.rglob("*") if p.is_file())
    return told | {p.relative_to(folder).as_posix(): hashlib.sha256(p.read_bytes()).hexdigest() for p in files}


if __name__ == "__main__":
    print(json.dumps({path: said(path) for path in sys.argv[1:]}))
