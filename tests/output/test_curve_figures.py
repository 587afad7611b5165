"""The figure: what is drawn and labelled, not its pixels."""

from __future__ import annotations

import io
import re
from dataclasses import replace
from xml.etree import ElementTree

import matplotlib
import numpy as np
import pytest
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.patches import PathPatch
from sheetplans import launch

from recurve.output.figures import style
from recurve.output.figures.curves import branch, shade, shift_words
from recurve.output.figures.labels import arranged
from recurve.output.figures.plan import plan_figure_bytes, plot_plan
from recurve.planner.build import Build
from recurve.planner.plan import Plan
from recurve.text import breakable, plain, shortened


def built(plan: Plan) -> Build:
    assert plan.build is not None
    return plan.build


def labels(axes: Axes) -> list[str]:
    return axes.get_legend_handles_labels()[1]


def texts(axes: Axes) -> str:
    return " | ".join(t.get_text() for t in axes.texts)


def test_a_plot_takes_an_axis_and_gives_it_back(plan: Plan) -> None:
    axes = Figure().add_subplot()
    assert plot_plan(plan, axes) is axes
    assert isinstance(plot_plan(plan), Axes)


def test_before_planned_readings_and_bands_are_drawn_and_told_apart(plan: Plan) -> None:
    axes = plot_plan(plan)
    expected = ["read", "as found (computed)", "planned"]
    assert labels(axes) == [f"{name}, {way}" for name in expected for way in ("rising", "falling")] + [
        style.TARGET_BAND
    ]
    lines = {str(line.get_label()): line for line in axes.lines}
    for name in ("as found (computed)", "planned"):
        assert lines[f"{name}, rising"].get_linestyle() == "-"
        assert lines[f"{name}, falling"].get_linestyle() == "--"
    # In a grey print before and planned differ by their widths, the readings by their marks.
    assert lines["planned, rising"].get_linewidth() > 2 * lines["as found (computed), rising"].get_linewidth()
    assert lines[f"{style.READ}, rising"].get_marker() != lines[f"{style.READ}, falling"].get_marker()
    assert sorted(c.get_gid() for c in axes.collections) == ["band-idle", "band-maximum", "band-point", "band-point"]


def test_readings_stand_where_the_sweep_has_them(plan: Plan) -> None:
    lines = {str(line.get_label()): line for line in plot_plan(plan).lines}
    np.testing.assert_allclose(lines[f"{style.READ}, rising"].get_xydata(), [[300, 1.5], [500, 6], [700, 11.5]])
    np.testing.assert_allclose(lines[f"{style.READ}, falling"].get_xydata(), [[400, 4.5]])


def onset_by_hand() -> float:
    """Hand calculation by equation 3 (recurve.physics) at rest: τ = 1 N/mm · 0.5 mm · 1.2 mm/12°, T_d + T_f = 5 mN·m,
    I′ = 2 · 30 g · 2 · 15 mm · (1 mm/6°); ω = √(2 (τ + T_d + T_f)/I′)."""
    per_radian = 180 / np.pi
    torque = 0.5 * (1.2e-3 / 12 * per_radian)
    inertia_slope = 2 * 0.030 * 2 * 15e-3 * (1e-3 / 6 * per_radian)
    return float(np.sqrt(2 * (torque + 5e-3) / inertia_slope) * 30 / np.pi)


def test_onset_take_up_all_in_and_idle_are_marked_with_their_speeds(plan: Plan) -> None:
    said = texts(plot_plan(plan))
    assert f"onset {onset_by_hand():.0f} rpm" in said
    for name in ("idle 200 rpm", "secondary takes up ", "all-in ", "maximum"):
        assert name in said
    # The second spring's 0.5 mm of slack is taken up after 0.5/1.2 of 12°: 5°, hand calculation.
    circles = [line for line in plot_plan(plan).lines if line.get_marker() == "o"]
    assert any(np.isclose(np.asarray(c.get_ydata()).item(), 5.0, atol=1e-6) for c in circles)


