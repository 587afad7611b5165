"""What a fit says of a sweep, by example: values, where each is from, outliers, scatter, other answers.

Every sweep is made of a unit that is known (`sweeps`, by the exact curve); what the fit must find is what
went in. Its uncertainties are held to account over many units in test_recovery.
"""

from __future__ import annotations

from dataclasses import replace
from functools import cache
from pathlib import Path
from tempfile import TemporaryDirectory

import numpy as np
import pytest
from jobs import JOB, write_job
from longer import some
from numpy.typing import NDArray
from sweeps import HEADER, rows, swept
from synthetic import case

from recurve.fit import fit as fitting
from recurve.fit.fit import Fit, fit_sweep
from recurve.fit.model import sweep_model
from recurve.fit.posterior import Mode, Samples, sample
from recurve.job.read import load_job
from recurve.physics.curve import Drag, Installed, Unit
from recurve.springs.spring import Spring

Array = NDArray[np.float64]
SPEEDS = list(range(200, 1601, 100))
CLOSE = list(range(200, 1601, 20))
FOUND_PRIMARY = 'free_length = "15.2 mm"\nrate = "1.6 ± 0.1 N/mm"\n'
FOUND_SECONDARY = 'takeup = "7 ± 0.5 deg"\nrate = "4.0 N/mm"\n'
UNDESCRIBED = ((FOUND_PRIMARY, ""), (FOUND_SECONDARY, ""))
READING = 'reading = "± 0.8 deg"'
DRAG = 'rubbing_block = "4.5 mN*m"\nfriction = "1.0 mN*m"\n'
# All that would be measured perfectly: what is left must come out.
EXACT = (
    ('mass = "31.5 ± 0.3 g"', 'mass = "31.5 ± 0.0001 g"'),
    (READING, 'reading = "± 0.02 deg"\nspeed_reading = "± 0.1 rpm"'),
    (DRAG, 'rubbing_block = "4.5 ± 0.01 mN*m"\n'),
)


def truth(folder: Path, drag: Drag | None = None) -> Unit:
    """The test job's unit, which has a primary of 1.6 N/mm and a secondary of 4.0 N/mm taking up at 7°; another
    drag where one is given."""
    unit = load_job(write_job(folder)).as_found()
    assert unit is not None
    return unit if drag is None else replace(unit, drag=drag)


@cache
def fitted(sweep: str, *changes: tuple[str, str]) -> Fit:
    """The fit of the test job with these changes and this sweep, made once for all tests that look at it."""
    with TemporaryDirectory() as folder:
        return fit_sweep(load_job(write_job(Path(folder), *changes, sweep=sweep)))


def value(fit: Fit, name: str) -> tuple[float, float]:
    """Value and standard uncertainty of an estimate that must have both."""
    one = fit.estimate(name)
    assert one.value is not None and one.standard_uncertainty is not None
    return one.value, one.standard_uncertainty


def near(fit: Fit, name: str, wanted: float, within: float = 3.0) -> bool:
    """Whether an estimate is no further off than so many standard uncertainties."""
    found, deviation = value(fit, name)
    return abs(found - wanted) <= within * deviation


# --- values ---------------------------------------------------------------------------------------------


def test_exact_readings_give_the_unit_back(tmp_path: Path) -> None:
    """Springs not described at all, readings to 0.02°: rates to 1 %, angles to 0.02°, friction to 0.1 mN·m. A slope
    just past the take-up and a small initial tension read alike, so the take-up is known to 0.15° only."""
    text = swept(truth(tmp_path), CLOSE, noise=0.0)
    fit = fitted(text, *EXACT, *UNDESCRIBED)
    assert fit.converged and fit.outliers == () and fit.inflation == 1.0
    assert value(fit, "primary.rate")[0] == pytest.approx(1.6, rel=0.01)
    assert value(fit, "secondary.rate")[0] == pytest.approx(4.0, rel=0.01)
    assert value(fit, "secondary.takeup")[0] == pytest.approx(7.0, abs=0.15)
    assert value(fit, "stop")[0] == pytest.approx(13.8, abs=0.02)
    assert value(fit, "friction")[0] == pytest.approx(1.0, abs=0.1)
    assert all(fit.estimate(n).source == "readings" for n in ("primary.rate", "secondary.takeup", "stop", "friction"))


