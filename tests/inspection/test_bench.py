"""The bench inspection judged: dwell, wear, limits, what it does to check's verdict, and a report with all, some or none.

Sources: TRADE is common practice, no source; TM is US Army
TM 5-4210-230-14&P-1, pp. 554-556 (READ), for the method of side play and the spacing of flashes.
"""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from jobs import without, write_job

from recurve.data import MANUAL, Limit, limits_data
from recurve.diagnosis.check import Check, check_bare, check_unit
from recurve.errors import InputError
from recurve.inspection.bench import verdict_of
from recurve.inspection.inspected import Inspected, inspect_unit
from recurve.inspection.model import Condition, Inspection, Timing
from recurve.inspection.points import Coil, dwell_between, fraction_of_pitch
from recurve.inspection.wheel import combined
from recurve.job.model import Job
from recurve.job.read import load_any, load_job
from recurve.output.documents.check import CheckDocument
from recurve.output.documents.condition import ConditionDocument, DwellOfSet
from recurve.output.text.check import bare_text, check_text, inspected_lines
from recurve.units import RPM
from recurve.units import Quantity as Measured

HEAD = 'title = "Bench dummy, invented"\n[distributor]\nlobes = {lobes}\nrotation = "clockwise"\nspeed_ratio = 2.0\n'
PLAY = limits_data()["limit"]["side_play"]  # inches
LIMIT, SUSPECT = PLAY["high"], PLAY["suspect"]
OF_DWELL = f"over the limit of {limits_data()['limit']['dwell_change']['high']:.1f}°"
WHEEL = """wheel = "with rotation"
angles = [
  { pushed = "one way", closes = "74 deg", opens = "129 deg" },
  { pushed = "other way", closes = "81 deg", opens = "129 deg" },
]
"""


def bare(folder: Path, text: str, lobes: int = 4) -> Inspected:
    """A job of an inspection alone, worked out."""
    path = folder / "bare.toml"
    path.write_text(HEAD.format(lobes=lobes) + text, encoding="utf-8")
    job = load_any(path)
    return inspect_unit(job.inspection, job.lobes, job.speed_ratio)


def whats(found: Inspected) -> list[str]:
    return [f.what for f in found.findings]


def verdicts(found: Inspected) -> dict[str, str]:
    return {j.what: j.verdict for j in found.judged}


# --- geometry -----------------------------------------------------------------------------------------------


def test_dwell_from_the_wheel(tmp_path: Path) -> None:
    """TRADE: closed from 74° to 129° is 55° of dwell, from 81° to 129° 48°: 7° of change, the opening unmoved."""
    assert np.degrees(dwell_between(np.radians([74, 81]), np.radians([129, 129]))) == pytest.approx([55, 48])
    found = bare(tmp_path, "[condition]\n" + WHEEL)
    assert found.bench is not None
    (change,) = found.bench.changes
    assert np.degrees(change.change.value) == pytest.approx(7.0)
    assert change.timing.value == pytest.approx(0.0, abs=1e-12) and "opening" in change.timing_how
    assert verdicts(found)["dwell change, pushed each way"] == "fail"
    (wear,) = [f for f in found.findings if f.severity == "repair first"]
    assert wear.what == f"bush the shaft first: 7.0° of dwell change, {OF_DWELL}, whatever springs you fit"


def test_a_wheel_read_against_the_rotation_gives_the_same(tmp_path: Path) -> None:
    """The same unit on a wheel whose figures fall as the shaft turns: 360° less each figure (derived)."""
    turned = WHEEL.replace("with", "against").replace("74", "286").replace("81", "279").replace("129", "231")
    found = bare(tmp_path, "[condition]\n" + turned)
    assert found.bench is not None
    assert np.degrees(found.bench.changes[0].change.value) == pytest.approx(7.0)
    with pytest.raises(InputError, match=r"the other way round the wheel it would be 55\.0 deg"):
        bare(tmp_path, "[condition]\n" + turned.replace("against", "with"))


@pytest.mark.parametrize(
    ("lobes", "degrees", "percent"),
    [(4, [54, 60], [60.0, 66.667]), (6, [35, 41], [58.333, 68.333]), (8, [26, 31], [57.778, 68.889])],
)
def test_dwell_percent(lobes: int, degrees: list[float], percent: list[float]) -> None:
    """TRADE: the ranges of dwell for 4, 6 and 8 lobes; by hand of pitches of 90, 60 and 45°, some 57 to 69 % whatever the
    lobes."""
    assert 100 * fraction_of_pitch(np.radians(degrees), lobes) == pytest.approx(percent, abs=1e-3)


