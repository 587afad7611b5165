"""The demonstration catalogue data/springs.csv: invented springs, but such as can be wound.

Everything is computed again here from wire, outer diameter and coils, with formulas and moduli written
out in this file. They are those of Shigley's Mechanical Engineering Design: rate 10-9 and 10-40, length
10-39 (L0 = (2C - 1 + N_b) d), preferred initial stress 10-41; of the formulas the first two and the last
are SECOND-HAND through transcriptions, the number 10-39 is from MEMORY. Moduli: music and hard-drawn
wire from the 9th ed., p. 526, Table 10-5 (READ), stainless 302 from the same table (SECOND-HAND).
"""

from __future__ import annotations

import csv
import math
import runpy

import pytest
from checkout import ROOT

from recurve.job.tables import read_catalogue

FILE = ROOT / "data" / "springs.csv"
HEADER = "id,rate [N/mm],free_length [mm],initial_tension [N],wire [mm],outer [mm],coils,material,quantity"
GPA_PER_MPSI = 6.894757
MPA_PER_PSI = 0.006894757
# E and G [Mpsi] up to a wire of 0.032 in and from there to 0.063 in; wires drawn from, in mm.
MODULI = {
    "music": ((29.5, 12.0), (29.0, 11.85)),
    "hard-drawn": ((28.8, 11.7), (28.7, 11.6)),
    "stainless": ((28.0, 10.0), (28.0, 10.0)),
}
# Where the strength table of each wire begins, mm: Shigley Table 10-4 (SECOND-HAND).
THINNEST = {"music": 0.10, "hard-drawn": 0.7, "stainless": 0.3}
# Preferred metric sizes, mm (SECOND-HAND), those within the trade's 0.4 to 1.1 mm.
SIZES = {0.40, 0.45, 0.50, 0.55, 0.60, 0.65, 0.70, 0.80, 0.90, 1.0, 1.1}

LINES = [line for line in FILE.read_text(encoding="utf-8").splitlines() if not line.startswith("#")]
ROWS = list(csv.DictReader(LINES))


class Wound:
    """What wire [mm], outer [mm], coils and material make of a row, by the formulas above."""

    def __init__(self, row: dict[str, str]) -> None:
        self.wire, self.outer, self.coils = (float(row[k]) for k in ("wire [mm]", "outer [mm]", "coils"))
        self.mean = self.outer - self.wire
        self.index = self.mean / self.wire
        thin, thick = MODULI[row["material"]]
        self.young, self.shear = (1e3 * GPA_PER_MPSI * x for x in (thin if self.wire < 0.0325 * 25.4 else thick))

    @property
    def rate(self) -> float:
        """k = d⁴G / (8 D³ (N_b + G/E)) [N/mm] (10-9, 10-40)."""
        return self.wire**4 * self.shear / (8 * self.mean**3 * (self.coils + self.shear / self.young))

    @property
    def length(self) -> float:
        """(2C - 1 + N_b) d [mm] (10-39): the closed body and two full hooks."""
        return (2 * self.index - 1 + self.coils) * self.wire

    @property
    def stress_band(self) -> tuple[float, float]:
        """The preferred initial stress [MPa], uncorrected (10-41)."""
        middle, half = 33500 / math.exp(0.105 * self.index), 1000 * (4 - (self.index - 3) / 6.5)
        return (middle - half) * MPA_PER_PSI, (middle + half) * MPA_PER_PSI

    def stress(self, tension: float) -> float:
        """8 F_i D / (π d³) [MPa], uncorrected, as 10-41 means it."""
        return 8 * tension * self.mean / (math.pi * self.wire**3)


