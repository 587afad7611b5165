"""The as-left record as a document: what ISO/IEC 17025:2017, 7.8 (SECOND-HAND), asks of a certificate, page by page."""

from __future__ import annotations

import tomllib
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
import pytest
from checkout import EXAMPLES
from example_plans import example, tractor_again
from pdfpages import Page, embedded, outside, overlapping, read

from recurve.diagnosis.as_set import AsSet
from recurve.diagnosis.trust import Trust
from recurve.diagnosis.verify import Before, ReadAgain, Verification, as_found, verify_unit
from recurve.job.read import read_as_left
from recurve.output.documents.check import VerifyDocument
from recurve.output.sheet.readings import each_reading, zero_words
from recurve.output.sheet.record import record_entry, record_facts, record_pdf, record_toml
from recurve.output.unitfolder import last_left
from recurve.physics.sweep import Sweep
from recurve.uncertainty import Uncertain
from recurve.units import Quantity

FIGURE = b'<svg xmlns="http://www.w3.org/2000/svg" width="510pt" height="346pt"><path d="M0 0L9 9L0 9Z"/></svg>'


@dataclass(frozen=True)
class Case:
    """The tractor with nothing done to it, swept again."""

    result: Verification
    before: Before | None
    left: Sweep

    @property
    def document(self) -> VerifyDocument:
        return VerifyDocument.of(self.result)

    def pdf(self, paper: str = "a4") -> bytes:
        return record_pdf(self.result, self.document, self.before, self.left, "0123456789ab", FIGURE, paper)


@pytest.fixture(scope="module")
def case() -> Case:
    again = tractor_again()
    return Case(again.result, as_found(again.job), again.left)


@pytest.fixture(scope="module")
def pages(case: Case) -> list[Page]:
    return read(case.pdf())


def test_every_page_carries_the_record_s_own_number_and_the_last_says_that_it_ends(
    case: Case, pages: list[Page]
) -> None:
    identity = record_facts(case.result, case.document, case.before, case.left, "0123456789ab")["record"]
    assert len(pages) == 2
    for number, page in enumerate(pages, 1):
        assert f"record {identity}" in page.text and f"page {number} of 2" in page.text
    assert f"end of record {identity}" in pages[-1].text and "end of record" not in pages[0].text


def test_the_number_follows_from_what_is_recorded_and_is_in_the_toml(case: Case, tmp_path: Path) -> None:
    assert case.before is not None
    text = record_toml(
        tmp_path / "as-left.toml", case.result, case.before.evidence.job.sweep, case.left, "0123456789ab"
    )
    (entry,) = tomllib.loads(text.decode())["as_left"]
    assert entry["id"] == record_facts(case.result, case.document, case.before, case.left, "0123456789ab")["record"]
    other = replace(case.left, advance=case.left.advance + 0.01)
    assert record_facts(case.result, case.document, case.before, other, "0123456789ab")["record"] != entry["id"]


def test_item_method_rule_uncertainty_conditions_and_disclaimers_are_there(case: Case, pages: list[Page]) -> None:
    text = " ".join(p.text for p in pages)
    for words in (
        "As-left record", case.result.job.title, case.result.job.unit, "customer", "workshop", "in what condition",
        "date of the sweep", "Rule of decision", "± 2 standard uncertainties", "Method",
        "two standard uncertainties (a coverage of about 95 %)", "as found and as left", "temperature",
        "bench last checked", "signature", "holds only for the item named", "on whole, not in part",
        "claims no accreditation",
    ):  # fmt: skip
        assert words.lower() in text.lower(), words


def test_results_are_those_of_the_verification_and_of_the_fit_before(case: Case) -> None:
    facts = record_facts(case.result, case.document, case.before, case.left, "0123456789ab")
    assert facts["verdict"] == case.result.verdict and case.before is not None
    assert len(facts["results"]) == len(case.result.bands)
    for row in facts["results"]:
        index = [b.band.speed is None or f"{b.band.speed * 30 / np.pi:.0f}" == row["speed"] for b in case.result.bands]
        named = [b for b, same in zip(case.result.bands, index, strict=True) if same and b.verdict == row["verdict"]]
        assert any(
            f"{np.degrees(b.rising.value):.2f} ± {2 * np.degrees(b.rising.standard_uncertainty):.2f}" == row["left"][0]
            for b in named
        )
        assert " ± " in row["found"][1]
    # Nothing was done to it: before and after agree within both uncertainties (± 2 each).
    for before, after in zip(case.before.bands, case.result.bands, strict=True):
        room = 2 * (before.falling.standard_uncertainty + after.falling.standard_uncertainty)
        assert abs(before.falling.value - after.falling.value) <= room
    rows = facts["left"]["rows"]
    assert [int(r[0]) for r in rows] == [int(row) for row in case.left.row]
    assert all(len(r) == 6 == len(facts["left"]["heads"]) and r[5] == "used" for r in rows)


