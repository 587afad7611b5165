"""`recurve plan`: the main job."""

from __future__ import annotations

from typing import Annotated, Literal

import typer

from recurve.cli.console import AsJson, JobFiles, SpringOption, print_json, progress, show, tell
from recurve.cli.next_step import after_plan, after_plans
from recurve.units import LengthUnits, Paper

By = Annotated[
    Literal["yield", "margin"],
    typer.Option(help="yield: the best chance of passing first time; margin: the largest margin, whatever the work."),
]
Listed = Annotated[int, typer.Option(min=0, max=50, help="How many pairs of springs to list, the best margin first.")]
InStock = Annotated[
    bool, typer.Option("--only-in-stock", help="Only springs with a quantity above 0 in the catalogue.")
]
ThisPrimary = Annotated[str | None, typer.Option(metavar="ID", help="This primary and no other.")]
ThisSecondary = Annotated[str | None, typer.Option(metavar="ID", help="This secondary and no other.")]
Kept = Annotated[list[SpringOption] | None, typer.Option(help="Keep this spring as fitted; may be given twice.")]
SheetPaper = Annotated[Paper, typer.Option(help="The sheet's paper.")]
SheetUnits = Annotated[LengthUnits, typer.Option(help="Lengths and forces on the sheet.")]
AsPage = Annotated[bool, typer.Option("--html", help="Also report.html, the sheet for a phone or a browser.")]


def plan(
    job: JobFiles,
    choose: By = "yield",
    top: Listed = 0,
    only_in_stock: InStock = False,
    primary: ThisPrimary = None,
    secondary: ThisSecondary = None,
    keep: Kept = None,
    paper: SheetPaper = "a4",
    units: SheetUnits = "both",
    html: AsPage = False,
    as_json: AsJson = False,
) -> None:
    """Springs, post settings and stop trim that bring the curve into the target.

    Writes plan.toml, curve.svg, curve.png, sheet.pdf and order.csv beside JOB, into a folder with JOB's name and -plan.
    Exit status 0: a plan that passes; 3: out of reach, with reasons; 2: bad input. Several jobs are planned side by
    side and listed in one table; the exit status is the worst: 2 before 3.

    Example: recurve plan examples/launch.toml
    """
    from recurve.output.results import Asked, plan_job, plan_jobs, plans_document, summary, worst_status
    from recurve.planner.springset import Constraints

    constraints = Constraints(only_in_stock, primary, secondary, frozenset(p.value for p in keep or ()))
    asked = Asked(choose, constraints, top, paper, units, html)
    if len(job) == 1:
        made = plan_job(job[0], asked, progress)
        if as_json:
            print_json({} if made.document is None else made.document.as_json())
        else:
            show(f"{made.text}\n{after_plan(made.verdict, job[0], 'sheet.pdf')}\n")
        raise typer.Exit(made.status)
    planned = plan_jobs(job, asked, progress)
    for one in planned:
        for fault in one.faults:
            tell(fault)
    if as_json:
        print_json(plans_document(planned).as_json())
    else:
        show(f"{summary(planned)}\n{after_plans()}\n")
    raise typer.Exit(worst_status(planned))
