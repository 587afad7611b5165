"""The README says what the tool does: its report is the tool's, its commands are the ones CI runs."""

from __future__ import annotations

import re
import shlex
import shutil
import sys
import textwrap
from pathlib import Path
from typing import Any

import pytest
from checkout import ROOT, needs_checkout
from jobs import without, write_job
from typer.main import get_command

import recurve
from recurve.cli.app import main
from recurve.cli.console import app

pytestmark = needs_checkout


def readme() -> str:
    return (ROOT / "README.md").read_text(encoding="utf-8")


def documents() -> dict[str, str]:
    """All documents for readers, by name."""
    paths = (ROOT / "README.md", ROOT / "DEVELOPERS.md", *sorted((ROOT / "examples").glob("*.md")))
    return {str(p.relative_to(ROOT)): p.read_text(encoding="utf-8") for p in paths}


def blocks(kind: str) -> list[str]:
    """The fenced blocks of one kind."""
    return re.findall(rf"^```{kind}\n(.*?)^```", readme(), re.S | re.M)


def test_the_report_shown_is_the_report(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    shutil.copytree(ROOT / "examples", tmp_path / "examples", ignore=shutil.ignore_patterns("*-plan"))
    shutil.copytree(ROOT / "data", tmp_path / "data")
    monkeypatch.chdir(tmp_path)
    monkeypatch.setattr(sys, "argv", ["recurve", "plan", "examples/launch.toml"])
    with pytest.raises(SystemExit) as stopped:
        main()
    assert stopped.value.code in (0, None)
    shown, rest = blocks("text")[0].rsplit("\n[...]\n", 1)
    assert len(shown.splitlines()) > 30 and not rest
    assert capsys.readouterr().out.startswith(shown)


def test_the_test_command_is_the_one_that_ci_runs() -> None:
    command = blocks("sh")[1]
    script = (ROOT / ".ci" / "run").read_text(encoding="utf-8")
    for part in ("python3 -m venv .venv", "--editable '.[test]'", ".venv/bin/pytest --quiet"):
        assert part in command
        assert part in script


def test_the_notebook_line_runs(monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> None:
    monkeypatch.chdir(ROOT)
    (line,) = re.findall(r"In a notebook: `([^`]+)`", documents()["examples/commands.md"])
    names: dict[str, Any] = {}
    exec(line, names)
    assert capsys.readouterr().out.startswith("Launch engine")


def test_the_example_of_the_package_runs(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """The block of the package's docstring, beside a job as it says; every other Python block of the documents too."""
    write_job(tmp_path, without("sweep")).rename(tmp_path / "launch.toml")
    monkeypatch.chdir(tmp_path)
    code = textwrap.dedent("".join(re.findall(r"^ {4}.*\n", recurve.__doc__ or "", re.M)))
    assert code.startswith("import recurve\n")
    for block in [
        code,
        *(b for text in documents().values() for b in re.findall(r"^```python\n(.*?)^```", text, re.S | re.M)),
    ]:
        exec(block, {})
    assert "margin" in capsys.readouterr().out


def commands_told() -> list[tuple[str, str]]:
    """(Where, command) of every `recurve …` in the documents and of every example in the help."""
    told = [
        (name, re.sub(r"\s+", " ", words))
        for name, text in documents().items()
        for words in re.findall(r"`(recurve [a-z][^`]*)`", text)
    ]
    for line in blocks("text")[1].splitlines():
        if line.startswith("recurve "):
            begun = re.split(r"\s{2,}", line)[0].rstrip(".")
        words = re.split(r"\s{3,}", line.strip())[-1].rstrip(",")
        options = words.split(", ") if words.startswith("--") else []
        told += [("README.md", f"{begun} {option}") for option in options]
        told.append(("README.md", begun))
    for command in app.registered_commands:
        told += [("help", x) for x in re.findall(r"Example: (recurve .*)", command.help or "")]
    return told


def test_every_command_told_is_understood() -> None:
    """Each option and argument that the documents show is one that the commands take."""
    told = commands_told()
    assert len(told) > 50
    known = get_command(app)
    for where, line in told:
        arguments = shlex.split(line.split(" > ")[0])[1:]
        command = known.commands[arguments[0]]
        given = arguments[1:]
        if not given:
            continue
        if arguments[0] == "verify" and "SWEEP" not in given and len(given) < 2:
            given = [*given, "SWEEP"]
        command.make_context(arguments[0], [a.replace("...", "") for a in given])
        assert where


@pytest.mark.parametrize("name", ["curve", "timing", "spring", "schema"])
def test_examples_of_the_help_run(
    name: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """Those that take no time; what the others do, other tests run on the same examples."""
    shutil.copytree(ROOT / "examples", tmp_path / "examples", ignore=shutil.ignore_patterns("*-plan"))
    shutil.copytree(ROOT / "data", tmp_path / "data")
    monkeypatch.chdir(tmp_path)
    (line,) = {x for where, x in commands_told() if where == "help" and x.startswith(f"recurve {name} ")}
    monkeypatch.setattr(sys, "argv", shlex.split(line.split(" > ")[0]))
    with pytest.raises(SystemExit) as stopped:
        main()
    out, err = capsys.readouterr()
    assert stopped.value.code in (0, None) and out and not err


def test_files_named_are_there() -> None:
    for document, text in documents().items():
        for name in re.findall(r"\]\(([\w./-]+)\)", text):
            assert ((ROOT / document).parent / name).exists(), (document, name)


def test_the_readme_is_read_in_one_go() -> None:
    """A picture within the first screen, and no more than 150 lines: the reference is in examples/."""
    lines = readme().splitlines()
    assert len(lines) <= 150
    assert any(line.startswith("![") for line in lines[:30])
