"""The same answers with one thread or two, with fewer CPU features, and with the rows of the tables in another order.

Sums that BLAS or SIMD adds up in another order differ in the last bits; what is told must not.
"""

from __future__ import annotations

import json
import os
import random
import re
import subprocess
import sys
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from checkout import ROOT
from jobs import SPRINGS, SWEEP, write_job
from same_answers import planned, said, written

from recurve.job.read import load_job

REL = 1e-9
SMALL = 1e-11  # a bend is the difference of lengths of some 10 mm: a billionth of those [m]
HEAD, *ROWS = SPRINGS.splitlines(keepends=True)
TWINS = HEAD + "".join(ROWS) + "".join(f"Z{row}" for row in ROWS)  # each spring again under another id
STATIC = ROOT / "tests" / "support" / "same_answers.py"
EXAMPLES = [p for p in sorted((ROOT / "examples").glob("*.toml")) if "[weights" in p.read_text(encoding="utf-8")]


def fewer_features() -> str:
    """The CPU features that numpy chooses at run time and that this machine has."""
    core = np._core._multiarray_umath
    return " ".join(f for f in core.__cpu_dispatch__ if core.__cpu_features__.get(f))


WAYS = {
    "one thread": {"OMP_NUM_THREADS": "1", "OPENBLAS_NUM_THREADS": "1"},
    "two threads": {"OMP_NUM_THREADS": "2", "OPENBLAS_NUM_THREADS": "2"},
    "an older CPU": {
        "OMP_NUM_THREADS": "1",
        "OPENBLAS_NUM_THREADS": "1",
        "NPY_DISABLE_CPU_FEATURES": fewer_features(),
        "OPENBLAS_CORETYPE": "Nehalem",
    },
    "another CPU": {"OPENBLAS_CORETYPE": "Haswell"},
}


def elsewhere(way: str, path: Path) -> dict[str, Any]:
    """What a run of its own says of a job, in that environment."""
    environment = {**os.environ, **WAYS[way], "PYTHONPATH": os.pathsep.join(sys.path)}
    done = subprocess.run(
        [sys.executable, str(STATIC), str(path)], env=environment, capture_output=True, text=True, check=True
    )
    return dict(json.loads(done.stdout)[str(path)])


def alike(one: Any, other: Any, where: str = "", small: float = SMALL) -> None:
    """The same words, and numbers the same within REL of their size."""
    if isinstance(one, dict):
        assert one.keys() == other.keys(), where
        for key in one:
            alike(one[key], other[key], f"{where}.{key}", small)
    elif isinstance(one, list):
        assert len(one) == len(other), where
        for index, (a, b) in enumerate(zip(one, other, strict=True)):
            alike(a, b, f"{where}[{index}]", small)
    elif isinstance(one, float):
        assert one == pytest.approx(other, rel=REL, abs=small), where
    else:
        assert one == other, where


@pytest.fixture(scope="module")
def small(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return write_job(tmp_path_factory.mktemp("job"), springs=TWINS)


@pytest.fixture(scope="module")
def here(small: Path) -> dict[str, Any]:
    return dict(json.loads(json.dumps(said(str(small)))))


def test_another_process_says_and_writes_the_same_bytes(tmp_path: Path) -> None:
    """Of a sweep, a drawing and a spring, in another folder, where texts are hashed otherwise and the day is another."""
    here, there = tmp_path / "here", tmp_path / "there"
    for folder in (here, there):
        folder.mkdir()
        write_job(folder)
    environment = {**os.environ, "PYTHONHASHSEED": "1", "TZ": "Pacific/Apia", "PYTHONPATH": os.pathsep.join(sys.path)}
    code = "import json, pathlib, same_answers; print(json.dumps(same_answers.written(pathlib.Path.cwd())))"
    done = subprocess.run(
        [sys.executable, "-c", code], cwd=there, env=environment, capture_output=True, text=True, check=True
    )
    ours, theirs = written(here), json.loads(done.stdout)
    assert {"unit-plan/fit.svg", "unit-plan/wind-primary.svg", "unit-plan/unit.svg"} < ours.keys()
    assert ours == theirs


@pytest.mark.study  # like the test above, on what fewer machines are
def test_an_older_cpu_with_one_thread_says_the_same(small: Path, here: dict[str, Any]) -> None:
    alike(elsewhere("an older CPU", small), here)


def parted(text: str) -> tuple[str, list[str]]:
    """The remarks and names of the columns at the head of a table, and its rows."""
    lines = text.splitlines(keepends=True)
    names = next(i for i, line in enumerate(lines) if not line.startswith("#"))
    return "".join(lines[: names + 1]), lines[names + 1 :]


def shuffled(text: str, seed: int) -> str:
    head, rows = parted(text)
    return head + "".join(random.Random(seed).sample(rows, len(rows)))


def falling_first(text: str) -> str:
    """The readings of a direction stay in their order, which tells how the bench was run."""
    head, rows = parted(text)
    return head + "".join(sorted(rows, key=lambda row: "rising" in row))


def points_turned(job: str) -> str:
    """The target's points the other way round."""
    block = re.search(r"(?<=^points = \[\n)(?:.*\n)*?(?=^\])", job, re.M)
    assert block is not None
    return job[: block.start()] + "".join(reversed(block[0].splitlines(keepends=True))) + job[block.end() :]


def test_the_order_of_rows_and_points_changes_nothing(here: dict[str, Any], tmp_path: Path) -> None:
    """Of springs that are equal in all but their ids which one is taken does not hang on their places either."""
    path = write_job(tmp_path, springs=shuffled(TWINS, 3), sweep=falling_first(SWEEP))
    path.write_text(points_turned(path.read_text(encoding="utf-8")), encoding="utf-8")
    alike(json.loads(json.dumps(said(str(path)))), here)


@pytest.mark.study
@pytest.mark.parametrize("path", EXAMPLES, ids=lambda p: p.stem)
def test_examples_say_the_same_everywhere(path: Path) -> None:
    here = json.loads(json.dumps(said(str(path))))
    for way in WAYS:
        alike(elsewhere(way, path), here, way)


@pytest.mark.study
@pytest.mark.parametrize("path", EXAMPLES, ids=lambda p: p.stem)
def test_examples_plan_the_same_from_tables_in_another_order(path: Path, tmp_path: Path) -> None:
    folder = tmp_path / "examples"
    folder.mkdir()
    (tmp_path / "data").mkdir()
    for table in (*path.parent.glob("*.csv"), ROOT / "data" / "springs.csv"):
        place = tmp_path / table.relative_to(ROOT)
        order = falling_first(text) if "direction" in (text := table.read_text(encoding="utf-8")) else shuffled(text, 1)
        place.write_text(order, encoding="utf-8")
    turned = folder / path.name
    turned.write_text(points_turned(path.read_text(encoding="utf-8")), encoding="utf-8")
    alike(planned(load_job(path)), planned(load_job(turned)))
