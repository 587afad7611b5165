"""What a job tells in types: quantities with their ±, one rule for the idle speed, a reference sweep fitted only where
it is asked for."""

from __future__ import annotations

import math
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from jobs import write_job

from recurve.job import sweeps
from recurve.job.read import build_parts, load_job, read_files
from recurve.output.figures.picture import read_picture
from recurve.physics.reference import Reference
from recurve.physics.target import Band, Target
from recurve.units import RPM

ALPHA = np.linspace(0.0, 0.25, 6)
MOTION = (
    'pivot = { radius = "21.0 ± 0.1 mm" }',
    'cg = { distance = "12.6 ± 0.2 mm", angle = "75 ± 1 deg" }',
    'pin = { distance = "13.1 mm", angle = "168 ± 0.5 deg" }',
)
# In the order of the file: what is written, and the same larger by ±/√3, the standard uncertainty (GUM 4.3.7).
MOVED = [
    ("31.5 ± 0.3 g", f"{31.5 + 0.3 / math.sqrt(3)!r} g"),
    ("21.0 ± 0.1 mm", f"{21.0 + 0.1 / math.sqrt(3)!r} mm"),
    ("12.6 ± 0.2 mm", f"{12.6 + 0.2 / math.sqrt(3)!r} mm"),
    ("75 ± 1 deg", f"{75 + 1 / math.sqrt(3)!r} deg"),
    ("168 ± 0.5 deg", f"{168 + 0.5 / math.sqrt(3)!r} deg"),
]


def test_weights_are_moved_by_each_quantity_with_a_half_width(tmp_path: Path) -> None:
    """As if the job had been written with that quantity moved: each is read again from text."""
    plain = ('pivot = { radius = "21.0 mm" }', 'cg = { distance = "12.6 mm", angle = "75 deg" }',
             'pin = { distance = "13.1 mm", angle = "168 deg" }')  # fmt: skip
    changes = list(zip(plain, MOTION, strict=True))
    moved = list(load_job(write_job(tmp_path, *changes)).measured.weights.moved())
    assert len(moved) == len(MOVED)
    for one, change in zip(moved, MOVED, strict=True):
        again = load_job(write_job(tmp_path, *changes, change)).weights
        assert one.inertia_slope(ALPHA) == pytest.approx(again.inertia_slope(ALPHA), rel=1e-12)


def test_a_figure_says_where_it_comes_from(tmp_path: Path) -> None:
    """A moment that was measured is given; where the job is silent, a default steps in and says so."""
    given = load_job(write_job(tmp_path)).measured.drag
    assert (given.points.origin, given.points.value) == ("given", pytest.approx(4.5e-3))
    assert given.points.half_width == pytest.approx(0.25 * 4.5e-3)  # no ±: a quarter, common practice, no source
    assert (given.friction.origin, given.friction_share.origin) == ("given", "assumed")
    silent = load_job(write_job(tmp_path, ('rubbing_block = "4.5 mN*m"\n', "")))
    assert silent.measured.drag.points.origin == "assumed" and silent.measured.drag.rubbing_block is None
    assert any("drag of the rubbing block is not given" in note for note in silent.notes)


def test_a_job_keeps_what_was_written(tmp_path: Path) -> None:
    """A drawing shows a number as the person gave it, in inches too; two ways of writing are one quantity."""
    given = load_job(write_job(tmp_path)).model.weights.mass
    other = load_job(write_job(tmp_path, ("31.5 ± 0.3 g", "31.5 g ± 0.3 g"))).model.weights.mass
    assert given is not None and other is not None
    assert (given.written, other.written) == ("31.5 ± 0.3 g", "31.5 g ± 0.3 g") and given == other


IDLE_BAND = 'idle = { speed = "300 rpm", max = "0.5 deg" }\n'


def test_the_idle_speed_has_one_rule(tmp_path: Path) -> None:
    """The target's; else the lowest swept; else the lowest at which the target asks something; else 300 rpm."""
    low = Band("point", 450 / RPM, 0.0, 0.1), Band("maximum", None, 0.1, 0.2)
    job = load_job(write_job(tmp_path, (IDLE_BAND, ""), ('speed = "300 rpm", min', 'speed = "350 rpm", min')))
    told = replace(job, target=Target((*low, Band("idle", 410 / RPM, 0.0, 0.01))))
    speeds = [told, job, replace(job, sweep=None), replace(job, sweep=None, target=Target(low[1:])),
              replace(job, sweep=None, target=None)]  # fmt: skip
    assert [RPM * one.idle_speed for one in speeds] == pytest.approx([410, 300, 350, 300, 300])


REFERENCE = """[weights.motion]
kind = "reference"
sweep = "as-found.csv"
"""


def test_a_reference_sweep_is_fitted_in_a_step_of_its_own(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Reading, building and drawing do without the fit; only the whole job asks for it."""
    path = write_job(tmp_path, ('takeup = "7 ± 0.5 deg"', 'free_length = "17.5 mm"'))
    text = path.read_text(encoding="utf-8")
    first, last = text.index("[weights.motion]"), text.index("[stop]")
    path.write_text(text[:first] + REFERENCE + text[last:], encoding="utf-8")

    def refused(given: Reference) -> None:
        raise RuntimeError("fitted")

    monkeypatch.setattr(sweeps, "fit_reference", refused)
    reference = build_parts(read_files(path)).measured.weights.motion
    assert isinstance(reference, Reference) and len(reference.springs) == 2 and len(reference.sweep.speed) == 7
    assert read_picture(path).faults == ()
    with pytest.raises(RuntimeError, match="fitted"):
        load_job(path)
