"""A spring that does not pull, though the job or the plan describes it: off its post, broken, or never hooked in."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest
from finished_units import judged, out_of_book, planned_unit, read
from longer import some
from mechanisms import Mechanism
from whole_units import whole
from worn import Way

from recurve.diagnosis.as_set import NOTHING_TOLD, AsSet
from recurve.diagnosis.check import check_unit
from recurve.diagnosis.correction import Correction, Move
from recurve.diagnosis.readings import OtherParts
from recurve.diagnosis.too_far import FAR, TooFar, too_far
from recurve.fit.state import Evidence
from recurve.inspection.findings import Cause, repairs
from recurve.job.model import Job
from recurve.job.read import load_job
from recurve.units import Quantity

CAUSES = {"broken primary": Cause.PRIMARY, "broken secondary": Cause.SECONDARY}


@pytest.mark.parametrize(
    ("seed", "fault"), some([(s, f) for s in (741, 743, 744, 746, 748) for f in CAUSES], 3, several=True)
)
def test_a_spring_that_is_off_is_no_wear_of_pins(seed: int, fault: str, tmp_path: Path) -> None:
    """The job has both springs as weighed and was swept with one of them off: told, or that the parts do not make this curve."""
    sound, swept = (whole(seed, f, "known", Way(count=14)) for f in ("sound", fault))
    swept.job(tmp_path)
    (tmp_path / "whole.toml").write_text(sound.text, encoding="utf-8")
    check = check_unit(load_job(tmp_path / "whole.toml"))
    assert check.verdict == "cannot tell" and not check.trust.ok
    assert not repairs(check.findings)
    first = check.findings[0]
    assert isinstance(first, OtherParts) or first.cause == CAUSES[fault], first.words()


@pytest.mark.parametrize(("seed", "place"), some([(s, i) for s in (5, 1, 4) for i in (1, 0)], 2, several=True))
def test_no_post_is_bent_for_a_spring_that_is_not_in(seed: int, place: int, tmp_path: Path) -> None:
    """The finished unit turns without one of its planned springs: it does not pass, and no post is moved for that."""
    unit = planned_unit(seed)
    one = without(unit.one, place)
    assert out_of_book(one, unit.book)
    result = judged(unit, tmp_path, unit.speeds, read(one, unit.speeds))
    assert result.verdict != "passes"
    assert result.correction is None and result.step != "hand over"
    if result.trust.ok and result.verdict != "read again":
        assert [type(x) for x in result.unsettled] == [TooFar]
        assert "hooked in at both ends" in result.unsettled[0].words()


def without(one: Mechanism, place: int) -> Mechanism:
    """The mechanism with a spring in this place that pulls a thousandth."""
    gone = tuple(
        replace(p, rate=1e-3 * p.rate, tension=1e-3 * p.tension) if i == place else p for i, p in enumerate(one.springs)
    )
    return Mechanism(**{**vars(one), "springs": gone})


def test_a_post_that_was_measured_may_stand_far_off(tmp_path: Path) -> None:
    """Seven tenths of a millimetre are the most that is believed of a post nobody measured. Of one that was, what was read
    counts; of a unit without a plan nothing is known of how it was set; the stop may be moved as far as it may."""
    planned = planned_unit(5).job(tmp_path)
    as_planned = Evidence.of(planned, None)

    def too(correction: Correction | None, job: Job, told: AsSet) -> TooFar | None:
        return too_far(as_planned, correction, job, told)

    def asked(by: float, what: str = "secondary post") -> Correction:
        return Correction((Move(what, by, None if what == "stop" else 20e-3, "words"),), 0.5)

    assert too(asked(1.1 * FAR), planned, NOTHING_TOLD) is not None
    assert too(asked(-1.1 * FAR), planned, NOTHING_TOLD) is not None
    assert too(asked(0.9 * FAR), planned, NOTHING_TOLD) is None
    assert too(asked(3 * FAR, "stop"), planned, NOTHING_TOLD) is None
    assert too(None, planned, NOTHING_TOLD) is None
    measured = AsSet(lengths=(None, Quantity(20e-3, 0.05e-3)))
    assert too(asked(1.1 * FAR), planned, measured) is None
    assert too(asked(1.1 * FAR, "primary post"), planned, measured) is not None
    bare = replace(planned, model=planned.model.model_copy(update={"planned": None}))
    assert too(asked(1.1 * FAR), bare, NOTHING_TOLD) is None
