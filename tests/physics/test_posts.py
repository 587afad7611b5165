"""The posts: lengths against a closed loop and by hand, take-up, bending, and every fault."""

from __future__ import annotations

import re
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from mechanisms import Pull, closed_swing, distance, job_text, mechanism
from modelunits import unit_of
from scipy.interpolate import CubicSpline

from recurve.job.read import load_job
from recurve.physics.curve import residual_advance
from recurve.physics.mechanism import Slot
from recurve.physics.posts import BodyPoint, PointPosts, TablePosts, post_faults, takeup_advance

DEG = np.pi / 180


def polar(radius: float, degrees: float) -> complex:
    """A point [mm, deg] in metres."""
    return 1e-3 * radius * complex(np.exp(1j * degrees * DEG))


# The weights play no part where both posts are on base and cam.
SLOT = Slot(21e-3, 21e-3 + polar(12.6, 75), 21e-3 + polar(13.1, 168))


@pytest.mark.parametrize("seed", range(100, 128))
def test_posts_against_closed_loop(seed: int) -> None:
    """L and dL/dα with the ends on base, cam and weights, against the same search."""
    one = mechanism(seed)
    alpha = np.linspace(0.0, one.stop * DEG, 61)
    swing = closed_swing(one, alpha)
    for pull, installed in zip(one.springs, unit_of(one).springs, strict=True):
        length, slope = installed.length(alpha)
        expected = 1e-3 * distance(one, pull, alpha, swing)
        assert length == pytest.approx(expected, abs=1e-11)
        assert slope == pytest.approx(CubicSpline(alpha, expected)(alpha, 1), abs=1e-4 * np.abs(slope).max())


def hand_posts(diameter: float = 2.5e-3) -> PointPosts:
    """A post of the base at 21 mm, 40°, and one of the cam at 12 mm, 75°."""
    return PointPosts(BodyPoint("base", polar(21, 40)), BodyPoint("cam", polar(12, 75)), diameter, SLOT, 2)


def test_takeup_by_the_law_of_cosines() -> None:
    """Hand: centres 21 and 12 mm from the shaft, 35° + α apart; posts 2.5 mm thick. L − 2.5 = √(21² + 12² −
    2·21·12 cos(35° + α)), so a free length of 17.4 mm is taken up at α = acos((585 − 14.9²)/504) − 35°."""
    expected = np.arccos((585 - 14.9**2) / 504) - 35 * DEG
    assert takeup_advance(hand_posts(), 17.4e-3, 20 * DEG) == pytest.approx(expected, abs=1e-12)
    assert 8 * DEG < expected < 10 * DEG
    at_rest = 2.5 + np.sqrt(585 - 504 * np.cos(35 * DEG))
    assert takeup_advance(hand_posts(), (at_rest - 0.01) * 1e-3, 20 * DEG) == 0.0
    assert takeup_advance(hand_posts(), 17.4e-3, 0.99 * expected) is None


def test_bending_lengthens_by_as_much_at_rest() -> None:
    """The anchor moves along the line of the posts: 0.7 mm out is 0.7 mm longer at rest, and another slope after."""
    posts = hand_posts()
    for bend in (-0.5e-3, 0.7e-3):
        assert posts.length(0.0, bend)[0] - posts.length(0.0)[0] == pytest.approx(bend, abs=1e-15)
        for moved, still in zip(posts.length(8 * DEG, bend), posts.bent(bend).length(8 * DEG), strict=True):
            assert moved == pytest.approx(float(still), abs=1e-15)
    # By hand: the anchor 1 mm further along the line, then the distance to the far post turned by 8°.
    anchor, far = polar(21, 40), polar(12, 75)
    out = anchor + 1e-3 * (anchor - far) / abs(anchor - far)
    assert posts.length(8 * DEG, 1e-3)[0] == pytest.approx(abs(out - polar(12, 83)) + 2.5e-3, abs=1e-15)


@pytest.mark.parametrize("seed", [0, 9, 17, 25])
def test_takeup_in_a_job_is_a_length(seed: int, tmp_path: Path) -> None:
    """`takeup` instead of `free_length`: the free length is the posts' distance there, by the closed loop."""
    one = mechanism(seed)
    heavy = one.springs[1]
    text = job_text(one).replace(f'free_length = "{heavy.free_length!r} mm"', 'takeup = "5 deg"')
    job = tmp_path / "job.toml"
    job.write_text(text, encoding="utf-8")
    found = load_job(job).places[1].found
    alpha = np.linspace(0.0, 5 * DEG, 6)
    assert found is not None
    assert found.free_length == pytest.approx(1e-3 * distance(one, heavy, alpha, closed_swing(one, alpha))[-1])


