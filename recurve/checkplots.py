"""Figures of a fit and of a finished unit: the curve with its band against the readings, residuals below."""

from __future__ import annotations

import io
from typing import TYPE_CHECKING, Any

import numpy as np

from recurve import __version__, style
from recurve.diagnose import Check
from recurve.evidence import Evidence
from recurve.fit import Fit
from recurve.mechanism import Array
from recurve.plots import BAND_WIDTH, PLATEAU, ROOM, RPM, draw_band, figure_settings
from recurve.sweepmodel import ends
from recurve.verify import Verification

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

SPEEDS = 120
NINETY = (0.05, 0.5, 0.95)
MARKS = {"passes": "pass", "fails": "FAIL", "too close to call": "too close"}


def check_figure_bytes(check: Check) -> dict[str, bytes]:
    """The fit of a check as "fit.svg" and "fit.png", the same bytes for the same input."""
    return _saved("fit", lambda: _check_figure(check))


def verify_figure_bytes(result: Verification) -> dict[str, bytes]:
    """The finished unit as "as-left.svg" and "as-left.png", the same bytes for the same input."""
    return _saved("as-left", lambda: _verify_figure(result))


def plot_check(check: Check, axes: Axes | None = None) -> Axes:
    """The curve as found with its 90 % band, the readings and the target's bands, on one axis; returns it."""
    with figure_settings():
        if axes is None:
            return _check_figure(check).axes[0]
        _curve(axes, check.evidence, "as found", style.BEFORE)
        return axes


def _saved(name: str, draw: Any) -> dict[str, bytes]:
    with figure_settings():
        figure = draw()
        svg, png = io.BytesIO(), io.BytesIO()
        figure.savefig(svg, format="svg", metadata={"Date": None, "Creator": f"recurve {__version__}"})
        figure.savefig(png, format="png", dpi=200, metadata={"Software": None})
    return {f"{name}.svg": svg.getvalue(), f"{name}.png": png.getvalue()}


def _check_figure(check: Check) -> Figure:
    title = f"{style.shortened(check.job.title, 80)}\nas found: {check.verdict}"
    return _figure(check.evidence, check.fit, "as found", style.BEFORE, title, {})


def _verify_figure(result: Verification) -> Figure:
    title = f"{style.shortened(result.job.title, 80)}\nas left: {result.verdict}"
    evidence = Evidence.of(result.job, result.fit)
    marks = {i: MARKS[b.verdict] for i, b in enumerate(result.bands)}
    return _figure(evidence, result.fit, "as left", style.AFTER, title, marks)


def _figure(
    evidence: Evidence, fit: Fit | None, name: str, look: style.Curve, title: str, marks: dict[int, str]
) -> Figure:
    from matplotlib.backends.backend_agg import FigureCanvasAgg
    from matplotlib.figure import Figure

    width, height = style.FIGURE_MM
    figure = Figure(figsize=(width / 25.4, height / 25.4))
    FigureCanvasAgg(figure)
    share = 0.25 if fit is not None else 0.12
    axes = figure.add_axes((0.085, 0.11 + share, 0.825, 0.70 - share))
    last = _curve(axes, evidence, name, look)
    _bands(axes, evidence, last, marks)
    axes.set_title(title, loc="left", parse_math=False)
    axes.set(xlim=(0.0, last), ylabel="advance [distributor degrees]")
    axes.grid(True, color=style.PALE, linewidth=0.5)
    _crank(axes, evidence.job.speed_ratio)
    handles, labels = axes.get_legend_handles_labels()
    figure.legend(
        handles, labels, loc="lower center", bbox_to_anchor=(0.5, 0.02), ncols=min(len(labels), 4), frameon=False
    )
    if fit is None:
        axes.set_xlabel("speed of the distributor [rpm]")
    else:
        _readings(axes, evidence, fit)
        below = figure.add_axes((0.085, 0.185, 0.825, 0.13), sharex=axes)
        _residuals(below, fit)
        axes.tick_params(labelbottom=False)
    footer = (
        f"u: standard uncertainty of a reading · band: 90 % · inputs {evidence.job.fingerprint} · recurve {__version__}"
    )
    figure.text(
        0.91, 0.008, footer, ha="right", va="bottom", fontsize=style.TINY_PT, color=style.GREY, parse_math=False
    )
    return figure


def _last_speed(evidence: Evidence) -> float:
    job = evidence.job
    speeds = [evidence.all_in.mean] + ([b.speed or 0.0 for b in job.target.bands] if job.target else [])
    speeds += [float(job.sweep.speed.max())] if job.sweep is not None else []
    return ROOM * RPM * max(speeds)


