"""Figures of a unit as found and as left: its curve with a 90 % band, and the residuals of the readings below.

Curves run as on the bench: from a standstill up to the highest speed read, and down again.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from recurve.arrays import Array
from recurve.diagnosis.check import Check
from recurve.diagnosis.verify import Before, Verification
from recurve.fit.fit import Fit
from recurve.fit.model import ends
from recurve.fit.state import Evidence
from recurve.job.model import Job
from recurve.output.figures import style
from recurve.output.figures.curves import (
    band_sides,
    draw_bands,
    draw_curves,
    draw_readings,
    frame,
    hidden_advance,
    last_speed,
    shade,
    shift_words,
)
from recurve.output.figures.labels import Event, Key, key_below, label_curves, label_points, label_rows
from recurve.physics.ensemble import Curves, curves
from recurve.physics.sweep import Sweep
from recurve.physics.target import Band
from recurve.units import RPM

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure
    from matplotlib.lines import Line2D

BAND_SPEEDS, LINE_SPEEDS = 150, 900
NINETY = (0.05, 0.95)
MARKS = {
    "passes": "pass",
    "fails": "FAIL",
    "too close to call": "too close",
    "not converged": "cannot tell",
    "read again": "read again",
}
USUAL = 2.0  # nearly all residuals lie within so many standard uncertainties
FARTHEST = 6.0  # a residual beyond this is drawn here, with its value beside it


def check_figure_bytes(check: Check) -> dict[str, bytes]:
    """The fit of a check as "fit.svg" and "fit.png", the same bytes for the same check."""
    with style.figure_settings():
        return style.figure_bytes(_found(check).figure(), "fit")


def plot_check(check: Check, axes: Axes | None = None) -> Axes:
    """Plot the curve as found with its 90 % band, the readings and the target's bands, on one axis.

    Makes a figure of its own if no axis is given, with the residuals in a panel below if there is a fit. Returns the axis
    of the curve.
    """
    with style.figure_settings():
        return _found(check).draw(axes) if axes is not None else _found(check).figure().axes[0]


def verify_figure_bytes(result: Verification, before: Before | None = None) -> dict[str, bytes]:
    """The finished unit as "as-left.svg" and "as-left.png", with the curve as found if it is known; the same bytes for the
    same verification."""
    with style.figure_settings():
        return style.figure_bytes(_left(result, before).figure(), "as-left")


def plot_verify(result: Verification, axes: Axes | None = None) -> Axes:
    """Plot the curve as left with its 90 % band, the readings, and the target's bands marked pass, FAIL or too close.

    Makes a figure of its own if no axis is given, with the residuals in a panel below. Returns the axis of the curve.
    """
    with style.figure_settings():
        return _left(result).draw(axes) if axes is not None else _left(result).figure().axes[0]


def _found(check: Check) -> _View:
    return _View(check.evidence, f"as found: {check.verdict}", "as found", style.BEFORE, {})


def _left(result: Verification, before: Before | None = None) -> _View:
    marks = {i: MARKS[b.verdict] for i, b in enumerate(result.bands)}
    evidence = Evidence.of(result.job, result.fit)
    return _View(
        evidence,
        f"as left: {result.verdict}",
        "as left",
        style.LEFT,
        marks,
        None if before is None else before.evidence,
    )


@dataclass(frozen=True)
class _View:
    """What a figure shows: the `evidence` on a unit under a `name` and in a style `look`; `marks`, the verdict on each
    band of the target that was judged, by the band's index; `before`, the unit as found if it is shown too."""

    evidence: Evidence
    subtitle: str
    name: str
    look: style.Curve
    marks: dict[int, str]
    before: Evidence | None = None

    @property
    def fit(self) -> Fit | None:
        """The fit of the unit's sweep."""
        return self.evidence.fit

    @property
    def job(self) -> Job:
        """The job of the unit."""
        return self.evidence.job

    @property
    def last(self) -> float:
        """The last speed shown [rpm]."""
        return last_speed(self.job, self.evidence.all_in.mean)

    @property
    def bands(self) -> tuple[Band, ...]:
        """The target's bands."""
        return () if self.job.target is None else self.job.target.bands

    def figure(self) -> Figure:
        """A complete figure, with the residuals below if there is a fit."""
        _, below, _, above = style.MARGINS_MM
        if self.fit is None:
            figure = style.figure_of(style.FIGURE_MM)
            self.draw(style.panel(figure, below, above))
        else:
            figure = style.figure_of(style.TALL_MM)
            height, gap = style.RESIDUALS_MM
            axes = style.panel(figure, below + height + gap, above)
            lower = style.panel(figure, below, style.TALL_MM[1] - below - height, axes)
            self._curve(axes)
            axes.set_xlabel("")
            axes.tick_params(labelbottom=False)
            lower.set_xlabel(style.SPEED)
            draw_residuals(lower, self.fit, self.look)
            key_below(lower, self._key)
        style.footer(figure, shift_words(self.fit, self.job.sweep), self.job.fingerprint)
        return figure

    def draw(self, axes: Axes) -> Axes:
        """Everything but the residuals."""
        self._curve(axes)
        key_below(axes, self._key)
        return axes

    @property
    def _key(self) -> Key:
        read = self.fit is not None and self.job.sweep is not None
        return Key(self.look, read, bands=bool(self.bands), shaded=True)

    def _curve(self, axes: Axes) -> None:
        fit, sweep = self.fit, self.job.sweep
        if fit is not None and sweep is not None:
            draw_readings(axes, sweep, hidden_advance(fit), self.look)
        speeds = np.linspace(1.0, self.last / RPM, BAND_SPEEDS)
        rising, falling = (np.quantile(x, NINETY, axis=0) for x in _swept(self.evidence.curves, sweep, speeds))
        shade(axes, speeds, rising, falling, self.look)
        drawn = {} if self.before is None else {"as found": self._lines(axes, self.before, "as found", style.BEFORE)}
        drawn[self.name] = self._lines(axes, self.evidence, self.name, self.look)
        draw_bands(axes, self.bands, self.last)
        right = frame(axes, self.job, self.subtitle, self.last)
        label_rows(axes, right, self._verdicts() or self._idle(), self.last, self.job.speed_ratio)
        if fit is not None and sweep is not None:
            _ring_outliers(axes, fit, sweep, np.degrees(sweep.advance + hidden_advance(fit)))
        label_curves(axes, drawn)

    def _lines(self, axes: Axes, evidence: Evidence, name: str, look: style.Curve) -> Line2D:
        """The curve of the best state, from which the residuals are taken. Returns the line of the rising branch."""
        model = evidence.model
        best = curves(model.shapes, model.units(evidence.ensemble.middle[None]))
        speeds = np.linspace(0.0, self.last / RPM, LINE_SPEEDS)
        rising, falling = ((RPM * speeds, np.degrees(x[0])) for x in _swept(best, evidence.job.sweep, speeds))
        return draw_curves(axes, rising, falling, look, name)

    def _idle(self) -> list[Event]:
        """A label for the idle speed, since its band is small."""
        idle = None if self.job.target is None else self.job.target.idle_speed
        return [] if idle is None else [Event(f"idle {RPM * idle:.0f} rpm", RPM * idle, 0.0, ringed=False)]

    def _verdicts(self) -> list[Event]:
        """The verdict on each band that was judged, as labels in order of speed."""
        made = []
        for index, word in self.marks.items():
            band = self.bands[index]
            at = sum(band_sides(band, self.last)) / 2
            made.append(Event(word, at, float(np.degrees(max(band.low, 0.0))), ringed=False))
        return sorted(made, key=lambda e: e.speed)


