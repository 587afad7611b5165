"""Slips of the pen in a job: where a sweep contradicts what was measured, single changes of what is written are tried.

Each change is one that is made in practice: the weights of two written as those of one, a free length taken over the hooks,
springs exchanged, crank figures. The sweep is fitted again with each, and the marginal likelihoods are compared: by Laplace's
approximation, the height of each mode of the posterior and the volume of its normal distribution. What is told is the change
that explains the sweep, with its probability beside all others and beside no slip at all; wear is not spoken of before that.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from functools import lru_cache

import numpy as np

from recurve.arrays import Array
from recurve.diagnosis.causes import SPRUNG
from recurve.diagnosis.slips import SlipOdds
from recurve.fit.fit import Fit
from recurve.fit.model import SweepModel
from recurve.fit.posterior import find_modes, spread_starts
from recurve.inspection.findings import Cause, Finding, Words
from recurve.job.measured import MeasuredDrive
from recurve.job.model import Job
from recurve.planner.springset import post_diameter
from recurve.uncertainty import chance_words
from recurve.units import INCH, PLACES, POUND_FORCE

RARE = 1e-3  # chance that a sweep contradicts what was measured so much without a slip
COMMON = 0.01  # probability of each slip before anything is read; common practice, no source
SUSPECTED = 0.5  # probability of a slip from which it is told before any wear
OUTSIDE_HOOKS, WIRES = 1.6e-3, 0.3e-3  # two wires, and their standard uncertainty [m]; common practice, no source
POST, POSTS = (
    2.5e-3,
    0.2e-3,
)  # a post, where the job does not tell, and its standard uncertainty [m]; common practice, no source
NOTHING = 1e-3  # of its pull, that of a spring which is off its post
OFF_ZERO, OFF_STOP = np.radians(1.5), np.radians(2.5)  # how far such a slip is off; common practice, no source
# How far another spring may be off the one described: its rate, by logarithm [1], and its length [m]; common practice, no source
OTHER_RATE, OTHER_LENGTH = 0.35, 0.5e-3
STARTS = 3
HOPELESS = 30.0  # a mode so far below a rival's marginal likelihood, in logs, will not come near it
ASKED = 0.02  # probability of a slip by the book from which the measured parts are asked too


_QUESTIONS = {
    Cause.CRANK_FIGURES: (
        "crank and distributor figures mixed up?",
        'check what the bench shows; in [sweep], set basis (or speed_basis and advance_basis) to "crank" or "distributor"',
    ),
    Cause.SPRINGS: (
        "primary and secondary exchanged?",
        "check which spring hangs on which posts, and what the job says of each; the primary pulls first",
    ),
    Cause.READINGS: (
        "was zero set with the weights home?",
        "hold the weights home by hand and read the pointer: if it does not show 0, set zero and sweep again",
    ),
    **dict.fromkeys(
        SPRUNG,
        (
            "is a spring off its post, or broken?",
            "stop the bench; see that each spring is hooked in at both ends and whole, and sweep again",
        ),
    ),
    Cause.STOP: (
        "is the stop's advance in the job that of this unit?",
        "turn the cam to its stop by hand against a degree wheel, three times, and correct stop.advance. If the wheel agrees "
        "with the job, the stop gives way at speed, or a vacuum line was connected",
    ),
}


@dataclass(frozen=True)
class PenSlip:
    """A slip: what was probably done, in `words`, what part of the job it is (`cause`), and its probability `chance` [1]."""

    words: str
    cause: Cause
    chance: float


@dataclass(frozen=True)
class Written(Finding):
    """What is written contradicts the sweep, and the `slips` would explain it, the likeliest first."""

    slips: tuple[PenSlip, ...]

    @property
    def cause(self) -> Cause:
        """Crank figures, or another slip."""
        return self.slips[0].cause

    def words(self) -> Words:
        """The finding in words."""
        first, *others = self.slips
        told = "".join(f"; or {s.words} ({chance_words(s.chance)})" for s in others)
        what, remedy = _QUESTIONS.get(
            self.cause, ("a slip in what is written?", "measure that again and correct the job")
        )
        return Words(
            what,
            f"the sweep and the measured parts contradict each other. Everything agrees if {first.words}: "
            f"probability {chance_words(first.chance)}{told}",
            "if so, every result here is wrong",
            remedy,
        )


@dataclass(frozen=True)
class _Tried:
    """A change that was tried: in `words`, what it concerns (`cause`), its probability `chance` [1], whether nothing contradicts
    it then (`agrees`), and `place`: of a spring that is another one than described, which is no slip; None for a slip."""

    words: str
    cause: Cause
    chance: float
    agrees: bool
    place: int | None


def pen_slip(fit: Fit) -> Written | None:
    """The slip that explains a sweep which contradicts what was measured; None if it does not, or no single slip does. A spring
    that is worn, or another one, is no slip, but takes its share of the probability."""
    if not contradicted(fit):
        return None
    slips = [PenSlip(t.words, t.cause, t.chance) for t in _tried(fit) if t.agrees and t.place is None]
    slips = sorted((s for s in slips if s.chance >= 0.05), key=lambda s: -s.chance)
    if not slips or sum(s.chance for s in slips) < SUSPECTED:
        return None
    return Written("check first", tuple(slips[:3]))


def likely_other_spring(fit: Fit) -> tuple[int, float] | None:
    """The place whose spring is likelier another one than described than anything else, and the probability [1] of that; None
    where there is none. It is held against what is described, against a spring that is off, and against every slip where the
    sweep contradicts what was measured."""
    tried = [t for t in _tried(fit) if t.place is not None]
    likeliest = max(tried, key=lambda t: t.chance, default=None)
    if likeliest is None or likeliest.place is None or likeliest.chance < SUSPECTED:
        return None
    return likeliest.place, likeliest.chance


@lru_cache(maxsize=4)
def contradicted(fit: Fit) -> bool:
    """Whether the readings contradict what was measured more than chance would make them, whatever the state of the unit."""
    model = _as_stated(fit)
    best = float((model.residuals(fit.best[None]) ** 2).sum())
    return _contradicts(model, best) and _contradicts(model, _fitted(model, fit.best)[0])


def _as_stated(fit: Fit) -> SweepModel:
    """The model with every reading, as stated: not as enlarged to what wrong figures would need, for outliers may be good
    readings of others."""
    assert fit.job.sweep is not None  # it was fitted
    return replace(fit.model, sweep=fit.job.sweep)


@lru_cache(maxsize=4)
def _tried(fit: Fit) -> tuple[_Tried, ...]:
    """What would explain the sweep, each with its probability beside all others and beside no change at all. Slips are tried
    only where the sweep contradicts what was measured."""
    model = _as_stated(fit)
    logs, told = [_fitted(model, fit.best)[1] + float(np.log(1.0 - COMMON))], []
    for words, cause, changed, place in _candidates(fit, model):
        off = _turned_back(changed, model) + float(np.log(COMMON))
        strain, found = _fitted(changed, fit.best, max(logs) - off)
        logs.append(found + off)
        told.append((words, cause, not _contradicts(changed, strain), place))
    if not np.isfinite(max(logs)):  # nothing that was measured is possible, whatever is changed
        return ()
    weights = np.exp(np.array(logs) - max(logs))
    chances = weights / weights.sum()
    return tuple(_Tried(w, c, float(p), agrees, i) for (w, c, agrees, i), p in zip(told, chances[1:], strict=True))


def _candidates(fit: Fit, model: SweepModel) -> Iterator[tuple[str, Cause, SweepModel, int | None]]:
    """What may explain the sweep: in words, what it concerns, the model, and the place of a spring that is another one."""
    for i, other in _other_springs(fit.job, model):
        yield f"the {PLACES[i]} is another spring than described", SPRUNG[i], other, i
    changes = _changes(fit.job, model) if contradicted(fit) else _off_their_posts(fit.job, model)
    for words, cause, changed in changes:
        yield words, cause, changed, None


def heard(odds: SlipOdds, fit: Fit) -> SlipOdds:
    """The odds of crank figures by the book alone, once what was measured of the parts is heard too: each slip of the sweep
    is undone and fitted again, and its odds are multiplied by the marginal likelihoods. A book's slip leaves the fit as it
    is. Where little was measured, this changes little."""
    sweep = fit.job.sweep
    assert sweep is not None  # it was fitted
    model, ratio = replace(fit.model, sweep=sweep), fit.job.speed_ratio
    asked = [s for s, chance in odds.chance.items() if chance >= ASKED and odds.source.get(s) not in (None, "book")]
    if not asked:
        return odds
    plain = _fitted(model, fit.best)[1] + float(np.log(1.0 - COMMON))
    for _, _, over in _changed_over(fit.job, model):  # the other thing that makes all speeds look too high
        plain = float(np.logaddexp(plain, _fitted(over, fit.best)[1] + np.log(COMMON)))
    if not np.isfinite(plain):
        return odds
    told = {}
    for slip in asked:
        speed, advance = (ratio**-power for power in slip.value)
        changed = replace(model, sweep=sweep.scaled(speed, advance))
        told[slip] = _fitted(changed, fit.best)[1] + _turned_back(changed, model) - plain
    most = max(0.0, *told.values())
    weight = {s: chance * float(np.exp(told.get(s, 0.0) - most)) for s, chance in odds.chance.items()}
    total = sum(weight.values())
    return replace(odds, chance={s: w / total for s, w in weight.items()})


def _turned_back(changed: SweepModel, model: SweepModel) -> float:
    """Log [1] of how much denser readings lie in the terms of the changed model than as they were written."""
    return len(model.sweep.speed) * float(np.log(changed.sweep.reading / model.sweep.reading))


def _fitted(model: SweepModel, near: Array, rival: float = -np.inf) -> tuple[float, float]:
    """The strain of the best state, which is sought also from the state `near`: χ² of readings and of everything measured [1];
    and the log of the marginal likelihood [1], up to a constant that all changes of a model share. Where two descents end
    far below the log of a `rival` already fitted, no more are made."""
    from scipy.special import logsumexp

    low, high = model.bounds()
    starts = spread_starts(model.log_density, low, high, STARTS, model.kind, screened=1024)
    best = starts[int(model.log_density(starts).argmax())]
    modes = find_modes(model.residuals, model.log_density, np.stack([np.clip(near, low, high), best]), low, high)
    if modes[0].height > rival - HOPELESS:
        modes = find_modes(
            model.residuals, model.log_density, np.stack([*(m.state for m in modes), *starts]), low, high
        )
    strain = float((model.residuals(modes[0].state[None]) ** 2).sum())
    logs = np.array([m.height + 0.5 * np.linalg.slogdet(m.covariance)[1] for m in modes])
    return strain, float(logsumexp(logs))  # −inf where no state within the bounds is possible at all


def _contradicts(model: SweepModel, strain: float) -> bool:
    """Whether readings and measured parts disagree more than chance would make them."""
    from scipy.special import chdtrc

    return bool(chdtrc(len(model.sweep.speed) + len(model.facts), strain) < RARE)


def _changes(job: Job, model: SweepModel) -> Iterator[tuple[str, Cause, SweepModel]]:
    """Single slips, each undone: what was done, what it concerns, and the model without it."""
    yield from _of_the_sweep(job, model)
    yield from _of_the_weights(job, model)
    yield from _of_the_springs(job, model)


def _of_the_sweep(job: Job, model: SweepModel) -> Iterator[tuple[str, Cause, SweepModel]]:
    yield from _of_the_wheel(model)
    ratio = job.speed_ratio
    if ratio == 1.0:
        return
    for by, of, for_ in ((1 / ratio, "crank", "distributor"), (ratio, "distributor", "crank")):
        for speed, advance, what in (
            (by, by, "speeds and advances"),
            (by, 1.0, "the speeds"),
            (1.0, by, "the advances"),
        ):
            words = f"{what} are {of} figures, entered as {for_} figures"
            yield words, Cause.CRANK_FIGURES, replace(model, sweep=model.sweep.scaled(speed, advance))


def _of_the_wheel(model: SweepModel) -> Iterator[tuple[str, Cause, SweepModel]]:
    """A zero that was not set with the weights home, and a stop that is not this unit's."""

    def wider(name: str, by: float) -> SweepModel:
        one = next(p for p in model.parameters if p.name == name)
        other = replace(one, spread=float(np.hypot(one.spread, by)), measured=False)
        return replace(model, parameters=tuple(other if p is one else p for p in model.parameters))

    if model.sweep.static_known and model.sweep.zeroed_at is None:
        yield (
            "every advance is off by one and the same amount, as by a wrong zero",
            Cause.READINGS,
            wider("zero", OFF_ZERO),
        )
    yield "the stop's advance is not this unit's", Cause.STOP, wider("stop", OFF_STOP)


