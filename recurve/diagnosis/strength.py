"""How strong the springs pull against what the book needs, from a sweep and the book alone.

The moment that springs and drag must hold at an advance is ½ω²I′ (recurve.physics), and I′ belongs to the weights,
which the book's curve and the unit's share. So at equal advance (ω_book/ω_found)² is how many times stronger springs and
drag together must pull to be by the book, before any part is measured.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from recurve.arrays import Array
from recurve.fit.outline import Pieces
from recurve.physics.target import Target
from recurve.uncertainty import Sampled

STEP = np.radians(1.0)


@dataclass(frozen=True)
class Strength:
    """At the `advance` [rad]: how many times stronger springs and drag must pull [1] to meet the middle of the book's
    bands, `ratio`; from `low` to `high` with the bands' width and 95 % of what the readings leave open. None: they do
    not pull at all there, so that no factor helps."""

    advance: float
    ratio: float | None
    low: float | None
    high: float | None


@dataclass(frozen=True)
class BookCurve:
    """Speeds squared [rad²/s²] at the advances (k,) [rad]: the `middle` of the book's bands, the `least` and `most` they
    allow; nan where the book does not say."""

    advance: Array
    middle: Array
    least: Array
    most: Array


def book_curve(target: Target, advance: Array) -> BookCurve:
    """The book's curve at the advances (k,) [rad], straight in speed squared between its points."""
    points = sorted(
        (b for b in target.bands if b.kind == "point" and b.speed is not None), key=lambda b: b.speed or 0.0
    )
    rows = [
        ((b.speed or 0.0) ** 2, max(b.low, 0.0), 0.0 if b.from_zero else (b.low + b.high) / 2, b.high) for b in points
    ]
    if not rows:
        nothing = np.full(len(advance), np.nan)
        return BookCurve(advance, nothing, nothing, nothing)
    x, low, middle, high = np.array(rows).T
    top = target.maximum
    reach = high[-1] if top is None else top.high
    inside = advance <= reach
    return BookCurve(
        advance,
        *(np.where(inside, _first_speed(x, edge, advance), np.nan) for edge in (middle, high, low)),
    )


def _first_speed(x: Array, edge: Array, advance: Array) -> Array:
    """Speed squared at which a line through the points (x, edge) reaches each advance; nan below its first rise and
    past its end."""
    rising = np.maximum.accumulate(edge)
    # Of points on the same level only the last is where the line leaves it.
    kept = np.append(np.diff(rising) > 1e-9, True)
    begins = rising[kept][0]
    return np.where((advance >= begins) & (advance <= rising[-1]), np.interp(advance, rising[kept], x[kept]), np.nan)


def strength(target: Target, pieces: Pieces) -> tuple[Strength, ...]:
    """The ratio at every degree that both the book and the unit reach. `pieces` are equally likely outlines (n,)."""
    reach = max((b.high for b in target.bands), default=0.0)
    book = book_curve(target, np.arange(STEP, reach + 1e-9, STEP))
    found = pieces.speed_squared(book.advance)
    rows = []
    for i in np.flatnonzero(np.isfinite(book.middle)):
        at = found[:, i][np.isfinite(found[:, i])]
        if len(at) < 0.5 * len(found):
            continue
        if np.quantile(at, 0.05) <= 0.0:
            rows.append(Strength(float(book.advance[i]), None, None, None))
            continue
        least = book.least[i] if np.isfinite(book.least[i]) else 0.0
        most = book.most[i] if np.isfinite(book.most[i]) else np.inf
        rows.append(
            Strength(
                float(book.advance[i]),
                float(np.median(book.middle[i] / at)),
                float(np.quantile(least / at, 0.025)),
                float(np.quantile(most / at, 0.975)) if np.isfinite(most) else None,
            )
        )
    return tuple(rows)


BELOW_KNEE = 0.95  # of the knee's advance: so far the primary alone pulls
APART = np.radians(1.5)  # advances whose difference tells a slope, at least


def rate_needed(target: Target, pieces: Pieces) -> Sampled | None:
    """How many times stiffer [1] the spring must be that pulls below the knee, to be by the middle of the book's bands.

    Between two advances the moment of the springs grows by the rate alone: drag, and the pull at rest, drop out. So the growth
    of the book's speed squared over that of the unit's is a ratio of rates, where I′ hardly changes between them. None where
    book or readings do not reach two such advances.
    """
    knee = float(np.median(pieces.upper * pieces.largest))
    advance = np.arange(STEP / 2, BELOW_KNEE * knee, STEP / 4)
    if not len(advance):
        return None
    book, found = book_curve(target, advance).middle, pieces.speed_squared(advance)
    told = np.flatnonzero(np.isfinite(book) & np.isfinite(found).all(axis=0))
    if not len(told) or advance[told[-1]] - advance[told[0]] < APART:
        return None
    first, last = told[0], told[-1]
    grown, wanted = found[:, last] - found[:, first], book[last] - book[first]
    if np.quantile(grown, 0.05) <= 0.0 or wanted <= 0.0:
        return None
    return Sampled(wanted / np.maximum(grown, 1e-9))
