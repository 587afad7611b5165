"""A measured quantity against its limit, with its doubt: pass, suspect, fail, too close to call."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Literal

import numpy as np

from recurve.limits import Limit
from recurve.units import Measured

Verdict = Literal["pass", "suspect", "fail", "too close to call", "no limit"]
Kind = Literal["length", "angle", "force", "pressure"]
INHG = 3386.389  # Pa
OZF = 0.27801385  # N


@dataclass(frozen=True)
class Judged:
    """One check: `what`, `value` and `doubt` [SI], "not off by more than"; its limit, and the verdict by it."""

    what: str
    value: float
    doubt: float
    kind: Kind
    limit: Limit | None
    verdict: Verdict

    @classmethod
    def of(cls, what: str, measured: Measured, kind: Kind, limit: Limit | None) -> Judged:
        """A measured quantity, its ± taken as a bound."""
        doubt = measured.limit or 0.0
        return cls(what, measured.value, doubt, kind, limit, verdict_of(measured.value, doubt, limit))

    @property
    def seen(self) -> str:
        """What was measured, in the units of the bench."""
        return shown(self.value, self.kind, self.doubt)

    @property
    def allowed(self) -> str:
        """What may be, in the units of the bench."""
        if self.limit is None:
            return "the manual's, not given"
        low, high = self.limit.low, self.limit.high
        if low is not None and high is not None:
            return f"{shown(low, self.kind)} to {shown(high, self.kind)}"
        return f"at most {shown(high, self.kind)}" if high is not None else f"at least {shown(low or 0.0, self.kind)}"


def verdict_of(value: float, doubt: float, limit: Limit | None) -> Verdict:
    """The verdict on `value` ± `doubt` [SI]: a pass or a fail only where all of ± lies on one side of the limit."""
    if limit is None:
        return "no limit"
    low = -np.inf if limit.low is None else limit.low
    high = np.inf if limit.high is None else limit.high
    if value - doubt > high or value + doubt < low:
        return "fail"
    small = 1e-9 * (abs(value) + 1e-9)
    if value + doubt > high + small or value - doubt < low - small:
        return "too close to call"
    return "suspect" if limit.suspect is not None and value > limit.suspect else "pass"


def combined(parts: Iterable[Measured]) -> float:
    """Doubt [SI] of a sum or difference: two standard uncertainties (±/√3 each, GUM 4.3.7), never more than all ± together."""
    limits = np.array([p.limit or 0.0 for p in parts])
    return float(min(2.0 * np.sqrt((limits**2 / 3.0).sum()), limits.sum()))


def difference(one: Measured, other: Measured) -> Measured:
    """one − other with its doubt."""
    return Measured(one.value - other.value, combined((one, other)))


def shown(value: float, kind: Kind, doubt: float = 0.0) -> str:
    """A value [SI] in the units of the bench, the inch, ounce or inHg beside the metric one."""

    def pm(scale: float, digits: int) -> str:
        return f" ± {doubt * scale:.{digits}f}" if doubt > 0 else ""

    if kind == "angle":
        return f"{np.degrees(value):.1f}{pm(180 / np.pi, 1)}°"
    if kind == "length":
        return f"{value * 1e3:.2f}{pm(1e3, 2)} mm ({value / 0.0254:.3f} in)"
    if kind == "force":
        return f"{value:.1f}{pm(1.0, 1)} N ({value / OZF:.0f} ozf)"
    return f"{value / 1e3:.1f}{pm(1e-3, 1)} kPa ({value / INHG:.1f} inHg)"
