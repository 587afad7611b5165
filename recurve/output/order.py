"""From the plans of several units to one list of springs."""

from __future__ import annotations

import csv
import io
import os
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from typing import Any

from recurve.errors import Gathered, InputError
from recurve.files import rewrite_own
from recurve.job.model import BareJob, Job
from recurve.job.read import load_any
from recurve.job.schema import PlannedPlace, PlannedTable
from recurve.output.documents.base import if_known, listed, mm, number
from recurve.output.documents.order import KeptSpring, LeftOut, OrderDocument, OrderedFor, OrderLine, SharedSpring
from recurve.output.planfile import changed_since, job_of, plan_path, read_planned
from recurve.output.unitfolder import last_left, last_of_plan, planned_anew
from recurve.planner.stock import Allotted, Need, allot, shared
from recurve.springs.spring import Spring
from recurve.text import beside, csv_text, printable
from recurve.units import PLACES

HEAD = (
    "id", "catalogue", "take", "order", "lacking", "in_stock", "rate [N/mm]", "free_length [mm]", "initial_tension [N]",
    "wire [mm]", "outer [mm]", "coils", "material", "used for",
)  # fmt: skip


@dataclass(frozen=True)
class _Planned:
    """A unit whose springs are to be had: its job, what its plan says, by place the `others` that a record says were fitted
    instead of those planned, and whether it has `passed` before it was planned again."""

    job: Job
    planned: PlannedTable
    others: Mapping[str, str]
    passed: bool = False  # as built by an earlier plan

    @property
    def needed(self) -> list[PlannedPlace]:
        """The springs that it needs: all that are new, or of a unit that is built those in whose stead others were fitted."""
        return [s for s in self.planned.springs if s.new and (not self.others or s.place in self.others)]

    @property
    def drawer(self) -> str:
        """The catalogue's file, wherever it is named from."""
        return os.path.realpath(beside(self.job.path, self.job.document["catalogue"]["file"]))


def order_list(paths: Sequence[Path]) -> OrderDocument:
    """One list for the planned units of these jobs. Raises InputError with the faults of all jobs."""
    twice = [p for i, p in enumerate(paths) if os.path.realpath(p) in {os.path.realpath(q) for q in paths[:i]}]
    if twice:
        raise InputError([f"{p}: got the same unit twice, expected each once" for p in twice])
    gather = Gathered()
    jobs = [gather(partial(load_any, path)) for path in paths]
    gather.settle()
    units, left_out = list[_Planned](), list[LeftOut]()
    for job in jobs:
        assert job is not None  # it was settled
        one = _planned(job)
        if isinstance(one, LeftOut):
            left_out.append(one)
        else:
            units.append(one)
    return _document(units, left_out)


def _planned(job: Job | BareJob) -> _Planned | LeftOut:
    """A unit that needs springs, or why it is not in the list."""
    planned, shown = read_planned(plan_path(job.path)), str(job.path)
    record = None if planned is None else last_of_plan(job.path, planned)
    others = {} if planned is None or record is None else _others(planned, record)
    built = _built(job, planned, None if others else record)
    if built:
        return LeftOut(job=shown, why=built, settled=True)
    if planned is None or not isinstance(job, Job) or job.catalogue is None:
        return LeftOut(job=shown, why=_without_plan(job), settled=False)
    why = _not_ordered(planned, job)
    if why:
        return LeftOut(job=shown, why=why, settled=False)
    if not any(s.new for s in planned.springs):
        return LeftOut(job=shown, why="it keeps the springs now fitted", settled=True)
    return _Planned(job, planned, others, last_left(job.path) == "passes")


def _built(job: Job | BareJob, planned: PlannedTable | None, record: dict[str, Any] | None) -> str:
    """Why a unit has its springs, in words: it has passed, or a `record` tells that it was built by this plan; "" if neither."""
    if last_left(job.path) == "passes" and (planned is None or not planned_anew(job.path, planned)):
        return "it is built and has passed"
    if record is None:
        return ""
    told = printable(str(record.get("verdict", "")))
    return f"it is built by its plan, so it has its springs; its last record says: {told}"


