"""Readings taken one by one, beside a running bench: each on the disk and on the picture before the next."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any, Literal

import numpy as np
from starlette.responses import Response

from recurve.errors import InputError, RecurveError
from recurve.files import write_folder
from recurve.job.answers import TYPED_SWEEP
from recurve.job.edit import read_edited, save_answer
from recurve.job.live import CAUTION, Bench, Reading, SweepFile, as_typed, band_words, misfits, read_bench, turned
from recurve.job.questions import Answers
from recurve.job.tables import read_sweep
from recurve.output.figures.quick import Dot, curve_svg, last_rpm
from recurve.output.planfile import plan_folder
from recurve.page.bench import Asked
from recurve.text import beside
from recurve.units import RPM

Which = Literal["found", "left"]
MANY = 150  # readings beyond which they are not doubted one by one


def facts(asked: Asked, which: Which) -> dict[str, Any]:
    """What the table of readings shows."""
    try:
        bench, named, _ = read_bench(asked.path)
    except InputError as refused:
        return {"sweep": None, "sweep_faults": list(refused.faults)}
    return {**_table_facts(asked, which, bench, named), "basis": _basis_words(bench, read_edited(asked.path).answers)}


def _basis_words(bench: Bench, answers: Answers) -> dict[str, Any]:
    """Whose figures the readings count as, for the labels; `doubt` where that was not said and the book is in crank figures."""
    speed, advance = (
        "crank" if ratio != 1.0 else "distributor" for ratio in (bench.basis.speed_ratio, bench.basis.advance_ratio)
    )
    if answers.get("sweep.basis") == "crank":
        speed = advance = "crank"
    said = answers.get("sweep.basis") or answers.get("sweep.speed_basis") or answers.get("sweep.advance_basis")
    static = f", static timing of {np.degrees(bench.basis.static):.1f}° (crank) in them" if bench.basis.static else ""
    return {
        "speed": speed, "advance": advance, "static": static, "doubt": not said and answers.get("target.basis") == "crank",
    }  # fmt: skip


def _table_facts(asked: Asked, which: Which, bench: Bench, named: str | None) -> dict[str, Any]:
    path = _path(asked.path, named, which)
    if path is None or not path.is_file():
        return {"sweep": _view(bench, [], ("rpm", "deg"), which), "sweep_faults": []}
    try:
        file = SweepFile(path)
    except RecurveError as refused:
        return {"sweep": None, "sweep_faults": [str(refused)]}
    return {"sweep": _view(bench, file.readings, file.units, which, file), "sweep_faults": []}


def _path(job: Path, named: str | None, which: Which) -> Path | None:
    if which == "left":
        return plan_folder(job) / "as-left.csv"
    return None if named is None else beside(job, named)


def _open(asked: Asked, which: Which) -> tuple[Bench, SweepFile]:
    """The file to which readings are added; a job that names none is given one."""
    bench, named, _ = read_bench(asked.path)
    if which == "found" and named is None:
        stem = asked.path.stem
        file = TYPED_SWEEP if stem == "unit" else f"{stem}-{TYPED_SWEEP}"
        save_answer(asked.path, "sweep.file", file, "")
        bench, named, _ = read_bench(asked.path)
    path = _path(asked.path, named, which)
    assert path is not None  # it was named
    if which == "left":
        path.parent.mkdir(exist_ok=True)
    return bench, SweepFile(path)


def reading(asked: Asked) -> Response:
    """Take one reading in."""
    which = _which(asked)
    typed = f"{asked.form.get('speed', '').strip()}; {asked.form.get('advance', '').strip()}"
    with asked.bench.writing:
        bench, file = _open(asked, which)
        last = file.readings[-1].rising if file.readings else True
        way = {"rising": True, "falling": False}.get(asked.form.get("way", ""), last)
        try:
            new = file.parse(typed, way)
        except ValueError as fault:
            return _table(asked, bench, file, which, f"{typed.replace(';', ' rpm,')}: {fault}.")
        said = ""
        if asked.form.get("way", "auto") == "auto" and turned(file.readings, new, bench.basis):
            new = replace(new, rising=not way)
            said = f"The speed is {'rising' if new.rising else 'falling'} now. "
        before = list(file.readings)
        file.append(new)
        doubts = misfits(before, new, bench.basis, bench.stop)
        way_words = "rising" if new.rising else "falling"
        told = f"{said}{as_typed(new, file)}, {way_words}: {band_words(bench.target, new, bench.basis)}."
        look = "".join(f" Look again: {words}." for words in doubts)
        return _table(asked, bench, file, which, told + look)


def undo(asked: Asked) -> Response:
    """Take the last reading off again."""
    which = _which(asked)
    with asked.bench.writing:
        bench, file = _open(asked, which)
        gone = file.undo()
        return _table(asked, bench, file, which, "" if gone is None else f"Taken off: {as_typed(gone, file)}.")


def upload(asked: Asked) -> Response:
    """A sweep that is in a file already."""
    which: Which = "left" if asked.request.query_params.get("which") == "left" else "found"
    with asked.bench.writing:
        folder = plan_folder(asked.path) if which == "left" else asked.path.parent
        name = "as-left.csv" if which == "left" else f"{asked.path.stem}-read.csv"
        content, faults = asked.form.get("file", "").encode("utf-8"), list[str]()
        with TemporaryDirectory() as aside:
            tried = Path(aside, name)
            tried.write_bytes(content)
            read_sweep(tried, "the file", faults)
        if faults:
            raise InputError(faults)
        _keep_earlier(folder / name, content)
        write_folder(folder, {name: content})
        if which == "found":
            save_answer(asked.path, "sweep.file", name, read_edited(asked.path).answers.get("sweep.file", ""))
    return Response(status_code=204, headers={"HX-Refresh": "true"})


def _keep_earlier(path: Path, content: bytes) -> None:
    """Readings that another file would take the place of stay beside it under a number of their own."""
    if not path.is_file() or path.read_bytes() == content:
        return
    number = 1
    while (kept := path.with_name(f"{path.stem}-{number}{path.suffix}")).exists():
        number += 1
    write_folder(path.parent, {kept.name: path.read_bytes()})  # both are there until the new one takes its place


def _which(asked: Asked) -> Which:
    return "left" if asked.form.get("which") == "left" else "found"


def _table(asked: Asked, bench: Bench, file: SweepFile, which: Which, told: str) -> Response:
    view = _view(bench, file.readings, file.units, which, file)
    return asked.show("readings.html", sweep={**view, "told": told}, headers={"HX-Trigger": "read"})


def _view(
    bench: Bench, readings: list[Reading], units: tuple[str, str], which: Which, file: SweepFile | None = None
) -> dict[str, Any]:
    """The readings with their bands and doubts, the last first, and their picture."""
    rows, dots = [], []
    for number, one in enumerate(readings):
        doubts = misfits(readings[:number], one, bench.basis, bench.stop) if len(readings) <= MANY else []
        told = as_typed(one, file) if file is not None else ""
        rows.append(
            (
                number + 1,
                told,
                "rising" if one.rising else "falling",
                band_words(bench.target, one, bench.basis),
                doubts,
            )
        )
        advance = (one.advance - bench.basis.static) / bench.basis.advance_ratio
        dots.append(
            Dot(one.speed / bench.basis.speed_ratio * RPM, float(np.degrees(advance)), one.rising, bool(doubts))
        )
    bands = () if bench.target is None else bench.target.bands
    svg = curve_svg(bands, [], dots, last_rpm(bands, dots), f"{len(dots)} readings against the bands")
    return {
        "rows": rows[::-1],
        "svg": svg,
        "units": units,
        "which": which,
        "told": "",
        "rising": readings[-1].rising if readings else True,
        "caution": CAUTION,
        "missing": _missing(readings),
    }


def _missing(readings: list[Reading]) -> list[str]:
    """The direction of which there is no reading yet, once there are some."""
    ways = {r.rising for r in readings}
    return [name for name, up in (("rising", True), ("falling", False)) if readings and up not in ways]
