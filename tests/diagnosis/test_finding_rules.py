"""The rules by which findings are told, each by hand on a hundred made-up states, so that every probability is a count.

The rules are those of the docstrings of `recurve.diagnosis`: a probability of 0.95 is a yes, its complement a no; a point is
met by the falling curve from below its upper edge and by the rising one from above its lower edge.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest

from recurve.data import default
from recurve.diagnosis import causes, findings
from recurve.diagnosis.causes import Blame
from recurve.diagnosis.findings import EarlyOnset, LateTakeUp, MayStayIn, StaysIn, Unsettled
from recurve.inspection.findings import Cause
from recurve.physics.ensemble import Shapes, Units, curves
from recurve.physics.target import Band, Target
from recurve.uncertainty import Sampled

DEG, RPM = np.pi / 180, np.pi / 30
LOW, HIGH = 500 * RPM, 1000 * RPM
STOP, FRICTION, PRIMARY, SECONDARY = Cause.STOP, Cause.FRICTION, Cause.PRIMARY, Cause.SECONDARY


def of_a_hundred(count: int, inside: float, outside: float = 0.0) -> np.ndarray:
    """A hundred values [deg] as [rad]: `count` of the one, the others of the other."""
    return np.where(np.arange(100) < count, inside, outside) * DEG


def bands(idle: float | None = None) -> Target:
    """2 to 5° at 500 rpm, 8 to 11° at 1000 rpm, 11 to 13° at the stop; so that the knee is taken at 0.45 · 13 = 5.85°."""
    asked = [Band("point", LOW, 2 * DEG, 5 * DEG), Band("point", HIGH, 8 * DEG, 11 * DEG)]
    asked += [] if idle is None else [Band("idle", 250 * RPM, 0.0, idle * DEG)]
    return Target((*asked, Band("maximum", None, 11 * DEG, 13 * DEG)))


@dataclass
class States:
    """What the rules ask of a unit: in the middle of its bands unless said otherwise; samples (100,) [rad]."""

    target: Target | None = field(default_factory=bands)
    up: dict[float, Any] = field(default_factory=dict)
    down: dict[float, Any] = field(default_factory=dict)
    still_in: Any = 0.0
    between: Any = 0.0
    takes_up: tuple[Any, Any] = (0.0, 6 * DEG)

    @property
    def job(self) -> SimpleNamespace:
        return SimpleNamespace(target=self.target, sweep=None, places=(0, 1), speed_ratio=2.0)

    model = SimpleNamespace(shapes=None, springs_known=False)
    idle, apart_at = 250 * RPM, 700 * RPM

    def _column(self, given: dict[float, Any], speed: float) -> np.ndarray:
        middle = 3.5 * DEG if speed < 700 * RPM else 9.5 * DEG
        return np.broadcast_to(given.get(float(speed), middle), 100)

    def rising(self, speeds: np.ndarray) -> np.ndarray:
        return np.stack([self._column(self.up, s) for s in speeds], axis=1)

    def falling(self, speeds: np.ndarray) -> np.ndarray:
        return np.stack([self._column(self.down, s) for s in speeds], axis=1)

    def takeup(self, place: int) -> Sampled:
        return Sampled(np.broadcast_to(self.takes_up[place], 100))

    def never(self, place: int) -> float:
        return float((self.takeup(place).sample >= 12 * DEG).mean())

    def value(self, name: str) -> Sampled:
        return Sampled(np.full(100, 1e-3))

    @property
    def residual(self) -> Sampled:
        return Sampled(np.broadcast_to(self.still_in, 100))

    @property
    def apart(self) -> Sampled:
        return Sampled(np.broadcast_to(self.between, 100))

    @property
    def stop(self) -> Sampled:
        return Sampled(np.full(100, 12 * DEG))

    @property
    def onset(self) -> Sampled:
        return Sampled(np.full(100, 30.0))


# --- out of a band ------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("up", "down", "told"),
    [(4.0, 6.0, {"above 0"}), (1.0, 4.0, {"below 0"}), (1.0, 6.0, {"above 0", "below 0"}), (2.1, 4.9, set())],
)
def test_falling_lies_above_a_band_and_rising_below_it(up: float, down: float, told: set[str]) -> None:
    """2 to 5° at 500 rpm."""
    unit: Any = States(up={LOW: up * DEG}, down={LOW: down * DEG})
    assert findings._surely(unit) == told


def test_one_of_two_points_is_missed_though_not_surely_which() -> None:
    """Above the first in 55 states and above the second in the other 45: neither is sure, that one of them is missed is. The
    likelier is told, with its own chance. With five states in neither it is still sure, with six no longer."""
    for spare, told in ((0, True), (5, True), (6, False)):
        first, second = np.arange(100) < 55, np.arange(100) >= 55 + spare
        down = {LOW: np.where(first, 6, 4) * DEG, HIGH: np.where(second, 12, 10) * DEG}
        unit: Any = States(up=down, down=down)
        missed = findings._missed(unit, unit)
        assert [(m.over, m.speed, m.chance) for m, _ in missed] == ([(True, LOW, 0.55)] if told else [])


# --- idle ---------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(("asked", "limit"), [(None, 0.5), (0.2, 0.5), (2.0, 2.0)])
def test_nobody_is_told_of_less_than_half_a_degree_at_idle(asked: float | None, limit: float) -> None:
    """0.5°, common practice, no source: a book that asks for less does not make a bench see it."""
    unit: Any = States(bands(asked))
    assert findings._idle_limit(unit) == pytest.approx(limit * DEG)
    unit = States(None)
    assert findings._idle_limit(unit) == pytest.approx(0.5 * DEG)


@pytest.mark.parametrize(("count", "told"), [(5, None), (6, MayStayIn), (95, MayStayIn)])
def test_what_may_stay_in_is_open_from_one_in_twenty_on(count: int, told: type | None) -> None:
    unit: Any = States(still_in=of_a_hundred(count, 1.0))
    found = findings._stays_in(unit, frozenset(), None)
    assert found is None if told is None else type(found) is told


@pytest.mark.parametrize(
    ("slack", "blamed", "cause", "binds"),
    [
        (0, Blame((PRIMARY,), 1.0, {}), PRIMARY, False),
        (0, Blame((FRICTION,), 1.0, {}), FRICTION, True),
        (50, Blame((FRICTION,), 1.0, {}), FRICTION, True),  # whether it is slack is open
        (96, Blame((FRICTION,), 1.0, {}), PRIMARY, False),
        (0, Blame((FRICTION, PRIMARY), 1.0, {PRIMARY: 0.79}), FRICTION, True),
        (0, Blame((FRICTION, PRIMARY), 1.0, {PRIMARY: 0.81}), PRIMARY, False),  # it must be put right, whatever else is
        (
            0,
            Blame((FRICTION, PRIMARY), 1.0, {PRIMARY: 0.81}, apart=0.41),
            FRICTION,
            True,
        ),  # but the curves may lie apart
        (0, None, PRIMARY, False),
    ],
)
def test_what_stays_in_is_the_primary_s_doing_unless_the_sweep_shows_friction(
    slack: int, blamed: Blame | None, cause: Cause, binds: bool
) -> None:
    """A primary that takes up at 1° in so many states hangs slack; 0.2° is none."""
    unit: Any = States(still_in=3 * DEG, takes_up=(of_a_hundred(slack, 1.0, 0.1), 6 * DEG))
    found = findings._stays_in(unit, frozenset({"idle"}), blamed)
    assert isinstance(found, StaysIn)
    assert (found.cause, found.binds, found.slack is not None) == (cause, binds, slack > 95)


# --- friction -----------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("count", "target", "severity"), [(94, bands(), None), (96, bands(), "medium"), (96, None, "repair first")]
)
def test_sluggish_is_told_where_it_is_sure_and_bars_nothing_where_the_bands_are_met(
    count: int, target: Target | None, severity: str | None
) -> None:
    """1.2° apart in so many of a hundred states, the limit is 1°; nothing is blamed, so the bands, if any, are met."""
    unit: Any = States(target, between=of_a_hundred(count, 1.2, 0.8))
    found = findings._sluggish(unit, None)
    assert (None if found is None else found.severity) == severity


# --- springs ------------------------------------------------------------------------------------------------

BOTH = Blame((PRIMARY, SECONDARY), 1.0, {})


def told(unit: Any, blamed: Blame) -> list[Any]:
    """What is told of the springs."""
    return findings._spring_findings(unit, unit, None, blamed)


def test_below_the_knee_it_is_the_primary_and_above_it_the_secondary() -> None:
    """Both points are missed by 1°; 3.5° lies below the knee of 5.85°, 9.5° above it."""
    high = {LOW: 6 * DEG, HIGH: 12 * DEG}
    early, late = told(States(up=high, down=high), BOTH)
    assert isinstance(early, EarlyOnset) and early.below_knee and [m.speed for m in early.missed] == [LOW]
    assert isinstance(late, LateTakeUp) and [m.speed for m in late.missed] == [HIGH]
    (alone,) = told(States(up=high, down=high), Blame((PRIMARY,), 1.0, {}))
    assert isinstance(alone, EarlyOnset) and [m.speed for m in alone.missed] == [LOW, HIGH]


@pytest.mark.parametrize(("takeup", "worn"), [(6.35, False), (6.95, True)])
def test_a_take_up_is_late_from_a_degree_past_the_knee_on(takeup: float, worn: bool) -> None:
    """The knee is at 5.85°: 0.5° later is a weak spring, 1.1° later a worn hook or post (the limit is common practice, no
    source)."""
    high = {HIGH: 12 * DEG}
    (late,) = told(States(up=high, down=high, takes_up=(0.0, takeup * DEG)), Blame((SECONDARY,), 1.0, {}))
    assert isinstance(late, LateTakeUp) and (late.wanted is not None) == worn


@pytest.mark.parametrize(("known", "says"), [(False, "weigh them"), (True, "those of a sound unit")])
def test_one_of_two_springs_is_left_open(known: bool, says: str, monkeypatch: pytest.MonkeyPatch) -> None:
    """Springs that were weighed are not to be weighed again."""
    monkeypatch.setattr(States, "model", SimpleNamespace(shapes=None, springs_known=known))
    high = {HIGH: 12 * DEG}
    (found,) = told(States(up=high, down=high), Blame((SECONDARY,), 1.0, {}, True))
    assert isinstance(found, Unsettled) and says in found.remedy


@pytest.mark.parametrize("off", [LOW, HIGH])
def test_where_both_are_blamed_for_one_band_none_is_named(off: float) -> None:
    """To name the spring on whose side of the knee the band lies would clear the other."""
    high = {off: 12 * DEG}
    (found,) = told(States(up=high, down=high), BOTH)
    assert isinstance(found, Unsettled) and found.both and "do not show which" in found.evidence


@pytest.mark.parametrize(
    ("causes", "needed", "apart", "open_"),
    [
        ((FRICTION,), {FRICTION: 0.79}, 0.0, True),
        ((FRICTION,), {FRICTION: 0.81}, 0.0, False),
        ((FRICTION, PRIMARY), {FRICTION: 0.5, PRIMARY: 0.79}, 0.0, True),
        ((FRICTION, PRIMARY), {FRICTION: 0.5, PRIMARY: 0.81}, 0.39, False),  # the primary it is, whatever else
        ((FRICTION, PRIMARY), {FRICTION: 0.5, PRIMARY: 0.81}, 0.41, True),
        ((PRIMARY,), {}, 0.9, False),
    ],
)
def test_friction_is_the_open_question_only_where_no_spring_surely_is_to_blame(
    causes: tuple[Cause, ...], needed: dict[Cause, float], apart: float, open_: bool
) -> None:
    """Or where rising and falling curve may lie as far apart as a sluggish unit's."""
    assert Blame(causes, 1.0, needed, apart=apart).open_friction == open_