def test_a_pull_at_rest_is_found(tmp_path: Path) -> None:
    """The primary stands 20.1 − 15.2 mm or so stretched at rest; what it pulls there is rate times stretch."""
    unit = truth(tmp_path)
    primary = unit.springs[0]
    stretch = float(primary.length(0.0)[0]) - primary.spring.free_length
    fit = fitted(swept(unit, CLOSE, noise=0.0), *EXACT, *UNDESCRIBED)
    assert stretch > 0
    assert value(fit, "primary.takeup")[0] == pytest.approx(0.0, abs=1e-9)
    assert value(fit, "primary.pull")[0] == pytest.approx(1.6e3 * stretch, rel=0.02)


def test_noisy_readings_within_their_uncertainties(tmp_path: Path) -> None:
    fit = fitted(swept(truth(tmp_path), SPEEDS, 0.3), *UNDESCRIBED)
    assert fit.converged and fit.inflation == 1.0
    wanted = {"primary.rate": 1.6, "secondary.rate": 4.0, "secondary.takeup": 7.0, "stop": 13.8}
    assert [name for name, x in wanted.items() if not near(fit, name, x)] == []
    assert value(fit, "stop")[1] < 0.2


def test_more_careful_readings_leave_less_doubt(tmp_path: Path) -> None:
    text = swept(truth(tmp_path), SPEEDS, 0.05)
    rough = fitted(text, *UNDESCRIBED)
    fine = fitted(text, *UNDESCRIBED, (READING, 'reading = "± 0.1 deg"'))
    for name in ("primary.rate", "secondary.takeup", "stop"):
        assert value(fine, name)[1] < 0.7 * value(rough, name)[1]


def test_readings_in_crank_terms_give_the_same_unit(tmp_path: Path) -> None:
    text = swept(truth(tmp_path), SPEEDS, 0.3)
    doubled = [line.split(",") for line in rows(text)]
    crank = HEADER + "".join(f"{2 * float(s):g},{2 * float(a):.2f},{d}\n" for s, a, d in doubled)
    one = fitted(text, (READING, READING + '\nspeed_reading = "± 10 rpm"'))
    other = fitted(
        crank,
        (READING, 'basis = "crank"\nreading = "± 1.6 deg"\nspeed_reading = "± 20 rpm"\nstatic = "0 deg"'),
    )
    for name in one.names:
        assert value(other, name) == pytest.approx(value(one, name), rel=1e-6, abs=1e-9)


# --- drag and friction ------------------------------------------------------------------------------------

# Drag and friction add up to 7.5 mN·m in both, so that the two rise alike and come home at different speeds.
DRAGGED, RUBBED = Drag(6.5e-3, 1.0e-3), Drag(4.5e-3, 3.0e-3)
# Springs and weights known so well that drag is what is left to find; drag itself is not given.
KNOWN = (
    (FOUND_PRIMARY, 'free_length = "15.2 ± 0.01 mm"\nrate = "1.6 ± 0.005 N/mm"\n'),
    (FOUND_SECONDARY, 'takeup = "7 ± 0.05 deg"\nrate = "4.0 ± 0.02 N/mm"\n'),
    ('mass = "31.5 ± 0.3 g"', 'mass = "31.5 ± 0.01 g"'),
    (DRAG, ""),
    (READING, 'reading = "± 0.2 deg"\nspeed_reading = "± 3 rpm"'),
)


@pytest.mark.parametrize(("drag", "friction"), [(6.5, 1.0), (4.5, 3.0)])
def test_both_directions_tell_friction_from_drag(drag: float, friction: float, tmp_path: Path) -> None:
    unit = truth(tmp_path, drag=Drag(1e-3 * drag, 1e-3 * friction))
    fit = fitted(swept(unit, SPEEDS, 0.1), *KNOWN)
    assert fit.estimate("drag").source == fit.estimate("friction").source == "readings"
    assert near(fit, "drag", drag) and value(fit, "drag")[1] < 0.7
    assert near(fit, "friction", friction) and value(fit, "friction")[1] < 0.7


