"""The JSON Schema (draft 2020-12) of what each command writes with `--json`, for programs that read it."""

from __future__ import annotations

from typing import Any

from pydantic import TypeAdapter
from pydantic.json_schema import GenerateJsonSchema

from recurve.job.schema import DIALECT
from recurve.output.documents.check import CheckDocument, VerifyDocument
from recurve.output.documents.curve import CurveDocument
from recurve.output.documents.learn import LearnDocument
from recurve.output.documents.order import OrderDocument
from recurve.output.documents.plan import PlanOutput
from recurve.output.documents.springs import SpringDocument, WindDocument
from recurve.output.documents.timing import TimingDocument
from recurve.output.documents.units import UnitsDocument

DOCUMENTS: dict[str, Any] = {
    "check": CheckDocument,
    "plan": PlanOutput,
    "verify": VerifyDocument,
    "timing": TimingDocument,
    "curve": CurveDocument,
    "wind": WindDocument,
    "spring": SpringDocument,
    "learn": LearnDocument,
    "units": UnitsDocument,
    "order": OrderDocument,
}


class _Plain(GenerateJsonSchema):
    """Without titles that only repeat a key."""

    def field_title_should_be_set(self, schema: Any) -> bool:
        return False


def document_schema(command: str) -> dict[str, Any]:
    """The schema of what `command --json` writes; KeyError where there is none of that name."""
    made = TypeAdapter(DOCUMENTS[command]).json_schema(schema_generator=_Plain, mode="validation")
    return {"$schema": DIALECT, **made, "title": f"JSON of recurve {command}"}
