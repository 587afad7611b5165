"""A spring that was weighed and stretched: the report and the JSON document."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from recurve.materials import materials
from recurve.report import page, remarks, wrap
from recurve.rowcheck import checked
from recurve.springs import Spring, rate_from_wire
from recurve.strength import hook_doubt
from recurve.weighing import Hung, Weighed
from recurve.windreport import FATIGUE

APART = 0.15  # by which measured and computed rate may differ, as in a catalogue


@dataclass(frozen=True)
class Measured:
    """A measured spring: the readings, what they tell, its free length (value, standard uncertainty) [m] if it was
    read, and the `spring` for a catalogue, None where that is not enough for one."""

    hung: Hung
    weighed: Weighed
    free_length: tuple[float, float] | None
    described: Spring
    assumed: tuple[str, ...]

    @property
    def wire_rate(self) -> tuple[float, float] | None:
        """The rate [N/m] that wire and coils make, and how much softer [1] by another count of the hooks."""
        s = self.described
        if s.wire is None or s.outer is None or s.coils is None or s.material not in materials():
            return None
        young, shear = materials()[s.material].moduli(s.wire)
        rate = float(rate_from_wire(s.wire, s.outer - s.wire, s.coils, young, shear))
        return rate, float(hook_doubt(s.coils, young, shear))


def measured_notes(m: Measured) -> tuple[str, ...]:
    """What must be said aloud of the readings."""
    w, notes = m.weighed, list(m.assumed)
    if w.left_out:
        which = ", ".join(str(i + 1) for i in w.left_out)
        notes.append(f"Left out, since the coils had not opened: reading {which}.")
    if w.scatter > 1.5:
        notes.append(
            f"The readings scatter {w.scatter:.1f} times as much as their ± says: look for a hook that rubs, a weight that "
            "touches, or a reading that went wrong. The uncertainties below are enlarged by it."
        )
    if w.slack:
        notes.append(
            f"It does not pull until it is {1e3 * w.zero_length:.2f} mm long, more than the free length that was read: it is "
            "stretched, or its coils stand apart. That length is taken as its free length."
        )
    if m.free_length is None:
        notes.append("Without --free-length, read with the coils closed, the initial tension is not known.")
    if not w.of_use:
        notes.append("TOO UNCERTAIN to plan with: hang weights further apart, or read the lengths more closely.")
    return (*notes, *_wire_notes(m))


def _wire_notes(m: Measured) -> list[str]:
    """What wire and coils say against the readings, and how far the spring may be drawn."""
    notes, made = [], m.wire_rate
    if made is not None and abs(m.weighed.rate / made[0] - 1) > APART:
        notes.append(
            f"Its wire and coils make {made[0] / 1e3:.3g} N/mm, or {100 * made[1]:.0f}% less by another count of the hooks: "
            "measure the wire again, a hundredth of a millimetre counts."
        )
    if m.free_length is None:
        return notes
    (spring,), contradictions = checked([m.described], "this spring")
    notes += contradictions
    if np.isfinite(spring.most_extension):
        notes.append(
            f"It may be drawn to {1e3 * spring.most_length:.2f} mm inside the hooks, {1e3 * spring.most_extension:.2f} mm past "
            f"its free length. {FATIGUE}"
        )
    return notes


def spring_facts(m: Measured, file: str | None) -> dict[str, Any]:
    """The `spring` document; `_2u` are two standard uncertainties."""
    w, made = m.weighed, m.wire_rate
    (spring,), _ = checked([m.described], "this spring")
    return {
        "rate_n_per_mm": _round(w.rate / 1e3),
        "rate_2u_n_per_mm": _round(2 * w.rate_uncertainty / 1e3),
        "initial_tension_n": _round(w.initial_tension),
        "initial_tension_2u_n": _round(_double(w.initial_tension_uncertainty)),
        "correlation": _round(w.correlation),
        "free_length_mm": None if m.free_length is None else _round(1e3 * spring.free_length),
        "zero_pull_length_mm": _round(1e3 * w.zero_length),
        "rate_by_wire_n_per_mm": None if made is None else _round(made[0] / 1e3),
        "longest_mm": _round(1e3 * spring.most_length)
        if m.free_length is not None and np.isfinite(spring.most_extension)
        else None,
        "readings": [
            {"pull_n": _round(float(f)), "length_mm": _round(float(1e3 * x)), "left_out": i in w.left_out}
            for i, (f, x) in enumerate(zip(m.hung.pull, m.hung.length, strict=True))
        ],
        "scatter": _round(w.scatter),
        "of_use": w.of_use,
        "notes": list(measured_notes(m)),
        "file": file,
    }


def _double(value: float | None) -> float | None:
    return None if value is None else 2 * value


def _round(value: float | None) -> float | None:
    return None if value is None else round(value, 6)


def spring_text(m: Measured, file: str | None) -> str:
    """The report of `recurve spring`."""
    w = m.weighed
    lines = [
        "Spring as weighed and stretched; ± is two standard uncertainties",
        "",
        f"  rate              {w.rate / 1e3:8.3f} ± {2 * w.rate_uncertainty / 1e3:.3f} N/mm   "
        f"({w.rate / 175.1268:.2f} ± {2 * w.rate_uncertainty / 175.1268:.2f} lbf/in)",
    ]
    if w.initial_tension is not None and w.initial_tension_uncertainty is not None:
        two = 2 * w.initial_tension_uncertainty
        lines.append(
            f"  initial tension   {w.initial_tension:8.2f} ± {two:.2f} N      "
            f"({w.initial_tension / 4.448222:.3f} ± {two / 4.448222:.3f} lbf)"
        )
        lines.append(f"  free length       {1e3 * m.described.free_length:8.2f} mm inside the hooks")
    lines += ["", "Reading      pull   length   off the line", "                N       mm              N"]
    residual = iter(w.residuals)
    for i, (pull, length) in enumerate(zip(m.hung.pull, m.hung.length, strict=True)):
        off = "  left out" if i in w.left_out else f"{round(next(residual), 3) + 0.0:10.3f}"
        lines.append(f"  {i + 1:<8}{pull:7.3f} {1e3 * length:8.2f}     {off}")
    lines += remarks(measured_notes(m))
    if file is not None:
        lines += ["", *wrap(f"Added as {m.described.id} to {file}")]
    return page(lines)
