"""What to move on a finished unit: as few moves as will do, by hand.

The unit is one of `hand_units`, without drag and friction: the primary pulls 1 N at rest with 1 N/mm, the secondary
takes up at 0.1 rad with 2 N/mm, both on levers of 10 mm, the stop is at 0.2 rad. So

    ω² = 1000 + 10000 α               up to 0.1 rad
    ω² = 2000 + 30000 (α − 0.1)       from there

A primary post b mm out adds 1000 b everywhere, so that the advance falls by 0.1 b below the take-up and by b/30 above
it. A secondary post c mm out adds 2000 c above the take-up: there the advance falls by c/15. The margin of a band of
half-width H is 1 − |off its centre| / H. Posts are set in steps of 0.05 mm; the stop is searched in steps.
"""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from hand_units import C, Drive, Lever, steady
from random_jobs import make_job

from recurve.arrays import Array
from recurve.diagnosis.correction import Correction, find_correction
from recurve.job.model import Job, SpringPlace
from recurve.physics.curve import Drag, Stop
from recurve.physics.target import Band, Target
from recurve.springs.spring import Spring

HALF = 0.02  # of the bands, where nothing else is said [rad]
TRAVEL = (-0.5e-3, 0.5e-3)
FIXED = (0.0, 0.0)
LOW, HIGH = 1500.0, 3500.0  # ω² of the two points, with 0.05 and 0.15 rad as found
SPRINGS = Spring("light", 1000.0, 19e-3), Spring("heavy", 2000.0, 21e-3)


def point(squared: float, centre: float, half: float = HALF) -> Band:
    """A band at ω² [rad²/s²] about a centre [rad]."""
    return Band("point", float(np.sqrt(squared)), centre - half, centre + half)


def most(centre: float, half: float = HALF) -> Band:
    """A band for the stop."""
    return Band("maximum", None, centre - half, centre + half)


def unit(
    *bands: Band, travel: tuple[tuple[float, float], ...] = (TRAVEL, TRAVEL), drive: Any = steady, **stop: float
) -> Job:
    """The unit with these bands, travel of each post [m], and what may be done to the stop [m]."""
    places = tuple(SpringPlace(Lever(), t, s) for t, s in zip(travel, SPRINGS, strict=False))
    return make_job(Drive(drive), Drag(), Stop(0.2, 100.0, **stop), places, Target(bands), None)


def moved(found: Correction | None) -> dict[str, float]:
    """What is moved, and by how many mm."""
    assert found is not None
    return {m.what: 1e3 * m.by for m in found.moves}


@pytest.mark.parametrize("off", [0.2, -0.2])
def test_one_post_is_enough(off: float) -> None:
    """Bands that a primary post 0.2 mm out (or in) would hit in the middle: 0.02 rad from 0.05, 0.02/3 from 0.15."""
    found = find_correction(unit(point(LOW, 0.05 - 0.1 * off), point(HIGH, 0.15 - off / 30)))
    assert moved(found) == {"primary post": pytest.approx(off)}
    assert found is not None and found.margin == pytest.approx(1.0)
    (move,) = found.moves
    assert move.to == pytest.approx(20e-3 + 1e-3 * off)
    way, to = ("out", "20.20") if off > 0 else ("in", "19.80")
    assert move.words == (
        f"bend the primary post {way} 0.20 mm (to {to} mm over both posts, if they measure 20.00 mm now), leave the secondary"
    )


def test_the_other_post_where_the_first_only_helps_a_little() -> None:
    """0.15 should be 0.13, which a secondary post 0.3 mm out gives. The primary's can only share the error out: at
    0.15 mm, with a margin of 1/4 at both points."""
    found = find_correction(unit(point(LOW, 0.05), point(HIGH, 0.13)))
    assert moved(found) == {"secondary post": pytest.approx(0.3)}
    assert found is not None and found.margin == pytest.approx(1.0)
    assert found.moves[0].words.endswith(", leave the primary")


