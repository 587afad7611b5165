"""A job as its sweep has shown it: the fitted springs, drag, stop and mass geometry in place of the described."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from recurve.curve import Drag
from recurve.fit import Fit, slope_factor
from recurve.job import Job
from recurve.mechanism import CorrectedWeights
from recurve.springs import Spring
from recurve.sweepmodel import PLACES

# A cubic through as many advances says all that three smooth modes can.
NODES = 4


def fitted_job(fit: Fit) -> Job:
    """The fit's job with its best state; the springs found are then known even where they were not described."""
    job, model = fit.job, fit.model
    natural = model.natural(fit.best[None])
    value = {p.name: float(x) for p, x in zip(model.parameters, natural[0], strict=True)}
    places = []
    for index, (name, place) in enumerate(zip(PLACES, job.places, strict=False)):
        rest = float(place.posts.length(0.0)[0])
        tension = value.get(f"{name}.tension", float(model.tension[index]))
        found = Spring(
            f"as found {name}",
            float(np.exp(value[f"{name}.rate"])),
            rest - value[f"{name}.stretch"],
            tension,
            quantity=1,
        )
        places.append(replace(place, found=found))
    return replace(
        job,
        weights=corrected(fit),
        drag=Drag(value["drag"], value["friction"], value["friction_share"]),
        stop=replace(job.stop, advance=value["stop"]),
        places=tuple(places),
    )


def corrected(fit: Fit) -> CorrectedWeights:
    """The weights with I′ as the best state has it."""
    model, weights = fit.model, fit.job.weights
    factor = slope_factor(model, model.natural(fit.best[None]))[0]
    advance = model.shapes.advance
    nodes = np.linspace(0.0, float(advance[-1]), NODES)
    at = np.interp(nodes, advance, factor)
    if isinstance(weights, CorrectedWeights):
        at = at * np.polyval(np.polyfit(weights.advance, weights.factor, min(len(weights.advance) - 1, 3)), nodes)
    return CorrectedWeights(
        weights.count, weights.mass, weights.motion, tuple(float(n) for n in nodes), tuple(float(f) for f in at)
    )
