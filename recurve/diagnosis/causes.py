"""Which parts keep a unit out of its bands: each is made sound in thought, in many states of the unit, and the bands are
judged again.

A stop is sound in the middle of its band, friction at what a clean and oiled spindle has, and a spring where one exists that
brings the curve into all bands with everything else left as it is. The parts to blame are the fewest with which the curve is
back in its bands in most states that the readings allow; of equally many, those that a repair mends come before springs.

A spring is changed by what the curve shows of it. With the moment T_d of the rubbing block, the speed ω̄(α) without friction
gives the moment that the springs must make

    τ(α) = ½ ω̄² I′(α) − T_d                                                                        (1)

A primary is given by ω̄ at rest and at one more advance, a second spring by its take-up and by ω̄ near the stop. They are
searched in the middle state; in every other state the spring is the one whose curve goes through the same points.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from functools import cache, lru_cache
from itertools import combinations

import numpy as np
from numpy.typing import NDArray

from recurve.arrays import Array
from recurve.data import default
from recurve.fit.state import SURE, Evidence
from recurve.inspection.findings import Cause
from recurve.physics.ensemble import Shapes, Units, curves
from recurve.physics.target import Target, margins, passes
from recurve.planner.ideal import Ideal
from recurve.uncertainty import chance_words
from recurve.units import RPM

SOUND = 0.9  # probability of meeting every band that makes a unit sound
ENOUGH = 0.8  # fraction of the states that must be back in the bands
LIKELY = 0.4  # fraction of the states from which another set of parts is worth a word
SLUGGISH = np.radians(1.0)  # most distance between rising and falling; common practice, no source
STATES = 64
LEAST_LEVER = 1e-9  # m/rad; a spring with less moves nothing
GRID, COARSE = 22, 7  # values of each number that are tried at first, of one spring and of two
STARTS = 4  # the best of them, from which the search goes on, in steps that become SMALLER [log]
FIRST_STEP, FIRST_ROUNDS, SMALLER = 0.3, 10, 0.7
OWN_STEP, OWN_ROUNDS = 0.1, 4  # then in each state
POINTS = 24  # advances of a curve on either side of the second take-up
ONSETS = (
    120 / RPM,
    1000 / RPM,
)  # ω̄ at rest of a sound primary, at least and at most [rad/s]; common practice, no source
CLIMBS = (1.05, 6.0)  # how many times faster the curve is near the stop than at rest
KNEES = (1.02, 3.0)  # likewise at the knee than at rest
AT_STOP = (0.4, 2.2)  # ω̄ near the stop against the highest speed of a band
NEAR_STOP = 0.95
LEAST_SPRING = 1.0  # rate of a spring [N/m], at least

NAMES = {
    Cause.STOP: "the stop",
    Cause.FRICTION: "friction",
    Cause.PRIMARY: "the primary",
    Cause.SECONDARY: "the secondary",
}
MENDED = (Cause.STOP, Cause.FRICTION)  # by a repair, without other springs
SPRUNG = (Cause.PRIMARY, Cause.SECONDARY)


@dataclass(frozen=True)
class Blame:
    """The `causes`, the fewest parts with which, made sound, all bands are met in the fraction `share` [1] of the states;
    none if not even all parts together do it. `needed`: the fraction [1] of the states that stay out of their bands with
    all parts made sound but this one, for every part that was looked at. `either` if the other spring would do as well as
    the one that is named, and the bands do not tell which. `apart`: the probability [1] that rising and falling curve lie as
    far apart as those of a sluggish unit."""

    causes: tuple[Cause, ...]
    share: float
    needed: dict[Cause, float]
    either: bool = False
    apart: float = 0.0

    def surely(self, cause: Cause) -> bool:
        """Whether the unit needs this part put right, whatever else is done."""
        return self.needed.get(cause, 0.0) >= ENOUGH

    @property
    def open_friction(self) -> bool:
        """Whether friction may be to blame, and may not; where a spring surely is, and the curves hardly lie apart, friction is a
        question beside it."""
        sprung = any(self.surely(cause) for cause in SPRUNG) and self.apart < LIKELY
        return Cause.FRICTION in self.causes and not self.surely(Cause.FRICTION) and not sprung

    def words(self) -> tuple[str, ...]:
        """In words, a sentence; none where no parts are blamed."""
        if not self.causes:
            return ()
        named = ["one of the two springs" if self.either and c in SPRUNG else NAMES[c] for c in self.causes]
        parts = named[0] if len(named) == 1 else f"{', '.join(named[:-1])} and {named[-1]}"
        return (
            f"with {parts} put right and nothing else touched, the unit meets every band with a probability of "
            f"{chance_words(self.share)}",
        )


@lru_cache(maxsize=4)
def as_blamed(evidence: Evidence, ideal: Ideal | None) -> tuple[float | None, Blame | None]:
    """The probability [1] that the unit meets every band as it is, None without bands; and the parts that keep it out of
    them, None where it meets them. `ideal` are the springs that the bands ask for."""
    target = evidence.job.target
    if target is None:
        return None, None
    passing = float(passes(target, evidence.curves).mean())
    return passing, blame(evidence, ideal) if passing < SOUND else None


def blame(evidence: Evidence, ideal: Ideal | None) -> Blame | None:
    """The parts that keep the unit of the evidence out of its bands; None without bands to judge by. Where either spring
    alone would do, it is the primary if the curve is off below the knee that the `ideal` springs have, else the second."""
    target = evidence.job.target
    if target is None or not target.bands:
        return None
    search = _Search(target, evidence.model.shapes, _units(evidence))
    parts = _candidates(evidence)

    @cache
    def margin(causes: tuple[Cause, ...]) -> Array:
        # A part that may be put right may be left as it is too: the search among more springs can fail where one does.
        fewer = [tuple(p for p in causes if p is not part) for part in causes]
        return np.asarray(np.maximum.reduce([search.without(causes), *(margin(some) for some in fewer)]))

    def share(causes: tuple[Cause, ...]) -> float:
        return float((margin(causes) >= 0.0).mean())

    if share(tuple(p for p in parts if p in MENDED)) >= ENOUGH:
        # What repairs alone bring back is not the springs' doing, so that these are not searched.
        parts = tuple(p for p in parts if p in MENDED)
    needed = {part: 1.0 - share(tuple(p for p in parts if p is not part)) for part in parts}
    # Whatever is not to be done without is in every set that is enough.
    must = tuple(p for p in parts if needed[p] > 1.0 - ENOUGH)
    rest = tuple(p for p in parts if p not in must)
    for size in range(len(rest) + 1):
        sets = [tuple(p for p in parts if p in must or p in more) for more in combinations(rest, size)]
        enough = [some for some in sets if share(some) >= ENOUGH]
        if enough:
            # Repairs come before springs.
            below = _off_below_knee(evidence, ideal)
            unlikely = Cause.SECONDARY if below > 0.5 else Cause.PRIMARY
            best = min(
                enough, key=lambda some: (sum(p in SPRUNG for p in some), unlikely in some, -float(margin(some)[0]))
            )
            springs = tuple(p for p in SPRUNG if p in best)
            # A sound unit runs near the middle of its bands: where the other spring would bring it as near, it may be that one.
            against = springs == (unlikely,)
            mended = tuple(p for p in parts if p in MENDED and (p in best or against))
            other = (*mended, *(p for p in parts if p in SPRUNG and p not in best))
            as_near = against or 1 - SURE < below < SURE or margin(other)[0] >= margin(best)[0]
            either = len(springs) == 1 < len(evidence.job.places) and bool(as_near) and share(other) >= LIKELY
            return Blame(best, share(best), needed, either, evidence.apart.above(SLUGGISH))
    return Blame((), share(parts), needed)


def knee(evidence: Evidence, ideal: Ideal | None) -> float:
    """The take-up [rad] of the secondary that the target's curve asks for; infinite with one spring."""
    if len(evidence.job.places) < 2:
        return float(np.inf)
    wanted = None if ideal is None or len(ideal.springs) < 2 else ideal.springs[1].takeup
    target = evidence.job.target
    top = 0.0 if target is None else max(b.high for b in target.bands)
    return 0.45 * top if wanted is None else max(wanted, 0.2 * top)