def test_two_posts_where_neither_does_it_alone() -> None:
    """0.03 in place of 0.05 wants the primary 0.2 mm out, 0.16 in place of 0.15 then the secondary 0.25 mm in. The
    primary alone: 1 − 5 |b − 0.2| and 1 − |0.01 + b/30| / 0.02 meet at b = 0.125 with less than 1/3."""
    found = find_correction(unit(point(LOW, 0.03), point(HIGH, 0.16), file_up_to=0.1e-3))
    assert moved(found) == {"primary post": pytest.approx(0.2), "secondary post": pytest.approx(-0.25)}
    # What is left is 0.15 − 0.2/30 + 0.25/15 − 0.16 = 0, so both bands are met in the middle.
    assert found is not None and found.margin == pytest.approx(1.0)
    assert "leave" not in found.moves[-1].words


@pytest.mark.parametrize("travel", [0.5e-3, 2.5e-3, 6e-3])
def test_two_posts_that_must_move_together(travel: float) -> None:
    """0.03 in place of 0.05 wants the primary 0.2 mm out; the secondary 0.1 mm in then leaves 0.15 where it was. Alone,
    the primary loses 1/30 rad a mm of a band of only ± 0.003: of 1 − 5 (0.2 − b) and 1 − b/0.09 the lesser is 1/4 at
    0.05 mm and negative at 0.1 mm. There no move of the secondary helps the low point."""
    wide = (-travel, travel)
    found = find_correction(unit(point(LOW, 0.03), point(HIGH, 0.15, 0.003), travel=(wide, wide)))
    assert moved(found) == {"primary post": pytest.approx(0.2), "secondary post": pytest.approx(-0.1)}
    assert found is not None and found.margin == pytest.approx(1.0)


def test_two_posts_and_the_stop_together() -> None:
    """The same, with a stop to be built up by 0.2 mm from 0.2 to 0.18 rad."""
    wanted = (point(LOW, 0.03), point(HIGH, 0.15, 0.003), most(0.18, 0.004))
    found = find_correction(unit(*wanted, build_up_to=0.5e-3))
    assert moved(found) == {
        "primary post": pytest.approx(0.2),
        "secondary post": pytest.approx(-0.1),
        "stop": pytest.approx(0.2, abs=0.002),
    }
    assert found is not None and found.margin > 0.95


def test_no_second_move_where_one_is_enough() -> None:
    """The low point wants the primary 0.2 mm out, the high one 0.1 mm in: at 0.15 mm out the margins are 1 − 5 · 0.05 =
    0.75 and 1 − (0.01 − 0.05/30) / 0.02 = 0.583. Both posts would bring 1, which is not worth a second move."""
    found = find_correction(unit(point(LOW, 0.03), point(HIGH, 0.15 - 0.2 / 30 + 0.01)))
    assert moved(found) == {"primary post": pytest.approx(0.15)}
    assert found is not None and found.margin == pytest.approx(1 - (0.01 - 0.05 / 30) / HALF)


@pytest.mark.parametrize(
    ("primary", "both", "kept"),
    [(0.45, 0.55, 1), (0.35, 0.6, 2), (0.25, 0.34, 1), (0.25, 0.45, 2)],
)
def test_a_second_move_must_be_worth_it(primary: float, both: float, kept: int) -> None:
    """Where the primary 0.3 mm out gives 1 − 5 · 0.1 = 0.5 low and less high, and with both posts it is the stop, which
    nobody may trim, that holds the margin down. By hand: two moves where they bring 0.5 and 0.15 more, or 0.1 more
    where not even they bring 0.5."""
    high = 0.15 - 0.3 / 30 - (1 - primary) * HALF  # the primary at 0.3 mm leaves the advance so far above
    found = find_correction(unit(point(LOW, 0.03), point(HIGH, high), most(0.2 + (1 - both) * HALF)))
    assert len(moved(found)) == kept
    assert found is not None and found.margin == pytest.approx(primary if kept == 1 else both, abs=0.03)


def test_the_stop_alone() -> None:
    """0.2 rad where 0.17 is wanted, at 0.1 rad a mm: build it up by 0.3 mm. No post changes the maximum."""
    found = find_correction(unit(point(LOW, 0.05), most(0.17), build_up_to=0.5e-3))
    assert moved(found) == {"stop": pytest.approx(0.3, abs=0.01)}
    assert found is not None and found.margin > 0.95
    (move,) = found.moves
    assert move.to is None
    assert move.words == "build the stop up by 0.30 mm (to 9.7°), leave the primary, leave the secondary"


