"""Readings that a fit leaves out: one that is wild, and several that agree with one another; units by `whole_units`."""

from __future__ import annotations

import re
from pathlib import Path

import pytest
from longer import some
from whole_units import Whole, whole
from worn import Way

from recurve.diagnosis.check import check_unit
from recurve.diagnosis.left_out import Agreeing, Outliers
from recurve.diagnosis.trust import trust_in
from recurve.fit.fit import fit_sweep
from recurve.inspection.findings import Cause
from recurve.job.model import Job
from recurve.job.read import load_job

READ = Way(count=14)


def with_stop(unit: Whole, less: float, folder: Path) -> Job:
    """The unit's job with its stop written down so many degrees less than it is."""
    at = f'[stop]\nadvance = "{unit.one.stop - less:.2f} ± 0.3 deg"'
    text, count = re.subn(r'\[stop\]\nadvance = "[^"]*"', at, unit.text)
    assert count == 1
    unit.job(folder)
    (folder / "whole.toml").write_text(text, encoding="utf-8")
    return load_job(folder / "whole.toml")


@pytest.mark.parametrize("seed", some([700, 702, 704, 706], 1))
def test_a_stop_from_the_book_is_not_believed_against_the_readings(seed: int, tmp_path: Path) -> None:
    """The stop is worn by what `worn` makes it, and the job has one 2.2° short of it. The readings of the top are all beyond it:
    the unit is neither sound nor planned for."""
    job = with_stop(whole(seed, "stop worn", "known", READ), 2.2, tmp_path)
    check = check_unit(job)
    assert check.verdict not in ("sound", "stop only", "reset posts only"), check.why
    assert not trust_in(job, fit_sweep(job)).ok
    told = [f for f in check.findings if isinstance(f, Agreeing)]
    if told:
        assert told[0].cause == Cause.STOP and "degree wheel" in told[0].remedy
        assert len(told[0].readings) >= 2


@pytest.mark.parametrize("seed", some([700, 701, 702, 703], 1))
def test_one_wild_reading_does_not_bar_a_sound_unit(seed: int, tmp_path: Path) -> None:
    """One reading of a sound unit 5° off, as `worn` mistypes it, inside no band: it is left out and told, and the rest counts. On
    a band's own speed nobody knows whether the unit meets it."""
    check = check_unit(whole(seed, "sound", "known", Way(count=14, mistyped=True)).job(tmp_path))
    assert not [f for f in check.findings if isinstance(f, Agreeing)]
    wild = [f for f in check.findings if isinstance(f, Outliers)]
    if check.verdict == "cannot tell" and wild:
        assert any("take it again" in why for why in check.why)
