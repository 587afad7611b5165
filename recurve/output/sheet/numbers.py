"""Numbers as people read them: a main text with its unit, and the same in another unit for small type.

`Shown` knows which units a reader asked for and how the crank turns. What it is given is in the units of the documents:
mm, N, N/mm, distributor degrees and rpm.
"""

from __future__ import annotations

import re
from dataclasses import dataclass

from recurve.fit.state import SURE
from recurve.output.documents.base import deg, rpm
from recurve.output.documents.fit import FittedParameter
from recurve.output.text.check import fitted_words
from recurve.output.text.layout import rounded
from recurve.uncertainty import Sampled
from recurve.units import INCH, POUND_FORCE, LengthUnits

Cell = dict[str, str]
Unit = tuple[str, float, int]  # of a column: its name, how many of the metric one it is, decimals
INCH_MM = 1e3 * INCH
OUNCE_INCH = 1e3 * POUND_FORCE / 16 * INCH  # mN·m

_NUMBER = r"[−-]?\d+(?:\.\d+)?"
# One or more numbers with a metric unit, and what follows it where the same stands in inches already.
_METRIC = re.compile(
    rf"(?P<numbers>{_NUMBER}(?: (?:±|to) {_NUMBER})*) (?P<unit>N/mm|mN·m|mm|N)\b(?P<same> \([^()]* in\))?"
)
# What replaces a metric unit: its name, how many of the metric unit it is, decimals more than there were, the least of them.
_INCH = {
    "mm": ("in", INCH_MM, 1, 3),
    "N/mm": ("lbf/in", POUND_FORCE / INCH_MM, 0, 2),
    "N": ("lbf", POUND_FORCE, 1, 2),
    "mN·m": ("ozf·in", OUNCE_INCH, 1, 2),
}


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

    @property
    def length_units(self) -> list[Unit]:
        """The units of lengths in the columns of a table: name, how many mm one is, decimals."""
        return self._each(("mm", 1.0, 1), ("in", INCH_MM, 3))

    @property
    def rate_units(self) -> list[Unit]:
        """The units of rates in the columns of a table: name, how many N/mm one is, decimals."""
        return self._each(("N/mm", 1.0, 2), ("lbf/in", POUND_FORCE / INCH_MM, 2))

    def _each(self, metric: Unit, inch: Unit) -> list[Unit]:
        return {"metric": [metric], "inch": [inch], "both": [metric, inch]}[self.units]

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

    def words(self, text: str) -> str:
        """A sentence whose lengths, rates, forces and moments are told in mm, N/mm, N and mN·m. In inch units they are turned
        into in, lbf/in, lbf and ozf·in; where both stand, only the one that was asked for is kept."""
        if self.units == "both":
            return text
        return _METRIC.sub(_in_inches if self.units == "inch" else _without_inches, text)

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
            return cell("perhaps none: the readings do not show it")
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


def _in_inches(found: re.Match[str]) -> str:
    unit, size, more, least = _INCH[found["unit"]]

    def turned(number: re.Match[str]) -> str:
        decimals = len(number[0].partition(".")[2])
        return signless(float(number[0].replace("−", "-")) / size, max(decimals + more, least))

    return f"{re.sub(_NUMBER, turned, found['numbers'])} {unit}"


def _without_inches(found: re.Match[str]) -> str:
    return f"{found['numbers']} {found['unit']}"