def _of_the_weights(job: Job, model: SweepModel) -> Iterator[tuple[str, Cause, SweepModel]]:
    weights = job.measured.weights
    count = weights.count

    def heavier(by: float) -> SweepModel:
        return replace(model, shapes=replace(model.shapes, slope=model.shapes.slope * by))

    if weights.mass is None:
        return
    yield f"the mass is that of all {count} weights, entered as the mass of one", Cause.SLIP, heavier(1 / count)
    if count == 1:
        yield "the unit has 2 weights, not 1", Cause.SLIP, heavier(2.0)
    if isinstance(weights.motion, MeasuredDrive):
        for name, drive in _mirrored(weights.motion):
            motion = drive.motion
            slope = weights.weights(motion).inertia_slope(model.shapes.advance)
            if np.isfinite(slope).all() and (slope > 0.0).all():
                changed = replace(model, shapes=replace(model.shapes, slope=np.asarray(slope)))
                yield f"the angle of {name} has the wrong sign", Cause.SLIP, changed


def _mirrored(drive: MeasuredDrive) -> Iterator[tuple[str, MeasuredDrive]]:
    """The drive with the sign of one angle turned, and which."""
    for i, name in enumerate(("pivot", "cg", "pin", "cam")[: len(drive.points)]):
        point = drive.points[i]
        if i and not point.flat:
            first, second = point.coordinates
            turned = replace(point, coordinates=(first, replace(second, value=-second.value)))
            yield name, replace(drive, points=(*drive.points[:i], turned, *drive.points[i + 1 :]))


