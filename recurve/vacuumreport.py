"""Text and facts of the vacuum unit's capsule as fitted."""

from __future__ import annotations

from typing import Any

import numpy as np

from recurve.vacuum import Capsule, Number

DEGREES = 180 / np.pi


def capsule_words(c: Capsule) -> str:
    """The fitted numbers in a line, ± two standard uncertainties."""

    def told(n: Number, scale: float, digits: int) -> str:
        by = n.standard_uncertainty
        pm = " (not determined)" if by is None else f" ± {2 * by * scale:.{digits}f}"
        return f"{n.value * scale:.{digits}f}{pm}"

    parts = [f"begins at {told(c.start, 1e-3, 1)} kPa", f"then {told(c.rate, DEGREES * 1e3, 2)}° a kPa (distributor)"]
    if c.stop is None:
        parts.append("no two readings lie on its stop, so its maximum is not known")
    else:
        parts.append(f"stops at {told(c.stop, DEGREES, 1)}°")
    if c.full is not None:
        parts.append(f"full at {told(c.full, 1e-3, 1)} kPa")
    if c.stiction is not None:
        parts.append(f"rising and falling {2 * c.stiction.value / 1e3:.1f} kPa apart")
    return f"vacuum unit as fitted (± is two standard uncertainties): {'; '.join(parts)}"


def capsule_facts(c: Capsule) -> dict[str, Any]:
    """Each fitted number with its standard uncertainty; None where the readings do not tell."""
    return {
        "start_kpa": _number(c.start, 1e-3),
        "rate_deg_per_kpa": _number(c.rate, DEGREES * 1e3),
        "stop_deg": _number(c.stop, DEGREES),
        "full_kpa": _number(c.full, 1e-3),
        "stiction_kpa": _number(c.stiction, 1e-3),
        "residual_deg": round(float(np.degrees(c.residual)), 6),
    }


def _number(n: Number | None, scale: float) -> dict[str, float | None] | None:
    if n is None:
        return None
    by = n.standard_uncertainty
    return {"value": round(n.value * scale, 6), "standard_uncertainty": None if by is None else round(by * scale, 6)}