def test_one_direction_does_not(tmp_path: Path) -> None:
    """Rising, the two units read the same, so no fit can tell them apart: it knows the sum, and not who makes it."""
    texts = [swept(truth(tmp_path, drag=d), SPEEDS, 0.0, directions=["rising"]) for d in (DRAGGED, RUBBED)]
    assert texts[0] == texts[1]
    fit = fitted(texts[0], *KNOWN)
    assert value(fit, "drag")[1] > 1.0 and value(fit, "friction")[1] > 1.0
    assert value(fit, "drag")[0] + value(fit, "friction")[0] == pytest.approx(7.5, abs=0.5)
    place = [p.name for p in fit.model.parameters]
    columns = fit.samples.states[:, [place.index("drag"), place.index("friction")]]
    off = (columns - fit.samples.mean(columns)) / fit.samples.deviation(columns)
    assert fit.samples.weights @ (off[:, 0] * off[:, 1]) < -0.9  # what one has more, the other has less


def test_an_electronic_trigger_has_no_drag(tmp_path: Path) -> None:
    unit = truth(tmp_path, drag=Drag(0.0, 1e-3))
    fit = fitted(swept(unit, SPEEDS, 0.3), (DRAG, 'trigger = "electronic"\n'))
    assert fit.estimate("drag").source == "as given"
    assert value(fit, "drag") == pytest.approx((0.0, 0.0), abs=1e-4)
    assert near(fit, "stop", 13.8) and fit.inflation == 1.0


# --- what is not determined is absent ---------------------------------------------------------------------


def test_a_second_spring_that_never_takes_up(tmp_path: Path) -> None:
    """Long by 40 mm: of its rate and take-up no reading tells."""
    unit = truth(tmp_path)
    idle = Installed(Spring("", 4e3, unit.springs[1].spring.free_length + 0.04), unit.springs[1].posts)
    fit = fitted(swept(replace(unit, springs=(unit.springs[0], idle)), SPEEDS, 0.2), *UNDESCRIBED)
    for name in ("secondary.rate", "secondary.takeup"):
        assert fit.estimate(name).source == "not determined"
        assert fit.estimate(name).value is None and fit.estimate(name).standard_uncertainty is None
        assert name not in fit.names


def test_a_stop_that_was_not_reached(tmp_path: Path) -> None:
    """Up to 700 rpm the unit comes to some 12° of its 13.8°."""
    text = swept(truth(tmp_path), range(200, 701, 25), 0.2)
    assert max(float(line.split(",")[1]) for line in rows(text)) < 13
    measured = fitted(text).estimate("stop")
    assert measured.source == "as given"
    assert measured.standard_uncertainty == pytest.approx(0.3 / np.sqrt(3), rel=0.1)
    alone = fitted(text, ("13.8 ± 0.3 deg", "13.8 deg")).estimate("stop")
    assert (alone.source, alone.value) == ("not determined", None)


def test_what_was_measured_well_and_swept_badly_is_as_given() -> None:
    """Springs stated to 1 %, three readings good to ± 3°: nothing is learnt of them, and that is said."""
    text = HEADER + "300,0.5,rising\n700,8.0,rising\n700,9.0,falling\n"
    changes = (
        (FOUND_PRIMARY, 'free_length = "15.2 ± 0.05 mm"\nrate = "1.6 ± 0.016 N/mm"\n'),
        (READING, 'reading = "± 3 deg"'),
    )
    fit = fitted(text, *changes)
    assert fit.estimate("primary.rate").source == "as given"
    assert value(fit, "primary.rate") == pytest.approx((1.6, 0.016 / np.sqrt(3)), rel=0.1)


def test_friction_nobody_gave_and_no_falling_reading_shows_is_not_told(tmp_path: Path) -> None:
    text = swept(truth(tmp_path), SPEEDS, 0.3, directions=["rising"])
    # Of readings as good as ± 0.8° the curve's foot still bounds friction from above; ± 2° do not.
    fit = fitted(text, ('friction = "1.0 mN*m"\n', ""), *UNDESCRIBED, (READING, 'reading = "± 2 deg"'))
    assert fit.estimate("friction").source == "not determined"
    assert fit.estimate("drag").source == "as given"


# --- bad readings -----------------------------------------------------------------------------------------


