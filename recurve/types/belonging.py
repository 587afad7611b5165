"""Whether a unit is of the type that its job names: what it shows by itself against what the type says."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from recurve.arrays import Array
from recurve.errors import Key
from recurve.fit.descent import Descent, descend
from recurve.fit.fit import Fit
from recurve.job.learned import FOUND, Learned, UnitType
from recurve.job.model import Job
from recurve.types.facts import facts_of, scale_of
from recurve.units import PLACES

STARTS = 3  # states from which the best one is looked for
TELLS = 3.0  # a sweep that leaves a quantity more open than so many times what types differ by tells nothing of it
LEAST_FREEDOM = 3  # degrees of freedom of a spread, at least: its prior tells something too
DRAWN = 100_000
FOREIGN = 0.02  # chance that a unit of the type lies as far off, below which it is said not to fit
UNLIKELY, LIKELIER = 0.1, 0.5  # the same where it is likelier of another type: a chance below this, at odds below these


@dataclass(frozen=True)
class Departure:
    """One quantity of a unit against its type [SI]: the `value` that it shows, the `mean` of the type, the standard
    `deviation` of their difference, by the type's spread and by how well the value is known."""

    key: Key
    value: float
    mean: float
    deviation: float

    @property
    def size(self) -> float:
        """How many standard deviations it is off [1]."""
        return abs(self.value - self.mean) / self.deviation


@dataclass(frozen=True)
class Belonging:
    """A unit against its type (theory, equation 7): the `chance` [1] that one of the type lies as far off, the `odds` [1]
    that it is of the type rather than of any other, and the `departures`, the largest first."""

    chance: float
    odds: float
    departures: tuple[Departure, ...]

    @property
    def fits(self) -> bool:
        """Whether nothing speaks against the type."""
        return self.chance >= (UNLIKELY if self.odds < LIKELIER else FOREIGN)


def belonging(kind: UnitType, job: Job, fit: Fit | None) -> Belonging | None:
    """The unit of a `job`, and of the `fit` of its sweep, against the type that the job names; None where the unit shows
    nothing by itself that the type knows of."""
    stated = _stated(kind, job)
    swept = () if fit is None else _pulled(kind, fit)
    if not stated and not swept:
        return None
    ratio = _Ratio(0.0, 0.0, [], ()) if fit is None or not swept else _by_sweep(fit, swept)
    rows = (*stated, *ratio.departures)
    # What another type adds to how far a quantity may lie off.
    wide = [float(np.hypot(d.deviation, scale_of(d.key, "other"))) for d in stated]
    square = ratio.square + sum(d.size**2 for d in stated)
    log_odds = ratio.log_odds + sum(
        0.5 * (d.size * d.deviation / w) ** 2 - 0.5 * d.size**2 + float(np.log(w / d.deviation))
        for d, w in zip(stated, wide, strict=True)
    )
    shares = [(kind.learned[d.key].units, kind.learned[d.key].deviation ** 2 / d.deviation**2) for d in stated]
    freedom = [*ratio.freedom, *(_freedom(units, share) for units, share in shares)]
    odds = float(np.exp(np.clip(log_odds, -300.0, 300.0)))
    return Belonging(_chance(square, freedom), odds, tuple(sorted(rows, key=lambda d: -d.size)))


def _as_pooled(key: Key, one: Learned) -> Learned:
    """A rate [N/m] as it is pooled, by its logarithm."""
    if key[-1] != "rate":
        return one
    return Learned(float(np.log(one.mean)), one.spread / one.mean, one.uncertainty / one.mean, one.units)


def _stated(kind: UnitType, job: Job) -> tuple[Departure, ...]:
    """What the job states of what the type knows, its stop too."""
    told = facts_of(job, found=False).told
    return tuple(
        Departure(
            key,
            _turned(key, told[key].value, kind.learned[key].mean),
            kind.learned[key].mean,
            float(np.hypot(kind.learned[key].deviation, told[key].uncertainty)),
        )
        for key in told
        if key in kind.learned and key not in kind.taken
    )


# --- by the sweep -------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class _Pull:
    """A parameter of a fit's state against the type: where it stands in the state (`place`), the type's `mean` and `deviation`
    of it, and how far another type may lie off (`other`) [natural unit]."""

    key: Key
    place: int
    mean: float
    deviation: float
    other: float


@dataclass(frozen=True)
class _Ratio:
    """What a sweep says of the type: `square` [1], by how much χ² grows if the springs are to be the type's; the log of the odds
    [1] against another type; the degrees of `freedom` [1] of what it tells; and the springs as the sweep has them,
    by no more than what springs of any type may be."""

    square: float
    log_odds: float
    freedom: list[float]
    departures: tuple[Departure, ...]