def test_dwell_in_percent_in_a_job(tmp_path: Path) -> None:
    """By % = 100 × dwell × lobes / 360: 60 % of a 6-lobe pitch is 36°."""
    found = bare(tmp_path, '[condition]\ndwell = "60 %"\n', lobes=6)
    assert found.bench is not None and np.degrees(found.bench.dwell[0].value) == pytest.approx(36.0)
    document = ConditionDocument.of(found)
    assert document.dwell == [DwellOfSet(dwell_deg=36.0, share_percent=60.0)]
    assert any("36.0° (distributor), 60% of the lobe pitch" in line for line in inspected_lines(document, 2.0))


# --- limits -------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("limit", [None, "0.008 in"])
def test_side_play_over_ten_thou_is_over_any_limit(tmp_path: Path, limit: str | None) -> None:
    """TRADE: the limit is 0.006 in, some allow 0.008; more than 0.010 in is over it. TM: both ways are added."""
    manual = "" if limit is None else f'[condition.limits]\nside_play = "{limit}"\n'
    found = bare(tmp_path, f'[condition]\nside_play_ways = ["0.0060 in", "0.0045 in"]\n{manual}')
    assert verdicts(found)["side play"] == "fail"
    assert whats(found)[0].startswith("bush the shaft first")
    source = found.judged[0].limit
    assert source is not None and (source.source == MANUAL) == (limit is not None)


@pytest.mark.parametrize(
    ("play", "verdict"),
    [
        (SUSPECT - 0.001, "pass"),
        ((SUSPECT + LIMIT) / 2, "suspect"),
        (LIMIT + 0.0002, "too close to call"),
        (LIMIT + 0.003, "fail"),
    ],
)
def test_side_play_by_its_doubt(tmp_path: Path, play: float, verdict: str) -> None:
    """Against the shipped limit, wherever it lies (TRADE: 0.001 to 0.003 in is normal, 0.006 in the limit), with the
    ± 0.0005 in of a dial."""
    assert verdicts(bare(tmp_path, f'[condition]\nside_play = "{play:.5f} in"\n'))["side play"] == verdict


def test_spark_spacing(tmp_path: Path) -> None:
    """TRADE: within 1° of distributor. A spark 2° late makes one gap 92° and the next 88° (derived)."""
    rows = 'wheel = "with rotation"\nsparks = ["10 ± 0.2 deg", "102 ± 0.2 deg", "190 ± 0.2 deg", "280 ± 0.2 deg"]\n'
    found = bare(tmp_path, "[condition]\n" + rows)
    assert found.bench is not None
    spacing = found.bench.sparks[0].spacing
    assert spacing is not None and np.degrees(spacing.value) == pytest.approx(2.0)
    assert verdicts(found)["spark spacing, sparks as read"] == "fail"
    allowed = bare(tmp_path, f'[condition]\n{rows}[condition.limits]\nspark_spacing = "4 deg"\n')
    assert verdicts(allowed)["spark spacing, sparks as read"] == "pass"


def test_gap_of_a_manual(tmp_path: Path) -> None:
    """US Army TM 10-3930-621-34, Table 1-1 (READ): points 0.018 to 0.020 in."""
    job = '[condition]\ngap = "{} ± 0.0003 in"\n[condition.limits]\ngap = ["0.018 in", "0.020 in"]\n'
    for gap, verdict in (("0.019", "pass"), ("0.016", "fail"), ("0.0201", "too close to call")):
        assert verdicts(bare(tmp_path, job.format(gap)))["gap"] == verdict


def test_half_the_change_of_dwell_is_timing_where_openings_are_not_known(tmp_path: Path) -> None:
    """TRADE: 1° of dwell is about 0.5° of timing at the distributor, 1° at the crank (derived, symmetric lobes)."""
    found = bare(tmp_path, '[condition]\ndwell_pushed = ["55 deg", "51 deg"]\n')
    assert found.bench is not None
    (change,) = found.bench.changes
    assert np.degrees(change.timing.value) == pytest.approx(2.0)
    assert "assumption" in change.timing_how
    (wear,) = [f for f in found.findings if "dwell" in f.what]
    assert "2.0 ± " in wear.evidence and "4.0° at the crank" in wear.evidence


def test_play_and_dwell_that_do_not_agree_are_an_open_question(tmp_path: Path) -> None:
    """A shaft with next to no play cannot change the dwell by 7° (derived)."""
    found = bare(tmp_path, '[condition]\ngap = "0.4 mm"\nside_play = "0.001 in"\n' + WHEEL)
    assert "side play and change of dwell do not agree" in whats(found)
    agreed = bare(tmp_path, '[condition]\ngap = "0.4 mm"\nside_play = "0.006 in"\n' + WHEEL)
    assert "side play and change of dwell do not agree" not in whats(agreed)