def test_the_stop_filed() -> None:
    """0.2 rad where 0.22 is wanted: 0.2 mm are filed off, which counts negative."""
    found = find_correction(unit(point(LOW, 0.05), most(0.22), file_up_to=0.4e-3))
    assert moved(found) == {"stop": pytest.approx(-0.2, abs=0.01)}
    assert found is not None and found.moves[0].words.startswith("file the stop by 0.2")


def test_a_post_and_the_stop() -> None:
    """Both are off: the primary by 0.2 mm, the stop by 0.3 mm."""
    found = find_correction(unit(point(LOW, 0.03), most(0.17), build_up_to=0.5e-3))
    assert moved(found) == {"primary post": pytest.approx(0.2), "stop": pytest.approx(0.3, abs=0.01)}


def test_posts_come_before_the_stop() -> None:
    """At ω² = 5600 the stop holds back 0.22 to 0.2, where 0.185 is wanted: a trim of 0.15 mm would do, but so does a
    post. The secondary's own slope, 15 mm a rad, takes 0.035 · 15 = 0.525 mm; the primary's is twice as long as its
    travel."""
    found = find_correction(unit(point(5600.0, 0.185), most(0.2, 0.05), build_up_to=0.5e-3))
    assert list(moved(found)) == ["secondary post"]


def test_nothing_helps() -> None:
    """A maximum that no post can change and a stop that nobody may trim; a unit on which nothing may be moved; a stop
    that may not be trimmed far enough."""
    low, high = point(LOW, 0.03), point(HIGH, 0.15)
    assert find_correction(unit(low, high, most(0.26))) is None
    assert find_correction(unit(low, high, travel=(FIXED, FIXED))) is None
    assert find_correction(unit(low, high, most(0.26), file_up_to=0.3e-3)) is None


def test_nothing_is_moved_for_next_to_nothing() -> None:
    """The stop holds the margin at 0.3, and the posts bring it there from 0.29: a fiftieth is not worth a move. From
    0.2 it is."""
    for now, worth in ((0.29, False), (0.2, True)):
        found = find_correction(unit(point(LOW, 0.05 - (1 - now) * HALF), most(0.2 + 0.7 * HALF)))
        assert (found is not None) == worth


@pytest.mark.parametrize("way", [1, -1])
def test_a_post_moves_no_further_than_it_may(way: int) -> None:
    """The primary should go 0.2 mm but may go 0.15 mm, which leaves 1 − 5 · 0.05 = 0.75."""
    low, high = sorted((0.0, 0.15e-3 * way))
    found = find_correction(unit(point(LOW, 0.05 - 0.02 * way), travel=((low, high), FIXED)))
    assert moved(found) == {"primary post": pytest.approx(0.15 * way)}
    assert found is not None and found.margin == pytest.approx(0.75)


@pytest.mark.parametrize("way", [1, -1])
def test_steps_of_a_post_stay_within_its_travel(way: int) -> None:
    """It should go 0.2 mm and may go 0.13 mm, but is set in steps of 0.05 mm: 0.1 mm, which leaves 1 − 5 · 0.1 = 0.5."""
    low, high = sorted((0.0, 0.13e-3 * way))
    found = find_correction(unit(point(LOW, 0.05 - 0.02 * way), travel=((low, high), FIXED)))
    assert moved(found) == {"primary post": pytest.approx(0.1 * way)}
    assert found is not None and found.margin == pytest.approx(0.5)


def test_no_step_of_a_post_within_its_travel() -> None:
    """0.04 mm of travel, and steps of 0.05 mm."""
    tight = (-0.04e-3, 0.04e-3)
    assert find_correction(unit(point(LOW, 0.048, 0.002), travel=(tight, FIXED))) is None


