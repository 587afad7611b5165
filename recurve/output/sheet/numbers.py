"""Numbers as people read them: a main text with its unit, and the same in another unit for small type.

`Shown` knows which units a reader asked for and how the crank turns. What it is given is in the units of the documents:
mm, N, N/mm, distributor degrees and rpm.
"""

from __future__ import annotations

from dataclasses import dataclass

from recurve.fit.state import SURE
from recurve.output.documents.base import deg, rpm
from recurve.output.documents.fit import FittedParameter
from recurve.output.text.check import fitted_words
from recurve.output.text.layout import rounded
from recurve.uncertainty import Sampled
from recurve.units import INCH, POUND_FORCE, LengthUnits

Cell = dict[str, str]
INCH_MM = 1e3 * INCH
OUNCE_INCH = 1e3 * POUND_FORCE / 16 * INCH  # mN·m


def cell(main: str, small: str = "") -> Cell:
    """A value, and what stands beside it in small type."""
    return {"main": main, "small": small}


def signless(value: float, decimals: int) -> str:
    """The number [any] with a true minus, and without one before a zero."""
    text = f"{value:.{decimals}f}"
    return text.lstrip("-") if not text.strip("-0.") else text.replace("-", "−")


def percent(fraction: float) -> str:
    """A fraction [1] as "98 %"."""
    return f"{100 * fraction:.0f} %"


@dataclass(frozen=True)
class Shown:
    """How numbers are shown: crank revolutions per distributor revolution [1], and the units of lengths and forces."""

    ratio: float
    units: LengthUnits = "both"

    def _either(self, metric: str, inch: str) -> Cell:
        """Both, or the one asked for."""
        return {"metric": cell(metric), "inch": cell(inch), "both": cell(metric, inch)}[self.units]

    def length(self, length: float, decimals: int = 2) -> Cell:
        """A length [mm] in mm and inches."""
        inch = signless(length / INCH_MM, decimals + 1)
        return self._either(f"{signless(length, decimals)} mm", f"{inch} in")

    def rate(self, rate: float) -> Cell:
        """A spring's rate [N/mm] in N/mm and lbf/in."""
        return self._either(f"{rate:.2f} N/mm", f"{rate * INCH_MM / POUND_FORCE:.2f} lbf/in")

    def force(self, force: float) -> Cell:
        """A force [N] in N and lbf."""
        return self._either(f"{force:.2f} N", f"{force / POUND_FORCE:.3f} lbf")

    def moment(self, one: FittedParameter) -> Cell:
        """A fitted moment [mN·m] in mN·m and ozf·in, each rounded to its uncertainty."""
        value, uncertainty = (None if x is None else x / OUNCE_INCH for x in (one.value, one.standard_uncertainty))
        return self._either(f"{fitted_words(one)} mN·m", f"{rounded(value, uncertainty)} ozf·in")

    def angle(self, advance: float, decimals: int = 1) -> Cell:
        """An advance [deg] of the distributor, in degrees of the distributor and of the crank."""
        crank = f"{signless(advance * self.ratio, decimals)}° (crank)"
        return cell(f"{signless(advance, decimals)}° (distributor)", crank)

    def between(self, low: float, high: float, decimals: int) -> Cell:
        """A band of advances [deg] of the distributor."""
        return cell(
            f"{low:.{decimals}f}° to {high:.{decimals}f}° (distributor)",
            f"{low * self.ratio:.{decimals}f}° to {high * self.ratio:.{decimals}f}° (crank)",
        )

    def speed(self, speed: float) -> Cell:
        """A speed [rpm] of the distributor, in rpm of the distributor and of the crank."""
        return cell(f"{speed:.0f} rpm (distributor)", f"{speed * self.ratio:.0f} rpm (crank)")

    def uncertain_speed(self, one: Sampled) -> Cell:
        """A sampled speed [rad/s] ± two standard uncertainties; some states may have none."""
        if one.below(1e-9) > SURE:
            return cell("none: some is in at rest")
        if one.below(1e-9) > 1 - SURE:
            return cell("perhaps none: the readings do not tell")
        middle, two = rpm(one.mean), 2 * rpm(one.standard_uncertainty)
        crank = f"{middle * self.ratio:.0f} ± {two * self.ratio:.0f} rpm (crank)"
        return cell(f"{middle:.0f} ± {two:.0f} rpm (distributor)", crank)

    def uncertain_angle(self, one: Sampled) -> Cell:
        """A sampled advance [rad] ± two standard uncertainties."""
        middle, two = deg(one.mean), 2 * deg(one.standard_uncertainty)
        return cell(
            f"{signless(middle, 1)} ± {two:.1f}° (distributor)",
            f"{signless(middle * self.ratio, 1)} ± {two * self.ratio:.1f}° (crank)",
        )