@pytest.mark.parametrize("wrong", some([100.0, -100.0, 25.0], 1))
def test_a_wrong_reading_is_named_and_the_rest_fitted(wrong: float, tmp_path: Path) -> None:
    text = swept(truth(tmp_path), SPEEDS, 0.3)
    lines = rows(text)
    speed, _, direction = lines[6].split(",")
    spoilt = HEADER + "\n".join([*lines[:6], f"{speed},{wrong},{direction}", *lines[7:]]) + "\n"
    without = HEADER + "\n".join([*lines[:6], *lines[7:]]) + "\n"
    fit, rest = fitted(spoilt), fitted(without)
    assert fit.outliers == (8,)  # the header is row 1
    assert np.abs(fit.residuals[6]) > 20
    assert fit.inflation == 1.0 and fit.converged
    for name in rest.names:
        found, deviation = value(rest, name)
        assert value(fit, name)[0] == pytest.approx(found, abs=0.2 * deviation + 1e-9)


def test_good_readings_are_not_called_wrong(tmp_path: Path) -> None:
    """Noise of exactly the standard uncertainty that is stated, twice."""
    unit = truth(tmp_path)
    texts = [swept(unit, SPEEDS, 0.8 / np.sqrt(3), seed) for seed in range(2)]
    assert [fitted(text, *UNDESCRIBED).outliers for text in texts] == [()] * 2


def test_scatter_beyond_what_was_stated_widens_everything(tmp_path: Path) -> None:
    """σ 0.9° where ± 0.5° was said (σ 0.29°): about three times as much, so as uncertain as if ± 1.5° had been said."""
    text = swept(truth(tmp_path), SPEEDS, 0.9, seed=4)
    said = fitted(text, *UNDESCRIBED, (READING, 'reading = "± 0.5 deg"'))
    true = fitted(text, *UNDESCRIBED, (READING, 'reading = "± 1.56 deg"'))
    assert true.inflation == 1.0
    assert 2.0 < said.inflation < 4.5
    assert value(said, "stop")[1] == pytest.approx(value(true, "stop")[1], rel=0.4)
    # The Birge ratio: with the ± enlarged by it, what is left is about as large as it is said to be. It is not the same: the
    # state that is then the best is another.
    left = said.model.misfit(said.best[None])[0][0]
    assert float((left**2).sum()) == pytest.approx(said.dof, rel=0.3)
    assert said.model.sweep.reading == pytest.approx(said.inflation * np.radians(0.5))


