"""The README says what the tool does: its report is the tool's, its commands are the ones CI runs."""

from __future__ import annotations

import re
import shutil
from pathlib import Path

import pytest
from checkout import ROOT, needs_checkout

import recurve
from recurve.cli import main

pytestmark = needs_checkout


def readme() -> str:
    return (ROOT / "README.md").read_text(encoding="utf-8")


def blocks(kind: str) -> list[str]:
    """The fenced blocks of one kind."""
    return re.findall(rf"^```{kind}\n(.*?)^```", readme(), re.S | re.M)


def test_the_report_shown_is_the_report(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    shutil.copytree(ROOT / "examples", tmp_path / "examples", ignore=shutil.ignore_patterns("*-plan"))
    shutil.copytree(ROOT / "data", tmp_path / "data")
    monkeypatch.chdir(tmp_path)
    monkeypatch.setattr("sys.argv", ["recurve", "plan", "examples/launch.toml"])
    with pytest.raises(SystemExit) as stopped:
        main()
    assert stopped.value.code in (0, None)
    assert capsys.readouterr().out == blocks("text")[0]


def test_the_test_command_is_the_one_that_ci_runs() -> None:
    command = blocks("sh")[1]
    script = (ROOT / ".ci" / "run").read_text(encoding="utf-8")
    for part in ("python3 -m venv .venv", "--editable '.[test]'", ".venv/bin/pytest --quiet"):
        assert part in command
        assert part in script


def test_the_notebook_line_runs(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(ROOT)
    plan = recurve.make_plan(recurve.load_job("examples/launch.toml"))
    assert str(plan).startswith("Launch engine")
    axes = recurve.plot_plan(plan)
    assert "distributor" in axes.get_xlabel()


def test_files_named_are_there() -> None:
    for name in re.findall(r"\]\(([\w./-]+)\)", readme()):
        assert (ROOT / name).exists(), name
