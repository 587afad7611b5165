"""A book's curve read off its picture at a thousand speeds: those points are kept that tell the rest."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from fuzz import outcome
from jobs import JOB, without, write_job

from recurve.job.read import load_any, load_job

POINTS = JOB[JOB.index("points = [") : JOB.index("idle = {")]


def digitised(many: int) -> tuple[str, str]:
    """A book's band of five corners, read off its picture at many speeds, as a change of the job."""
    speed = np.linspace(300, 1100, many)
    high = np.interp(speed, [300, 450, 700, 1000, 1100], [1.0, 4.0, 8.0, 10.0, 10.0])
    rows = [
        f'  {{ speed = "{s:.2f} rpm", min = "{max(h - 2, 0):.3f} deg", max = "{h:.3f} deg" }},'
        for s, h in zip(speed, high, strict=True)
    ]
    return POINTS, "points = [\n" + "\n".join(rows) + "\n]\n"


def test_a_thousand_points_are_planned_from_a_few(tmp_path: Path) -> None:
    """Those that lie on straight lines between others are left out, and it is said; it took a minute and 1.9 GB."""
    path = write_job(tmp_path, digitised(1000), without("sweep"))
    job = load_job(path)
    assert job.target is not None and 5 <= len(job.target.bands) <= 14
    code, out, _ = outcome(["plan", str(path)])
    assert code in (0, 3)
    assert "The target has 1000 points." in " ".join(out.split())


def test_points_that_are_left_out_lie_between_those_that_stay(tmp_path: Path) -> None:
    """By linear interpolation between those kept, to within 0.05°, and a dip is not cut off."""
    old, new = digitised(300)
    dip = new.replace(new.splitlines()[151], '  { speed = "705 rpm", min = "3 deg", max = "5 deg" },')
    for change in (new, dip):
        path = write_job(tmp_path, (old, change))
        given = load_any(path).model.target
        job = load_job(path)
        assert given is not None and job.target is not None
        stay = sorted((b for b in job.target.bands if b.kind == "point"), key=lambda b: b.speed or 0.0)
        at = [b.speed or 0.0 for b in stay]
        for one in given.points:
            assert one.max is not None and one.min is not None
            assert np.interp(one.speed.value, at, [b.high for b in stay]) == pytest.approx(one.max.value, abs=9e-4)
            assert np.interp(one.speed.value, at, [b.low for b in stay]) == pytest.approx(one.min.value, abs=9e-4)


def test_a_book_s_points_all_count(tmp_path: Path) -> None:
    job = load_job(write_job(tmp_path, digitised(40)))
    assert job.target is not None and sum(b.kind == "point" for b in job.target.bands) == 40
