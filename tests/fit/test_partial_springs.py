"""Every fact that is known of a spring counts: alone, together, and beside a sweep. Truths are set or worked out by hand."""

from __future__ import annotations

import json
from functools import cache
from itertools import combinations
from pathlib import Path
from tempfile import TemporaryDirectory

import numpy as np
import pytest
from commands import run
from jobs import write_job
from sweeps import swept

from recurve.fit.fit import Fit, fit_sweep
from recurve.fit.priors import tension_parameters
from recurve.fit.state import SURE, Evidence
from recurve.job.model import Job
from recurve.job.read import load_job
from recurve.physics.curve import Unit
from recurve.springs.spring import Spring

SPEEDS = list(range(200, 1601, 100))
FOUND_PRIMARY = 'free_length = "15.2 mm"\nrate = "1.6 ± 0.1 N/mm"\n'
FOUND_SECONDARY = 'takeup = "7 ± 0.5 deg"\nrate = "4.0 N/mm"\n'
G = 9.80665  # m/s², exact by convention (CGPM 1901)


def job_with(primary: str, secondary: str, sweep: str | None = None, *more: tuple[str, str]) -> Job:
    """The test job with these facts of its springs; without a sweep where none is given."""
    changes = [(FOUND_PRIMARY, primary), (FOUND_SECONDARY, secondary), *more]
    if sweep is None:
        changes.append(('[sweep]\nfile = "as-found.csv"\nreading = "± 0.8 deg"\n', ""))
    with TemporaryDirectory() as folder:
        return load_job(write_job(Path(folder), *changes, **({} if sweep is None else {"sweep": sweep})))


@cache
def truth() -> tuple[Unit, float, float]:
    """The unit that is swept (1.6 N/mm from rest; 4.0 N/mm from 7°), and how far its two springs are stretched at rest
    [m], negative where slack."""
    unit = job_with(FOUND_PRIMARY, FOUND_SECONDARY).as_found()
    assert unit is not None
    first, second = (float(s.length(0.0)[0]) - s.spring.free_length for s in unit.springs)
    return unit, first, second


@cache
def fitted(primary: str, secondary: str, noise: float = 0.3, seed: int = 1) -> Fit:
    return fit_sweep(job_with(primary, secondary, swept(truth()[0], SPEEDS, noise, seed)))


def estimate(fit: Fit, name: str) -> tuple[float, float]:
    one = fit.estimate(name)
    assert one.value is not None and one.standard_uncertainty is not None, name
    return one.value, one.standard_uncertainty


# --- one fact alone -----------------------------------------------------------------------------------------


def test_a_rate_alone_counts() -> None:
    """4.05 ± 0.1 N/mm: a standard uncertainty of 0.058. Without it the sweep leaves several times as much."""
    value, by = estimate(fitted("", 'rate = "4.05 ± 0.1 N/mm"\n'), "secondary.rate")
    assert abs(value - 4.05) < 0.12 and by <= 0.1 / np.sqrt(3) * 1.1  # 1000 samples
    assert estimate(fitted("", ""), "secondary.rate")[1] > 2 * by


def test_a_free_length_alone_counts() -> None:
    """The take-up lies where the length over the posts is the free length: known to 0.05 mm, it is known to half a degree."""
    unit, _, _ = truth()
    free = 1e3 * float(unit.springs[1].length(np.radians(7.0))[0])
    told = f'free_length = "{free:.2f} ± 0.05 mm"\n'
    value, by = estimate(fitted("", told), "secondary.takeup")
    assert abs(value - 7.0) < 0.4 and by < 0.25
    assert estimate(fitted("", ""), "secondary.takeup")[1] > 1.5 * by


def test_a_spring_that_rattles_at_rest_is_slack_in_every_state() -> None:
    """Swept with a primary that pulls from rest: "slack" is false, but it is what the job says, and it is used."""
    states = fitted('at_rest = "slack"\n', "").samples
    model = fitted('at_rest = "slack"\n', "").model
    stretch = model.column(model.natural(states.states), "primary.stretch")
    assert (stretch <= 1e-12).all()
    free = fitted("", "").model
    assert (free.column(free.natural(fitted("", "").samples.states), "primary.stretch") > 0).any()