def test_the_planned_line_is_the_curve_of_the_model(plan: Plan) -> None:
    lines = {str(line.get_label()): line for line in plot_plan(plan).lines}
    curve = built(plan).curve
    for speed in (250.0, 400.0, 550.0, 800.0):
        for way, model in (("rising", curve.rising_advance), ("falling", curve.falling_advance)):
            drawn = np.asarray(lines[f"planned, {way}"].get_xydata())
            shown = np.interp(speed, drawn[:, 0], drawn[:, 1])
            assert shown == pytest.approx(float(np.degrees(model(speed * np.pi / 30))), abs=0.02)


def test_crank_axes_are_the_distributor_s_times_the_ratio(plan: Plan) -> None:
    axes = plot_plan(plan)
    axes.figure.canvas.draw()
    top, right = axes.child_axes
    assert (axes.get_xlabel(), axes.get_ylabel()) == (style.SPEED, style.ADVANCE)
    assert (top.get_xlabel(), right.get_ylabel()) == (style.CRANK_SPEED, style.CRANK_ADVANCE)
    assert top.get_xlim() == pytest.approx([2 * x for x in axes.get_xlim()])
    assert right.get_ylim() == pytest.approx([2 * y for y in axes.get_ylim()])
    assert min(axes.get_yticks()) == 0 == min(right.get_yticks())


def test_title_springs_and_fingerprint_are_told_and_not_read_as_mathematics(plan: Plan) -> None:
    axes = plot_plan(plan)
    title = axes.get_title(loc="left")
    assert "$x^2$" in title and "springs: the primary that is in it + the secondary that is in it" in title
    figure = axes.figure
    assert any(plan.job.fingerprint in t.get_text() and "150 rpm" in t.get_text() for t in figure.texts)


def test_without_a_build_only_what_was_found_is_drawn(plan: Plan) -> None:
    axes = plot_plan(replace(plan, build=None, verdict="out of reach"))
    assert not any("planned" in name or "nearest" in name for name in labels(axes))
    assert "idle 200 rpm" in texts(axes) and "onset" not in texts(axes)
    bare = replace(plan, build=None, before=None, job=replace(plan.job, sweep=None), verdict="out of reach")
    assert labels(plot_plan(bare)) == [style.TARGET_BAND]


def test_what_is_out_of_reach_is_not_called_planned(plan: Plan) -> None:
    axes = plot_plan(replace(plan, verdict="out of reach"))
    assert "nearest, rising" in labels(axes) and "planned, rising" not in labels(axes)
    assert "not to be built" in axes.get_title(loc="left")


def test_files_are_the_same_bytes_whatever_the_settings_and_readable(plan: Plan) -> None:
    first = plan_figure_bytes(plan)
    # A reader's own settings change nothing, and are left as they were.
    with matplotlib.rc_context({"font.size": 20, "svg.fonttype": "none", "axes.facecolor": "red"}):
        assert plan_figure_bytes(plan) == first
        assert matplotlib.rcParams["font.size"] == 20
    assert sorted(first) == ["curve.png", "curve.svg"]
    assert first["curve.png"].startswith(b"\x89PNG")
    assert b"Software" not in first["curve.png"] and b"tIME" not in first["curve.png"]
    root = ElementTree.parse(io.BytesIO(first["curve.svg"])).getroot()
    assert root.tag.endswith("svg")
    # 180 mm wide at 72 points an inch, hand calculation
    assert float(root.attrib["width"].removesuffix("pt")) == pytest.approx(180 / 25.4 * 72, abs=0.01)
    assert not [e for e in root.iter() if e.tag.endswith("}text")], "text must be paths, which need no font"
    assert b"dc:date" not in first["curve.svg"]


@pytest.mark.parametrize("title", ["日本語 שלום", "a\x00b\x01--> <!-- c", "$\\frac{", "W" * 400])
def test_any_title_can_be_drawn(plan: Plan, title: str) -> None:
    drawn = plan_figure_bytes(replace(plan, job=replace(plan.job, title=title)))
    ElementTree.parse(io.BytesIO(drawn["curve.svg"]))


