"""The sheet of a unit as found: it says what the report says, on paper and on a page, and nothing of a job is markup."""

from __future__ import annotations

import json
import re
import shutil
from pathlib import Path

import pytest
from checkout import EXAMPLES, ROOT
from commands import run
from pdfpages import outside, overlapping, read


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The dinghy of examples/ looked at, with a title that would be markup."""
    made = tmp_path_factory.mktemp("found")
    text = (EXAMPLES / "dinghy.toml").read_text(encoding="utf-8")
    (made / "dinghy.toml").write_text(
        re.sub(r"^title = .*$", 'title = "<b>#strong[x]</b> & {{ 7 * 7 }}"', text, flags=re.M), encoding="utf-8"
    )
    shutil.copy(EXAMPLES / "dinghy-as-found.csv", made)
    status, out, _ = run(["check", "dinghy.toml", "--html", "--json"], made)
    assert status == 3
    (made / "told.json").write_text(out, encoding="utf-8")
    return made


def squeezed(text: str) -> str:
    return re.sub(r"[\s\u200b]+", "", text)


def test_the_paper_says_what_the_report_says(folder: Path) -> None:
    pages = read((folder / "dinghy-plan" / "as-found.pdf").read_bytes())
    text = squeezed("".join(p.text for p in pages)).lower()
    document = json.loads((folder / "told.json").read_text(encoding="utf-8"))
    for finding in document["findings"]:
        assert squeezed(finding["what"]).lower() in text and squeezed(finding["remedy"]).lower() in text
    for step in document["next"]:
        assert squeezed(step["measure"]).lower() in text
    assert "clamptheunit" in text and "{{7*7}}" in text and "#strong[x]" in text
    assert all(overlapping(p) == [] and outside(p, 16.0, 6.0, 6.0) == [] for p in pages)


def test_the_page_says_what_the_paper_says_and_asks_for_nothing(folder: Path) -> None:
    page = (folder / "dinghy-plan" / "as-found.html").read_text(encoding="utf-8")
    document = json.loads((folder / "told.json").read_text(encoding="utf-8"))
    assert (
        "&lt;b&gt;" in page and "<b>#strong" not in page and "49" not in page.split("<title>")[1].split("</title>")[0]
    )
    assert "default-src 'none'" in page and page.count("<script") == 1
    for finding in document["findings"]:
        assert finding["what"][1:] in page
    assert page.count("<svg") == 1  # the readings on the bands


def test_the_same_bytes_for_the_same_input(folder: Path) -> None:
    before = {p.name: p.read_bytes() for p in (folder / "dinghy-plan").iterdir()}
    run(["check", "dinghy.toml", "--html"], folder)
    assert {p.name: p.read_bytes() for p in (folder / "dinghy-plan").iterdir()} == before
    assert {
        "as-found.toml",
        "as-found.pdf",
        "as-found.html",
        "look.svg",
        "look.png",
        "strength.svg",
        "strength.png",
    } == set(before)


def test_a_unit_that_was_measured_has_the_sheet_where_it_is_asked_for(tmp_path: Path) -> None:
    text = (EXAMPLES / "genset.toml").read_text(encoding="utf-8").replace("../data", (ROOT / "data").as_posix())
    (tmp_path / "genset.toml").write_text(text, encoding="utf-8")
    shutil.copy(EXAMPLES / "genset-as-found.csv", tmp_path)
    run(["check", "genset.toml"], tmp_path)
    assert not (tmp_path / "genset-plan" / "as-found.pdf").exists()
    run(["check", "genset.toml", "--html"], tmp_path)
    assert (tmp_path / "genset-plan" / "as-found.pdf").is_file()
    assert "fit.svg" not in (tmp_path / "genset-plan" / "as-found.html").read_text(encoding="utf-8")[:200]