def test_a_spring_that_pulls_at_rest_does_so_in_every_state() -> None:
    model, states = (lambda f: (f.model, f.samples.states))(fitted('at_rest = "pulls"\n', "", 0.6))
    assert (model.column(model.natural(states), "primary.stretch") >= 0).all()


def test_a_pull_at_rest_by_spring_balance_counts() -> None:
    """1.6 N/mm times the stretch at rest, read to ± 0.05 N."""
    _, stretch, _ = truth()
    pull = 1600.0 * stretch
    value, by = estimate(fitted(f'pull_at_rest = "{pull:.3f} ± 0.05 N"\n', "", 0.6), "primary.pull")
    assert abs(value - pull) < 0.07 and by <= 0.05 / np.sqrt(3) * 1.1
    assert estimate(fitted("", "", 0.6), "primary.pull")[1] > 1.5 * by


def test_weighings_count_as_the_rate_and_the_length_they_make() -> None:
    """Two weights on the secondary, 4.0 N/mm: the lengths they draw it to are F/k past its free length (hand calculation)."""
    unit, _, _ = truth()
    free = 1e3 * unit.springs[1].spring.free_length
    rows = ", ".join(f'"{m} ± 0.1 g at {free + 1e-3 * m * G / 4.0:.3f} ± 0.02 mm"' for m in (200, 800))
    fit = fitted("", f"weighings = [{rows}]\n")
    value, by = estimate(fit, "secondary.rate")
    # 5.884 N apart over 1.471 mm read to 0.02 mm each: 0.016 mm of 1.471 mm, 1.1 %.
    assert abs(value - 4.0) < 0.1 and by < 0.05
    at, doubt = estimate(fit, "secondary.takeup")
    assert abs(at - 7.0) < 3 * doubt
    # What is left is the initial tension, which open coils do not show; wound without any, the place is known.
    open_wound = fitted("", f'weighings = [{rows}]\ninitial_tension = "0 N"\n')
    assert estimate(open_wound, "secondary.takeup")[0] == pytest.approx(7.0, abs=0.3)


@pytest.mark.parametrize(("rate", "spread"), [(3.0, 2.0), (6.0, 2.0), (15.0, 5.0)])
def test_how_hard_coils_may_hold_together_goes_with_the_rate(rate: float, spread: float) -> None:
    """The usual 2 N are those of the usual 6 N/mm (common practice, no source): 15 N/mm hold up to 2.5 times as much. Of one
    index, springs with as many coils of twice the wire are twice as stiff and hold four times as much (Shigley, equations
    10-9 and 10-41; from memory)."""
    [tension] = tension_parameters(job_with(FOUND_PRIMARY, f'rate = "{rate} N/mm"\n'), 1)
    assert tension.spread == pytest.approx(spread)


# --- without a sweep ----------------------------------------------------------------------------------------


def found(primary: str, secondary: str) -> tuple[Spring, Spring]:
    job = job_with(primary, secondary)
    first, second = (p.found for p in job.places)
    assert first is not None and second is not None
    return first, second


def test_weights_describe_a_spring() -> None:
    """50 g and 150 g, 16.0 and 16.5 mm: 0.98067 N over 0.5 mm are 1.96133 N/mm, and 0.49033 N less is 0.25 mm: no pull at
    15.75 mm (hand calculation)."""
    first, _ = found('weighings = ["50 g at 16.0 mm", "150 g at 16.5 mm"]\n', FOUND_SECONDARY)
    assert first.rate == pytest.approx(1961.33, rel=1e-6)
    assert first.free_length == pytest.approx(15.75e-3, abs=1e-9)
    closed, _ = found('weighings = ["50 g at 16.0 mm", "150 g at 16.5 mm"]\nfree_length = "15.6 mm"\n', FOUND_SECONDARY)
    # Closed at 15.6 mm, the line would pull less than nothing there: it hangs loose up to 15.75 mm.
    assert closed.free_length == pytest.approx(15.6e-3) and closed.initial_tension == 0.0


