"""`recurve plan`: the main job."""

from __future__ import annotations

from enum import StrEnum
from typing import TYPE_CHECKING, Annotated, Any

import typer

from recurve.console import ANSWER_IS_NO, AsJson, JobFile, LengthUnits, Paper, print_json, progress
from recurve.nextstep import after_plan
from recurve.terminal import show

if TYPE_CHECKING:
    from recurve.plan import Plan


class Choose(StrEnum):
    """What decides among plans that pass."""

    by_yield = "yield"
    margin = "margin"


def plan(
    job: JobFile,
    choose: Annotated[
        Choose,
        typer.Option(help="yield: most builds pass at first setting; margin: the largest margin, whatever the work."),
    ] = Choose.by_yield,
    paper: Annotated[Paper, typer.Option(help="The sheet's paper.")] = Paper.a4,
    units: Annotated[LengthUnits, typer.Option(help="Lengths and forces on the sheet.")] = LengthUnits.both,
    html: Annotated[bool, typer.Option("--html", help="Also report.html, the sheet for a phone or a browser.")] = False,
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

    progress("Reading the job")
    read = load_job(job)
    progress("Searching the springs")
    made = make_plan(read, choose.value)
    progress("Drawing the plot and the sheet")
    files = _write_results(made, paper.value, units.value, html)
    if as_json:
        print_json(plan_facts(made, files))
    else:
        show(f"{plan_text(made, files)}\n{after_plan(made.verdict, job, 'sheet.pdf')}\n")
    if made.verdict == "out of reach":
        raise typer.Exit(ANSWER_IS_NO)


def _write_results(made: Plan, paper: Any, units: Any, html: bool) -> tuple[str, ...]:
    """All files of a plan; everything is made before the first is written."""
    from recurve.files import write_folder
    from recurve.jobwrite import order_csv, plan_folder, plan_toml
    from recurve.plots import plan_figure_bytes
    from recurve.sheet import sheet_pdf

    figures = plan_figure_bytes(made)
    given, drawn = _drawing(made)
    contents: dict[str, bytes] = {}
    if made.build is not None:
        contents["plan.toml"] = plan_toml(made)
    contents |= {
        **figures,
        "sheet.pdf": sheet_pdf(made, figures["curve.svg"], paper, units, given, drawn),
        "order.csv": order_csv(made),
    }
    if html:
        contents["report.html"] = _page(made, {"curve.svg": figures["curve.svg"], **drawn}, units, given)
    stale = () if made.build is not None else ("plan.toml",)
    return write_folder(plan_folder(made.job.path), contents, stale)


def _drawing(made: Plan) -> tuple[dict[str, Any], dict[str, bytes]]:
    """The unit to scale, as a ready-made part of the sheet and its figure."""
    from recurve.drawing import small_unit_svg

    words = "The unit at rest and at its stop as found, seen from the rotor end"
    figure = {"file": "unit.svg", "alt": words, "width": 60}
    return {"mechanism": {"title": words, "figures": [figure]}}, {"unit.svg": small_unit_svg(made.job)}


def _page(made: Plan, figures: dict[str, bytes], units: Any, given: dict[str, Any]) -> bytes:
    from recurve.htmlpage import page_html
    from recurve.plots import narrow_figure_svg

    return page_html(made, {**figures, "curve-narrow.svg": narrow_figure_svg(made)}, units, given)
