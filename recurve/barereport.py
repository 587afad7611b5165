"""Text and facts of a unit without weights."""

from __future__ import annotations

from typing import Any

from recurve.bothways import engine_lines, engine_rows
from recurve.checkreport import finding_facts, findings_lines
from recurve.diagnose import BareCheck
from recurve.inspectreport import inspected_facts, inspected_lines
from recurve.report import page, remarks, title_lines, wrap
from recurve.safetext import printable


def bare_text(check: BareCheck, files: tuple[str, ...] = ()) -> str:
    """The report of `recurve check` on a job without weights, stop and springs."""
    lines = [*title_lines(check.job), "", check.verdict.upper()]
    for why in check.why:
        lines += wrap(printable(why), "  - ", "    ")
    lines += [
        "",
        *(findings_lines(check.findings) if check.findings else ["Nothing is wrong with what was inspected."]),
    ]
    lines += [*inspected_lines(check.inspected, check.job.speed_ratio), *engine_lines(check.job)]
    written = ["", "Written", *(f"  {name}" for name in files)] if files else []
    return page([*lines, *remarks(check.job.notes), *written])


def bare_facts(check: BareCheck, files: tuple[str, ...] = ()) -> dict[str, Any]:
    """The `check` document of such a job: no fit and no curve."""
    return {
        "verdict": check.verdict,
        "why": list(check.why),
        "title": check.job.title,
        "fingerprint": check.job.fingerprint,
        "passing": None,
        "findings": [finding_facts(f) for f in check.findings],
        "fit": None,
        "curve": None,
        "notes": list(check.job.notes),
        **inspected_facts(check.inspected),
        "engine_target": engine_rows(check.job),
        "files": list(files),
    }
