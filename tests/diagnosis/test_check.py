"""What `check` says of worn and of sound units, and of sweeps that are bad."""

from __future__ import annotations

import re
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from jobs import without, write_job
from longer import some
from sweeps import HEADER, rows, swept

from recurve.diagnosis.check import Check, check_unit
from recurve.errors import InputError
from recurve.inspection.findings import Cause
from recurve.job.model import Job
from recurve.job.read import load_job
from recurve.output.documents.check import CheckDocument
from recurve.output.text.check import check_text
from recurve.physics.curve import Drag, Installed, Unit, trace
from recurve.physics.target import judge
from recurve.springs.spring import Spring
from recurve.units import RPM

SPEEDS = range(200, 1301, 100)
# The test job's planned pair, which meets its bands; see `sound`.
PRIMARY = Spring("", 2000.0, 14.8e-3, 0.4)
SECONDARY = Spring("", 5900.0, 16.5e-3, 7.5)
FOUND_PRIMARY = 'free_length = "15.2 mm"\nrate = "1.6 ± 0.1 N/mm"\n'
FOUND_SECONDARY = 'takeup = "7 ± 0.5 deg"\nrate = "4.0 N/mm"\n'
# The springs of a sound unit, as a job describes them.
DESCRIBED = (
    (FOUND_PRIMARY, 'free_length = "14.8 ± 0.4 mm"\nrate = "2.0 ± 0.1 N/mm"\ninitial_tension = "0.4 N"\n'),
    (FOUND_SECONDARY, 'free_length = "16.5 ± 0.5 mm"\nrate = "5.9 ± 0.3 N/mm"\ninitial_tension = "7.5 N"\n'),
)
UNDESCRIBED = ((FOUND_PRIMARY, ""), (FOUND_SECONDARY, ""))


def unit(
    job: Job,
    primary: Spring = PRIMARY,
    secondary: Spring = SECONDARY,
    bends: tuple[float, float] = (-0.327e-3, -0.442e-3),
    stop: float = 11.17,
    drag: Drag | None = None,
) -> Unit:
    """The test job's mechanism with these springs, bends [m] and stop [deg]."""
    springs = zip((primary, secondary), job.places, bends, strict=True)
    installed = tuple(Installed(s, p.posts, b) for s, p, b in springs)
    return Unit(job.weights, installed, drag or job.drag, np.radians(stop))


def checked(
    folder: Path, made: Unit, *changes: tuple[str, str], sweep: str | None = None, noise: float = 0.25
) -> Check:
    """Check the test job, its springs not described unless `changes` say so, swept with this unit in it."""
    text = swept(made, SPEEDS, noise) if sweep is None else sweep
    return check_unit(load_job(write_job(folder, *changes, sweep=text)))


def said(check: Check) -> str:
    """All findings as one text."""
    return " | ".join(f"{f.what}: {f.evidence} {f.remedy}" for f in check.findings)


@pytest.fixture
def job(tmp_path: Path) -> Job:
    """The test job as it is."""
    return load_job(write_job(tmp_path))


STOP_SOUND = ('advance = "13.8 ± 0.3 deg"', 'advance = "11.2 ± 0.2 deg"')


def test_the_sound_unit_of_these_tests_is_sound(job: Job) -> None:
    assert job.target is not None
    assert min(r.margin for r in judge(job.target, trace(unit(job)))) > 0.3


def test_a_sound_unit_is_called_sound(tmp_path: Path, job: Job) -> None:
    finer = ('reading = "± 0.8 deg"', 'reading = "± 0.4 deg"')
    text = swept(unit(job), range(200, 1301, 50), 0.2)
    check = checked(tmp_path, unit(job), *DESCRIBED, STOP_SOUND, finer, sweep=text)
    assert not [f for f in check.findings if f.severity in ("repair first", "high")], said(check)
    assert check.verdict == "sound", (check.passing, said(check))
    assert check.passing is not None and check.passing > 0.9


