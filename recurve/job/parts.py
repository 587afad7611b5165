"""What can be read of a job that is not whole yet, or that the model refuses: a unit to draw, a sweep to be taken."""

from __future__ import annotations

import tomllib
from pathlib import Path
from typing import Any

from pydantic import ConfigDict, ValidationError

from recurve.errors import InputError
from recurve.job import schema as m
from recurve.job import schema_unit as u
from recurve.job.messages import faults_in
from recurve.job.unit_type import read_typed_document, with_type


class UnitPart(u.Table):
    """What a drawing needs of a job file; whatever else stands there is left alone."""

    model_config = ConfigDict(extra="ignore", frozen=True, arbitrary_types_allowed=True, defer_build=True)
    title: str = ""
    unit: str | None = None
    distributor: u.Distributor
    weights: u.Weights
    stop: u.Stop
    springs: u.Springs


class SweptPart(u.Table):
    """What taking readings needs of a job file; its tables need not be there yet."""

    model_config = ConfigDict(extra="ignore", frozen=True, arbitrary_types_allowed=True, defer_build=True)
    title: str = ""
    distributor: u.Distributor
    stop: u.Stop | None = None
    target: m.Target | None = None
    sweep: m.SweepTable | None = None


def read_unit_part(path: Path, content: bytes) -> UnitPart | None:
    """The unit's part of the job file at `path`; None where it cannot be read."""
    try:
        text = content.decode("utf-8-sig")
        return UnitPart.model_validate(with_type(path, text, tomllib.loads(text))[0])
    except (ValueError, RecursionError, InputError):
        return None


def read_swept_part(path: Path) -> tuple[SweptPart, str]:
    """The part of a job file that readings are taken by, and the file's text. Raises InputError."""
    text, document, _ = read_typed_document(path)
    return swept_part(document, text, str(path)), text


def swept_part(document: dict[str, Any], text: str, shown: str) -> SweptPart:
    """The same of nested tables, as from `text` and `shown` in messages. Raises InputError."""
    try:
        return SweptPart.model_validate(document)
    except ValidationError as error:
        raise InputError(faults_in(error, text, shown, SweptPart)) from None