def test_rate_and_pull_at_rest_describe_a_spring() -> None:
    """1.6 N/mm that pulls 0.8 N at rest is drawn 0.5 mm; with 0.2 N of initial tension, 0.375 mm (hand calculation)."""
    rest = float(job_with(FOUND_PRIMARY, FOUND_SECONDARY).places[0].posts.length(0.0)[0])
    first, _ = found('rate = "1.6 N/mm"\npull_at_rest = "0.8 N"\n', FOUND_SECONDARY)
    assert rest - first.free_length == pytest.approx(0.5e-3, abs=1e-9)
    first, _ = found('rate = "1.6 N/mm"\npull_at_rest = "0.8 N"\ninitial_tension = "0.2 N"\n', FOUND_SECONDARY)
    assert rest - first.free_length == pytest.approx(0.375e-3, abs=1e-9)


def test_weights_without_a_sweep_leave_their_own_uncertainty() -> None:
    """Two readings of ± 0.02 mm, 0.5 mm apart: the rate to 0.0163/0.5, 3.3 %, one standard uncertainty."""
    text = 'weighings = ["50 ± 0.01 g at 16.0 ± 0.02 mm", "150 ± 0.01 g at 16.5 ± 0.02 mm"]\n'
    job = job_with(text, FOUND_SECONDARY)
    rate = np.exp(Evidence.of(job, None).value("primary.rate").sample)
    assert rate.mean() == pytest.approx(1961.33, rel=0.02)
    assert rate.std() / rate.mean() == pytest.approx(0.0327, rel=0.2)


# --- several at once ----------------------------------------------------------------------------------------


def test_free_length_and_take_up_are_both_used() -> None:
    """Both true, each to about a third of a degree: together they know better than the take-up alone."""
    unit, _, _ = truth()
    free = 1e3 * unit.springs[1].spring.free_length
    alone = fitted("", 'takeup = "7 ± 0.6 deg"\n', 0.8)
    both = fitted("", f'takeup = "7 ± 0.6 deg"\nfree_length = "{free:.3f} ± 0.05 mm"\n', 0.8)
    assert estimate(both, "secondary.takeup")[1] < 0.8 * estimate(alone, "secondary.takeup")[1]


def test_a_free_length_that_contradicts_the_take_up_is_told_with_the_slip() -> None:
    """The free length of 7° measured over the outside of two hooks of 0.5 mm wire would be 2 mm too long."""
    unit, _, _ = truth()
    free = 1e3 * unit.springs[1].spring.free_length
    agree = job_with(FOUND_PRIMARY, f'takeup = "7 ± 0.5 deg"\nfree_length = "{free:.2f} mm"\nrate = "4.0 N/mm"\n')
    outside = job_with(FOUND_PRIMARY, f'takeup = "7 ± 0.5 deg"\nfree_length = "{free + 2:.2f} mm"\nrate = "4.0 N/mm"\n')
    assert not any("take-up" in note for note in agree.notes)
    told = next(note for note in outside.notes if "take-up of 7.0°" in note)
    assert "contradict each other" in told and "outside of the hooks" in told


def test_a_free_length_between_the_middles_of_the_posts_is_told_as_such() -> None:
    """Taken between the middles of two posts of 2.5 mm, the free length of 7° would be 2.5 mm too short."""
    unit, _, _ = truth()
    free = 1e3 * unit.springs[1].spring.free_length - 2.5
    between = job_with(FOUND_PRIMARY, f'takeup = "7 ± 0.5 deg"\nfree_length = "{free:.2f} mm"\nrate = "4.0 N/mm"\n')
    told = next(note for note in between.notes if "take-up of 7.0°" in note)
    assert "contradict each other" in told and "measured between centres" in told