def test_without_a_sweep_as_found_only_what_was_left_is_told(case: Case) -> None:
    facts = record_facts(case.result, case.document, None, case.left, "0123456789ab")
    assert facts["found"] is None and all(r["found"] == ["", ""] for r in facts["results"])
    pages = read(record_pdf(case.result, case.document, None, case.left, "0123456789ab", FIGURE))
    assert "as found" not in pages[0].text.lower()


@pytest.mark.parametrize("paper", ["a4", "letter"])
def test_fonts_margins_and_nothing_over_anything(case: Case, paper: str) -> None:
    pdf = case.pdf(paper)
    assert all(embedded(pdf).values()) and case.pdf(paper) == pdf
    for page in read(pdf):
        assert outside(page, 16.0, 6.0, 6.0) == [] and overlapping(page) == []


# --- read at the crank --------------------------------------------------------------------------------------


@pytest.fixture(scope="module")
def at_crank() -> Case:
    """The pump's own readings again, as its timing light gave them: crank rpm, crank degrees, 9° static in them."""
    job = example("pump")
    left = read_as_left(EXAMPLES / "pump-as-found.csv", job)
    return Case(verify_unit(job, left), as_found(job), left)


def test_what_was_read_at_the_crank_stands_beside_what_it_was_turned_into(at_crank: Case) -> None:
    """The file's rows themselves, and by hand: (13.0° − 9°) / 2 = 2.00° at 500 / 2 = 250 rpm."""
    facts = record_facts(at_crank.result, at_crank.document, at_crank.before, at_crank.left, "0123456789ab")
    lines = (EXAMPLES / "pump-as-found.csv").read_text(encoding="utf-8").splitlines()
    heads = [(h["name"], h["unit"]) for h in facts["left"]["heads"]]
    assert heads[2:6] == [("speed", "crank rpm"), ("read", "crank °"), ("speed", "dist. rpm"), ("advance", "dist. °")]
    for row in facts["left"]["rows"]:
        speed, advance, way = lines[int(row[0]) - 1].split(",")
        assert (row[1], row[2], float(row[3])) == (way, speed, float(advance))
        assert float(row[4]) == float(speed) / 2
        assert float(row[5].replace("−", "-")) == pytest.approx((float(advance) - 9) / 2, abs=0.0051)
    first = facts["found"]["rows"][0]
    assert first[:2] == ["500", "13.00"] and first[3:5] == ["250", "2.00"]
    assert "9.0° (crank) in them" in facts["method"] and "divided by 2" in facts["method"]
    assert "9.0° (crank), taken off" in facts["left_zero"]


def test_a_timing_light_is_not_told_as_a_distributor_bench(at_crank: Case, case: Case) -> None:
    facts = record_facts(at_crank.result, at_crank.document, at_crank.before, at_crank.left, "0123456789ab")
    assert "bench last checked" not in facts["conditions"] and "timing light or bench" in facts["conditions"]
    pages = read(at_crank.pdf())
    assert "weights held home" not in " ".join(p.text for p in pages)
    assert len(pages) == 2 and "end of record" in pages[1].text  # 39 readings twice: no page for the last line alone
    assert all(outside(p, 16.0, 6.0, 6.0) == [] and overlapping(p) == [] for p in pages)
    bench = record_facts(case.result, case.document, case.before, case.left, "0123456789ab")
    assert "bench last checked" in bench["conditions"] and "timing light" not in " ".join(bench["conditions"])


def test_where_zero_was_taken_and_what_was_in_then() -> None:
    """The launch's zero was taken at 250 rpm (its file says so), where some advance was in already."""
    before = as_found(example("launch"))
    assert before is not None and before.evidence.job.sweep is not None and before.evidence.fit is not None
    words = zero_words(before.evidence.job.sweep, before.evidence.fit)
    assert words.startswith("zero taken at 250 rpm (distributor); ")
    assert zero_words(before.evidence.job.sweep, None) == "zero taken at 250 rpm (distributor)"


def test_an_electronic_trigger_is_not_told_as_points() -> None:
    """The generating set's points were replaced (its file says so): no points, no dwell."""
    job = example("genset")
    left = read_as_left(EXAMPLES / "genset-as-found.csv", job)
    result = verify_unit(replace(job, trigger="electronic"), left)
    facts = record_facts(result, VerifyDocument.of(result), None, left, "0123456789ab")
    kind = next(row["value"] for row in facts["item"] if row["label"] == "kind")
    assert "electronic trigger" in kind and "points" not in kind
    assert "trigger gap as set" in facts["conditions"] and not any("dwell" in c for c in facts["conditions"])


