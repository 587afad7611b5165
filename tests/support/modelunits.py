"""The package's objects for a mechanism of the tests, directly or by way of a job file [SI, rad]."""

from __future__ import annotations

from pathlib import Path

from mechanisms import Mechanism, Post, job_text

from recurve.job.read import load_job
from recurve.physics.curve import Drag, Installed, Unit
from recurve.physics.mechanism import Link, Slot, Weights
from recurve.physics.posts import Body, BodyPoint, PointPosts
from recurve.springs.spring import Spring

MM = 1e-3
DEG = 0.017453292519943295


def motion_of(one: Mechanism) -> Slot | Link:
    """Its weights' motion, the first pivot on the real axis."""
    pivot, cg, pin = (MM * complex(p) for p in (one.pivot, one.from_pivot(one.cg), one.from_pivot(one.pin)))
    return Slot(pivot, cg, pin) if one.kind == "slot" else Link(pivot, cg, pin, MM * one.cam_point)


def unit_of(one: Mechanism, drag: Drag | None = None) -> Unit:
    """The unit as described; with another drag where one is given."""
    motion = motion_of(one)
    springs = tuple(
        Installed(
            Spring("invented", 1e3 * p.rate, MM * p.free_length, p.tension),
            PointPosts(_end(p.anchor), _end(p.far), MM * p.diameter, motion, one.count),
        )
        for p in one.springs
    )
    weights = Weights(one.count, 1e-3 * one.mass, motion)
    return Unit(weights, springs, drag or Drag(1e-3 * one.drag, 1e-3 * one.friction), DEG * one.stop)


def _end(post: Post) -> BodyPoint:
    body: Body = "base"
    if post.on == "cam":
        body = "cam"
    elif post.on != "base":
        body = int(post.on.removeprefix("weight") or 1)
    return BodyPoint(body, MM * post.place)


def loaded_unit(one: Mechanism, folder: Path, flat: float | None = None) -> Unit:
    """The unit as read from a job file; `flat` [deg] as in `job_text`."""
    job = folder / "job.toml"
    job.write_text(job_text(one, flat), encoding="utf-8")
    unit = load_job(job).as_found()
    assert unit is not None
    return unit
