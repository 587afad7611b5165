"""`recurve wind` as a person runs it: the report, the JSON document, the drawing, the table, the exit status."""

from __future__ import annotations

import csv
import io
import json
import re
from pathlib import Path
from typing import Any
from xml.etree import ElementTree

import pytest
from commands import no_nan, run
from jobs import BY_HAND, without, write_job

from recurve.cli.wind_input import planned_unit
from recurve.job.read import load_job
from recurve.output.documents.springs import WindingDocument
from recurve.output.figures.style import figure_of, figure_settings
from recurve.output.figures.winding import draw_spring, drawing_svg
from recurve.output.planfile import plan_toml
from recurve.output.text.workshop import COLUMNS, wind_csv
from recurve.planner.plan import make_plan
from recurve.planner.wanted import wanted_springs
from recurve.springs.winding import Envelope, Wanted, Wound, check_lengths, wind
from recurve.springs.wire import wire_sizes

Patch = pytest.MonkeyPatch
PRIMARY = Wanted("primary", 1090.0, 13.49e-3, 15.78e-3, pull=0.8617, post=2.5e-3)
ENVELOPE = Envelope(6.75e-3, 19e-3, 0.1)


@pytest.fixture
def job(tmp_path: Path) -> Path:
    """A job without a sweep, so that nothing has to be fitted."""
    return write_job(tmp_path, without("sweep"))


def wound() -> Wound:
    return wind(PRIMARY, ENVELOPE, wire_sizes(("metric",), ("music",))).proposals[0]


# --- by hand --------------------------------------------------------------------------------------------------


def test_by_hand_as_text(job: Path, monkeypatch: Patch) -> None:
    monkeypatch.chdir(job.parent)
    code, out, err = run(["wind", job.name, *BY_HAND])
    assert (code, err) == (0, "")
    assert max(len(line) for line in out.splitlines()) <= 80
    for words in (
        "figures given by hand",
        "1.600 N/mm",
        "15.20 mm free",
        "± 10%",
        "fatigue is not judged",
        "wind-primary.svg",
    ):
        assert words in out
    folder = job.with_name("unit-plan")
    assert sorted(p.name for p in folder.iterdir()) == ["wind-primary.svg", "wind.csv"]


def test_by_hand_as_json(job: Path) -> None:
    """All that was asked is in the document, and every proposal keeps it."""
    options = [
        "--longest",
        "17.4 mm",
        "--outer",
        "0.25 in",
        "--post",
        "2 mm",
        "--tolerance",
        "12 %",
        "--sizes",
        "gauge",
    ]
    code, out, err = run(["wind", str(job), *BY_HAND, *options, "--json"])
    facts = json.loads(out)
    assert (code, err) == (0, "")
    no_nan(facts)
    primary = facts["springs"]["primary"]
    assert primary["wanted"]["longest_mm"] == 17.4
    assert primary["envelope"]["outer_mm"] == pytest.approx(6.35)
    assert primary["nearest"] is None and facts["reasons"] == []
    assert primary["proposals"]
    for p in primary["proposals"]:
        assert p["wire"].startswith("gauge ")
        assert p["outer_mm"] <= 6.35
        assert abs(p["rate_n_per_mm"] / 1.6 - 1) + p["rate_by_wire"] <= 0.12
        assert p["outer_mm"] - 2 * p["wire_mm"] >= 2.0
        assert max(p["stress_used"].values()) <= 1
        assert p["pulls"][1] == {
            "length_mm": 17.4,
            "pull_n": pytest.approx(p["rate_n_per_mm"] * (17.4 - 15.2), abs=1e-5),
        }


def test_what_cannot_be_wound_is_no(job: Path) -> None:
    """Exit 3, what the nearest lacks, and no drawing of an earlier run left behind."""
    assert run(["wind", str(job), *BY_HAND])[0] == 0
    code, out, _ = run(["wind", str(job), *BY_HAND, "--tolerance", "2 %"])
    assert code == 3
    assert "CANNOT BE WOUND" in out
    assert "by the wire's tolerance, expected ± 2%" in " ".join(out.split())
    assert [p.name for p in job.with_name("unit-plan").iterdir()] == ["wind.csv"]
    code, out, _ = run(["wind", str(job), *BY_HAND, "--tolerance", "2 %", "--json"])
    facts = json.loads(out)
    assert code == 3
    assert len(facts["reasons"]) == 1
    assert facts["springs"]["primary"]["nearest"]["robustness"] < 0


