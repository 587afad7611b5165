"""The shape of the job file as a JSON Schema (draft 2020-12), from the models that read it, so that an editor completes
and checks while one writes.

It tells keys, tables, choices and how a quantity is written. What must go together, units and sizes are told by the
commands, which know more than a schema can say.
"""

from __future__ import annotations

from typing import Any

DIALECT = "https://json-schema.org/draft/2020-12/schema"


def job_schema() -> dict[str, Any]:
    """The schema as a document; the same for the same version."""
    from recurve.jobmodel import BareModel, JobModel

    made: dict[str, Any] = _plain(JobModel.model_json_schema())
    bare = BareModel.model_json_schema()["required"]  # a unit that is only inspected or timed has no weights
    made["required"] = [key for key in made["required"] if key in bare]
    return {"$schema": DIALECT, **made, "title": "Job file of recurve"}


def _plain(node: Any) -> Any:
    """A part of the schema without what TOML has not: no null, and no titles that only repeat a key."""
    if isinstance(node, list):
        return [_plain(x) for x in node]
    if not isinstance(node, dict):
        return node
    made = {
        k: {name: _plain(part) for name, part in v.items()} if k in ("properties", "$defs") else _plain(v)
        for k, v in node.items()
        if k != "title" and (k, v) != ("default", None)
    }
    choices = [c for c in made.get("anyOf", ()) if c != {"type": "null"}]
    if not choices or len(choices) == len(made["anyOf"]):
        return made
    rest = {k: v for k, v in made.items() if k != "anyOf"}
    return {**rest, **choices[0]} if len(choices) == 1 else {**rest, "anyOf": choices}