def test_a_rate_that_contradicts_the_weights_is_told() -> None:
    rows = 'weighings = ["50 g at 16.0 mm", "150 g at 16.5 mm"]\n'
    assert not any("weighings" in n for n in job_with(f'{rows}rate = "1.95 ± 0.1 N/mm"\n', FOUND_SECONDARY).notes)
    told = next(n for n in job_with(f'{rows}rate = "3.5 ± 0.1 N/mm"\n', FOUND_SECONDARY).notes if "weighings" in n)
    assert "3.50 N/mm" in told and "1.96 ±" in told


FACTS = {
    "rate": 'rate = "1.6 ± 0.1 N/mm"\n',
    "free": 'free_length = "15.2 ± 0.1 mm"\n',
    "rest": 'at_rest = "pulls"\n',
    "tension": 'initial_tension = "0 ± 0.1 N"\n',
    "pull": 'pull_at_rest = "{pull:.2f} ± 0.1 N"\n',
}


def test_knowing_more_never_ends_in_a_refusal(tmp_path: Path) -> None:
    """All 32 sets of five true facts are read, and give springs as soon as rate and place are known."""
    _, stretch, _ = truth()
    for size in range(len(FACTS) + 1):
        for some in combinations(FACTS, size):
            text = "".join(FACTS[name] for name in some).format(pull=1600 * stretch)
            job = job_with(text, FOUND_SECONDARY)
            assert (job.places[0].found is not None) == ("rate" in some and bool({"free", "pull"} & set(some))), some


# --- the calliper over the posts ----------------------------------------------------------------------------


def test_the_calliper_sets_where_the_posts_stand_and_the_sheet_counts_from_it(tmp_path: Path) -> None:
    """As found, bend and set to, of plan and plan.toml: set to less bend is what the calliper said."""
    rest = 1e3 * float(job_with(FOUND_PRIMARY, FOUND_SECONDARY).places[0].posts.length(0.0)[0])
    over = rest + 0.35
    text = f'{FOUND_PRIMARY}over_posts = "{over:.2f} ± 0.05 mm"\n'
    path = write_job(tmp_path, (FOUND_PRIMARY, text), ('[sweep]\nfile = "as-found.csv"\nreading = "± 0.8 deg"\n', ""))
    assert 1e3 * float(load_job(path).places[0].posts.length(0.0)[0]) == pytest.approx(round(over, 2), abs=1e-9)
    _, out, _ = run(["plan", str(path), "--json"])
    primary = json.loads(out)["springs"]["primary"]
    assert primary["installed_length_mm"] - primary["bend_mm"] == pytest.approx(round(over, 2), abs=1e-6)
    again = load_job(tmp_path / "unit-plan" / "plan.toml")
    assert 1e3 * float(again.places[0].posts.length(0.0)[0]) == pytest.approx(primary["installed_length_mm"], abs=1e-3)


@pytest.mark.parametrize(("off", "told"), [(0.1, False), (1.2, True)])
def test_a_calliper_that_contradicts_the_places_is_told(off: float, told: bool) -> None:
    """Places by a scan make the length to ± 0.3 mm (common practice, no source)."""
    rest = 1e3 * float(job_with(FOUND_PRIMARY, FOUND_SECONDARY).places[0].posts.length(0.0)[0])
    notes = job_with(f'{FOUND_PRIMARY}over_posts = "{rest + off:.2f} ± 0.05 mm"\n', FOUND_SECONDARY).notes
    assert any("calliper reads" in n and f"{off:.2f} mm" in n for n in notes) == told


def test_the_states_of_a_sure_pull_are_sure() -> None:
    """A probability is made of states that agree with what was measured: 0.8 ± 0.01 N is surely more than 0.7 N."""
    job = job_with('rate = "1.6 ± 0.01 N/mm"\npull_at_rest = "0.8 ± 0.01 N"\n', FOUND_SECONDARY)
    evidence = Evidence.of(job, None)
    x = evidence.model.column(evidence.natural, "primary.stretch")
    pull = evidence.model.units(evidence.ensemble.states).tension[:, 0] + 1600 * np.maximum(x, 0)
    assert (np.abs(pull - 0.8) < 0.05).mean() > SURE