def test_five_degrees_left_in_below_400_rpm(tmp_path: Path, job: Job) -> None:
    """Common practice, no source: springs that leave 5° in below 400 rpm are a primary that does not retract, or a
    spindle that binds. Both leave the cam where it is put, so the springs come off before one of them is blamed."""
    slack = Spring("", 1500.0, 17.6e-3)
    check = checked(tmp_path, unit(job, slack), *UNDESCRIBED, STOP_SOUND)
    assert check.evidence.residual.mean > np.radians(4.0)
    finding = next(f for f in check.findings if f.what == "does not come back to zero")
    assert finding.severity == "high"
    for words in ("Unhook both springs", "turn the cam by hand", "spindle binds", "primary is slack or stretched"):
        assert words in finding.remedy


def test_a_stop_that_gives_too_much(tmp_path: Path, job: Job) -> None:
    """Common practice, no source: 12.5–13° where 10° is specified is 2.5–3° at the distributor, 5–6° at the crank. In
    mm by hand: 2.75° at a radius of 14 mm is 14 · 0.04800 = 0.67 mm."""
    changes = (
        *UNDESCRIBED,
        ('advance = "13.8 ± 0.3 deg"', 'advance = "12.75 ± 0.3 deg"'),
        ('maximum = { advance = "11 deg", tolerance = "0.5 deg" }', 'maximum = { min = "9 deg", max = "10 deg" }'),
    )
    check = checked(tmp_path, unit(job, stop=12.75), *changes)
    finding = next(f for f in check.findings if f.what.startswith("stop worn"))
    at_distributor, at_crank = (float(x) for x in re.findall(r"([\d.]+)° \((?:distributor|crank)\)", finding.evidence))
    assert at_distributor == pytest.approx(2.75, abs=0.3)
    assert at_crank == pytest.approx(2 * at_distributor, abs=0.11)
    trim = float(finding.evidence.split("Building up ")[1].split(" mm")[0])
    assert trim == pytest.approx(0.67, abs=0.08)
    assert "It can be saved by a trim" in finding.evidence and "allows 1.20 mm" in finding.evidence


def test_a_stop_that_cannot_be_saved(tmp_path: Path, job: Job) -> None:
    check = checked(tmp_path, unit(job, stop=13.8), *DESCRIBED, ('build_up_to = "1.2 mm"', 'build_up_to = "0.2 mm"'))
    assert check.verdict == "not worth saving by recurve"
    assert "have to be built up by at least" in " ".join(check.why)
    assert "allows 0.20 mm" in " ".join(check.why)


def test_a_stop_built_up(tmp_path: Path, job: Job) -> None:
    check = checked(
        tmp_path, unit(job, stop=9.0), *UNDESCRIBED, ('advance = "13.8 ± 0.3 deg"', 'advance = "9.0 ± 0.2 deg"')
    )
    finding = next(f for f in check.findings if f.what.startswith("stop built up"))
    assert "too little" in finding.evidence and "Filing" in finding.evidence


def test_a_weak_primary(tmp_path: Path, job: Job) -> None:
    check = checked(tmp_path, unit(job, Spring("", 1300.0, 14.9e-3)), *UNDESCRIBED, STOP_SOUND)
    early = next(f for f in check.findings if f.what.startswith("early onset"))
    assert "500 rpm, by the book at most 5.0°" in early.evidence
    assert "unhook both springs" in early.remedy
    assert check.verdict in ("new springs", "reset posts only", "new springs and stop trim")


def test_a_late_take_up(tmp_path: Path, job: Job) -> None:
    """Swept every 25 rpm: in steps of 100 rpm one spring alone would explain the readings nearly as well."""
    late = unit(job, PRIMARY, replace(SECONDARY, free_length=17.3e-3))
    check = checked(tmp_path, late, *UNDESCRIBED, STOP_SOUND, sweep=swept(late, range(200, 1301, 25), 0.25))
    assert any(f.what.startswith("take-up late") for f in check.findings), said(check)


def test_a_second_spring_that_never_takes_up(tmp_path: Path, job: Job) -> None:
    described = (FOUND_SECONDARY, 'free_length = "20 ± 0.1 mm"\nrate = "4.0 ± 0.3 N/mm"\n')
    never = unit(job, PRIMARY, Spring("", 4000.0, 20e-3), (0.0, 0.0))
    check = checked(tmp_path, never, UNDESCRIBED[0], described, STOP_SOUND)
    assert any(f.what == "the secondary never takes up" for f in check.findings), said(check)


