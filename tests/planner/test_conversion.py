"""Another trigger: onset against the multibody simulation, plan and plan.toml for what will be fitted; check with blocks."""

from __future__ import annotations

import tomllib
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from jobs import JOB, without, write_job
from mechanisms import mechanism
from modelunits import loaded_unit
from multibody import Simulation

from recurve.diagnosis.check import check_unit
from recurve.job.read import load_job
from recurve.output.documents.check import CheckDocument
from recurve.output.planfile import plan_toml
from recurve.output.text.check import check_text
from recurve.physics.curve import Drag, trace
from recurve.planner.conversion import as_fitted, shift_of
from recurve.planner.plan import make_plan

RPM = np.pi / 30
ELECTRONIC = ('rubbing_block = "4.5 mN*m"', 'rubbing_block = "4.5 mN*m"\ntrigger_fitted = "electronic"')
WORN = '\n[condition]\ndwell_pushed = ["38 ± 0.3 deg", "31 ± 0.3 deg"]\ngap = "0.4 mm"\n'
SOUND = '\n[condition]\nside_play = "0.05 ± 0.01 mm"\nbreaker_plate = "free"\n'
VACUUM = '\n[vacuum]\nhold = { vacuum = "16.5 inHg", left = "9 inHg", after = "30 s" }\n'


@pytest.mark.parametrize("seed", [4, 10])
def test_the_drag_gone_against_the_simulation(seed: int, tmp_path: Path) -> None:
    """The same mechanism with and without the rubbing block, simulated and settled at speeds on its slope."""
    one = replace(mechanism(seed), drag=5.0)
    unit = loaded_unit(one, tmp_path)
    bare = replace(unit, drag=Drag(0.0, unit.drag.friction, unit.drag.friction_share))
    curves = trace(unit), trace(bare)
    onsets = [c.onset for c in curves]
    assert onsets[0] is not None and onsets[1] is not None and onsets[1] < onsets[0]
    for curve, drag in zip(curves, (5.0, 0.0), strict=True):
        simulation = Simulation(replace(one, drag=drag))
        for rpm in one.speeds[1:3]:
            assert simulation.settle(rpm) == pytest.approx(float(np.degrees(curve.rising_advance(rpm * RPM))), abs=0.02)


def test_onset_comes_earlier_and_the_maximum_stays(tmp_path: Path) -> None:
    """By equation 3 (recurve.physics): ω² of the onset falls by 2 T_d / I′(0)."""
    job = load_job(write_job(tmp_path, ELECTRONIC, without("sweep")))
    shift = shift_of(job)
    assert shift is not None
    before, after = shift.before, shift.after
    assert after.stop == before.stop
    slope = float(job.weights.inertia_slope(0.0))
    assert float(before.rising[0] - after.rising[0]) == pytest.approx(2 * 4.5e-3 / slope)
    assert "begin at" in shift.words and "(distributor)" in shift.words


def test_the_plan_is_for_what_will_be_fitted(tmp_path: Path) -> None:
    """The plan of a conversion is that of a job that had the electronic trigger all along; plan.toml says so."""
    converted = make_plan(load_job(write_job(tmp_path, ELECTRONIC, without("sweep"))))
    (tmp_path / "other").mkdir()
    trigger = ('rubbing_block = "4.5 mN*m"', 'trigger = "electronic"')
    plain = make_plan(load_job(write_job(tmp_path / "other", trigger, without("sweep"))))
    assert converted.build is not None and plain.build is not None
    assert converted.build.margin == pytest.approx(plain.build.margin)
    assert [s.spring.id for s in converted.build.springs] == [s.spring.id for s in plain.build.springs]
    assert any("electronic trigger" in note for note in converted.notes)
    drag = tomllib.loads(plan_toml(converted).decode())["drag"]
    assert drag["trigger"] == "electronic" and "trigger_fitted" not in drag and "rubbing_block" not in drag


def test_points_in_place_of_an_electronic_trigger(tmp_path: Path) -> None:
    both = (
        'rubbing_block = "4.5 mN*m"',
        'rubbing_block = "4.5 mN*m"\ntrigger = "electronic"\ntrigger_fitted = "points"',
    )
    job = load_job(write_job(tmp_path, both, without("sweep")))
    assert (job.drag.rubbing_block, as_fitted(job).drag.rubbing_block) == (0.0, pytest.approx(4.5e-3))


WEAR, PLAY = ["dwell change, pushed each way, by the meter", "gap"], ["side play"]
LEAK = ["vacuum unit drawn to", "vacuum lost in 30 s"]


@pytest.mark.parametrize(
    ("blocks", "checks", "first"),
    [("", [], None), (SOUND, PLAY, None),
     (WORN, WEAR, "bush the shaft first: 7.0° of dwell change, over the limit of 3.0°"),
     (SOUND + VACUUM, PLAY + LEAK, "replace the vacuum unit first"), (WORN + VACUUM, WEAR + LEAK, "bush the shaft first")],
)  # fmt: skip
def test_check_with_all_some_or_none(blocks: str, checks: list[str], first: str | None, tmp_path: Path) -> None:
    """Readable in 80 columns whatever is given; what is given is checked, and nothing else; wear gates the verdict."""
    path = write_job(tmp_path, without("sweep"))
    path.write_text(path.read_text(encoding="utf-8") + blocks, encoding="utf-8")
    check = check_unit(load_job(path))
    text = check_text(check)
    assert max(len(row) for row in text.splitlines()) <= 80
    assert ("Condition as inspected" in text) == bool(blocks)
    assert [c.what for c in CheckDocument.of(check).condition.checks] == checks
    if first is not None:
        assert check.verdict == "mechanical repair first"
        assert any(why.startswith(first) for why in check.why)
    else:
        assert check.verdict != "mechanical repair first"


@pytest.mark.parametrize(
    ("block", "told"),
    [
        ('[condition]\nangles = [{ closes = "74 deg", opens = "129 deg" }]', "wheel: missing"),
        (
            '[condition]\nwheel = "against rotation"\nangles = [{ closes = "74 deg", opens = "129 deg" }]',
            "the other way round",
        ),
        ('[condition]\nsparks = ["0 deg", "90 deg"]\nwheel = "with rotation"', "got 2 angles"),
        ('[condition]\ndwell = "70 deg"', "lobe pitch of 60.0 deg"),
        ('[condition]\nsideplay = "1 mm"', 'did you mean "side_play"'),
        ('[vacuum]\nstart = "5 inHg"', "expected a band"),
        ('[vacuum]\nstart = ["5 deg", "6 deg"]', "does not measure a pressure"),
        ('[timing]\nidle = "600 rpm"\ntop_speed = "500 rpm"', "expected the engine maker's highest speed"),
        ('[timing]\nstatic = "30 deg"\ntotal = "10 deg"', "got less than static"),
    ],
)
def test_bad_blocks(block: str, told: str, tmp_path: Path) -> None:
    from recurve.errors import InputError

    path = write_job(tmp_path)
    path.write_text(JOB + "\n" + block + "\n", encoding="utf-8")
    with pytest.raises(InputError) as fault:
        load_job(path)
    assert told in str(fault.value)
