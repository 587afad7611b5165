"""`recurve check` and `recurve verify`: what is wrong as found, and whether the finished unit passes."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Literal

import typer

from recurve.cli.console import ANSWER_IS_NO, AsJson, JobFile, print_json, progress, show, text_option
from recurve.cli.finished import finished_unit
from recurve.cli.next_step import after_check, after_verify
from recurve.units import LengthUnits, Paper, is_of

if TYPE_CHECKING:
    from recurve.job.model import BareJob, Job
    from recurve.output.documents.check import CheckDocument


WRONG = ("check first", "repair first", "high", "medium")  # findings that are no clean bill, whatever the curve is like

FoundPaper = Annotated[Paper, typer.Option(help="The sheet's paper.")]
AsPage = Annotated[
    bool,
    typer.Option(
        "--html", help="Also as-found.html, the sheet for a phone or a browser, and as-found.pdf in any case."
    ),
]


def check(job: JobFile, paper: FoundPaper = "a4", html: AsPage = False, as_json: AsJson = False) -> None:
    """What is wrong with the unit as found: findings, the worst first, and whether it is worth saving.

    From target and sweep alone it is a first look, and writes look.svg, look.png and as-found.pdf, the sheet, into JOB's
    name followed by -plan, beside JOB. Once all parts are measured it fits the sweep, and writes fit.svg and fit.png.
    Exit status 0: nothing is wrong; 3: something is, or it cannot be told; 2: bad input.

    Example: recurve check examples/launch.toml
    """
    from recurve.diagnosis.check import check_unit, without_curve
    from recurve.files import write_folder
    from recurve.job.model import BareJob
    from recurve.job.read import load_any
    from recurve.output.documents.check import CheckDocument
    from recurve.output.figures.check import check_figure_bytes
    from recurve.output.figures.timing import coil_figure_bytes
    from recurve.output.planfile import plan_folder
    from recurve.output.text.check import check_text

    read = load_any(job)
    if isinstance(read, BareJob) or without_curve(read):
        _check_bare(job, read, (paper, html), as_json)
        return
    progress("Fitting the sweep")
    result = check_unit(read)
    progress("Drawing the fit")
    bench = None if result.inspected is None else result.inspected.bench
    charges = () if bench is None else bench.charges
    coil = coil_figure_bytes(charges, read.speed_ratio, read.fingerprint)
    stale = () if coil else ("coil.svg", "coil.png")
    contents = check_figure_bytes(result) | coil
    document = CheckDocument.of(result)
    if html:
        contents |= _papers(read, document, contents, paper, html)
    document = document.with_files(write_folder(plan_folder(job), contents, stale))
    if as_json:
        print_json(document.as_json())
    else:
        show(f"{check_text(result, document=document)}\n{after_check(result.verdict, job)}\n")
    if result.verdict not in ("sound", "facts only") or any(f.severity in WRONG for f in result.findings):
        raise typer.Exit(ANSWER_IS_NO)


def _check_bare(path: Path, job: Job | BareJob, sheet: tuple[Paper, bool], as_json: bool) -> None:
    """A unit without weights: a first look at its sweep, its condition and vacuum unit; `sheet`: on which paper, and whether a
    page is wanted too."""
    from recurve.diagnosis.check import check_bare
    from recurve.files import write_folder
    from recurve.output.documents.check import CheckDocument
    from recurve.output.figures.look import look_figure_bytes
    from recurve.output.figures.timing import coil_figure_bytes
    from recurve.output.planfile import plan_folder
    from recurve.output.text.check import bare_text

    if job.sweep is not None:
        progress("Looking at the sweep")
    result = check_bare(job)
    bench = result.inspected.bench
    figures = coil_figure_bytes(() if bench is None else bench.charges, job.speed_ratio, job.fingerprint)
    document = CheckDocument.of(result)
    if result.look is not None:
        figures |= look_figure_bytes(job, result.look)
        figures |= _papers(job, document, figures, *sheet)
    document = document.with_files(write_folder(plan_folder(path), figures) if figures else ())
    if as_json:
        print_json(document.as_json())
    else:
        show(bare_text(result, document))
    if result.verdict not in ("sound", "facts only") or any(f.severity in WRONG for f in result.findings):
        raise typer.Exit(ANSWER_IS_NO)


def _papers(
    job: Job | BareJob, document: CheckDocument, figures: dict[str, bytes], paper: Paper, html: bool
) -> dict[str, bytes]:
    """The sheet of a unit as found: as PDF, and as a page if wanted."""
    from recurve.output.sheet.look import found_html, found_pdf

    shown = {name: content for name, content in figures.items() if name.endswith(".svg")}
    made = {"as-found.pdf": found_pdf(job, document, shown, paper)}
    return made | ({"as-found.html": found_html(job, document, shown)} if html else {})


Sweep = Annotated[
    Path, typer.Argument(metavar="SWEEP", help="Readings of the finished unit (CSV).", show_default=False)
]
ReadIn = Annotated[
    Literal["distributor", "crank"] | None,
    typer.Option(help="What the readings are in; else as the job's [sweep] says.", show_default=False),
]
ZeroedAt = Annotated[str | None, text_option("SPEED", 'Where zero was taken, "250 rpm"; else weights held home.')]
PrimaryLength = Annotated[str | None, text_option("LENGTH", 'Over the primary\'s posts as set, "13.41 ± 0.03 mm".')]
SecondaryLength = Annotated[str | None, text_option("LENGTH", "Over the second spring's posts as set.")]
StopAsSet = Annotated[
    str | None,
    text_option("ANGLE|TRIM", 'The stop: by degree wheel, "11.2 ± 0.2 deg", or "0.4 mm" built up, "-0.2 mm" filed.'),
]
PrimarySpring = Annotated[str | None, text_option("ID", "The primary fitted, if it is another than planned.")]
SecondarySpring = Annotated[str | None, text_option("ID", "The second spring fitted, likewise.")]
RecordPaper = Annotated[Paper, typer.Option(help="The record's paper.")]
RecordUnits = Annotated[LengthUnits, typer.Option(help="Lengths and forces on the record.")]


def verify(
    job: JobFile,
    sweep: Sweep,
    basis: ReadIn = None,
    zeroed_at: ZeroedAt = None,
    primary_length: PrimaryLength = None,
    secondary_length: SecondaryLength = None,
    stop: StopAsSet = None,
    primary_spring: PrimarySpring = None,
    secondary_spring: SecondarySpring = None,
    paper: RecordPaper = "a4",
    units: RecordUnits = "both",
    as_json: AsJson = False,
) -> None:
    """Does the finished unit pass, and what to move if not.

    JOB is the job that was planned (its plan.toml is then the finished unit), or a plan.toml itself. Appends to
    as-left.toml and writes as-left.pdf, the record to hand over, as-left.svg and as-left.png beside plan.toml.
    What was measured as it was set, by these options or in [set] of as-left.toml, is taken into account.
    Exit status 0: passes; 3: fails, too close to call, or to be read again; 2: bad input.

    Example: recurve verify examples/launch.toml as-left.csv
    """
    from recurve.diagnosis.as_set import AsSet
    from recurve.diagnosis.verify import as_found, verify_unit
    from recurve.files import write_folder
    from recurve.job.as_left import read_set
    from recurve.job.read import load_job, read_as_left
    from recurve.output.documents.check import VerifyDocument
    from recurve.output.figures.check import verify_figure_bytes
    from recurve.output.planfile import plan_path
    from recurve.output.sheet.record import record_pdf, record_toml
    from recurve.output.text.check import verify_text

    asked = load_job(job)
    planned = plan_path(job)
    finished = finished_unit(planned, asked)
    readings = read_as_left(sweep, asked, basis=basis, zeroed_at=zeroed_at)
    folder = planned.parent if planned.is_file() else job.parent
    by_wheel = stop is not None and is_of(stop, "angle")
    options = {
        "primary_length": primary_length,
        "secondary_length": secondary_length,
        "stop": stop if by_wheel else None,
        "stop_trim": None if by_wheel else stop,
        "primary_spring": primary_spring,
        "secondary_spring": secondary_spring,
    }
    told = AsSet.of(read_set(folder / "as-left.toml", options))
    progress("Fitting the sweeps")
    result = verify_unit(finished, readings, told, None if finished is asked else asked)
    document = VerifyDocument.of(result)
    before = as_found(asked)
    progress("Drawing the record")

    def record() -> bytes:
        return record_toml(folder / "as-left.toml", result, asked.sweep, readings, finished.fingerprint)

    record()  # an existing file that is not a record is reported before the work
    figures = verify_figure_bytes(result, before)
    pdf = record_pdf(result, document, before, readings, finished.fingerprint, figures["as-left.svg"], paper, units)
    files = write_folder(folder, {"as-left.toml": record, **figures, "as-left.pdf": pdf})
    document = document.with_files(files)
    if as_json:
        print_json(document.as_json())
    else:
        show(f"{verify_text(result, document=document)}\n{after_verify(result.verdict, job, sweep, 'as-left.pdf')}\n")
    if result.verdict != "passes" or not document.trust.ok:
        raise typer.Exit(ANSWER_IS_NO)