def _without_plan(job: Job | BareJob) -> str:
    """Why a unit without a plan beside it is not in the list."""
    if job.model.planned is None:
        return "it has no plan: run recurve plan first"
    of = job_of(job)
    return "it is itself a plan: give its job" + ("" if of == job.path else f", {printable(str(of))}")


def _not_ordered(planned: PlannedTable, job: Job) -> str:
    """Why nothing is ordered by a plan, in words; "" where nothing is against it."""
    changed = changed_since(planned, job)
    if changed:
        return f"{changed}: plan it again"
    if planned.out_of_reach:
        return "its plan is out of reach, so no springs are ordered for it"
    return "" if planned.springs else "its plan does not name the springs: plan it again"


def _others(planned: PlannedTable, record: dict[str, Any]) -> dict[str, str]:
    """By place, the springs that a record says were fitted instead of new ones that are planned: because others were at hand, or
    because it was planned again since."""
    told, before = record.get("set", {}), record.get("planned", {}).get("springs", [])
    try:
        fitted = {str(s["place"]): str(s["id"]) for s in before}
        fitted |= {place: str(told[key]) for place in PLACES if (key := f"{place}_spring") in told}
    except (KeyError, TypeError):
        return {}
    return {s.place: fitted[s.place] for s in planned.springs if s.new and fitted.get(s.place, s.id) != s.id}


def _document(units: list[_Planned], left_out: list[LeftOut]) -> OrderDocument:
    names = _Names()
    needs = [
        Need(i, s.place, names.of(one.drawer, s.id), tuple(names.of(_from(one, s.place, a), a) for a in s.alternates))
        for i, one in enumerate(units)
        for s in one.needed
    ]
    springs = {names.of(one.drawer, s.id): s for one in units for s in _springs(one)}
    shown = {one.drawer: os.path.normpath(beside(one.job.path, one.job.document["catalogue"]["file"])) for one in units}
    # A spring found in a unit is there already, once, for that unit.
    in_units = {name for need in needs for name in need.choices if names.told(name)[0] == _found_in(units[need.unit])}
    allotted = allot(needs, {name: s.quantity for name, s in springs.items()} | dict.fromkeys(in_units, 1))

    def used_for(need: Need, name: str, lacking: bool = False) -> OrderedFor:
        return OrderedFor(
            job=str(units[need.unit].job.path),
            place=listed(need.place),
            planned=names.told(need.planned)[1],
            alternate=name != need.planned,
            lacking=lacking,
        )

    kept = [
        KeptSpring(
            job=str(units[a.need.unit].job.path),
            place=listed(a.need.place),
            id=names.told(a.spring)[1],
            planned=names.told(a.need.planned)[1],
        )
        for a in allotted
        if a.spring in in_units
    ]
    lines: dict[str, list[Allotted]] = {}
    for one in (a for a in allotted if a.spring not in in_units):
        lines.setdefault(one.spring or one.need.planned, []).append(one)
    made = []
    for name in sorted(lines, key=names.told):
        drawer, identity = names.told(name)
        uses = [used_for(a.need, name, a.spring is None) for a in lines[name]]
        made.append(_line(identity, shown[drawer], springs.get(name), lines[name], uses))
    serving = []
    for several in shared(allotted):
        drawer, identity = names.told(several.spring)
        if several.spring in springs:
            stock = springs[several.spring].quantity
            spare = None if stock is None else stock - sum(a.spring == several.spring for a in allotted)
            uses = [used_for(n, several.spring) for n in several.needs]
            serving.append(SharedSpring(id=identity, catalogue=shown[drawer], in_stock=spare, used_for=uses))
    left = [s for s in serving if s.in_stock is None or s.in_stock > 0]
    notes = [note for one in units for note in _notes(one)]
    jobs = [str(u.job.path) for u in units]
    return OrderDocument(jobs=jobs, lines=made, kept=kept, shared=left, left_out=left_out, notes=notes, files=[])


