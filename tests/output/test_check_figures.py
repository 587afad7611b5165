"""Figures of the unit as found and as left: what is drawn and labelled, not its pixels."""

from __future__ import annotations

import io
from dataclasses import replace
from functools import cache
from xml.etree import ElementTree

import matplotlib
import numpy as np
import pytest
from checkout import EXAMPLES, written
from example_plans import example, tractor_again
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from sweeps import HEADER, rows

from recurve.diagnosis.check import Check, check_unit
from recurve.diagnosis.verify import Verification
from recurve.job.read import load_job
from recurve.output.figures import style
from recurve.output.figures.check import check_figure_bytes, plot_check, plot_verify, verify_figure_bytes
from recurve.physics.curve import trace
from recurve.units import RPM

WILD = 4  # of the sweep's lines, from 0


@pytest.fixture(scope="module")
def check(tmp_path_factory: pytest.TempPathFactory) -> Check:
    """The launch as found, one of its readings wild by 6°."""
    folder = tmp_path_factory.mktemp("check")
    lines = rows((EXAMPLES / "launch-as-found.csv").read_text(encoding="utf-8"))[1:]
    speed, advance, way = lines[WILD].split(",")
    lines[WILD] = f"{speed},{float(advance) + 6:.1f},{way}"
    (folder / "wild.csv").write_text(HEADER + "\n".join(lines) + "\n", encoding="utf-8")
    text = (EXAMPLES / "launch.toml").read_text(encoding="utf-8").replace("launch-as-found.csv", "wild.csv")
    text = text.replace("../data/springs.csv", written(EXAMPLES.parent / "data" / "springs.csv"))
    (folder / "launch.toml").write_text(text, encoding="utf-8")
    return check_unit(load_job(folder / "launch.toml"))


@cache
def described() -> Check:
    """The launch judged by its springs as described, without a sweep."""
    return check_unit(replace(example("launch"), sweep=None))


@pytest.fixture
def result() -> Verification:
    """The tractor with nothing done to it, swept again."""
    return tractor_again().result


def named(axes: Axes) -> dict[str, np.ndarray]:
    """Points (n, 2) of each line that has a name in the legend."""
    return {
        str(x.get_label()): np.asarray(x.get_xydata()) for x in axes.lines if not str(x.get_label()).startswith("_")
    }


def residuals(axes: Axes) -> Axes:
    """The panel below."""
    curve, below = axes.figure.axes
    assert curve is axes
    return below


def texts(axes: Axes) -> list[str]:
    return [t.get_text() for t in axes.texts]


# --- as found --------------------------------------------------------------------------------------------


def test_fit_readings_bands_and_shade_are_drawn(check: Check) -> None:
    axes = plot_check(check)
    assert list(named(axes)) == [
        f"{style.READ}, rising",
        f"{style.READ}, falling",
        "as found, rising",
        "as found, falling",
    ]
    lines = {str(x.get_label()): x for x in axes.lines}
    assert (lines["as found, rising"].get_linestyle(), lines["as found, falling"].get_linestyle()) == ("-", "--")
    assert [p.get_gid() for p in axes.patches] == ["shade"]
    # The job has five points, an idle and a maximum.
    assert sorted(c.get_gid() for c in axes.collections) == ["band-idle", "band-maximum", *["band-point"] * 5]
    assert axes.get_title(loc="left") == f"{check.job.title}\nas found: {check.verdict}"


def test_residuals_are_what_lies_between_the_readings_and_the_drawn_fit(check: Check) -> None:
    """Readings less line, against the panel's heights: signs and order agree, in units of a reading's standard
    uncertainty ± 0.4°/√3 or a little more where the curve is steep."""
    fit = check.fit
    assert fit is not None and fit.job.sweep is not None
    axes = plot_check(check)
    below = residuals(axes)
    shown = {x.get_marker(): np.asarray(x.get_xydata()) for x in below.lines if x.get_marker() in ("^", "v")}
    for way, mark in (("rising", "^"), ("falling", "v")):
        read, line = named(axes)[f"{style.READ}, {way}"], named(axes)[f"as found, {way}"]
        off = read[:, 1] - np.interp(read[:, 0], line[:, 0], line[:, 1])
        heights = shown[mark][:, 1]
        np.testing.assert_allclose(shown[mark][:, 0], read[:, 0])
        flat = read[:, 0] >= 1000  # the stop: no part of a reading's doubt is its speed's
        np.testing.assert_allclose(heights[flat], off[flat] / (0.4 / np.sqrt(3)), atol=0.05)
        inside = np.abs(heights) < 5.9
        assert (np.abs(heights[inside]) <= np.abs(off[inside]) / (0.4 / np.sqrt(3)) + 0.15).all()


def test_the_wild_reading_is_ringed_and_named_by_its_row_in_both_panels(check: Check) -> None:
    row = WILD + 2  # the header is row 1
    assert check.fit is not None and check.fit.outliers == (row,)
    axes = plot_check(check)
    below = residuals(axes)
    assert f"row {row}" in texts(axes)
    (told,) = [t for t in texts(below) if t.startswith(f"row {row}: +")]
    # 6° of ± 0.4°/√3 are 26 standard uncertainties at most: drawn at the panel's edge, told by its number.
    assert 10 < float(told.split(": +")[1]) < 27
    for panel, name in ((axes, "rings"), (below, "rings below")):
        (ring,) = [x for x in panel.lines if x.get_marker() == "o"]
        assert ring.get_markerfacecolor() == "none", name
        assert float(np.asarray(ring.get_xdata()).item()) == pytest.approx(700.0)
        assert panel.get_ylim()[0] < float(np.asarray(ring.get_ydata()).item()) < panel.get_ylim()[1]


