"""Plans one job, or many side by side: from the job file to the results on disk."""

from __future__ import annotations

import os
import traceback
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from recurve.errors import InputError, RecurveError
from recurve.planner.plan import Choose, Plan, PlanVerdict, make_plan
from recurve.planner.search import Report
from recurve.planner.springset import Constraints
from recurve.uncertainty import chance_words
from recurve.units import LengthUnits, Paper

if TYPE_CHECKING:
    from recurve.output.documents.plan import PlanDocument, PlansDocument

CRASHED, BAD_INPUT, ANSWER_IS_NO = 1, 2, 3


@dataclass(frozen=True)
class Asked:
    """The options of `recurve plan`."""

    choose: Choose
    constraints: Constraints
    top: int
    paper: Paper
    units: LengthUnits = "both"
    html: bool = False


@dataclass(frozen=True)
class Planned:
    """What became of one job: its `status` as an exit status, its `document` and report `text`, or the `faults`."""

    job: str
    status: int
    document: PlanDocument | None
    text: str
    faults: tuple[str, ...] = ()

    @property
    def verdict(self) -> PlanVerdict | None:
        """The plan's verdict; None without a plan."""
        return None if self.document is None else self.document.verdict


def plan_job(path: Path, asked: Asked, report: Report) -> Planned:
    """Read, plan and write one job. Raises InputError, OutputError or PhysicsError."""
    from recurve.job.read import load_job
    from recurve.output.documents.plan import PlanDocument
    from recurve.output.planfile import read_to_write
    from recurve.output.text.plan import plan_text

    report("Reading the job")
    read = read_to_write(lambda: load_job(path), path)
    report("Searching the springs")
    made = make_plan(read, asked.choose, asked.constraints, asked.top, report)
    report("Drawing the plot and the sheet")
    document = PlanDocument.of(made)
    document = document.with_files(write_results(made, document, asked))
    trusted = document.trust.ok and (made.checked is None or made.checked.agrees)
    status = 0 if trusted and made.verdict not in ("out of reach", "may not pass") else ANSWER_IS_NO
    return Planned(str(path), status, document, plan_text(made, document=document))


def write_results(made: Plan, document: PlanDocument, asked: Asked) -> tuple[str, ...]:
    """Write all files of a plan. Everything is made before the first is written."""
    from recurve.files import write_folder
    from recurve.output.figures.plan import narrow_figure_svg, plan_figure_bytes
    from recurve.output.figures.window import window_svg
    from recurve.output.planfile import order_csv, plan_folder, plan_toml
    from recurve.output.sheet.blocks import ready_parts
    from recurve.output.sheet.sheet import page_html, sheet_pdf

    figures = plan_figure_bytes(made)
    contents: dict[str, bytes] = {}
    if made.build is not None:
        contents["plan.toml"] = plan_toml(made)
    given, drawn = ready_parts(made, document, asked.units)
    sheet = sheet_pdf(made, figures["curve.svg"], asked.paper, asked.units, given, drawn, document)
    contents |= {**figures, "sheet.pdf": sheet, "order.csv": order_csv(made, asked.units)}
    if asked.html:
        page_figures = {"curve.svg": figures["curve.svg"], **drawn, "curve-narrow.svg": narrow_figure_svg(made)}
        contents["report.html"] = page_html(made, page_figures, asked.units, given, document)
    window = window_svg(made)
    contents |= {"window.svg": window} if window else {}
    stale = tuple(name for name in ("plan.toml", "window.svg") if name not in contents)
    return write_folder(plan_folder(made.job.path), contents, stale)


def plan_jobs(paths: Sequence[Path], asked: Asked, report: Report) -> list[Planned]:
    """Plan several jobs side by side, one process per processor. The results are in the order of `paths`; a fault in one
    job is reported in its place and does not stop the others."""
    from concurrent.futures import ProcessPoolExecutor
    from multiprocessing import get_context

    workers = min(len(paths), os.cpu_count() or 1)
    with ProcessPoolExecutor(workers, mp_context=get_context("spawn")) as pool:
        waiting = [pool.submit(guarded, path, asked) for path in paths]
        return list(_gathered(paths, [w.result for w in waiting], report))


def _gathered(paths: Sequence[Path], results: Sequence[Callable[[], Planned]], report: Report) -> Iterator[Planned]:
    for done, (path, result) in enumerate(zip(paths, results, strict=True)):
        try:
            yield result()
        except Exception as crash:  # a worker that died loses its own job, not the results of the others
            yield Planned(str(path), CRASHED, None, "", (f"{path}: the process that planned it ended: {crash!r}",))
        report(f"{done + 1} of {len(paths)} planned")


def guarded(path: Path, asked: Asked) -> Planned:
    """Plan one job. Whatever goes wrong is part of the result."""
    try:
        return plan_job(path, asked, lambda text: None)
    except InputError as error:
        return Planned(str(path), BAD_INPUT, None, "", tuple(error.faults))
    except RecurveError as error:
        return Planned(str(path), BAD_INPUT, None, "", (str(error),))
    except Exception:  # a bug: reported in full, while the other jobs go on
        return Planned(str(path), CRASHED, None, "", tuple(traceback.format_exc().splitlines()))


def worst_status(planned: Sequence[Planned]) -> int:
    """The exit status for all: a crash before bad input, bad input before a plan out of reach, 0 if all pass."""
    return next((s for s in (CRASHED, BAD_INPUT, ANSWER_IS_NO) if any(p.status == s for p in planned)), 0)


def plans_document(planned: Sequence[Planned]) -> PlansDocument:
    """The JSON document of several jobs, in the order given."""
    from recurve.output.documents.plan import JobOfMany, PlansDocument

    return PlansDocument(
        jobs=[JobOfMany(job=p.job, status=p.status, plan=p.document, faults=list(p.faults)) for p in planned]
    )


def summary(planned: Sequence[Planned]) -> str:
    """One line per job, at most 80 columns."""
    lines = ["Job                     verdict                 margin  chance  springs"]
    for one in planned:
        name, document = Path(one.job).name, one.document
        if document is None:
            what = "crashed" if one.status == CRASHED else "bad input"
            lines.append(f"{name:<24.24}{what:<24}")
            continue
        margin = "-" if document.margin is None else f"{document.margin:.2f}"
        chance = "-" if document.yield_ is None or one.status else f"{chance_words(document.yield_)}"
        ids = " + ".join(s.id for _, s in document.springs.in_place) or "-"
        lines.append(f"{name:<24.24}{document.verdict:<24}{margin:>6} {chance:>7}  {ids:<17.17}".rstrip())
    passing = sum(p.status == 0 for p in planned)
    return "\n".join([*lines, f"{passing} of {len(planned)} jobs pass"]) + "\n"