def test_labels_that_would_overlap_stand_beside_their_lines_before_they_go_to_rows_below() -> None:
    """By hand: 60 wide at 100, 120 and 130: to the left of 100, from 36 to 96; between 100 and 130 nothing fits, so one row
    more; and 10 wide all are centred."""
    near = [100.0, 120.0, 130.0, 400.0]
    assert arranged(near, [8.0] * 4, 500.0, 1.0) == [(0, 0.0)] * 4
    three = arranged([100.0, 200.0, 250.0], [90.0, 80.0, 90.0], 500.0, 4.0)
    assert [row for row, _ in three] == [0, 0, 0] and three[2][1] == 1.0
    assert arranged([100.0], [60.0], 500.0, 4.0) == [(0, 0.0)]
    assert arranged([20.0], [60.0], 500.0, 4.0) == [(0, 1.0)]  # else it would begin left of the axis
    assert arranged([480.0], [60.0], 500.0, 4.0) == [(0, -1.0)]


@pytest.mark.parametrize("seed", range(30))
def test_no_label_lies_on_another_or_on_a_line_that_passes(seed: int) -> None:
    """Each row's labels apart, and the line down to a label crosses no label above it."""
    random = np.random.default_rng(seed)
    speeds = sorted(random.uniform(150.0, 850.0, random.integers(1, 6)))
    widths = [float(w) for w in random.uniform(60.0, 180.0, len(speeds))]
    placed = arranged([float(s) for s in speeds], widths, 1000.0, 5.0)
    boxes = []
    for speed, width, (_, side) in zip(speeds, widths, placed, strict=True):
        middle = speed + side * (width + 5.0) / 2
        boxes.append((middle - width / 2, middle + width / 2))
    for i, (row, _) in enumerate(placed):
        for k, (other, _) in enumerate(placed):
            if i != k and row == other:
                assert boxes[i][0] >= boxes[k][1] or boxes[k][0] >= boxes[i][1]
            if row > other:
                assert not boxes[k][0] < speeds[i] < boxes[k][1]


def test_a_branch_starts_from_what_stays_in_at_rest() -> None:
    # Speeds are √ω² in rpm: √4 rad/s is 2 · 30/π rpm, hand calculation.
    speed, degrees = branch(np.array([-1.0, -0.5, 4.0]), np.radians([0.0, 1.0, 2.0]))
    np.testing.assert_allclose(speed, [0.0, 0.0, 60 / np.pi])
    np.testing.assert_allclose(degrees, [1.0, 1.0, 2.0])
    speed, degrees = branch(np.array([4.0, 9.0]), np.radians([0.0, 1.0]))
    np.testing.assert_allclose(speed, [0.0, 60 / np.pi, 90 / np.pi])
    np.testing.assert_allclose(degrees, [0.0, 0.0, 1.0])


def test_springs_that_stay_or_change_places_are_told_from_those_of_the_shelf(plan: Plan) -> None:
    first, second = built(plan).springs
    bought = replace(first, spring=replace(first.spring, id="D9", rate=2.0 * first.spring.rate))
    for pair, told in (
        ((bought, second), "springs: D9 primary + the secondary that is in it"),
        ((second, bought), "springs: the secondary that is in it as primary + D9 secondary"),
    ):
        axes = plot_plan(replace(plan, build=replace(built(plan), springs=pair)))
        assert axes.get_title(loc="left").endswith(told)


# --- a plan from a fitted sweep ----------------------------------------------------------------------------


def shades(axes: Axes) -> list[PathPatch]:
    return [p for p in axes.patches if isinstance(p, PathPatch) and p.get_gid() == "shade"]


def test_a_fitted_plan_shows_both_bands_and_says_fitted() -> None:
    axes = plot_plan(launch())
    assert {"as found, rising", "as found, falling"} < set(labels(axes))
    before, after = shades(axes)
    assert matplotlib.colors.to_hex(before.get_facecolor()).upper() == style.BEFORE.colour
    assert matplotlib.colors.to_hex(after.get_facecolor()).upper() == style.AFTER.colour
    legend = axes.get_legend()
    assert legend is not None
    # Both bands share one entry.
    assert [t.get_text() for t in legend.get_texts()].count(style.SHADED) == 1