def test_the_panel_has_lines_at_two_standard_uncertainties_and_the_same_speeds(check: Check) -> None:
    axes = plot_check(check)
    below = residuals(axes)
    levels = {float(np.asarray(x.get_ydata())[0]) for x in below.lines if x.get_linestyle() == ":"}
    assert levels == {-2.0, 2.0}
    assert below.get_xlim() == axes.get_xlim()
    assert below.get_xlabel() == style.SPEED and axes.get_xlabel() == ""
    assert "standard uncertainties" in below.get_title(loc="left")


def test_crank_axes_are_the_distributor_s_times_the_ratio(check: Check) -> None:
    axes = plot_check(check)
    axes.figure.canvas.draw()
    top, right = axes.child_axes
    assert (top.get_xlabel(), right.get_ylabel()) == (style.CRANK_SPEED, style.CRANK_ADVANCE)
    assert top.get_xlim() == pytest.approx([2 * x for x in axes.get_xlim()])
    assert right.get_ylim() == pytest.approx([2 * y for y in axes.get_ylim()])


def test_without_a_fit_the_curve_with_its_band_alone() -> None:
    axes = plot_check(described())
    assert axes.figure.axes == [axes]
    assert list(named(axes)) == ["as found, rising", "as found, falling"]
    assert [p.get_gid() for p in axes.patches] == ["shade"]
    # Springs exactly as described: the line is the job's own curve.
    unit = described().job.as_found()
    assert unit is not None
    line = named(axes)["as found, rising"]
    curve = trace(unit)
    for speed in (300.0, 600.0, 800.0):
        expected = float(np.degrees(curve.rising_advance(speed / RPM, float(curve.falling_advance(0.0)))))
        assert np.interp(speed, line[:, 0], line[:, 1]) == pytest.approx(expected, abs=0.05)


def test_a_plot_takes_an_axis_and_gives_it_back(check: Check, result: Verification) -> None:
    for axes, drawn in ((Figure().add_subplot(), check), (Figure().add_subplot(), described())):
        assert plot_check(drawn, axes) is axes
        assert axes.figure.axes == [axes] and axes.get_legend() is not None
    axes = Figure().add_subplot()
    assert plot_verify(result, axes) is axes


# --- as left ---------------------------------------------------------------------------------------------


def test_every_band_is_marked_in_words_below_its_speed(result: Verification) -> None:
    words = ("passes", "fails", "too close to call")
    bands = tuple(replace(b, verdict=words[i % 3]) for i, b in enumerate(result.bands))
    axes = plot_verify(replace(result, bands=bands))
    told = {"passes": "pass", "fails": "FAIL", "too close to call": "too close"}
    marks = [t for t in axes.texts if t.get_text() in told.values()]
    assert len(marks) == len(bands)
    for band in bands:
        last = axes.get_xlim()[1]
        at = 0.95 * last if band.band.speed is None else RPM * band.band.speed
        (mark,) = [t for t in marks if t.get_position()[0] == pytest.approx(at, abs=0.01 * last)]  # or just beside it
        assert mark.get_text() == told[band.verdict]
        assert mark.get_position()[1] < 0.0


def test_as_left_and_as_found_differ_and_readings_have_their_curve_s_colour(result: Verification, check: Check) -> None:
    left, found = plot_verify(result), plot_check(check)
    for axes, name, look in ((left, "as left", style.LEFT), (found, "as found", style.BEFORE)):
        lines = {str(x.get_label()): x for x in axes.lines}
        for label in (f"{name}, rising", f"{name}, falling", f"{style.READ}, rising", f"{style.READ}, falling"):
            assert lines[label].get_color() == look.colour
        marks = (lines[f"{style.READ}, rising"].get_marker(), lines[f"{style.READ}, falling"].get_marker())
        assert marks == tuple(m.shape for m in look.marks)
        assert lines[f"{name}, rising"].get_linewidth() == look.rising
    assert len({look.colour for look in (style.BEFORE, style.AFTER, style.LEFT)}) == 3
    assert left.get_title(loc="left").endswith(f"as left: {result.verdict}")
    assert len(residuals(left).lines) > 2


# --- files -----------------------------------------------------------------------------------------------


def test_files_are_the_same_bytes_whatever_the_settings_and_readable(check: Check, result: Verification) -> None:
    found, left = check_figure_bytes(check), verify_figure_bytes(result)
    with matplotlib.rc_context({"font.size": 20, "svg.fonttype": "none"}):
        assert check_figure_bytes(check) == found
        assert verify_figure_bytes(result) == left
    assert sorted(found) == ["fit.png", "fit.svg"] and sorted(left) == ["as-left.png", "as-left.svg"]
    for name, data in {**found, **left}.items():
        if name.endswith(".png"):
            assert data.startswith(b"\x89PNG") and b"tIME" not in data and b"Software" not in data
        else:
            assert ElementTree.parse(io.BytesIO(data)).getroot().tag.endswith("svg")
            assert b"dc:date" not in data
    assert check.job.fingerprint in footer(plot_check(check)) and "hidden by the zero" in footer(plot_check(check))


def footer(axes: Axes) -> str:
    return next(t.get_text() for t in axes.figure.texts if "inputs" in t.get_text())