def _off_below_knee(evidence: Evidence, ideal: Ideal | None) -> float:
    """Probability [1] that a band is missed that lies below the knee."""
    target, at = evidence.job.target, knee(evidence, ideal)
    below = [] if target is None else [b for b in target.timed if (b.low + b.high) / 2 <= at]
    if not below:
        return 0.0
    speeds = np.array([b.speed for b in below], float)
    rising, falling = evidence.rising(speeds), evidence.falling(speeds)
    off = [(b.margin(rising[:, i]) < 0.0) | (b.margin(falling[:, i]) < 0.0) for i, b in enumerate(below)]
    return float(np.logical_or.reduce(off).mean())


def repaired(evidence: Evidence, causes: tuple[Cause, ...]) -> Evidence:
    """The evidence as it would be with those of the causes mended that a repair mends: stop and friction."""
    model, natural = evidence.model, evidence.natural.copy()
    middle, spread = (np.array([getattr(p, n) for p in model.parameters]) for n in ("middle", "spread"))
    for name, value in _sound(evidence, causes).items():
        at = next(i for i, p in enumerate(model.parameters) if p.name == name)
        natural[:, at] = value if name == "stop" else np.minimum(natural[:, at], value)
    states = (natural - middle) / spread
    return replace(evidence, ensemble=replace(evidence.ensemble, states=states))


