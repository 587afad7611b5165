"""A unit judged, as found or as left: from the job file to the results on disk, the report and the answer.

What `recurve check`, `recurve verify` and the page share.
"""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from recurve.diagnosis.as_set import AsSet
from recurve.diagnosis.check import check_bare, check_unit, without_curve
from recurve.errors import Gathered
from recurve.files import check_writable, write_folder
from recurve.inspection.findings import Finding
from recurve.job.as_left import read_set
from recurve.job.model import BareJob, Job
from recurve.job.read import load_any, load_job, read_as_left, readings_of
from recurve.output.documents.check import CheckDocument, VerifyDocument
from recurve.output.drawer import NOTHING_ASKED, DrawerAsked, DrawerEdit, drawer_of
from recurve.output.planfile import changed_since, plan_folder, plan_path, read_planned, read_to_write
from recurve.physics.sweep import Sweep
from recurve.planner.search import Report
from recurve.units import LengthUnits, Paper, is_of

# Findings that are no clean bill, whatever the curve is like.
WRONG = ("check first", "repair first", "high", "medium")


@dataclass(frozen=True)
class FoundResult:
    """A unit judged as found: its `document`, the report's `text`, whether the answer is `good`: nothing is wrong; and whether
    the unit was `whole`, with weights, so that it could be fitted."""

    document: CheckDocument
    text: str
    good: bool
    whole: bool


@dataclass(frozen=True)
class LeftResult:
    """A finished unit judged: its `document`, the report's `text`, whether it passes and may be trusted (`good`), and what is
    to be said of the plan it was judged by, `remark`, empty where there is nothing."""

    document: VerifyDocument
    text: str
    good: bool
    remark: str


@dataclass(frozen=True)
class AskedFound:
    """What is asked of the sheet of a unit as found: its `paper`, whether also as a page (`html`), and the `units` of lengths,
    rates, forces and moments."""

    paper: Paper = "a4"
    html: bool = False
    units: LengthUnits = "both"


def judge_found(path: Path, asked: AskedFound, report: Report) -> FoundResult:
    """Judge the unit of a job file as found, and write what is drawn of it into its plan's folder. Raises InputError,
    OutputError and PhysicsError."""
    read = read_to_write(lambda: load_any(path), path, _draws)
    if isinstance(read, BareJob) or without_curve(read):
        return _bare(path, read, asked, report)
    from recurve.output.figures.check import check_figure_bytes
    from recurve.output.figures.timing import coil_figure_bytes
    from recurve.output.text.check import check_text

    report("Fitting the sweep")
    result = check_unit(read)
    bench = None if result.inspected is None else result.inspected.bench
    coil = coil_figure_bytes(() if bench is None else bench.charges, read.speed_ratio, read.fingerprint)
    stale = () if coil else ("coil.svg", "coil.png")
    document = CheckDocument.of(result)
    contents = check_figure_bytes(result) | coil | {"as-found.toml": found_toml(document)}
    if asked.html:
        contents |= _papers(read, document, contents, asked)
    document = document.with_files(write_folder(plan_folder(path), contents, stale))
    good = result.verdict in ("sound", "facts only") and not _wrong(result.findings)
    return FoundResult(document, check_text(result, document=document), good, True)


def _draws(job: Job | BareJob) -> bool:
    """Whether anything is written of a job: not of one that is only inspected."""
    return not isinstance(job, BareJob) or job.sweep is not None


def _bare(path: Path, job: Job | BareJob, asked: AskedFound, report: Report) -> FoundResult:
    """A unit without weights: a first look at its sweep, its condition and vacuum unit."""
    from recurve.output.figures.look import look_figure_bytes
    from recurve.output.figures.timing import coil_figure_bytes
    from recurve.output.text.check import bare_text

    if job.sweep is not None:
        report("Looking at the sweep")
    result = check_bare(job)
    bench = result.inspected.bench
    figures = coil_figure_bytes(() if bench is None else bench.charges, job.speed_ratio, job.fingerprint)
    document = CheckDocument.of(result)
    if result.look is not None:
        figures |= look_figure_bytes(job, result.look)
        figures |= _papers(job, document, figures, asked)
    if figures:
        figures["as-found.toml"] = found_toml(document)
    document = document.with_files(write_folder(plan_folder(path), figures) if figures else ())
    good = result.verdict in ("sound", "facts only") and not _wrong(result.findings)
    return FoundResult(document, bare_text(result, document), good, False)


def found_toml(document: CheckDocument) -> bytes:
    """What a check said, in short, for the history of the unit: a file that may be deleted and made again."""
    import tomli_w

    found = {
        "inputs": document.fingerprint,
        "verdict": document.verdict,
        "findings": [{"what": f.what, "severity": f.severity, "cause": f.cause} for f in document.findings],
    }
    head = "# What recurve check said of the unit as found, in short.\n"
    return (head + tomli_w.dumps(found)).encode("utf-8")


def _wrong(findings: tuple[Finding, ...]) -> bool:
    return any(f.severity in WRONG for f in findings)


