"""`recurve wind`: springs to have wound."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated, Literal

import typer

from recurve.cli.console import ANSWER_IS_NO, AsJson, JobFile, print_json, progress, show, text_option
from recurve.cli.next_step import after_wind

if TYPE_CHECKING:
    from recurve.job.model import Job
    from recurve.output.documents.springs import WindDocument
    from recurve.springs.winding import Winding


OnePlace = Annotated[
    Literal["primary", "secondary"] | None, typer.Option(help="One spring only; by default both.", show_default=False)
]
Figures = Annotated[
    Literal["planned", "ideal"] | None,
    typer.Option(
        help="Wind the planned springs or the ideal ones; by default the planned ones, if the plan passes.",
        show_default=False,
    ),
]
Rate = Annotated[str | None, text_option("RATE", 'By hand, with --place: the rate, "1.2 N/mm".')]
FreeLength = Annotated[str | None, text_option("LENGTH", 'and the free length inside the hooks, "13.5 mm";')]
Tension = Annotated[str | None, text_option("FORCE", "and the initial tension; by default what winds well;")]
Longest = Annotated[
    str | None, text_option("LENGTH", "and the length at full advance; by default over the job's posts.")
]
Outer = Annotated[str | None, text_option("LENGTH", "Largest outer diameter; by default half the length at rest.")]
Overall = Annotated[
    str | None,
    text_option("LENGTH", "Greatest free length over the hooks; by default the length at full advance and two wires."),
]
Post = Annotated[
    str | None, text_option("LENGTH", "Post diameter that the hooks must go over; by default the job's post_diameter.")
]
Tolerance = Annotated[str, typer.Option(metavar="SHARE", help="Tolerance of the rate, including the wire's.")]
Sizes = Annotated[
    Literal["metric", "gauge"] | None, typer.Option(help="Wire sizes; by default both.", show_default=False)
]
Materials = Annotated[
    list[str] | None, text_option("NAME", "A material of data/wire.toml; may be repeated; by default all.")
]
HookPlanes = Annotated[Literal["one-plane", "any"], typer.Option(help="Parallel posts need hooks in one plane.")]
Listed = Annotated[int, typer.Option(min=1, max=100, help="How many proposals to list for each spring.")]


def wind(
    job: JobFile,
    place: OnePlace = None,
    springs: Figures = None,
    rate: Rate = None,
    free_length: FreeLength = None,
    initial_tension: Tension = None,
    longest: Longest = None,
    outer: Outer = None,
    overall: Overall = None,
    post: Post = None,
    tolerance: Tolerance = "10 %",
    sizes: Sizes = None,
    material: Materials = None,
    hooks: HookPlanes = "one-plane",
    top: Listed = 5,
    as_json: AsJson = False,
) -> None:
    """Springs to have wound: wire, diameter, coils and hooks that give the rate, length and tension.

    Writes wind.csv and a drawing of each spring, wind-primary.svg and wind-secondary.svg, beside JOB, into a folder with
    JOB's name and -plan. Exit status 0: all can be wound; 3: one cannot, and the nearest is shown; 2: bad input.

    Example: recurve wind examples/launch.toml
    """
    from recurve.cli.wind_input import read_given, read_materials, wind_springs
    from recurve.job.read import load_job
    from recurve.output.documents.springs import WindDocument
    from recurve.output.planfile import read_to_write
    from recurve.output.text.workshop import wind_notes, wind_text

    texts = {
        "rate": rate, "free_length": free_length, "initial_tension": initial_tension, "longest": longest, "outer": outer,
        "overall": overall, "post": post, "tolerance": tolerance,
    }  # fmt: skip
    given, names = read_given(texts), read_materials(material or [])
    series = ("metric", "gauge") if sizes is None else (sizes,)
    progress("Reading the job")
    read = read_to_write(lambda: load_job(job), job)
    progress("Planning, and trying wires")
    windings, source = wind_springs(read, given, (place, springs), hooks == "one-plane", (series, names))
    document = WindDocument.of(read, source, windings, wind_notes(read, windings))
    document = document.with_files(_write(read, windings, document, top))
    good = bool(windings) and all(w.proposals for w in windings)
    if as_json:
        print_json(document.as_json())
    else:
        show(f"{wind_text(read, windings, document, top)}\n{after_wind(good, job)}\n")
    if not good:
        raise typer.Exit(ANSWER_IS_NO)


def _write(job: Job, windings: tuple[Winding, ...], document: WindDocument, top: int) -> tuple[str, ...]:
    """The order: a table, and a drawing of the first proposal for each spring."""
    from recurve.files import write_folder
    from recurve.output.figures.winding import drawing_svg
    from recurve.output.planfile import plan_folder
    from recurve.output.text.workshop import wind_csv
    from recurve.units import PLACES

    drawn = {
        f"wind-{w.wanted.place}.svg": drawing_svg(w.wanted, w.proposals[0], w.envelope, job.title, job.fingerprint)
        for w in windings
        if w.proposals
    }
    asked = {w.wanted.place for w in windings} or set(PLACES)
    stale = tuple(f"wind-{p}.svg" for p in PLACES if p in asked and f"wind-{p}.svg" not in drawn)
    return write_folder(plan_folder(job.path), {**drawn, "wind.csv": wind_csv(windings, document.springs, top)}, stale)
