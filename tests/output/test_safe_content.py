"""Text from a job or a table is only ever read: by a terminal, a spreadsheet, Typst, a browser, an SVG viewer."""

from __future__ import annotations

import csv
import html.parser
import io
import json
import os
import sys
import tomllib
import xml.etree.ElementTree as ET
from dataclasses import replace
from pathlib import Path

import pytest
from jobs import SPRINGS, write_job

from recurve.cli.app import main
from recurve.data import data_file
from recurve.diagnosis.verify import verify_unit
from recurve.job.read import load_job, read_as_left
from recurve.output.figures.plan import plan_figure_bytes
from recurve.output.planfile import order_csv, plan_toml
from recurve.output.sheet.record import record_toml
from recurve.output.sheet.sheet import page_html, sheet_pdf, typst_files
from recurve.output.sheet.sheet import sheet_facts as facts_of
from recurve.planner.plan import Plan, make_plan
from recurve.text import csv_text, json_text, printable, printable_lines

# ECMA-48 escape sequences, one with a C1 control; bidirectional controls of Unicode's UAX #9; then what Typst, HTML, an
# XML comment, a matplotlib formula and TOML would act on.
STEERING = "\x1b[31m\x9b2J\u202e\u2066\u200f\u2028\r\x07"
MARKUP = '#panic("x") $x_{ <script>alert(1)</script> <img src=x onerror=alert(1)> --!> --> ]]> *_`\\'
HOSTILE = f"{STEERING}{MARKUP}\nPASSES"
# The first characters that OWASP's page "CSV Injection" names (MEMORY).
FORMULAS = ("=1+1", "+1", "-1+1", "@SUM(A1)", "\t=1", "\r=1", "＝1")


def quoted(text: str) -> str:
    """As a TOML basic string, in which JSON's escapes mean the same."""
    return json.dumps(text)


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> Plan:
    """A plan whose job and catalogue say hostile things wherever text is free."""
    springs = SPRINGS
    for old, new in zip(("A1", "A2", "A3", "B1", "B2", "B3"), FORMULAS, strict=False):
        springs = springs.replace(f"{old},", f'"{new}<b>$x_{{#panic(){old}\u202e",')
    path = write_job(
        tmp_path_factory.mktemp("hostile"),
        ('"Test unit, invented"', quoted(HOSTILE)),
        ('"bench dummy"', quoted(f"unit {HOSTILE}")),
        ("date = 2026-05-04", f"date = {quoted(HOSTILE)}"),
        springs=springs,
    )
    return make_plan(load_job(path))


def steers(text: str) -> list[str]:
    """Characters that steer a terminal or turn writing about; line ends and what lets a word break do not."""
    return [c for c in text if not c.isprintable() and c not in "\n\u200b\xa0"]


