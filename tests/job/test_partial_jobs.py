"""Jobs of which not all is known yet: whatever is stated can be read, and knowing more never ends in a refusal."""

from __future__ import annotations

import json
import re
import shutil
from pathlib import Path

import pytest
from checkout import EXAMPLES, ROOT
from commands import run
from hypothesis import given
from hypothesis import strategies as st

from recurve.errors import InputError
from recurve.job.model import BareJob, Job
from recurve.job.read import load_any, load_job

# What a person may know of the launch (invented), piece by piece: how each is taken out of its job.
PIECES: dict[str, str] = {
    "mass": r"^mass = .*\n",
    "motion": r"^\[weights\.motion\]\n(?:\w+ = .*\n)+",
    "weights": r"^\[weights\]\n(?:.*\n)*?(?=\[stop\])",
    "stop": r"^\[stop\]\n(?:.*\n)*?(?=\[drag\])",
    "largest advance": r"^advance = \"13.8.*\n",
    "drag": r"^\[drag\]\n(?:.*\n)*?(?=\[springs)",
    "primary": r"^\[springs\.primary\](?:.*\n)*?(?=\[springs\.secondary)",
    "posts": r"^\[springs\.\w+\.posts\]\n(?:\w+ = .*\n)+",
    "rates": r"^rate = .*\n",
    "takeups": r"^takeup = .*\n",
    "springs": r"^\[springs\.primary\](?:.*\n)*?(?=\[target\])",
    "target": r"^\[target\]\n(?:.*\n)*?(?=\[sweep\])",
    "sweep": r"^\[sweep\]\n(?:.*\n)*?(?=\[catalogue\])",
    "catalogue": r"^\[catalogue\]\n.*\n",
}
LAUNCH = (EXAMPLES / "launch.toml").read_text(encoding="utf-8")


def job_without(folder: Path, *pieces: str) -> Path:
    """The launch's job without these pieces, in its order; its tables beside it."""
    text = LAUNCH.replace("../data/", "")
    for piece in pieces:
        text = re.sub(PIECES[piece], "", text, flags=re.M)
    for table in (EXAMPLES / "launch-as-found.csv", ROOT / "data" / "springs.csv"):
        shutil.copy(table, folder / table.name)
    path = folder / "unit.toml"
    path.write_text(text, encoding="utf-8")
    return path


@pytest.mark.parametrize("piece", PIECES)
def test_each_piece_is_there_to_be_taken_out(piece: str) -> None:
    assert re.search(PIECES[piece], LAUNCH, flags=re.M)


@given(st.sets(st.sampled_from(sorted(PIECES))))
def test_any_part_of_what_can_be_known_is_read(tmp_path_factory: pytest.TempPathFactory, pieces: set[str]) -> None:
    job = load_any(job_without(tmp_path_factory.mktemp("part"), *sorted(pieces, key=list(PIECES).index)))
    whole = not pieces & {"mass", "motion", "weights", "stop", "largest advance", "primary", "posts", "springs"}
    assert isinstance(job, Job if whole else BareJob)


@pytest.mark.parametrize(
    ("pieces", "named"),
    [
        (["mass"], "weights.mass"),
        (["motion"], "weights.motion"),
        (["weights"], "weights"),
        (["stop"], "stop"),
        (["largest advance"], "stop.advance"),
        (["posts"], "springs.primary.posts"),
        (["primary"], "springs.primary"),
    ],
    ids=lambda x: x[0] if isinstance(x, list) else "",
)
def test_what_a_plan_still_needs_is_named_and_the_rest_is_judged(tmp_path: Path, pieces: list[str], named: str) -> None:
    path = job_without(tmp_path, *pieces, "sweep")
    with pytest.raises(InputError, match=rf"{re.escape(named)}: missing, expected"):
        load_job(path)
    status, out, err = run(["check", str(path), "--json"])
    assert (status, err) == (0, "")
    told = json.loads(out)
    assert told["verdict"] == "facts only"
    assert any("sweep the unit on the bench" in step["measure"] for step in told["next"])
    assert any(f"[{named.removesuffix('.advance').split('.mass')[0]}" in step["measure"] for step in told["next"])
    assert "plan" in told["next"][-1]["gain"]


def test_a_sweep_is_looked_at_though_the_springs_are_not_measured(tmp_path: Path) -> None:
    """The readings are those of the launch: 6 to 7 degrees at 400 rpm, where its card allows 2.5."""
    status, out, _ = run(["check", str(job_without(tmp_path, "posts")), "--json"])
    told = json.loads(out)
    assert status == 3
    early = next(b for b in told["targets"] if b["speed_rpm"] == 400)
    assert 6.0 < early["rising_deg"]["value"] < 7.5 and early["above"] > 0.95
    assert any("springs" in note and "not used until" in note for note in told["notes"])


def test_a_wrong_key_is_told_and_not_taken_for_a_part_not_known(tmp_path: Path) -> None:
    path = job_without(tmp_path)
    path.write_text(path.read_text(encoding="utf-8").replace("mass =", "mas ="), encoding="utf-8")
    with pytest.raises(InputError) as fault:
        load_any(path)
    assert 'did you mean "mass"?' in str(fault.value)
    assert "weights.mass: missing" in str(fault.value)


def test_a_job_of_nothing_but_the_distributor_is_told_what_could_come_next(tmp_path: Path) -> None:
    """The book, the sweep and the parts; and wear, vacuum unit and timing, which no plan needs."""
    path = tmp_path / "unit.toml"
    path.write_text('title = "Bare, invented"\n[distributor]\nlobes = 4\nrotation = "clockwise"\n', encoding="utf-8")
    code, out, err = run(["check", str(path)])
    assert (code, err) == (0, "")
    told = " ".join(out.split())
    for table in ("target", "stop", "springs", "weights", "condition", "vacuum", "timing"):
        assert f"[{table}]" in told, table
    assert "recurve sweep" in told and told.index("[target]") < told.index("[weights]") < told.index("[condition]")
    path.write_text(path.read_text(encoding="utf-8") + '[condition]\nside_play = "0.05 mm"\n', encoding="utf-8")
    assert "if you wish" not in run(["check", str(path)])[1]