def test_the_post_that_moves_least() -> None:
    """The stop holds the margin at 0.4, and so does every post from 0.08 to 0.32 mm out: the least step is 0.1 mm."""
    found = find_correction(unit(point(LOW, 0.03), most(0.2 + 0.6 * HALF), travel=(TRAVEL, FIXED)))
    assert moved(found) == {"primary post": pytest.approx(0.1)}
    assert found is not None and found.margin == pytest.approx(0.4)


@pytest.mark.parametrize("off", [1, -1])
def test_of_equal_settings_the_nearest_whichever_way_it_lies(off: int) -> None:
    """The low point is 0.016 rad off, and the stop holds the margin at 0.3: so does every setting from 0.02 to 0.3 mm. The least
    step is 0.05 mm."""
    found = find_correction(unit(point(LOW, 0.05 - off * 0.016), most(0.2 + 0.7 * HALF), travel=(TRAVEL, FIXED)))
    assert moved(found) == {"primary post": pytest.approx(off * 0.05)}


def test_a_stop_goes_no_further_than_it_may() -> None:
    """0.17 is wanted, but no more than 0.2 mm may be built up: 0.18, half way to the edge."""
    found = find_correction(unit(point(LOW, 0.05), most(0.17), build_up_to=0.2e-3))
    assert moved(found) == {"stop": pytest.approx(0.2)}
    assert found is not None and found.margin == pytest.approx(0.5)


def test_a_unit_with_one_spring() -> None:
    """Only one post can be moved."""
    found = find_correction(unit(point(LOW, 0.03), travel=(TRAVEL,)))
    assert moved(found) == {"primary post": pytest.approx(0.2)}
    assert found is not None and "leave" not in found.moves[0].words


def growing(alpha: Array) -> Array:
    """I′ with which one spring b mm out gives ω² = (1000 (1 + b) + 10000 α) / (1 + 8 α). It falls with α for b > 0.25, so
    that the weights fly out at one speed; b = 0.25 holds everything back up to ω² = 1250."""
    return C * (1 + 8 * alpha)


def at_rest(squared: float, most_advance: float = 0.05) -> Job:
    """A unit that snaps with its post far out, and that must hold back its advance at ω²."""
    band = Band("point", float(np.sqrt(squared)), 0.0, most_advance)
    return unit(band, travel=(TRAVEL,), drive=growing)


def test_the_weights_never_snap() -> None:
    """To keep the advance under 0.05 rad at ω² = 1260 needs b > 0.26: it cannot be had. At ω² = 1230 it can."""
    assert find_correction(at_rest(1260.0)) is None
    assert moved(find_correction(at_rest(1230.0))) == {"primary post": pytest.approx(0.25)}


def test_the_weights_never_snap_however_far_off_all_else_is() -> None:
    """The full 0.2 rad against a band up to 0.005 is a margin of −39 for every sound setting; b = 0.3 brings 1, and snaps."""
    assert find_correction(at_rest(1260.0, 0.005)) is None


def test_a_unit_that_snaps_is_better_without() -> None:
    """Its spring is 0.4 mm shorter: it pulls 1.4 N at rest and snaps at ω² = 1400, which holds the advance back at 1230 with
    a margin of 1. The post 0.15 mm in is the sound setting that holds it back too."""
    snapping = at_rest(1230.0)
    short = replace(snapping.places[0], found=Spring("short", 1000.0, 18.6e-3))
    assert moved(find_correction(replace(snapping, places=(short,)))) == {"primary post": pytest.approx(-0.15)}


def test_many_settings_that_snap_hide_no_sound_one() -> None:
    """From b = 0.85 on the weights are held back at ω² = 1480 too, rising and falling, (1000 (1 + b) + 2000) / 2.6 being more:
    a margin of 1, and every one of them snaps. b = 0.25, the last sound one, has the full 0.2 rad there, of 0.21."""
    low, high = (Band("point", float(np.sqrt(at)), 0.0, most) for at, most in ((1230.0, 0.05), (1480.0, 0.21)))
    found = find_correction(unit(low, high, travel=((-0.5e-3, 1.2e-3),), drive=growing))
    assert moved(found) == {"primary post": pytest.approx(0.25)}
    assert found is not None and found.margin == pytest.approx(1 - 0.2 / 0.21)