def test_table_of_lengths() -> None:
    """Three lengths of a quadratic by hand: 18 + 0.1 α + 0.002 α² mm with α in degrees; two of a straight line."""
    posts = TablePosts((0.0, 5 * DEG, 10 * DEG), (18.0e-3, 18.55e-3, 19.2e-3))
    length, slope = posts.length(8 * DEG, 0.5e-3)
    assert float(length) == pytest.approx(18.928e-3 + 0.5e-3)
    assert float(slope) == pytest.approx(0.132e-3 / DEG)
    straight = TablePosts((0.0, 10 * DEG), (18.0e-3, 19.2e-3))
    assert float(straight.length(4 * DEG)[0]) == pytest.approx(18.48e-3)


def test_residual_is_the_takeup_without_drag() -> None:
    """Standing still a slack unit stays out where its primary lets go (hand: no moment is left inside it)."""
    sound = mechanism(0)
    assert sound.drag == 0.0
    slack = unit_of(replace(sound, springs=(_slackened(sound.springs[0]), sound.springs[1])))
    takeup = slack.springs[0].takeup(slack.stop)
    assert takeup is not None and takeup > 0
    assert residual_advance(slack, 1e-3) == pytest.approx((takeup, takeup), abs=1e-6)


def _slackened(pull: Pull) -> Pull:
    return replace(pull, free_length=pull.free_length + 1.0)


def test_shortening_spring() -> None:
    """Hand: the far post 10° ahead of its anchor at rest by rotation nears it: −35° + α goes through 0 at 35° only, so
    it shortens from the start; at −5° it shortens until 5° and lengthens after, and is refused as well."""
    for angle in (5.0, 35.0):
        posts = PointPosts(BodyPoint("base", polar(21, 40)), BodyPoint("cam", polar(12, angle)), 0.0, SLOT, 2)
        (fault,) = post_faults(posts, 13 * DEG, (0.0, 0.0), ("springs", "primary"))
        assert "shortens from rest" in fault.message and fault.key == ("springs", "primary", "posts")
    assert post_faults(hand_posts(), 13 * DEG, (-0.5e-3, 1e-3), ("springs", "primary")) == []


def test_spring_that_shortens_later() -> None:
    """Hand: 172° + α apart, the posts are farthest at 8° of advance."""
    posts = PointPosts(BodyPoint("base", polar(21, 0)), BodyPoint("cam", polar(12, 172)), 0.0, SLOT, 2)
    (fault,) = post_faults(posts, 12 * DEG, (0.0, 0.0), ("springs", "secondary"))
    assert 8.0 <= float(re.findall(r"[\d.]+(?=°)", fault.message)[0]) <= 8.2


def test_travel_past_the_other_post() -> None:
    """The post cannot be bent in by more than parts the two: 15.26 mm here by the law of cosines at rest."""
    gap = np.sqrt(585 - 504 * np.cos(35 * DEG))
    (fault,) = post_faults(hand_posts(), 13 * DEG, (-(gap + 0.1) * 1e-3, 0.0), ("springs", "primary"))
    assert fault.key == ("springs", "primary", "post_travel") and f"only {gap:.2f} mm" in fault.message


def test_posts_in_one_place() -> None:
    """Anchor and far at the same point."""
    posts = PointPosts(BodyPoint("base", polar(21, 40)), BodyPoint("cam", polar(21, 40)), 2e-3, SLOT, 2)
    (fault,) = post_faults(posts, 13 * DEG, (0.0, 0.0), ("springs", "primary"))
    assert "same place" in fault.message


def test_table_bent_to_nothing() -> None:
    """A table of 1 mm lengths whose post may be bent in by 2 mm leaves no length."""
    posts = TablePosts((0.0, 10 * DEG), (1.0e-3, 1.5e-3))
    (fault,) = post_faults(posts, 10 * DEG, (-2e-3, 0.0), ("springs", "primary"))
    assert "got a length of -1.00 mm" in fault.message


def test_a_takeup_just_past_rest_is_not_taken_for_rest() -> None:
    """The free length of the posts' own distance at 0.03° (geometry, as above)."""
    posts = hand_posts()
    free = float(posts.length(0.03 * DEG)[0])
    assert takeup_advance(posts, free, 20 * DEG) == pytest.approx(0.03 * DEG, abs=1e-12)


def test_a_post_cannot_be_bent_onto_the_other() -> None:
    posts = hand_posts()
    gap = abs(posts.anchor.position - posts.far.position)
    assert "cannot be bent" in post_faults(posts, 20 * DEG, (-gap, 0.0), ("springs", "primary"))[0].message
