"""Every report word for word against `tests/golden/`.

These texts are REGRESSION ONLY: they hold what is printed where, not that it is right, which other tests do. To renew
them after a change of the reports, and look at the difference before it is committed:

    RECURVE_RENEW=1 .venv/bin/pytest -n 0 tests/cli/test_golden.py; git diff tests/golden
"""

from __future__ import annotations

import os
import re
from collections.abc import Callable
from pathlib import Path

import pytest
from checkout import ROOT
from commands import run
from jobs import NO_SPRINGS, OUT_OF_REACH, UNDESCRIBED, without, write_job

GOLDEN = ROOT / "tests" / "golden"
FINER = ('reading = "± 0.8 deg"', 'reading = "± 0.2 deg"')

Commands = Callable[..., str]


@pytest.fixture
def output(tmp_path: Path) -> Commands:
    """Runs a command in an empty folder with the test job in it, and gives what it prints and its exit status."""

    def ran(*arguments: str) -> str:
        code, out, err = run(list(arguments), tmp_path)
        return f"$ recurve {' '.join(arguments)}\n{out}{err}exit {code}\n"

    return ran


def held(name: str, text: str, columns: int = 80) -> None:
    """The text is the one kept under this name; a line of at most so many columns, nothing that steers a terminal."""
    assert max(len(line) for line in text.splitlines()) <= columns
    assert "\x1b" not in text
    path = GOLDEN / f"{name}.txt"
    if os.environ.get("RECURVE_RENEW"):
        path.write_text(text, encoding="utf-8")
        pytest.skip(f"{path.name} renewed: look at the difference")
    assert text == path.read_text(encoding="utf-8")


def test_check(output: Commands, tmp_path: Path) -> None:
    write_job(tmp_path)
    held("check", output("check", "unit.toml"))


def test_check_of_springs_as_described(output: Commands, tmp_path: Path) -> None:
    write_job(tmp_path, without("sweep"))
    held("check-described", output("check", "unit.toml"))


def test_curve(output: Commands, tmp_path: Path) -> None:
    write_job(tmp_path)
    held("curve", output("curve", "unit.toml", "--speeds", "200:1200:100"))


def test_plan_out_of_reach(output: Commands, tmp_path: Path) -> None:
    write_job(tmp_path, OUT_OF_REACH, without("sweep"))
    held("plan-out-of-reach", output("plan", "unit.toml"))


def test_plan_where_nothing_can_be_built(output: Commands, tmp_path: Path) -> None:
    write_job(tmp_path, *UNDESCRIBED, springs=NO_SPRINGS)
    held("plan-nothing", output("plan", "unit.toml"))


def test_plan_and_verify(output: Commands, tmp_path: Path) -> None:
    """The unit left as it was found fails, and what to move is said."""
    write_job(tmp_path, FINER)
    planned = output("plan", "unit.toml")
    (tmp_path / "as-left.csv").write_bytes((tmp_path / "as-found.csv").read_bytes())
    # The fingerprint of plan.toml hangs on the twelfth digit of its numbers, which another Python may round otherwise.
    verified = re.sub(r"inputs [0-9a-f]{12}", "inputs of the plan", output("verify", "unit.toml", "as-left.csv"))
    units = re.sub(r"\([0-9a-f]{12}\)", "(number)", output("units", "."))
    held("plan-verify", f"{planned}\n{verified}\n{units}")


def test_bad_input(output: Commands, tmp_path: Path) -> None:
    write_job(tmp_path, ('"clockwise"', '"clockwize"'), ('mass = "31.5 ± 0.3 g"', 'mass = "31.5 ± 0.3 mm"'))
    held("bad-input", output("plan", "unit.toml"), columns=130)


@pytest.mark.parametrize(
    "command",
    [
        "",
        "check",
        "plan",
        "order",
        "verify",
        "timing",
        "curve",
        "start",
        "sweep",
        "draw",
        "wind",
        "spring",
        "learn",
        "units",
        "guide",
        "schema",
    ],
)
def test_help(command: str, output: Commands) -> None:
    held(f"help-{command}".rstrip("-"), output(*command.split(), "--help"))