def test_sluggish(tmp_path: Path, job: Job) -> None:
    dry = unit(job, drag=replace(job.drag, friction=9e-3))
    check = checked(tmp_path, dry, *UNDESCRIBED, STOP_SOUND, ('friction = "1.0 mN*m"', ""))
    finding = next(f for f in check.findings if f.what.startswith("sluggish"))
    assert finding.severity == "repair first"
    assert "clean and oil" in finding.remedy and "the same with speed rising and falling" in finding.evidence
    assert check.verdict == "mechanical repair first"
    # Told from drag, which friction that is taken for it would raise as well.
    assert check.evidence.value("friction").mean == pytest.approx(9e-3, rel=0.25)
    assert check.evidence.value("drag").mean == pytest.approx(4.5e-3, abs=3e-3)


def test_no_advance_at_all(tmp_path: Path, job: Job) -> None:
    flat = HEADER + "".join(f"{s},{0.1 * (s % 3):.1f},rising\n{s},0.1,falling\n" for s in range(300, 1301, 100))
    check = checked(tmp_path, unit(job), *UNDESCRIBED, sweep=flat)
    what = "no advance: the weights or the cam bind, or the springs are far too strong or exchanged"
    assert check.findings[0].what == what  # nobody has described the springs
    assert "look at the springs first" in check.findings[0].remedy
    assert check.verdict == "mechanical repair first"


def test_scatter(tmp_path: Path, job: Job) -> None:
    check = checked(tmp_path, unit(job), *DESCRIBED, STOP_SOUND, noise=2.2)
    finding = next(f for f in check.findings if f.what.startswith("the curve has steps and scatter"))
    assert finding.severity == "repair first" and "worn pins" in finding.remedy


def test_cannot_tell_with_a_zero_taken_above_onset(tmp_path: Path, job: Job) -> None:
    """A bench zero at 450 rpm, above onset, hides what is in by then: a slack primary leaves 6.7° in at idle, of which
    readings from 500 rpm up show nothing, and the springs are not described."""
    slack = unit(job, Spring("", 1500.0, 16.5e-3))
    curve = trace(slack)
    assert np.degrees(curve.falling_advance(300 / RPM)) > 6.0
    hidden = float(np.degrees(curve.rising_advance(450 / RPM, float(curve.falling_advance(0.0)))))
    lines = [r.split(",") for r in rows(swept(slack, range(500, 1301, 100)))]
    text = HEADER + "".join(f"{speed},{float(read) - hidden:.2f},{way}\n" for speed, read, way in lines)
    zeroed = ('reading = "± 0.8 deg"', 'reading = "± 0.8 deg"\nzeroed_at = "450 rpm"')
    check = checked(tmp_path, slack, *UNDESCRIBED, STOP_SOUND, zeroed, sweep=text)
    (finding,) = [f for f in check.findings if "comes back to zero" in f.what or "come back to zero" in f.what]
    assert finding.what == "cannot tell whether it comes back to zero", said(check)
    assert 0.05 < check.evidence.residual.above(np.radians(0.5)) < 0.95
    assert check.verdict != "sound"


def test_without_a_target_facts_only(tmp_path: Path, job: Job) -> None:
    check = checked(tmp_path, unit(job), *UNDESCRIBED, STOP_SOUND, without("target"))
    assert check.verdict == "facts only"
    assert check.passing is None
    text = check_text(check)
    assert "FACTS ONLY" in text and "onset" in text
    assert "most" not in " ".join(f.evidence for f in check.findings)


def test_without_a_sweep_from_the_description(tmp_path: Path) -> None:
    check = check_unit(load_job(write_job(tmp_path, without("sweep"), *DESCRIBED)))
    assert check.fit is None
    assert CheckDocument.of(check).fit is None


def test_with_neither_it_is_bad_input(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="sweep: missing"):
        check_unit(load_job(write_job(tmp_path, without("sweep"), *UNDESCRIBED)))