BAD = [
    (["--rate", "1 N"], ['--rate: got "1 N"']),
    (["--rate", "-1 N/mm", "--free-length", "3"], ["--rate: got", "expected more than 0", "--free-length: got"]),
    (["--rate", "1 N/mm"], ["--place: missing", "--free-length: missing"]),
    (["--longest", "18 mm"], ["--longest", "expected all figures"]),
    (["--material", "musik"], ['--material: got "musik"', 'did you mean "music"?']),
    (["--tolerance", "80 %"], ["up to 50 %"]),
    (["--tolerance", "10"], ["up to 50 %"]),
    (["--outer", "5 kg"], ["--outer", "does not measure a length"]),
    (["--outer", "7000 mm"], ["at most 1 m"]),
    ([*BY_HAND, "--longest", "15 mm"], ["would never pull"]),
    ([*BY_HAND, "--springs", "ideal"], ["one or the other"]),
    ([*BY_HAND, "--sizes", "gauge", "--material", "bronze"], ["sold by gauge sizes"]),
    (["--place", "third"], ["third"]),
    (["--top", "0"], ["--top"]),
]


@pytest.mark.parametrize(("options", "words"), BAD)
def test_bad_input(options: list[str], words: list[str], job: Path) -> None:
    before = sorted(p.name for p in job.parent.iterdir())
    code, out, err = run(["wind", str(job), *options])
    assert (code, out) == (2, "")
    for part in words:
        assert part in err
    assert "Traceback" not in err
    assert sorted(p.name for p in job.parent.iterdir()) == before


def test_one_spring_has_no_secondary(tmp_path: Path) -> None:
    path = write_job(tmp_path, without("springs.secondary"), without("sweep"))
    given = ["--place", "secondary", *BY_HAND[2:]]
    code, _, err = run(["wind", str(path), *given])
    assert code == 2
    assert "the job has one spring" in err


# --- from the plan ---------------------------------------------------------------------------------------------


def test_from_the_plan_that_was_made(job: Path) -> None:
    """With plan.toml of this very job beside it, its springs; the pull at rest and at the stop are the plan's."""
    made = make_plan(load_job(job))
    assert made.build is not None
    folder = job.with_name("unit-plan")
    folder.mkdir()
    (folder / "plan.toml").write_bytes(plan_toml(made))
    code, out, _ = run(["wind", str(job), "--tolerance", "12 %", "--json"])
    facts = json.loads(out)
    assert facts["source"] == "planned springs, as in unit-plan/plan.toml"
    for fitted, place in zip(made.build.springs, ("primary", "secondary"), strict=True):
        wanted: dict[str, Any] = facts["springs"][place]["wanted"]
        assert wanted["rate_n_per_mm"] == pytest.approx(fitted.spring.rate / 1e3)
        assert wanted["installed_length_mm"] == pytest.approx(1e3 * fitted.length, abs=1e-5)
        if fitted.takeup == 0.0:
            assert wanted["pull_at_rest_n"] == pytest.approx(fitted.pull, abs=1e-5)
        else:
            assert wanted["free_length_mm"] == pytest.approx(1e3 * fitted.spring.free_length)
            assert wanted["initial_tension_n"] == fitted.spring.initial_tension
    assert code == (0 if all(facts["springs"][p]["proposals"] for p in ("primary", "secondary")) else 3)
    assert planned_unit(load_job(job)) is not None
    job.write_bytes(job.read_bytes().replace(b"Test unit", b"Changed unit"))
    assert planned_unit(load_job(job)) is None  # the job has changed: it would be planned anew


def test_ideal_springs_without_a_catalogue(tmp_path: Path) -> None:
    """Where nothing is at hand the ideal springs are asked for; where the second takes up with an initial tension there
    is another pair without one, whose margin the exact model gives."""
    gone = [
        ('free_length = "15.2 mm"\nrate = "1.6 ± 0.1 N/mm"\n', ""),
        ('takeup = "7 ± 0.5 deg"\nrate = "4.0 N/mm"\n', ""),
    ]
    asked = wanted_springs(load_job(write_job(tmp_path, without("sweep"), without("catalogue"), *gone)))
    assert asked.source.startswith("ideal springs, margin 0.")
    assert [w.place for w in asked.springs] == ["primary", "secondary"]
    primary, secondary = asked.springs
    assert primary.pull is not None and primary.pull > 0
    assert secondary.free_length is not None and secondary.rest < secondary.free_length < secondary.longest
    if secondary.initial_tension:
        assert asked.otherwise is not None
        assert asked.otherwise.springs[1].initial_tension == 0.0
        ideal, other = (float(re.findall(r"margin (\d\.\d+)", a.source)[0]) for a in (asked, asked.otherwise))
        assert 0.0 <= other <= ideal + 0.01