def _of_the_springs(job: Job, model: SweepModel) -> Iterator[tuple[str, Cause, SweepModel]]:
    springs = job.measured.springs
    long = [i for i, s in enumerate(springs) if s.free_length is not None]
    rated = [i for i, s in enumerate(springs) if s.rate is not None]
    if long:
        words = (
            f"the free lengths were taken over the outside of the hooks (about {1e3 * OUTSIDE_HOOKS:.1f} mm too long)"
        )
        yield words, Cause.SLIP, _moved(model, "stretch", dict.fromkeys(long, OUTSIDE_HOOKS), WIRES)
        posts = {i: post_diameter(job.places[i].posts) or POST for i in long}
        apart = f"{1e3 * max(posts.values()):.1f} mm apart"
        words = f"the free lengths, or the lengths over the posts, were taken between centres ({apart})"
        yield words, Cause.SLIP, _moved(model, "stretch", {i: -d for i, d in posts.items()}, POSTS)
        words = f"the posts are thinner than the job says, or their diameter was counted twice ({apart})"
        yield words, Cause.SLIP, _moved(model, "stretch", posts, POSTS)
    if rated:
        inch = float(np.log(POUND_FORCE / INCH / 1e3))  # one lbf/in in N/mm
        for by, words in (
            (inch, "the rates are in lbf/in, entered as N/mm"),
            (-inch, "the rates are in N/mm, entered as lbf/in"),
        ):
            yield words, Cause.SLIP, _moved(model, "rate", dict.fromkeys(rated, by), 0.0)
    yield from _off_their_posts(job, model)
    if len(springs) == 2 and (len(rated) == 2 or len(long) == 2):
        words = "primary and secondary are exchanged, in the job or on their posts"
        yield words, Cause.SPRINGS, _exchanged(job, model, as_told=False)
    yield from _changed_over(job, model)