@pytest.mark.parametrize(
    ("pattern", "count", "converged"),
    [
        ((0.0, 0.0, 1.0, 1.0), 200, True),  # both halves have the same mean
        ((0.0, 1.0, 0.0, 1.0), 200, False),  # two standard deviations apart, though worth 200 samples
        ((0.0, 0.0, 1.0, 1.0), 80, False),  # fewer than 100
    ],
)
def test_a_fit_has_settled_where_enough_samples_agree_with_each_other(
    pattern: tuple[float, ...], count: int, converged: bool, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Every other sample is the one half, the rest the other."""
    job = load_job(write_job(tmp_path, sweep=swept(truth(tmp_path), SPEEDS)))
    model = sweep_model(job)
    middle = np.clip(np.zeros(model.size), *model.bounds())
    states = middle + 0.01 * np.resize(pattern, count)[:, None]
    monkeypatch.setattr(fitting, "sample", lambda density, modes: Samples(states, np.full(count, 1 / count)))
    found = fitting.Found((Mode(middle, 0.0, 1e-4 * np.eye(model.size), True),))
    kept = np.ones(len(model.sweep.speed), bool)
    assert fitting._result(job, model, model, kept, found, 1.0).converged == converged


# --- the answer as a whole --------------------------------------------------------------------------------


def test_correlation_has_a_unit_diagonal_and_its_signs(tmp_path: Path) -> None:
    """A stiffer primary with less pull at rest reads much alike: the two go against each other."""
    fit = fitted(swept(truth(tmp_path), SPEEDS, 0.3), *UNDESCRIBED)
    table, names = fit.correlation, fit.names
    assert table.shape == (len(names), len(names))
    assert np.array_equal(np.diag(table), np.ones(len(names)))
    assert table == pytest.approx(table.T, abs=1e-12)
    assert np.abs(table).max() <= 1 + 1e-9
    assert np.linalg.eigvalsh(table).min() > -1e-9
    assert table[names.index("primary.rate"), names.index("primary.pull")] < -0.5


def test_estimates_and_weights_are_in_order(tmp_path: Path) -> None:
    fit = fitted(swept(truth(tmp_path), SPEEDS, 0.3))
    assert fit.samples.weights.sum() == pytest.approx(1.0)
    assert fit.samples.weights.min() >= 0
    assert set(fit.names) <= {e.name for e in fit.estimates}
    assert fit.chi2 == pytest.approx(float((fit.residuals**2).sum()))
    with pytest.raises(KeyError):
        fit.estimate("secondary.colour")


def test_two_answers_and_the_reading_that_would_decide(tmp_path: Path) -> None:
    """A nearly straight slope: one spring almost up to the stop, or two that share it. Unit 5 of `synthetic` is the
    former; its second spring takes up at 11.9° of 14.9°."""
    unit = case(5)
    fit = fit_sweep(unit.job(tmp_path))
    assert len(fit.alternatives) >= 1
    other = fit.alternatives[0]
    assert np.exp(-8) < other.likelihood <= 1
    assert other.apart > 0
    assert 0.7 * unit.speeds.min() <= other.speed * 30 / np.pi <= 1.15 * 1.1 * unit.speeds.max()
    takeups = next((one, two) for name, one, two, _ in other.differs if name == "secondary.takeup")
    assert abs(takeups[0] - takeups[1]) > 3
    assert min(abs(one - unit.truth["secondary.takeup"]) for one in takeups) < 1


def test_a_sweep_that_decides_leaves_one_answer(tmp_path: Path) -> None:
    assert fitted(swept(truth(tmp_path), CLOSE, noise=0.0), *EXACT, *UNDESCRIBED).alternatives == ()


# --- samples of a posterior ------------------------------------------------------------------------------


def _modes(*centres: float, width: float = 1.0, size: int = 3) -> tuple[Mode, ...]:
    return tuple(Mode(np.full(size, c), 0.0, width**2 * np.eye(size), True) for c in centres)


def test_samples_of_a_normal_cut_in_half() -> None:
    """A half-normal has mean √(2/π) and variance 1 − 2/π; the other numbers stay normal. Closed form."""
    drawn = sample(lambda x: np.where(x[:, 0] >= 0, -0.5 * (x**2).sum(axis=1), -np.inf), _modes(0.0))
    assert drawn.mean(drawn.states) == pytest.approx([np.sqrt(2 / np.pi), 0, 0], abs=0.06)
    assert drawn.deviation(drawn.states) == pytest.approx([np.sqrt(1 - 2 / np.pi), 1, 1], abs=0.06)


HILLS = ((0.3, -4.0, 0.4), (0.7, 4.0, 1.0))  # share, centre, width


def test_samples_of_two_hills_by_their_mass() -> None:
    """Three tenths near −4, seven tenths near 4: by the mass put in, not by the heights of the hills."""

    def density(x: Array) -> Array:
        hills = [np.log(s) - 3 * np.log(w) - 0.5 * (((x - c) / w) ** 2).sum(axis=1) for s, c, w in HILLS]
        return np.asarray(np.logaddexp(*hills))

    drawn = sample(density, _modes(-4.0, 4.0))
    assert drawn.weights @ (drawn.states[:, 0] > 0) == pytest.approx(0.7, abs=0.04)


def test_samples_far_wider_and_bent_unlike_the_mode_says() -> None:
    """A banana: x normal with σ 1, y normal about x²/2 with σ 0.5, z normal; the mode says a width of 0.1. Then y has
    mean 1/2 and variance 1/2 + 1/4. Closed form."""

    def density(x: Array) -> Array:
        return -0.5 * (x[:, 0] ** 2 + ((x[:, 1] - x[:, 0] ** 2 / 2) / 0.5) ** 2 + x[:, 2] ** 2)

    drawn = sample(density, _modes(0.0, width=0.1))
    assert drawn.effective > 100
    assert drawn.mean(drawn.states) == pytest.approx([0, 0.5, 0], abs=0.1)
    assert drawn.deviation(drawn.states) == pytest.approx([1, np.sqrt(0.75), 1], rel=0.15)


def test_samples_that_found_nothing_are_worth_nothing() -> None:
    """A hill a hundred widths off, so narrow that nothing points to it."""
    drawn = sample(lambda x: np.where(((x - 100) ** 2).sum(axis=1) < 1e-3, 0.0, -np.inf), _modes(0.0))
    assert drawn.effective < 100


def test_the_test_job_is_what_these_tests_take_it_for() -> None:
    assert all(text in JOB for text in (FOUND_PRIMARY, FOUND_SECONDARY, READING, DRAG))
