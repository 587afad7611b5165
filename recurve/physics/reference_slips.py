"""Whether a reference sweep can belong to the springs that are said to have been in it, and which slip would explain it.

A sound reference sweep leaves χ²/ν near 1, the known numbers within their ±, and an I′ that flyweights of the trade can have
(`data/ranges.toml [reference]`). Where one of these fails by far, single changes of what was stated are tried, each fitted
anew. A slip is named where it alone makes the sweep agree; where none does, other springs may have been in the unit.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from functools import partial

import numpy as np

from recurve.data import ranges
from recurve.physics.reference import SHAPE, KnownSpring, Reference, ReferenceFit, fit_reference, reference_faults
from recurve.springs.spring import Spring
from recurve.units import INCH, POUND_FORCE

MISFIT = 2.5  # χ²/ν above which readings and springs contradict each other
STRAIN = 25.0  # Σ z² of shape and known numbers above which they are bent too far
AGREES = (2.0, 15.0)  # the same two where a change is taken to explain the sweep
OUTSIDE_HOOKS = (
    1.2e-3,
    2.0e-3,
)  # two wires, by which a length over the hooks is too long [m]; common practice, no source
POSTS = 2.5e-3  # a post, by which a length between centres is too short [m]; common practice, no source


@dataclass(frozen=True)
class ReferenceSlip:
    """A single change of what was stated that makes the sweep agree: what was probably done, in `words`, and the `misfit` [1],
    χ²/ν, that is left."""

    words: str
    misfit: float


@dataclass(frozen=True)
class ReferenceDoubt:
    """A reference sweep that does not belong to the springs named: its `misfit` [1], χ²/ν, its I′ half-way to the stop,
    `inertia_slope` [kg·m²/rad], and the `slips` that would explain it, the likeliest first."""

    misfit: float
    inertia_slope: float
    usual: tuple[float, float]
    slips: tuple[ReferenceSlip, ...]


def reference_doubt(fit: ReferenceFit) -> ReferenceDoubt | None:
    """What speaks against a reference sweep; None if it may belong to its springs."""
    if _agrees(fit, (MISFIT, STRAIN)):
        return None
    slips = []
    for words, changed in _changes(fit.given):
        if reference_faults(changed):
            continue
        again = fit_reference(changed)
        if _agrees(again, AGREES):
            slips.append(ReferenceSlip(words, _misfit(again)))
    middle = float(fit.slope.inertia_slope(np.array([fit.given.stop / 2]))[0])
    return ReferenceDoubt(_misfit(fit), middle, _usual(), tuple(sorted(slips, key=lambda s: s.misfit)))


def _agrees(fit: ReferenceFit, limits: tuple[float, float]) -> bool:
    """Whether readings, springs and what flyweights can be agree within limits of misfit and strain."""
    low, high = _usual()
    middle = float(fit.slope.inertia_slope(np.array([fit.given.stop / 2]))[0])
    strain = float((fit.state[1:] ** 2).sum())  # the level of I′ is free
    return fit.converged and _misfit(fit) <= limits[0] and strain <= limits[1] and low <= middle <= high


def _misfit(fit: ReferenceFit) -> float:
    """χ²/ν [1] by the ± as stated; the shape takes as many readings as it has numbers."""
    return fit.chi2 * fit.inflation**2 / max(int(fit.kept.sum()) - len(SHAPE), 1)


def _usual() -> tuple[float, float]:
    """I′ [kg·m²/rad] that flyweights of the trade have, at least and at most."""
    entry = ranges()["reference"]["inertia_slope"]
    return float(entry["low"]), float(entry["high"])


def _changes(given: Reference) -> Iterator[tuple[str, Reference]]:
    """Single slips that are made with springs, each undone."""
    for off in OUTSIDE_HOOKS:
        words = f"the free lengths were measured over the outside of the hooks ({1e3 * off:.1f} mm too long)"
        yield words, _each(given, partial(_longer, -off))
    words = (
        f"the free lengths, or the lengths over the posts, were measured between centres ({1e3 * POSTS:.1f} mm apart)"
    )
    yield words, _each(given, partial(_longer, POSTS))
    unit = POUND_FORCE / INCH / 1e3  # one lbf/in in N/mm
    yield "the rates are in lbf/in, entered as N/mm", _each(given, partial(_stiffer, unit))
    yield "the rates are in N/mm, entered as lbf/in", _each(given, partial(_stiffer, 1 / unit))
    if len(given.springs) == 2:
        first, second = (s.installed.spring for s in given.springs)
        swapped = (_with(given.springs[0], second), _with(given.springs[1], first))
        yield "primary and secondary are exchanged", replace(given, springs=swapped)


def _longer(by: float, spring: Spring) -> Spring:
    return replace(spring, free_length=spring.free_length + by)


def _stiffer(factor: float, spring: Spring) -> Spring:
    return replace(spring, rate=spring.rate * factor)


def _each(given: Reference, change: Callable[[Spring], Spring]) -> Reference:
    return replace(given, springs=tuple(_with(s, change(s.installed.spring)) for s in given.springs))


def _with(known: KnownSpring, spring: Spring) -> KnownSpring:
    return replace(known, installed=replace(known.installed, spring=spring))
