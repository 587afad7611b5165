"""Numbers as people read them: a main text with its unit, and the same in another unit for small type.

`Shown` knows which units a reader asked for and how the crank turns; everything given to it is SI.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

from recurve.fit.fit import Estimate
from recurve.fit.state import SURE
from recurve.output.text.layout import rounded
from recurve.uncertainty import Sampled, Uncertain
from recurve.units import INCH, POUND_FORCE, RPM, LengthUnits

Cell = dict[str, str]
OUNCE_INCH = POUND_FORCE / 16 * INCH  # N·m


def cell(main: str, small: str = "") -> Cell:
    """A value, and what stands beside it in small type."""
    return {"main": main, "small": small}


def signless(value: float, decimals: int) -> str:
    """The number [any] with a true minus, and without one before a zero."""
    text = f"{value:.{decimals}f}"
    return text.lstrip("-") if not text.strip("-0.") else text.replace("-", "−")


def percent(share: float) -> str:
    """A share [1] as "98 %"."""
    return f"{100 * share:.0f} %"


@dataclass(frozen=True)
class Shown:
    """How numbers are shown: crank revolutions per distributor revolution [1], and the units of lengths and forces."""

    ratio: float
    units: LengthUnits = "both"

    def _either(self, metric: str, inch: str) -> Cell:
        """Both, or the one asked for."""
        return {"metric": cell(metric), "inch": cell(inch), "both": cell(metric, inch)}[self.units]

    def length(self, length: float, decimals: int = 2) -> Cell:
        """A length [m] in mm and inches."""
        inch = signless(length / INCH, decimals + 1)
        return self._either(f"{signless(1e3 * length, decimals)} mm", f"{inch} in")

    def rate(self, rate: float) -> Cell:
        """A spring's rate [N/m] in N/mm and lbf/in."""
        return self._either(f"{rate / 1e3:.2f} N/mm", f"{rate * INCH / POUND_FORCE:.2f} lbf/in")

    def force(self, force: float) -> Cell:
        """A force [N] in N and lbf."""
        return self._either(f"{force:.2f} N", f"{force / POUND_FORCE:.3f} lbf")

    def moment(self, one: Estimate) -> Cell:
        """A fitted moment in mN·m and ozf·in, each rounded to its uncertainty."""
        value, by = (None if x is None else x * 1e-3 / OUNCE_INCH for x in (one.value, one.standard_uncertainty))
        inch = replace(one, quantity=None if value is None else Uncertain(value, by))
        return self._either(f"{rounded(one)} mN·m", f"{rounded(inch)} ozf·in")

    def angle(self, advance: float, decimals: int = 1) -> Cell:
        """An advance [rad] in degrees of the distributor and of the crank."""
        degrees = math.degrees(advance)
        crank = f"{signless(degrees * self.ratio, decimals)}° (crank)"
        return cell(f"{signless(degrees, decimals)}° (distributor)", crank)

    def between(self, low: float, high: float, decimals: int) -> Cell:
        """A band of advances [rad]."""
        a, b = math.degrees(low), math.degrees(high)
        return cell(
            f"{a:.{decimals}f}° to {b:.{decimals}f}° (distributor)",
            f"{a * self.ratio:.{decimals}f}° to {b * self.ratio:.{decimals}f}° (crank)",
        )

    def speed(self, speed: float) -> Cell:
        """A speed [rad/s] in rpm of the distributor and of the crank."""
        rpm = speed * RPM
        return cell(f"{rpm:.0f} rpm (distributor)", f"{rpm * self.ratio:.0f} rpm (crank)")

    def doubtful_speed(self, one: Sampled) -> Cell:
        """A speed [rad/s] ± two standard uncertainties; some states may have none."""
        if one.below(1e-9) > SURE:
            return cell("none: some is in at rest")
        if one.below(1e-9) > 1 - SURE:
            return cell("perhaps none: the readings do not tell")
        middle, two = one.mean * RPM, 2 * one.standard_uncertainty * RPM
        crank = f"{middle * self.ratio:.0f} ± {two * self.ratio:.0f} rpm (crank)"
        return cell(f"{middle:.0f} ± {two:.0f} rpm (distributor)", crank)

    def doubtful_angle(self, one: Sampled) -> Cell:
        """An advance [rad] ± two standard uncertainties."""
        middle, two = math.degrees(one.mean), 2 * math.degrees(one.standard_uncertainty)
        return cell(
            f"{signless(middle, 1)} ± {two:.1f}° (distributor)",
            f"{signless(middle * self.ratio, 1)} ± {two * self.ratio:.1f}° (crank)",
        )