def _swept(made: Curves, sweep: Sweep | None, speeds: Array) -> tuple[Array, Array]:
    """Rising and falling advance (n, m) [rad] at speeds (m,) [rad/s], run as in the sweep."""
    if sweep is None:
        return made.rising_advance(speeds, made.at_standstill()), made.falling_advance(speeds)
    start, top = ends(made, sweep)
    return made.rising_advance(speeds, start), made.falling_advance(speeds, top)


# --- residuals -------------------------------------------------------------------------------------------


def draw_residuals(axes: Axes, fit: Fit, look: style.Curve) -> None:
    """Plot reading less fit, in standard uncertainties, against speed; outliers are ringed and named by their row in the
    CSV file."""
    sweep = fit.job.sweep
    assert sweep is not None  # it was fitted
    shown = np.clip(fit.residuals, -FARTHEST, FARTHEST)
    rising = np.asarray(sweep.rising, bool)
    for which, mark in zip((rising, ~rising), look.marks, strict=True):
        axes.plot(
            RPM * sweep.speed[which],
            shown[which],
            linestyle="none",
            marker=mark.shape,
            markersize=style.READING_PT,
            color=look.colour,
            markeredgewidth=0.8,
            markerfacecolor=look.colour if mark.filled else "white",
            zorder=5,
        )
    axes.axhline(0.0, color=style.INK, linewidth=0.7, zorder=3)
    for level in (-USUAL, USUAL):
        axes.axhline(level, color=style.INK, linewidth=0.8, linestyle=":", zorder=3)
    edge = max(3.0, float(np.abs(shown).max(initial=0.0)) + 1.0)
    _residual_frame(axes, edge)
    _ring_outliers(axes, fit, sweep, shown, told=True)


def _residual_frame(axes: Axes, edge: float) -> None:
    title = f"reading minus fitted curve, in standard uncertainties of a reading; dotted: ± {USUAL:.0f}"
    axes.set_title(title, loc="left", fontsize=style.SMALL_PT, pad=3.0)
    ticks = np.arange(-2.0 * (edge // 2), edge, 2.0)
    axes.set(
        ylim=(-edge, edge),
        ylabel=style.RESIDUAL,
        yticks=ticks,
        yticklabels=[f"{t:.0f}".replace("-", "−") for t in ticks],
    )
    axes.grid(True, color=style.PALE, linewidth=0.5, zorder=0)
    axes.set_axisbelow(True)


def _ring_outliers(axes: Axes, fit: Fit, sweep: Sweep, heights: Array, told: bool = False) -> None:
    """A ring and the row number at each outlier; `heights` (n,) of all readings on the axes; if `told`, its residual too. To be
    called when the limits of the axes stand."""
    places, names = [], []
    for row in fit.outliers:
        index = int(np.flatnonzero(sweep.row == row)[0])
        at = (RPM * float(sweep.speed[index]), float(heights[index]))
        axes.plot(*at, "o", markersize=style.RING_PT, markerfacecolor="none", markeredgecolor=style.INK, zorder=10)
        places.append(at)
        names.append(f"row {row}" + (f": {fit.residuals[index]:+.1f}".replace("-", "−") if told else ""))
    label_points(axes, places, names)
