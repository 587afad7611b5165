"""The as-left record as a document: what ISO/IEC 17025:2017, 7.8 (SECOND-HAND), asks of a certificate, page by page."""

from __future__ import annotations

import tomllib
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
import pytest
from example_plans import tractor_again
from pdfpages import Page, embedded, outside, overlapping, read

from recurve.diagnosis.verify import Before, Verification, as_found
from recurve.output.documents.check import VerifyDocument
from recurve.output.sheet.record import record_facts, record_pdf, record_toml
from recurve.physics.sweep import Sweep

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
        "date of the sweep", "Rule of decision", "plus or minus 2 standard uncertainties", "Method",
        "two standard uncertainties (a coverage of about 95 %)", "before and after adjustment", "temperature",
        "bench last checked", "signature", "speaks only of the item named", "on whole, not in part",
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
    assert [int(r[0]) for r in facts["left"]] == [int(row) for row in case.left.row]
    assert all(len(r) == 6 and r[5] == "used" for r in facts["left"])


def test_without_a_sweep_as_found_only_what_was_left_is_told(case: Case) -> None:
    facts = record_facts(case.result, case.document, None, case.left, "0123456789ab")
    assert facts["found"] == [] and all(r["found"] == ["", ""] for r in facts["results"])
    pages = read(record_pdf(case.result, case.document, None, case.left, "0123456789ab", FIGURE))
    assert "as found" not in pages[0].text.lower()


@pytest.mark.parametrize("paper", ["a4", "letter"])
def test_fonts_margins_and_nothing_over_anything(case: Case, paper: str) -> None:
    pdf = case.pdf(paper)
    assert all(embedded(pdf).values()) and case.pdf(paper) == pdf
    for page in read(pdf):
        assert outside(page, 16.0, 6.0, 6.0) == [] and overlapping(page) == []
