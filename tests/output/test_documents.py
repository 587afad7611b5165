"""The JSON of every command meets its schema, and a document with a key too few, too many or of another type does not.

Every test that runs a command with --json (`run` of commands, `judge` of fuzz) holds what it printed to the schema too.
"""

from __future__ import annotations

import json
import re
from collections.abc import Iterator
from pathlib import Path
from typing import Any, get_args

import jsonschema
import pytest
from checkout import EXAMPLES
from commands import run
from documents import faults, validator
from example_plans import example
from jobs import BY_HAND, NO_SPRINGS, OUT_OF_REACH, SPRINGS, UNDESCRIBED, without, write_job
from pydantic import ValidationError

from recurve.cli.console import app
from recurve.cli.show import Of
from recurve.diagnosis import check as diagnosed
from recurve.diagnosis import verify as verified
from recurve.fit import fit as fitted
from recurve.fit.priors import TENSIONS
from recurve.inspection import bench, findings
from recurve.output.documents import base
from recurve.output.documents import check as check_documents
from recurve.output.documents import curve as curve_documents
from recurve.output.documents import plan as plan_documents
from recurve.output.documents import timing as timing_documents
from recurve.output.documents.condition import InspectedCheck
from recurve.output.documents.curve import CurveDocument
from recurve.output.documents.fit import Parameter
from recurve.output.documents.schemas import DOCUMENTS, document_schema
from recurve.output.documents.springs import Rooms, StressUsed
from recurve.physics import target
from recurve.planner import plan as planned
from recurve.springs import winding
from recurve.units import PLACES

FERRY = EXAMPLES / "ferry.toml"
HUNG = ["100 g at 14.2 mm", "300 g at 16.1 mm"]


def written(arguments: list[str]) -> dict[str, Any]:
    """The document that a command writes."""
    code, out, err = run([*arguments, "--json"])
    assert code in (0, 3), err
    base: dict[str, Any] = json.loads(out)
    return base


@pytest.mark.parametrize("command", DOCUMENTS)
def test_it_is_a_schema_with_a_unit_for_every_number(command: str) -> None:
    made = document_schema(command)
    jsonschema.Draft202012Validator.check_schema(made)
    objects = [made, *made.get("$defs", {}).values()]
    for one in objects:
        assert one["description"], one["title"]
        for key, value in one.get("properties", {}).items():
            if {"number", "integer"} & set(re.findall(r'"type": "(\w+)"', json.dumps(value))):
                assert re.search(r"\[[^\]]+\]$", value.get("description", "")), f"{one['title']}.{key} has no unit"
        if one.get("type") == "object":
            assert one["additionalProperties"] is False
            assert set(one["required"]) == set(one["properties"]), one["title"]


def test_every_command_with_json_has_one() -> None:
    """The commands that have --json, from the application itself."""
    have = {
        c.name or c.callback.__name__
        for c in app.registered_commands
        if c.callback is not None and "as_json" in c.callback.__annotations__
    }
    assert have == set(DOCUMENTS) == {o.value for o in Of} - {"job"}


@pytest.mark.parametrize("name", ["launch", "tractor", "pump", "genset"])
def test_curves_of_the_examples(name: str) -> None:
    """Of all but the ferry, which has no weights, and the crane, whose springs are not described."""
    assert faults("curve", CurveDocument.of_job(example(name)).as_json()) == []


@pytest.mark.parametrize(
    ("changes", "springs"),
    [
        ([without("sweep"), without("springs.secondary")], SPRINGS),
        ([OUT_OF_REACH, without("sweep")], SPRINGS),
        (UNDESCRIBED, NO_SPRINGS),
    ],
    ids=["one spring", "out of reach", "nothing can be built"],
)
def test_plans(changes: list[tuple[str, str]], springs: str, tmp_path: Path) -> None:
    made = written(["plan", str(write_job(tmp_path, *changes, springs=springs))])
    assert faults("plan", {"jobs": [{"job": "a", "status": 0, "plan": made, "faults": []}]}) == []


def test_a_unit_without_weights(tmp_path: Path) -> None:
    """The ferry has an inspection, a vacuum unit, an engine, and no weights."""
    path = tmp_path / "ferry.toml"
    for file in EXAMPLES.glob("ferry*.*"):
        (tmp_path / file.name).write_bytes(file.read_bytes())
    checked = written(["check", str(path)])
    assert checked["fit"] is None and checked["condition"]["checks"]
    assert written(["timing", str(path)])["table"]["planned_deg"] is None


def sample(command: str, folder: Path) -> dict[str, Any]:
    """A rich document of each command, of the test job."""
    path = str(write_job(folder, *([] if command == "verify" else [without("sweep")])))
    if command == "timing":
        path = str(folder / "ferry.toml")
        for file in EXAMPLES.glob("ferry*.*"):
            (folder / file.name).write_bytes(file.read_bytes())
    rest = {
        "plan": [path, "--top", "2"],
        "verify": [path, str(folder / "as-found.csv")],
        "wind": [path, *BY_HAND],
        "spring": [*HUNG, "--free-length", "13.2 mm"],
        "units": [str(folder)],
        "learn": [path, "--to", str(folder / "type.toml"), "--replace"],
    }
    return written([command, *rest.get(command, [path])])