def run(arguments: list[str], monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> tuple[str, str]:
    monkeypatch.setattr(sys, "argv", ["recurve", *arguments])
    with pytest.raises(SystemExit) as stopped:
        main()
    assert stopped.value.code in (0, 2, 3)
    out, err = capsys.readouterr()
    return out, err


def test_a_terminal_is_not_steered(
    made: Plan, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    for arguments in (["curve"], ["curve", "--json"], ["draw"]):
        out, err = run([*arguments, str(made.job.path)], monkeypatch, capsys)
        assert not steers(out + err), arguments
        assert "\nPASSES" not in out
    assert not steers(str(made))


def test_a_fault_does_not_steer_a_terminal(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    path = write_job(
        tmp_path,
        ('"clockwise"', quoted(HOSTILE)),
        ("lobes = 6", f"{quoted(HOSTILE)} = 6"),
        ("[stop]\n", f'[stop]\n"\\u001b[2J" = {quoted(HOSTILE)}\n'),
        springs=SPRINGS.replace("A1,1.5", f'"{STEERING}",="x'),
    )
    out, err = run(["curve", str(path)], monkeypatch, capsys)
    assert out == ""
    assert len(err.splitlines()) >= 3
    assert not steers(err)


def test_json_says_the_same_in_escapes() -> None:
    document = {"title": HOSTILE, "tag": "\U000e0001", "deg": "13.8°", "half": "\udcfe"}
    text = json_text(document)
    assert not steers(text)
    assert "13.8°" in text
    assert json.loads(text) == document
    with pytest.raises(ValueError, match="not JSON compliant"):
        json_text({"x": float("nan")})


def test_printable_keeps_what_prints() -> None:
    assert printable("Größe 7° ± 0.5, ひ, Ω") == "Größe 7° ± 0.5, ひ, Ω"
    assert printable("a\x1bb\nc\u202ed") == "a?b?c?d"
    assert printable_lines("a\x1bb\nc\r\nd") == "a?b\nc?\nd"


@pytest.mark.parametrize("cell", [*FORMULAS, " =1", "\n=1"])
def test_a_spreadsheet_computes_nothing(cell: str) -> None:
    assert csv_text(cell).startswith("'")


@pytest.mark.parametrize("cell", ["A1", "", "0.8 x 14", "P-3", "a=b", "Ω"])
def test_other_cells_stay_as_they_are(cell: str) -> None:
    assert csv_text(cell) == cell


def test_the_order_has_no_formula(made: Plan) -> None:
    rows = list(csv.reader(io.StringIO(order_csv(made).decode("utf-8"))))
    assert len(rows) > 1
    assert any(cell.startswith("'") for row in rows for cell in row)
    for row in rows[1:]:
        for cell in row:
            assert not cell.startswith(("=", "+", "-", "@", "\t", "\r", "\n"))
            assert not steers(cell)


def test_the_planned_job_says_what_the_job_said(made: Plan) -> None:
    text = plan_toml(made).decode("utf-8")
    written = tomllib.loads(text)
    assert written["title"] == HOSTILE
    assert text.splitlines()[1].startswith("title = ")


def test_a_file_name_cannot_add_a_line_to_the_planned_job(made: Plan) -> None:
    named = replace(made, job=replace(made.job, path=made.job.path.with_name('x\ntitle = "other"\udcfe\x1b.toml')))
    text = plan_toml(named).decode("utf-8")
    assert tomllib.loads(text)["title"] == HOSTILE
    assert not steers(text.splitlines()[0])


class Elements(html.parser.HTMLParser):
    """Names of all elements, and of their attributes."""

    def __init__(self) -> None:
        super().__init__()
        self.names: set[str] = set()
        self.attributes: set[str] = set()

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.names.add(tag)
        self.attributes |= {name for name, _ in attrs}


def test_a_page_has_no_element_from_a_job(made: Plan) -> None:
    figures = plan_figure_bytes(made)
    page = page_html(made, {"curve.svg": figures["curve.svg"], "curve-narrow.svg": figures["curve.svg"]}).decode(
        "utf-8"
    )
    own = "<script>\n" + data_file("page/keep.js").read_text(encoding="utf-8") + "</script>"
    assert page.count(own) == 1
    seen = Elements()
    seen.feed(page.replace(own, ""))
    assert not seen.names & {"script", "img", "b", "iframe", "object", "embed", "a", "form", "base"}
    assert not [a for a in seen.attributes if a.startswith("on")]
    assert not steers(page)
    # "--!>" ends a comment in HTML, though not in XML (WHATWG HTML, comment end bang state)
    assert "--!>" not in page.replace("--!&gt;", "")


def test_a_figure_reads_no_text_as_formula_or_markup(made: Plan) -> None:
    svg = plan_figure_bytes(made)["curve.svg"]  # a title read as a formula would raise here: "$x_{" has no end
    tags = {element.tag.split("}")[-1] for element in ET.fromstring(svg).iter()}
    assert not tags & {"script", "img", "a", "foreignObject", "image", "text"}


def test_a_sheet_shows_text_as_it_stands(made: Plan) -> None:
    figure = plan_figure_bytes(made)["curve.svg"]
    assert sheet_pdf(made, figure).startswith(b"%PDF")  # "#panic" read as code would end it
    files = typst_files("sheet.typ", facts_of(made), {})
    for name, content in files.items():
        assert (b"panic" in content) is (name == "facts.json"), name
    assert not steers(json.dumps(json.loads(files["facts.json"]), ensure_ascii=False))


def test_a_record_takes_any_file_name(made: Plan, tmp_path: Path) -> None:
    job = made.job
    assert job.sweep is not None
    try:
        name = tmp_path / os.fsdecode(b"as\xff\x1bleft.csv")
        name.write_bytes((job.path.parent / "as-found.csv").read_bytes())
    except OSError:
        pytest.skip("this file system takes no such name")
    readings = read_as_left(name, job)
    record = record_toml(tmp_path / "as-left.toml", verify_unit(job, readings), None, readings, "0")
    entry = tomllib.loads(record.decode("utf-8"))["as_left"][0]
    assert entry["as_left"]["file"].endswith("as??left.csv")
    assert entry["title"] == HOSTILE


def test_results_stay_beside_the_job(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """Nothing in a job says where results go: hostile names and paths write nothing outside the job's own folder."""
    inside = tmp_path / "jobs"
    inside.mkdir()
    path = write_job(
        inside,
        ('"Test unit, invented"', '"../../title"'),
        ('"bench dummy"', '"/etc/unit"'),
        ('"as-found.csv"', '"../x.csv"'),
    )
    (inside / "as-found.csv").rename(tmp_path / "x.csv")
    run(["draw", str(path)], monkeypatch, capsys)
    assert sorted(p.name for p in tmp_path.iterdir()) == ["jobs", "x.csv"]
    assert sorted(p.name for p in inside.iterdir()) == ["springs.csv", "unit-plan", "unit.toml"]