def _off_their_posts(job: Job, model: SweepModel) -> Iterator[tuple[str, Cause, SweepModel]]:
    """Each spring of a known rate, off its post."""
    for i, spring in enumerate(job.measured.springs):
        if spring.rate is not None:
            words = f"the {PLACES[i]} does not pull at all, as if it were off its post or broken"
            yield words, SPRUNG[i], _without(model, i)


def _other_springs(job: Job, model: SweepModel) -> Iterator[tuple[int, SweepModel]]:
    """Each spring of a known rate as another one, of which nothing was measured: its place, and the model with it."""
    for i, spring in enumerate(job.measured.springs):
        if spring.rate is not None:
            other = _moved(_moved(model, "rate", {i: 0.0}, OTHER_RATE), "stretch", {i: 0.0}, OTHER_LENGTH)
            yield i, replace(other, facts=tuple(f for f in model.facts if f.place != i))


def _without(model: SweepModel, place: int) -> SweepModel:
    """The model with one spring that pulls next to nothing."""
    tension: Array = model.tension.copy()
    tension[place] = 0.0
    gone = _moved(model, "rate", {place: float(np.log(NOTHING))}, 0.0)
    parameters = tuple(
        replace(p, least=p.least + np.log(NOTHING), most=p.most + np.log(NOTHING))
        if p.name == f"{PLACES[place]}.rate"
        else p
        for p in gone.parameters
    )
    return replace(gone, parameters=parameters, tension=tension)