def spoilt(document: Any) -> Iterator[tuple[str, Any]]:
    """Copies of a document, each with one thing wrong: a key missing, a key too many, a value of another type. Of a
    list only the first is looked into: the others are alike."""
    if isinstance(document, list):
        for place, inner in spoilt(document[0]) if document else ():
            yield f"[0]{place}", [inner, *document[1:]]
    elif isinstance(document, dict):
        yield " has a key too many", {**document, "one_too_many": 1}
        for key, value in document.items():
            yield f".{key} is missing", {k: v for k, v in document.items() if k != key}
            yield f".{key} of another type", {**document, key: {"neither": "number nor text"}}
            for place, inner in spoilt(value):
                yield f".{key}{place}", {**document, key: inner}


# Objects whose keys are names, so that any of them may be absent.
NAMED = re.compile(r"(^\.fit\.parameters|^\.totals|^\.springs|^\.findings\[\d+\]\.numbers)\.[\w. ]+ is missing")


@pytest.mark.parametrize("command", DOCUMENTS)
def test_what_is_wrong_is_refused(command: str, tmp_path: Path) -> None:
    document = sample(command, tmp_path)
    held = validator(command)
    assert held.is_valid(document)
    taken = 0
    for place, wrong in spoilt(document):
        named = command in ("check", "verify", "timing", "wind") and re.fullmatch(NAMED, place)
        assert named or not held.is_valid(wrong), place
        taken += 1
    assert taken > 2 * len(document)


@pytest.mark.parametrize("command", DOCUMENTS)
def test_the_command_prints_it(command: str) -> None:
    code, out, err = run(["schema", command])
    assert (code, err) == (0, "")
    assert json.loads(out) == document_schema(command)


def test_the_kinds_are_the_ones_of_the_code() -> None:
    """Words that the shapes list are those that the answers may take."""

    def choices(shape: Any, key: str) -> set[str]:
        return set(get_args(shape.model_fields[key].annotation))

    assert choices(check_documents.CheckDocument, "verdict") == set(get_args(diagnosed.CheckVerdict))
    assert choices(check_documents.FindingDocument, "severity") == set(get_args(findings.Severity))
    assert choices(InspectedCheck, "verdict") == set(get_args(bench.LimitVerdict))
    assert choices(plan_documents.PlanDocument, "verdict") == set(get_args(planned.PlanVerdict))
    assert choices(plan_documents.PlannedBand, "band") == set(get_args(target.Kind))
    assert set(get_args(base.VerifyVerdict)) == set(get_args(verified.VerifyVerdict))
    assert set(get_args(base.PlaceName)) == set(PLACES)
    assert list(Rooms.model_fields) == [n.replace(" ", "_") for n in winding.LIMITS]
    assert list(StressUsed.model_fields) == [n.replace(" ", "_") for n in winding.STRESSES]
    assert [f"{n.replace(' ', '_')}_deg" for n in get_args(timing_documents.CurveName)] == [
        key for key in timing_documents.TimingTable.model_fields if key.endswith("_deg")
    ]
    plain = set(fitted._PLAIN) | {*TENSIONS, "scale"}
    assert plain < set(get_args(Parameter))


LONG_JUMP = {"from_deg": 1.0, "to_deg": 4.0, "speed_rpm": 700.0}


@pytest.mark.parametrize(
    "wrong",
    [{"to_deg": float("nan")}, {"to_deg": float("inf")}, {"to_deg": "far"}, {"to_deg": None}, {"one_too_many": 1.0}],
    ids=str,
)
def test_a_document_is_validated_as_it_is_built(wrong: dict[str, Any]) -> None:
    assert curve_documents.Snap(**LONG_JUMP).as_json() == LONG_JUMP
    with pytest.raises(ValidationError):
        curve_documents.Snap(**{**LONG_JUMP, **wrong})


def test_a_document_cannot_be_changed_but_told_its_files(tmp_path: Path) -> None:
    document = plan_documents.PlanDocument.model_validate(sample("plan", tmp_path))
    with pytest.raises(ValidationError):
        document.files = []
    told = document.with_files(("a.svg", "b.pdf"))
    assert told.files == ["a.svg", "b.pdf"] and document.files != told.files
    assert {**told.as_json(), "files": document.files} == document.as_json()
    with pytest.raises(ValidationError):
        curve_documents.Snap(**LONG_JUMP).with_files(())


@pytest.mark.parametrize("command", DOCUMENTS)
def test_what_is_printed_is_the_document_that_can_be_read_again(command: str, tmp_path: Path) -> None:
    """Keys, their order and every number, whole ones as such."""
    printed = sample(command, tmp_path)
    shape = plan_documents.PlanDocument if command == "plan" else DOCUMENTS[command]
    assert json.dumps(shape.model_validate(printed).as_json()) == json.dumps(printed)
