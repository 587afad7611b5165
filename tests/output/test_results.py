"""`plan` of several jobs: each told, none stops another; statuses, the summary and the document."""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path

import pytest
from commands import run
from jobs import without, write_job

from recurve.errors import PhysicsError
from recurve.output import results
from recurve.output.results import Asked, Planned, guarded, plan_jobs, summary, worst_status
from recurve.planner.springset import Constraints


def test_several_jobs(tmp_path: Path) -> None:
    """One that passes, one that cannot be read, one that is out of reach: each told, none stops another."""
    folders = [tmp_path / name for name in ("good", "bad", "far")]
    for folder in folders:
        folder.mkdir()
    good = write_job(folders[0], without("sweep"))
    bad = write_job(folders[1], ("lobes = 6", "lobes = 0"))
    far = write_job(folders[2], ('maximum = { advance = "11 deg"', 'maximum = { advance = "25 deg"'), without("sweep"))
    planned = plan_jobs([good, bad, far], Asked("yield", Constraints(), 0, "a4"), lambda text: None)
    assert [p.status for p in planned] == [0, 2, 3]
    assert "lobes" in planned[1].faults[0]
    assert (folders[0] / "unit-plan" / "sheet.pdf").exists()
    assert (folders[2] / "unit-plan" / "order.csv").exists()
    assert worst_status(planned) == 2
    table = summary(planned)
    assert max(len(line) for line in table.splitlines()) <= 80
    assert "1 of 3 jobs pass" in table


def test_the_worst_status() -> None:
    """A crash, then bad input, then an answer that is no."""
    made = {s: Planned("x", s, None, "") for s in (0, 1, 2, 3)}
    assert worst_status(list(made.values())) == 1
    assert worst_status([made[0], made[3], made[2]]) == 2
    assert worst_status([made[0], made[3]]) == 3
    assert worst_status([made[0]]) == 0


def test_several_bad_jobs_are_all_told(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Each fault on stderr, each job in the summary or the document, exit 2; in this process instead of others."""
    bad = write_job(tmp_path, ("lobes = 6", "lobes = 0"))
    monkeypatch.setattr(results, "plan_jobs", lambda paths, asked, report: [guarded(path, asked) for path in paths])
    arguments = ["plan", str(bad), str(tmp_path / "none.toml")]
    code, out, err = run(arguments)
    assert code == 2
    assert "0 of 2 jobs pass" in out and out.count("bad input") == 2
    assert "distributor.lobes" in err and "none.toml" in err
    code, out, _ = run([*arguments, "--json"])
    assert code == 2
    assert [(one["status"], one["plan"], bool(one["faults"])) for one in json.loads(out)["jobs"]] == [
        (2, None, True)
    ] * 2


def fails_with(error: Exception) -> Callable[..., None]:
    def raising(*_: object) -> None:
        raise error

    return raising


@pytest.mark.parametrize(
    ("error", "status", "told"),
    [(PhysicsError("the weights bind"), 2, "the weights bind"), (ZeroDivisionError("oh"), 1, "Traceback")],
)
def test_a_crash_is_told_in_full_and_a_fault_in_a_line(
    error: Exception, status: int, told: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(results, "plan_job", fails_with(error))
    made = guarded(tmp_path / "unit.toml", Asked("yield", Constraints(), 0, "a4"))
    assert made.status == status
    assert told in made.faults[0]
