"""The command line: read, call the library, print. The only place that prints, exits and shows progress."""

from __future__ import annotations

import json
import sys
from enum import StrEnum
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from recurve import __version__
from recurve.errors import InputError, RecurveError

if TYPE_CHECKING:
    from recurve.mechanism import Array
    from recurve.plan import Plan

BAD_INPUT, ANSWER_IS_NO = 2, 3

app = typer.Typer(
    add_completion=True,
    no_args_is_help=True,
    rich_markup_mode=None,
    pretty_exceptions_enable=False,
    context_settings={"help_option_names": ["-h", "--help"]},
    help=(
        "Plans the mechanical advance of a points-type ignition distributor: which springs, where to set the posts, "
        "what to do to the stop, and the curve that follows.\n\n"
        "Try: recurve plan examples/launch.toml\n\n"
        "Not for magnetos, nor for anything that flies."
    ),
)


class Choose(StrEnum):
    """What decides among plans that pass."""

    by_yield = "yield"
    margin = "margin"


class Basis(StrEnum):
    """What readings are in."""

    distributor = "distributor"
    crank = "crank"


class Paper(StrEnum):
    """The sheet's paper."""

    a4 = "a4"
    letter = "letter"


JobFile = Annotated[Path, typer.Argument(metavar="JOB", help="The job file (TOML).", show_default=False)]
AsJson = Annotated[bool, typer.Option("--json", help="One JSON document on stdout and nothing else.")]


def main() -> None:
    """Run a command; a fault in what was given ends with a message and exit status 2."""
    for stream in (sys.stdout, sys.stderr):
        reconfigure = getattr(stream, "reconfigure", None)
        if reconfigure is not None:
            reconfigure(errors="replace")
    try:
        app()
    except InputError as error:
        for fault in error.faults:
            typer.echo(f"recurve: {_plain(fault)}", err=True)
        raise SystemExit(BAD_INPUT) from None
    except RecurveError as error:
        typer.echo(f"recurve: {_plain(str(error))}", err=True)
        raise SystemExit(BAD_INPUT) from None
    except BrokenPipeError:
        # The reader of a pipe went away; nothing is left to tell it.
        sys.stderr.close()
        raise SystemExit(BAD_INPUT) from None


def _plain(text: str) -> str:
    return "".join(c if c.isprintable() else "?" for c in text)


def _progress(text: str) -> None:
    """Progress for someone who watches; a pipe or a log gets none."""
    if sys.stderr.isatty():
        typer.echo(f"{text} …", err=True)


def _print_json(document: dict[str, Any]) -> None:
    typer.echo(json.dumps(document, indent=2, ensure_ascii=False, allow_nan=False))


def _show_version(wanted: bool) -> None:
    if wanted:
        typer.echo(f"recurve {__version__}")
        raise typer.Exit


@app.callback()
def _root(
    version: Annotated[
        bool, typer.Option("--version", callback=_show_version, is_eager=True, help="Show the version and exit.")
    ] = False,
) -> None:
    pass


@app.command()
def curve(
    job: JobFile,
    speeds: Annotated[
        str | None, typer.Option(metavar="FROM:TO:STEP", help="Distributor rpm, ends included.", show_default=False)
    ] = None,
    as_json: AsJson = False,
) -> None:
    """The advance curve of the springs described in the job.

    Example: recurve curve examples/launch.toml --speeds 200:1600:100
    """
    asked = None if speeds is None else parse_speeds(speeds)
    from recurve.curve import trace
    from recurve.facts import curve_facts, default_speeds
    from recurve.jobfile import load_job
    from recurve.report import curve_text

    read = load_job(job)
    unit = read.as_found()
    if unit is None:
        raise InputError(_undescribed(read))
    traced = trace(unit)
    facts = curve_facts(read, unit, traced, default_speeds(read, traced) if asked is None else asked)
    if as_json:
        _print_json(facts)
    else:
        typer.echo(curve_text(read, facts), nl=False)


@app.command()
def check(job: JobFile, as_json: AsJson = False) -> None:
    """What is wrong with the unit as found: findings, the worst first, and whether it is worth saving.

    Fits the sweep that the job names, and writes fit.svg and fit.png into JOB's name followed by -plan, beside JOB.
    Exit status 0: sound, or facts only without a target; 3: it is not sound, or cannot be told; 2: bad input.

    Example: recurve check examples/launch.toml
    """
    from recurve.checkplots import check_figure_bytes
    from recurve.checkreport import check_facts, check_text
    from recurve.diagnose import check_unit
    from recurve.files import write_folder
    from recurve.jobfile import load_job
    from recurve.jobwrite import plan_folder

    _progress("Fitting the sweep")
    result = check_unit(load_job(job))
    _progress("Drawing the fit")
    files = write_folder(plan_folder(job), check_figure_bytes(result))
    if as_json:
        _print_json(check_facts(result) | {"files": list(files)})
    else:
        typer.echo(check_text(result, files), nl=False)
    if result.verdict not in ("sound", "facts only"):
        raise typer.Exit(ANSWER_IS_NO)