def test_a_verdict_needs_all_of_its_doubt_on_one_side() -> None:
    limit = Limit(None, 3.0, 2.0, "")
    assert [verdict_of(v, 0.5, limit) for v in (1.0, 2.2, 2.8, 3.4, 3.6)] == [
        "pass", "suspect", "too close to call", "too close to call", "fail",
    ]  # fmt: skip


def test_doubt_of_a_sum() -> None:
    """GUM (JCGM 100:2008) 4.3.7: a bound ± a has standard uncertainty a/√3; two of them, k = 2, never above the sum."""
    assert combined([Measured(0, 0.5)] * 4) == pytest.approx(2 * 0.5 * np.sqrt(4 / 3))
    assert combined([Measured(0, 0.5)]) == pytest.approx(0.5)


@pytest.mark.parametrize(
    ("line", "words"),
    [
        ('breaker_plate = "seized"', "free the breaker plate first"),
        ('weight_pins = "worn"', "bush the weights first"),
        ('condenser = "loose"', "fix the condenser first"),
        ('vacuum_unit = "leaks"', "replace the vacuum unit first"),
    ],
)
def test_what_eye_and_hand_found_comes_first(tmp_path: Path, line: str, words: str) -> None:
    found = bare(tmp_path, f"[condition]\n{line}\n")
    assert found.findings[0].what.startswith(words) and found.findings[0].severity == "repair first"


# --- check --------------------------------------------------------------------------------------------------

VACUUM = '[vacuum]\nhold = { vacuum = "16 inHg", left = "15.9 inHg", after = "60 s" }\n'
COIL = 'coil = { resistance = "1.5 ohm", inductance = "8 mH", supply = "13 V" }\n'
SOUND = '[condition]\nside_play = "0.002 in"\ndwell = "37 deg"\n' + COIL
WORN = "[condition]\n" + WHEEL.replace("74", "100").replace("81", "107") + COIL


def appended(folder: Path, text: str) -> Job:
    """The test job, as its springs are described, with blocks added."""
    path = write_job(folder, without("sweep"))
    path.write_text(path.read_text(encoding="utf-8") + text, encoding="utf-8")
    return load_job(path)


@pytest.mark.parametrize("text", ["", SOUND, VACUUM, SOUND + VACUUM, WORN + VACUUM])
def test_check_is_readable_with_all_some_or_none(tmp_path: Path, text: str) -> None:
    check = check_unit(appended(tmp_path, text))
    told = check_text(check)
    assert max(len(line) for line in told.splitlines()) <= 80
    assert ("Condition as inspected" in told) == bool(text) and ("Coil" in told) == ("coil" in text)
    condition = CheckDocument.of(check).condition
    assert bool(condition.checks) == bool(text)
    assert bool(condition.coil) == ("coil" in text)


def test_wear_gates_the_verdict_whatever_the_curve(tmp_path: Path) -> None:
    none, sound, worn = (check_unit(appended(tmp_path, text)) for text in ("", SOUND, WORN))
    assert none.verdict == sound.verdict != "mechanical repair first"
    assert worn.verdict == "mechanical repair first"
    assert any(f"7.0° of dwell change, {OF_DWELL}" in why for why in worn.why)


def test_wear_too_close_to_its_limit_leaves_the_verdict_open(tmp_path: Path) -> None:
    close: Check = check_unit(appended(tmp_path, f'[condition]\nside_play = "{LIMIT:g} ± 0.001 in"\n'))
    assert close.verdict == "cannot tell" and "side play" in close.why[0]


def test_a_unit_without_weights(tmp_path: Path) -> None:
    path = tmp_path / "bare.toml"
    for text, verdict in ((SOUND + VACUUM, "facts only"), (WORN, "mechanical repair first"), (COIL, "facts only")):
        lead = "" if text.startswith("[") else "[condition]\n"
        path.write_text(HEAD.format(lobes=6) + lead + text, encoding="utf-8")
        check = check_bare(load_any(path))
        assert check.verdict == verdict
        document = CheckDocument.of(check)
        assert max(len(line) for line in bare_text(check, document).splitlines()) <= 80
        assert document.fit is None and document.verdict == verdict
        with pytest.raises(InputError, match="weights: missing, expected weights, stop and springs"):
            load_job(path)


