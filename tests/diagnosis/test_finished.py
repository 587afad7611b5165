"""Finished units whose truth is known (`finished_units`), judged: what a plan tells of the unit as found must not hide what came
of the building, and readings that are none must not pass. Truth and readings come from `integrator`, not from the package."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from finished_units import judged, out_of_book, planned_unit, read, with_friction, with_posts
from longer import some
from synthetic import as_csv
from worn import worn

from recurve.cli.next_step import after_verify
from recurve.diagnosis.as_set import AsSet, as_set
from recurve.diagnosis.binding import Binds
from recurve.diagnosis.check import check_bare
from recurve.diagnosis.copied import Copied, CopiedReadings, copied
from recurve.diagnosis.other_stop import OtherStop
from recurve.diagnosis.readings import data_findings
from recurve.diagnosis.trust import Trust, trust_in
from recurve.diagnosis.verify import Verification
from recurve.fit.state import Evidence
from recurve.output.documents.check import VerifyDocument
from recurve.output.text.check import verify_text
from recurve.physics.sweep import AsRead, Sweep
from recurve.units import Quantity


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


@pytest.mark.parametrize(("seed", "primary"), some([(5, -0.1), (1, -0.2), (5, -0.2)], 2, several=True))
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


# --- a half that was copied -------------------------------------------------------------------------------------


def with_copied_half(advance: np.ndarray) -> np.ndarray:
    """The readings with the rising ones (but for the last speed) written down again as the falling ones."""
    rising = (len(advance) + 1) // 2
    return np.concatenate([advance[:rising], advance[: rising - 1][::-1]])


@pytest.mark.parametrize("seed", some([5, 1], 1))
def test_a_falling_half_that_was_copied_is_told_and_does_not_pass(seed: int, tmp_path: Path) -> None:
    unit = planned_unit(seed)
    up = unit.speeds
    result = judged(unit, tmp_path, up, with_copied_half(read(unit.one, up)))
    assert result.verdict == "read again" and result.step == "settle" and result.correction is None
    assert [type(x) for x in result.unsettled] == [Copied]
    assert "were they copied? Read the falling half" in result.unsettled[0].words()
    assert result.built is None
    findings = data_findings(Evidence.of(result.fit.job, result.fit))
    assert [f.severity for f in findings if isinstance(f, CopiedReadings)] == ["check first"]
    assert not trust_in(result.fit.job, result.fit).ok
    assert "they copied" not in " ".join(result.trust.reasons)  # it is told once


def test_a_first_look_says_it_too(tmp_path: Path) -> None:
    """Book and sweep alone."""
    unit = planned_unit(5)
    up = unit.speeds
    advance = with_copied_half(read(unit.one, up))
    left = as_csv(np.concatenate([up, up[-2::-1]]), advance, len(up))
    seen = replace(worn(5, "sound"), readings=left, reading=0.4, zeroed=None)
    looked = check_bare(seen.job(tmp_path))
    assert looked.verdict == "cannot tell"
    assert [f.severity for f in looked.findings if isinstance(f, CopiedReadings)] == ["check first"]
    assert [s.measure for s in looked.steps] == ["read the falling half"]


def sweep_of(rising: list[float], falling: list[float], reading: float) -> Sweep:
    """Readings [deg] at 300, 400 … rpm, rising and falling, each ± so much."""
    speed = 300.0 + 100.0 * np.arange(len(rising))
    return Sweep(
        np.concatenate([speed, speed]) * np.pi / 30,
        np.radians([*rising, *falling]),
        np.arange(2 * len(rising)) < len(rising),
        np.arange(2 * len(rising)) + 2,
        "left.csv",
        np.radians(reading),
        0.5,
    )


FINE = [0.0, 1.3, 2.2, 3.7, 4.6, 5.4, 6.1, 7.9, 9.4, 9.4]  # seven or so climb


@pytest.mark.parametrize(
    ("falling", "reading", "barred"),
    [
        (FINE, 0.5, True),  # by hand: 0.1/(2 √π 0.289) = 0.098, eight times at once 8e-9
        ([*FINE[:4], 4.7, *FINE[5:]], 0.5, False),  # one is another
        ([0.2, *FINE[1:-1], 9.3], 0.5, True),  # near zero and on the stop they may be anything
        (FINE, 0.1, False),  # 0.49 each: as coarse as the ± itself
    ],
)
def test_readings_that_are_alike_by_chance_are_not_called_copied(
    falling: list[float], reading: float, barred: bool
) -> None:
    assert (copied(sweep_of(FINE, falling, reading)) is not None) == barred


def test_coarse_readings_and_few_are_not_called_copied() -> None:
    """Read to 0.5° with ± 0.5°: one pair in two is alike, as with a timing light. Four speeds are too few."""
    coarse = [float(x) for x in np.arange(1.0, 11.0, 0.5)]
    assert copied(sweep_of(coarse, coarse, 0.5)) is None
    few = [0.0, 2.1, 4.3, 6.2, 8.4, 10.3]
    assert copied(sweep_of(few, few, 0.5)) is None


def test_the_chance_that_two_readings_are_alike() -> None:
    """Equation 1 against a million pairs drawn: ± 0.4°, in steps of 0.1°."""
    random, u = np.random.default_rng(1), 0.4 / np.sqrt(3)
    drawn = np.round((3.03 + u * random.normal(size=(2, 1_000_000))) / 0.1)
    assert (drawn[0] == drawn[1]).mean() == pytest.approx(0.1 / (2 * np.sqrt(np.pi) * u), rel=0.02)


def test_crank_figures_are_looked_at_as_they_were_written() -> None:
    """Read to 1° at the crank, ± 1° there: 0.5° of the distributor, and as coarse."""
    whole = [float(x) for x in np.arange(1.0, 11.0, 0.5)]
    one = replace(sweep_of(whole, whole, 0.5), as_read=AsRead("crank", "crank", 2.0, np.radians(6.0)))
    assert copied(one) is None
    fine = replace(sweep_of(FINE, FINE, 0.5), as_read=AsRead("crank", "crank", 2.0, np.radians(6.0)))
    assert copied(fine) is not None


# --- a stop that was to be left alone ---------------------------------------------------------------------------


def with_vacuum(advance: np.ndarray, up: np.ndarray) -> np.ndarray:
    """The readings with a vacuum unit pulling: from nothing at the middle speed to 3° at the fastest."""
    shown = np.concatenate([up, up[-2::-1]])
    middle = (up[0] + up[-1]) / 2
    return np.round(advance + 3.0 * np.clip((shown - middle) / (up[-1] - middle), 0.0, 1.0), 1)


@pytest.mark.parametrize("seed", some([7, 5], 1))
def test_a_stop_that_was_left_alone_does_not_move(seed: int, tmp_path: Path) -> None:
    unit = planned_unit(seed)
    up = unit.speeds
    result = judged(unit, tmp_path, up, with_vacuum(read(unit.one, up), up))
    assert result.verdict == "read again" and result.correction is None and result.step == "settle"
    [moved] = result.unsettled
    assert isinstance(moved, OtherStop)
    assert moved.readings.value > moved.planned.value + np.radians(1.0)
    words = moved.words()
    assert "--stop" in words and "vacuum" in words and f"{np.degrees(moved.planned.value):.1f}" in words


def test_a_stop_that_was_trimmed_or_told_is_taken_as_it_is(tmp_path: Path) -> None:
    """A stop 2° farther out: a plan that trims it may have been carried out wrongly, and the wheel and the trim are believed."""
    unit, trimmed = planned_unit(7), planned_unit(7, 0.3)
    one = replace(unit.one, stop=unit.one.stop + 2.0)
    up = np.round(np.linspace(unit.speeds[0], 1.3 * unit.speeds[-1], 15), -1)
    advance = read(one, up)
    told = AsSet(stop=Quantity(np.radians(one.stop), np.radians(0.2)))
    assert [type(x) for x in judged(unit, tmp_path, up, advance).unsettled] == [OtherStop]
    for result in (judged(unit, tmp_path, up, advance, told), judged(trimmed, tmp_path, up, advance)):
        assert result.verdict == "fails" and not any(isinstance(x, OtherStop) for x in result.unsettled)
        assert result.correction is not None and "stop" in [m.what for m in result.correction.moves]