@app.command()
def verify(
    job: JobFile,
    sweep: Annotated[
        Path, typer.Argument(metavar="SWEEP", help="Readings of the finished unit (CSV).", show_default=False)
    ],
    basis: Annotated[
        Basis | None, typer.Option(help="What the readings are in; else as the job's [sweep] says.", show_default=False)
    ] = None,
    zeroed_at: Annotated[
        str | None,
        typer.Option(
            metavar="SPEED", help='Where zero was taken, "250 rpm"; else weights held home.', show_default=False
        ),
    ] = None,
    as_json: AsJson = False,
) -> None:
    """Does the finished unit pass, and what to move if not.

    JOB is the job that was planned (its plan.toml is then the finished unit), or a plan.toml itself. Appends to
    as-left.toml and writes as-left.svg and as-left.png beside plan.toml. Exit status 0: passes; 3: fails, or too
    close to call; 2: bad input.

    Example: recurve verify examples/launch.toml as-left.csv
    """
    from recurve.checkplots import verify_figure_bytes
    from recurve.checkreport import verify_facts, verify_text
    from recurve.files import write_folder
    from recurve.jobfile import load_job, read_as_left
    from recurve.jobwrite import plan_folder
    from recurve.record import record_toml
    from recurve.verify import verify_unit

    asked = load_job(job)
    planned = plan_folder(job) / "plan.toml"
    finished = load_job(planned) if planned.is_file() else asked
    readings = read_as_left(sweep, asked, basis=None if basis is None else basis.value, zeroed_at=zeroed_at)
    _progress("Fitting the sweep")
    result = verify_unit(finished, readings)
    folder = planned.parent if planned.is_file() else job.parent
    record = record_toml(folder / "as-left.toml", result, asked.sweep, readings, finished.fingerprint)
    files = write_folder(folder, {"as-left.toml": record, **verify_figure_bytes(result)})
    if as_json:
        _print_json(verify_facts(result, files))
    else:
        typer.echo(verify_text(result, files), nl=False)
    if result.verdict != "passes":
        raise typer.Exit(ANSWER_IS_NO)


def _undescribed(job: Any) -> list[str]:
    names = [n for n, p in zip(("primary", "secondary"), job.places, strict=False) if p.found is None]
    return [
        f"{job.path}: springs.{name}: got no rate, or neither free_length nor takeup; expected them, since a curve needs the "
        "springs themselves"
        for name in names
    ]


def parse_speeds(text: str) -> Array:
    """FROM:TO:STEP in distributor rpm as speeds (n,) [rad/s], both ends included; raises InputError."""
    import numpy as np

    wrong = f'--speeds: got "{text}", expected FROM:TO:STEP in distributor rpm, such as 200:2000:50'
    try:
        begin, end, step = (float(part) for part in text.split(":"))
    except ValueError:
        raise InputError(wrong) from None
    if not (0 < begin <= end <= 20000 and step > 0) or (end - begin) / step > 100000:
        raise InputError(wrong)
    steps = np.arange(begin, end + 1e-9 * end, step)
    rpm = steps if end - steps[-1] < 1e-6 * step else np.append(steps, end)
    result: Array = rpm * np.pi / 30
    return result


@app.command()
def plan(
    job: JobFile,
    choose: Annotated[
        Choose,
        typer.Option(help="yield: most builds pass at first setting; margin: the largest margin, whatever the work."),
    ] = Choose.by_yield,
    paper: Annotated[Paper, typer.Option(help="The sheet's paper.")] = Paper.a4,
    as_json: AsJson = False,
) -> None:
    """Springs, post settings and stop trim that bring the curve into the target.

    Writes plan.toml, curve.svg, curve.png, sheet.pdf and order.csv into JOB's name followed by -plan, beside JOB.
    Exit status 0: a plan that passes; 3: out of reach, with reasons; 2: bad input.

    Example: recurve plan examples/launch.toml
    """
    from recurve.facts import plan_facts
    from recurve.jobfile import load_job
    from recurve.plan import make_plan
    from recurve.report import plan_text

    _progress("Reading the job")
    read = load_job(job)
    _progress("Searching the springs")
    made = make_plan(read, choose.value)
    _progress("Drawing the plot and the sheet")
    files = _write_results(made, paper.value)
    if as_json:
        _print_json(plan_facts(made, files))
    else:
        typer.echo(plan_text(made, files), nl=False)
    if made.verdict == "out of reach":
        raise typer.Exit(ANSWER_IS_NO)


def _write_results(made: Plan, paper: Any) -> tuple[str, ...]:
    """All files of a plan; everything is made before the first is written."""
    from recurve.files import write_folder
    from recurve.jobwrite import order_csv, plan_folder, plan_toml
    from recurve.plots import plan_figure_bytes
    from recurve.sheet import sheet_pdf

    figures = plan_figure_bytes(made)
    contents: dict[str, bytes] = {}
    if made.build is not None:
        contents["plan.toml"] = plan_toml(made)
    contents |= {**figures, "sheet.pdf": sheet_pdf(made, figures["curve.svg"], paper), "order.csv": order_csv(made)}
    stale = () if made.build is not None else ("plan.toml",)
    return write_folder(plan_folder(made.job.path), contents, stale)