# --- the parts to blame -------------------------------------------------------------------------------------


def blamed(monkeypatch: pytest.MonkeyPatch, unit: Any, enough: dict[frozenset[Cause], float]) -> Blame:
    """The blame where making sound the parts of a set, or more than these, brings every state back in its bands, the best set
    with the margin given; and every other leaves all out."""

    class Search:
        def __init__(self, *given: object) -> None:
            pass

        def without(self, parts: tuple[Cause, ...]) -> np.ndarray:
            margin = max((m for some, m in enough.items() if some <= set(parts)), default=-1.0)
            return np.full(100, margin)

    monkeypatch.setattr(causes, "_Search", Search)
    monkeypatch.setattr(causes, "_units", lambda evidence: None)
    found = causes.blame(unit, None)
    assert found is not None
    return found


@pytest.mark.parametrize(
    ("enough", "named"),
    [
        ({(STOP,): 0.1, (PRIMARY,): 0.9}, (STOP,)),  # a repair alone does it
        ({(FRICTION, PRIMARY): 0.1, (PRIMARY, SECONDARY): 0.9}, (FRICTION, PRIMARY)),  # repairs before springs
        ({(PRIMARY,): 0.1, (FRICTION, SECONDARY): 0.9}, (PRIMARY,)),  # the fewest
        ({(STOP, PRIMARY): 0.5}, (STOP, PRIMARY)),
        ({(STOP, FRICTION, PRIMARY, SECONDARY): 0.5}, (STOP, FRICTION, PRIMARY, SECONDARY)),
        ({}, ()),
    ],
)
def test_the_fewest_parts_are_blamed_and_repairs_before_springs(
    enough: dict[tuple[Cause, ...], float], named: tuple[Cause, ...], monkeypatch: pytest.MonkeyPatch
) -> None:
    found = blamed(monkeypatch, States(), {frozenset(k): v for k, v in enough.items()})
    assert found.causes == named