# --- bad sweeps -------------------------------------------------------------------------------------------


def test_three_readings(tmp_path: Path, job: Job) -> None:
    check = checked(tmp_path, unit(job), *UNDESCRIBED, sweep=swept(unit(job), (400, 700, 1100), directions=("rising",)))
    assert "only 3 readings" in said(check)
    assert check.fit is not None
    assert any(e.value is None for e in check.fit.estimates)


def test_one_direction(tmp_path: Path, job: Job) -> None:
    check = checked(tmp_path, unit(job), *DESCRIBED, STOP_SOUND, sweep=swept(unit(job), SPEEDS, directions=("rising",)))
    assert "only rising readings" in said(check)


def test_swapped_columns(tmp_path: Path) -> None:
    text = HEADER + "".join(f"{a},{s},rising\n" for s, a in ((300, 0.5), (500, 4), (700, 7), (1000, 9)))
    with pytest.raises(InputError, match="the other way round"):
        load_job(write_job(tmp_path, sweep=text))


@pytest.mark.parametrize("described", some([True, False], 1))
def test_crank_readings_called_distributor(described: bool, tmp_path: Path, job: Job) -> None:
    lines = [r.split(",") for r in rows(swept(unit(job), SPEEDS, 0.2))]
    doubled = HEADER + "".join(f"{2 * float(s):g},{2 * float(a):.2f},{d}\n" for s, a, d in lines)
    changes = DESCRIBED if described else UNDESCRIBED
    check = checked(tmp_path, unit(job), *changes, STOP_SOUND, sweep=doubled)
    assert check.findings[0].cause == Cause.CRANK_FIGURES, said(check)
    assert check.findings[0].severity == "check first" and "basis" in check.findings[0].remedy


def test_duplicated_speeds(tmp_path: Path, job: Job) -> None:
    once = swept(unit(job), SPEEDS)
    twice = once + "\n".join(rows(swept(unit(job), SPEEDS, seed=2))) + "\n"
    one, two = (checked(tmp_path, unit(job), *DESCRIBED, STOP_SOUND, sweep=s) for s in (once, twice))
    assert one.fit is not None and two.fit is not None
    narrower = [
        b.standard_uncertainty < a.standard_uncertainty
        for a, b in zip(one.fit.estimates, two.fit.estimates, strict=False)
        if a.name == b.name and a.source == "readings" and a.standard_uncertainty and b.standard_uncertainty
    ]
    assert np.mean(narrower) > 0.6


def test_speeds_that_run_against_their_direction(tmp_path: Path, job: Job) -> None:
    lines = rows(swept(unit(job), SPEEDS, directions=("rising",)))
    check = checked(tmp_path, unit(job), *UNDESCRIBED, STOP_SOUND, sweep=HEADER + "\n".join(reversed(lines)) + "\n")
    assert "marked rising, but their speeds run the other way" in said(check)


def test_a_typing_error_of_a_hundred_degrees(tmp_path: Path, job: Job) -> None:
    lines = rows(swept(unit(job), SPEEDS))
    speed, advance, direction = lines[6].split(",")
    lines[6] = f"{speed},{float(advance) + 100:.2f},{direction}"
    check = checked(tmp_path, unit(job), *UNDESCRIBED, STOP_SOUND, sweep=HEADER + "\n".join(lines) + "\n")
    assert check.fit is not None and check.fit.outliers == (8,)  # the header is row 1
    finding = next(f for f in check.findings if f.what == "readings that do not fit the curve")
    assert "row 8" in finding.evidence
    assert check.fit.estimate("stop").value == pytest.approx(11.17, abs=0.3)


def test_report_fits_80_columns_and_the_document_has_every_parameter(tmp_path: Path, job: Job) -> None:
    check = checked(tmp_path, unit(job, stop=13.8), *UNDESCRIBED)
    assert max(len(line) for line in check_text(check).splitlines()) <= 80
    document = CheckDocument.of(check)
    assert check.fit is not None and document.fit is not None and document.findings
    assert list(document.fit.parameters) == [e.name for e in check.fit.estimates]
