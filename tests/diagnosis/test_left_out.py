"""Readings that a fit leaves out: one that is wild, and several that agree with one another; units by `whole_units`."""

from __future__ import annotations

import re
from pathlib import Path

import pytest
from longer import some
from whole_units import Whole, whole
from worn import Way, worn

from recurve.diagnosis.check import check_bare, check_unit
from recurve.diagnosis.left_out import Agreeing, Outliers
from recurve.diagnosis.trust import trust_in
from recurve.fit.fit import fit_sweep
from recurve.inspection.findings import Cause, repairs
from recurve.job.model import Job
from recurve.job.read import load_any, load_job

READ = Way(count=14)


def with_stop(unit: Whole, less: float, folder: Path) -> Job:
    """The unit's job with its stop written down so many degrees less than it is."""
    at = f'[stop]\nadvance = "{unit.one.stop - less:.2f} ± 0.3 deg"'
    text, count = re.subn(r'\[stop\]\nadvance = "[^"]*"', at, unit.text)
    assert count == 1
    unit.job(folder)
    (folder / "whole.toml").write_text(text, encoding="utf-8")
    return load_job(folder / "whole.toml")


@pytest.mark.parametrize("seed", some([700, 702, 706], 1))
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


@pytest.mark.parametrize("known", [True, False], ids=["measured", "bare"])
@pytest.mark.parametrize(
    ("seed", "inside"), some([(711, True), (703, True), (702, False), (705, False)], 2, several=True)
)
def test_a_good_verdict_says_that_it_rests_on_a_reading_left_out(
    seed: int, inside: bool, known: bool, tmp_path: Path
) -> None:
    """One reading of a sound unit 5° off. At no band's speed (`inside`) the unit is sound on the condition that the reading does
    not come out the same again; beyond the book's most it bars."""
    way = Way(count=14, mistyped=True)
    unit = whole(seed, "sound", "known", way) if known else worn(seed, "sound", way)
    spoilt = unit.seen.truth.spoilt if isinstance(unit, Whole) else unit.truth.spoilt
    job = unit.job(tmp_path)
    judged = check_unit(job) if isinstance(job, Job) else check_bare(job)
    verdict, why, findings = judged.verdict, judged.why, judged.findings
    assert [r.row for f in findings if isinstance(f, Outliers) for r in f.readings] == [spoilt]
    assert verdict == ("sound" if inside else "cannot tell")
    assert f"row {spoilt} " in why[-1] and ("take a second reading" if inside else "outside the book") in why[-1]
    assert not repairs(findings)


@pytest.mark.parametrize("known", [True, False], ids=["measured", "bare"])
@pytest.mark.parametrize("seed", some([703, 700, 711], 1))
def test_what_reads_the_same_twice_is_no_slip(seed: int, known: bool, tmp_path: Path) -> None:
    """The wild reading was taken again and came out the same, within 0.1°: the unit is not sound."""
    way = Way(count=14, mistyped=True)
    unit = whole(seed, "sound", "known", way) if known else worn(seed, "sound", way)
    unit.job(tmp_path)
    spoilt = unit.seen.truth.spoilt if isinstance(unit, Whole) else unit.truth.spoilt
    assert spoilt is not None
    lines = (tmp_path / "as-found.csv").read_text(encoding="utf-8").splitlines()
    speed, advance, direction = lines[spoilt - 1].split(",")
    lines.insert(spoilt, f"{speed},{float(advance) + 0.1:.3f},{direction}")
    (tmp_path / "as-found.csv").write_text("\n".join(lines) + "\n", encoding="utf-8")
    [path] = tmp_path.glob("*.toml")
    job = load_any(path)
    judged = check_unit(job) if isinstance(job, Job) else check_bare(job)
    assert judged.verdict in ("cannot tell", "mechanical repair first"), judged.why
