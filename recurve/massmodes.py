"""How far the mass geometry may be off: relative changes of I′(α) by what was measured with a ±."""

from __future__ import annotations

import copy
from typing import Any

import numpy as np

from recurve import jobmodel as m
from recurve.job import Job
from recurve.jobbuild import Build, ranges
from recurve.mechanism import Array, RadiusTable, ReferenceSlope

MOST_MODES = 3
# A mode that changes I′ by less than this anywhere is left out.
LEAST = 1e-3


def slope_modes(job: Job, advance: Array) -> Array:
    """Relative changes of I′ at the advances (p,) [rad] by one standard uncertainty each, (modes, p).

    Every measured quantity of the weights is moved by its standard uncertainty; the changes, which are many
    and alike, are then gathered into at most three independent ones that say the same (singular values).
    Where no ± is given at all, I′ as a whole is taken as uncertain by the default of `data/ranges.toml`.
    I′ from a reference sweep brings its own uncertainty.
    """
    if isinstance(job.weights.motion, ReferenceSlope):
        return _reference_modes(job.weights.motion, advance, job.stop.limits[1])
    changes = [*_table_changes(job, advance), *_key_changes(job, advance)]
    if not changes:
        return np.full((1, len(advance)), float(ranges()["fit"]["mass_geometry"]["value"]))
    _, sizes, shapes = np.linalg.svd(np.stack(changes), full_matrices=False)
    modes = sizes[:, None] * shapes
    kept = [_positive(mode) for mode in modes[:MOST_MODES] if np.abs(mode).max() > LEAST]
    return np.stack(kept) if kept else np.zeros((0, len(advance)))


def _reference_modes(motion: ReferenceSlope, advance: Array, reach: float) -> Array:
    """The sweep's own changes, gathered so that they tell most of what is uncertain up to `reach` [rad].

    What the modes left out would add is laid on those kept, so that the uncertainty of I′ stays the sweep's at
    every advance: a fit and a yield must not take it for better known than it is.
    """
    changes = motion.changes(advance)
    whole = np.sqrt((changes**2).sum(axis=0))
    within = advance <= reach
    turned, _, _ = np.linalg.svd(changes[:, within] / whole[within], full_matrices=False)
    modes = (turned.T @ changes)[:MOST_MODES]
    modes = modes * whole / np.maximum(np.sqrt((modes**2).sum(axis=0)), 1e-12)
    return np.stack([_positive(mode) for mode in modes])


def _positive(mode: Array) -> Array:
    """A mode's sign is free: more I′ on the whole counts as +."""
    return mode if mode.sum() >= 0 else -mode


def _table_changes(job: Job, advance: Array) -> list[Array]:
    """By each row of a table of radii."""
    motion = job.weights.motion
    if not isinstance(motion, RadiusTable):
        return []
    r, dr = motion.radius(advance)
    return [effect / np.sqrt(3) / (2 * r * dr) for effect in motion.row_effects(advance)]


def _key_changes(job: Job, advance: Array) -> list[Array]:
    """By each quantity of [weights] that has a ±."""
    middle = job.weights.inertia_slope(advance)
    keys = [k for k in job.limits if k.startswith("weights.") and ".cg_radius[" not in k and ".advance[" not in k]
    if not keys:
        return []
    model = m.JobModel.model_validate({k: v for k, v in job.document.items() if k not in ("sweep", "catalogue")})
    changes = []
    for key in keys:
        moved = _moved(model, job.document, key, job.limits[key] / np.sqrt(3)).inertia_slope(advance)
        if np.isfinite(moved).all():
            changes.append(moved / middle - 1.0)
    return changes


def _moved(model: m.JobModel, document: dict[str, Any], key: str, by: float) -> Any:
    """The weights of the job's `model` with one quantity of its `document` moved by so much [SI]."""
    weights: Any = copy.deepcopy(document["weights"])
    table: Any = weights
    given: Any = model.weights
    *path, last = [int(p) - 1 if p.isdigit() else p for p in key.replace("[", ".").replace("]", "").split(".")][1:]
    for part in path:
        table = table[part]
    for part in (*path, last):
        given = given[part] if isinstance(part, int) else getattr(given, part)
    unit = {"mass": "kg", "angle": "rad"}.get(str(last), "m")
    table[last] = f"{float(given.value + by)!r} {unit}"
    # Only the weights are read again: the rest of the job is as it was.
    return Build(model.model_copy(update={"weights": type(model.weights).model_validate(weights)})).weights()