def test_formulas_reproduce_the_handbook_example() -> None:
    """Shigley Example 10-6 (inputs READ, values MEMORY and recomputed in the project's notes):
    k 17.91 lbf/in, L0 0.817 in, stress 15.1 kpsi, band 14.2 to 21.2 kpsi."""
    inch, newton = 25.4, 4.448222
    row = {"wire [mm]": 0.035 * inch, "outer [mm]": 0.248 * inch, "coils": 12.17, "material": "hard-drawn"}
    spring = Wound({k: str(v) for k, v in row.items()})
    assert spring.rate / newton * inch == pytest.approx(17.91, abs=0.01)
    assert spring.length / inch == pytest.approx(0.817, abs=0.0005)
    assert spring.stress(1.19 * newton) / MPA_PER_PSI == pytest.approx(15100, abs=60)
    assert spring.stress_band[0] / MPA_PER_PSI == pytest.approx(14200, abs=60)
    assert spring.stress_band[1] / MPA_PER_PSI == pytest.approx(21200, abs=60)


def test_header_and_number_of_springs() -> None:
    assert LINES[0] == HEADER
    assert len(ROWS) >= 180


def test_it_says_that_it_is_invented() -> None:
    assert "invented" in FILE.read_text(encoding="utf-8").splitlines()[0]


def test_the_reader_takes_every_row_without_a_remark() -> None:
    faults: list[str] = []
    catalogue = read_catalogue(FILE, "springs.csv", faults)
    assert faults == []
    assert catalogue is not None
    assert catalogue.notes == ()
    assert [s.id for s in catalogue.springs] == [row["id"] for row in ROWS]


def test_ids_are_unique() -> None:
    assert len({row["id"] for row in ROWS}) == len(ROWS)


def test_rates_follow_from_wire_and_coils() -> None:
    wrong = [row["id"] for row in ROWS if abs(float(row["rate [N/mm]"]) / Wound(row).rate - 1) > 0.02]
    assert wrong == []


def test_free_lengths_follow_from_coils_and_hooks() -> None:
    """Two hooks of 0.92 to 1.04 of the full hook's (D - d), and 0.05 mm of rounding."""
    for row in ROWS:
        spring, length = Wound(row), float(row["free_length [mm]"])
        hooks = 2 * (spring.mean - spring.wire)
        assert spring.length - 0.08 * hooks - 0.051 <= length <= spring.length + 0.04 * hooks + 0.051, row["id"]


def test_initial_stress_is_within_the_preferred_band_or_none() -> None:
    for row in ROWS:
        spring, tension = Wound(row), float(row["initial_tension [N]"])
        low, high = spring.stress_band
        assert tension == 0.0 or low <= spring.stress(tension) <= high, row["id"]


def test_most_springs_have_an_initial_tension_and_some_have_none() -> None:
    wound_close = sum(float(row["initial_tension [N]"]) > 0 for row in ROWS)
    assert len(ROWS) / 2 < wound_close < 0.8 * len(ROWS)


def test_wire_and_index_can_be_wound() -> None:
    for row in ROWS:
        spring = Wound(row)
        assert spring.wire in SIZES, row["id"]
        assert spring.wire >= THINNEST[row["material"]], row["id"]
        assert 4.0 <= spring.index <= 14.0, row["id"]


def test_springs_are_of_use_over_posts() -> None:
    """The trade's ranges: primary 0.3 to 10, secondary to 40 N/mm; lengths as of the examples' posts."""
    rates = [float(row["rate [N/mm]"]) for row in ROWS]
    lengths = [float(row["free_length [mm]"]) for row in ROWS]
    assert min(rates) >= 0.3
    assert max(rates) <= 40.0
    assert sum(0.5 <= rate <= 2.5 for rate in rates) >= 60
    assert sum(2.5 <= rate <= 15.0 for rate in rates) >= 60
    assert min(lengths) >= 11.5
    assert max(lengths) <= 24.0


def test_quantities_show_stock_orders_and_empty_slots() -> None:
    kinds = {row["quantity"] for row in ROWS}
    assert kinds == {"0", "1", "2", "3", "4", ""}
    assert sum(row["quantity"] == "0" for row in ROWS) < 0.1 * len(ROWS)


def test_the_generator_gives_the_file_byte_for_byte() -> None:
    made = runpy.run_path(str(ROOT / "tests" / "make_springs.py"))["text"]()
    assert made.encode("utf-8") == FILE.read_bytes()
