"""Finished units whose truth is known (`finished_units`), judged: what a plan tells of the unit as found must not hide what came
of the building, and readings that are none must not pass. Truth and readings come from `integrator`, not from the package."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest
from finished_units import judged, out_of_book, planned_unit, read, with_friction, with_posts
from longer import some

from recurve.cli.next_step import after_verify
from recurve.diagnosis.as_set import as_set
from recurve.diagnosis.binding import Binds
from recurve.diagnosis.trust import Trust
from recurve.diagnosis.verify import Verification
from recurve.output.documents.check import VerifyDocument
from recurve.output.text.check import verify_text


def swept_with(
    folder: Path, seed: int, friction: float, primary: float = 0.0, reading_seed: int = 1
) -> tuple[bool, Verification]:
    """Whether the unit with this friction [mN·m] and its primary post so many mm too far out is truly outside its book, and
    how it is judged."""
    unit = planned_unit(seed)
    one = with_posts(with_friction(unit.one, friction), primary)
    up = unit.speeds
    return out_of_book(one, unit.book), judged(unit, folder, up, read(one, up, reading_seed))


# --- friction ---------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("seed", some([5, 1, 7], 1))
def test_friction_of_the_finished_unit_is_not_taken_from_the_plan(seed: int, tmp_path: Path) -> None:
    """10 mN·m and 0.005 by load, where the plan has next to none: the truth lies within three standard uncertainties, and no
    scatter is made of it."""
    _, result = swept_with(tmp_path, seed, 10.0)
    friction = result.fit.estimate("friction")
    assert friction.value is not None and friction.standard_uncertainty is not None
    assert abs(friction.value - 10.0) < 3 * friction.standard_uncertainty
    assert result.fit.inflation < 1.3 and result.trust.ok


def test_what_was_found_of_friction_is_left_behind(tmp_path: Path) -> None:
    unit = planned_unit(5)
    job = unit.job(tmp_path)
    assert job.measured.drag.friction.origin == "given"
    result = judged(unit, tmp_path, unit.speeds, read(unit.one, unit.speeds))
    sweep = result.fit.job.sweep
    assert sweep is not None
    drag = as_set(job, sweep).measured.drag
    assert drag.friction.origin == drag.friction_share.origin == "assumed"
    assert drag.rubbing_block == job.measured.drag.rubbing_block


@pytest.mark.parametrize(("seed", "primary"), some([(5, -0.1), (1, -0.2), (5, -0.2), (4, -0.2)], 2, several=True))
def test_a_unit_that_binds_does_not_pass_and_is_not_bent(seed: int, primary: float, tmp_path: Path) -> None:
    out, result = swept_with(tmp_path, seed, 10.0, primary)
    assert out and result.verdict in ("fails", "too close to call")
    if result.trust.ok:
        assert [type(x) for x in result.unsettled] == [Binds]
        assert "bind or are dry" in result.unsettled[0].words()
    else:
        assert any("sluggish" in r for r in result.trust.reasons)
    document = VerifyDocument.of(result)
    assert result.correction is None and document.correction is None and document.step == "settle"
    text = verify_text(result, document=document)
    assert "Move nothing before that is settled." in text and "more at" not in text


@pytest.mark.parametrize("seed", some([1, 2, 3, 4, 5, 7], 2))
def test_a_sound_unit_still_passes(seed: int, tmp_path: Path) -> None:
    out, result = swept_with(tmp_path, seed, 0.5)
    assert not out and result.verdict == "passes" and result.unsettled == () and result.notes == ()


@pytest.mark.parametrize("seed", some([5, 1, 4], 1))
def test_a_post_that_is_off_is_not_put_down_to_friction(seed: int, tmp_path: Path) -> None:
    out, result = swept_with(tmp_path, seed, 0.5, -0.3)
    assert out and not any(isinstance(x, Binds) for x in result.unsettled)
    assert result.correction is not None and result.correction.moves[0].by > 0


# --- the gate ---------------------------------------------------------------------------------------------------


def test_nothing_is_handed_over_while_the_gate_asks_for_something(tmp_path: Path) -> None:
    """A unit that passes by its readings, which are not to be trusted."""
    _, result = swept_with(tmp_path, 5, 0.5)
    assert result.verdict == "passes" and result.step == "hand over"
    assert "hand over" in after_verify(result.step, Path("unit.toml"), Path("left.csv"), "as-left.pdf")
    doubted = replace(result, trust=Trust(("the readings scatter: look for play",)))
    document = VerifyDocument.of(doubted)
    assert document.step == doubted.step == "settle"
    text = verify_text(doubted, document=document)
    assert "\nPASSES\n" not in text and "WHICH DO NOT COUNT YET" in text and "The risk" not in text
    assert "do not hand the unit over" in text and "Nothing to correct" not in text
    told = after_verify(doubted.step, Path("unit.toml"), Path("left.csv"), "as-left.pdf")
    assert "settle" in told and "hand over" not in told and "recurve verify unit.toml left.csv" in told
