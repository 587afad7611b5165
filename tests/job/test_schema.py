"""The JSON Schema of the job file, held by a general validator (jsonschema) to jobs that read well and jobs that do not."""

from __future__ import annotations

import json
import sys
import tomllib
from importlib.resources import files
from pathlib import Path
from typing import Any

import jsonschema
import pytest
from checkout import ROOT
from jobs import JOB

from recurve.cli.app import main
from recurve.job.schema import JobModel, job_schema

EXAMPLES = sorted((ROOT / "examples").glob("*.toml"))
VALIDATOR = jsonschema.Draft202012Validator(job_schema())


def faults(text: str) -> list[str]:
    """What the schema finds wrong in a job. TOML's dates are strings to a JSON Schema."""
    document = json.loads(json.dumps(tomllib.loads(text), default=str))
    return [f"{'.'.join(map(str, e.absolute_path))}: {e.message}" for e in VALIDATOR.iter_errors(document)]


def test_it_is_a_schema() -> None:
    jsonschema.Draft202012Validator.check_schema(job_schema())
    assert "null" not in json.dumps(job_schema())


@pytest.mark.parametrize("path", EXAMPLES, ids=lambda p: p.stem)
def test_examples_meet_it(path: Path) -> None:
    assert faults(path.read_text(encoding="utf-8")) == []


@pytest.mark.parametrize("path", EXAMPLES, ids=lambda p: p.stem)
def test_examples_name_the_schema_beside_them(path: Path) -> None:
    """An editor finds it by the first line; it is what `recurve schema` prints."""
    directive, _, file = path.read_text(encoding="utf-8").splitlines()[0].partition(" ")
    assert directive == "#:schema"
    assert json.loads((path.parent / file).read_text(encoding="utf-8")) == job_schema()


def test_the_job_of_the_tests_meets_it() -> None:
    assert faults(JOB) == []


@pytest.mark.parametrize(
    ("old", "new", "where"),
    [
        ("lobes = 6", "lobs = 6", "distributor"),
        ("lobes = 6", "lobes = 60", "distributor.lobes"),
        ('"31.5 ± 0.3 g"', "31.5", "weights.mass"),
        ('"31.5 ± 0.3 g"', '"a little"', "weights.mass"),
        ('"31.5 ± 0.3 g"', '"-31.5 g"', "weights.mass"),
        ('"31.5 ± 0.3 g"', '"31.5"', "weights.mass"),
        ('"clockwise"', '"left"', "distributor.rotation"),
        ('kind = "slot"', 'kind = "cam"', "weights.motion"),
        ("[stop]\n", "[stopp]\n", ""),
        ('reading = "± 0.8 deg"', 'reading = "wide"', "sweep.reading"),
    ],
)
def test_what_the_reader_refuses_it_refuses(old: str, new: str, where: str) -> None:
    assert old in JOB
    text = JOB.replace(old, new)
    with pytest.raises(ValueError, match="validation error"):
        JobModel.model_validate(tomllib.loads(text))
    assert any(f.startswith(where) for f in faults(text)), faults(text)


@pytest.mark.parametrize("given", ['"31.5 g ± 1 %"', '"+31.5g"', '".5 +/- 0.1 oz"', '" 1e-2 kg "', '"31.5±0.3 g"'])
def test_ways_to_write_a_quantity(given: str) -> None:
    text = JOB.replace('"31.5 ± 0.3 g"', given)
    JobModel.model_validate(tomllib.loads(text))
    assert faults(text) == []


def test_every_key_of_the_models_is_in_it() -> None:
    """Every name a table of the job file has, an editor is told of."""
    made: dict[str, Any] = job_schema()
    for name, model in made["$defs"].items():
        if model.get("type") == "object":
            assert model["additionalProperties"] is False, name
    assert set(made["properties"]) == set(JobModel.model_fields)


def test_the_command_writes_it(monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> None:
    monkeypatch.setattr(sys, "argv", ["recurve", "schema"])
    with pytest.raises(SystemExit) as stopped:
        main()
    assert stopped.value.code == 0
    assert json.loads(capsys.readouterr().out) == job_schema()


def test_types_are_shipped() -> None:
    assert files("recurve").joinpath("py.typed").is_file()