@pytest.mark.parametrize(
    ("off_low", "first", "second", "named", "either"),
    [
        (100, 0.5, 0.4, PRIMARY, False),
        (0, 0.4, 0.5, SECONDARY, False),
        (60, 0.5, 0.5, PRIMARY, True),
        (40, 0.5, 0.5, SECONDARY, True),
        (100, 0.4, 0.5, PRIMARY, True),
        (0, 0.5, 0.4, SECONDARY, True),
    ],
)
def test_where_either_spring_would_do_the_knee_decides(
    off_low: int, first: float, second: float, named: Cause, either: bool, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The point below the knee is missed in so many of a hundred states; where that is open, so is the spring, and where the
    other one would bring the curve nearer to the middle of its bands."""
    low = {LOW: of_a_hundred(off_low, 6.0, 3.5), HIGH: 12 * DEG}
    enough = {frozenset({PRIMARY}): first, frozenset({SECONDARY}): second}
    found = blamed(monkeypatch, States(up=low, down=low), enough)
    assert found.causes == (named,) and found.either == either


@pytest.mark.parametrize(("off_low", "either"), [(100, False), (0, True)])
def test_a_spring_against_which_the_knee_speaks_is_not_named_alone(
    off_low: int, either: bool, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The primary alone would do; so would the second spring, once the spindle is cleaned too. Above the knee alone the curve
    is off by the second spring's doing rather."""
    low = {LOW: of_a_hundred(off_low, 6.0, 3.5), HIGH: 12 * DEG}
    enough = {frozenset({PRIMARY}): 0.5, frozenset({FRICTION, SECONDARY}): 0.4}
    found = blamed(monkeypatch, States(up=low, down=low), enough)
    assert found.causes == (PRIMARY,) and found.either == either


# --- parts made sound in thought ----------------------------------------------------------------------------
# I′ = 2e-5 kg·m²/rad and levers of 10 mm: a moment of M [N·m] is ω̄ = √(2 M / 2e-5), and 0.1 rad stretch a spring by 1 mm.

DRAG = 4e-3  # N·m


def search(**changed: Any) -> causes._Search:
    """One unit: a primary of 1000 N/m that pulls 1 N at rest, a second one that never takes up."""
    advance = Shapes.grid(0.6)
    lever = np.full((2, len(advance)), 0.01)
    shapes = Shapes(advance, np.full(len(advance), 2e-5), lever * advance, lever, np.zeros((0, len(advance))))
    one = {
        name: np.array([value])
        for name, value in (("drag", DRAG), ("friction", 0.0), ("friction_share", 0.0), ("stop", 0.15))
    }
    springs = {"rate": np.array([[1000.0, 2000.0]]), "stretch": np.array([[1e-3, -9e-3]]), "tension": np.zeros((1, 2))}
    made: dict[str, Any] = {**one, **springs, "modes": np.zeros((1, 0)), **changed}
    return causes._Search(bands(), shapes, Units(**made))


def speed_at(units: Units, shapes: Shapes, advance: float) -> float:
    """ω̄ [rad/s] of the unit at an advance [rad], by the forward curve without friction."""
    made = curves(shapes, units, 101)
    return float(np.sqrt(np.interp(advance, made.advance[0], made.rising[0])))


def test_a_primary_is_the_one_that_the_curve_shows() -> None:
    """40 rad/s at rest are 16 mN·m, less 4 of drag 1.2 N; 60 rad/s at 0.1 rad are 36 mN·m, 3.2 N: 2 N more on 1 mm. With 0.2 N
    of initial tension 1 N is left for the stretch, 0.5 mm."""
    one = search(tension=np.array([[0.2, 0.0]]))
    made = one._with_primary(one.units, np.array([40.0]), np.array([60.0]), np.array([0.1]))
    assert made.rate[0] == pytest.approx([2000.0, 2000.0])
    assert made.stretch[0, 0] == pytest.approx(0.5e-3) and made.tension[0, 0] == pytest.approx(0.2)
    assert [speed_at(made, one.shapes, x) for x in (0.0, 0.1)] == pytest.approx([40.0, 60.0], rel=1e-3)


def test_a_second_spring_is_the_one_that_the_curve_shows() -> None:
    """60 rad/s at 0.1 rad are 36 mN·m, less 4 of drag and 20 of the primary (1 N and 1 N more on 1 mm): 1.2 N, on the 0.5 mm
    since 0.05 rad."""
    one = search()
    made = one._with_secondary(one.units, np.array([0.05]), np.array([60.0]), np.array([0.1]))
    assert made.rate[0] == pytest.approx([1000.0, 2400.0]) and made.stretch[0, 1] == pytest.approx(-0.5e-3)
    assert speed_at(made, one.shapes, 0.1) == pytest.approx(60.0, rel=1e-3)


def test_friction_is_put_right_by_both_of_its_figures_and_never_made_worse() -> None:
    clean = default("clean", "friction", "moment"), default("clean", "friction_share", "number")
    for times, left in ((3.0, 1.0), (0.5, 0.5)):
        dirty = search(friction=np.array([times * clean[0]]), friction_share=np.array([times * clean[1]]))
        mended = dirty._mended((FRICTION,))
        assert (mended.friction[0], mended.friction_share[0]) == pytest.approx((left * clean[0], left * clean[1]))
        assert dirty._mended((STOP,)).friction[0] == pytest.approx(times * clean[0])
    assert search()._mended((STOP,)).stop[0] == pytest.approx(12 * DEG)


def test_no_curve_is_met_by_a_spring_that_cannot_be_had() -> None:
    """A rate of 0 is what is left of one that would have to push: whatever the curve, it meets no band."""
    assert np.isfinite(search()._margin(search().units))
    none = search(rate=np.array([[0.0, 2000.0]]))
    assert none._margin(none.units)[0] == -np.inf


@pytest.mark.parametrize(
    ("out", "middle_out"), [(0, False), (10, False), (30, False), (30, True), (60, True), (100, True)]
)
def test_springs_help_every_unit_whose_stop_is_in_its_band_and_no_other(out: int, middle_out: bool) -> None:
    """No unit meets its bands with the springs it has, and with the stop put right as well all do. Of a hundred stops so many are
    at 30°, where 13° is the most: those and no others stay out whatever the springs, the middle unit's among them or not."""
    stop = of_a_hundred(100 - out, 12.0, 30.0)[:: -1 if middle_out else 1]
    one = search()
    many = causes._row(one.units, 100)
    units = causes._Search(one.target, one.shapes, replace(many, stop=stop))
    springs = FRICTION, PRIMARY, SECONDARY
    assert (units.without((FRICTION,)) < 0.0).all()
    assert (units.without((STOP, *springs)) >= 0.0).all()
    assert ((units.without(springs) >= 0.0) == (stop < 13 * DEG)).all()
