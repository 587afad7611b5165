"""JSON that commands write, held to the schema that `recurve schema` prints for it, by a general validator."""

from __future__ import annotations

import json
from functools import cache
from typing import Any

from jsonschema import Draft202012Validator

from recurve.output.documents.schemas import document_schema


@cache
def validator(command: str) -> Draft202012Validator:
    """The validator for one command's JSON."""
    return Draft202012Validator(document_schema(command))


def faults(command: str, document: Any) -> list[str]:
    """What the schema finds wrong in a document, place and fault."""
    return [f"{'.'.join(map(str, e.absolute_path))}: {e.message}" for e in validator(command).iter_errors(document)]


def held_to_schema(arguments: list[str], out: str) -> None:
    """What a command printed meets its schema, where it was asked for JSON and gave an answer."""
    if "--json" in arguments and out:
        found = faults(arguments[0], json.loads(out))
        assert not found, "\n".join(found)