def _candidates(evidence: Evidence) -> tuple[Cause, ...]:
    target = evidence.job.target
    stop = (Cause.STOP,) if target is not None and target.maximum is not None else ()
    return (*stop, Cause.FRICTION, *SPRUNG[: len(evidence.job.places)])


def _sound(evidence: Evidence, causes: tuple[Cause, ...]) -> dict[str, float]:
    """Parameters of the state with their sound values [SI]."""
    values: dict[str, float] = {}
    if Cause.STOP in causes:
        values["stop"] = _middle(evidence.job.target)
    if Cause.FRICTION in causes:
        values |= {"friction": _clean("friction", "moment"), "friction_share": _clean("friction_share", "number")}
    return values


def _clean(key: str, dimension: str) -> float:
    """What a clean and oiled unit has."""
    return default("clean", key, dimension)


def _middle(target: Target | None) -> float:
    """The middle of the maximum's band [rad]."""
    assert target is not None and target.maximum is not None  # the stop is a candidate only then
    return (target.maximum.low + target.maximum.high) / 2


def _units(evidence: Evidence) -> Units:
    """The middle state, then STATES of the others."""
    states = evidence.ensemble.states
    step = max(len(states) // STATES, 1)
    return evidence.model.units(np.concatenate([evidence.ensemble.middle[None], states[::step][:STATES]]))


def _row(units: Units, count: int) -> Units:
    """The first unit, `count` times."""
    return _some(units, np.zeros(count, int))


def _each(units: Units, times: int) -> Units:
    """Each unit so many times, one after the other."""
    return _some(units, np.repeat(np.arange(len(units.stop)), times))


def _some(units: Units, rows: NDArray[np.intp]) -> Units:
    """Some of the units."""
    return replace(units, **{n: column[rows] for n, column in vars(units).items() if column is not None})


def _grid(ends: Array, count: int) -> Array:
    """All points (count ** k, k) of a grid between `ends` (k, 2)."""
    axes = [np.linspace(low, high, count) for low, high in ends]
    return np.stack(np.meshgrid(*axes, indexing="ij"), axis=-1).reshape(-1, len(ends))


@dataclass(frozen=True)
class _Search:
    """The target, and units whose parts are made sound; the first is the middle state."""

    target: Target
    shapes: Shapes
    units: Units

    def without(self, causes: tuple[Cause, ...]) -> Array:
        """The worst margins (n,) [1] of the units with the parts of these causes made sound."""
        units = self._mended(causes)
        margin = self._margin(units)
        search = {(True, True): self._both, (True, False): self._primary, (False, True): self._secondary}
        changed = search.get((Cause.PRIMARY in causes, Cause.SECONDARY in causes))
        if changed is None:
            return margin
        # No spring helps where the stop itself is out of its band. Such a unit must not lead the search for the others astray.
        band = self.target.maximum
        if band is None:
            return np.maximum(margin, self._margin(changed(units)))
        able = band.margin(units.stop) >= 0.0
        if not able.any():
            return margin
        sound = replace(units, stop=np.clip(units.stop, band.low, band.high))
        return np.where(able, np.maximum(margin, self._margin(changed(sound))), margin)

    @property
    def _at_stop(self) -> tuple[float, float]:
        """ω̄ near the stop [rad/s] between which a spring is sought."""
        fastest = max((b.speed or 0.0 for b in self.target.timed), default=1500 / RPM)
        return AT_STOP[0] * fastest, AT_STOP[1] * fastest

    def _margin(self, units: Units) -> Array:
        worst = margins(self.target, curves(self.shapes, units, POINTS))
        return np.where((units.rate >= LEAST_SPRING).all(axis=1), worst, -np.inf)

    def _mended(self, causes: tuple[Cause, ...]) -> Units:
        units = self.units
        if Cause.STOP in causes:
            units = replace(units, stop=np.full_like(units.stop, _middle(self.target)))
        if Cause.FRICTION in causes:
            units = replace(
                units,
                friction=np.minimum(units.friction, _clean("friction", "moment")),
                friction_share=np.minimum(units.friction_share, _clean("friction_share", "number")),
            )
        return units

    def _primary(self, units: Units) -> Units:
        """A primary that brings the middle unit nearest to the middle of its bands, in all units."""
        here = NEAR_STOP * float(units.stop[0])

        def made(units: Units, x: Array) -> Units:
            return self._with_primary(units, x[:, 0], x[:, 0] * x[:, 1], np.full(len(x), here))

        return self._best(units, made, np.log((ONSETS, CLIMBS)), GRID)

    def _secondary(self, units: Units) -> Units:
        """A second spring likewise."""
        stop = float(units.stop[0])

        def made(units: Units, x: Array) -> Units:
            return self._with_secondary(units, x[:, 0], x[:, 1], np.full(len(x), NEAR_STOP * stop))

        return self._best(units, made, np.log(((0.03 * stop, 0.93 * stop), self._at_stop)), GRID)

    def _both(self, units: Units) -> Units:
        """Both springs likewise: the primary by ω̄ at rest and where the second one takes up."""
        stop = float(units.stop[0])

        def made(units: Units, x: Array) -> Units:
            rest, to_knee, knee, near = x.T
            alone = _with_spring(units, 1, *np.zeros((3, len(x))))
            first = self._with_primary(alone, rest, rest * to_knee, knee)
            return self._with_secondary(first, knee, near, np.full(len(x), NEAR_STOP * stop))

        ends = np.log((ONSETS, KNEES, (0.1 * stop, 0.9 * stop), self._at_stop))
        return self._best(units, made, ends, COARSE)

    def _best(self, units: Units, made: Callable[[Units, Array], Units], ends: Array, count: int) -> Units:
        """The units (n,), each with those springs, given by k numbers, that bring it nearest to the middle of its bands: from
        a logarithmic grid of `count` values each between `ends` (k, 2) for the middle unit, then about its best for each."""
        tried = _grid(ends, count)
        margin = self._margin(made(_row(units, len(tried)), np.exp(tried)))
        first = tried[np.argsort(-margin, kind="stable")[:STARTS]]
        first, margin = self._climb(_row(units, STARTS), made, first, FIRST_STEP, FIRST_ROUNDS)
        near = np.tile(first[int(margin.argmax())], (len(units.stop), 1))
        out = np.flatnonzero(self._margin(made(units, np.exp(near))) < 0.0)
        if len(out):
            near[out], _ = self._climb(_some(units, out), made, near[out], OWN_STEP, OWN_ROUNDS)
        return made(units, np.exp(near))

    def _climb(
        self, units: Units, made: Callable[[Units, Array], Units], at: Array, step: float, rounds: int
    ) -> tuple[Array, Array]:
        """From numbers `at` (n, k) of each unit's springs to better ones, by the best of all neighbours, nearer ones each
        round; and the margins (n,) [1] there."""
        n, k = at.shape
        around = _grid(np.tile((-1.0, 1.0), (k, 1)), 3)
        margin = np.full(n, -np.inf)
        for turn in range(rounds):
            tried = (at[:, None] + step * SMALLER**turn * around).reshape(-1, k)
            got = self._margin(made(_each(units, len(around)), np.exp(tried))).reshape(n, -1)
            at, margin = at + step * SMALLER**turn * around[got.argmax(axis=1)], got.max(axis=1)
        return at, margin

    def _with_primary(self, units: Units, rest: Array, near: Array, here: Array) -> Units:
        """Units (n,) whose primaries give ω̄ `rest` [rad/s] at rest, and `near` [rad/s] at the advance `here` [rad]."""
        zero = np.zeros_like(here)
        # A spring from or to the shaft's own axis has no lever: no pull of it does what is wanted.
        reach = units.reaching(0)
        begins, ends = (np.maximum(reach * self._read(self.shapes.lever[0], at), LEAST_LEVER) for at in (zero, here))
        pull = np.maximum(self._wanted(units, rest, zero, 0) / begins, 0.0)
        climb = self._wanted(units, near, here, 0) / ends - pull
        rate = climb / np.maximum(reach * self._read(self.shapes.stretch[0], here), LEAST_LEVER * here)
        tension = np.minimum(units.tension[:, 0], pull)
        with np.errstate(divide="ignore", invalid="ignore"):
            stretch = np.where(rate > 0.0, (pull - tension) / rate, 0.0)
        return _with_spring(units, 0, rate, stretch, tension)

    def _with_secondary(self, units: Units, takeup: Array, near: Array, here: Array) -> Units:
        """Units (n,) whose second springs take up at `takeup` [rad], and give ω̄ `near` [rad/s] at the advance `here` [rad]."""
        reach = units.reaching(1)
        stretched = reach * self._read(self.shapes.stretch[1], takeup), reach * self._read(self.shapes.stretch[1], here)
        pull = self._wanted(units, near, here, 1) / (reach * self._read(self.shapes.lever[1], here))
        rate = pull / np.maximum(stretched[1] - stretched[0], 1e-9)
        return _with_spring(units, 1, rate, -stretched[0], np.zeros_like(pull))

    def _wanted(self, units: Units, speed: Array, here: Array, place: int) -> Array:
        """The moment [N·m] that a spring must make at the advance `here` (n,) [rad]: equation (1) less the other spring."""
        slope = self._read(self.shapes.slope, here)
        for i, mode in enumerate(self.shapes.modes):
            slope = slope * np.exp(units.modes[:, i] * self._read(mode, here))
        moment = 0.5 * speed**2 * slope - units.drag
        for other in range(len(self.shapes.stretch)):
            if other != place:
                reach = units.reaching(other)
                stretched = units.stretch[:, other] + reach * self._read(self.shapes.stretch[other], here)
                pull = np.where(stretched >= 0.0, units.tension[:, other] + units.rate[:, other] * stretched, 0.0)
                moment = moment - pull * reach * self._read(self.shapes.lever[other], here)
        return np.asarray(moment)

    def _read(self, table: Array, here: Array) -> Array:
        return np.interp(here, self.shapes.advance, table)


def _with_spring(units: Units, place: int, rate: Array, stretch: Array, tension: Array) -> Units:
    """Units (n,) with another spring in a place; a rate below 0 is none that can be had, and is left to be refused."""
    changed = {}
    for name, values in (("rate", np.maximum(rate, 0.0)), ("stretch", stretch), ("tension", tension)):
        column = getattr(units, name).copy()
        column[:, place] = values
        changed[name] = column
    return replace(units, **changed)
