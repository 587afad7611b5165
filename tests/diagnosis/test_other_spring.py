"""Another spring than the planned one in a finished unit: told before a post is bent for it. Truth and readings: `integrator`."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest
from finished_units import judged, out_of_book, planned_unit, read, with_posts
from longer import some
from mechanisms import Mechanism

from recurve.diagnosis.other_spring import OtherSpring
from recurve.output.text.check import verify_text
from recurve.units import PLACES


def stronger(one: Mechanism, place: int, times: float) -> Mechanism:
    """The mechanism with a spring of so many times the rate and tension in this place."""
    springs = list(one.springs)
    springs[place] = replace(springs[place], rate=times * springs[place].rate, tension=times * springs[place].tension)
    return replace(one, springs=tuple(springs))


@pytest.mark.parametrize(
    ("seed", "place", "times"),
    some([(954, 0, 1.4), (943, 1, 1.6), (961, 0, 1.4), (958, 0, 1.4), (963, 0, 0.65), (960, 1, 1.9)], 2, several=True),
)
def test_no_post_is_bent_for_another_spring(seed: int, place: int, times: float, tmp_path: Path) -> None:
    """It is named, with its rate within three standard uncertainties of the true one, and nothing else is blamed."""
    unit = planned_unit(seed)
    one = stronger(unit.one, place, times)
    assert out_of_book(one, unit.book)
    result = judged(unit, tmp_path, unit.speeds, read(one, unit.speeds))
    assert result.verdict == "fails" and result.step == "settle" and result.trust.ok
    assert result.correction is None
    (told,) = result.unsettled
    assert isinstance(told, OtherSpring) and told.place == PLACES[place]
    by = told.rate.standard_uncertainty
    assert by is not None and abs(told.rate.value - 1e3 * one.springs[place].rate) < 3 * by
    said = " ".join(verify_text(result).split())
    assert f"See that the {told.place} is the spring of the job" in said
    assert result.built is None or told.place not in [s.place for s in result.built.springs]


@pytest.mark.parametrize(
    ("seed", "primary", "secondary"),
    some([(940, -0.3, 0.0), (941, 0.0, 0.4), (943, 0.3, -0.3), (944, 0.3, -0.3)], 2, several=True),
)
def test_a_post_that_is_misset_is_no_other_spring(seed: int, primary: float, secondary: float, tmp_path: Path) -> None:
    unit = planned_unit(seed)
    one = with_posts(unit.one, primary, secondary)
    result = judged(unit, tmp_path, unit.speeds, read(one, unit.speeds))
    assert not any(isinstance(x, OtherSpring) for x in result.unsettled)
    assert result.trust.ok
