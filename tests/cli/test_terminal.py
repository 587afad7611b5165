"""Reports on a terminal and in a pipe, the text table and plot, and the last line that says what to do next."""

from __future__ import annotations

import io
import re
import sys
from pathlib import Path
from typing import get_args

import numpy as np
import pytest
from checkout import ROOT
from sheetplans import launch
from typer.testing import CliRunner

from recurve.cli import console, next_step
from recurve.cli.console import app
from recurve.diagnosis.check import CheckVerdict
from recurve.diagnosis.verify import VerifyStep, VerifyVerdict
from recurve.output.text.layout import PLOT_COLUMNS, Column, Line, plot, table
from recurve.output.text.plan import plan_text
from recurve.planner.plan import PlanVerdict


class Screen(io.StringIO):
    """A standard output that says it is a terminal."""

    def isatty(self) -> bool:
        return True


def shown(text: str, monkeypatch: pytest.MonkeyPatch, out: io.StringIO, **environment: str) -> str:
    """What a report becomes on this output."""
    for name in ("NO_COLOR", "COLORTERM", "FORCE_COLOR"):
        monkeypatch.delenv(name, raising=False)
    for name, value in {"TERM": "xterm-256color", **environment}.items():
        monkeypatch.setenv(name, value)
    monkeypatch.setattr(sys, "stdout", out)
    console.show(text)
    return out.getvalue()


def test_a_pipe_gets_the_plain_text_byte_for_byte(monkeypatch: pytest.MonkeyPatch) -> None:
    text = plan_text(launch())
    assert shown(text, monkeypatch, io.StringIO()) == text


@pytest.mark.parametrize("environment", [{"NO_COLOR": "1"}, {"TERM": "dumb"}])
def test_who_wants_no_colour_gets_none(environment: dict[str, str], monkeypatch: pytest.MonkeyPatch) -> None:
    text = plan_text(launch())
    assert shown(text, monkeypatch, Screen(), **environment) == text


def test_a_terminal_gets_the_same_characters_with_weight_and_colour(monkeypatch: pytest.MonkeyPatch) -> None:
    text = plan_text(launch()) + "\n" + next_step.after_plan("passes", Path("a.toml"), "sheet.pdf") + "\n"
    drawn = shown(text, monkeypatch, Screen())
    assert re.sub(r"\x1b\[[0-9;]*m", "", drawn) == text
    # SGR 1 is bold, 32 green, 36 cyan (ECMA-48, 8.3.117)
    for words, codes in (("PASSES WITH STOP TRIM", "1;32"), ("Springs", "1"), ("Next:", "1;36")):
        assert f"\x1b[{codes}m{words}" in drawn


@pytest.mark.parametrize(
    ("verdict", "style"), [("OUT OF REACH", "bold red"), ("SOUND", "bold green"), ("CANNOT TELL", "bold yellow")]
)
def test_verdicts_differ_in_words_first(verdict: str, style: str) -> None:
    spans = [(s.start, s.end, s.style) for s in console.styled(f"title\n\n{verdict}\n").spans]
    assert (7, 7 + len(verdict), style) in spans


def test_every_verdict_has_a_style() -> None:
    """The patterns of the console name all verdicts that a report can head."""
    for verdict in (*get_args(CheckVerdict), *get_args(PlanVerdict), *get_args(VerifyVerdict)):
        spans = console.styled(f"title\n\n{verdict.upper()}\n").spans
        found = {s.style for s in spans if (s.start, s.end) == (7, 7 + len(verdict))}
        assert found & {"bold green", "bold red", "bold yellow"}, verdict


def test_no_color_is_an_option_of_every_command(monkeypatch: pytest.MonkeyPatch) -> None:
    import os

    monkeypatch.setenv("NO_COLOR", "")
    CliRunner().invoke(app, ["--no-color", "curve", "nothing.toml"])
    assert os.environ["NO_COLOR"] == "1"


# --- tables and plots ---------------------------------------------------------------------------------------


