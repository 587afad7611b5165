"""What must be said aloud beside a plan."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from recurve.build import Build
from recurve.curve import trace
from recurve.job import Job
from recurve.mechanism import RadiusTable


def table_note(job: Job, build: Build) -> list[str]:
    """What the reading of a table of radii leaves open, in degrees (design §1, motion 3)."""
    motion = job.weights.motion
    if not isinstance(motion, RadiusTable):
        return []
    speeds = np.array([r.band.speed for r in build.results if r.band.speed], float)
    middle = build.curve.rising_advance(speeds)
    squares = np.zeros_like(speeds)
    for row in range(len(motion.advance)):
        weights = replace(job.weights, motion=motion.moved(row))
        squares += (trace(replace(build.unit, weights=weights), 501).rising_advance(speeds) - middle) ** 2
    worst_at = int(np.argmax(squares))
    limits = 1e3 * max(motion.limit)
    return [
        f"The radii of the centre of gravity, each read to ± {limits:.2f} mm, leave the curve uncertain by up to "
        f"± {2 * np.degrees(np.sqrt(squares[worst_at])):.1f}° (distributor, two standard uncertainties), at "
        f"{speeds[worst_at] * 30 / np.pi:.0f} rpm."
    ]


def limit_notes(job: Job, build: Build) -> list[str]:
    """Posts that are bent as far as they may be: the bench cannot ask for more of the same."""
    notes = []
    for name, place, fitted in zip(("primary", "secondary"), job.places, build.springs, strict=False):
        for end, way in zip(place.travel, ("in", "out"), strict=True):
            if end != 0.0 and abs(fitted.bend - end) < 0.005e-3:
                notes.append(
                    f"The {name} post is bent {way} as far as it may be, {1e3 * abs(end):.2f} mm: if the bench asks for "
                    "more that way, take the next spring instead."
                )
    return notes
