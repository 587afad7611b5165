"""Springs that hang in each other's place, and units of which nobody may think so."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from longer import some
from whole_units import whole
from worn import Way

from recurve.diagnosis.check import check_unit
from recurve.diagnosis.exchanged import CuredByExchange, _changed_over, exchanged
from recurve.diagnosis.findings import NeverTakesUp
from recurve.fit.fit import fit_sweep
from recurve.fit.state import Evidence
from recurve.inspection.findings import Cause
from recurve.physics.ensemble import Units


def units() -> Units:
    """Two units, of two springs each."""
    one = np.ones(2)
    return Units(
        rate=np.array([[1000.0, 4000.0], [1100.0, 4400.0]]),
        stretch=np.array([[2e-3, -1e-3], [3e-3, -2e-3]]),
        tension=np.array([[0.5, 7.0], [0.6, 8.0]]),
        drag=one, friction=one, friction_share=one, stop=one, modes=np.zeros((2, 0)),
    )  # fmt: skip


def test_a_spring_on_the_other_posts_keeps_its_free_length() -> None:
    """By hand: posts 20 and 25 mm apart at rest. The primary is 18 mm long and the secondary 26 mm; on each other's posts they
    are stretched by 25 − 18 = 7 mm, and by 20 − 26 = −6 mm."""
    rest = np.array([20e-3, 25e-3])
    made = _changed_over(units(), rest)
    assert made.stretch[0] == pytest.approx([-6e-3, 7e-3])
    assert made.rate[1] == pytest.approx([4400.0, 1100.0]) and made.tension[1] == pytest.approx([8.0, 0.6])
    back = _changed_over(made, rest)
    assert back.stretch == pytest.approx(units().stretch) and back.rate == pytest.approx(units().rate)


@pytest.mark.parametrize("seed", some([105, 111, 117], 1))
def test_springs_that_only_need_to_change_places(seed: int, tmp_path: Path) -> None:
    """Both springs are measured, each where it hangs, and in truth the unit was sound before they changed places. Nothing is
    said of wear, and nothing of knocking, where the advance comes late."""
    check = check_unit(whole(seed, "springs changed over", "known", Way(count=30)).job(tmp_path))
    first = check.findings[0]
    assert isinstance(first, CuredByExchange) and first.cause is Cause.SPRINGS
    assert check.verdict == "cannot tell" and not check.trust.ok
    assert "exchange the two and sweep" in first.remedy
    assert not any("knock" in f.consequence for f in check.findings)


@pytest.mark.parametrize(
    ("seed", "fault"), some([(105, "weak primary"), (105, "strong"), (108, "broken primary"), (111, "sound")], 2, True)
)
def test_worn_springs_are_not_said_to_have_changed_places(seed: int, fault: str, tmp_path: Path) -> None:
    job = whole(seed, fault, "known").job(tmp_path)
    assert exchanged(Evidence.of(job, fit_sweep(job))) is None


def test_a_spring_that_never_takes_up_is_told_by_what_the_curve_does() -> None:
    """The engine knocks only where the advance is in too soon."""
    from recurve.uncertainty import Uncertain

    stop = Uncertain(0.2, 0.01)
    early, late = (NeverTakesUp("high", stop, 0.99, early) for early in (True, False))
    assert "knocks" in early.consequence and "knocks" not in late.consequence