def _pulled(kind: UnitType, fit: Fit) -> tuple[_Pull, ...]:
    """The springs found in the unit, as far as the type knows of them and the fit leaves them open."""
    names = [one.name for one in fit.model.parameters]
    pulls = []
    for place in PLACES[: len(fit.job.places)]:
        for what in FOUND:
            key = ("found", place, what)
            if key in kind.learned and f"{place}.{what}" in names:
                one = _as_pooled(key, kind.learned[key])
                pulls.append(
                    _Pull(key, names.index(f"{place}.{key[2]}"), one.mean, one.deviation, scale_of(key, "other"))
                )
    return tuple(pulls)


def _by_sweep(fit: Fit, pulls: tuple[_Pull, ...]) -> _Ratio:
    """The ratio of likelihoods (theory, equation 6): the best state with the springs held to the type against the best one with
    nothing said of them. A middle and a ± of the springs by the sweep alone would not do: it may allow springs quite unlike
    each other, and what the trade usually has must not choose between them."""
    model = fit.model
    low, high = model.bounds()
    places = np.array([p.place for p in pulls])
    mean, own, other = (np.array([getattr(p, name) for p in pulls]) for name in ("mean", "deviation", "other"))
    unsaid = [p.place for p in pulls if not model.parameters[p.place].measured]

    def free(states: Array) -> Array:
        kept = states.copy()
        kept[:, unsaid] = 0.0
        return np.concatenate([model.misfit(states)[0], model.off_facts(states), kept], axis=1)

    def held(deviation: Array) -> Callable[[Array], Array]:
        def residuals(states: Array) -> Array:
            off = (model.natural(states)[:, places] - mean) / deviation
            return np.concatenate([free(states), off], axis=1)

        return residuals

    def best(residuals: Callable[[Array], Array], starts: Array) -> Descent:
        squares = (residuals(starts) ** 2).sum(axis=1)
        ends = descend(residuals, starts[np.argsort(squares)[:STARTS]], low, high, flat=0.5)
        return min(ends, key=lambda d: d.squares)

    usual = np.tile(fit.best, (1, 1))
    usual[:, places] = (mean - np.array([model.parameters[i].middle for i in places])) / np.array(
        [model.parameters[i].spread for i in places]
    )
    states = np.clip(np.concatenate([fit.best[None], usual, fit.samples.states]), low, high)
    typed = best(held(own), states)
    else_ = best(held(np.hypot(own, other)), np.concatenate([typed.state[None], states]))
    alone = best(free, np.concatenate([typed.state[None], else_.state[None], states]))
    square = max(typed.squares - alone.squares, 0.0)
    # Both descents may end a little above their lowest point; no less than 0 can be lost.
    farther = max(else_.squares - alone.squares, 0.0)
    spread = np.array([model.parameters[i].spread for i in places])
    known = alone.covariance[np.ix_(places, places)] * np.outer(spread, spread)
    volumes = [float(np.linalg.slogdet(np.diag(d**2) + known)[1]) for d in (own, np.hypot(own, other))]
    values = model.natural(else_.state[None])[0, places]
    deviations = np.sqrt(own**2 + np.diag(else_.covariance)[places] * spread**2)
    rows = tuple(
        Departure(p.key, float(v), p.mean, float(d)) for p, v, d in zip(pulls, values, deviations, strict=True)
    )
    units = min(fit.job.kind.learned[p.key].units for p in pulls) if fit.job.kind is not None else 1
    freedom = _freedoms(known, own, other, units)
    return _Ratio(square, 0.5 * (farther - square + volumes[1] - volumes[0]), freedom, rows)


def _freedoms(known: Array, own: Array, other: Array, units: int) -> list[float]:
    """Degrees of freedom [1] of each combination of the springs' figures that the sweep tells: those whose covariance `known`
    (k, k) is not far wider than types differ. By a sweep a stronger spring and one drawn farther may be the same."""
    sizes, ways = np.linalg.eigh(known / np.outer(other, other))
    by_type = (ways**2).T @ (own / other) ** 2
    return [_freedom(units, float(t / (t + max(c, 0.0)))) for t, c in zip(by_type, sizes, strict=True) if c < TELLS**2]


def _turned(key: Key, value: float, near: float) -> float:
    """An angle [rad] within half a turn of the type's."""
    return near + (value - near + np.pi) % (2 * np.pi) - np.pi if key[-1] == "angle" else value


def _freedom(units: int, share: float) -> float:
    """Degrees of freedom [1] of a difference of which the type makes this `share` of the variance [1] (Welch and Satterthwaite;
    from memory): of the type's spread, as many as it has units but one, of what was measured or fitted no end."""
    return float(max(units - 1, LEAST_FREEDOM) / max(share, 1e-6) ** 2)


def _chance(square: float, freedom: list[float]) -> float:
    """The chance [1] that quantities with so many degrees of freedom each lie as far off in all: the sum of the squares of as
    many t distributions, by drawing them."""
    random = np.random.default_rng(17)
    drawn = sum(random.standard_t(min(one, 1e6), DRAWN) ** 2 for one in freedom)
    return float((1 + (np.asarray(drawn) >= square).sum()) / (DRAWN + 1))
