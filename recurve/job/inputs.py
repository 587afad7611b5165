"""The files that a job is told by, and digests of them, so that it can be said which one was changed since.

A drawer's count of springs, what they were taken for, what was measured of them, and the owner's own columns change while the
workshop works: they are none of what a plan rests on. Its digest is of the springs' own figures.
"""

from __future__ import annotations

import csv
import hashlib
import io
from functools import lru_cache
from pathlib import Path

from recurve.job import schema as m
from recurve.job import schema_unit as u
from recurve.job.tables import CATALOGUE_COLUMNS
from recurve.text import beside
from recurve.units import column_header

OWN_FIGURES = frozenset(CATALOGUE_COLUMNS) - {"quantity"}


def files_of(job: Path, model: m.JobModel | m.BareModel) -> dict[str, str]:
    """The files that a job names, by what they are."""
    named = {"sweep": model.sweep and model.sweep.file, "catalogue": model.catalogue and model.catalogue.file}
    if model.weights is not None and isinstance(model.weights.motion, u.ReferenceMotion):
        named["reference"] = model.weights.motion.sweep
    named["type"] = model.type
    return {"job": job.name} | {what: file for what, file in named.items() if file}


def fingerprint_of(job: Path, model: m.JobModel | m.BareModel) -> str:
    """Twelve hex digits that change with any byte of the job or of the tables it names, and where one of these is gone."""
    digest = hashlib.sha256()
    for file in _paths(job, model).values():
        content = _content(file)
        digest.update(len(content).to_bytes(8, "big") + content)
    return digest.hexdigest()[:12]


def digests_of(job: Path, model: m.JobModel | m.BareModel) -> dict[str, str]:
    """Twelve hex digits for each file, which change with what a plan takes from it, and where it is gone."""
    found = {}
    for what, file in _paths(job, model).items():
        content = _content(file)
        found[what] = hashlib.sha256(own_figures(content) if what == "catalogue" else content).hexdigest()[:12]
    return found


def _paths(job: Path, model: m.JobModel | m.BareModel) -> dict[str, Path]:
    return {what: job if what == "job" else beside(job, file) for what, file in files_of(job, model).items()}


def _content(file: Path) -> bytes:
    return file.read_bytes() if file.is_file() else b""


@lru_cache(maxsize=4)
def own_figures(content: bytes) -> bytes:
    """What a catalogue's rows say of their springs themselves; all of it where it is no table."""
    try:
        rows = [
            r for r in csv.reader(io.StringIO(content.decode("utf-8-sig"), newline="")) if any(c.strip() for c in r)
        ]
    except (UnicodeDecodeError, csv.Error):
        return content
    rows = [r for r in rows if not r[0].lstrip().startswith("#")]
    if not rows:
        return content
    kept = [i for i, cell in enumerate(rows[0]) if column_header(cell)[0] in OWN_FIGURES]
    told = [[r[i].strip() if i < len(r) else "" for i in kept] for r in rows]
    return "\n".join("\t".join(r) for r in told).encode("utf-8")