def _notes(one: _Planned) -> list[str]:
    """What must be said of a unit that is built with other springs than planned, or by an earlier plan."""
    path = printable(str(one.job.path))
    told = "it has passed, and was planned again since: what it needs by the new plan is in the list."
    again = [f"{path}: {told}"] if one.passed else []
    return again + [
        f"{path}: its last record says that {printable(one.others[s.place])} was fitted as the {s.place}, so the "
        f"{printable(s.id)} planned is in the list."
        for s in one.needed
        if s.place in one.others
    ]


def _springs(one: _Planned) -> tuple[Spring, ...]:
    return () if one.job.catalogue is None else one.job.catalogue.springs


def _found_in(one: _Planned) -> str:
    """Where the springs found in a unit are, beside the drawers."""
    return f"in {os.path.realpath(one.job.path)}"


def _from(one: _Planned, place: str, identity: str) -> str:
    """Where an alternate of a place comes from: a drawer, or the unit itself, if it was found in that place."""
    bought = {s.id for s in _springs(one)}
    return _found_in(one) if identity == f"as found {place}" and identity not in bought else one.drawer


class _Names:
    """One name for each spring of each drawer: the same id in two drawers is two springs."""

    def __init__(self) -> None:
        self._told: dict[str, tuple[str, str]] = {}

    def of(self, drawer: str, identity: str) -> str:
        """The name of a spring."""
        name = f"{drawer}\n{identity}"
        self._told[name] = (drawer, identity)
        return name

    def told(self, name: str) -> tuple[str, str]:
        """The drawer and the id of a name."""
        return self._told[name]


def _line(
    identity: str, catalogue: str, spring: Spring | None, given: list[Allotted], used_for: list[OrderedFor]
) -> OrderLine:
    ordered, lacking = sum(a.ordered for a in given), sum(a.spring is None for a in given)
    return OrderLine(
        id=identity,
        catalogue=catalogue,
        take=len(given) - ordered - lacking,
        order=ordered,
        lacking=lacking,
        in_stock=None if spring is None else spring.quantity,
        rate_n_per_mm=None if spring is None else number(spring.rate / 1e3),
        free_length_mm=None if spring is None else mm(spring.free_length),
        initial_tension_n=None if spring is None else number(spring.initial_tension),
        wire_mm=None if spring is None else if_known(mm, spring.wire),
        outer_mm=None if spring is None else if_known(mm, spring.outer),
        coils=None if spring is None else spring.coils,
        material="" if spring is None else spring.material,
        used_for=used_for,
    )


def write_order(path: Path, document: OrderDocument) -> None:
    """Write the list as a table; one that is there must be such a list. Raises InputError and OutputError."""
    rewrite_own(path, order_rows(document), ",".join(HEAD[:5]), "list of springs to order")


def order_rows(document: OrderDocument) -> bytes:
    """The list as CSV, a line for each spring; the columns name their units."""
    out = io.StringIO(newline="")
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(HEAD)
    for line in document.lines:
        numbers = (
            line.take, line.order, line.lacking, line.in_stock, line.rate_n_per_mm, line.free_length_mm, line.initial_tension_n,
            line.wire_mm, line.outer_mm, line.coils,
        )  # fmt: skip
        uses = "; ".join(f"{u.job} {u.place}{f' (planned {u.planned})' if u.alternate else ''}" for u in line.used_for)
        cells = ["" if x is None else f"{x:g}" for x in numbers]
        writer.writerow([csv_text(line.id), csv_text(line.catalogue), *cells, csv_text(line.material), csv_text(uses)])
    return out.getvalue().encode("utf-8")