def test_shades_reach_from_the_5_to_the_95_per_cent_end_of_each_curve() -> None:
    band = launch().before_band
    assert band is not None
    before, _ = shades(plot_plan(launch()))
    at = int(np.abs(band.speed - 700 * np.pi / 30).argmin())
    speed = float(band.speed[at]) * 30 / np.pi
    for low, high in (np.degrees(band.rising[:, at]), np.degrees(band.falling[:, at])):
        middle, end = (low + high) / 2, (high - low) / 2
        assert before.get_path().contains_point((speed, middle))
        assert not before.get_path().contains_point((speed, middle - 3 * end - 1.0))
        assert not before.get_path().contains_point((speed, middle + 3 * end + 1.0))
    drawn = before.get_path().vertices[:, 1]
    assert drawn.min() == pytest.approx(0.0, abs=1e-6)
    assert drawn.max() == pytest.approx(float(np.degrees(band.falling[1].max())))


def test_a_shade_is_no_darker_where_rising_and_falling_overlap() -> None:
    axes = Figure().add_subplot()
    speed = np.array([10.0, 20.0])
    shade(axes, speed, np.array([[0.1, 0.2], [0.3, 0.4]]), np.array([[0.2, 0.3], [0.4, 0.5]]), style.AFTER)
    assert len(axes.patches) == 1 == len(shades(axes))


def test_readings_of_a_bench_zero_stand_where_they_belong() -> None:
    lines = {str(line.get_label()): line for line in plot_plan(launch()).lines}
    shown = np.asarray(lines[f"{style.READ}, rising"].get_xydata())
    # The degree wheel gave the stop as 13.8 ± 0.3° (job); the bench read 12.0° there, so it hid some 1.8°.
    top = shown[shown[:, 0] >= 1000, 1]
    assert len(top) == 4
    assert top.mean() == pytest.approx(13.8, abs=0.3)
    sweep = launch().job.sweep
    assert sweep is not None
    shift = shown[:, 1] - np.degrees(sweep.advance[np.asarray(sweep.rising, bool)])
    np.testing.assert_allclose(shift, shift[0])
    footer = next(t.get_text() for t in plot_plan(launch()).figure.texts if "inputs" in t.get_text())
    assert footer.startswith(f"readings shifted by {shift[0]:.1f}°, hidden by the zero taken at 250 rpm · inputs ")


def test_what_moved_the_readings_is_told() -> None:
    fit, sweep = launch().fit, launch().job.sweep
    assert fit is not None and sweep is not None
    assert shift_words(None, None) == []
    assert shift_words(None, sweep) == ["readings zeroed at 250 rpm"]
    home = replace(sweep, zeroed_at=None)
    assert shift_words(None, home) == []
    assert shift_words(fit, home)[0].endswith("°, the fitted error of zero")
    assert shift_words(fit, replace(home, static_known=False))[0].endswith("°, the fitted static timing")


def test_a_fitted_curve_rises_from_a_standstill_as_its_readings_do() -> None:
    """At a standstill the launch's drag brings it home, at idle, 250 rpm, some stays in; the bench starts from the
    first, the engine from the second."""
    curve = launch().before
    assert curve is not None and curve.return_speed is not None
    stays_in = float(np.degrees(curve.falling_advance(250 * np.pi / 30)))
    assert stays_in > 1.0
    fitted = {str(x.get_label()): np.asarray(x.get_ydata()) for x in plot_plan(launch()).lines}
    assert fitted["as found, rising"][0] == pytest.approx(0.0, abs=1e-9)
    computed = {str(x.get_label()): np.asarray(x.get_ydata()) for x in plot_plan(replace(launch(), fit=None)).lines}
    assert computed["as found (computed), rising"][0] == pytest.approx(stays_in, abs=0.02)


def test_text_from_outside_is_one_plain_line() -> None:
    assert plain(" a\x00b\n\tc  \u202ed ") == "a b c d"
    assert shortened("abcdef", 4) == "abc…" and shortened("abcd", 4) == "abcd"
    assert breakable("aaaa bb", 3) == "aaa\u200ba bb"


def test_an_axis_says_its_unit_and_whose() -> None:
    for caption in (
        style.SPEED,
        style.ADVANCE,
        style.CRANK_SPEED,
        style.CRANK_ADVANCE,
        style.ENGINE_SPEED,
    ):
        assert re.search(r"\[.*(rpm|degrees).*\]", caption)
        assert ("distributor" in caption) != ("crank" in caption)
    for caption in (
        style.TIMING,
        style.ENERGY,
        style.PRIMARY_RATE,
        style.SECONDARY_RATE,
        style.PULL_AT_REST,
    ):
        assert re.search(r"\[.+\]", caption)