def _papers(
    job: Job | BareJob, document: CheckDocument, figures: dict[str, bytes], asked: AskedFound
) -> dict[str, bytes]:
    """The sheet of a unit as found: as PDF, and as a page if wanted."""
    from recurve.output.sheet.look import found_html, found_pdf

    shown = {name: content for name, content in figures.items() if name.endswith(".svg")}
    made = {"as-found.pdf": found_pdf(job, document, shown, asked.paper, asked.units)}
    return made | ({"as-found.html": found_html(job, document, shown, asked.units)} if asked.html else {})


@dataclass(frozen=True)
class AskedLeft:
    """How a finished unit is to be judged: what its readings are in (`basis`) and where zero was taken, if not as the job says;
    what was set, by the keys of [set], a stop as angle or trim under "stop"; the paper and the units of the record; and what is
    asked of the `drawer` of springs."""

    basis: str | None = None
    zeroed_at: str | None = None
    was_set: dict[str, str | None] | None = None
    paper: Paper = "a4"
    units: LengthUnits = "both"
    drawer: DrawerAsked = NOTHING_ASKED


def judge_left(path: Path, sweep: Path, asked: AskedLeft, report: Report) -> LeftResult:
    """Judge the finished unit of a job by the readings of a `sweep`, and write the record beside its plan. Raises InputError,
    OutputError and PhysicsError."""
    from recurve.diagnosis.verify import as_found, verify_unit
    from recurve.output.figures.check import verify_figure_bytes
    from recurve.output.sheet.record import record_entry, record_pdf, record_toml
    from recurve.output.text.check import verify_text

    folder = plan_path(path).parent if plan_path(path).is_file() else path.parent
    gather = Gathered()
    job = gather(lambda: load_job(path, springs_wanted=False))
    unit = None if job is None else gather(lambda: finished_unit(plan_path(path), job))
    readings = gather(
        lambda: (
            readings_of(sweep)
            if job is None
            else read_as_left(sweep, job, basis=asked.basis, zeroed_at=asked.zeroed_at)
        )
    )
    set_so = gather(lambda: read_set(folder / "as-left.toml", _by_keys(asked.was_set or {})))
    gather(lambda: check_writable(folder))
    if job is not None and asked.drawer.anything:
        gather(lambda: drawer_of(job))
    gather.settle()
    assert job is not None and unit is not None and set_so is not None and isinstance(readings, Sweep)  # it was settled
    (finished, remark), told = unit, AsSet.of(set_so)
    report("Fitting the sweeps")
    result = verify_unit(finished, readings, told, None if finished is job else job)
    document = VerifyDocument.of(result)
    before = as_found(job)
    report("Drawing the record")

    def record() -> bytes:
        return record_toml(folder / "as-left.toml", result, job.sweep, readings, finished.fingerprint)

    edit = None
    if asked.drawer.anything:  # a drawer that cannot be changed is reported before the work
        identity = record_entry(result, job.sweep, readings, finished.fingerprint)["id"]
        edit = DrawerEdit(job, result, asked.drawer, identity)
    record()  # an existing file that is not a record is reported before the work
    figures = verify_figure_bytes(result, before)
    drawn = figures["as-left.svg"]
    pdf = record_pdf(result, document, before, readings, finished.fingerprint, drawn, asked.paper, asked.units)
    files = write_folder(folder, {"as-left.toml": record, **figures, "as-left.pdf": pdf})
    if edit is not None:
        files += (str(edit.path),) if edit.write() else ()
        document = document.model_copy(update={"drawer": edit.told})
    document = document.with_files(files)
    good = result.verdict == "passes" and document.trust.ok
    return LeftResult(document, verify_text(result, document=document), good, remark)


def _by_keys(was_set: dict[str, str | None]) -> dict[str, str | None]:
    """What was set by the keys of the table: a stop by angle or by trim."""
    stop = was_set.get("stop")
    by_wheel = stop is not None and is_of(stop, "angle")
    rest = {key: value for key, value in was_set.items() if key != "stop"}
    return {**rest, "stop": stop if by_wheel else None, "stop_trim": None if by_wheel else stop}


def finished_unit(planned: Path, asked: Job) -> tuple[Job, str]:
    """The unit as planned if there is a plan of these inputs, else as the job describes it; and what is to be said of it."""
    if not planned.is_file():
        told = (
            f"{planned}: missing, so the unit is judged as {asked.path} describes it; expected recurve plan's plan.toml"
        )
        return asked, told if read_planned(asked.path) is None else ""
    finished, made_from = load_job(planned, springs_wanted=False), read_planned(planned)
    if made_from is None:
        words = "does not say what it was planned from"
    elif asked.catalogue is None and "catalogue" in asked.document:
        file = asked.document["catalogue"]["file"]
        gone = f"{asked.path}: the catalogue {file} is not there"
        return (
            finished,
            f"{gone}; whether the job was changed after it was planned cannot be told, so the plan is judged",
        )
    elif not (words := changed_since(made_from, asked, ("catalogue",))):  # the springs planned stand in the plan itself
        return finished, ""
    return finished, f"{planned}: {words}, so what it asks is judged; plan again"