def test_numbers_stand_on_their_points_below_their_units() -> None:
    columns = [Column("", words=True), Column("rate", "N/mm"), Column("coils"), Column("it pulls", words=True)]
    lines = table(columns, [["primary", "1.090", "22.5", "never"], ["secondary", "13.5", "21.25", "from rest"]])
    assert lines == [
        "               rate  coils  it pulls",
        "             [N/mm]",
        "  primary     1.090  22.5   never",
        "  secondary  13.5    21.25  from rest",
    ]


def test_a_plot_puts_what_it_is_given_where_it_belongs() -> None:
    """Straight from 0 at 0 to 10° at 1000 rpm; a band of 4 to 6° at 500 rpm must be met half way."""
    speed = np.linspace(0.0, 1000.0, PLOT_COLUMNS)
    lines = plot([Line("*", "straight", speed, speed / 100.0)], [(500.0, 3.0, 7.0), (None, 9.0, 10.0)], 1000.0)
    assert max(map(len, lines)) <= 80
    rows = {int(label): text for label, text in (x.split("|") for x in lines if "|" in x and x.split("|")[0].strip())}
    middle = round((PLOT_COLUMNS - 1) / 2)
    for degrees in (2, 4, 6, 8):
        assert abs(rows[degrees].index("*") + rows[degrees].rindex("*") - 2 * degrees / 10 * (PLOT_COLUMNS - 1)) <= 6
    assert ":" in rows[4][middle - 1 : middle + 2] and ":" in rows[6][middle - 1 : middle + 2]
    assert ":" not in rows[8][middle - 1 : middle + 2]
    assert "::" in rows[10]
    assert lines[-1].strip() == "* straight, : target band" and lines[-2].split() == [
        "0",
        "200",
        "400",
        "600",
        "800",
        "1000",
    ]
    assert "".join(lines).isascii()


def test_the_plan_s_plot_shows_both_curves() -> None:
    text = plan_text(launch())
    drawn = text[text.index("Advance [distributor degrees]") : text.index("Springs")]
    assert "o as found, * planned, : target band" in drawn
    # As found it is at its stop of 13.8° long before the planned one's 11.3° (the job; the plan's report).
    top = next(line for line in drawn.splitlines() if line.startswith("  14 |"))
    assert top.count("o") > 10 and "*" not in top


# --- what to do next ----------------------------------------------------------------------------------------


def test_every_verdict_leads_on_with_a_command_that_can_be_pasted() -> None:
    job = Path("my unit.toml")
    lines = [next_step.after_curve(job)]
    lines += [next_step.after_check(v, job) for v in get_args(CheckVerdict)]
    lines += [next_step.after_plan(v, job, "sheet.pdf") for v in get_args(PlanVerdict)]
    lines += [next_step.after_verify(v, job, Path("left.csv"), "as-left.pdf") for v in get_args(VerifyStep)]
    for line in lines:
        assert line.startswith("Next: ")
        assert "recurve " not in line or "'my unit.toml'" in line
    assert lines[-4].endswith("hand over as-left.pdf")


def test_the_last_lines_keep_to_eighty_columns() -> None:
    """All but the command to paste, which holds the user's own path."""
    job = Path("unit.toml")
    lines = [next_step.after_curve(job), next_step.after_plans()]
    lines += [next_step.after_draw(rejected, job) for rejected in (True, False)]
    lines += [next_step.after_wind(wound, job) for wound in (True, False)]
    lines += [next_step.after_spring(of_use, file) for of_use in (True, False) for file in (None, "springs.csv")]
    lines += [next_step.after_check(v, job) for v in get_args(CheckVerdict)]
    lines += [next_step.after_plan(v, job, "sheet.pdf") for v in get_args(PlanVerdict)]
    lines += [next_step.after_verify(v, job, Path("left.csv"), "as-left.pdf") for v in get_args(VerifyStep)]
    assert max(len(line) for text in lines for line in text.splitlines()) <= 80


def test_no_sentence_turns_to_inches_as_in_in() -> None:
    """A length in mm with "in" behind it reads "0.016 in in" once it is turned."""
    texts = "\n".join(path.read_text(encoding="utf-8") for path in (ROOT / "recurve").rglob("*.py"))
    told = [line for line in texts.splitlines() if re.search(r"\bmm in\b(?!side|ward)", line)]
    words = [line for line in told if not re.search(r'"""|#', line)]
    assert words == []
