"""No input is silent: every key of the job file changes a number of some command, or the command says why it does not.

What it changes to is right or wrong by other tests; this one only shows that nothing that was measured is thrown away.
"""

from __future__ import annotations

import copy
import re
import tomllib
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
import tomli_w
from every_key import JOBS, TYPE, leaves, named, outcomes
from jobs import SPRINGS, SWEEP
from longer import some

from recurve.errors import RecurveError
from recurve.job.schema import job_schema

# What a word becomes; numbers become a twentieth more.
OTHER: dict[str, Any] = {
    "clockwise": "anticlockwise", "base": "cam", "distributor": "crank", "crank": "distributor", "rising": "falling",
    "with rotation": "against rotation", "one way": "free", "other way": "free", "free": "stiff", "sound": "loose",
    "holds": "leaks", "advance": "retard", "points": "electronic", "falling": "rising",
}  # fmt: skip
AT: dict[str, Any] = {
    "condition.weight_pins": "worn",
    "springs.primary.at_rest": "slack",
    "springs.secondary.at_rest": "pulls",
    "condition.angles.set": 2,
    "condition.angles.pushed": "free",
    "distributor.lobes": 6,
    "vacuum.hold.left": "14 inHg",
    "condition.side_play_load": "9 N",
    "condition.side_play_ways": "0.09 mm",
    "vacuum.points.tolerance": "2 deg",
    "timing.full_load_vacuum": "11 inHg",
    "timing.top_speed": "700 rpm",
    "catalogue.file": "other-springs.csv",
    "type": "other-type.toml",
    "sweep.file": "other-sweep.csv",
    "weights.motion.sweep": "other-sweep.csv",
    "springs.primary.posts.far.on": "base",
    "springs.secondary.posts.far.on": "base",
}
# Keys that name what is measured, not a measurement: shown on what is printed, and counted in nothing.
NAMES = {"title", "unit", "date"}
# Which shape a table has: another one has other keys, each of which is tried itself.
SHAPES = {"weights.motion.kind", "springs.primary.posts.kind", "springs.secondary.posts.kind"}
# [planned] is written by `recurve plan` for `recurve verify` and `units`, and tried with them (tests/cli/test_commands.py).


def keys_of(node: dict[str, Any], whole: dict[str, Any], path: tuple[str, ...] = ()) -> Iterator[str]:
    """Every key of the job's schema that holds no table, as "target.points.speed"."""
    if "$ref" in node:
        yield from keys_of(whole["$defs"][node["$ref"].rpartition("/")[2]], whole, path)
    elif "properties" in node:
        for key, inner in node["properties"].items():
            yield from keys_of(inner, whole, (*path, key))
    elif choices := [*node.get("anyOf", ()), *node.get("oneOf", ()), *node.get("prefixItems", ())]:
        for choice in choices:
            yield from keys_of(choice, whole, path)
    elif node.get("type") == "array" and isinstance(node.get("items"), dict):
        yield from keys_of(node["items"], whole, path)
    else:
        yield ".".join(path)


KEYS = sorted(set(keys_of(job_schema(), job_schema())))
TRIED = [key for key in KEYS if key not in NAMES | SHAPES and not key.startswith("planned.")]
# What only a plan or a fit shows takes long: a few of each in the normal run, all of them with the studies.
LONG = ("build.", "sweep.", "target.", "weights.motion.", "springs.primary.post_", "springs.secondary.post_", "stop.")


def other(key: str, value: Any) -> Any:
    """Another value for a key, near the one that is given."""
    if key in AT:
        return AT[key]
    if isinstance(value, str):
        if value in OTHER:
            return OTHER[value]
        number = re.search(r"\d+(\.\d+)?", value)
        assert number is not None, (key, value)
        more = 1.05 * float(number[0]) or 0.5
        return f"{value[: number.start()]}{more:.6g}{value[number.end() :]}"
    return not value if isinstance(value, bool) else value + 1 if isinstance(value, int) else 1.05 * value


def changed(document: dict[str, Any], path: tuple[str | int, ...]) -> dict[str, Any]:
    """The document with the value at this place changed."""
    made = copy.deepcopy(document)
    at: Any = made
    for part in path[:-1]:
        at = at[part]
    at[path[-1]] = other(named(path), at[path[-1]])
    return made


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    made = tmp_path_factory.mktemp("keys")
    (made / "springs.csv").write_text(SPRINGS, encoding="utf-8")
    (made / "other-springs.csv").write_text(SPRINGS.replace(",1.", ",1.4").replace(",3.5", ",3.2"), encoding="utf-8")
    for name in ("as-found.csv", "reference.csv"):
        (made / name).write_text(SWEEP, encoding="utf-8")
    (made / "type.toml").write_text(TYPE, encoding="utf-8")
    (made / "other-type.toml").write_text(TYPE.replace("31.5 g", "36.5 g"), encoding="utf-8")
    (made / "other-sweep.csv").write_text(SWEEP.replace("6.2", "6.0"), encoding="utf-8")
    return made


@pytest.fixture(scope="module")
def before(folder: Path) -> dict[str, dict[str, str]]:
    """What the commands answer to each job as it is, filled in as it is asked for."""
    return {}


def answers(folder: Path, document: dict[str, Any]) -> Iterator[tuple[str, str]]:
    path = folder / "unit.toml"
    path.write_text(tomli_w.dumps(document), encoding="utf-8")
    return outcomes(path)


def test_the_jobs_give_every_key() -> None:
    given = {named(path) for text in JOBS.values() for path in leaves(tomllib.loads(text))}
    assert sorted(set(TRIED) - given) == []


@pytest.mark.parametrize(
    "key",
    [*(key for key in TRIED if not key.startswith(LONG)), *some([key for key in TRIED if key.startswith(LONG)], 8)],
)
def test_a_key_changes_something_or_is_said_not_to(folder: Path, before: dict[str, dict[str, str]], key: str) -> None:
    silent = []
    word = key.rpartition(".")[2]
    for name, text in JOBS.items():
        document = tomllib.loads(text)
        # The last row of a list first: an advance of 0 in the first may not be changed.
        for path in reversed([p for p in leaves(document) if named(p) == key]):
            if name not in before:
                before[name] = dict(answers(folder, document))
            try:
                for command, answer in answers(folder, changed(document, path)):
                    if answer != before[name].get(command) or re.search(rf"[Nn]ot used[^\"]*\b{word}\b", answer):
                        return
            except RecurveError as refused:
                assert re.search(rf"\b{word}\b", str(refused)), refused  # a change that cannot be is told by its name
                return
            silent.append((name, path))
    pytest.fail(f"{key} changes no number of any command: {silent}")