def test_a_target_out_of_reach_of_any_spring(tmp_path: Path) -> None:
    """A maximum that the stop cannot give: no spring helps, exit 3 and why."""
    far = (
        'maximum = { advance = "11 deg", tolerance = "0.5 deg" }',
        'maximum = { advance = "24 deg", tolerance = "0.5 deg" }',
    )
    path = write_job(tmp_path, without("sweep"), far)
    code, out, _ = run(["wind", str(path), "--springs", "ideal", "--json"])
    assert code == 3
    assert "no spring at all" in json.loads(out)["reasons"][0]


# --- table and drawing -----------------------------------------------------------------------------------------


def test_table() -> None:
    winding = wind(PRIMARY, ENVELOPE, wire_sizes(("metric", "gauge"), ("music", "stainless")))
    rows = list(csv.DictReader(io.StringIO(wind_csv((winding,), {"primary": WindingDocument.of(winding)}, 4).decode())))
    assert tuple(rows[0]) == COLUMNS
    assert [r["rank"] for r in rows] == ["1", "2", "3", "4"]
    for row, w in zip(rows, winding.proposals, strict=False):
        assert float(row["outer [mm]"]) == pytest.approx(1e3 * w.outer, abs=5e-4)
        assert float(row["pull_1 [N]"]) == pytest.approx(0.8617, abs=0.006)  # at rest, as asked
        assert float(row["length_2 [mm]"]) == 15.78
        assert float(row["body [mm]"]) + 2 * float(row["hook_inside [mm]"]) == pytest.approx(
            float(row["free_length [mm]"]), abs=0.02
        )


def test_check_lengths_of_a_slack_spring() -> None:
    """A third of the way from where it takes up, and at its longest: by hand 17.5 + 1.5/3 = 18 mm."""
    slack = Wanted("secondary", 3500.0, 16.6e-3, 19.0e-3, free_length=17.5e-3, initial_tension=0.0)
    one = wind(slack, Envelope(8e-3, 25e-3, 0.1), wire_sizes(("metric",), ("music",))).proposals[0]
    (first, pull), (last, _) = check_lengths(slack, one)
    assert (1e3 * first, 1e3 * last) == (pytest.approx(18.0), pytest.approx(19.0))
    assert pull == pytest.approx(one.rate * 0.5e-3)


def test_drawing_is_true_to_scale() -> None:
    """The wire's middle line reaches half the mean diameter up and down and past the inside of both hooks by half a wire;
    the dimensions are written out."""
    w = wound()
    with figure_settings():
        axes = figure_of((180, 128)).add_axes((0.1, 0.4, 0.8, 0.5))
        draw_spring(axes, w)
    thick = [line for line in axes.lines if line.get_linewidth() > 3]
    x = [float(v) for line in thick for v in line.get_xdata()]
    y = [float(v) for line in thick for v in line.get_ydata()]
    assert max(y) == pytest.approx(1e3 * w.mean / 2, rel=1e-6)
    assert min(y) == pytest.approx(-1e3 * w.mean / 2, rel=1e-3)
    assert max(x) - min(x) == pytest.approx(1e3 * (w.free_length + w.wire), rel=1e-3)
    texts = " ".join(t.get_text() for t in axes.texts)
    for number in (w.free_length, w.hook, w.body, w.outer):
        assert f"{1e3 * number:.2f}" in texts
    assert f"ø {1e3 * w.wire:.3f}" in texts


def test_drawing_is_well_formed() -> None:
    drawn = drawing_svg(PRIMARY, wound(), ENVELOPE, "A unit <&> $x$ of ours, invented", "0123456789ab")
    root = ElementTree.fromstring(drawn)
    assert root.tag.endswith("svg")
    assert root.attrib["width"].startswith("510.2")  # 180 mm in points
    assert b"<text" not in drawn  # outlines: the same letters everywhere