def _curve(axes: Axes, evidence: Evidence, name: str, look: style.Curve) -> float:
    """Both branches as swept from a standstill, middle and 90 % band; returns the last speed shown [rpm]."""
    last = _last_speed(evidence)
    speeds = np.linspace(1.0, last / RPM, SPEEDS)
    start, top = _ends(evidence)
    both = (evidence.curves.rising_advance(speeds, start), evidence.curves.falling_advance(speeds, top))
    for at, line, way in zip(both, (style.RISING, style.FALLING), ("rising", "falling"), strict=True):
        low, middle, high = np.degrees(np.quantile(at, NINETY, axis=0))
        axes.fill_between(RPM * speeds, low, high, color=look.colour, alpha=0.16, linewidth=0, zorder=2)
        width = look.rising if way == "rising" else look.falling
        axes.plot(
            RPM * speeds, middle, linestyle=line, color=look.colour, linewidth=width, label=f"{name}, {way}", zorder=4
        )
    return last


def _ends(evidence: Evidence) -> tuple[Array, Array | None]:
    if evidence.job.sweep is None:
        return evidence.curves.falling_advance(np.zeros(1))[:, 0], None
    return ends(evidence.curves, evidence.job.sweep)


def _bands(axes: Axes, evidence: Evidence, last: float, marks: dict[int, str]) -> None:
    target = evidence.job.target
    for index, band in enumerate(target.bands if target is not None else ()):
        draw_band(axes, band, last)
        if index in marks and band.kind != "idle":
            at = (PLATEAU + 0.05) * last if band.speed is None else RPM * band.speed + 2 * BAND_WIDTH * last
            low = float(np.degrees(band.low))
            axes.text(at, low, marks[index], ha="center", va="top", fontsize=style.TINY_PT, color=style.INK, zorder=9)


def _readings(axes: Axes, evidence: Evidence, fit: Fit) -> None:
    """The readings where they belong: with what the bench's zero hides added back."""
    sweep = fit.job.sweep
    assert sweep is not None  # it was fitted
    hidden = float(fit.model.hidden(fit.best[None])[0])
    for rising, mark, way in ((True, style.READING_RISING, "rising"), (False, style.READING_FALLING, "falling")):
        pick = np.asarray(sweep.rising, bool) == rising
        label = f"read, {way}" + (f" (+{np.degrees(hidden):.1f}°)" if abs(np.degrees(hidden)) >= 0.3 else "")
        axes.plot(
            RPM * sweep.speed[pick],
            np.degrees(sweep.advance[pick] + hidden),
            linestyle="none",
            marker=mark.shape,
            markersize=style.READING_PT,
            color=style.INK,
            markerfacecolor=style.INK if mark.filled else "white",
            label=label,
            zorder=8,
        )
    axes.set_ylim(bottom=min(0.0, axes.get_ylim()[0]))
    figure = axes.figure
    handles, labels = axes.get_legend_handles_labels()
    for old in list(getattr(figure, "legends", [])):
        old.remove()
    figure.legend(handles, labels, loc="lower center", bbox_to_anchor=(0.5, 0.015), ncols=5, frameon=False)


def _residuals(axes: Axes, fit: Fit) -> None:
    """Reading less fit in standard uncertainties; those left out are ringed and named by their row."""
    sweep = fit.job.sweep
    assert sweep is not None  # it was fitted
    shown = np.clip(fit.residuals, -6.0, 6.0)
    for rising, mark in ((True, style.READING_RISING), (False, style.READING_FALLING)):
        pick = np.asarray(sweep.rising, bool) == rising
        axes.plot(
            RPM * sweep.speed[pick],
            shown[pick],
            linestyle="none",
            marker=mark.shape,
            markersize=style.READING_PT - 1,
            color=style.INK,
            markerfacecolor=style.INK if mark.filled else "white",
        )
    for row in fit.outliers:
        i = int(np.flatnonzero(sweep.row == row)[0])
        at = (RPM * sweep.speed[i], shown[i])
        axes.plot(*at, "o", markersize=9, markerfacecolor="none", markeredgecolor=style.VERMILION)
        axes.annotate(f"row {row}", at, xytext=(7, -3), textcoords="offset points", fontsize=style.TINY_PT)
    axes.axhline(0.0, color=style.INK, linewidth=0.7)
    for level in (-2.0, 2.0):
        axes.axhline(level, color=style.GREY, linewidth=0.7, linestyle=":")
    edge = max(3.0, float(np.abs(shown).max()) + 0.6)
    axes.set(ylim=(-edge, edge), xlabel="speed of the distributor [rpm]", ylabel="residual [u]")
    axes.grid(True, color=style.PALE, linewidth=0.5)


def _crank(axes: Axes, ratio: float) -> None:
    both = (lambda x: x * ratio, lambda x: x / ratio)
    axes.secondary_xaxis("top", functions=both).set_xlabel("crank [rpm]")
    axes.secondary_yaxis("right", functions=both).set_ylabel("advance [crank degrees]")