def _changed_over(job: Job, model: SweepModel) -> Iterator[tuple[str, Cause, SweepModel]]:
    """The two springs in each other's place, and each described as it hangs."""
    if len(job.measured.springs) == 2 and any(s.free_length is None for s in job.measured.springs):
        words = "the springs hang in each other's place, so that the secondary pulls before the primary"
        yield words, Cause.SPRINGS, _exchanged(job, model, as_told=True)


def _moved(model: SweepModel, what: str, off: dict[int, float], unsure: float) -> SweepModel:
    """The model with one number of the springs told otherwise: by places, how much `off`, and how `unsure` that is."""
    changed = {f"{PLACES[i]}.{what}": by for i, by in off.items()}
    parameters = []
    for p in model.parameters:
        if p.name in changed:
            by = changed[p.name]
            # A stretch lies within its ± of what is written; a rate within what springs can have.
            off_ends = by if what == "stretch" else 0.0
            ends = (p.least + off_ends - 3 * unsure, p.most + off_ends + 3 * unsure)
            spread = float(np.hypot(p.spread, unsure))
            p = replace(p, middle=p.middle + by, spread=spread, least=ends[0], most=ends[1])
        parameters.append(p)
    return replace(model, parameters=tuple(parameters))


def _exchanged(job: Job, model: SweepModel, as_told: bool) -> SweepModel:
    """The model with the two springs exchanged: in the job, so that what was measured of each is the other's; or, `as_told`,
    on their posts, so that what was not measured is, and the other takes up first."""
    prior = {p.name: p for p in model.parameters}
    rest = [float(p.posts.length(0.0)[0]) for p in job.places]
    changed = {}
    for here, there in ((0, 1), (1, 0)):
        off = rest[here] - rest[there]
        for what, by in (("rate", 0.0), ("stretch", off), ("tension", 0.0)):
            own, other = (prior.get(f"{PLACES[i]}.{what}") for i in (here, there))
            if own is not None and other is not None and (own.measured or other.measured) != as_told:
                changed[own.name] = replace(
                    other, name=own.name, middle=other.middle + by, least=other.least + by, most=other.most + by
                )
    parameters = tuple(changed.get(p.name, p) for p in model.parameters)
    if as_told:
        return replace(model, parameters=parameters, first=1 - model.first)
    tension: Array = model.tension[::-1].copy()
    return replace(model, parameters=parameters, tension=tension, facts=())