def test_a_long_sweep_fills_its_pages_and_lies_on_nothing(case: Case) -> None:
    """Every reading four times over: three lists beside each other, words apart, the end on the last page."""
    long = replace(case.left, **{n: np.tile(getattr(case.left, n), 4) for n in ("speed", "advance", "rising", "row")})
    fit = replace(case.result.fit, expected=np.tile(case.result.fit.expected, 4))
    result = replace(case.result, fit=fit)
    pages = read(record_pdf(result, VerifyDocument.of(result), case.before, long, "0123456789ab", FIGURE, "letter"))
    assert len(long.speed) > 60 and len(pages) <= 3 and "end of record" in pages[-1].text
    assert all(outside(p, 16.0, 6.0, 6.0) == [] and overlapping(p) == [] for p in pages)
    # The lists stand beside each other: the same words three times on one line.
    words, boxes = np.array(pages[1].words), pages[1].boxes
    heads = boxes[words == "row"]
    assert len(heads) == 3 and np.ptp(heads[:, 1]) < 1.0


# --- the figures of the record, by hand ---------------------------------------------------------------------


def test_each_reading_has_its_own_curve_and_fate(case: Case) -> None:
    """The curve beside a reading is within half a degree of it; one that bars a pass is to be read again, used or left out."""
    again = tuple(ReadAgain(int(case.left.row[i]), 100.0, 0.1, True, False, None) for i in (0, 2))
    fit = replace(case.result.fit, outliers=(int(case.left.row[2]),))
    rows = each_reading(replace(case.result, fit=fit, unsettled=again), case.left)["rows"]
    assert all(abs(float(r[3].replace("−", "-")) - float(r[4].replace("−", "-"))) < 0.5 for r in rows)
    assert float(np.ptp([float(r[4].replace("−", "-")) for r in rows])) > 5
    assert [r[5] for r in rows[:4]] == ["used, read again", "used", "left out, read again", "used"]


def test_the_file_keeps_each_side_of_a_band_and_what_was_told(case: Case) -> None:
    """0.1 ± 0.01 rad rising and 0.2 ± 0.02 rad falling are 5.730 ± 0.573° and 11.459 ± 1.146°; 0.15 mm filed is −0.15 mm."""
    band = replace(case.result.bands[0], rising=Uncertain(0.1, 0.01), falling=Uncertain(0.2, 0.02))
    told = AsSet(lengths=(Quantity(0.01341, 1e-5), None), stop=Quantity(0.2, 0.01), trim=Quantity(-0.15e-3, 1e-5))
    entry = record_entry(replace(case.result, bands=(band,), told=told), None, case.left, "0123456789ab")
    (row,) = entry["bands"]
    assert (row["rising_deg"], row["rising_standard_uncertainty_deg"]) == (5.73, 0.573)
    assert (row["falling_deg"], row["falling_standard_uncertainty_deg"]) == (11.459, 1.146)
    assert entry["set"] == {"primary_length_mm": 13.41, "stop_deg": 11.459, "stop_trim_mm": -0.15}


def test_a_verdict_that_does_not_count_is_not_printed_as_one(case: Case, tmp_path: Path) -> None:
    """Every band is met, and the readings are not to be trusted: no page says that the unit passes, and none is to be signed."""
    bands = tuple(replace(b, verdict="passes") for b in case.result.bands)
    sound = replace(case.result, verdict="passes", bands=bands, unsettled=(), correction=None, trust=Trust())
    doubted = replace(sound, trust=Trust(("the readings scatter: look for play; repair, then sweep again",)))

    def told(result: Verification) -> str:
        made = record_pdf(result, VerifyDocument.of(result), case.before, case.left, "0123456789ab", FIGURE)
        return " ".join(" ".join(p.text.split()) for p in read(made))

    assert "Passes" in told(sound) and "signature" in told(sound)
    text = told(doubted)
    assert "No verdict yet" in text and "look for play" in text and "Not to be handed over yet" in text
    assert "Passes" not in text and "signature" not in text
    assert text.count("passes") == 2  # in the rule of decision, and what the readings alone would say
    entries = [record_entry(r, None, case.left, "0123456789ab") for r in (sound, doubted)]
    assert "distrust" not in entries[0] and entries[1]["distrust"] == list(doubted.trust.reasons)
    folder = tmp_path / "unit-plan"
    folder.mkdir()
    for result, last in ((sound, "passes"), (doubted, "not trusted")):
        record = folder / "as-left.toml"
        record.write_bytes(record_toml(record, result, None, case.left, "0123456789ab"))
        assert last_left(tmp_path / "unit.toml") == last