def test_wear_stands_on_the_plan_and_its_sheet(tmp_path: Path) -> None:
    """The plan says what to repair before it, its job file keeps the inspection, and the sheet is made."""
    from recurve.output.figures.plan import plan_figure_bytes
    from recurve.output.planfile import plan_toml
    from recurve.output.sheet.sheet import sheet_pdf
    from recurve.output.text.plan import plan_text
    from recurve.planner.plan import make_plan

    plan = make_plan(appended(tmp_path, WORN + VACUUM), "margin")
    assert any("Before you build from this plan: bush the shaft first: 7.0°" in note for note in plan.notes)
    assert max(len(line) for line in plan_text(plan).splitlines()) <= 80
    planned = tmp_path / "unit-plan" / "plan.toml"
    planned.parent.mkdir()
    planned.write_bytes(plan_toml(plan))
    assert load_job(planned).inspection == plan.job.inspection
    assert sheet_pdf(plan, plan_figure_bytes(plan)["curve.svg"], "a4").startswith(b"%PDF")


# --- what rests on a ± or on a ratio ------------------------------------------------------------------------


def test_half_the_change_of_dwell_has_half_its_doubt(tmp_path: Path) -> None:
    """Two readings ± 0.6° differ by ± 2 √(2 · 0.6²/3) = 0.980°; the timing is half of that, 0.490°."""
    found = bare(tmp_path, '[condition]\ndwell_pushed = ["55 ± 0.6 deg", "51 ± 0.6 deg"]\n')
    assert found.bench is not None
    (change,) = found.bench.changes
    assert np.degrees(change.timing.half_width or 0.0) == pytest.approx(np.sqrt(0.24), rel=1e-6)


def test_what_side_play_does_to_the_dwell_goes_by_the_lever() -> None:
    """55° of 90° leave 17.5° to either side of the peak at 0.4 mm: 0.1 ± 0.02 mm at a block whose contact moves 1.2 times as
    far is 17.5 · 1.2 · 0.1/0.4 = 5.25 ± 1.05°."""
    seen = Condition(
        side_play=Measured(0.1e-3, 0.02e-3),
        gap=(Measured(0.4e-3, 0.0),),
        dwell=(Measured(np.radians(55.0), 0.0),),
        lever_ratio=1.2,
    )
    found = inspect_unit(Inspection(seen), 4, 2.0)
    assert found.bench is not None and found.bench.expected_change is not None
    expected = found.bench.expected_change
    assert np.degrees((expected.value, expected.half_width)) == pytest.approx((5.25, 1.05))


@pytest.mark.parametrize(("pm", "told"), [(0.1, True), (1.0, False)])
def test_play_and_dwell_contradict_each_other_only_beyond_their_doubt(pm: float, told: bool) -> None:
    """A dwell of 53° leaves 18.5° at 0.4 mm: 0.03 mm of play make 1.39°, 2.5 times as much is 3.47°. A change of 4° is more,
    but not once each dwell is ± 1°, and the change ± 2 √(2/3) = 1.63°."""
    pushed = (Measured(np.radians(55.0), np.radians(pm)), Measured(np.radians(51.0), np.radians(pm)))
    seen = Condition(side_play=Measured(0.03e-3, 0.0), gap=(Measured(0.4e-3, 0.0),), dwell_pushed=pushed)
    found = inspect_unit(Inspection(seen), 4, 2.0)
    assert ("side play and change of dwell do not agree" in whats(found)) == told


def test_the_coil_is_charged_up_to_the_engine_s_top_speed_at_the_distributor() -> None:
    """4000 rpm of the crank at 2 to 1 are 2000 rpm of the distributor."""
    timing = Timing(
        static=None, total=None, limit=None, tolerance=0.0, tolerance_source="", idle=None, idle_setting=None,
        top_speed=4000.0 / RPM, speeds=(), cruise_speed=None, cruise_vacuum=None, full_load_vacuum=None,
    )  # fmt: skip
    seen = Condition(dwell=(Measured(np.radians(55.0), 0.0),), coil=Coil(1.5, 8e-3, 12.0))
    found = inspect_unit(Inspection(seen, timing=timing), 4, 2.0)
    assert found.bench is not None
    (charge,) = found.bench.charges
    assert charge.speed * RPM == pytest.approx(np.arange(200.0, 2001.0, 200.0))


@pytest.mark.parametrize(("read", "pair"), [((55, 60), (60, 50)), ((45, 40), (50, 40)), ((45, 60), (50, 45))])
def test_the_coil_is_judged_by_the_worst_dwell_of_those_read(
    read: tuple[float, float], pair: tuple[float, float]
) -> None:
    """The book asks for 48 to 52°. The shortest dwell charges the coil least; where all are too long, the longest is worst."""
    band = {"dwell": (np.radians(48.0), np.radians(52.0))}
    dwell = tuple(Measured(np.radians(d), 0.0) for d in read)
    found = inspect_unit(Inspection(Condition(dwell=dwell, coil=Coil(1.5, 8e-3, 12.0), limits=band)), 4, 2.0)
    assert found.bench is not None
    assert np.degrees([c.dwell for c in found.bench.charges]) == pytest.approx(pair)
